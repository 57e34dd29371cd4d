"""The sections of a report by subject, each a function from a `Subject`; registered above."""
