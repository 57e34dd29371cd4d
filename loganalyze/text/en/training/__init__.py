"""What is said of training flights."""
