"""Cases, notes, follow-ups and the trail."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

REFUSED = "the trail is append-only"


def upgrade() -> None:
    """Make the tables, and the triggers that keep trail and notes as they were written."""
    op.create_table(
        "cases",
        sa.Column("case_key", sa.String(40), nullable=False),
        sa.Column("log_sha256", sa.String(64), nullable=False),
        sa.Column("limit_name", sa.Text, nullable=False),
        sa.Column("start_s", sa.Float(53), nullable=False),
        sa.Column("end_s", sa.Float(53), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("decision", sa.String(20)),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("decided_by", sa.String(100)),
        sa.Column("decided_at", sa.String(32)),
        sa.Column("verdict", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("case_key", name="pk_cases"),
        sa.CheckConstraint("decision in ('valid', 'nuisance', 'false')",
                           name=op.f("ck_cases_decision")),
    )
    op.create_index("ix_cases_log_sha256", "cases", ["log_sha256"])
    op.create_table(
        "notes",
        sa.Column("note_id", sa.String(40), nullable=False),
        sa.Column("case_key", sa.String(40), nullable=False),
        sa.Column("author", sa.String(100), nullable=False),
        sa.Column("written_at", sa.String(32), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("note_id", name="pk_notes"),
        sa.ForeignKeyConstraint(["case_key"], ["cases.case_key"], name="fk_notes_case_key"),
    )
    op.create_index("ix_notes_case_key", "notes", ["case_key"])
    op.create_table(
        "follow_ups",
        sa.Column("follow_up_id", sa.String(40), nullable=False),
        sa.Column("case_key", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(30), nullable=False),
        sa.Column("owner", sa.String(100), nullable=False),
        sa.Column("due", sa.String(10), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("task", sa.Text, nullable=False),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("opened_by", sa.String(100), nullable=False),
        sa.Column("opened_at", sa.String(32), nullable=False),
        sa.Column("closed_by", sa.String(100)),
        sa.Column("closed_at", sa.String(32)),
        sa.Column("version", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("follow_up_id", name="pk_follow_ups"),
        sa.ForeignKeyConstraint(["case_key"], ["cases.case_key"], name="fk_follow_ups_case_key"),
        sa.CheckConstraint("kind in ('inspection requested', 'crew contact', 'sheet fault')",
                           name=op.f("ck_follow_ups_kind")),
        sa.CheckConstraint("state in ('open', 'done')", name=op.f("ck_follow_ups_state")),
    )
    op.create_index("ix_follow_ups_case_key", "follow_ups", ["case_key"])
    op.create_table(
        "trail",
        sa.Column("seq", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("actor", sa.String(100), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("action", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("subject", sa.String(200), nullable=False),
        sa.Column("case_key", sa.String(40)),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("previous_hash", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_trail"),
    )
    op.create_index("ix_trail_case_key", "trail", ["case_key"])
    head = op.create_table(
        "trail_head",
        sa.Column("head_id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("head_id", name="pk_trail_head"),
    )
    op.bulk_insert(head, [{"head_id": 1, "seq": 0, "hash": "0" * 64}])
    op.create_table(
        "settings",
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("setting", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_settings"),
    )
    _refuse_changes("trail")
    _refuse_changes("notes")


def _refuse_changes(table: str) -> None:
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("update", "delete"):
            op.execute(f"create trigger keep_{table}_{verb} before {verb} on {table} begin "
                       f"select raise(abort, '{REFUSED}'); end")
        return
    op.execute(f"create function keep_{table}() returns trigger language plpgsql as "
               f"$$ begin raise exception '{REFUSED}'; end $$")
    op.execute(f"create trigger keep_{table}_rows before update or delete on {table} "
               f"for each row execute function keep_{table}()")
    op.execute(f"create trigger keep_{table}_all before truncate on {table} "
               f"for each statement execute function keep_{table}()")


def downgrade() -> None:
    """Refuse: nothing that was decided is removed."""
    raise NotImplementedError(REFUSED)
