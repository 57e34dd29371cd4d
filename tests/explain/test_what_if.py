"""What would have helped: against flights of known dynamics, and refused where undecidable."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import loganalyze as la
from loganalyze.air import atmosphere
from loganalyze.explain import speed_onset
from loganalyze.explain.energy_replay import GRAVITY, local_fits, speed_difference
from tests.explain.what_if_truth import (
    SPOILT,
    answered_though_spoilt,
    drawn,
    recorded,
    sheet_of,
    tried,
)


def test_peaks_are_within_a_knot_of_the_flight_flown_again():
    score = tried(range(200, 212))
    assert len(score.errors) > 40
    assert max(map(abs, score.errors)) <= 1.0
    assert np.mean(score.held) >= 0.85
    refused = sum(count for (change, _), count in score.refused.items() if change == "earlier")
    assert refused <= 0.4 * score.asked["earlier"]


@pytest.mark.parametrize("spoilt", SPOILT)
def test_what_the_flight_cannot_show_is_refused(spoilt):
    assert answered_though_spoilt(range(300, 306), spoilt) == []


@pytest.mark.parametrize(("spoilt", "reason"), [
    ("no reduction", {"no reduction", "several peaks", "gap after"}), ("flaps", {"configuration"}),
    ("noise", {"noise"}), ("gap", {"gap before", "gap after"})])
def test_the_reason_is_named(spoilt, reason):
    case = drawn(301)
    log, _, _ = recorded(case, 301, spoilt)
    analysis = la.analyze(log, sheet_of(case))
    found = {one.refusal for number in range(1, len(analysis.exceedances) + 1)
             for one in la.what_if(analysis, number).answers if one.change == "earlier"}
    assert found <= reason
    assert found


def test_without_temperature_there_is_no_answer_but_the_reason():
    case = drawn(301)
    log, _, _ = recorded(case, 301)
    kept = {name: channel for name, channel in log.channels.items()
            if name != "static_air_temperature"}
    bare = la.FlightLog(log.time, kept, log.source, interval_s=log.interval_s)
    helped = la.what_if(la.analyze(bare, sheet_of(case)), 1)
    assert {one.refusal for one in helped.answers} == {"no temperature"}
    assert math.isnan(helped.as_flown_kt)


def test_power_back_five_ten_and_fifteen_seconds_earlier_is_asked():
    case = drawn(301)
    log, _, _ = recorded(case, 301)
    helped = la.what_if(la.analyze(log, sheet_of(case)), 1)
    assert [one.amount for one in helped.answers if one.change == "earlier"] == [5, 10, 15]


def test_exceedances_are_numbered_from_one():
    case = drawn(301)
    log, _, _ = recorded(case, 301)
    analysis = la.analyze(log, sheet_of(case))
    for number in (0, len(analysis.exceedances) + 1):
        with pytest.raises(IndexError):
            la.what_if(analysis, number)


@pytest.mark.parametrize("damping", [0.0, 0.2])
def test_the_energy_equation_is_integrated_as_a_general_solver_does(damping):
    time = np.arange(0, 40, 0.5)
    speed, climb = 140 + 0.2 * time, -12 + 0.1 * time
    added = np.clip(time / 3, 0, 1) * 2.5

    def rate(t, d):
        v, w, e = (np.interp(t, time, values) for values in (speed, climb, added))
        return -GRAVITY * (damping * d / v + (w + e) / (v + d) - w / v)

    exact = solve_ivp(rate, (0, time[-1]), [-3.0], t_eval=time, rtol=1e-10, atol=1e-10,
                      max_step=0.1).y[0]
    np.testing.assert_allclose(
        speed_difference(time, speed, climb, added, -3.0, damping), exact, atol=2e-3)


def test_a_higher_path_has_less_drag_and_another_wind():
    time = np.arange(0, 40, 0.5)
    speed, climb, added = 140 + 0.2 * time, -12 + 0.1 * time, np.full(80, 2.5)
    raised, damping, shear = 10 * time, 0.2, 0.004
    # Of the density at 5 km in the standard atmosphere [m].
    height = atmosphere.temperature(5000.0) / (GRAVITY / atmosphere.R_AIR - 0.0065)

    def rate(t, d):
        v, w, up = (np.interp(t, time, values) for values in (speed, climb, raised))
        drag = damping * (d / v - up / height / 2)
        return -GRAVITY * (drag + (w + 2.5) / (v + d) - w / v) + shear * 2.5

    exact = solve_ivp(rate, (0, time[-1]), [0.0], t_eval=time, rtol=1e-10, atol=1e-10,
                      max_step=0.1).y[0]
    found = speed_difference(time, speed, climb, added, 0.0, damping, shear, raised)
    np.testing.assert_allclose(found, exact, atol=0.01)


def test_speed_and_height_keep_their_energy_without_drag():
    time = np.arange(0, 20, 0.1)
    speed, climb = np.full(200, 150.0), np.full(200, -10.0)
    added = np.full(200, 3.0)
    difference = speed_difference(time, speed, climb, added, 0.0, 0.0)
    # As flown thrust less drag is -10/150 of the weight; what it does over the other path.
    force = GRAVITY * -10 / 150
    travelled = np.concatenate([[0], np.cumsum(0.1 * (speed + difference)[1:])])
    energy = (speed + difference) ** 2 / 2 - 150**2 / 2 + GRAVITY * -7 * time
    np.testing.assert_allclose(energy[1:], force * travelled[1:], rtol=0.01)


def test_the_noise_that_smoothing_leaves_is_that_of_white_noise():
    time = np.arange(0, 1000, 0.25)
    values = 0.02 * time + np.random.default_rng(2).normal(0, 0.5, len(time))
    _, _, noise = local_fits(np.array([500.0]), time, values, 6.0)
    assert noise == pytest.approx(0.5, rel=0.05)


def test_a_parabola_is_smoothed_to_itself():
    time = np.arange(0, 30, 0.25)
    values = 3 + 2 * time - 0.1 * time**2
    at = np.array([5.0, 15.0, 25.0])
    smooth, share, noise = local_fits(at, time, values, 6.0)
    np.testing.assert_allclose(smooth, 3 + 2 * at - 0.1 * at**2, atol=1e-9)
    assert (share < 1).all()
    assert noise < 0.01


def test_a_bend_without_a_corner_is_one():
    # At 1 kt/s until 10 s before the end, then 0.05 kt/s^2 less and less.
    time = np.arange(0, 60, 0.25)
    speed = time - 0.05 * np.clip(time - 45, 0, None) ** 2
    assert speed_onset.bend(time, speed, int(speed.argmax())) == pytest.approx(45, abs=1)
    assert np.isnan(speed_onset.bend(time, 60 - 0.02 * (time - 40) ** 2, 160))


@pytest.mark.parametrize(("step_s", "first"), [(2.9, 0), (4.0, 10)])
def test_three_intervals_without_a_sample_are_a_gap(step_s, first):
    time = np.arange(20.0)
    time[10:] += step_s - 1.0
    assert speed_onset.unbroken(time, np.ones(20, dtype=bool), 15) == (first, 20)
