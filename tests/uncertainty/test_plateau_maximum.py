"""The worst excess of a plateau is not the greatest of its noise."""

import math
from pathlib import Path

import numpy as np
import plateaus
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Settings, Source, analyze, assess_flight
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening.noise_estimation import Filtered, Fit
from loganalyze.uncertainty import plateau_maximum

NOTHING = {"standard": 0.0}


def correlated(rng, count, interval, sd, seconds):
    values = rng.normal(0, sd, count)
    keep = math.exp(-interval / seconds) if seconds else 0.0
    for i in range(1, count):
        values[i] = keep * values[i - 1] + math.sqrt(1 - keep**2) * values[i]
    return values


def assessed(time, cas, u=0.3, second=None, settings=None, **uncertainty):
    """Assess a log at 5,000 ft against VMO 250."""
    time = np.asarray(time, dtype=float)
    interval = float(np.median(np.diff(time)))
    columns = {"calibrated_airspeed": (cas, KNOT), "pressure_altitude": (5000.0, FOOT)}
    if second is not None:
        columns["calibrated_airspeed_2"] = (second, KNOT)
    log = FlightLog(time, {
        name: Channel(np.broadcast_to(np.asarray(values, dtype=float), time.shape) * unit,
                      interval_s=interval) for name, (values, unit) in columns.items()},
        Source(Path("made.csv")), interval_s=interval)
    return assess_flight(analyze(log, LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}],
        "uncertainty": {
            **dict.fromkeys(("pressure_altitude", "static_source", "position_correction",
                             "displayed_airspeed", "displayed_altitude"), NOTHING),
            "airspeed": {"standard": u}, "display_quantum_kt": 0.0, "display_quantum_mach": 0.0,
            "display_lag_s": 0.0, "skew_s": 0.0, **uncertainty}}), settings=settings))


def climb_to(level, seconds, interval, before=120.0, rate=1.0):
    """A rise to a level that is kept for some seconds, and the way back down [kt]."""
    time = np.arange(0, before + 20 / rate + seconds + 20 / rate, interval)
    start = before + 20 / rate
    away = np.maximum(0, np.maximum(start - time, time - start - seconds))
    return time, level - np.minimum(rate * away, 20)


def worst(found):
    return max(found.exceedances, key=lambda one: one.flown.reading)


def test_a_speed_under_its_limit_is_not_over_by_its_noise():
    # True 249.0 kt for nine minutes.
    time = np.arange(0, 540, 0.25)
    cas = 249.0 + np.random.default_rng(4).normal(0, 0.5, len(time))
    found = assessed(time, cas)
    assert found.exceedances
    for one in found.exceedances:
        assert one.flown.reading > 0
        assert one.flown.excess == pytest.approx(-1, abs=0.3)
        assert one.flown.probability < 0.03
        assert one.displayed.excess == one.flown.excess


@pytest.mark.parametrize("interval", [0.125, 0.25])
def test_the_bend_of_a_top_is_the_coefficient_of_its_parabola(interval):
    time = np.arange(-10, 10, interval)
    found = plateau_maximum.greatest(8 - 0.2 * time**2, interval, 0.0)
    assert found.curvature == pytest.approx(-0.2, rel=0.1)


@pytest.mark.parametrize("skew", [0.05, -0.05])
def test_the_bend_of_a_lopsided_top_is_that_of_both_its_sides(skew):
    # Over a second either way it is 0.2 on the average, 0.15 to one side and 0.25 to the other.
    time = np.arange(-2.5, 2.5, 0.125)
    found = plateau_maximum.greatest(8 - 0.2 * time**2 + skew * time**3, 0.125, 0.0)
    assert found.curvature == pytest.approx(-0.2, rel=0.1)


@pytest.mark.parametrize(("seconds", "interval", "sd", "correlated_s", "before"), [
    (40, 0.25, 0.5, 0, 1.2), (120, 0.25, 1.0, 0, 2.5), (240, 1.0, 0.8, 5, 1.9)])
