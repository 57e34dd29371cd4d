"""The web application: the desk, its pages, its HTTP interface."""
