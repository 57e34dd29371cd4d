"""How a log is read: its format, columns and clock, or the columns file that says so."""
