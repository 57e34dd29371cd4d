"""Widest bounds, the dominating error and what stating it gains, against the parts by hand."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loganalyze import (
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    Channel,
    FlightLog,
    LimitsSheet,
    Source,
    analyze,
    assess_flight,
)
from loganalyze.record.units import FOOT, KNOT

K = 1.959964
VMO = {"name": "VMO", "quantity": "indicated_airspeed", "maximum_kt": 250.0}
STEADY = {"airspeed_resolution_kt": 0.0, "altitude_resolution_ft": 0.0, "skew_s": 0.0,
          "display_lag_s": 0.0}


def flown(top, limit=VMO, recorded="indicated", **uncertainty):
    """A smooth pass over VMO 250 up to `top` kt at 8,000 ft, assessed."""
    time = np.arange(0, 120, 0.5)
    speed = top - 0.01 * (time - 60) ** 2
    channels = {f"{recorded}_airspeed": speed * KNOT,
                "pressure_altitude": np.full(len(time), 8000 * FOOT)}
    log = FlightLog(time, {name: Channel(values) for name, values in channels.items()},
                    Source(Path("made.csv")), interval_s=0.5)
    (one,) = assess_flight(analyze(log, LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": recorded}, "limit": [limit],
        "uncertainty": {**STEADY, **uncertainty}}))).exceedances
    return one


def test_a_dial_at_260_against_250_is_proven_over_with_nothing_stated():
    one = flown(260.0)
    # Half of AS8002A at 260 kt is 1.3 kt, and the display's steps are 1 kt.
    u = math.hypot(1.3 / math.sqrt(3), 1 / math.sqrt(12))
    assert one.displayed.word == PROVEN_OVER
    assert one.displayed.low == pytest.approx(10 - K * u, abs=0.15)
    # The rules allow a recorder to be off by 3 %: 7.8 kt.
    wide = math.hypot(7.8 / math.sqrt(3), 1 / math.sqrt(12))
    assert one.displayed.widest.low == pytest.approx(10 - K * wide, abs=0.15)
    assert one.displayed.widest.word == PROVEN_OVER
    assert flown(255.0).displayed.widest.word == OVER_NOT_PROVEN


def test_the_widest_interval_holds_the_typical_one_and_counts_the_recorder_once():
    for recorded in ("indicated", "calibrated"):
        one = flown(258.0, {**VMO, "quantity": f"{recorded}_airspeed"}, recorded)
        for basis in (one.displayed, one.flown):
            assert basis.widest.low < basis.low < basis.high < basis.widest.high
        if recorded == "calibrated":
            # 3 % of 258 kt, a static source of 2 kt and a correction's rest of 1 kt.
            wide = math.sqrt((7.74**2 + 2**2 + 1**2) / 3)
            assert one.flown.widest.high - one.flown.widest.low == pytest.approx(
                2 * K * wide, rel=0.02)


def test_the_dominating_error_and_what_stating_it_gains():
    one = flown(258.0, {**VMO, "quantity": "calibrated_airspeed"})
    # Squares of the limits: computer 2.58, recorder against display 1.29, static 2, position 3.4.
    squares = {"airspeed": 2.58**2, "displayed_airspeed": 1.29**2, "static_source": 4.0,
               "position_correction": 3.4**2}
    assert one.flown.greatest.code == "position_correction"
    assert one.flown.greatest.share == pytest.approx(3.4**2 / sum(squares.values()), abs=0.02)
    assert one.flown.greatest.supposed == 1.0
    left = math.sqrt((sum(squares.values()) - 3.4**2 + 1.0) / 3)
    assert one.flown.greatest.half_width == pytest.approx(K * left, rel=0.02)
    # And so it is, when the sheet states it.
    stated = flown(258.0, {**VMO, "quantity": "calibrated_airspeed"},
                   position_correction={"limits": 1.0})
    assert (stated.flown.high - stated.flown.low) / 2 == pytest.approx(
        one.flown.greatest.half_width, rel=1e-3)
    assert stated.flown.greatest.code == "airspeed"


def test_what_the_sheet_states_is_no_ones_gain_and_has_no_wider_bound():
    tight = {key: {"limits": 2.0} for key in (
        "airspeed", "displayed_airspeed", "static_source", "pressure_altitude",
        "displayed_altitude", "position_correction")}
    one = flown(258.0, **tight)
    for basis in (one.displayed, one.flown):
        assert basis.widest is None
        assert basis.greatest.supposed is basis.greatest.half_width is None


def test_parts_add_up_to_the_whole():
    one = flown(258.0, {**VMO, "quantity": "calibrated_airspeed"})
    bare = replace(one.flown, greatest=None, widest=None)
    assert bare.common_u == pytest.approx(
        math.sqrt((2.58**2 + 1.29**2 + 4 + 3.4**2) / 3), rel=0.01)
