"""Commands that need no log: air data, limits and their sheets."""
