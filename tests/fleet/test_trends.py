"""Trends of a fleet, from its logs to what the command prints."""

from __future__ import annotations

import csv
import json
from datetime import date
from itertools import combinations, permutations

import numpy as np
import pytest

import loganalyze
from loganalyze.cli import main
from loganalyze.fleet.statistics.small_groups import shown_groups
from loganalyze.problems import Problem
from tests.fleet.conftest import rows, run, write_log, write_sheet


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Twelve flights: six of January, of which four are over; six of March, of which one is."""
    place = tmp_path_factory.mktemp("trends")
    for number in range(12):
        month, peak = ("01", 250) if number < 4 else ("01", 230) if number < 6 else (
            "03", 250 + number / 10) if number == 6 else ("03", 230)
        write_log(place / f"logs/DEMO-{1 + number % 2}/{number}.csv", peak + number / 100,
                  day=f"2031-{month}-{number + 1:02d}")
    (place / "logs" / "no.csv").write_text("x,y\n")
    write_sheet(place / "twin.toml")
    (place / "fleet.toml").write_text("""
[identity]
path = "/(?P<registration>DEMO-[0-9])/"
[[aircraft]]
registration = ["DEMO-*"]
tags = { base = "north" }
sheet = [{ limits = "twin.toml" }]
""")
    loganalyze.run_fleet([str(place / "logs")], place / "store", fleet=place / "fleet.toml",
                         workers=0)
    return place / "store"


def groups(found: loganalyze.Trends, dimension: str) -> dict[str, tuple[int, int]]:
    return {row.group: (row.flights, row.rate.events) for row in found.rows
            if row.dimension == dimension}


def test_rates_of_the_whole_and_of_groups(store):
    found = loganalyze.fleet_trends(store, by=("month", "aircraft", "limit", "tag:base"))
    hours = sum(seconds for (seconds,) in rows(store, "flights", "judged_s")) / 3600
    assert found.whole.rate.events == 5
    assert found.whole.rate.rate == pytest.approx(5 / hours)
    assert groups(found, "month") == {"2031-01": (6, 4), "2031-03": (6, 1)}
    assert groups(found, "aircraft") == {"DEMO-1": (6, 3), "DEMO-2": (6, 2)}
    assert groups(found, "limit") == {"VMO": (12, 5)}
    assert groups(found, "tag:base") == {"north": (12, 5)}
    assert (found.problems, found.flights, found.undated) == (1, 12, 0)


def test_each_rate_leads_to_its_flights(store):
    found = loganalyze.fleet_trends(store, by=("month",))
    over = {key for key, outcome in rows(store, "flights", "flight_key", "outcome")
            if outcome == "exceeded"}
    assert {key for row in found.rows for key in row.with_events} == over
    assert len(over) == 5


def test_an_action_is_compared_with_what_was_before(store):
    found = loganalyze.fleet_trends(store, action=date(2031, 3, 1))
    assert found.change.before.events == 4
    assert found.change.after.events == 1
    assert 0 < found.change.ratio < 0.5
    assert found.adjusted[1] >= found.change.probability


def test_small_groups_are_left_out_also_by_difference(store):
    """A single group of 6 below the least of 7 would follow from the whole: both go."""
    found = loganalyze.fleet_trends(store, by=("month", "limit"), least=7)
    assert groups(found, "month") == {}
    assert groups(found, "limit") == {"VMO": (12, 5)}


@pytest.mark.parametrize(("by", "least", "hidden"), [
    # Those of DEMO-1 less those of January that it flew leave few; see the sizes below.
    (("month", "tag:base"), 5, {"month", "tag:base"}),
    (("month",), 5, set()),
    (("tag:base",), 5, set())])
def test_groups_of_two_dimensions_do_not_give_a_small_one_by_difference(
        tmp_path, by, least, hidden):
    """All six of January and two of March are of the north, the other five of March aren't: the
    north less January are two flights."""
    for number in range(13):
        base = "north" if number < 8 else "south"
        write_log(tmp_path / f"logs/{base}/{number}.csv", 230 + 3 * number,
                  day=f"2031-{'01' if number < 6 else '03'}-{number + 1:02d}")
    write_sheet(tmp_path / "twin.toml")
    (tmp_path / "fleet.toml").write_text("".join(f"""
