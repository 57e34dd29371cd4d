"""Limits at samples: applicability, equivalents as calibrated airspeed, margins and states."""
