"""The fleet command as it is typed: recordings in folders, all samples, sheets by day, progress."""

from __future__ import annotations

import json
import re
import sys

import pytest

import loganalyze
from loganalyze.cli import main
from tests.fleet.conftest import rows, write_log, write_sheet

FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9])/"

[[aircraft]]
registration = ["DEMO-1"]
[[aircraft.sheet]]
limits = "one_old.toml"
[[aircraft.sheet]]
limits = "one_new.toml"
effective = 2031-02-01

[[aircraft]]
registration = ["DEMO-2"]
[[aircraft.sheet]]
limits = "two.toml"
"""


def ran(*arguments: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(one) for one in arguments])
    return int(ended.value.code or 0)


@pytest.fixture
def two_aircraft(tmp_path):
    for name, vmo in (("one_old", 240), ("one_new", 252), ("two", 246)):
        write_sheet(tmp_path / f"{name}.toml", vmo=vmo)
    (tmp_path / "fleet.toml").write_text(FLEET)
    for registration, day, peak in (("DEMO-1", "2031-01-10", 248), ("DEMO-1", "2031-02-10", 248.1),
                                    ("DEMO-2", "2031-01-11", 248.2)):
        write_log(tmp_path / f"logs/{registration}/{day}.csv", peak, day=day)
    return tmp_path


def test_sheets_by_aircraft_and_day_and_both_verdicts_of_what_is_judged_again(two_aircraft):
    place = two_aircraft
    store = place / "store"
    given = ("fleet", place / "logs", "--fleet", place / "fleet.toml", "--store", store,
             "--workers", 0, "-q")
    assert ran(*given) == 0
    found = {(aircraft, sheet): outcome for aircraft, sheet, outcome in rows(
        store, "flights", "aircraft", "limits_sheet", "outcome")}
    assert found == {("DEMO-1", "one_old.toml"): "exceeded",
                     ("DEMO-1", "one_new.toml"): "not exceeded", ("DEMO-2", "two.toml"): "exceeded"}
    write_sheet(place / "one_new.toml", vmo=244)
    assert ran(*given, "--fail-on-exceedance") == 1
    with loganalyze.connect_store(store) as db:
        counts = db.execute("select outcome from flights where limits_sheet = 'one_new.toml'")
        assert counts.fetchall() == [("exceeded",)]
        both = db.execute("""select judgement, outcome from all_flights
            where limits_sheet = 'one_new.toml' order by judgement""").fetchall()
    assert both == [(1, "not exceeded"), (2, "exceeded")]
    assert len(rows(store, "flights", "flight_key")) == 4


def test_folders_are_recordings_and_all_samples_are_kept(sheet, tmp_path, capsys):
    whole = write_log(tmp_path / "whole.csv", 230, day="2031-01-05")
    head, *lines = whole.read_text().splitlines(keepends=True)
    for folder in ("a", "b"):
        for number, part in enumerate((lines[:30], lines[30:])):
            path = tmp_path / "logs" / folder / f"part{number}.csv"
            path.parent.mkdir(parents=True, exist_ok=True)
            height = "5000" if folder == "a" else "5100"
            path.write_text(head + "".join(part).replace("5000", height))
    assert ran("fleet", tmp_path / "logs", "--limits", sheet, "--store", tmp_path / "store",
               "--each", "folder", "--samples", "all", "--workers", 0, "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["logs"], report["judged"], report["samples"]) == (2, 2, 120)
    assert len(rows(tmp_path / "store", "samples", "time_s")) == 120
    assert {source.rpartition("/")[2] for (source,) in rows(
        tmp_path / "store", "flights", "source")} == {"a", "b"}


def test_progress_says_the_rate_and_the_time_left(fleet, sheet, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("loganalyze.cli.fleets.fleet_command.EVERY_S", 0.0)
    assert ran("fleet", fleet, "--limits", sheet, "--store", tmp_path / "store", "--workers",
               0) == 5
    said = capsys.readouterr().err.split("\r\x1b[K")
    assert re.fullmatch(r"3 of 7 logs, \d flights, \d+\.\d logs/s, \d+ s left", said[3])
    assert said[-1].startswith("7 of 7 logs, 5 flights")
    assert "left" not in said[-1]


def test_a_limit_that_can_not_be_judged_is_no_verdict(sheet, tmp_path, capsys):
    """Too little of the flight has an airspeed: exit code 3, as of one log."""
    log = write_log(tmp_path / "a.csv", 230)
    lines = log.read_text().splitlines(keepends=True)
    log.write_text("".join(line if number < 12 else re.sub(r"^(\d+,5000),[^,]*", r"\1,", line)
                           for number, line in enumerate(lines)))
    one = ran("analyze", log, "--limits", sheet, "-q")
    assert ran("fleet", log, "--limits", sheet, "--store", tmp_path / "store", "--workers",
               0) == one == 3
