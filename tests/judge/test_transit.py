"""Flaps and gear on the move: small logs, the rows at which each limit applies written down."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze.judge.flight import analyze
from loganalyze.record.log import Channel

NAN = math.nan
UNDER, OVER, UNKNOWN, OFF = range(4)
DEG = math.pi / 180


def vfe(name, maximum, **flap_deg):
    return {"name": name, "quantity": "calibrated_airspeed", "maximum_kt": maximum,
            "when": {"flap_deg": flap_deg}}


VFES = (vfe("VFE 10", 200.0, above=1, up_to=10), vfe("VFE 30", 150.0, above=10, up_to=30))
VLO = tuple({"name": f"VLO {way}", "quantity": "calibrated_airspeed", "maximum_kt": kt,
             "when": {f"gear_{way}": {"is": True}}}
            for way, kt in (("extending", 180.0), ("retracting", 160.0)))


@pytest.fixture
def judged(log, sheet):
    def judge(limits, kt=170.0, configuration=None, interval_s=1.0, **channels):
        n = max(len(np.atleast_1d(one)) for one in channels.values()
                if not isinstance(one, Channel))
        flight = log(interval_s * np.arange(n), interval_s, calibrated_airspeed=kt,
                     pressure_altitude=5000.0, **channels)
        stated = sheet(*limits)
        if configuration:
            stated = stated.model_validate(
                {**stated.model_dump(by_alias=True, exclude_unset=True),
                 "configuration": configuration})
        return analyze(flight, stated)

    return judge


def states(analysis, i):
    return analysis.columns[f"state_{i}"].tolist()


def codes(analysis):
    return {one.code for one in analysis.findings}


def test_extending_the_lever_counts_at_once(judged):
    # Lever to 30 at row 2, surface there at row 5: 170 kt is over 150 from row 2 on.
    analysis = judged(VFES, flap_lever=[0, 0, 30, 30, 30, 30], flap=[0, 0, 0, 10, 20, 30])
    assert states(analysis, 1) == [OFF, OFF, OVER, OVER, OVER, OVER]
    assert states(analysis, 0) == [OFF, OFF, OFF, UNDER, OFF, OFF]
    assert "flap_lever_and_surface" in codes(analysis)
    (one,) = analysis.exceedances
    assert (one.start_s, one.end_s) == (2.0, 6.0)
    assert analysis.columns["limit_airspeed_kt"].tolist() == [
        pytest.approx(NAN, nan_ok=True)] * 2 + [150.0] * 4


def test_retracting_the_surface_counts_to_the_end(judged):
    analysis = judged(VFES, flap_lever=[30, 30, 0, 0, 0, 0], flap=[30, 30, 30, 20, 9, 0])
    assert states(analysis, 1) == [OVER, OVER, OVER, OVER, OFF, OFF]
    assert states(analysis, 0) == [OFF, OFF, OFF, OFF, UNDER, OFF]


def test_either_reading_lost(judged):
    analysis = judged(VFES, flap_lever=[30, NAN, 0, NAN], flap=[NAN, 30, NAN, NAN])
    assert states(analysis, 1) == [OVER, OVER, UNKNOWN, UNKNOWN]


def test_a_surface_alone_is_taken_as_it_is(judged):
    analysis = judged(VFES, flap=[30, 30, 0, 0])
    assert states(analysis, 1) == [OVER, OVER, OFF, OFF]
    assert not {"flap_from_lever", "flap_lever_and_surface"} & codes(analysis)


def test_a_lever_alone_holds_the_former_limit_on_retraction(judged):
    # From 30 to 0 at 2 s; the flaps may be out until 5 s.
    lever = [30, 30, 0, 0, 0, 0, 0]
    analysis = judged(VFES, flap_lever=lever, configuration={"flap_transit_s": 3.0})
    assert states(analysis, 1) == [OVER, OVER, OVER, OVER, OVER, OFF, OFF]
    (one,) = analysis.exceedances
    assert (one.end_s, one.ended_by) == (5.0, "limit lifted")
    assert [f.values for f in analysis.findings if f.code == "flap_from_lever"] == [
        {"transit_s": 3.0}]
    assert states(judged(VFES, flap_lever=lever, configuration={"flap_transit_s": 0.0}), 1) == [
        OVER, OVER, OFF, OFF, OFF, OFF, OFF]
    # Ten seconds, unless the sheet says otherwise.
    long = judged(VFES, flap_lever=[30, 30] + [0] * 12)
    assert states(long, 1) == [OVER] * 12 + [OFF] * 2


def test_a_lever_alone_counts_at_once_on_extension(judged):
    analysis = judged(VFES, flap_lever=[0, 0, 30, 30])
    assert states(analysis, 1) == [OFF, OFF, OVER, OVER]


def test_a_lever_retracted_in_steps_holds_the_greatest(judged):
    # 30 to 10 at 2 s, 10 to 0 at 3 s, where 10 was held for one sample: the flaps may still be
    # further out than 10 until 3 s after the last move.
    analysis = judged(VFES, flap_lever=[30, 30, 10, 0, 0, 0, 0, 0],
                      configuration={"flap_transit_s": 3.0})
    assert states(analysis, 1) == [OVER] * 6 + [OFF] * 2


@pytest.mark.parametrize("lever", [[0, 0, 30, 0, 0, 0], [30, 30, 0, 30, 30, 30]])
def test_one_sample_of_a_lever_moves_no_flaps(judged, lever):
    analysis = judged(VFES, flap_lever=lever, configuration={"flap_transit_s": 3.0})
    expected = [OVER if one == 30 else OFF for one in lever]
    if lever[0] == 30:
        expected[2] = OVER  # it may have been retracted: the former limit holds
    assert states(analysis, 1) == expected


def test_a_lost_lever_is_unknown_unless_the_former_position_holds(judged):
    analysis = judged(VFES, flap_lever=[30, 30, 0, NAN, 0, NAN, 0],
                      configuration={"flap_transit_s": 2.0})
    assert states(analysis, 1) == [OVER, OVER, OVER, OVER, OFF, UNKNOWN, OFF]


def test_a_flap_lever_limit_is_taken_as_it_is(judged):
    by_lever = {"name": "by lever", "quantity": "calibrated_airspeed", "maximum_kt": 150.0,
                "when": {"flap_lever_deg": {"above": 1}}}
    analysis = judged((by_lever,), flap_lever=[30, 30, 0, 0])
    assert states(analysis, 0) == [OVER, OVER, OFF, OFF]


def test_gear_moves_after_its_lever(judged):
    #       0  1  2  3  4  5  6  7  8  9
    down = [0, 0, 1, 1, 1, 1, 0, 0, 0, 0]
    analysis = judged(VLO, gear_down=down, configuration={"gear_transit_s": 3.0})
    assert states(analysis, 0) == [OFF, OFF, UNDER, UNDER, UNDER, OFF, OFF, OFF, OFF, OFF]
    assert states(analysis, 1) == [OFF] * 6 + [OVER] * 3 + [OFF]
    assert "gear_in_transit" in codes(analysis)


def test_gear_moves_before_it_is_locked(judged):
    down = [0, 0, 0, 0, 1, 1, 0, 0, 0, 0]
    analysis = judged(VLO, gear_down=down,
                      configuration={"gear_transit_s": 3.0, "gear_down": "locked"})
    assert states(analysis, 0) == [OFF, UNDER, UNDER, UNDER, OFF, OFF, OFF, OFF, OFF, OFF]
    assert states(analysis, 1) == [OFF] * 6 + [OVER] * 3 + [OFF]


def test_gear_turned_back_in_transit(judged):
    down = [0, 0, 1, 1, 0, 0, 0, 0]
    analysis = judged(VLO, gear_down=down, configuration={"gear_transit_s": 4.0})
    assert states(analysis, 0) == [OFF, OFF, UNDER, UNDER, OFF, OFF, OFF, OFF]
    assert states(analysis, 1) == [OFF, OFF, OFF, OFF, OVER, OVER, OVER, OVER]


@pytest.mark.parametrize("down", [[0, 0, 1, 0, 0, 0], [1, 1, 1, 0, 1, 1]])
def test_one_sample_of_the_gear_moves_nothing(judged, down):
    analysis = judged(VLO, gear_down=down, configuration={"gear_transit_s": 3.0})
    assert analysis.exceedances == ()


def test_missing_gear_is_unknown(judged):
    analysis = judged(VLO, gear_down=[0, NAN, 0, 1, NAN, 1, 1],
                      configuration={"gear_transit_s": 2.0})
    assert states(analysis, 0) == [OFF, UNKNOWN, OFF, UNDER, UNDER, OFF, OFF]
    without = judged(VLO, pressure=[0.0, 0.0])
    assert states(without, 0) == [UNKNOWN, UNKNOWN]
    assert [one.values for one in without.findings if one.code == "condition_not_recorded"] == [
        {"limit": "VLO extending", "channels": ["gear_extending"]},
        {"limit": "VLO retracting", "channels": ["gear_retracting"]}]


def test_a_recorded_state_of_the_gear_is_not_derived(judged):
    analysis = judged(VLO, gear_down=[0, 0, 1, 1, 1], gear_retracting=[1, 1, 0, 0, 0])
    assert states(analysis, 1) == [OVER, OVER, OFF, OFF, OFF]


def test_the_position_correction_goes_by_the_surface(log, sheet, vmo):
    flight = log([0.0, 1.0], 1.0, indicated_airspeed=200.0, pressure_altitude=5000.0,
                 flap=[0.0, 0.0], flap_lever=[30.0, 30.0])
    stated = sheet(vmo, recorded="indicated", position_correction=[
        {"flap_deg": {"up_to": 1}, "table": [[100, 1], [300, 1]]},
        {"flap_deg": {"above": 1}, "table": [[100, 9], [300, 9]]}])
    assert analyze(flight, stated).columns["calibrated_airspeed_kt"].tolist() == [
        pytest.approx(201, abs=1e-4)] * 2
