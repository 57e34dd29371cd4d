"""Phases of flight and manoeuvres."""
