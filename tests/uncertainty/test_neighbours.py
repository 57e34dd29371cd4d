"""A small pass close to a great one: neither takes the other's height for its own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze, assess_flight
from loganalyze.record.units import FOOT, KNOT

TIGHT = {"limits": 0.3}
SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "uncertainty": {"airspeed": TIGHT, "displayed_airspeed": TIGHT, "static_source": TIGHT,
                    "position_correction": TIGHT, "pressure_altitude": {"limits": 20}},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}],
    "severity": [{"name": "10 kt for 8 s", "level": "high", "excess_kt": 10, "time_s": 8}],
})


def flown(small_kt: float, apart_s: float, hz: float, *, first: bool):
    """Assess 20 s at a few knots over and 30 s at 13 over, with a valley 15 kt under between."""
    points = [(0, -15), (60, -15), (70, small_kt), (90, small_kt), (96, -15),
              (96 + apart_s, -15), (108 + apart_s, 13), (138 + apart_s, 13),
              (150 + apart_s, -15), (210 + apart_s, -15)]
    time = np.arange(0, points[-1][0], 1 / hz)
    kt = 250 + np.interp(time, *zip(*points, strict=True))
    kt = np.round(kt + np.random.default_rng(7).normal(0, 0.2, len(kt)), 2)
    kt = kt if first else kt[::-1]
    height = (5000 + np.sin(np.arange(len(kt)) / 7.0)) * FOOT
    log = FlightLog(time, {
        "calibrated_airspeed": Channel(kt * KNOT, resolution=0.01 * KNOT),
        "pressure_altitude": Channel(height)}, Source(Path("made.csv")), interval_s=1 / hz)
    told = assess_flight(analyze(log, SHEET))
    pairs = list(zip(told.analysis.exceedances, told.exceedances, strict=True))
    assert len(pairs) == 2
    return pairs if first else pairs[::-1]


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("hz", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("apart_s", [2.0, 10.0, 25.0])
def test_the_estimate_of_an_excess_is_of_its_own_samples(apart_s, hz, first):
    (small, told), (great, other) = flown(2.0, apart_s, hz, first=first)
    assert small.worst_excess_kt < 3.0
    assert told.flown.excess == pytest.approx(2.0, abs=0.6)
    assert told.displayed.high < 4.0
    # The level of the neighbour isn't its own.
    assert told.severity is None
    assert great.worst_excess_kt > 12.0
    assert other.flown.excess == pytest.approx(13.0, abs=0.6)
    assert other.severity.level == "high"


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("hz", [0.25, 0.5])
def test_neither_is_it_at_low_rates(hz, first):
    """There a parabola through the corners of the course reads up to 1.5 kt too much."""
    (small, told), (_, other) = flown(2.0, 10.0, hz, first=first)
    assert told.flown.excess == pytest.approx(small.worst_excess_kt, abs=1.5)
    assert told.flown.low < 2.0 < told.flown.high
    assert told.severity is None
    assert other.severity.level == "high"
