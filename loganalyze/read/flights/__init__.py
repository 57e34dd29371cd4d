"""Flights out of the rows of a log."""
