"""What people decide of cases: tables, transactions, the trail, backup.

Only what people say is kept here; what was judged stays in the store. One database, SQLite in the
store's folder or PostgreSQL, through SQLAlchemy's Core; its tables are made and changed by the
migrations in `migrations/`.

**Writing.** Every change is one transaction of `DecisionDatabase.writing`, made by functions of
`case_decisions`, `follow_ups`, `people` and `kept_filters` that take the `Change` it gives. A
transaction holds the one row of `trail_head` from its beginning, so that changes follow each other.
What a function returned has been confirmed once the ``with`` block is left.

**Versions.** A case and a follow-up have a version that rises with each change. Who changes one
names the version they have seen; where it isn't the present one, `Outdated` brings the present
state, and nothing is written.

**The trail.** Each change appends an entry: who, when, what, before and after. An entry's hash
covers it and the hash before; triggers refuse to change or remove entries, and
`trail_checks.check_trail` finds what was altered around them: in the trail, and in the tables that
must hold what the trail says last. Only who can write the database past this program could shorten
the trail and set all tables back; to that a head that was written down elsewhere bears witness, as
every backup, export and report holds one.

Instants are ISO 8601 texts in UTC, states JSON texts: the same bytes in either database.
"""
