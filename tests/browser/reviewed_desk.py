"""A small store, its desk served by the command, and seats at it for the tests in a browser."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import loganalyze
from tests.fleet.conftest import write_log, write_sheet

AXE = Path(__file__).parent / "axe.min.js"
PASSWORD = "a long password of hers"
PEOPLE = (("anne", "gatekeeper"), ("bo", "reviewer"), ("cy", "administrator"))
FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9]+)/"
[[aircraft]]
registration = ["DEMO-*"]
[[aircraft.sheet]]
limits = "twin.toml"
"""
PEAKS = (262, 251, 249, 255, 253, 248)
"""Greatest speeds [kt] of the flights, over a VMO of 245 kt."""


def judged_store(folder: Path) -> Path:
    """Judge some flights over VMO into a store; the names of their logs are markup."""
    write_sheet(folder / "twin.toml")
    (folder / "fleet.toml").write_text(FLEET, encoding="utf-8")
    for number, peak in enumerate(PEAKS):
        day = f"2026-0{number + 1}-06"
        write_log(folder / "logs" / f"DEMO-{1 + number % 2}" / f"<b>{day}.csv", peak, day=day)
    loganalyze.run_fleet([str(folder / "logs")], folder / "store", fleet=folder / "fleet.toml",
                         workers=0)
    return folder / "store"


def place_options(store: Path, database: str | None) -> list[str]:
    """Return the options that name a store and where decisions about it are kept."""
    return ["--store", str(store), *(() if database is None else ("--database", database))]


def add_people(store: Path, database: str | None) -> None:
    """Add PEOPLE to a desk, all with PASSWORD, by the command."""
    for person, role in PEOPLE:
        subprocess.run([sys.executable, "-m", "loganalyze", "review", "person", "add", person,
                        *place_options(store, database), "--role", role, "--password"],
                       input=f"{PASSWORD}\n{PASSWORD}\n", text=True, check=True,
                       capture_output=True)


def served(store: Path, database: str | None, *options: str) -> Iterator[str]:
    """Serve a desk by its command, and give the address that it prints."""
    with subprocess.Popen([sys.executable, "-u", "-m", "loganalyze", "review",
                           *place_options(store, database), "--no-browser", *options],
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            said = process.stdout.readline()
            found = re.search(r"http://\S+", said)
            assert found, said + process.stdout.read()
            yield found[0].rstrip(".")
        finally:
            process.terminate()


class Seats:
    """Browsers at a desk, each of somebody who signed in.

    ``wrong`` : what any of their pages reported: errors, dialogs, refused content.
    """

    def __init__(self, browser, address: str) -> None:
        self.browser, self.address = browser, address
        self.contexts, self.wrong = [], []

    def __call__(self, person: str, width: int = 1440, scheme: str = "light"):
        """Sign somebody in with a browser of their own; return its page."""
        page = self.stranger(width, scheme)
        page.goto(f"{self.address}/sign-in")
        page.get_by_label("Name").fill(person)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{self.address}/{'trail' if person == 'cy' else ''}")
        return page

    def stranger(self, width: int = 1440, scheme: str = "light"):
        """Return a page of somebody who hasn't signed in."""
        context = self.browser.new_context(viewport={"width": width, "height": 900},
                                           color_scheme=scheme)
        self.contexts.append(context)
        context.set_default_timeout(30_000)
        page = context.new_page()
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("dialog", lambda dialog: (self.wrong.append(dialog.message), dialog.dismiss()))
        # A browser reports an answer that refuses, too, as a page that failed to load.
        page.on("console", lambda said: self.wrong.append(said.text)
                if said.type in ("error", "warning") and not re.search("status of 4", said.text)
                else None)
        return page


def violations(page) -> list:
    """Return what axe finds wrong with a page."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    return page.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 150))])""")


def over_the_edge(page) -> bool:
    """Whether a page is wider than its window."""
    return page.evaluate("document.scrollingElement.scrollWidth > innerWidth")
