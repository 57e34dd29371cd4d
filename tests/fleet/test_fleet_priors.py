"""Priors from a store: what is written, and that probabilities made with them fit the fleet."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

import loganalyze
from loganalyze.cli import main
from loganalyze.problems import Problem
from loganalyze.uncertainty.prior_models import Prior
from tests.fleet.conftest import run, write_log, write_sheet
from tests.fleet.prior_calibration import probabilities, table


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Forty flights whose smallest margins to VMO are normal, mean 20 kt, deviation 8."""
    place = tmp_path_factory.mktemp("priors")
    margins = norm.ppf((np.arange(40) + 0.5) / 40, 20, 8)
    for number, margin in enumerate(margins):
        write_log(place / f"logs/{number}.csv", 245 - margin)
    run(place / "logs", place / "store", write_sheet(place / "twin.toml"))
    return place / "store"


def test_the_prior_is_the_distribution_of_the_smallest_margins(store):
    found = loganalyze.fleet_priors(store)
    assert found.flights == {"MMO": 40, "VMO": 40}
    prior, = (one for one in found.file.prior if one.limit == "VMO")
    weights, means, deviations = np.array(prior.normals).T
    mean = (weights * means).sum()
    assert mean == pytest.approx(20, abs=3)
    assert np.sqrt((weights * (deviations**2 + means**2)).sum() - mean**2) == pytest.approx(
        8, abs=2.5)
    assert prior.source == "margins of 40 flights"


def test_the_prior_of_a_mach_limit_is_in_mach(store):
    prior, = (one for one in loganalyze.fleet_priors(store).file.prior if one.limit == "MMO")
    assert all(0 < mean < 0.48 for _, mean, _ in prior.normals)


def test_the_command_writes_what_analyze_reads(store, tmp_path, capsys):
    path = tmp_path / "priors.toml"
    code(["priors", "--store", str(store), "-o", str(path)], 0)
    assert "VMO (40)" in capsys.readouterr().out
    assert loganalyze.read_priors(path) == loganalyze.fleet_priors(store).file
    log = write_log(tmp_path / "log.csv", 246.0)
    code(["analyze", str(log), "--limits", str(store.parent / "twin.toml"), "--priors", str(path),
          "--json", "-o", str(tmp_path / "out")], 0)
    capsys.readouterr()
    code(["priors", "--store", str(store), "-o", str(path)], 2)
    assert "there already" in capsys.readouterr().err


def test_the_command_says_the_same_as_json(store, tmp_path, capsys):
    code(["priors", "--store", str(store), "-o", str(tmp_path / "priors.toml"), "--json"], 0)
    assert json.loads(capsys.readouterr().out)["flights"] == {"MMO": 40, "VMO": 40}


def test_too_few_flights_and_unknown_sheets_are_refused(tmp_path, store):
    write_log(tmp_path / "logs/1.csv", 230.0)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    with pytest.raises(Problem, match="no limit has the margins of 30 flights"):
        loganalyze.fleet_priors(tmp_path / "store")
    with pytest.raises(Problem, match=r"no flight was judged by other\.toml"):
        loganalyze.fleet_priors(store, "other.toml")


def test_flights_of_several_sheets_are_refused_without_a_name(tmp_path, store):
    write_log(tmp_path / "logs/1.csv", 230.0)
    write_log(tmp_path / "more/2.csv", 231.0)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    run(tmp_path / "more", tmp_path / "store", write_sheet(tmp_path / "other.toml", vmo=250))
    with pytest.raises(Problem, match="judged by 2 limits sheets"):
        loganalyze.fleet_priors(tmp_path / "store")


def test_probabilities_made_with_it_fit_the_fleet():
    """Crews hold displayed margins; the instruments err by 2 kt, the recording by .8 kt.

    Of 30,000 flights the first half makes the prior; of the others those truly over are as many as
    the probabilities let expect, in each fifth within 3.3 standard deviations. Taking the whole
    error for one of the reading, which the fleet's habit would correct, doesn't.
    """
    rng = np.random.default_rng(11)
    size = 30_000
    displayed = np.where(rng.random(size) < 0.85, rng.normal(14, 5, size), rng.normal(4, 3, size))
    true = displayed + 2.0 * rng.standard_normal(size)
    recorded = displayed + 0.8 * rng.standard_normal(size)
    prior = loganalyze.prior_of_margins("ours", recorded[: size // 2], 0.8)
    fleet = replace(prior, displayed=True)
    now = slice(size // 2, None)
    close = recorded[now] < 6
    excess, over = -recorded[now][close], true[now][close] < 0
    fits = np.array([fleet.probability(e, 0.8, 2.0) for e in excess.tolist()])
    corrected = np.array([prior.probability(e, np.hypot(0.8, 2.0)) for e in excess.tolist()])
    worst = [max(abs(over[inside].sum() - p[inside].sum()) / np.sqrt(
        (p[inside] * (1 - p[inside])).sum()) for inside in np.array_split(np.argsort(p), 5))
        for p in (fits, corrected)]
    assert worst[0] < 3.3 < worst[1]
    low, high = np.array([fleet.interval(e, 0.8, 0.95, 2.0) for e in excess[:400].tolist()]).T
    held = np.mean((low <= -true[now][close][:400]) & (-true[now][close][:400] <= high))
    assert 0.92 <= held <= 0.98


def test_a_histogram_of_displayed_margins_gives_the_same_as_normals():
    edges = np.linspace(-40, 60, 201)
    counts = np.diff(norm.cdf(edges, 10, 6))
    of_normals = replace(Prior.of_normals("a", [(1.0, 10.0, 6.0)]), displayed=True)
    of_counts = replace(Prior.of_histogram("b", edges.tolist(), counts.tolist()), displayed=True)
    for excess in (-8.0, -1.0, 3.0):
        assert of_counts.probability(excess, 1.0, 2.5) == pytest.approx(
            of_normals.probability(excess, 1.0, 2.5), abs=2e-3)


def test_as_flown_the_instruments_error_is_added_to_what_the_fleet_displays(store, tmp_path):
    """With a prior as wide as none the probability is the flat one, on either basis."""
    log = write_log(tmp_path / "log.csv", 246.0)
    flights = loganalyze.analyze(log, store.parent / "twin.toml")
    wide = replace(Prior.of_normals("wide", [(1.0, 0.0, 500.0)]), displayed=True)
    narrow = replace(Prior.of_normals("ours", [(1.0, 20.0, 2.0)]), displayed=True)
    flat, vague, sure, classical = (
        loganalyze.assess_flight(flights[0], priors=priors).exceedances[0]
        for priors in (None, {"VMO": wide}, {"VMO": narrow},
                       {"VMO": replace(narrow, displayed=False)}))
    assert vague.flown.probability == pytest.approx(flat.flown.probability, abs=1e-3)
    assert vague.displayed.probability == pytest.approx(flat.displayed.probability, abs=1e-3)
    assert sure.displayed == classical.displayed
    assert classical.flown.probability < sure.flown.probability < flat.flown.probability


def code(arguments: list[str], expected: int) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == expected


def test_with_its_own_priors_as_many_are_over_as_expected(tmp_path):
    said, over = probabilities(tmp_path, 40, 11)
    near, expected, _, away = table(said[:, 1], over)[-1]
    assert near == len(over) >= 4
    assert 0 < expected < near
    assert abs(away) < 2.5
