"""Many reviewers at once over a large store: how long a list and a case take, and what is lost.

``python -m tests.review.crowd [--cases 100000] [--reviewers 20] [--rounds 5] [--pause 30]
[--database URL]``:
each reviewer, in a thread, lists by a random filter, opens a case, and decides on it or adds a
note, through the desk's application as a browser does. It prints the distribution of the times,
and exits with 1 where a median of list or case is above 200 ms, a confirmed change is lost, or one
stands at another case or under another name than its author's. Browsers and server share this
process; a reviewer thinks up to `--pause` seconds before each five requests.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from starlette.testclient import TestClient

from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.desk_application import desk_application
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.decisions.case_decisions import case_record
from loganalyze.review.decisions.decision_database import DecisionDatabase, open_database
from loganalyze.review.decisions.people import add_person
from loganalyze.review.decisions.trail_checks import check_trail
from loganalyze.review.decisions.trail_entries import Actor, trail_entries
from tests.review.large_store import write_large_store

MEDIAN_S = 0.2
QUERIES = ("status=open&status=moved", "severity=high", "text=climb", "sort=excess&page=7",
           "limit=VMO&since=2031-03&until=2031-06", "sort=age&descending=true",
           "certainty=proven+over&phase=cruise", "follow_up=open")


@dataclass
class Crowd:
    """What was found: times [s] by what was asked, confirmed and refused changes, faults."""

    times: dict[str, list[float]] = field(default_factory=lambda: {
        "list": [], "list page": [], "case": [], "case page": [], "change": []})
    confirmed: int = 0
    outdated: int = 0
    faults: list[str] = field(default_factory=list)


def crowd(store: Path, database: DecisionDatabase, reviewers: int, rounds: int, seed: int = 1,
          pause_s: float = 0.0) -> Crowd:
    """Let reviewers work at once; return the times and what went wrong.

    ``pause_s`` : the longest that a reviewer thinks before each round [s].
    """
    desk = ReviewDesk(store, database)
    sign_in = SignIn(database)
    app = desk_application(desk, sign_in, Binding("127.0.0.1", 8000, accounts=True))
    # Some cases are everybody's, so that they meet.
    shared = [one.case_key for one in desk.cases(
        Actor("test", "owner"), CaseFilter(page_size=3)).cases]
    found, lock = Crowd(), threading.Lock()
    said: list[tuple[str, str, str, str]] = []

    def work(number: int) -> None:
        name, chance = f"reviewer{number}", random.Random(f"{seed} {number}")
        session = sign_in.with_subject("https://id.example", name)
        browser = TestClient(app, base_url="http://127.0.0.1:8000")
        browser.cookies.set("review_8000", session.token)
        browser.headers["x-csrf-token"] = session.csrf_token

        def timed(what: str, method: str, path: str, **options):
            began = time.perf_counter()
            answer = browser.request(method, path, **options)
            took = time.perf_counter() - began
            with lock:
                found.times[what].append(took)
                if answer.status_code not in (200, 409):
                    found.faults.append(f"{path}: {answer.status_code}")
            return answer

        for turn in range(rounds):
            time.sleep(chance.uniform(0, pause_s))
            query = chance.choice(QUERIES)
            cases = timed("list", "GET", f"/api/cases?{query}").json()["cases"]
            timed("list page", "GET", f"/?{query}")
            key = (chance.choice(cases)["case_key"] if cases and chance.random() < 0.7
                   else chance.choice(shared))
            view = timed("case", "GET", f"/api/cases/{key}").json()
            timed("case page", "GET", f"/cases/{key}")
            word = f"{name} {turn} {key}"
            kind = "decision" if chance.random() < 0.5 else "notes"
            body = {"note": word} if kind == "notes" else {
                "decision": chance.choice(["valid", "nuisance", "false"]), "reason": word,
                "seen_version": view["record"]["version"]}
            answer = timed("change", "POST", f"/api/cases/{key}/{kind}", json=body)
            with lock:
                if answer.status_code == 200:
                    said.append((kind, key, word, name))
                else:
                    found.outdated += 1

    with database.writing(Actor("test", "command")) as change:
        for number in range(reviewers):
            add_person(change, f"reviewer{number}", "reviewer", issuer="https://id.example",
                       subject=f"reviewer{number}")
    threads = [threading.Thread(target=work, args=(number,)) for number in range(reviewers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found.confirmed = len(said)
    found.faults += _faults(database, said)
    desk.close()
    return found


def _faults(database: DecisionDatabase, said: list[tuple[str, str, str, str]]) -> list[str]:
    """Return which confirmed changes aren't there, once, at their case, under their author."""
    faults = []
    with database.reading() as connection:
        for kind, key, word, name in said:
            if kind == "notes":
                kept = [one.author for one in case_record(connection, key).notes
                        if one.note == word]
            else:
                kept = [one.actor for one in trail_entries(connection, case_key=key, most=100_000)
                        if one.action == "decided" and (one.after or {})["reason"] == word]
            if kept != [name]:
                faults.append(f"{word}: kept by {kept}")
        faults += [f"{fault.code} {fault.where}" for fault in check_trail(connection)]
    return faults


def summary(found: Crowd) -> str:
    """Return the distributions of the times, a line each."""
    lines = []
    for what, times in found.times.items():
        ordered = sorted(times)
        shares = [ordered[min(len(ordered) - 1, int(share * len(ordered)))]
                  for share in (0.05, 0.25, 0.5, 0.75, 0.95, 1.0)]
        lines.append(f"{what:<10} n {len(ordered):>5}  5/25/50/75/95/100 %: " + " ".join(
            f"{1000 * value:.0f}" for value in shares) + " ms")
    return "\n".join([*lines, f"{found.confirmed} changes confirmed, {found.outdated} refused as "
                      f"outdated, {len(found.faults)} faults", *found.faults[:20]])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--reviewers", type=int, default=20)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--pause", type=float, default=30.0)
    parser.add_argument("--database")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store"
        write_large_store(store, given.cases, samples=False)
        found = crowd(store, open_database(given.database or store), given.reviewers, given.rounds,
                      pause_s=given.pause)
    print(summary(found))
    slow = [what for what, times in found.times.items()
            if what != "change" and statistics.median(times) > MEDIAN_S]
    sys.exit(bool(found.faults or slow))


if __name__ == "__main__":
    main()
