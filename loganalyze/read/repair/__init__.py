"""Missing and held values, split words, and time made strictly increasing."""
