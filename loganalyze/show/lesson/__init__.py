"""A lesson's page, its paper, its lines on the terminal and its files."""
