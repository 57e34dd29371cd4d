"""Nothing that was confirmed to a reviewer is lost when the database's server is killed.

``python -m tests.review.server_kill_study [--kills 15] [--seed 1]``: reviewers decide, note and
open follow-ups through the desk's application, several at once; a PostgreSQL server of the system's
packages is ended at a random instant (`pg_ctl stop -m immediate`) and started again, the desk is
not. After each kill what was confirmed must be there once; what was refused as not kept mustn't
be; what was answered as uncertain may be there or not; no other answer may come, and the desk must
answer within ten seconds of the server's start. At the end the trail must be whole. It exits
with 1 where anything of it fails.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from starlette.testclient import TestClient

from loganalyze.review.application.desk_forms import FollowUpQuery
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.decisions.case_decisions import case_record
from loganalyze.review.decisions.decision_database import open_database
from loganalyze.review.decisions.trail_checks import check_trail
from loganalyze.review.decisions.trail_entries import Actor, trail_entries
from tests.review.conftest import Office
from tests.review.large_store import write_large_store
from tests.review.postgresql_server import Server, empty_database, own_server

REVIEWERS = 3
LONGEST_S = 0.5
"""The server is killed after at most this long from a confirmed change [s]."""
RECOVERED_S = 10.0
OWNER = Actor("test", "owner")
KEPT, LOST, UNCERTAIN = "kept", "database lost", "change uncertain"


@dataclass
class Outcome:
    """What was answered, by its code, and what went wrong, a line each."""

    answers: Counter[str] = field(default_factory=Counter)
    kills: int = 0
    faults: list[str] = field(default_factory=list)


def study(store: Path, database_server: Server, kills: int, seed: int = 1) -> Outcome:
    """Kill a server again and again under reviewers who write; return what went wrong."""
    office = Office(store, open_database(empty_database(database_server.address, "killed")))
    keys = office.desk.case_keys(OWNER, CaseFilter(), 0, 40)
    browsers = [office.person(f"reviewer{number}", "reviewer") for number in range(REVIEWERS)]
    found, chance = Outcome(), random.Random(seed)
    said: list[tuple[str, str, str, str]] = []
    lock, confirmed = threading.Lock(), threading.Event()

    def work(number: int, round_number: int, stop: threading.Event) -> None:
        chance = random.Random(f"{seed} {number} {round_number}")
        browser, turn = browsers[number], 0
        while not stop.is_set():
            turn += 1
            kind, key = chance.choice(("decision", "notes", "follow-ups")), chance.choice(keys)
            word = f"{number} {round_number} {turn}"
            answer = _written(browser, kind, key, word)
            if answer == KEPT:
                confirmed.set()
            with lock:
                said.append((kind, key, word, answer))
                found.answers[answer] += 1

    for kill in range(kills):
        stop = threading.Event()
        confirmed.clear()
        workers = [threading.Thread(target=work, args=(number, kill, stop))
                   for number in range(REVIEWERS)]
        for worker in workers:
            worker.start()
        confirmed.wait(30.0)
        time.sleep(chance.uniform(0, LONGEST_S))
        database_server.kill()
        time.sleep(chance.uniform(0, 0.1))
        stop.set()
        for worker in workers:
            worker.join()
        found.kills += 1
        database_server.start()
        found.faults += [f"kill {kill}: {what}" for what in _recovered(office, browsers[0])]
    found.faults += _faults(office, said)
    office.desk.close()
    return found


def _written(browser: TestClient, kind: str, key: str, word: str) -> str:
    """Write something; return how it was answered."""
    body: dict[str, object] = {"note": word}
    if kind == "follow-ups":
        body = {"kind": "crew contact", "owner": "kim", "due": "2031-07-01", "task": word}
    elif kind == "decision":
        seen = browser.get(f"/api/cases/{key}")
        if seen.status_code != 200:
            return str(seen.json()["code"])
        body = {"decision": "valid", "reason": word,
                "seen_version": seen.json()["record"]["version"]}
    answer = browser.post(f"/api/cases/{key}/{kind}", json=body)
    return KEPT if answer.status_code == 200 else str(answer.json()["code"])


def _recovered(office: Office, browser: TestClient) -> list[str]:
    """Return what doesn't work of a desk whose server was started again."""
    began = time.monotonic()
    while (status := browser.get("/").status_code) != 200:
        if time.monotonic() - began > RECOVERED_S:
            return [f"the list is answered with {status}"]
        time.sleep(0.05)
    office.desk.follow_ups(OWNER, FollowUpQuery())
    return []


def _faults(office: Office, said: list[tuple[str, str, str, str]]) -> list[str]:
    """Return which answers weren't true, and what the trail has against itself."""
    allowed = {KEPT: (1,), LOST: (0,), "outdated": (0,), UNCERTAIN: (0, 1)}
    faults = []
    with office.database.reading() as connection:
        for kind, key, word, answer in said:
            record = case_record(connection, key)
            times = (
                sum(note.note == word for note in record.notes) if kind == "notes" else
                sum(task.task == word for task in record.follow_ups) if kind == "follow-ups" else
                sum(entry.action == "decided" and (entry.after or {})["reason"] == word
                    for entry in trail_entries(connection, case_key=key, most=100_000)))
            if times not in allowed.get(answer, ()):
                faults.append(f"{kind} {word} of {key}: answered {answer}, there {times} times")
        faults += [f"{fault.code} {fault.where}" for fault in check_trail(connection)]
    return faults


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, own_server(durable=True) as database_server:
        store = Path(folder) / "store"
        write_large_store(store, 200, samples=False)
        found = study(store, database_server, given.kills, given.seed)
    print(f"{found.kills} kills, {dict(found.answers)}, {len(found.faults)} faults")
    print("\n".join(found.faults[:50]))
    sys.exit(bool(found.faults))


if __name__ == "__main__":
    main()
