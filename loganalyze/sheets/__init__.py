"""The files that people write: one door for them all, the limits sheet, the columns file."""
