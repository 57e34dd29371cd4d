"""Rates, intervals and changes, against published values, hand-worked examples and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.rates import confint_poisson

import loganalyze
from loganalyze.fleet.statistics.event_rates import holm
from tests.fleet.rate_coverage import Cell, coverage


@pytest.mark.parametrize(("events", "low", "high"), [
    # Exact 95 % limits of a Poisson mean: F. Garwood, Biometrika 28, 1936, p. 437, as in E. S.
    # Pearson, H. O. Hartley, Biometrika Tables for Statisticians, volume 1, 3rd edition, 1966,
    # table 40.
    (0, 0.0, 3.69), (1, 0.0253, 5.57), (3, 0.619, 8.77), (5, 1.62, 11.67), (10, 4.80, 18.39),
    (30, 20.24, 42.83),
])
def test_the_interval_of_one_aircraft_lies_within_the_exact_one(events, low, high):
    """The exact one holds the truth in up to all cases; Jeffreys' in 95 % on average."""
    found = loganalyze.event_rate([events], [1.0], ["a"])
    assert low <= found.low <= events <= found.high < high
    assert found.high - found.low > 0.68 * (high - low)
    assert (found.own_low, found.own_high) == (found.low, found.high)


@pytest.mark.parametrize(("events", "low", "high"), [
    # Half of chi squared of 2 x events + 1 degrees of freedom at .025 and .975: tables of R. A.
    # Fisher, F. Yates, or E. S. Pearson, H. O. Hartley, table 8: 3, 7, 11, 21 degrees.
    (1, 0.2158 / 2, 9.3484 / 2), (3, 1.6899 / 2, 16.0128 / 2), (5, 3.8157 / 2, 21.9200 / 2),
    (10, 10.2829 / 2, 35.4789 / 2),
])
def test_the_interval_of_one_aircraft_is_jeffreys(events, low, high):
    found = loganalyze.event_rate([events], [1.0], ["a"])
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-4)
    theirs = confint_poisson(events, 1.0, method="jeff")
    assert (found.low, found.high) == pytest.approx(theirs, rel=1e-9)


def test_the_rate_of_aircraft_is_that_of_a_negative_binomial_count():
    """Alike and with many events it is Poisson's; the mean of differing ones is far less known."""
    events = np.full(20, 50)
    found = loganalyze.event_rate(events, np.ones(20), np.arange(20))
    assert (found.low, found.high) == pytest.approx((found.own_low, found.own_high), rel=0.02)
    differing = np.array([30] * 10 + [70] * 10)
    found = loganalyze.event_rate(differing, np.ones(20), np.arange(20))
    # A t interval of the twenty means, from which nothing of the model is taken.
    half = 2.093 * differing.std(ddof=1) / math.sqrt(20)
    assert found.high - found.low == pytest.approx(2 * half, rel=0.35)
    assert found.own_high - found.own_low < 0.4 * (found.high - found.low)


def test_adjusted_probabilities_are_those_of_a_worked_example():
    """Holm 1979's procedure by hand: .01 x 4, .02 x 3, .03 x 2, .04; and an independent library."""
    given = [0.03, 0.01, 0.04, 0.02]
    assert holm(given).tolist() == pytest.approx([0.06, 0.04, 0.06, 0.06])
    assert holm(given) == pytest.approx(multipletests(given, method="holm")[1])
    assert np.isnan(holm([0.5, np.nan])[1])


def test_flights_without_hours_count_for_nothing():
    found = loganalyze.event_rate([0, 5], [10.0, 0.0], ["a", "b"])
    assert (found.events, found.hours, found.aircraft) == (0, 10.0, 1)
    nothing = loganalyze.event_rate([], [], [])
    assert math.isnan(nothing.rate)
    assert math.isnan(nothing.high)


def test_lists_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="one entry a flight"):
        loganalyze.event_rate([1], [1.0, 2.0], ["a", "a"])


