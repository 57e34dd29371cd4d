"""The parts of a flight that a schedule says something about, and how each was flown."""