def test_the_worst_of_a_plateau_is_unbiased(seconds, interval, sd, correlated_s, before):
    rng = np.random.default_rng(5)
    errors, readings, held = [], [], []
    for _ in range(24):
        time, cas = climb_to(253, seconds, interval)
        noise = correlated(rng, len(time), interval, sd, correlated_s)
        stated = {"airspeed_noise": {"standard": sd, "correlation_s": correlated_s}
                  } if correlated_s else {}
        one = worst(assessed(time, cas + noise, u=0.5, **stated)).flown
        errors.append(one.excess - 3)
        readings.append(one.reading - 3)
        held.append(one.low < 3 < one.high)
    assert np.mean(readings) > before
    # A level that is exactly flat is the hardest: any course drawn has its own ups.
    assert abs(np.mean(errors)) < 0.35
    assert np.mean(held) > 0.9


def test_a_plateaus_error_is_no_smaller_than_what_is_common():
    time, cas = climb_to(253, 300, 0.25)
    cas = cas + np.random.default_rng(6).normal(0, 0.5, len(time))
    one = worst(assessed(time, cas, u=1.5)).flown
    assert one.common_u == pytest.approx(1.5)
    assert one.random_u < 0.2
    assert one.high - one.low > 2 * 1.95 * 1.5


def test_correlated_noise_that_nobody_tells_from_gusts_widens_the_interval():
    rng = np.random.default_rng(7)
    time, cas = climb_to(252, 300, 0.5)
    noise = correlated(rng, len(time), 0.5, 1.0, 4.0)
    # Long before as well: noise is there all the time.
    time = np.concatenate([np.arange(-900, 0, 0.5), time])
    cas = np.concatenate([np.full(1800, 225.0) + correlated(rng, 1800, 0.5, 1.0, 4.0),
                          cas + noise])
    one = worst(assessed(time, cas)).flown
    assert one.noise_separated_by == "not separable"
    assert one.if_noise < 2.8 < one.excess
    assert one.low < 2 < one.high
    told = worst(assessed(time, cas, airspeed_noise={"standard": 1.0, "correlation_s": 4})).flown
    assert (told.noise_separated_by, told.if_noise) == ("stated", None)
    listed = assessed(time, cas, airspeed_noise={"standard": 1.0, "correlation_s": 4}).tolerances
    assert ("airspeed_noise", "the limits sheet", 1.0) in listed
    assert told.excess == pytest.approx(2, abs=0.8)
    assert told.high < one.high


def test_gusts_that_another_source_shares_are_real():
    rng = np.random.default_rng(8)
    time, cas = climb_to(252, 300, 0.5)
    gusty = cas + correlated(rng, len(time), 0.5, 1.0, 4.0)
    second = gusty + rng.normal(1.0, 0.1, len(time))
    real = worst(assessed(time, gusty + rng.normal(0, 0.1, len(time)), second=second)).flown
    assert (real.noise_separated_by, real.if_noise) == ("other channel", None)
    assert real.excess == pytest.approx((gusty - 250).max(), abs=0.5)
    alone = cas + rng.normal(1.0, 0.1, len(time))
    noise = worst(assessed(time, gusty, second=alone)).flown
    assert noise.noise_separated_by == "other channel"
    assert noise.excess == pytest.approx(2, abs=0.8)
    assert noise.reading > real.reading - 1 > 3


def test_beside_a_gap_the_probability_is_at_least_so_much():
    time, cas = climb_to(249.5, 200, 0.25)
    cas = cas + np.random.default_rng(9).normal(0, 0.4, len(time))
    # The hole is somewhere in the plateau, and the top may be in it.
    kept = np.abs(time - 240) > 5
    # Each touch by itself: joined to one, the greatest of them may lie elsewhere.
    found = assessed(time[kept], cas[kept], settings=Settings(ride_gap_s=0.0))
    beside = [one for one in found.exceedances
              if abs(found.analysis.exceedances[one.number - 1].worst_time_s - 240) < 25]
    assert beside
    assert all(one.flown.at_least and one.displayed.at_least for one in beside)
    whole = assessed(time, cas)
    assert not any(one.flown.at_least for one in whole.exceedances)


def test_a_top_within_a_gap_is_at_least_what_was_recorded_beside_it():
    # 28 s of a bump to 1 kt over are known, its top isn't; with noise the worst isn't the edge.
    rng = np.random.default_rng(16)
    time = np.arange(0, 200, 0.25)
    stated, flagged = [], []
    for _ in range(30):
        cas = 251 - 0.03 * (time - 100) ** 2 + rng.normal(0, 0.3, len(time))
        kept = (np.abs(time - 100) > 6) & (cas > 200)
        found = assessed(time[kept], cas[kept], u=1.0)
        for one in (*found.exceedances, *found.near):
            stated.append(one.flown.probability)
            flagged.append(one.flown.at_least)
    assert len(stated) >= 30
    # Truly over: what is stated is too low, and says so.
    assert np.mean(stated) < 0.7
    assert all(flagged)


