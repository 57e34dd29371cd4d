"""What stands beside a case's verdict: quality flags, other sources, known instrument errors."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from loganalyze.review.decisions.decision_database import open_database
from tests.fleet.conftest import write_sheet
from tests.review.conftest import Office, judge

FLIGHTS = 9
READS_HIGH = 1.5
"""How much the judged airspeed reads above the other source [kt]."""


def write_flight(path: Path, day: str, *, second: float | None, stuck: bool = False,
                 altitude: int = 5000, peak: float = 252.0) -> None:
    """Write 180 s over VMO, or at 20,000 ft over MMO; by a second source less by `second` [kt]."""
    time = np.arange(180)
    flown = peak - 45 + 45 * np.clip(np.minimum((time - 50) / 20, (130 - time) / 20), 0, 1)
    chance = np.random.default_rng(int(day.replace("-", "")))
    shown = flown + chance.normal(0, 0.2, len(time))
    if stuck:
        shown[20:23] = np.nan
    other = flown - (second or 0.0) + chance.normal(0, 0.2, len(time))
    heads = ["UTC", "Pressure Altitude [ft]", "CAS [kt]", "SAT [degC]"]
    rows = [[f"{day}T10:{i // 60:02d}:{i % 60:02d}Z", str(altitude + 4 * i),
             "" if np.isnan(shown[i]) else f"{shown[i]:.2f}", "-5"] for i in time]
    if second is not None:
        heads.append("CAS 2 [kt]")
        rows = [[*row, f"{value:.2f}"] for row, value in zip(rows, other, strict=True)]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(",".join(row) for row in [heads, *rows]) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    """A desk over flights of an aircraft with two sources, and of one with one."""
    folder = tmp_path_factory.mktemp("beside")
    write_sheet(folder / "twin.toml")
    for number in range(FLIGHTS):
        write_flight(folder / "logs" / "DEMO-1" / f"{number}.csv", f"2031-0{1 + number}-06",
                     second=READS_HIGH, stuck=number == 0, peak=252 + number)
    write_flight(folder / "logs" / "DEMO-2" / "0.csv", "2031-01-07", second=None)
    write_flight(folder / "logs" / "DEMO-2" / "1.csv", "2031-02-07", second=1.0, altitude=22_000,
                 peak=236)
    judge(folder / "logs", folder / "store")
    (folder / "own").mkdir()
    made = Office(folder / "store", open_database(folder / "own"), accounts=False)
    yield made
    made.desk.close()


def cases(office, **wanted):
    browser = office.owner()
    query = "&".join(f"{name}={value}" for name, value in wanted.items())
    return [(browser, one["case_key"]) for one in
            browser.get(f"/api/cases?{query}").json()["cases"]]


def page_of(browser, key):
    return re.sub(r"\s+", " ", unescape(browser.get(f"/cases/{key}").text))


def test_another_source_confirms_is_drawn_and_said(beside):
    browser, key = cases(beside, since="2031-03", until="2031-03")[0]
    (source,) = browser.get(f"/api/cases/{key}").json()["evidence"]["sources"]
    assert (source["says"], source["compared"]) == ("confirms", "airspeed")
    samples = browser.get(f"/api/cases/{key}/samples").json()
    apart = [a - b for a, b in zip(samples["calibrated_airspeed_kt"],
                                   samples["second_airspeed_kt"], strict=True)
             if None not in (a, b)]
    assert np.mean(apart) == pytest.approx(READS_HIGH, abs=0.1)
    page = page_of(browser, key)
    assert page.count('class="second"') == 1
    assert "by the calibrated airspeed, source 2" in page
    assert "confirms it" in page


def test_a_flag_near_the_exceedance_says_where_and_that_it_isnt_inside(beside):
    found = [page_of(*one) for one in cases(beside, since="2031-01", until="2031-01", limit="VMO")]
    with_gap = [page for page in found if "no value for 3.0 s" in page]
    assert len(with_gap) == 1
    assert "between 20 s and 23 s of the flight, none of it in the exceedance" in with_gap[0]
    (other,) = (page for page in found if page not in with_gap)
    assert "No quality flag was raised" in other
    assert re.search(r"Couldn't be checked here: [^.]*two sources", other)


def test_the_aircrafts_error_has_its_interval_and_where_none_is_known_that_is_said(beside):
    browser, key = cases(beside, since="2031-09", limit="VMO")[0]
    errors = browser.get(f"/api/cases/{key}").json()["evidence"]["errors"]
    (error,) = (one for one in errors if one["way"] == "two sources")
    assert error["low"] < READS_HIGH < error["high"]
    assert error["flights"] == FLIGHTS
    assert "+1.5" in page_of(browser, key)
    alone = [page_of(*one) for one in cases(beside, since="2031-01", until="2031-01")
             if "The log records no other channel" in page_of(*one)]
    assert len(alone) == 1
    assert "None is known: fewer than 8 flights" in alone[0]


def test_a_mach_limit_is_drawn_in_mach(beside):
    ((browser, key),) = cases(beside, limit="MMO")
    page = page_of(browser, key)
    assert "Mach: ── Mach number" in page
    assert "Margin [Mach]" in page
    chart = page[page.index("<svg"):page.index("</svg")]
    ticks = [float(one) for one in re.findall(r'class="tick"[^>]*>(0\.\d+)<', chart)]
    assert ticks
    assert all(value < 0.6 for value in ticks)
    assert chart.count('class="second"') == 1


def test_nothing_beside_a_verdict_tells_whose_it_is(beside):
    for browser, key in cases(beside):
        text = browser.get(f"/api/cases/{key}").text
        assert not [secret for secret in ("DEMO-", ".csv", "twin.toml") if secret in text]
