"""The clock of a log: the forms of its time columns, and its conversion to a monotonic time."""
