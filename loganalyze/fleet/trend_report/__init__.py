"""A fleet's trends as a report: answers, tables, pictures, and the flights behind each number."""
