"""Files written by users: limits sheet, columns file, priors, and their common reader."""
