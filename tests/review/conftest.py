"""Small stores of an invented fleet for the review desk."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import loganalyze
from loganalyze.review.cases.case_index import CaseIndex
from loganalyze.review.cases.case_matching import Span, own_key
from loganalyze.review.cases.case_rows import Standing
from loganalyze.review.decisions.decision_database import DecisionDatabase, open_database
from loganalyze.review.decisions.trail_entries import Actor
from tests.fleet.conftest import write_log, write_sheet
from tests.review import postgresql_server

TODAY = date(2031, 6, 1)
FLIGHTS = (("north/DEMO-1", 251, "2031-01-06"), ("north/DEMO-1", 262, "2031-02-07"),
           ("south/DEMO-2", 249, "2031-02-20"), ("south/DEMO-2", 230, "2031-03-08"))


FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9]+)/"
[[aircraft]]
registration = ["DEMO-*"]
[[aircraft.sheet]]
limits = "twin.toml"
"""


def judge(logs: Path, store: Path) -> None:
    """Judge logs into a store by the fleet file beside them."""
    fleet = logs.parent / "fleet.toml"
    fleet.write_text(FLEET, encoding="utf-8")
    loganalyze.run_fleet([str(logs)], store, fleet=fleet, workers=0)


def pseudonym(name: str) -> str:
    return f"aircraft {sum(name.encode()) % 97}"


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    return write_sheet(tmp_path / "twin.toml")


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    for place, peak, day in FLIGHTS:
        write_log(tmp_path / "logs" / place / f"{day}.csv", peak, day=day)
    return tmp_path / "logs"


@pytest.fixture
def store(tmp_path: Path, logs: Path, sheet: Path) -> Path:
    """A store of four flights, three of them over VMO."""
    judge(logs, tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def index(store: Path) -> CaseIndex:
    return CaseIndex(store, pseudonym)


def standing(index: CaseIndex, key: str, **changes: object) -> Standing:
    """What a first decision on a case leaves."""
    found = index.verdict(key)
    assert found is not None
    span, verdict = found
    given = {"version": 1, "decision": "valid", "decided_at": datetime(2031, 5, 1, tzinfo=UTC),
             "verdict": verdict, "open_follow_ups": 0, "next_due": None, "owners": (),
             "words": "", **changes}
    return Standing(span.key, span.log_sha256, span.limit, span.start_s, span.end_s, **given)


ANNE, BO = Actor("anne", "reviewer"), Actor("bo", "gatekeeper")
VERDICT = {"judgement_key": "1", "present": True, "severity": "low", "limit": "VMO"}


def case_span(number: int = 0) -> Span:
    log = f"{number:064x}"
    return Span(own_key(log, "VMO", 12.5), log, "VMO", 12.5, 31.0)


@pytest.fixture(scope="session")
def postgresql():
    """The address of a running server; skipped with the reason where there can't be one."""
    if reason := postgresql_server.unavailable():
        pytest.skip(reason)
    with postgresql_server.server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path) -> str | Path:
    """Where a new database of decisions can be, for `open_database`."""
    if request.param == "sqlite":
        (tmp_path / "decisions").mkdir()
        return tmp_path / "decisions"
    return postgresql_server.empty_database(request.getfixturevalue("postgresql"), "review")


@pytest.fixture
def database(place) -> DecisionDatabase:
    opened = open_database(place)
    yield opened
    opened.close()
