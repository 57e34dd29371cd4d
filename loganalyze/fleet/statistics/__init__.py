"""What the flights of a store say together."""
