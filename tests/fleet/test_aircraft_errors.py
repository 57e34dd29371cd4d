"""Each aircraft's own errors: published examples, simulated fleets, and a fleet of logs."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.regression.linear_model import WLS
from statsmodels.stats.meta_analysis import combine_effects

import loganalyze
from loganalyze.fleet.statistics.aircraft_errors import drift, shrunk
from tests.fleet.aircraft_error_coverage import simulated, through_the_engine
from tests.fleet.conftest import run, write_sheet
from tests.fleet.test_statistics_rows import write_turn

# Trials of a vaccine: cases and others among the vaccinated, and among the rest. G. A. Colditz et
# al., J. Am. Med. Assoc. 271 (1994), p. 698, table 1.
TRIALS = np.array([
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
    (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892),
    (29, 7470, 45, 7232), (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338),
    (27, 16886, 29, 17825)], float)


def log_ratios() -> tuple[np.ndarray, np.ndarray]:
    a, b, c, d = TRIALS.T
    return (np.log(a / (a + b)) - np.log(c / (c + d)),
            np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)))


def test_a_published_mean_of_trials_that_differ():
    """W. Viechtbauer, J. Stat. Softw. 36(3), 2010: log risk ratio -.715, variance between .31.

    By restricted maximum likelihood, p. 16; other estimators differ in the third digit.
    """
    found = loganalyze.mean_effect(*log_ratios())
    assert found.mean == pytest.approx(-0.7145, abs=0.001)
    assert found.between ** 2 == pytest.approx(0.3132, abs=0.006)
    assert found.u == pytest.approx(0.18, abs=0.02)  # his from the weights alone


def test_mean_and_interval_are_those_of_an_independent_library():
    values, u = log_ratios()
    found = loganalyze.mean_effect(values, u)
    theirs = combine_effects(values, u**2, method_re="iterated", use_t=True)
    assert found.between ** 2 == pytest.approx(theirs.tau2, rel=1e-4)
    assert found.mean == pytest.approx(theirs.mean_effect_re, rel=1e-4)
    fitted = WLS(values, np.ones_like(values), 1 / (u**2 + found.between**2)).fit(
        cov_type="HC3", use_t=True)
    assert found.u == pytest.approx(fitted.bse[0], rel=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(fitted.conf_int()[0]), rel=1e-6)


def test_values_of_unknown_error_give_students_interval():
    """By hand: mean 2, standard deviation 1, t of 2 degrees of freedom 4.3027; 4.3027/sqrt(3)."""
    found = loganalyze.mean_effect([1.0, 2.0, 3.0])
    assert (found.low, found.high) == pytest.approx((2 - 2.4841, 2 + 2.4841), abs=1e-4)


def test_the_drift_is_the_weighted_line():
    """By hand: points on y = 1 + 2x err by nothing; and of one day there is no drift."""
    assert drift([1, 3, 5, 7], [0, 1, 2, 3])[0] == pytest.approx(2.0)
    assert np.isnan(drift([1, 3, 5], [4, 4, 4])).all()


def test_a_mean_of_which_little_is_known_is_drawn_to_the_others():
    known = [loganalyze.mean_effect(np.array([-0.1, 0.0, 0.1]) + at) for at in (-1, 0, 1)]
    vague = loganalyze.mean_effect([-2.0, 3.0, 8.0])
    drawn = shrunk([*known, vague])
    assert abs(drawn[0] - known[0].mean) < 0.02
    assert drawn[3] < 0.6 * vague.mean
    assert np.isnan(shrunk(known[:2])).all()


def test_two_knots_are_found_within_the_interval():
    """A sample of aircraft_error_coverage, of which 1,000 fleets give .93 to .97."""
    held, drifted, drawn = simulated(12, 1.0, 100, seed=6)
    assert 0.89 <= held <= 0.99
    assert 0.89 <= drifted <= 0.99
    assert drawn < 1.1


def test_two_knots_are_found_through_the_engine():
    """From flown turns: two fleets of eight flights, whose interval both hold the error."""
    assert through_the_engine(2, seed=2, flights=8) == 1.0


@pytest.fixture(scope="module")
def errors(tmp_path_factory):
    """Three aircraft of eight flights; the airspeed of one reads 2 kt high."""
    place = tmp_path_factory.mktemp("errors")
    rng = np.random.default_rng(3)
    for number in range(24):
        name = f"DEMO-{1 + number % 3}"
        write_turn(place / f"logs/{name}/{number}.csv",
                   cas_error=(2.0 if name == "DEMO-2" else 0.0) + 0.2 * rng.standard_normal(),
                   second=0.2 * rng.standard_normal())
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
    return loganalyze.aircraft_errors(place / "store")


def test_the_aircraft_that_errs_is_the_finding(errors):
    found = {(one.way, one.channel, one.aircraft) for one in errors if one.finding}
    assert ("turns", "calibrated_airspeed", "DEMO-2") in found
    assert {aircraft for _, _, aircraft in found} == {"DEMO-2"}
    one, = [each for each in errors if (each.way, each.channel, each.aircraft) == (
        "turns", "calibrated_airspeed", "DEMO-2")]
    assert one.low < 2.0 < one.high
    assert 0.5 < one.shrunk <= one.reads_high + 0.05
    assert len(one.flights) == 8


def test_two_ways_that_dont_know_of_each_other_agree(errors):
    turns, sources = ({one.aircraft: one.reads_high for one in errors
                       if (one.way, one.channel) == (way, "calibrated_airspeed")}
                      for way in ("turns", "two sources"))
    assert turns.keys() == sources.keys() == {"DEMO-1", "DEMO-2", "DEMO-3"}
    for name, value in turns.items():
        assert value == pytest.approx(sources[name], abs=0.3)


def test_without_dates_there_is_no_drift(errors):
    assert all(np.isnan(one.per_year) for one in errors)


def test_a_few_flights_say_nothing(tmp_path):
    write_turn(tmp_path / "logs/1.csv", cas_error=2.0)
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    assert loganalyze.aircraft_errors(tmp_path / "store") == ()
