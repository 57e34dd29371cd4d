"""The results of an assessment: frozen values, numbers and codes."""
