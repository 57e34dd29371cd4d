"""Channels that stand still: frozen, stale, or flying level."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze.judge import frozen
from loganalyze.judge.flight import analyze
from loganalyze.judge.settings import Settings

UNDER, OVER, UNKNOWN = 0, 1, 2
FROZEN = "airspeed frozen while others moved"
RNG = np.random.default_rng(4)


@pytest.fixture
def judged(log, sheet, vmo):
    def judge(kt, ft=5000.0, settings=None, interval_s=1.0, **channels):
        flight = log(interval_s * np.arange(len(kt)), interval_s, indicated_airspeed=kt,
                     pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo, recorded="indicated"), settings=settings)

    return judge


def plain_standstills(values, least):
    found, first = [], 0
    for row in range(1, len(values) + 1):
        if row == len(values) or values[row] != values[first]:
            if row - first >= least and values[first] == values[first]:
                found.append([first, row - 1])
            first = row
    return found


@pytest.mark.parametrize("least", [2, 3, 5, 20, 36, 144])
@pytest.mark.parametrize("shape", ["walk", "coarse", "still", "missing"])
def test_standstills_as_walked_through(least, shape):
    rng = np.random.default_rng(least)
    values = np.repeat(rng.integers(0, 4, 400), rng.integers(1, 2 * least, 400)).astype(float)
    if shape == "walk":
        values += np.where(rng.random(len(values)) < 0.05, rng.random(len(values)), 0)
    elif shape == "coarse":
        values = np.floor(values / 3)
    elif shape == "missing":
        values[rng.random(len(values)) < 0.01] = np.nan
    else:
        values[:] = 3.0
    assert frozen.standstills(values, least).tolist() == plain_standstills(values, least)


# 60 s gathering speed, then 60 s in which the airspeed must have gone from 240 to 252 kt, which
# isn't so far that the two sources would disagree.
TRUE = np.concatenate([np.linspace(200, 240, 61), np.linspace(240, 252, 60)])
STUCK = np.minimum(TRUE, 240.0)


def test_frozen_while_a_second_source_moved(judged):
    analysis = judged(STUCK, indicated_airspeed_2=TRUE - 2.0)
    assert analysis.screened[FROZEN] == 61
    assert analysis.columns["state"].tolist() == [UNDER] * 60 + [UNKNOWN] * 61


def test_frozen_while_the_recorded_mach_number_moved(judged):
    mach = TRUE / 661.478594 / 0.9123  # near enough at 5000 ft
    assert judged(STUCK, mach=mach).screened == {FROZEN: 61}


def test_frozen_while_ground_speed_moved_on_a_steady_track(judged):
    faster = np.concatenate([np.full(61, 250.0), np.linspace(250, 300, 60)])
    steady = {"ground_speed": faster, "track": 90.0}
    assert judged(STUCK, **steady).screened == {FROZEN: 61}
    # In a turn, or in a climb, the wind alone may do that.
    assert judged(STUCK, ground_speed=faster, track=np.linspace(0, 180, 121)).screened == {}
    assert judged(STUCK, np.linspace(5000, 9000, 121), **steady).screened == {}


def test_standing_still_is_not_frozen(judged):
    # Nothing says that it moved: neither a level cruise nor a climb at a constant airspeed.
    assert judged(STUCK).screened == {}
    assert judged(np.full(600, 240.0)).screened == {}
    assert judged(np.full(600, 240.0), np.linspace(0, 30000, 600)).screened == {}
    assert judged(STUCK, indicated_airspeed_2=STUCK + 4.0, mach=0.4).screened == {}


def test_too_short_to_tell(judged):
    kt = TRUE.copy()
    kt[61:80] = 240.0
    assert FROZEN not in judged(kt, indicated_airspeed_2=TRUE).screened
    assert FROZEN in judged(kt, indicated_airspeed_2=TRUE + 0.0 * kt,
                            settings=Settings(frozen_s=10, frozen_moved_kt=2)).screened


def test_one_bad_sample_of_a_witness_moves_nothing(judged):
    other = np.full(121, 240.0)
    other[90] = 400.0  # too short for a disagreement either
    assert judged(STUCK, indicated_airspeed_2=np.where(TRUE < 240, TRUE, other)).screened == {}


def test_noise_that_stops_in_a_climb(judged):
    # Flickering in 0.1 kt all the way; stuck for 60 s while climbing 2000 ft.
    ft = np.linspace(3000, 23000, 600) + RNG.normal(0, 3, 600)
    kt = np.round(240 + RNG.normal(0, 0.6, 600), 1)
    assert judged(kt, ft).screened == {}
    kt[300:361] = kt[300]
    analysis = judged(kt, ft)
    assert analysis.screened == {FROZEN: 61}
    # In level flight nothing stirs it.
    assert judged(kt, 5000 + RNG.normal(0, 3, 600)).screened == {}
    # A coarse recorder repeats itself so often that 60 s may be chance.
    coarse = np.full(600, 240.0)
    coarse[::17] += 1
    coarse[300:361] = 240
    assert judged(coarse, ft).screened == {}
    # A ramp isn't noise.
    ramp = np.concatenate([np.linspace(180, 240, 300), np.full(60, 240.0),
                           np.linspace(240, 200, 240)])
    assert judged(ramp, ft).screened == {}


def test_a_frozen_altitude_takes_the_mach_limit_and_not_the_airspeed_limit(log, sheet, vmo, mmo):
    ft = np.concatenate([np.linspace(20000, 25000, 60), np.full(60, 25000.0)])
    true = np.linspace(20000, 30000, 120)
    flight = log(range(120), calibrated_airspeed=200.0, pressure_altitude=ft,
                 pressure_altitude_2=true)
    analysis = analyze(flight, sheet(vmo, mmo), settings=Settings(sources_apart_ft=9000))
    assert analysis.screened == {"pressure altitude frozen while others moved": 61}
    assert analysis.columns["state_0"].tolist() == [UNDER] * 120
    assert analysis.columns["state_1"].tolist() == [UNDER] * 59 + [UNKNOWN] * 61


def test_the_cause_of_a_frozen_temperature_is_not_the_verdicts(judged):
    ft = np.linspace(3000, 23000, 600) + RNG.normal(0, 3, 600)
    kt = np.round(240 + RNG.normal(0, 0.6, 600), 1)
    assert judged(kt, ft, static_air_temperature=10.0).screened == {}


def held_replies(n=1200, hold=12):
    """Airspeed as replies: a true value every few seconds, kept in place until the next."""
    true = 220 + 25 * np.sin(np.arange(n) / 60)
    return true[np.arange(n) // hold * hold]


def test_replies_held_and_then_off_are_stale(judged):
    kt = held_replies()
    analysis = judged(kt)
    steps = np.flatnonzero(np.abs(np.diff(kt)) > 4.0)
    expected = np.zeros(len(kt), dtype=bool)
    for row in steps:
        expected[row - 10 : row + 1] = True  # all but the first of twelve
    assert len(steps) > 10
    assert (analysis.columns["state"] == UNKNOWN).tolist() == expected.tolist()
    assert analysis.screened == {"airspeed stale": int(expected.sum())}


def test_a_few_steps_are_flown_and_not_stale(judged):
    kt = np.concatenate([np.full(30, 200.0), np.full(30, 240.0), np.full(30, 255.0)])
    analysis = judged(kt)
    assert analysis.screened == {}
    assert (analysis.columns["state"] == OVER).sum() == 30


def test_steps_up_and_back_to_the_same_value_are_flown(judged):
    """However many: a reply that was held meets no old value when it is renewed."""
    kt = np.full(2000, 230.0)
    for i in range(30):
        kt[50 + 60 * i : 60 + 60 * i] = 251.0 + i / 2
    analysis = judged(kt)
    assert analysis.screened == {}
    assert len(analysis.exceedances) == 30
    assert judged(np.tile([230.0] * 10 + [240.0] * 10, 60)).screened == {}


def test_small_steps_are_not_stale(judged):
    assert judged(np.round(220 + (held_replies() - 220) / 3)).screened == {}


def take_off(stuck_s):
    """Taxi, roll and climb away, the altitude in steps of 32 ft; stuck so long after the roll."""
    rng = np.random.default_rng(3)
    kt = np.concatenate([np.full(200, 12.0) + rng.integers(0, 3, 200), np.linspace(12, 120, 30),
                         np.linspace(121, 200, 200)])
    ft = np.concatenate([np.where(rng.random(200) < 0.5, 0.0, 32.0), np.full(30, 32.0),
                         32.0 * np.round(np.linspace(0, 7000, 200) / 32)])
    ft[229 : 229 + stuck_s] = 32.0
    return kt, ft


def test_an_altitude_that_stands_still_in_the_take_off_roll_is_not_frozen(judged):
    kt, ft = take_off(0)
    assert not judged(kt, ft).screened.get("pressure altitude frozen while others moved")


def test_one_that_stands_still_long_after_the_roll_is(judged):
    kt, ft = take_off(110)
    found = judged(kt, ft).screened["pressure altitude frozen while others moved"]
    assert 40 < found < 110
