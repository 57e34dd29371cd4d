"""A run over many logs: which ones, in which processes, in which order."""