def test_a_plateau_of_few_samples_is_unbiased():
    # 10 s at 1 Hz: its flanks are no part of it, and don't make its noise look like speed.
    rng = np.random.default_rng(17)
    errors, readings = [], []
    for _ in range(80):
        time, cas = climb_to(253, 10, 1.0, before=60, rate=0.8)
        one = worst(assessed(time, cas + rng.normal(0, 0.6, len(time)), u=0.5)).flown
        errors.append(one.excess - 3)
        readings.append(one.reading - 3)
    assert np.mean(readings) > 0.8
    assert abs(np.mean(errors)) < 0.2


def test_a_gap_that_may_hold_the_whole_plateau_leaves_no_upper_end():
    # 10 s at 255 kt within a gap of 30 s: what is recorded are the ways up and down.
    rng = np.random.default_rng(18)
    time, cas = climb_to(255, 10, 0.25, rate=0.5)
    top = 120 + 20 / 0.5 + 5
    kept = np.abs(time - top) > 15
    highs = []
    for _ in range(20):
        noisy = cas + rng.normal(0, 0.8, len(time))
        found = assessed(time[kept], noisy[kept])
        highs += [one.flown.high for one in (*found.exceedances, *found.near)]
    assert len(highs) >= 15
    assert np.isnan(highs).all()


def test_the_same_samples_give_the_same_answer():
    time, cas = climb_to(252, 100, 0.25)
    cas = cas + np.random.default_rng(10).normal(0, 0.5, len(time))
    assert worst(assessed(time, cas)).flown == worst(assessed(time, cas)).flown


def test_a_long_ride_is_thinned():
    rng = np.random.default_rng(11)
    time = np.arange(0, 3600, 0.125)
    values = rng.normal(0, 1, len(time)) + 0.4 * np.sin(time / 10)
    found = plateau_maximum.greatest(values, 0.125, 0.0)
    assert found.samples <= plateau_maximum.MOST
    # Groups of 29 samples scatter by 0.19, and there are 57 tops to be the greatest.
    assert found.excess == pytest.approx(0.4, abs=0.4)
    assert values.max() > 3.5


def test_the_stretch_leaves_the_flanks():
    time, cas = climb_to(0.0, 60, 0.25, before=20)
    cas = cas + np.random.default_rng(12).normal(0, 0.3, len(time))
    first, stop = plateau_maximum.stretch(cas, int(cas.argmax()), 0.25, 0.3, 0.0, 0.0)
    assert time[first] == pytest.approx(40, abs=3)
    assert time[stop - 1] == pytest.approx(100, abs=3)


@pytest.mark.parametrize(("share", "whole"), [(0.97, True), (1.03, False)])
@pytest.mark.parametrize(("interval", "averaged"), [(1.0, 3), (0.25, 9), (0.1, 9)])
def test_a_plateau_reaches_three_standard_deviations_down(interval, averaged, share, whole):
    # Level for 20 s, then lower for 40 s: by the noise of 2 s averaged, at most nine samples.
    count = round(60 / interval)
    excess = np.full(3 * count, -50.0)
    excess[count : 2 * count] = 0.0
    excess[count + count // 3 : 2 * count] = -3 * share / math.sqrt(averaged)
    _, stop = plateau_maximum.stretch(excess, count + 3, interval, 1.0, 0.0, 0.0)
    assert stop == pytest.approx((2 if whole else 4 / 3) * count, abs=averaged)


@pytest.mark.parametrize(("apart_s", "together"), [(28, True), (33, False)])
def test_plateaus_half_a_minute_apart_are_two(apart_s, together):
    level, low = np.zeros(600), np.full(600, -50.0)
    excess = np.concatenate([low, level, low[: apart_s * 10], level, low])
    first, stop = plateau_maximum.stretch(excess, 610, 0.1, 0.0, 1.0, 0.0)
    assert first == pytest.approx(600, abs=9)
    assert stop == pytest.approx(1800 + apart_s * 10 if together else 1200, abs=9)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.15, 0.3, 0.5, 1.0])
