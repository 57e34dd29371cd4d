"""Flaps and gear on the move: small logs, the rows at which each limit applies written down."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Channel, analyze

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


@pytest.mark.parametrize("lever", [[30, 30, 30, 0], [30, 0], [NAN, 30, 0, NAN], [30, 30, 0, 0]])
def test_a_lever_retracted_at_the_end_of_the_log(judged, lever):
    analysis = judged(VFES, flap_lever=lever, configuration={"flap_transit_s": 3.0})
    # The flaps may still be out; where the lever is lost, they may be anywhere else too.
    assert states(analysis, 1) == [UNKNOWN if i == 0 and angle is NAN else OVER
                                   for i, angle in enumerate(lever)]


def test_a_lever_at_rest_or_extended_holds_no_former_position(judged):
    # At 10 for long, then 30: nothing of 30 before, and of 10 nothing after.
    analysis = judged(VFES, flap_lever=[10, 10, 10, 30, 30, 30],
                      configuration={"flap_transit_s": 3.0})
    assert states(analysis, 0) == [UNDER] * 3 + [OFF] * 3
    assert states(analysis, 1) == [OFF] * 3 + [OVER] * 3


def test_a_lever_extended_and_retracted_in_flight(judged):
    analysis = judged(VFES, flap_lever=[0, 0, 30, 30, 30, 0, 0, 0, 0, 0],
                      configuration={"flap_transit_s": 3.0})
    assert states(analysis, 1) == [OFF, OFF] + [OVER] * 6 + [OFF, OFF]


def test_a_lever_alone_counts_at_once_on_extension(judged):
    analysis = judged(VFES, flap_lever=[0, 0, 30, 30])
    assert states(analysis, 1) == [OFF, OFF, OVER, OVER]


def test_each_position_that_was_left_counts_from_its_own_departure(judged):
    # 30 to 10 at 2 s, 10 to 0 at 3 s: the flaps may be out of 30 until 5 s, out of 10 until 6 s.
    analysis = judged(VFES, flap_lever=[30, 30, 10, 0, 0, 0, 0, 0],
                      configuration={"flap_transit_s": 3.0})
    assert states(analysis, 1) == [OVER] * 5 + [OFF] * 3
    assert states(analysis, 0) == [OFF, OFF, UNDER, OFF, OFF, UNDER, OFF, OFF]


def test_a_stepwise_retraction_holds_the_first_position_no_longer(judged):
    # 15 to 5 at 10 s, 1 at 19 s, 0 at 28 s; 200 kt is reached at 18.3 s and passed by 1 kt/1.7 s.
    seconds = np.arange(60.0)
    lever = np.select([seconds < 10, seconds < 19, seconds < 28], [15.0, 5.0, 1.0], 0.0)
    kt = np.where(seconds < 18.3, 199.0, 200.0 + (seconds - 18.3) * 1.0 / 1.7)
    kt = np.minimum(kt, 228.0)
    limits = (vfe("VFE 15", 200.0, above=5, up_to=15), vfe("VFE 5", 230.0, above=1, up_to=5),
              vfe("VFE 1", 240.0, above=0.1, up_to=1))
    analysis = judged(limits, kt=kt, flap_lever=lever, configuration={"flap_transit_s": 10.0})
    (one,) = analysis.exceedances
    assert (one.limit, one.ended_by, one.end_s) == ("VFE 15", "limit lifted", 20.0)
    assert one.time_over_s < 2.0
    assert one.worst_excess_kt <= 1.0


def test_a_detent_passed_within_a_second_still_counts(judged):
    limits = (vfe("VFE 30", 150.0, above=10, up_to=30), vfe("VFE 10", 160.0, above=1, up_to=10))
    lever = [30.0] * 4 + [10.0] + [0.0] * 20
    analysis = judged(limits, interval_s=0.5, flap_lever=lever,
                      configuration={"flap_transit_s": 3.0})
    # Left at 2 s and at 2.5 s.
    assert analysis.time[np.array(states(analysis, 0)) == OVER].max() == 4.5
    assert analysis.time[np.array(states(analysis, 1)) == OVER].max() == 5.0


@pytest.mark.parametrize("channel", ["flap", "flap_lever"])
def test_one_sample_of_the_flaps_decides_no_limit(judged, channel):
    # Out for one sample: neither over nor certainly not. In for one sample: they are still out.
    out = judged(VFES, **{channel: [0, 0, 30, 0, 0, 0]}, configuration={"flap_transit_s": 3.0})
    assert states(out, 1) == [OFF, OFF, UNKNOWN, OFF, OFF, OFF]
    assert states(out, 0) == [OFF] * 6
    assert out.exceedances == ()
    assert [one.values for one in out.findings if one.code == "configuration_outliers"] == [
        {"channel": channel, "samples": 1, "first_s": 2.0}]
    (suspect,) = out.suspects
    assert (suspect.limit, suspect.start_s, suspect.reason) == (
        "VFE 30", 2.0, "configuration outlier")
    assert suspect.excess == pytest.approx(20.0)
    slow = judged(VFES, kt=140.0, **{channel: [0, 0, 30, 0, 0, 0]})
    assert slow.suspects == ()
    back = judged(VFES, **{channel: [30, 30, 0, 30, 30, 30]},
                  configuration={"flap_transit_s": 3.0})
    assert states(back, 1) == [OVER] * 6
    assert len(back.exceedances) == 1


@pytest.mark.parametrize(("channel", "away", "outlier"), [
    ("flap", 1.9, False), ("flap", 2.1, True), ("flap", -2.1, True),
    ("flap_lever", 0.4, False), ("flap_lever", 0.6, True)])
def test_how_far_an_outlier_of_the_flaps_is_from_its_neighbours(judged, channel, away, outlier):
    angle = np.full(12, 10.0)
    angle[5] += away
    found = [one.values for one in judged(VFES, **{channel: angle}).findings
             if one.code == "configuration_outliers"]
    assert found == ([{"channel": channel, "samples": 1, "first_s": 5.0}] if outlier else [])


def test_an_outlier_is_listed_for_each_limit_that_it_would_bring_into_force(judged):
    always = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 400.0}
    slow = vfe("VFE 40", 140.0, above=35, up_to=40)
    found = judged((always, slow, *VFES), flap=[0, 0, 30, 0, 0, 0, 0, 40, 0, 0, 0]).suspects
    assert [(one.limit, one.start_s, one.unconfirmed_by) for one in found] == [
        ("VFE 40", 7.0, ()), ("VFE 30", 2.0, ())]


def test_one_sample_beyond_the_step_that_it_is_part_of(judged):
    analysis = judged(VFES, flap=[0, 0, 30, 10, 10, 10])
    assert states(analysis, 1) == [OFF, OFF, UNKNOWN, OFF, OFF, OFF]
    assert states(analysis, 0) == [OFF, OFF, UNDER, UNDER, UNDER, UNDER]


def test_several_samples_are_outliers_where_no_surface_is_as_fast(judged):
    # Out for 1.5 s at 8 Hz; for 2.5 s it may have been selected and taken back.
    for samples, expected in ((12, UNKNOWN), (20, OVER)):
        angle = [0.0] * 40 + [30.0] * samples + [0.0] * 40
        analysis = judged(VFES, interval_s=0.125, flap=angle)
        assert set(states(analysis, 1)) == {OFF, expected}


def test_an_outlier_just_after_a_step_goes_back_to_that_step(judged):
    # 10 degrees for one sample, 30 for six and 10 again at 8 Hz: the six are the outlier.
    angle = [0.0] * 40 + [10.0] + [30.0] * 6 + [10.0] * 40
    analysis = judged(VFES, kt=155.0, interval_s=0.125, flap=angle)
    assert states(analysis, 1) == [OFF] * 41 + [UNKNOWN] * 6 + [OFF] * 40


def test_values_that_alternate_keep_the_state_that_came_first(judged):
    analysis = judged(VFES, flap=[0, 30, 0, 30, 0, 30, 0])
    assert states(analysis, 1) == [OFF, UNKNOWN] * 3 + [OFF]


def test_an_outlier_of_a_slow_channel(judged):
    # The flap angle every 4 s in a log of 1 Hz: interpolated, a corrupt sample spans eight seconds.
    slow = Channel(np.array([0.0, 0.0, 30.0, 0.0, 0.0]) * DEG,
                   np.array([0, 4, 8, 12, 16], dtype=np.int32), interval_s=4.0)
    analysis = judged(VFES, pitch=[0.0] * 17, flap=slow)
    assert states(analysis, 1) == [OFF] * 8 + [UNKNOWN] * 4 + [OFF] * 5
    assert analysis.exceedances == ()


@pytest.mark.parametrize(("down", "expected"), [
    ([0, 0, 1, 0, 0, 0], [OFF, OFF, UNKNOWN, OFF, OFF, OFF]),
    ([1, 1, 1, 0, 1, 1], [OVER] * 6)])
def test_one_sample_of_the_gear_decides_no_limit(judged, down, expected):
    vle = {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 150.0,
           "when": {"gear_down": {"is": True}}}
    assert states(judged((vle,), gear_down=down), 0) == expected


@pytest.mark.parametrize("channel", ["gear_extending", "gear_retracting"])
def test_one_sample_of_the_gear_on_the_move_decides_no_limit(judged, channel):
    vlo = {"name": "VLO", "quantity": "calibrated_airspeed", "maximum_kt": 150.0,
           "when": {channel: {"is": True}}}
    analysis = judged((vlo,), **{channel: [0, 0, 0, 1, 0, 0, 0]})
    assert states(analysis, 0) == [OFF] * 3 + [UNKNOWN] + [OFF] * 3
    assert states(judged((vlo,), **{channel: [0, 0, 0, 1, 1, 1, 0]}), 0) == (
        [OFF] * 3 + [OVER] * 3 + [OFF])


def test_a_sample_of_the_flaps_moves_no_position_correction(log, sheet, vmo):
    flight = log(np.arange(5.0), 1.0, indicated_airspeed=200.0, pressure_altitude=5000.0,
                 flap=[0.0, 0.0, 30.0, 0.0, 0.0])
    stated = sheet(vmo, recorded="indicated", position_correction=[
        {"flap_deg": {"up_to": 1}, "table": [[100, 1], [300, 1]]},
        {"flap_deg": {"above": 1}, "table": [[100, 9], [300, 9]]}])
    assert analyze(flight, stated).columns["calibrated_airspeed_kt"] == pytest.approx(
        [201.0] * 5, abs=1e-4)


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
