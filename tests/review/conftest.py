"""Small stores of an invented fleet for the review desk."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

import loganalyze
from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import SignedIn, SignIn
from loganalyze.review.application.desk_application import desk_application
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.cases.case_index import CaseIndex
from loganalyze.review.cases.case_matching import Span, own_key
from loganalyze.review.cases.case_rows import Standing
from loganalyze.review.decisions.decision_database import DecisionDatabase, open_database
from loganalyze.review.decisions.people import add_person, find_person
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


def pseudonym(kind: str, name: str) -> str:
    return f"{kind} {sum(name.encode()) % 97}"


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
    """The address of a running server; where there can't be one, that is a failure."""
    if reason := postgresql_server.unavailable():
        pytest.fail(f"{reason}: install your system's package postgresql")
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


@pytest.fixture(scope="session")
def judged(tmp_path_factory) -> Path:
    """A folder with a judged store that no test changes, its logs, fleet file and sheet."""
    folder = tmp_path_factory.mktemp("judged")
    write_sheet(folder / "twin.toml")
    for place, peak, day in FLIGHTS:
        write_log(folder / "logs" / place / f"{day}.csv", peak, day=day)
    judge(folder / "logs", folder / "store")
    return folder


class Office:
    """A desk with its application, and browsers and programs of whoever is in it."""

    address = "http://127.0.0.1:8000"

    def __init__(self, store: Path, database: DecisionDatabase, *, accounts: bool = True) -> None:
        self.desk = ReviewDesk(store, database)
        self.database = database
        self.binding = Binding("127.0.0.1", 8000, accounts=accounts)
        self.sign_in = SignIn(database, None if accounts else "owner")
        self.app = desk_application(self.desk, self.sign_in, self.binding)
        self.key = self.desk.cases(Actor("owner", "owner"), CaseFilter()).cases[0].case_key
        self._csrf: dict[int, str] = {}

    def stranger(self) -> TestClient:
        return TestClient(self.app, base_url=self.address, raise_server_exceptions=False,
                          follow_redirects=False)

    def person(self, name: str, role: str) -> TestClient:
        """A browser of somebody, signed in with a session of its own."""
        with self.database.reading() as connection:
            known = find_person(connection, name)
        if known is None:
            with self.database.writing(Actor("test", "command")) as change:
                add_person(change, name, role, issuer="https://id.example", subject=name)
        return self._browser(self.sign_in.with_subject("https://id.example", name))

    def owner(self) -> TestClient:
        """The browser of the one person of a desk without accounts."""
        return self._browser(self.sign_in.enter(self.sign_in.secret))

    def _browser(self, found: SignedIn | None) -> TestClient:
        assert found is not None
        browser = self.stranger()
        browser.cookies.set("review_8000", found.token)
        browser.headers["x-csrf-token"] = found.csrf_token
        return browser

    def form(self, browser: TestClient, path: str, **fields: str) -> Response:
        """Send a form as a page of the desk does."""
        return browser.post(path, data={"csrf_token": browser.headers["x-csrf-token"], **fields})


@pytest.fixture
def office(judged, tmp_path) -> Office:
    """A desk with accounts."""
    (tmp_path / "decisions").mkdir()
    made = Office(judged / "store", open_database(tmp_path / "decisions"))
    yield made
    made.desk.close()


@pytest.fixture
def own_desk(judged, tmp_path) -> Office:
    """A desk of one person on one machine."""
    (tmp_path / "own").mkdir()
    made = Office(judged / "store", open_database(tmp_path / "own"), accounts=False)
    yield made
    made.desk.close()
