"""Results in a notebook: their picture, and their tables as data frames."""