def test_what_rounding_leaves_against_its_definition(share):
    # The mean of many rounded readings less the level, over levels between two steps.
    rng = np.random.default_rng(13)
    levels = np.arange(0, 1, 0.01)
    noise = rng.normal(0, share, 20_000)
    means = [np.round(level + noise).mean() - level for level in levels]
    left = math.sqrt(np.mean(np.square(means)))
    assert plateau_maximum.rounding_left(
        1.0, math.hypot(share, 1 / math.sqrt(12))
    ) == pytest.approx(left, abs=0.012)


def test_the_posterior_against_a_dense_one():
    # One known model (a level that meanders as a Matern 3/2 process, white noise): the posterior
    # of the maximum by a dense covariance matrix, which shares nothing with the transform.
    rng = np.random.default_rng(14)
    n, interval = 160, 0.5
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) * interval * math.sqrt(3) / 12
    covariance = 0.8**2 * (1 + apart) * np.exp(-apart)
    prior = covariance + 1e4
    gain = prior @ np.linalg.inv(prior + 0.25 * np.eye(n))
    spread = np.linalg.cholesky(prior - gain @ prior + 1e-7 * np.eye(n))
    off, ratio = [], []
    for _ in range(12):
        true = np.linalg.cholesky(covariance + 1e-9 * np.eye(n)) @ rng.normal(size=n)
        values = true + rng.normal(0, 0.5, n)
        tops = (gain @ values + rng.normal(size=(2000, n)) @ spread.T).max(axis=1)
        found = plateau_maximum.greatest(values, interval, 0.0)
        off.append(found.excess - tops.mean())
        ratio.append(found.error / tops.std())
    # The dense one knows the sizes; here they are found, which costs some certainty.
    assert abs(np.mean(off)) < 0.06
    assert np.std(off) < 0.15
    assert 0.9 < np.mean(ratio) < 1.4


def test_where_nothing_moves_the_greatest_is_little_less_sure_than_the_mean():
    # Of two dozen level stretches in white noise, that whose samples show the least motion.
    rng = np.random.default_rng(3)
    errors = [plateau_maximum.greatest(rng.normal(0, 1, 100), 1.0, 0.0).error for _ in range(24)]
    # By 20,000 draws 1.38 times what the mean's is; the motion that they allow is the rest.
    assert 1.25 < min(errors) * math.sqrt(100) < 1.5


def test_known_noise_of_a_long_stretch_is_that_of_all_its_samples():
    # Four samples a group: by the covariance of 2,048 samples the mean is known to 0.38, not 0.7.
    rng = np.random.default_rng(3)
    count, interval, seconds = 2048, 0.125, 20.0
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) * interval
    of_mean = math.sqrt(np.exp(-apart / seconds).mean())
    errors = [plateau_maximum.greatest(
        correlated(rng, count, interval, 1.0, seconds), interval, 0.0,
        Filtered(1.0, seconds)).error for _ in range(8)]
    assert of_mean < np.median(errors) < 1.5 * of_mean


def test_known_noise_doesnt_average_out_within_its_time():
    rng = np.random.default_rng(15)
    values = correlated(rng, 40, 0.25, 1.0, 10.0) + rng.normal(0, 0.05, 40)
    found = plateau_maximum.greatest(values, 0.25, 0.0, Filtered(1.0, 10.0))
    assert found.error > 0.6
    assert Fit.of(values, 0.25, 0.0, Filtered(1.0, 10.0)).weight.sum() == pytest.approx(1)


@pytest.mark.parametrize(("name", "seconds"), [
    ("white", 150.0), ("white", 40.0), ("over 5 s, stated", 150.0),
    ("over 10 s, a second airspeed", 600.0), ("over 2 s, shown by nothing", 40.0),
    ("white, a gap of 10 s", 40.0)])
def test_plateaus_are_calibrated(name, seconds):
    # A fixed small sample of the table that `plateaus` prints.
    noise, = (one for one in plateaus.NOISES if one.name == name)
    flights = 288 if noise.separated_by == "channel" else 144
    found = plateaus.judged(noise, plateaus.cell(noise, seconds, flights, plateaus.TUNED_ON))
    assert found.passed, found
    assert found.bias_of_reading > 3 * found.allowed_bias
    if noise.gap_s:
        assert found.at_least > 0.5
    if noise.untold:
        assert found.not_told > 0.5
