"""The sections of a report, which know nothing of pages or paper."""
