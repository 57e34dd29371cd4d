"""Two flights side by side: aligned, and the differences between them."""
