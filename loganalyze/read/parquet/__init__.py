"""Parquet logs."""
