"""Logs with a row per value instead of a row per instant."""
