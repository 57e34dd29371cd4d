"""The overspeed warning on tiny logs: VMO 250 kt, to sound by 256, tolerance 3 kt."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.air import airspeed
from loganalyze.explain.overspeed_warning import KINDS, warnings_of
from loganalyze.record.units import FOOT, KNOT

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
NAN = np.nan


def findings(kt, warning, *, limits=(VMO,), sheet=None, time=None, ft=5000.0, rows=None):
    stamps = np.arange(len(kt)) * 1.0 if time is None else np.array(time, dtype=float)
    channels = {
        "calibrated_airspeed": Channel(np.array(kt, dtype=float) * KNOT),
        "pressure_altitude": Channel(np.broadcast_to(np.array(ft) * FOOT, stamps.shape) * 1.0),
    }
    if warning is not None:
        channels["overspeed_warning"] = Channel(
            np.array(warning, dtype=float),
            None if rows is None else np.array(rows, dtype=np.int32),
            1.0 if rows is None else float(rows[1] - rows[0]))
    log = FlightLog(stamps, channels, Source(Path("made.csv")), interval_s=1.0)
    return warnings_of(analyze(log, LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": list(limits), **({"warning": sheet} if sheet else {})})))


def told(found):
    return [(one.kind, one.limit, one.start_s, one.end_s) for one in found]


RAMP = [240, 244, 248, 252, 256, 260, 264, 260, 256, 252, 248, 244]
"""At 4 kt/s over 250 kt at 2.5 s, over 259 kt from 4.75 s to 7.25 s."""


def on(first, last, n=12):
    return [float(first <= i <= last) for i in range(n)]


@pytest.mark.parametrize(("first", "kind"), [
    (1, "early"),       # at 244 kt, 6 kt under the limit
    (2, "on time"),     # at 248: within the tolerance of the limit
    (3, "on time"), (4, "on time"),
    (5, "on time"),     # at 260, but it was under 259 at the sample before
    (6, "late"),        # it was silent at 260
    (7, "late"),
])
def test_when_it_came_on(first, kind):
    (one,) = findings(RAMP, on(first, 8))
    assert (one.kind, one.limit, one.start_s, one.end_s) == (kind, "VMO", first, 9.0)
    assert one.values["speed_kt"] == pytest.approx(RAMP[first], abs=1e-9)
    assert one.values["limit_kt"] == pytest.approx(250, abs=1e-9)
    assert one.values["threshold_kt"] == pytest.approx(256, abs=1e-9)
    assert one.values["excess_kt"] == pytest.approx(RAMP[first] - 250, abs=1e-9)
    assert one.values["tolerance_kt"] == 3


def test_how_late_it_was():
    (one,) = findings(RAMP, on(7, 8))
    assert one.values["late_s"] == pytest.approx(7 - 4.75, abs=1e-9)


def test_a_warning_that_never_came_is_missing():
    (one,) = findings(RAMP, on(20, 21))
    assert told([one]) == [("missing", "VMO", pytest.approx(4.75), pytest.approx(7.25))]
    assert one.values["speed_kt"] == pytest.approx(264)


def test_over_the_limit_but_not_by_the_threshold_it_may_stay_silent():
    assert findings([240, 250, 255, 258.9, 255, 250, 240], [0.0] * 7) == ()


def test_a_warning_that_stops_too_soon_is_missing_for_the_rest():
    one, other = findings([240, 250, 257, 262, 262, 262, 262, 258, 250],
                          [0, 0, 1, 1, 0, 0, 0, 0, 0])
    assert told([one]) == [("on time", "VMO", 2, 4)]
    # 262 to 258 kt passes 259 at 6.75 s.
    assert told([other]) == [("missing", "VMO", 4, pytest.approx(6.75))]


def test_one_excursion_without_a_warning_is_one_missing_warning():
    # Beyond 259 kt twice, and not back to 250 in between; then again after 250.
    kt = [250, 260, 256, 252, 260, 250, 250, 260, 250]
    assert told(findings(kt, [0.0] * 9)) == [
        ("missing", "VMO", pytest.approx(0.9), pytest.approx(4.1)),
        ("missing", "VMO", pytest.approx(6.9), pytest.approx(7.1))]


def test_a_gap_parts_missing_warnings():
    assert told(findings([262, 262, 262, 262], [0.0] * 4, time=[0, 1, 9, 10])) == [
        ("missing", "VMO", 0, 2), ("missing", "VMO", 9, 11)]


def test_a_warning_far_below_the_limit_is_spurious():
    assert told(findings([240, 241, 242, 246.9, 240], [0, 1, 1, 1, 0])) == [
        ("spurious", "VMO", 1, 4)]
    # 247 kt is within the tolerance: then it was early, not spurious.
    assert told(findings([240, 241, 242, 247, 240], [0, 1, 1, 1, 0])) == [("early", "VMO", 1, 4)]


def test_a_horn_that_chops_is_one_warning():
    kt = [240, 248, 252, 256, 260, 260, 260, 260, 256, 252, 248]
    assert told(findings(kt, [0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0])) == [("on time", "VMO", 2, 9)]
    # Silent for 3 s it is two, and silent at 260 kt in between.
    assert told(findings(kt, [0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0])) == [
        ("on time", "VMO", 2, 4), ("late", "VMO", 7, 9)]


@pytest.mark.parametrize(("step_s", "soundings"), [(1.4, 1), (1.6, 2)])
def test_a_horn_that_falls_silent_at_a_gap_is_not_joined_across_it(step_s, soundings):
    kt, sounding = [240, 248, 252, 256, 256, 256, 256, 248], [0, 1, 1, 0, 1, 1, 1, 0]
    for row in (3, 4):  # the gap before the silent sample, or after it
        time = np.arange(8.0)
        time[row:] += step_s - 1.0
        assert len(findings(kt, sounding, time=time)) == soundings


def test_an_onset_that_was_not_recorded_is_not_determinable():
    assert told(findings([252, 253, 250, 240], [1, 1, 1, 0])) == [
        ("not determinable", "VMO", 0, 3)]
    # From 1 s to 10 s nothing was recorded.
    assert told(findings([240, 240, 255, 255, 240], [0, 0, 1, 1, 0], time=[0, 1, 10, 11, 12])) == [
        ("not determinable", "VMO", 10, 12)]
    # But far below the limit all the while it is spurious, however it began.
    assert told(findings([230, 231, 230], [1, 1, 0])) == [("spurious", "VMO", 0, 2)]


def test_without_the_speed_nothing_is_said_of_it():
    assert told(findings([240, NAN, NAN, 240], [0, 1, 1, 0])) == [("not determinable", "", 1, 3)]


@pytest.mark.parametrize(("onset_kt", "kind"), [(244, "not determinable"), (248, "on time")])
def test_an_altitude_missing_at_the_onset_leaves_early_undetermined(onset_kt, kind):
    # At 244 kt it is early for VMO, but without the altitude it may have been on time for MMO.
    kt, sounding = [240, 240, onset_kt, 252, 256, 252, 244], [0, 0, 1, 1, 1, 0, 0]
    ft = [5000.0, 5000.0, NAN, 5000.0, 5000.0, 5000.0, 5000.0]
    assert told(findings(kt, sounding, limits=(VMO, MMO), ft=ft)) == [(kind, "VMO", 2, 5)]
    known = findings(kt, sounding, limits=(VMO, MMO))
    assert [one.kind for one in known] == ["early" if onset_kt == 244 else "on time"]


def test_blank_samples_of_the_warning_say_nothing():
    kt = [240, 250, 262, 262, 250, 240]
    assert findings(kt, [0, 0, NAN, NAN, 0, 0]) == ()


def test_only_samples_of_the_warning_s_own_count():
    # 2 kt/s, the warning kept every second second: silent at 258 (4 s), sounding at 262 (6 s).
    kt = [250, 252, 254, 256, 258, 260, 262, 262, 258, 254, 250, 246]
    assert told(findings(kt, [0, 0, 0, 1, 1, 0], rows=[0, 2, 4, 6, 8, 10])) == [
        ("on time", "VMO", 6, 10)]


def test_the_watched_limits_are_the_pointer_s_or_those_named():
    vfe = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 200.0,
           "on_pointer": False}
    kt = [190, 205, 210, 220, 210, 190]
    assert findings(kt, [0.0] * 6, limits=(VMO, vfe)) == ()
    assert told(findings(kt, [0.0] * 6, limits=(VMO, vfe), sheet={"limits": ["VFE"]})) == [
        ("missing", "VFE", pytest.approx(1.8), pytest.approx(4.05))]


def test_thresholds_and_tolerances_of_the_sheet():
    sheet = {"threshold_kt": 2, "tolerance_kt": 1}
    assert told(findings(RAMP, on(5, 8), sheet=sheet)) == [("late", "VMO", 5, 9)]
    assert told(findings(RAMP, on(2, 8), sheet=sheet)) == [("early", "VMO", 2, 9)]


def test_mmo_by_its_own_threshold():
    mach = np.array([0.485, 0.495, 0.505, 0.515, 0.525, 0.515, 0.495])
    cas = airspeed.cas_from_mach(mach, np.full(7, 20000 * FOOT)) / KNOT
    # .517 is the latest, tolerance included: silent at .515, late after .525.
    both = (VMO, MMO)
    (one,) = findings(cas, [0, 0, 0, 1, 1, 1, 0], limits=both, ft=20000.0)
    assert (one.kind, one.limit) == ("on time", "MMO")
    assert one.values["speed_mach"] == pytest.approx(0.515)
    assert one.values["threshold_mach"] == pytest.approx(0.51)
    (one,) = findings(cas, [0, 0, 0, 0, 0, 1, 0], limits=both, ft=20000.0)
    assert (one.kind, one.limit) == ("late", "MMO")
    assert one.values["late_s"] == pytest.approx(2 - 0.2, abs=1e-6)


def test_without_the_channel_nothing_is_found():
    assert findings(RAMP, None) == ()


def test_the_kinds_that_are_listed_are_all_there_are():
    assert set(KINDS) == {"on time", "early", "late", "missing", "spurious", "not determinable"}


def test_a_gap_parts_a_silence_and_what_came_after_it_counts_from_there():
    kt = [240, 245, 252, 262, 263, 264, 265, 266, 266, 255, 245, 240]
    time = [0, 1, 2, 3, 4, 5, 6, 12, 13, 14, 15, 16]
    first, second = findings(kt, [0] * 12, time=time)
    assert told([first, second]) == [
        ("missing", "VMO", pytest.approx(2.7), pytest.approx(7.0)),
        ("missing", "VMO", 12, pytest.approx(13.64, abs=0.01))]


@pytest.mark.parametrize(("limit", "tolerance"), [
    (limit, tolerance) for limit in (245, 250, 254, 260, 317) for tolerance in (1.0, 3.0, 4.0)])
def test_a_recorded_speed_at_a_bound_exactly_is_within_it(limit, tolerance):
    vmo = {**VMO, "maximum_kt": float(limit)}
    sheet = {"threshold_kt": 6.0, "tolerance_kt": tolerance}
    low, high = limit - tolerance, limit + 6.0 + tolerance
    for speeds, first in (([low - 9, low - 4, low, low, low - 9], 2),
                          ([low, limit + 4, high, high, limit], 3)):
        sounding = [float(first <= i <= 3) for i in range(5)]
        (one,) = findings(speeds, sounding, limits=(vmo,), sheet=sheet)
        assert (one.kind, one.start_s) == ("on time", first)
