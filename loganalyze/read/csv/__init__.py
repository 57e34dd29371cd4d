"""CSV and other text tables."""
