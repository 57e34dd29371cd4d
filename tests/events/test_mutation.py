"""One changed sample of a clean log changes the exceedances within one interval of it, or is
listed as suspect.

The flight is made of plausible motion; one cell of one channel becomes anything at all. What is
compared is the time over each limit, which is what the exceedances are made of: joining may carry
a change as far as its own settings say (5 s), so it is left out here and held to that beside.
"""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import Intervals, Settings, analyze

N = 240
CHANNELS = ("calibrated_airspeed", "pressure_altitude", "mach", "flap_lever", "gear_down",
            "load_factor", "pitch", "calibrated_airspeed_2", "pressure_altitude_2",
            "static_air_temperature")
APART = Settings(join_gap_s=0.0, ride_gap_s=0.0, hole_longest_s=0.0)


def clean_flight(rng):
    """Speeds that wander about the limits, at rates that any aircraft has."""
    seconds = np.arange(N)
    ft = 14000 + 1500 * np.sin(seconds / 40) + rng.normal(0, 4, N)
    kt = 246 + 7 * np.sin(seconds / rng.uniform(6, 15)) + rng.normal(0, 0.6, N)
    step = rng.choice([0.01, 0.1, 1.0])
    kt = np.round(kt / step) * step
    mach = kt / 661.478594 * (1 - 6.8756e-6 * ft) ** -2.55  # near enough for a witness
    return {
        "calibrated_airspeed": kt, "pressure_altitude": np.round(ft), "mach": mach,
        "flap_lever": np.where(seconds > 150, 10.0, 0.0),
        "gear_down": np.where((seconds > 180) & (seconds < 220), 1.0, 0.0),
        "load_factor": 1 + rng.normal(0, 0.03, N), "pitch": 2 + rng.normal(0, 0.2, N),
        "calibrated_airspeed_2": kt + 1.3, "pressure_altitude_2": np.round(ft) + 35,
        "static_air_temperature": -10 + rng.normal(0, 0.1, N),
    }


LIMITS = (
    {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0},
    {"name": "MMO", "quantity": "mach", "maximum": 0.487},
    {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 245.0,
     "when": {"flap_deg": {"above": 1}}},
    {"name": "VLO", "quantity": "calibrated_airspeed", "maximum_kt": 244.0,
     "when": {"gear_retracting": {"is": True}}},
)


def value(rng, channel, old):
    """Anything a bad word could be, from a slip of one step to garbage."""
    return float(rng.choice([
        np.nan, -9999.0, 99999.0, 0.0, 1.0, old + 1, old - 1, old + 20, old - 20, old + 35,
        old - 35, old + 60, old - 60, old * 2, -old, rng.normal(old, abs(old) / 3 + 5),
    ]))


def over(analysis):
    """Time over each limit: as listed, and with what is listed as suspect."""
    by_limit = {}
    for limit in analysis.limit_names:
        counted = Intervals.of((one.start_s, one.end_s) for one in analysis.exceedances
                               if one.limit == limit)
        doubted = Intervals.of((one.start_s - 1, one.end_s + 1) for one in analysis.suspects
                               if one.limit == limit)
        by_limit[limit] = counted, doubted
    return by_limit


def changed(before, after):
    """Where time over a limit came or went and isn't listed as suspect."""
    # The gear begins to move at 220 s, and the limit for that ends 15 s after it was first seen to.
    # A bad sample beside the first one leaves it open which of the two that was, and the end of
    # the movement goes with its start.
    later = Intervals.of([(220.0 - 2, 220.0 + 2), (235.0 - 2, 235.0 + 2)])
    moved = {limit: ((before[limit][0] - after[limit][0]) | (after[limit][0] - before[limit][0]))
             - after[limit][1] for limit in before}
    return {**moved, "VLO": moved["VLO"] - later}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("channel", CHANNELS)
def test_a_changed_sample_stays_within_one_interval(channel, seed, log, sheet):
    rng = np.random.default_rng([seed, CHANNELS.index(channel)])
    flight, limits = clean_flight(rng), sheet(*LIMITS)
    whole = analyze(log(range(N), **flight), limits, settings=APART)
    assert whole.screened == {}
    assert whole.exceedances
    assert not whole.suspects
    before = over(whole)
    for _ in range(10):
        row = int(rng.integers(N))
        bad = flight[channel].copy()
        bad[row] = value(rng, channel, bad[row])
        after = over(analyze(log(range(N), **{**flight, channel: bad}), limits, settings=APART))
        for limit, where in changed(before, after).items():
            # Edges lie between two samples, so that they may move within the next step.
            assert not len(where) or (row - 1 - 1e-9 <= where.edges.min()
                                      and where.edges.max() <= row + 1 + 1e-9), (
                limit, row, bad[row], where.edges)


@pytest.mark.parametrize("seed", range(2))
def test_joining_carries_a_change_as_far_as_its_gap(seed, log, sheet):
    rng = np.random.default_rng([seed, 99])
    flight, limits = clean_flight(rng), sheet(*LIMITS)
    before = over(analyze(log(range(N), **flight), limits))
    for _ in range(10):
        row = int(rng.integers(N))
        bad = flight["calibrated_airspeed"].copy()
        bad[row] = value(rng, "", bad[row])
        after = over(analyze(log(range(N), **{**flight, "calibrated_airspeed": bad}), limits))
        for where in changed(before, after).values():
            assert not len(where) or (row - 6 <= where.edges.min()
                                      and where.edges.max() <= row + 6)


def test_the_check_itself_finds_a_change_that_spreads(log, sheet):
    flight, limits = clean_flight(np.random.default_rng(1)), sheet(*LIMITS)
    before = over(analyze(log(range(N), **flight), limits, settings=APART))
    bad = {**flight, "calibrated_airspeed": flight["calibrated_airspeed"] + np.where(
        np.arange(N) > 100, 5.0, 0.0)}
    spread = changed(before, over(analyze(log(range(N), **bad), limits, settings=APART)))
    assert any(len(where) and where.edges.max() > 110 for where in spread.values())
