"""Results and reports on disk."""
