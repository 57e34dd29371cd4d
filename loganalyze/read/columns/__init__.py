"""Which column of a log is which channel, and in which unit."""
