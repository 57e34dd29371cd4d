"""The air data of a flight: which channels they come from, corrected, and the configuration."""
