"""How much of a fleet's flying is in the store, and the flights behind each number."""

from __future__ import annotations

import json

import pytest

import loganalyze
from loganalyze.cli import main
from tests.fleet.conftest import rows, write_log, write_sheet
from tests.fleet.test_statistics_rows import write_turn

FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9])/"
[[aircraft]]
registration = ["DEMO-1"]
flights_per_month = 4
sheet = [{{ limits = "twin.toml" }}]
[[aircraft]]
registration = ["DEMO-*"]
{expected}
sheet = [{{ limits = "twin.toml" }}]
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Four flights of DEMO-1 and two of DEMO-2, from January to March; none in February.

    One log of DEMO-1 holds no altitude and no temperature: it is read, but nothing can be judged.
    """
    place = tmp_path_factory.mktemp("capture")
    for number, (name, month) in enumerate([(1, 1), (1, 1), (1, 3), (2, 3), (2, 1)]):
        write_log(place / f"logs/DEMO-{name}/{number}.csv", 250 if number == 2 else 230 + number,
                  day=f"2031-{month:02d}-{number + 1:02d}")
    still = "".join(f"2031-03-09T10:{i // 60:02d}:{i % 60:02d}Z,{3 + i % 2},0\n"
                    for i in range(60))
    (place / "logs/DEMO-1/9.csv").write_text(f"UTC,Pitch [deg],Roll [deg]\n{still}")
    (place / "logs/no.csv").write_text("x,y\n")
    write_sheet(place / "twin.toml")
    (place / "fleet.toml").write_text(FLEET.format(expected=""))
    (place / "expected.toml").write_text(FLEET.format(expected="flights_per_month = 2"))
    loganalyze.run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml",
                         workers=0)
    return place


def captured(found: loganalyze.Trends) -> dict[str, float]:
    return {row.group: row.captured for row in (found.whole, *found.rows)}


def test_what_was_read_and_not_judged_is_counted(place):
    read = len(rows(place / "store", "flights", "flight_key"))
    problems = len(rows(place / "store", "problems", "source"))
    assert read + problems == 7
    found = loganalyze.fleet_trends(place / "store", by=("month", "aircraft"), least=1)
    shares = captured(found)
    assert shares[""] == pytest.approx(5 / 7)
    assert shares["2031-01"] == shares["DEMO-2"] == 1.0


def test_a_capture_rate_stands_beside_every_rate(place):
    found = loganalyze.fleet_trends(
        place / "store", by=("month", "aircraft", "limit", "severity", "tag:base"), least=1)
    shares = captured(found)
    assert shares["VMO"] == pytest.approx(5 / 7)
    assert all(0 < share <= 1 for share in shares.values())


def test_with_what_is_expected_the_share_is_of_that(place):
    """DEMO-1 flies 4 in each of three months, DEMO-2 2; 3 and 2 were judged."""
    found = loganalyze.fleet_trends(
        place / "store", by=("month", "aircraft"), least=1,
        expected=loganalyze.read_fleet(place / "expected.toml"))
    assert captured(found) == pytest.approx(
        {"": 5 / 18, "2031-01": 3 / 6, "2031-03": 2 / 6, "DEMO-1": 3 / 12, "DEMO-2": 2 / 6})


def test_where_an_aircraft_states_nothing_the_sums_are_of_what_was_read(place):
    found = loganalyze.fleet_trends(
        place / "store", by=("month", "aircraft"), least=1,
        expected=loganalyze.read_fleet(place / "fleet.toml"))
    shares = captured(found)
    assert shares["DEMO-1"] == pytest.approx(3 / 12)
    assert shares["DEMO-2"] == 1.0
    assert shares[""] == pytest.approx(5 / 7)


def test_each_row_leads_to_all_its_flights(place):
    found = loganalyze.fleet_trends(place / "store", by=("month", "aircraft", "limit", "phase"),
                                    least=1)
    for row in (found.whole, *found.rows):
        keys = loganalyze.flights_behind(place / "store", row)
        assert len(keys) == row.flights
        assert set(row.with_events) <= set(keys)


def test_the_command_prints_and_writes_what_was_captured(place, capsys):
    arguments = ["trends", "--store", str(place / "store"), "--by", "aircraft", "--least", "1",
                 "--expected", str(place / "expected.toml")]
    code(arguments)
    printed = capsys.readouterr().out
    assert "captured" in printed
    assert " 25 %" in printed
    assert "too few flights to say" in printed
    code([*arguments, "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["rows"][0]["captured"] == pytest.approx(5 / 18)
    assert found["rows"][0]["per_1000_h_own_low"] >= found["rows"][0]["per_1000_h_low"]
    assert {tail["tail"]["refused"] for tail in found["margin_tails"]} == {"too few peaks"}


def test_the_command_of_sensors_names_the_aircraft_that_errs(tmp_path, capsys):
    for number in range(6):
        name = 1 + number % 2
        write_turn(tmp_path / f"logs/DEMO-{name}/{number}.csv",
                   cas_error=(2.5 if name == 2 else 0.0) + 0.05 * number, second=0.05 * number)
    write_sheet(tmp_path / "twin.toml")
    (tmp_path / "fleet.toml").write_text(FLEET.format(expected=""))
    loganalyze.run_fleet([str(tmp_path / "logs")], tmp_path / "store",
                         fleet=tmp_path / "fleet.toml", workers=0)
    code(["sensors", "--store", str(tmp_path / "store"), "--least", "3"])
    printed = capsys.readouterr().out
    assert "None was applied to any flight" in printed
    line, = (line for line in printed.splitlines()
             if line.startswith("DEMO-2") and "calibrated" in line and " turns " in line)
    assert line.endswith("FINDING")
    code(["sensors", "--store", str(tmp_path / "store"), "--least", "3", "--json"])
    errors = json.loads(capsys.readouterr().out)["errors"]
    assert any(error["finding"] and error["per_year"] is None for error in errors)
    code(["sensors", "--store", str(tmp_path / "store")])
    assert "No aircraft has enough flights" in capsys.readouterr().out


def code(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 0
