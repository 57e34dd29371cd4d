"""The page of a fleet's trends: its answers, its numbers, and the flights behind them."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from datetime import date
from html import unescape
from html.parser import HTMLParser

import numpy as np
import pytest

import loganalyze
from loganalyze.cli import main
from loganalyze.fleet.trend_report.margin_course import fleet_margins, margin_course
from tests.fleet.conftest import rows, write_log, write_sheet


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Sixteen flights of two aircraft in two months; the second month is flown closer."""
    place = tmp_path_factory.mktemp("page")
    for number in range(16):
        late = number >= 8
        peak = (242 if late else 228) + number / 10 + (6 if number % 4 == 0 and late else 0)
        write_log(place / f"logs/DEMO-{1 + number % 2}/{number}.csv", peak,
                  day=f"2031-{'03' if late else '01'}-{number + 1:02d}")
    write_sheet(place / "twin.toml")
    (place / "fleet.toml").write_text("""
[identity]
path = "/(?P<registration>DEMO-[0-9])/"
[[aircraft]]
registration = ["DEMO-*"]
sheet = [{ limits = "twin.toml" }]
""")
    loganalyze.run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml",
                         workers=0)
    return place / "store"


class Page(HTMLParser):
    """Ids, links and tables of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.inside = False
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tables: list[list[list[str]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.ids += [given["id"]] if given.get("id") else []
        self.links += [given["href"]] if tag == "a" else []
        if tag == "table":
            self.tables.append([])
            self.inside = True
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "table"

    def handle_data(self, data):
        if self.inside and self.tables and self.tables[-1] and self.tables[-1][-1]:
            self.tables[-1][-1][-1] += data


@pytest.fixture(scope="module")
def page(store, tmp_path_factory):
    place = tmp_path_factory.mktemp("written") / "trends.html"
    loganalyze.write_trends(store, loganalyze.TrendFiles(page=place), action=date(2031, 3, 1),
                            by=("month", "aircraft", "limit", "phase", "cause"))
    return unescape(place.read_text(encoding="utf-8"))


def test_the_page_needs_nothing_else_and_runs_nothing(page):
    assert not re.findall(r"(?:src|href)=\"(?!data:|#)", page)
    assert "<script" not in page
    assert "default-src 'none'" in page


def test_it_answers_first(page):
    lead = re.search(r'<p class="lead">(.*?)</p>', page)[1]
    assert lead == "The fleet gets closer to its limits, by more than chance explains."
    assert "Most often: limit VMO (2 of 2), phase of flight" in page
    assert "No aircraft differs from the others by more than chance explains." in page
    assert page.index('class="lead"') < page.index("<table")
    assert "Not for punitive use." in page


def test_every_number_of_episodes_leads_to_its_flights(page, store):
    found = Page(page)
    assert {link[1:] for link in found.links if link.startswith("#")} <= {*found.ids}
    assert len(found.ids) == len({*found.ids})
    over = {key for key, outcome in rows(store, "flights", "flight_key", "outcome")
            if outcome == "exceeded"}
    trends = loganalyze.fleet_trends(store, by=("month", "aircraft", "limit", "phase", "cause"))
    lists = [[row[0] for row in table[1:]] for table in found.tables
             if table[0][0] == "flight key"]
    wanted = [row.with_events for row in (trends.whole, *trends.rows) if row.with_events]
    assert len(wanted) > 4
    # The first list is that of the closest flights, the last that of all smallest margins.
    assert [{*one} for one in lists[1:-1]] == [{*one} for one in wanted]
    assert {*lists[1]} == over
    assert len([one for one in found.links if re.match("#flights-.*[0-9]$", one)]) == len(wanted)


def test_its_rates_are_those_of_the_table(page, store):
    trends = loganalyze.fleet_trends(store, by=("month",))
    (months,) = [table for table in Page(page).tables if table[0][0] == "month"]
    assert [row[0] for row in months[1:]] == ["2031-01", "2031-03"]
    for cells, row in zip(months[1:], trends.rows, strict=True):
        rate = row.rate
        assert cells[2] == f"{100 * row.captured:.0f} %"
        assert cells[5] == str(rate.events)
        wanted = [1000 * one for one in (rate.rate, rate.low, rate.high)]
        shown = [float(one.replace(",", "")) for one in (cells[6], *cells[7].split(" to "))]
        assert shown == pytest.approx(wanted, rel=0.005, abs=0.005)


def test_small_groups_are_named_nowhere_on_the_page(store, tmp_path):
    loganalyze.write_trends(store, loganalyze.TrendFiles(page=tmp_path / "a.html"), least=9)
    text = unescape((tmp_path / "a.html").read_text(encoding="utf-8"))
    assert "DEMO-" not in text
    assert "2031-0" not in text.replace("'2031-01'", "")
    assert "Groups of fewer than 9 flights aren't shown" in text


def test_the_command_writes_page_pdf_and_pictures(store, tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["trends", "--store", str(store), "--page", str(tmp_path / "t.html"), "--pdf",
              str(tmp_path / "t.pdf"), "--pictures", str(tmp_path / "pictures"), "--units",
              "kmh-m", "--action", "2031-03-01"])
    assert ended.value.code == 0
    assert f"{tmp_path / 't.html'}" in capsys.readouterr().out
    assert (tmp_path / "t.pdf").read_bytes().startswith(b"%PDF")
    assert "km/h" in (tmp_path / "t.html").read_text(encoding="utf-8")
    assert sorted(one.name for one in (tmp_path / "pictures").iterdir()) == [
        "aircraft.png", "change.png", "course.png", "margins.png"]


def test_the_slope_of_margins_is_found_within_its_interval():
    """Aircraft of their own means and slopes: the mean slope is held in about 95 of 100 fleets."""
    rng = np.random.default_rng(5)
    held, fleets = 0, 400
    for _ in range(fleets):
        aircraft = rng.integers(0, 8, 240)
        day = rng.uniform(0, 365, 240)
        margin = (rng.normal(10, 3, 8)[aircraft] + rng.normal(-3, 1.5, 8)[aircraft] * day / 365.25
                  + rng.normal(0, 5, 240))
        found = margin_course(margin, day, aircraft)
        held += found.low_kt <= -3 <= found.high_kt
    assert 0.93 <= held / fleets <= 0.985


def test_a_slope_that_is_none_is_seldom_called_one():
    rng = np.random.default_rng(6)
    called = [margin_course(rng.normal(9, 4, 60), rng.uniform(0, 365, 60),
                            rng.integers(0, aircraft, 60)).probability < 0.05
              for aircraft in (1, 2, 5, 10) for _ in range(150)]
    assert np.mean(called) < 0.07


@pytest.mark.parametrize(("margin", "day"), [([1.0, 2.0], [0.0, 9.0]), ([1.0] * 5, [3.0] * 5),
                                             ([1.0] * 9, [np.nan] * 9), ([], [])])
def test_a_course_that_can_not_be_known_is_not(margin, day):
    assert np.isnan(margin_course(margin, day, ["a"] * len(margin)).per_year_kt)


def test_tails_and_instrument_errors_are_shown_or_refused(store, tmp_path, monkeypatch):
    rng = np.random.default_rng(1)
    tails = (
        loganalyze.PhaseTail("twin.toml", "descent", loganalyze.margin_tail(
            20 - rng.exponential(4.0, 2000), np.ones(2000), np.arange(2000) % 7), (), "VMO"),
        loganalyze.PhaseTail("twin.toml", "climb", loganalyze.margin_tail(
            20 - rng.exponential(4.0, 40), np.ones(40), np.arange(40) % 7), ()))
    error = loganalyze.InstrumentError(
        "DEMO-1", "turns", "calibrated_airspeed", "", "kt", 2.1, 1.6, 2.6, 0.5, 1.9, 0.4, -0.2,
        1.0, 0.0004, True, ("k",))
    hidden = replace(error, aircraft="DEMO-9")
    low = replace(error, aircraft="DEMO-2", reads_high=-1.8, low=-2.4, high=-1.2)
    same = replace(low, channel="true_airspeed", reads_high=-2.2)
    place = "loganalyze.fleet.trend_report.trend_files."
    monkeypatch.setattr(f"{place}fleet_margin_tails", lambda *_: tails)
    monkeypatch.setattr(f"{place}aircraft_errors", lambda *_, **__: (error, hidden, low, same))
    loganalyze.write_trends(store, loganalyze.TrendFiles(page=tmp_path / "a.html"))
    text = unescape((tmp_path / "a.html").read_text(encoding="utf-8"))
    rows_ = {row[0]: row for table in Page(text).tables if "peaks" in table[0]
             for row in table[1:]}
    flown = tails[0].tail.flown
    assert rows_["descent"][1] == "VMO"
    assert rows_["descent"][7].startswith(f"{flown.flights:,.1f} ({flown.flights_low:,.1f}")
    assert "climb" not in rows_
    assert "For 1 other pair of phase and limit nothing is estimated" in text
    assert "DEMO-1: calibrated airspeed reads high by 2.10 kt" in text
    assert "DEMO-2: calibrated airspeed reads low by 1.80 kt (95 % interval of how much it " \
        "reads high: -2.40 to -1.20)" in text
    # One error, shown by the same turns, is one finding.
    assert "DEMO-2: true airspeed reads" not in text
    assert ">< 0.001<" in text
    assert "DEMO-9" not in text


def test_the_interval_beside_a_margin_is_that_of_the_assessment(store, page):
    """Of an exceedance that of its excess, of any other flight that of its smallest margin."""
    found = fleet_margins(str(store))
    excess = {key: (-high, -low) for key, limit, low, high in rows(
        store, "exceedances", "flight_key", "limit", "excess_low", "excess_high")
        if limit == "VMO"}
    wide = {key: u for key, limit, u in rows(
        store, "measures", "flight_key", "limit", "margin_u_kt") if limit is None}
    near = {key for (key,) in rows(store, "near", "flight_key")}
    assert excess
    far = 0
    for key, margin, low, high in zip(found.flight_key.tolist(), found.margin_kt.tolist(),
                                      found.low_kt.tolist(), found.high_kt.tolist(), strict=True):
        if key in excess:
            assert (low, high) == pytest.approx(excess[key], abs=1e-3)
        elif key not in near:
            far += 1
            assert (low, high) == pytest.approx(
                (margin - 1.96 * wide[key], margin + 1.96 * wide[key]), abs=1e-3)
        assert low < high
    assert far
    (closest,) = [table for table in Page(page).tables if table[0][0] == "flight key"][:1]
    assert closest[0][1:3] == ["smallest margin, recorded", "95 % interval, as flown"]
    assert closest[1][2] == f"{found.low_kt[0]:+.1f} to {found.high_kt[0]:+.1f}"
    (spread,) = [table for table in Page(page).tables if table[0][0] == "margin of less than"]
    for cells, below in zip(spread[1:], (0, 2, 5, 10), strict=True):
        assert [int(cells[at]) for at in (1, 3, 4)] == [
            (found.margin_kt < below).sum(), (found.high_kt < below).sum(),
            (found.low_kt < below).sum()]


def test_what_was_read_and_not_judged_is_on_the_page(store, tmp_path):
    """One log more that is none, and one in which nothing can be judged: 16 of 18."""
    shutil.copytree(store.parent, tmp_path / "fleet")
    place = tmp_path / "fleet"
    still = "".join(f"2031-03-29T10:00:{i:02d}Z,{3 + i % 2},0\n" for i in range(60))
    (place / "logs/DEMO-1/still.csv").write_text(f"UTC,Pitch [deg],Roll [deg]\n{still}")
    (place / "logs/letter.csv").write_text("dear,reader\nno,log\n")
    loganalyze.run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml",
                         workers=0)
    read, problems = (len(rows(place / "store", name, "source")) for name in (
        "flights", "problems"))
    assert read + problems == 18
    lost = [key for key, judged in rows(place / "store", "flights", "flight_key", "judged_s")
            if not judged]
    loganalyze.write_trends(place / "store", loganalyze.TrendFiles(page=place / "t.html"),
                            action=date(2031, 3, 1))
    text = unescape((place / "t.html").read_text(encoding="utf-8"))
    found = Page(text)
    assert "#flights-not-captured" in found.links
    assert {link[1:] for link in found.links if link.startswith("#")} <= {*found.ids}
    assert "88.9 % of the flights, expected or else read, were judged." in text
    for key in lost:
        assert key in text
    (change,) = [table for table in found.tables if table[0][0] == "period"]
    after = 8 + len(lost)
    assert [cells[2] for cells in change[1:]] == ["100 %", f"{800 / after:.0f} %"]


def test_flights_unlike_the_others_are_named_with_their_flights(tmp_path):
    for number in range(24):
        write_log(tmp_path / f"logs/{number}.csv", 244.0 if number == 7 else 220 + number / 12)
    loganalyze.run_fleet([str(tmp_path / "logs")], tmp_path / "store",
                         limits=write_sheet(tmp_path / "twin.toml"), workers=0)
    (key,) = [key for key, source in rows(tmp_path / "store", "flights", "flight_key", "source")
              if source.endswith("/7.csv")]
    for least, said in ((5, True), (25, False)):
        loganalyze.write_trends(tmp_path / "store", loganalyze.TrendFiles(page=tmp_path / "a.html"),
                                by=("limit",), least=least)
        text = unescape((tmp_path / "a.html").read_text(encoding="utf-8"))
        named = [row for table in Page(text).tables if "modified z-score" in table[0]
                 for row in table[1:]]
        assert bool(named) is said
        assert {row[0] for row in named} <= {key}
        assert ("No flight is unlike the others." in text) is not said
