"""Reading a recorder's export: files, dialects, columns and clocks, to flight logs."""

from loganalyze.read.flights.log_reading import read_flights, read_log

__all__ = ["read_flights", "read_log"]
