"""Codes and values to sentences, in one presentation of units, clock and reader."""
