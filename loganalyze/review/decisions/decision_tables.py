"""The tables of decisions, as the migrations leave them; a test holds the two together."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

METADATA = MetaData(naming_convention={
    "ix": "ix_%(table_name)s_%(column_0_name)s", "uq": "uq_%(table_name)s_%(column_0_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s", "pk": "pk_%(table_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s"})

CASES = Table(
    "cases", METADATA,
    Column("case_key", String(40), primary_key=True),
    Column("log_sha256", String(64), nullable=False),
    Column("limit_name", Text, nullable=False),
    Column("start_s", Float(53), nullable=False),
    Column("end_s", Float(53), nullable=False),
    Column("version", Integer, nullable=False),
    Column("decision", String(20)),
    Column("reason", Text, nullable=False),
    Column("decided_by", String(100)),
    Column("decided_at", String(32)),
    Column("verdict", Text, nullable=False),
    CheckConstraint("decision in ('valid', 'nuisance', 'false')", name="decision"),
)
"""Cases that somebody has dealt with; ``verdict`` : that the decision was made on."""

NOTES = Table(
    "notes", METADATA,
    Column("note_id", String(40), primary_key=True),
    Column("case_key", String(40), ForeignKey("cases.case_key"), nullable=False, index=True),
    Column("author", String(100), nullable=False),
    Column("written_at", String(32), nullable=False),
    Column("note", Text, nullable=False),
)

FOLLOW_UPS = Table(
    "follow_ups", METADATA,
    Column("follow_up_id", String(40), primary_key=True),
    Column("case_key", String(40), ForeignKey("cases.case_key"), nullable=False, index=True),
    Column("kind", String(30), nullable=False),
    Column("owner", String(100), nullable=False),
    Column("due", String(10), nullable=False),
    Column("state", String(10), nullable=False),
    Column("task", Text, nullable=False),
    Column("outcome", Text, nullable=False),
    Column("opened_by", String(100), nullable=False),
    Column("opened_at", String(32), nullable=False),
    Column("closed_by", String(100)),
    Column("closed_at", String(32)),
    Column("version", Integer, nullable=False),
    CheckConstraint("kind in ('inspection requested', 'crew contact', 'sheet fault')", name="kind"),
    CheckConstraint("state in ('open', 'done')", name="state"),
)

TRAIL = Table(
    "trail", METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("actor", String(100), nullable=False),
    Column("role", String(20), nullable=False),
    Column("action", String(40), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("subject", String(200), nullable=False),
    Column("case_key", String(40), index=True),
    Column("before", Text),
    Column("after", Text),
    Column("previous_hash", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)
"""``kind``, ``subject`` : which row of which table; ``before``, ``after`` : that row as JSON."""

TRAIL_HEAD = Table(
    "trail_head", METADATA,
    Column("head_id", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, nullable=False),
    Column("hash", String(64), nullable=False),
)
"""One row: the last entry of the trail, locked by each change."""

SETTINGS = Table(
    "settings", METADATA,
    Column("name", String(40), primary_key=True),
    Column("setting", Text, nullable=False),
)

PEOPLE = Table(
    "people", METADATA,
    Column("person", String(100), primary_key=True),
    Column("role", String(20), nullable=False),
    Column("active", Integer, nullable=False),
    Column("password_hash", Text),
    Column("issuer", Text),
    Column("subject", Text),
    Column("added_at", String(32), nullable=False),
    CheckConstraint("role in ('reviewer', 'gatekeeper', 'administrator')", name="role"),
    UniqueConstraint("issuer", "subject"),
)
"""``issuer``, ``subject`` : by which an OpenID provider knows a person."""

SESSIONS = Table(
    "sessions", METADATA,
    Column("token_hash", String(64), primary_key=True),
    Column("person", String(100), nullable=False, index=True),
    Column("kind", String(10), nullable=False),
    Column("csrf_token", String(64), nullable=False),
    Column("started_at", String(32), nullable=False),
    Column("expires_at", String(32), nullable=False),
)
"""``kind`` : "page", of a browser, or "program", of a program with a bearer token."""

KEPT_FILTERS = Table(
    "kept_filters", METADATA,
    Column("filter_id", String(40), primary_key=True),
    Column("person", String(100), nullable=False),
    Column("name", String(100), nullable=False),
    Column("query", Text, nullable=False),
    UniqueConstraint("person", "name"),
)

Index("ix_cases_log_sha256", CASES.c.log_sha256)

KEPT = (CASES, NOTES, FOLLOW_UPS, TRAIL, TRAIL_HEAD, SETTINGS, PEOPLE, KEPT_FILTERS)
"""What a backup holds, each table after those that it refers to."""
