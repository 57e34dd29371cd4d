"""The airspeeds against arbitrary-precision arithmetic, at random points in both directions.

The formulas are written again here from NACA Report 1135 (eqs. 44 and 100) and ISO 2533:1975, in
50 digits. Both the speed given and the one got are turned into impact pressure, which must be the
same: it rises with at least the square of any airspeed, on both branches, so a relative error of
the speed shows at least twice as large in it, and no exact inverse is needed.
"""

from __future__ import annotations

import mpmath as mp
import numpy as np
import pytest
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere

POINTS = 10_000
TOLERANCE = 1e-11
KT = 1852.0 / 3600.0

with mp.workdps(50):
    T0, R, G0 = mp.mpf("288.15"), mp.mpf("287.05287"), mp.mpf("9.80665")
    SONIC = mp.mpf("1.2") ** 3 * mp.sqrt(mp.mpf("1.2")) - 1
    RAYLEIGH = (1 + SONIC) * 6**2 * mp.sqrt(6)
    SOUND = mp.sqrt(mp.mpf("1.4") * R * T0)


@pytest.fixture(autouse=True)
def _fifty_digits():
    with mp.workdps(50):
        yield


def exact_delta(altitude: float) -> mp.mpf:
    h = mp.mpf(altitude)
    delta, base, kelvin = mp.mpf(1), 0, T0
    for top, lapse in ((11000, mp.mpf("-0.0065")), (20000, mp.mpf(0)), (32000, mp.mpf("0.001"))):
        rise = min(h, top) - base
        if lapse:
            delta *= (1 + lapse * rise / kelvin) ** (-G0 / (R * lapse))
        else:
            delta *= mp.exp(-G0 * rise / (R * kelvin))
        if h <= top:
            break
        kelvin += lapse * (top - base)
        base = top
    return delta


def exact_impact(mach: mp.mpf) -> mp.mpf:
    if mach <= 1:
        inside = 1 + mach * mach / 5
        return inside**3 * mp.sqrt(inside) - 1
    slower = 7 * mach * mach - 1
    return RAYLEIGH * mach**7 / (slower**2 * mp.sqrt(slower)) - 1


def impact_of_cas(cas: NDArray[np.float64]) -> list[mp.mpf]:
    return [exact_impact(mp.mpf(v) / SOUND) for v in cas]


def impact_of_mach(mach: NDArray[np.float64], delta: list[mp.mpf]) -> list[mp.mpf]:
    return [d * exact_impact(mp.mpf(m)) for m, d in zip(mach, delta, strict=True)]


def impact_of_tas(
    tas: NDArray[np.float64], delta: list[mp.mpf], kelvin: NDArray[np.float64]
) -> list[mp.mpf]:
    return [
        d * exact_impact(mp.mpf(v) / mp.sqrt(mp.mpf("1.4") * R * mp.mpf(t)))
        for v, d, t in zip(tas, delta, kelvin, strict=True)
    ]


def impact_of_eas(eas: NDArray[np.float64], delta: list[mp.mpf]) -> list[mp.mpf]:
    return [
        d * exact_impact(mp.mpf(v) / (SOUND * mp.sqrt(d))) for v, d in zip(eas, delta, strict=True)
    ]


