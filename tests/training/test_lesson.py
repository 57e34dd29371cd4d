"""The moments of a lesson and their causes, and a schedule flown exactly."""

import math

import numpy as np
import pytest

import loganalyze as la
from loganalyze.simulate import pressures
from loganalyze.testing import make_log
from loganalyze.training import Schedule, assess_lesson, flown_exactly

FOOT, KNOT = 0.3048, 1852.0 / 3600.0
SHEET = la.LimitsSheet.model_validate({
    "aircraft": "an invented twin",
    "airspeed": {"recorded": "calibrated", "static_source_corrected": True},
    "temperature": {"outside_air": "static"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 255},
              {"name": "MMO", "quantity": "mach", "maximum": 0.49}]})
SCHEDULE = Schedule.model_validate({
    "lesson": "held", "tolerance": {"configuration": {"within_kt": 5}}, "near_kt": 10,
    "speed": [{"name": "held", "airspeed_kt": 200, "when": {"briefed_part": {"from": 0.5}}}]})


def lesson_of(cas, altitude, schedule=SCHEDULE):
    time = np.arange(float(len(cas)))
    height = np.asarray(altitude, dtype=float)
    air = pressures.standard_temperature(height * FOOT) - 273.15
    log = make_log(time, calibrated_airspeed=cas, pressure_altitude=height,
                   static_air_temperature=air, briefed_part=1.0)
    return assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule)


def test_height_that_went_into_speed_is_the_cause():
    # At 12,000 ft and 200 kt, 600 ft are given up in 30 s: g dh / v = 9.81 * 183 / 123 m/s, 28 kt
    # of true airspeed. 18 kt CAS come of it, the rest is lost to drag.
    time = np.arange(600.0)
    drop = np.interp(time, [300, 330, 400, 600], [0, 600, 600, 600])
    cas = 200 + np.interp(time, [300, 330, 360, 600], [0, 18, 0, 0])
    found = lesson_of(cas, 12000 - drop)
    moment = next(one for one in found.moments if one.kind == "departure")
    assert moment.faster
    assert moment.cause == "height trade"
    assert moment.size == pytest.approx(13, abs=1)
    # From 307 s on, when a quarter of it was there (4.2 kt): height gave more than all of the rest.
    assert moment.start_s == 307
    assert moment.cause_kt == pytest.approx(18 - 4.2, abs=0.1)
    assert moment.time_s == pytest.approx(330, abs=3)


def test_power_that_went_into_speed_at_one_height_is_energy():
    time = np.arange(600.0)
    cas = 200 + np.interp(time, [300, 330, 360, 600], [0, 18, 0, 0])
    moment = next(one for one in lesson_of(cas, np.full(600, 12000.0)).moments
                  if one.kind == "departure")
    assert moment.cause == "energy"
    assert moment.cause_kt == pytest.approx(18 - 4.2, abs=0.1)
    slow = next(one for one in lesson_of(400 - cas, np.full(600, 12000.0)).moments
                if one.kind == "departure")
    assert (slow.faster, slow.cause) == (False, "energy")


def test_a_small_margin_is_a_moment_and_a_steady_flight_has_none():
    assert lesson_of(np.full(400, 200.0), np.full(400, 12000.0)).moments == ()
    near = lesson_of(np.full(400, 200.0) + np.interp(
        np.arange(400.0), [200, 250, 300], [0, 48, 0]), np.full(400, 9000.0))
    margin = next(one for one in near.moments if one.kind == "margin")
    assert margin.size == pytest.approx(7, abs=0.2)
    assert margin.name == "VMO"


def test_a_schedule_flown_exactly_in_two_airs():
    schedule = Schedule.model_validate(
        {"lesson": "x", "descent": {"mach": 0.46, "airspeed_kt": 230}})
    lesson = lesson_of(np.full(400, 200.0), np.linspace(24000, 8000, 400))
    rows = flown_exactly(lesson.assessment.analysis, schedule.descent, 9000, 24000)
    assert [round(one.altitude_ft) for one in rows] == [20000, 15251, 10000]
    for one in rows:
        static = float(pressures.static_pressure(one.altitude_ft * FOOT))
        impact = float(pressures.impact_pressure(one.cas_kt * KNOT))
        assert one.mach == pytest.approx(float(pressures.mach_of(impact / static)), abs=1e-6)
        air = float(pressures.standard_temperature(one.altitude_ft * FOOT))
        for tas, warm in ((one.tas_kt, air), (one.tas_warmer_kt, air + 15)):
            assert tas * KNOT == pytest.approx(
                one.mach * float(pressures.sound_speed(warm)), rel=2e-4)
        assert one.margin_kt == pytest.approx(one.limit_kt - one.cas_kt)
    high, meet, low = rows
    assert (high.part, low.part) == ("mach", "airspeed")
    assert meet.cas_kt == pytest.approx(230)
    assert low.margin_kt == pytest.approx(25)
    # The true airspeed grows with the root of the temperature, and nothing else moves.
    air = float(pressures.standard_temperature(20000 * FOOT))
    assert high.tas_warmer_kt / high.tas_kt == pytest.approx(math.sqrt((air + 15) / air), rel=1e-4)
