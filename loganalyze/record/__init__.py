"""Recorded data: channels and their units, intervals of time, and the flight log.

Public are the vocabularies `channels`, `units` and `intervals`.
"""
