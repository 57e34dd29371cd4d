"""What was briefed against what was flown, exercise by exercise."""
