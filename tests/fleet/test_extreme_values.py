"""The tail of smallest margins: a published example, known distributions, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import genpareto

import loganalyze
from loganalyze.fleet.statistics.extreme_values import survival
from tests.fleet.conftest import run, write_log, write_sheet
from tests.fleet.tail_coverage import covered

# Daily rainfall [mm] above 30 mm in south-west England, 1914 to 1962, of 17,531 days: S. Coles, An
# Introduction to Statistical Modeling of Extreme Values, Springer, 2001, example 1.6 and 4.4.1.
RAIN = np.array([
    30.2, 30.2, 30.2, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5, 30.5,
    30.5, 30.5, 30.7, 31, 31, 31, 31.2, 31.2, 31.2, 31.7, 31.8, 31.8, 31.8, 31.8, 31.8, 31.8,
    31.8, 31.8, 31.8, 31.8, 31.8, 32, 32, 32, 32.3, 32.3, 32.5, 32.5, 32.5, 32.8, 33, 33, 33, 33,
    33, 33, 33, 33.3, 33.5, 33.5, 33.5, 33.5, 33.5, 33.5, 33.8, 33.8, 34, 34, 34, 34.3, 34.3,
    34.3, 34.3, 34.3, 34.8, 34.8, 35.1, 35.3, 35.3, 35.3, 35.3, 35.3, 35.6, 35.6, 35.6, 35.6,
    35.6, 35.6, 36.1, 36.3, 36.3, 36.6, 36.6, 36.8, 36.8, 37.1, 37.3, 37.6, 37.6, 37.8, 38.1,
    38.1, 38.1, 38.1, 38.1, 38.4, 38.4, 39.1, 39.4, 39.4, 39.4, 39.4, 39.9, 40.1, 40.6, 40.9,
    40.9, 41.9, 41.9, 42.4, 42.7, 42.9, 43.2, 43.4, 44.2, 44.5, 44.5, 45.2, 45.7, 45.7, 45.7, 47,
    47, 47, 47.5, 47.8, 47.8, 48.5, 48.5, 48.8, 51.3, 51.3, 51.6, 53.3, 54.9, 55.4, 55.9, 55.9,
    59.2, 59.4, 59.4, 67.3, 72.4, 76.7, 83.3, 85.3, 86.6])
DAYS = 17_531


def rain(level: float) -> loganalyze.MarginTail:
    """Return the tail of the rain as margins to a level [mm]; a flight a day, an hour each."""
    margins = level - np.concatenate([RAIN, np.zeros(DAYS - len(RAIN))])
    return loganalyze.margin_tail(margins, np.ones(DAYS), np.zeros(DAYS), threshold=level - 30)


def test_scale_and_shape_are_those_published():
    """Coles 2001, 4.4.1: 152 excesses, scale 7.44, shape .184."""
    found = rain(100.0)
    assert found.peaks == 152
    assert found.scale == pytest.approx(7.44, abs=0.005)
    assert found.shape == pytest.approx(0.184, abs=0.001)


def test_the_level_of_a_hundred_years_is_that_published():
    """Coles 2001, 4.4.1: the 100-year return level is 106.3 mm."""
    found = rain(106.3)
    beyond = float(survival(np.array(106.3 - 30), np.float64(found.scale),
                            np.float64(found.shape)))
    assert 1 / (beyond * 152 / DAYS) / 365 == pytest.approx(100, rel=0.01)
    # The posterior's middle is above the likeliest: the tail of the shape is a long one.
    assert 50 < found.displayed.hours / 365 < 110
    assert found.displayed.low / 365 < 100 < found.displayed.high / 365


def test_the_tail_is_the_one_of_an_independent_library():
    excess = np.linspace(0, 30, 50)
    for shape in (-0.4, -0.1, 0.0, 0.3):
        ours = survival(excess, np.full(50, 4.0), np.full(50, shape))
        assert ours == pytest.approx(genpareto.sf(excess, shape, scale=4.0), abs=1e-5)
    fit = genpareto.fit(RAIN - 30, floc=0)
    found = rain(100.0)
    assert (found.shape, found.scale) == pytest.approx((fit[0], fit[2]), rel=1e-3)


def test_a_recordings_error_is_taken_out():
    """An exponential tail keeps its mean under noise, and is recorded exp(s^2/2m^2) as often."""
    rng = np.random.default_rng(4)
    displayed = 12 - rng.exponential(2.0, 20_000)
    recorded = displayed + 1.6 * rng.standard_normal(20_000)
    blind, seen = (loganalyze.margin_tail(
        recorded, np.ones(20_000), np.zeros(20_000), recording_u=u, threshold=4.0)
        for u in (0.0, 1.6))
    true = np.exp(12 / 2)
    assert blind.displayed.hours == pytest.approx(true / np.exp(1.6**2 / 8), rel=0.15)
    assert seen.displayed.hours == pytest.approx(true, rel=0.15)


def test_an_instruments_error_makes_exceedances_more_frequent_and_less_known():
    margins = 12 - np.random.default_rng(5).exponential(2.0, 4000)
    sure, unsure = (loganalyze.margin_tail(margins, np.ones(4000), np.arange(4000) % 4,
                                           instrument_u=u) for u in (0.0, 2.0))
    assert unsure.displayed == sure.displayed
    assert unsure.flown.hours < sure.flown.hours
    assert np.log(unsure.flown.high / unsure.flown.low) > 1.5 * np.log(
        sure.flown.high / sure.flown.low)


def test_fewer_than_fifty_peaks_are_refused():
    margins = np.linspace(1, 30, 199)
    found = loganalyze.margin_tail(margins, np.ones(199), np.zeros(199))
    assert (found.refused, found.displayed.refused) == ("too few peaks", "too few peaks")
    assert np.isnan(found.flown.hours)
    assert not loganalyze.margin_tail(margins, np.ones(199), np.zeros(199),
                                      threshold=margins[50] + 0.01).refused
    assert loganalyze.margin_tail(margins, np.ones(199), np.zeros(199),
                                  threshold=margins[49] - 0.01).refused == "too few peaks"


def test_no_time_beyond_five_times_the_exposure_is_given():
    margins = 60 - np.random.default_rng(6).exponential(2.0, 1000)
    found = loganalyze.margin_tail(margins, np.full(1000, 2.0), np.zeros(1000))
    assert not found.refused
    assert found.displayed.refused == "beyond five times the exposure"
    assert np.isnan(found.displayed.hours)
    assert found.displayed.low <= 5 * 2000
    assert np.isinf(found.displayed.high)


def test_flights_without_a_known_margin_count_for_nothing():
    margins = 20 - np.random.default_rng(7).exponential(4.0, 1000)
    some = loganalyze.margin_tail(margins, np.ones(1000), np.zeros(1000))
    more = loganalyze.margin_tail(np.append(margins, [np.nan, 1.0]), np.append(np.ones(1000),
                                  [1.0, 0.0]), np.zeros(1002))
    assert more == some


def test_the_interval_holds_the_true_time():
    """A sample of tail_coverage; the least that 25 fleets may hold is .84."""
    for held, _, refused in covered("normal, mean 9, sd 6", 600, 25, seed=3).values():
        assert held >= 0.84
        assert refused == 0


def test_a_store_gives_tails_by_phase_and_the_flights_behind_them(tmp_path):
    for number in range(3):
        write_log(tmp_path / f"logs/{number}.csv", 230 + number, day=f"2031-01-0{number + 1}")
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    found = loganalyze.fleet_margin_tails(tmp_path / "store", threshold_kt=14.5)
    closest = [one for one in found if one.peaks]
    assert {one.tail.refused for one in found} == {"too few peaks"}
    assert {one.limits_sheet for one in found} == {"twin.toml"}
    assert max(len(one.peaks) for one in closest) == 2


def test_flights_that_came_closest_to_another_limit_count_in_the_exposure_alone():
    """With their margins infinite the rate is that of the others in all hours."""
    rng = np.random.default_rng(3)
    margins, hours = 20 - rng.exponential(4.0, 3000), np.ones(3000)
    mine = np.arange(3000) % 3 > 0
    alone = loganalyze.margin_tail(margins[mine], hours[mine], np.zeros(2000))
    among = loganalyze.margin_tail(np.where(mine, margins, np.inf), hours, np.zeros(3000))
    assert (among.peaks, among.threshold, among.hours) == (alone.peaks, alone.threshold, 3000)
    assert among.displayed.hours == pytest.approx(1.5 * alone.displayed.hours, rel=1e-9)


def test_each_limit_has_a_tail_of_its_own(tmp_path):
    """At 5,000 ft VMO is closest, higher up MMO; each flight counts for one of them in a phase."""
    for number in range(6):
        log = write_log(tmp_path / f"logs/{number}.csv", 230 + number)
        if number % 2:
            log.write_text(log.read_text().replace(",5000,", ",20000,").replace(",4\n", ",-25\n"))
    run(tmp_path / "logs", tmp_path / "store", write_sheet(tmp_path / "twin.toml"))
    found = loganalyze.fleet_margin_tails(tmp_path / "store", threshold_kt=1000.0)
    assert {one.limit for one in found} == {"VMO", "MMO"}
    for phase in {one.phase for one in found}:
        peaks = [key for one in found if one.phase == phase for key in one.peaks]
        assert len(peaks) == len({*peaks}) == max(
            one.tail.flights for one in found if one.phase == phase)
