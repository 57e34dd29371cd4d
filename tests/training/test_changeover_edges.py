"""Where a constant airspeed passes into a constant Mach number, or back, in a climb or descent."""

import numpy as np
import pytest

import loganalyze as la
from loganalyze.simulate import pressures
from loganalyze.testing import make_log
from loganalyze.training import find_exercises

FOOT, KNOT = 0.3048, 1852.0 / 3600.0
SHEET = la.LimitsSheet.model_validate({
    "aircraft": "an invented jet", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 335}]})
CAS, MACH, FPM = 280.0, 0.72, 1800.0


def as_cas(mach, altitude_ft):
    """CAS [kt] of a Mach number, by the simulator's own closed form."""
    ratio = (1 + 0.2 * np.asarray(mach) ** 2) ** 3.5 - 1
    impact = ratio * pressures.static_pressure(np.asarray(altitude_ft) * FOOT)
    sea = pressures.static_pressure(np.zeros(1))[0]
    return 661.4786 * np.sqrt(5 * ((impact / sea + 1) ** (2 / 7) - 1))


def crossover_ft():
    low, high = 10000.0, 45000.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if as_cas(MACH, middle) > CAS else (low, middle)
    return low


def flown(rng, climbs, late_s, hz, noise, step):
    """Return the log of a climb or descent of 16 min, and when both speeds are one [s]."""
    time = np.arange(0.0, 960.0, 0.125)
    way = 1.0 if climbs else -1.0
    altitude = crossover_ft() + way * FPM / 60 * (time - 600.0)
    if not climbs:
        altitude = crossover_ft() - FPM / 60 * (time - 300.0)
    due = 600.0 if climbs else 300.0
    by_mach = as_cas(MACH, altitude)
    wanted = np.where((time < due + late_s) == climbs, CAS, by_mach)
    speed = np.empty(len(time))
    speed[0] = wanted[0]
    for i in range(1, len(time)):  # the aircraft follows within some seconds
        speed[i] = speed[i - 1] + 0.125 / 2.5 * (wanted[i] - speed[i - 1])
    seen = slice(None, None, round(8 / hz))
    cas = speed[seen] + noise * rng.standard_normal(len(time[seen]))
    cas = np.round(cas / step) * step if step else cas
    log = make_log(time[seen], calibrated_airspeed=cas,
                   pressure_altitude=np.round(altitude[seen]))
    return log, due


def changes(log):
    found = find_exercises(la.analyze(log, SHEET)).exercises
    return [(one.kind, measure) for one in found for measure in one.measures
            if measure.name in ("changed_at_start_s", "changed_at_end_s")]


@pytest.mark.parametrize("hz", [8, 4, 2, 1, 0.5, 0.25])
@pytest.mark.parametrize("climbs", [True, False])
def test_the_change_is_placed_at_every_rate(climbs, hz):
    rng = np.random.default_rng([int(8 * hz), climbs])
    for late in (-15.0, 0.0, 15.0):
        log, due = flown(rng, climbs, late, hz, 0.5, 1.0)
        first, second = changes(log)
        way = "climb" if climbs else "descent"
        order = ("CAS", "Mach") if climbs else ("Mach", "CAS")
        assert (first[0], second[0]) == tuple(f"{way} at constant {held}" for held in order)
        # However late the second speed was taken up, the held ones are one speed at the crossover,
        # and after it by what the aircraft follows late (2.5 s).
        assert first[1].value == second[1].value == pytest.approx(due + 2.0, abs=4.0)
        assert 0 < first[1].uncertainty < 5.0


def test_the_uncertainty_is_that_of_the_noise():
    # White noise of 1 kt on 600 + 360 values a second apart: the levels' errors, .041 and .054 kt,
    # over the .148 kt/s at which the two speeds part.
    height = crossover_ft()
    part = float(as_cas(MACH, height) - as_cas(MACH, height + FPM / 60))
    off, said = [], []
    for seed in range(24):
        log, due = flown(np.random.default_rng([seed, 5]), True, 0.0, 1.0, 1.0, 0.0)
        (_, first), _ = changes(log)
        off.append(first.value - due)
        said.append(first.uncertainty)
    by_hand = np.hypot(1.0 / np.sqrt(588), 1.0 / np.sqrt(348)) / part
    assert np.median(said) == pytest.approx(np.hypot(by_hand, 1 / np.sqrt(12)), rel=0.25)
    assert np.std(off) == pytest.approx(by_hand, rel=0.4)
