"""The clock of a log: what its time columns hold, and how it is made to rise."""
