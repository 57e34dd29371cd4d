"""What a school writes for a lesson."""