[[aircraft]]
path = ["*/{base}/*"]
tags = {{ base = "{base}" }}
sheet = [{{ limits = "twin.toml" }}]
""" for base in ("north", "south")))
    loganalyze.run_fleet([str(tmp_path / "logs")], tmp_path / "store",
                         fleet=tmp_path / "fleet.toml", workers=0)
    found = loganalyze.fleet_trends(tmp_path / "store", by=by, least=least)
    shown = {one: groups(found, one) for one in by}
    assert {one for one, rows in shown.items() if len(rows) < 2} <= hidden
    if hidden:
        north, january = (shown[one].get(name) for one, name in (
            ("tag:base", "north"), ("month", "2031-01")))
        assert north is None or january is None


def test_no_difference_of_shown_groups_is_small():
    """Random fleets, every union of shown groups of a dimension in one of another, or the whole."""
    rng = np.random.default_rng(8)
    shown_in_all = 0
    for _ in range(150):
        least = int(rng.integers(2, 6))
        number = int(rng.integers(10, 60))
        month = rng.integers(0, 4, number).astype(str)
        # Tags that follow the months but for a few flights.
        tag = np.where(rng.random(number) < 0.1, "x", np.where(month < "2", "a", "b"))
        names = {"month": month, "tag": tag, "whole": np.full(number, "all")}
        found = shown_groups(names, least)
        for outer, inner in permutations(names, 2):
            for group in found[outer]:
                within = names[outer] == group
                assert within.sum() >= least
                for count in range(len(found[inner]) + 1):
                    for some in combinations(sorted(found[inner]), count):
                        union = np.isin(names[inner], some)
                        if not (union & ~within).any():
                            assert not 0 < (within & ~union).sum() < least
        shown_in_all += len(found["month"])
    assert shown_in_all > 150


def test_a_day_with_few_flights_on_one_side_is_refused(store):
    with pytest.raises(Problem, match="too few flights"):
        loganalyze.fleet_trends(store, by=("limit",), action=date(2031, 3, 11), least=3)


def test_only_proven_ones(store):
    some = loganalyze.fleet_trends(store, proven=True).whole.rate.events
    proven = sum(count for (count,) in rows(store, "flights", "proven"))
    assert some == proven < 5


@pytest.mark.parametrize(("by", "what"), [(("wind",), "nothing is grouped by wind")])
def test_what_nothing_is_grouped_by_is_refused(store, by, what):
    with pytest.raises(Problem, match=what):
        loganalyze.fleet_trends(store, by=by)


def test_a_store_without_flights_has_no_trends(tmp_path):
    (tmp_path / "no.csv").write_text("x,y\n")
    run(tmp_path / "no.csv", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    with pytest.raises(Problem, match="no judged flight"):
        loganalyze.fleet_trends(tmp_path / "store")


def test_the_command_prints_the_table_and_writes_it(store, tmp_path, capsys):
    main_code(["trends", "--store", str(store), "--by", "month", "--action", "2031-03-01",
               "--csv", str(tmp_path / "trends.csv")])
    printed = capsys.readouterr().out
    assert "Episodes with an exceedance: 5 in 12 flights" in printed
    assert "Not for punitive use." in printed
    with (tmp_path / "trends.csv").open() as stream:
        table = list(csv.DictReader(stream))
    assert [(row["group"], row["episodes"]) for row in table] == [
        ("", "5"), ("2031-01", "4"), ("2031-03", "1")]
    for row in table[1:]:
        assert f"{float(row['per_1000_h']):,.0f}" in printed


def test_the_command_gives_the_same_as_json(store, capsys):
    main_code(["trends", "--store", str(store), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["rows"][0]["episodes"] == 5
    assert found["change"] is None


def main_code(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 0