def test_a_rate_doesnt_depend_on_the_unit_or_the_order():
    rng = np.random.default_rng(3)
    events, hours, which = rng.poisson(1, 40), rng.uniform(1, 3, 40), rng.integers(0, 6, 40)
    found = loganalyze.event_rate(events, hours, which)
    minutes = loganalyze.event_rate(events, hours * 60, which)
    assert minutes.low * 60 == pytest.approx(found.low, rel=1e-9)
    order = rng.permutation(40)
    again = loganalyze.event_rate(events[order], hours[order], which[order])
    assert again.high == pytest.approx(found.high, rel=1e-12)


def test_aircraft_that_differ_make_the_interval_wider():
    hours, which = np.ones(40), np.repeat(np.arange(4), 10)
    alike = loganalyze.event_rate(np.ones(40), hours, which)
    differing = loganalyze.event_rate(np.repeat([0, 0, 0, 4], 10), hours, which)
    assert differing.rate == alike.rate == 1.0
    assert math.log(differing.high / differing.low) > 2 * math.log(alike.high / alike.low)


def test_events_that_come_together_make_the_interval_wider():
    single = loganalyze.event_rate([1, 0] * 20, np.ones(40), np.zeros(40))
    together = loganalyze.event_rate([4] + [0] * 7 + [4] + [0] * 7 + [4, 4, 4] + [0] * 21,
                                     np.ones(40), np.zeros(40))
    assert single.events == together.events == 20
    assert together.dispersion > 3 > single.dispersion
    assert together.high > single.high


def test_the_ratio_of_two_periods_is_by_aircraft():
    """By hand: a 6 in 100 h, then 2 in 100 h; b 1 in 50 h, then 1 in 150 h.

    Sum of after * before_hours / all_hours: 2*100/200 + 1*50/200 = 1.25; of before *
    after_hours / all_hours: 6*100/200 + 1*150/200 = 3.75; 1.25 / 3.75 = 1/3.
    """
    found = loganalyze.rate_change([6, 2, 1, 1], [100, 100, 50, 150], ["a", "a", "b", "b"],
                                   [False, True, False, True])
    assert found.ratio == pytest.approx(1 / 3)
    assert (found.before.events, found.after.events) == (7, 3)


def test_a_change_of_the_aircraft_flown_is_no_change_of_the_rate():
    """Aircraft a has ten times the rate of b; later b flies more: the crude rate falls."""
    rng = np.random.default_rng(8)
    which = np.array(["a"] * 80 + ["b"] * 20 + ["a"] * 20 + ["b"] * 80)
    later = np.arange(200) >= 100
    events = rng.poisson(np.where(which == "a", 0.5, 0.05))
    found = loganalyze.rate_change(events, np.ones(200), which, later)
    assert found.after.rate < 0.6 * found.before.rate
    assert found.probability > 0.05


@pytest.mark.parametrize("flights", [1000, 8000])
def test_a_true_change_is_found_by_permutation_and_by_its_limit(flights):
    rng = np.random.default_rng(9)
    which, later = rng.integers(0, 8, flights), np.arange(flights) >= flights / 2
    events = rng.poisson(np.where(later, 0.1, 0.4))
    found = loganalyze.rate_change(events, np.ones(flights), which, later)
    assert found.probability < 0.01
    assert found.ratio == pytest.approx(0.25, abs=0.12)


def test_without_events_nothing_changed():
    found = loganalyze.rate_change([0, 0], [1, 1], ["a", "a"], [False, True])
    assert found.probability == 1.0
    assert math.isnan(found.ratio)


@pytest.mark.parametrize("cell", [
    Cell(6, 0.5, pairs=True), Cell(3), Cell(8, errors_kt=2.0), Cell(8, 0.5, months=True)], ids=str)
def test_intervals_hold_the_truth(cell):
    """A sample of the cells of rate_coverage; the least that 60 fleets may hold is .86."""
    held = coverage(cell, 60, seed=12, changes=20)
    assert held.own >= 0.86
    assert held.like >= 0.86
    assert held.change <= 0.25