def points(seed: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Altitudes, and CAS from 20 kt to where Mach is 3, half of them evenly and half by octave."""
    rng = np.random.default_rng(seed)
    altitude = rng.uniform(atmosphere.LOWEST, atmosphere.HIGHEST, POINTS)
    lowest, highest = 20.0 * KT, airspeed.cas_from_mach(3.0, altitude)
    share = rng.uniform(size=POINTS)
    even = lowest + share * (highest - lowest)
    by_octave = lowest * (highest / lowest) ** share
    return altitude, np.where(rng.uniform(size=POINTS) < 0.5, even, by_octave)


def worst_error(got: list[mp.mpf], given: list[mp.mpf]) -> float:
    """Greatest relative error of the speed, from the impact pressures of it and its origin."""
    return float(max(abs(g / e - 1) for g, e in zip(got, given, strict=True)) / 2)


def test_pressure_ratio() -> None:
    altitude = points(0)[0]
    exact = [exact_delta(h) for h in altitude]
    got = [mp.mpf(d) for d in atmosphere.pressure_ratio(altitude)]
    assert 2 * worst_error(got, exact) < 1e-14


def test_from_cas() -> None:
    altitude, cas = points(1)
    kelvin = np.random.default_rng(2).uniform(190.0, 330.0, POINTS)
    delta = [exact_delta(h) for h in altitude]
    given = impact_of_cas(cas)

    mach = airspeed.mach_from_cas(cas, altitude)
    assert np.mean(mach > 1.0) > 0.1
    assert worst_error(impact_of_mach(mach, delta), given) < TOLERANCE
    tas = airspeed.tas_from_cas(cas, altitude, kelvin)
    assert worst_error(impact_of_tas(tas, delta, kelvin), given) < TOLERANCE
    eas = airspeed.eas_from_cas(cas, altitude)
    assert worst_error(impact_of_eas(eas, delta), given) < TOLERANCE


def test_to_cas() -> None:
    altitude, reached = points(3)
    kelvin = np.random.default_rng(4).uniform(190.0, 330.0, POINTS)
    delta = [exact_delta(h) for h in altitude]
    # Any speeds would do: these are near the evenly spread CAS of points().
    mach = airspeed.mach_from_cas(reached, altitude)
    tas, eas = airspeed.tas_from_mach(mach, kelvin), airspeed.eas_from_mach(mach, altitude)

    cas = airspeed.cas_from_mach(mach, altitude)
    assert np.mean(cas > atmosphere.A0) > 0.05
    assert worst_error(impact_of_cas(cas), impact_of_mach(mach, delta)) < TOLERANCE
    cas = airspeed.cas_from_tas(tas, altitude, kelvin)
    assert worst_error(impact_of_cas(cas), impact_of_tas(tas, delta, kelvin)) < TOLERANCE
    cas = airspeed.cas_from_eas(eas, altitude)
    assert worst_error(impact_of_cas(cas), impact_of_eas(eas, delta)) < TOLERANCE


def test_tas_to_eas_and_back() -> None:
    altitude, cas = points(5)
    kelvin = np.random.default_rng(6).uniform(190.0, 330.0, POINTS)
    # EAS = TAS sqrt(sigma), whatever the speed.
    root_sigma = [
        mp.sqrt(exact_delta(h) * T0 / mp.mpf(t)) for h, t in zip(altitude, kelvin, strict=True)
    ]
    tas = airspeed.tas_from_cas(cas, altitude, kelvin)
    exact = [mp.mpf(v) * s for v, s in zip(tas, root_sigma, strict=True)]
    eas = airspeed.eas_from_tas(tas, altitude, kelvin)
    assert 2 * worst_error([mp.mpf(v) for v in eas], exact) < TOLERANCE
    exact = [mp.mpf(v) / s for v, s in zip(eas, root_sigma, strict=True)]
    back = airspeed.tas_from_eas(eas, altitude, kelvin)
    assert 2 * worst_error([mp.mpf(v) for v in back], exact) < TOLERANCE


def test_low_speeds_keep_their_figures() -> None:
    mach = np.geomspace(1e-7, 0.1, 200)
    impact = airspeed.impact_ratio_from_mach(mach)
    exact = [exact_impact(mp.mpf(m)) for m in mach]
    assert 2 * worst_error([mp.mpf(i) for i in impact], exact) < 1e-15
    back = airspeed.mach_from_impact_ratio(impact)
    assert worst_error([exact_impact(mp.mpf(m)) for m in back], [mp.mpf(i) for i in impact]) < 1e-15


def test_newton_has_converged_everywhere_above_mach_one() -> None:
    mach = np.concatenate([1.0 + np.geomspace(1e-15, 1.0, 200), np.linspace(2.0, 5.0, 100)])
    impact = airspeed.impact_ratio_from_mach(mach)
    back = airspeed.mach_from_impact_ratio(impact)
    assert worst_error([exact_impact(mp.mpf(m)) for m in back], [mp.mpf(i) for i in impact]) < 1e-15


def test_the_crossover_is_exact() -> None:
    rng = np.random.default_rng(7)
    altitude = rng.uniform(atmosphere.LOWEST, atmosphere.HIGHEST, 500)
    mach = rng.uniform(0.1, 3.0, 500)
    cas = airspeed.cas_from_mach(mach, altitude)
    crossing = airspeed.crossover_pressure_altitude(cas, mach)
    delta = [exact_delta(h) for h in crossing]
    assert worst_error(impact_of_mach(mach, delta), impact_of_cas(cas)) < TOLERANCE
