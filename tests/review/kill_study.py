"""Nothing that was confirmed to a reviewer is lost when the desk is killed while it writes.

``python -m tests.review.kill_study [--kills 500] [--database URL | --postgresql]``: a process
writes decisions, notes and follow-ups, several threads at once, and says each one once it is
confirmed; it is killed (SIGKILL) at a random instant and started again. After each kill every
confirmed change must be there, the trail whole, and the tables as the trail says; no decision may
be there twice.
``--postgresql`` starts a server of the system's packages for it. The command forks the processes
from itself, which costs a hundredth of starting them; a fixed sample, which starts each one afresh,
is among the tests. It exits with 1 where anything was lost.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TextIO

from loganalyze.review.cases.case_matching import Span, own_key
from loganalyze.review.decisions.case_decisions import (
    add_note,
    case_record,
    decide,
    open_follow_up,
)
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.trail_checks import check_trail
from loganalyze.review.decisions.trail_entries import Actor, TrailHead, head_of, trail_entries
from tests.review.postgresql_server import empty_database, server

VERDICT = {"judgement_key": "1", "present": True}
ROOT = Path(__file__).parents[2]
THREADS = 3
LONGEST_S = 0.6
"""A process is killed after at most this long from its first confirmed change [s]."""


@dataclass
class Outcome:
    """What the study found: kills, confirmed changes, and what was lost, a line each."""

    kills: int = 0
    confirmed: int = 0
    lost: list[str] = field(default_factory=list)


def write_until_killed(place: str, seed: int) -> None:
    """Change cases for ever; print each change once it is confirmed."""
    database = open_database(place if "://" in place else Path(place))
    printing = threading.Lock()

    def work(thread: int) -> None:
        chance = random.Random(f"{seed} {thread}")
        actor = Actor(f"reviewer {thread}", "reviewer")
        for number in range(10**9):
            log = f"{chance.randrange(30) * THREADS + thread:064x}"
            span = Span(own_key(log, "VMO", 0.0), log, "VMO", 0.0, 9.0)
            word = f"{seed} {thread} {number}"
            with database.writing(actor) as change:
                kind = chance.randrange(3)
                if kind == 0:
                    seen = case_record(change.connection, span.key).version
                    decide(change, span, VERDICT, decision="valid", reason=word,
                           seen_version=seen)
                elif kind == 1:
                    add_note(change, span, VERDICT, word)
                else:
                    open_follow_up(change, span, VERDICT, kind="crew contact", owner="kim",
                                   due=date(2031, 7, 1), task=word)
            with printing:
                sys.stdout.write(json.dumps([kind, span.key, word, str(change.head)]) + "\n")
                sys.stdout.flush()

    for thread in range(THREADS):
        threading.Thread(target=work, args=(thread,), daemon=True).start()
    threading.Event().wait()


@contextmanager
def writing(place: str, number: int, forked: bool) -> Iterator[tuple[int, TextIO]]:
    """Start a process that writes; give its number, and what it says as a stream."""
    if not forked:
        with subprocess.Popen(
                [sys.executable, "-m", "tests.review.kill_study", "--write", place, str(number)],
                cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            yield process.pid, process.stdout
        return
    reading, said = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(reading)
        os.dup2(said, sys.stdout.fileno())
        write_until_killed(place, number)
    os.close(said)
    with os.fdopen(reading, encoding="utf-8") as stream:
        yield pid, stream
    os.waitpid(pid, 0)


def study(place: str, kills: int, seed: int = 1, *, forked: bool = False) -> Outcome:
    """Kill a writing process again and again; return what was lost.

    ``forked`` : from this process, which then must have no other threads.
    """
    found = Outcome()
    chance = random.Random(seed)
    for number in range(kills):
        with writing(place, number, forked) as (pid, stream):
            first = stream.readline()
            time.sleep(chance.uniform(0, LONGEST_S))
            os.kill(pid, signal.SIGKILL)
            rest = stream.read()
        lines = [line for line in (first + rest).splitlines(keepends=True) if line.endswith("\n")]
        found.kills += 1
        found.confirmed += len(lines)
        found.lost += [f"kill {number}: {what}" for what in _lost(place, lines)]
    return found


def _lost(place: str, lines: list[str]) -> list[str]:
    """Return what of the confirmed changes isn't there, and what of the rest isn't right."""
    database = open_database(place if "://" in place else Path(place))
    missing = []
    heads = []
    with database.reading() as connection:
        for kind, key, word, head in map(json.loads, lines):
            record = case_record(connection, key)
            decided = [entry for entry in trail_entries(connection, case_key=key, most=10_000)
                       if entry.action == "decided" and (entry.after or {})["reason"] == word]
            there = {0: len(decided) == 1, 1: sum(note.note == word for note in record.notes) == 1,
                     2: sum(one.task == word for one in record.follow_ups) == 1}[kind]
            if not there:
                missing.append(f"{word} of case {key}")
            heads.append(TrailHead.parse(head))
        last = max(heads, key=lambda head: head.seq, default=None)
        missing += [f"{fault.code} {fault.where}" for fault in check_trail(connection, last)]
        if last is not None and head_of(connection).seq < last.seq:
            missing.append("the trail is shorter than what was confirmed")
    database.close()
    return missing


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--database", help="a PostgreSQL database in place of a new SQLite file")
    parser.add_argument("--postgresql", action="store_true", help="a new PostgreSQL server")
    parser.add_argument("--write", nargs=2, metavar=("PLACE", "SEED"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.write:
        write_until_killed(given.write[0], int(given.write[1]))
        return
    with ExitStack() as stack:
        place = given.database or stack.enter_context(tempfile.TemporaryDirectory())
        if given.postgresql:
            place = empty_database(stack.enter_context(server(durable=True)), "kills")
            open_database(place).close()
        found = study(place, given.kills, given.seed, forked=True)
    print(f"{found.kills} kills, {found.confirmed} confirmed changes, {len(found.lost)} lost")
    print("\n".join(found.lost))
    sys.exit(bool(found.lost))


if __name__ == "__main__":
    main()
