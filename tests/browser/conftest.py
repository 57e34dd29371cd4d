"""A headless Chromium, and reports of sample logs to open in it."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from playwright.sync_api import Error, sync_playwright

import loganalyze
from loganalyze import LogSummary, ReportOptions, ResultsFolder, assess_flight, write_reports
from tests.browser import reviewed_desk
from tests.review import postgresql_server
from tests.review.conftest import postgresql  # noqa: F401

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"

SYSTEM = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


@pytest.fixture(scope="session")
def browser():
    """Chromium: the system's, or the one that Playwright has installed."""
    found = next((path for name in SYSTEM if (path := shutil.which(name))), None)
    with sync_playwright() as playwright:
        try:
            chromium = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        except Error as error:
            pytest.skip(f"no Chromium here: install the system's, or run `playwright install "
                        f"chromium` ({error.message.splitlines()[0]})")
        yield chromium
        chromium.close()


def report_on(log: Path, folder: Path, sheet: Path = SAMPLES / "ouzelwing_240.toml",
              columns: Path | None = None, formats=("html",), **how) -> Path:
    """Write a log's results with its report, and return their folder."""
    from loganalyze import Presentation

    options = ReportOptions(formats, Presentation(**how))
    analysis = loganalyze.analyze(loganalyze.read_log(log, columns),
                                  loganalyze.read_limits(sheet))
    judged = assess_flight(analysis)
    with ResultsFolder(folder, LogSummary(limits=sheet, columns=columns)) as results:
        facts = results.add(judged)
        write_reports(results.path, judged, results.summary.of_flight(judged, facts), options)
        results.finish()
    return folder


@pytest.fixture(scope="session")
def descent(tmp_path_factory) -> Path:
    """The results of a descent through MMO and VMO, with two exceedances."""
    return report_on(SAMPLES / "descent_through_mmo_and_vmo.csv",
                     tmp_path_factory.mktemp("descent") / "out")


@pytest.fixture(scope="session")
def gaps(tmp_path_factory) -> Path:
    """The results of a log with gaps and a dead probe."""
    return report_on(SAMPLES / "gaps_and_dead_probe.csv",
                     tmp_path_factory.mktemp("gaps") / "out")


@pytest.fixture
def opened(browser):
    """Return a function that opens a report, and keeps what went wrong and what was asked for."""
    contexts = []

    def go(path: Path, *, width: int = 1280, height: int = 900, scripts: bool = True,
           ready: str | None = "#chart[data-ready]", **context):
        made = browser.new_context(viewport={"width": width, "height": height},
                                   java_script_enabled=scripts, **context)
        contexts.append(made)
        page = made.new_page()
        seen = SimpleNamespace(page=page, errors=[], requests=[], dialogs=[], failures=[])
        page.on("pageerror", lambda error: seen.errors.append(str(error)))
        page.on("console", lambda said: seen.errors.append(said.text)
                if said.type in ("error", "warning") else None)
        page.on("request", lambda request: seen.requests.append(request.url))
        page.on("requestfailed", lambda request: seen.failures.append(
            (request.url, request.failure)))
        page.on("dialog", lambda dialog: (seen.dialogs.append(dialog.message), dialog.dismiss()))
        page.goto(path.as_uri())
        if scripts and ready:
            page.wait_for_selector(ready, timeout=30_000)
        return seen

    yield go
    for made in contexts:
        made.close()


DATABASES = ("sqlite", "postgresql")
"""The kinds of databases on which every test of the review desk's pages runs."""


@pytest.fixture(scope="module", params=DATABASES)
def database(request) -> str | None:
    """The address of an empty database of decisions; None for a file in the store."""
    if request.param == "sqlite":
        return None
    return postgresql_server.empty_database(request.getfixturevalue("postgresql"), "pages")


@pytest.fixture(scope="module")
def store(tmp_path_factory, database) -> Path:
    """A store of some flights over VMO, and people who may sign in at its desk."""
    made = reviewed_desk.judged_store(tmp_path_factory.mktemp("desk"))
    reviewed_desk.add_people(made, database)
    return made


@pytest.fixture(scope="module")
def address(browser, store, database):
    """The address of a desk with accounts."""
    yield from reviewed_desk.served(store, database, "--accounts")


@pytest.fixture
def seat(browser, address):
    """Return a function that signs somebody in with a browser of their own."""
    seats = reviewed_desk.Seats(browser, address)
    yield seats
    for context in seats.contexts:
        context.close()
    assert seats.wrong == []
