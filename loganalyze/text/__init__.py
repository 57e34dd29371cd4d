"""Codes and values to facts and, in a folder a language, to words and sentences."""
