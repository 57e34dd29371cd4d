"""People with roles, their sessions, and the filters they keep."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "people",
        sa.Column("person", sa.String(100), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("active", sa.Integer, nullable=False),
        sa.Column("password_hash", sa.Text),
        sa.Column("issuer", sa.Text),
        sa.Column("subject", sa.Text),
        sa.Column("added_at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("person", name="pk_people"),
        sa.CheckConstraint("role in ('reviewer', 'gatekeeper', 'administrator')",
                           name=op.f("ck_people_role")),
        sa.UniqueConstraint("issuer", "subject", name=op.f("uq_people_issuer")),
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("person", sa.String(100), nullable=False),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("csrf_token", sa.String(64), nullable=False),
        sa.Column("started_at", sa.String(32), nullable=False),
        sa.Column("expires_at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("token_hash", name="pk_sessions"),
    )
    op.create_index("ix_sessions_person", "sessions", ["person"])
    op.create_table(
        "kept_filters",
        sa.Column("filter_id", sa.String(40), nullable=False),
        sa.Column("person", sa.String(100), nullable=False),
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("query", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("filter_id", name="pk_kept_filters"),
        sa.UniqueConstraint("person", "name", name=op.f("uq_kept_filters_person")),
    )


def downgrade() -> None:
    """Refuse: nothing that was decided is removed."""
    raise NotImplementedError("the tables of people are not removed")
