"""A trainee's progress as a page, tables and lines of text."""
