"""What is said at the review desk."""
