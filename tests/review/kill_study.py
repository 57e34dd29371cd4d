"""Nothing that was confirmed to a reviewer is lost when the desk is killed while it writes.

``python -m tests.review.kill_study [--kills 500] [--database URL]``: a process writes decisions,
notes and follow-ups, several threads at once, and says each one once it is confirmed; it is
killed (SIGKILL) at a random instant and started again. After each kill every confirmed change must
be there, the trail whole, and the tables as the trail says; no decision may be there twice.
A fixed sample is among the tests. It exits with 1 where anything was lost.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

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


def study(place: str, kills: int, seed: int = 1) -> Outcome:
    """Kill a writing process again and again; return what was lost."""
    found = Outcome()
    chance = random.Random(seed)
    for number in range(kills):
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.review.kill_study", "--write", place, str(number)],
            cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        first = process.stdout.readline()
        time.sleep(chance.uniform(0, LONGEST_S))
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read()
        process.wait()
        process.stdout.close()
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
    parser.add_argument("--write", nargs=2, metavar=("PLACE", "SEED"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.write:
        write_until_killed(given.write[0], int(given.write[1]))
        return
    with tempfile.TemporaryDirectory() as folder:
        found = study(given.database or folder, given.kills, given.seed)
    print(f"{found.kills} kills, {found.confirmed} confirmed changes, {len(found.lost)} lost")
    print("\n".join(found.lost))
    sys.exit(bool(found.lost))


if __name__ == "__main__":
    main()
