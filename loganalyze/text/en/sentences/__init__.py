"""Sentences about one subject each."""
