"""Titles, headings and controls of pages, pictures, paper and terminal."""
