"""The quantities that a flight manual limits: a file each, and their registry."""
