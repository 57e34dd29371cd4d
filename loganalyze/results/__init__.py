"""What an assessment holds: frozen values, numbers and codes."""
