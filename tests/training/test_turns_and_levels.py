"""Steep turns against their tolerance, and levels within a climb or descent."""

import numpy as np
import pytest

import loganalyze as la
from loganalyze.air.airspeed import cas_from_mach
from loganalyze.testing import make_log
from loganalyze.training import Schedule, assess_lesson

FOOT, KNOT = 0.3048, 1852.0 / 3600.0
SHEET = la.LimitsSheet.model_validate({
    "aircraft": "an invented trainer",
    "airspeed": {"recorded": "calibrated", "static_source_corrected": True},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 255}]})


def turned(climb_ft, slow_kt, tolerance, noise=0.0):
    """A level, a turn of 45 s at 50 deg of bank from 200 s on, a level."""
    time = np.arange(500.0)
    part = np.interp(time, [200, 222, 245, 260], [0, 1, 0, 0])
    rng = np.random.default_rng(3)
    log = make_log(
        time, calibrated_airspeed=140 - slow_kt * part + noise * rng.standard_normal(500),
        pressure_altitude=6000 + climb_ft * part + 4 * noise * rng.standard_normal(500),
        roll=np.interp(time, [198, 204, 240, 246], [0, 50, 50, 0]))
    schedule = {"lesson": "turns", "cruise": {"airspeed_kt": 140}}
    if tolerance:
        schedule["tolerance"] = {"steep_turn": tolerance}
    return assess_lesson(la.assess_flight(la.analyze(log, SHEET)),
                         Schedule.model_validate(schedule))


def outcomes(lesson):
    turn, = lesson.turns
    return {one.key: (one.asked, one.flown, one.code) for one in turn.criteria}


def test_a_turn_is_held_against_the_published_tolerance():
    lesson = turned(150.0, 6.0, None)
    found = outcomes(lesson)
    # The mean over 3 s about the top of a triangle of 150 ft in 22 s is 150 (1 - 2/3 / 22.5).
    assert found["turn_above_ft"] == (100.0, pytest.approx(145.5, abs=1.5), "not met")
    assert found["turn_below_ft"] == (100.0, pytest.approx(0.0, abs=1.0), "met")
    assert found["turn_slower_kt"] == (10.0, pytest.approx(5.8, abs=0.2), "met")
    assert found["turn_faster_kt"] == (10.0, pytest.approx(0.0, abs=0.1), "met")
    assert "published" in lesson.turns[0].tolerance_source


def test_a_school_s_own_tolerance_of_one_side_asks_for_that_side_alone():
    found = outcomes(turned(150.0, 6.0, {"slower_kt": 5}))
    assert set(found) == {"turn_slower_kt"}
    assert found["turn_slower_kt"][2] == "not met"


def test_what_is_within_the_noise_counts_against_nobody():
    found = outcomes(turned(0.0, 10.6, {"within_kt": 10}, noise=1.5))
    assert found["turn_slower_kt"][2] in ("met", "in doubt")


def climbed(level_ft, seconds, top_ft=21000.0):
    """A climb at 190 kt, interrupted by a level flown at 170 kt, then a cruise at Mach .40."""
    first, second = (level_ft - 3000) / 25, (top_ft - level_ft) / 25
    corners = np.cumsum([0.0, first, seconds, second, 900.0, 600.0])
    time = np.arange(corners[-1])
    height = np.interp(time, corners, [3000, level_ft, level_ft, top_ft, top_ft, 6000])
    cruise = float(cas_from_mach(0.40, top_ft * FOOT)) / KNOT
    cas = np.where((time > corners[1] + 8) & (time < corners[2] - 8), 170.0, 190.0)
    cas = np.where(time > corners[3] - 8, cruise, cas)
    cas = np.convolve(np.pad(cas, 8, mode="edge"), np.full(17, 1 / 17), mode="valid")
    log = make_log(time, calibrated_airspeed=cas, pressure_altitude=height)
    schedule = Schedule.model_validate({
        "lesson": "x", "climb": {"airspeed_kt": 190}, "cruise": {"mach": 0.40},
        "tolerance": {"climb": {"within_kt": 5}, "cruise": {"within_mach": 0.02}}})
    return assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule), corners


def test_a_level_within_a_climb_belongs_neither_to_it_nor_to_the_cruise():
    # At 15,000 ft for 400 s, which passed for cruise: 170 kt are Mach .34 there.
    lesson, corners = climbed(15000.0, 400.0)
    one, = lesson.level_offs
    assert one.kind == "climb"
    assert one.altitude_ft == pytest.approx(15000, abs=5)
    assert (one.start_s, one.end_s) == (pytest.approx(corners[1], abs=12),
                                        pytest.approx(corners[2], abs=12))
    assert [segment.kind for segment in lesson.segments] == ["climb", "climb", "cruise"]
    assert all(segment.sure_departures == () for segment in lesson.segments)


def test_a_step_of_the_cruise_and_a_long_level_are_none():
    assert climbed(17000.0, 400.0)[0].level_offs == ()
    assert climbed(15000.0, 900.0)[0].level_offs == ()
