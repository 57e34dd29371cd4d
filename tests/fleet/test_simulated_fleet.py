"""The simulated fleet: its truth is found, and the store equals each log judged by itself."""

from __future__ import annotations

import csv

import pytest

import loganalyze
from loganalyze.simulate import Behaviour, write_fleet
from tests.fleet.conftest import rows
from tests.fleet.equality import compare


def test_the_store_equals_each_log_judged_by_itself(tmp_path):
    flights, exceedances, different = compare(tmp_path, 24, seed=3, workers=0)
    assert flights > 15
    assert exceedances > 0
    assert different == []


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    folder = tmp_path_factory.mktemp("simulated")
    flown = write_fleet(folder, 40, seed=2, behaviour=Behaviour(
        margin_kt=4, bias_kt=0.0, faults=0.0, bad_files=0.05, action_day=1000))
    loganalyze.run_fleet([str(folder / "logs")], folder / "store", fleet=folder / "fleet.toml",
                         workers=0)
    return folder, flown


def test_what_was_truly_exceeded_is_found_and_nothing_else(fleet):
    """Instruments without an error: all that differs is within half a knot of the limit."""
    folder, flown = fleet
    outcomes = {source.rpartition("/")[2]: outcome for source, outcome in rows(
        folder / "store", "flights", "source", "outcome")}
    judged = [one for one in flown if not one.fault]
    clear = [one for one in judged if abs(one.peak_kt) > 0.5]
    assert len(clear) > 25
    for one in clear:
        assert (outcomes[one.file] == "exceeded") == (one.peak_kt > 0), one


def test_bad_files_are_problems_and_all_others_flights(fleet):
    folder, flown = fleet
    bad = {one.file for one in flown if one.fault}
    assert bad
    assert {source.rpartition("/")[2] for (source,) in rows(
        folder / "store", "problems", "source")} == bad
    assert len(rows(folder / "store", "flights", "flight_key")) == len(flown) - len(bad)


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_fleet(tmp_path / name, 3, seed=5)
    files = sorted(path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*.*"))
    assert len(files) == 6
    for path in files:
        assert (tmp_path / "a" / path).read_bytes() == (tmp_path / "b" / path).read_bytes()
    with (tmp_path / "a" / "truth.csv").open() as stream:
        assert [row["file"] for row in csv.DictReader(stream)] == [
            "000000.csv", "000001.csv", "000002.csv"]


def test_an_aircraft_error_shows_in_turns(tmp_path):
    """Of 12 flights of one aircraft the error in `truth.csv` is found within the interval."""
    flown = write_fleet(tmp_path, 12, aircraft=1, seed=4, behaviour=Behaviour(
        bias_kt=3.0, faults=0.0, bad_files=0.0))
    loganalyze.run_fleet([str(tmp_path / "logs")], tmp_path / "store",
                         fleet=tmp_path / "fleet.toml", workers=0)
    (found,) = [one for one in loganalyze.aircraft_errors(tmp_path / "store")
                if (one.way, one.channel) == ("turns", "calibrated_airspeed")]
    assert abs(flown[0].bias_kt) > 1
    assert found.low <= flown[0].bias_kt <= found.high
    assert found.high - found.low < 1.5
    assert found.finding
