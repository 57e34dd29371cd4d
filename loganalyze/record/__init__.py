"""What a recorder kept: channels and their units, intervals of time, and the flight log."""
