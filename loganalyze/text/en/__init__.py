"""English: every word and sentence; in `labels` titles and headings, in `sentences` by subject."""
