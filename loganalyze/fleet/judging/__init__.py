"""One log: whose aircraft it is of, its verdict, and the rows that say it."""
