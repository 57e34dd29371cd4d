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


@contextmanager
def server(*, durable: bool = False) -> Iterator[str]:
    """Start a server on a free loopback port; give the address of its databases without a name.

    ``durable`` : whether it waits for the disk, as one in use must.
    """
    where = programs()
    assert where is not None
    as_owner = {"user": OWNER} if os.getuid() == 0 else {}
    folder = Path(tempfile.mkdtemp(prefix="loganalyze-postgresql-"))
    if as_owner:
        shutil.chown(folder, OWNER)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    def run(name: str, *arguments: str) -> None:
        subprocess.run([str(where / name), *arguments], check=True, cwd=folder, timeout=60,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **as_owner)

    try:
        run("initdb", "-D", str(folder / "data"), "-U", OWNER, "-A", "trust", "-N")
        run("pg_ctl", "-D", str(folder / "data"), "-w", "-l", str(folder / "log"), "-o",
            f"-p {port} -h 127.0.0.1 -k {folder} -c fsync={'on' if durable else 'off'}", "start")
        try:
            yield f"postgresql://{OWNER}@127.0.0.1:{port}"
        finally:
            run("pg_ctl", "-D", str(folder / "data"), "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)


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
