"""The migrations of the database of decisions, run by alembic; a file a revision."""
