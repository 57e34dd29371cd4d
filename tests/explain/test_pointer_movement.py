"""The instants at which the limit pointer's movement is told, in a descent that is known."""

import numpy as np
import pytest

import loganalyze as la
from loganalyze.record.units import FOOT

LIMITS = [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0},
          {"name": "MMO", "quantity": "mach", "maximum": 0.5}]


def crossing_ft(limits):
    (crossing,) = la.crossovers(limits)
    return crossing.pressure_altitude / FOOT


def descent(log, limits, missing=0.0):
    """Descend at 3,000 ft/min from 30,000 ft; over VMO for 30 s from 18 s after the crossover."""
    time = np.arange(401.0)
    at = (30_000 - crossing_ft(limits)) / 50
    altitude = np.where(np.abs(time - at) < missing, np.nan, 30_000 - 50 * time)
    speed = np.interp(time, [0, at + 5, at + 40, at + 60, 400], [180, 245, 258, 240, 240])
    (flight,) = la.analyze_flights(
        [log(time, calibrated_airspeed=speed, pressure_altitude=altitude)], limits)
    return flight, at


def instants(flight, assessment=None):
    (exceedance,) = flight.exceedances
    found = la.pointer_movement(flight, assessment, decisive=0).instants
    return exceedance, {instant.code: instant.time_s for instant in found}


def test_the_first_sample_beyond_the_crossover_and_at_each_edge(log, sheet):
    flight, at = descent(log, sheet(*LIMITS))
    exceedance, found = instants(flight)
    assert list(found) == ["run-in", "crossover", "passed", "worst", "under"]
    assert found["crossover"] == np.ceil(at)
    assert found["passed"] == np.ceil(exceedance.start_s)
    assert found["worst"] == exceedance.worst_time_s
    assert found["under"] == np.ceil(exceedance.end_s)
    assert found["run-in"] == np.ceil(exceedance.start_s - 60)


def test_an_assessment_knows_where_the_run_in_began(log, sheet):
    flight, _ = descent(log, sheet(*LIMITS))
    assessment = la.assess_flight(flight)
    began = assessment.exceedances[0].contributions.start_s
    exceedance, found = instants(flight, assessment)
    assert exceedance.start_s - 60 < began < exceedance.start_s - 1
    assert found["run-in"] == np.ceil(began)


def test_a_crossover_that_nobody_recorded_is_no_instant(log, sheet):
    flight, at = descent(log, sheet(*LIMITS), missing=10.0)
    _, found = instants(flight)
    assert np.isnan(flight.columns["pressure_altitude_ft"][round(at)])
    assert list(found) == ["run-in", "passed", "worst", "under"]


def test_without_an_exceedance_the_minute_before_the_closest_approach(log, sheet):
    time = np.arange(301.0)
    speed = np.interp(time, [0, 200, 300], [180, 240, 180])
    (flight,) = la.analyze_flights(
        [log(time, calibrated_airspeed=speed, pressure_altitude=5_000.0)], sheet(LIMITS[0]))
    found = la.pointer_movement(flight).instants
    assert [(instant.code, instant.time_s) for instant in found] == [
        ("before", 140.0), ("closest", 200.0)]
    assert found[1].limit_airspeed_kt == pytest.approx(250.0, abs=1e-3)


def test_without_a_mach_limit_no_instant_is_at_one(log, sheet):
    flight, _ = descent(log, sheet(*LIMITS))
    alone = la.analyze(flight.log, sheet(LIMITS[0]))
    moved = la.pointer_movement(alone, None, decisive=0)
    assert (moved.case_instant, moved.case_limit, moved.cases) == (-1, "", ())
