"""Two flights side by side, as pictures, a page, a table and lines of text."""
