"""A PostgreSQL server of the system's packages, as its own user, for the time of a test run."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

OWNER = "postgres"


def programs() -> Path | None:
    """The folder of the newest server's programs, None where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"),
                   key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    given = shutil.which("initdb")
    return Path(given).resolve().parent if given else None


def unavailable() -> str:
    """Why no server can be started; nothing where one can."""
    if programs() is None:
        return "no PostgreSQL server is installed"
    if os.getuid() == 0:
        try:
            subprocess.run(["true"], user=OWNER, check=True)
        except KeyError:
            return f"there is no user {OWNER} to run the server as"
    return ""


class Server:
    """A server of its own folder on a free loopback port; `address` : of its databases, without a
    name."""

    def __init__(self, durable: bool) -> None:
        where = programs()
        assert where is not None
        self._where = where
        self._as_owner = {"user": OWNER} if os.getuid() == 0 else {}
        self.folder = Path(tempfile.mkdtemp(prefix="loganalyze-postgresql-"))
        if self._as_owner:
            shutil.chown(self.folder, OWNER)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.address = f"postgresql://{OWNER}@127.0.0.1:{port}"
        self._options = (f"-p {port} -h 127.0.0.1 -k {self.folder} "
                         f"-c fsync={'on' if durable else 'off'}")
        self._run("initdb", "-D", str(self.folder / "data"), "-U", OWNER, "-A", "trust", "-N")

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-l", str(self.folder / "log"),
                  "-o", self._options, "start")

    def kill(self) -> None:
        """End it at once: nothing is finished, as when the power fails."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-m", "immediate", "stop")

    def _run(self, name: str, *arguments: str) -> None:
        subprocess.run([str(self._where / name), *arguments], check=True, cwd=self.folder,
                       timeout=60, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                       **self._as_owner)


@contextmanager
def own_server(*, durable: bool = False) -> Iterator[Server]:
    """Start a server and give it, to be killed and started again.

    ``durable`` : whether it waits for the disk, as one in use must.
    """
    made = Server(durable)
    try:
        made.start()
        try:
            yield made
        finally:
            made.kill()
    finally:
        shutil.rmtree(made.folder)


@contextmanager
def server(*, durable: bool = False) -> Iterator[str]:
    """Start a server; give the address of its databases without a name."""
    with own_server(durable=durable) as made:
        yield made.address


def empty_database(address: str, name: str) -> str:
    """Make a database, or empty it where there is one; return its address."""
    with psycopg.connect(f"{address}/postgres", autocommit=True) as connection:
        known = connection.execute("select 1 from pg_database where datname = %s", [name])
        if known.fetchone() is None:
            connection.execute(f'create database "{name}"')
    with psycopg.connect(f"{address}/{name}", autocommit=True) as connection:
        connection.execute("drop schema public cascade")
        connection.execute("create schema public")
    return f"{address}/{name}"
