"""Commands for a fleet and its store."""
