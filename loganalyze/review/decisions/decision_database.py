"""The database of decisions: opened, upgraded, read and changed."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, make_url, select
from sqlalchemy.engine import URL
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    InterfaceError,
    NoSuchModuleError,
    OperationalError,
)

from loganalyze.problems import Problem
from loganalyze.review.decisions.decision_tables import SETTINGS
from loganalyze.review.decisions.trail_entries import Actor, Change

FILE = "review.sqlite"
"""The database's file in a store, where no other is asked for."""
WAIT_S = 20.0
"""How long a change waits for another one [s]."""
Clock = Callable[[], datetime]


def now_utc() -> datetime:
    """Return the present instant."""
    return datetime.now(UTC)


class DatabaseLost(Problem):
    """The database of decisions didn't answer.

    ``uncertain`` : whether a change was being committed, which then may have been kept or not;
    otherwise nothing was kept.
    """

    def __init__(self, place: str, *, uncertain: bool) -> None:
        self.uncertain = uncertain
        super().__init__(
            "the database of decisions was lost while a change was being kept: it may be there or "
            "not" if uncertain else "the database of decisions can't be reached, and nothing was "
            "kept", place, "check whether it runs, then look whether the change is there"
            if uncertain else "check whether it runs, then try again")


class DecisionDatabase:
    """An open database; `open_database` makes it. Safe to use from several threads.

    Where it doesn't answer, its methods raise `DatabaseLost`; once it answers again, they work as
    before.

    ``engine`` : SQLAlchemy's; ``clock`` : gives the instant of a change.
    """

    def __init__(self, engine: Engine, clock: Clock = now_utc) -> None:
        self.engine = engine
        self.clock = clock

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database."""
        try:
            with self.engine.connect() as connection:
                yield connection
        except DBAPIError as error:
            raise self._lost(error, uncertain=False) from error

    @contextmanager
    def transaction(self) -> Iterator[Connection]:
        """Give a connection whose changes are kept when the block ends, and none where it raises.

        What it changes isn't in the trail: `writing` is for all that people do.
        """
        committing = False
        try:
            with (self.engine.connect().execution_options(writes=True) as connection,
                  connection.begin()):
                yield connection
                committing = True
        except DBAPIError as error:
            raise self._lost(error, uncertain=committing) from error

    @contextmanager
    def writing(self, actor: Actor) -> Iterator[Change]:
        """Give a transaction; it is kept when the block ends, and left out when it raises."""
        with self.transaction() as connection:
            yield Change(connection, actor, self.clock())

    def _lost(self, error: DBAPIError, *, uncertain: bool) -> Exception:
        """Return what a fault of the database is to those who ask: lost, or a fault of ours."""
        if isinstance(error, OperationalError | InterfaceError) or error.connection_invalidated:
            return DatabaseLost(self.engine.url.render_as_string(hide_password=True),
                                uncertain=uncertain)
        return error

    def setting(self, name: str) -> str:
        """Return a random secret of this database by name, made at the first use."""
        query = select(SETTINGS.c.setting).where(SETTINGS.c.name == name)
        with self.reading() as connection:
            found = connection.execute(query).scalar_one_or_none()
        if found is not None:
            return str(found)
        with self.transaction() as connection:
            found = connection.execute(query).scalar_one_or_none()
            if found is None:
                found = secrets.token_hex(32)
                connection.execute(SETTINGS.insert().values(name=name, setting=found))
            return str(found)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def open_database(where: str | Path, *, upgrade: bool | None = None,
                  clock: Clock = now_utc) -> DecisionDatabase:
    """Open a database of decisions; a new one is made, an older one upgraded with all its data.

    Parameters
    ----------
    where : str or Path
        The folder of a store, for `FILE` in it; or the URL of a PostgreSQL database.
    upgrade : bool, optional
        Whether an older database is upgraded. Otherwise a file is, after a copy of it was made
        beside it, and a server's database, which others may be using, isn't.
    clock : callable, optional
        Gives the instant of a change.

    Raises
    ------
    Problem
        For a URL of something else, a database that can't be reached, an older one that isn't
        upgraded, and one of a newer program.
    """
    engine, place = _engine(where)
    try:
        with engine.connect() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
        known = [
            revision.revision
            for revision in ScriptDirectory.from_config(_config()).walk_revisions()
        ]
        if found is not None and found not in known:
            raise Problem(f"the database of decisions has revision {found}, which this program "
                          "doesn't know", place, "use the newer program that made it")
        if found != known[0]:
            is_file = engine.dialect.name == "sqlite"
            if found is not None and not (is_file if upgrade is None else upgrade):
                raise Problem(f"the database of decisions has revision {found}, and this program "
                              f"works with {known[0]}", place, "make a backup, then run "
                              "loganalyze review upgrade once")
            if found is not None and is_file:
                _copy(Path(str(engine.url.database)), found)
            upgrade_database(engine)
    except Problem:
        engine.dispose()
        raise
    except DBAPIError as error:
        engine.dispose()
        raise Problem("the database of decisions can't be used "
                      f"({str(error.orig).strip().splitlines()[0]})", place,
                      "check its address, its permissions and whether it runs") from None
    return DecisionDatabase(engine, clock)


def upgrade_database(engine: Engine, to: str = "head") -> None:
    """Bring a database to a revision, in one transaction."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        command.upgrade(_config(connection), to)


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config


def _engine(where: str | Path) -> tuple[Engine, str]:
    """Return an engine, and what a sentence calls the database: no password is in it."""
    if isinstance(where, Path) or "://" not in where:
        file = Path(where) / FILE
        engine = create_engine(URL.create("sqlite", database=str(file)),
                               connect_args={"timeout": WAIT_S})
        _set_up_sqlite(engine)
        return engine, str(file)
    try:
        url = make_url(where)
        if url.get_backend_name() != "postgresql":
            raise NoSuchModuleError
        url = url.set(drivername="postgresql+psycopg")
        engine = create_engine(url, pool_pre_ping=True, pool_size=10, max_overflow=20)
    except (ArgumentError, NoSuchModuleError, ValueError):
        raise Problem("the address of the database of decisions is none of a PostgreSQL database",
                      "--database", "write it as postgresql://USER@HOST/NAME") from None
    return engine, url.render_as_string(hide_password=True)


def _set_up_sqlite(engine: Engine) -> None:
    """Let a change wait for others, begin with the lock it needs, and be on the disk when kept."""

    @event.listens_for(engine, "connect")
    def connected(connection: Any, record: Any) -> None:
        connection.isolation_level = None  # the program itself says BEGIN, below
        for pragma in ("journal_mode = wal", "synchronous = full", "foreign_keys = on"):
            connection.execute(f"pragma {pragma}")

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("begin immediate" if writes else "begin")


def _copy(file: Path, revision: str) -> None:
    """Copy a database's file beside it before it is upgraded."""
    with (closing(sqlite3.connect(file)) as source,
          closing(sqlite3.connect(file.with_name(f"{file.name}.of-revision-{revision}"))) as copy):
        source.backup(copy)
