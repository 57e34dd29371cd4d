"""One cell of an export: numbers, words for missing values, states."""
