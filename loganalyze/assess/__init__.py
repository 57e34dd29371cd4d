"""How sure, how serious, when in the flight, and why: what follows from a verdict."""
