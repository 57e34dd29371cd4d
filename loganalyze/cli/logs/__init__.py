"""Commands for the logs of single flights."""
