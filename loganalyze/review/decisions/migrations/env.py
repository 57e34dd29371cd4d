"""Run by alembic: migrates the connection that `decision_database` gives it."""

from __future__ import annotations

from alembic import context

from loganalyze.review.decisions.decision_tables import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, transactional_ddl=True)
context.run_migrations()
