"""Backup of the decisions: a text file that either database can be restored from."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from alembic.runtime.migration import MigrationContext
from sqlalchemy import func, select, update

from loganalyze.problems import Problem
from loganalyze.review.decisions.decision_database import DecisionDatabase
from loganalyze.review.decisions.decision_tables import KEPT, TRAIL, TRAIL_HEAD
from loganalyze.review.decisions.trail_checks import check_trail
from loganalyze.review.decisions.trail_entries import TrailHead, head_of

WHAT = "a backup of review decisions"


def write_backup(database: DecisionDatabase, file: Path) -> TrailHead:
    """Write all decisions of one instant into a new file, a JSON object a line.

    The first line says what it is and holds the trail's head; then a line a row. Sessions are left
    out. The file appears whole or not at all.

    Raises
    ------
    Problem
        Where there is a file of this name.
    """
    if file.exists():
        raise Problem("there is a file of this name", str(file), "give another name")
    hidden = file.with_name(f".{file.name}.part")
    hidden.unlink(missing_ok=True)
    # For its owner alone from the first byte on: it holds hashes of passwords.
    number = os.open(hidden, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(number, "w", encoding="utf-8") as stream, \
            database.reading() as connection, connection.begin():
        if connection.dialect.name != "sqlite":
            connection.exec_driver_sql("set transaction isolation level repeatable read")
        head = head_of(connection)
        stream.write(json.dumps({
            "what": WHAT, "head": str(head),
            "revision": MigrationContext.configure(connection).get_current_revision()}) + "\n")
        for table in KEPT:
            order = list(table.primary_key.columns)
            for row in connection.execution_options(yield_per=1000).execute(
                    select(table).order_by(*order)).mappings():
                stream.write(json.dumps({"table": table.name, "row": {**row}},
                                        ensure_ascii=False) + "\n")
        stream.write(json.dumps({"end": str(head)}) + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    hidden.rename(file)
    return head


def restore_backup(database: DecisionDatabase, file: Path) -> TrailHead:
    """Put a backup into a database without decisions, in one transaction, and check its trail.

    Raises
    ------
    Problem
        Where the database holds decisions, the file is no whole backup of this revision, or its
        trail was altered; nothing is written then.
    """
    tables = {table.name: table for table in KEPT}
    with (file.open(encoding="utf-8") as stream,
          database.engine.connect().execution_options(writes=True) as connection,
          connection.begin()):
        if connection.execute(select(func.count()).select_from(TRAIL)).scalar_one():
            raise Problem("the database holds decisions already", str(file),
                          "restore into a new one")
        said = _line(stream.readline(), file)
        revision = MigrationContext.configure(connection).get_current_revision()
        if said.get("what") != WHAT:
            raise Problem("the file is no backup of decisions", str(file), "give another file")
        if said["revision"] != revision:
            raise Problem(f"the backup is of revision {said['revision']}, the database of "
                          f"{revision}", str(file), "restore it with the program that wrote it")
        ended = ""
        connection.execute(tables["settings"].delete())
        for text in stream:
            line = _line(text, file)
            if "end" in line:
                ended = line["end"]
            elif line["table"] == TRAIL_HEAD.name:
                connection.execute(update(TRAIL_HEAD).values(**line["row"]))
            else:
                connection.execute(tables[line["table"]].insert().values(**line["row"]))
        if ended != said["head"]:
            raise Problem("the backup isn't whole", str(file), "give another file")
        head = TrailHead.parse(ended)
        faults = check_trail(connection, head)
        if faults:
            raise Problem(f"the backup was altered ({faults[0].code}: {faults[0].where})",
                          str(file), "give another file")
    return head


def _line(text: str, file: Path) -> dict[str, Any]:
    try:
        found: dict[str, Any] = json.loads(text)
    except ValueError:
        raise Problem("the file is no backup of decisions", str(file),
                      "give another file") from None
    return found
