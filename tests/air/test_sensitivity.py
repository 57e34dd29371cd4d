"""Partial derivatives against published sensitivities, arbitrary precision and differences."""

import mpmath as mp
import numpy as np
import pytest

from loganalyze.air import airspeed, atmosphere, probes, sensitivity
from loganalyze.record.units import FOOT, KNOT

# Computed in closed form to 30 digits, standard atmosphere: CAS kt, Hp ft, Mach,
# dM/dV per kt, dM/dHp per 100 ft, dTAS/dV, dTAS/dHp kt per 100 ft, dTAS/dT kt/K, to 5 digits.
TABLE = [
    (100, 5000, 0.165639, 0.0016545, 0.00030783, 1.0754, 0.20009, 0.19348),
    (250, 10000, 0.452275, 0.0017830, 0.00083527, 1.1382, 0.53318, 0.53795),
    (250, 25000, 0.603685, 0.0022952, 0.0012091, 1.3816, 0.72782, 0.76144),
    (280, 35000, 0.821350, 0.0026350, 0.0016810, 1.5189, 0.96893, 1.0819),
    (250, 41000, 0.840030, 0.0029741, 0.0017257, 1.7059, 0.98978, 1.1120),
]


@pytest.mark.parametrize("row", TABLE)
def test_the_computed_table(row):
    cas, height, mach, by_v, by_h, tas_v, tas_h, tas_t = row
    v, h = cas * KNOT, height * FOOT
    warm = atmosphere.temperature(h)
    m = airspeed.mach_from_cas(v, h)
    by_mach, by_reading = sensitivity.tas_by_mach(m, warm)
    found = (m, sensitivity.mach_by_cas(v, h) * KNOT,
             sensitivity.mach_by_altitude(v, h) * 100 * FOOT,
             by_mach * sensitivity.mach_by_cas(v, h),
             by_mach * sensitivity.mach_by_altitude(v, h) * 100 * FOOT / KNOT,
             by_reading / KNOT)
    assert found == pytest.approx((mach, by_v, by_h, tas_v, tas_h, tas_t), rel=5e-5)


@pytest.mark.parametrize(("cas", "height", "feet"), [
    (100, 0, 8.956), (250, 0, 23.75), (250, 25000, 53.00), (300, 30000, 78.53)])
def test_a_static_source_error_moves_altitude_with_airspeed(cas, height, feet):
    # Computed in closed form: dHp/dV [ft/kt].
    by = sensitivity.altitude_by_static_source(cas * KNOT, height * FOOT)
    assert by * KNOT / FOOT == pytest.approx(feet, rel=1e-4)


def test_a_static_source_error_is_that_of_the_probes():
    v, h = 250 * KNOT, 25000 * FOOT
    small = 1e-3
    moved = (probes.static_source_pressure_altitude(v, v + small, h)
             - probes.static_source_pressure_altitude(v, v - small, h)) / (2 * small)
    assert sensitivity.altitude_by_static_source(v, h) == pytest.approx(moved, rel=1e-6)


def _mach_mp(cas, height):
    """Mach by the published formulas in 30 digits; m/s and m."""
    layer = atmosphere.LAYERS[0] if height < 11000 else atmosphere.LAYERS[1]
    t0, g, r = mp.mpf("288.15"), mp.mpf("9.80665"), mp.mpf("287.05287")
    a0 = mp.sqrt(mp.mpf("1.4") * r * t0)
    below = min(height, mp.mpf(11000))
    delta = (1 - mp.mpf("0.0065") * below / t0) ** (g / r / mp.mpf("0.0065"))
    if layer.base:
        delta *= mp.exp(-g * (height - 11000) / (r * mp.mpf("216.65")))

    def ratio(m):
        if m <= 1:
            return (1 + m * m / 5) ** mp.mpf("3.5") - 1
        return (mp.mpf("1.2") ** mp.mpf("3.5") * 6 ** mp.mpf("2.5") * m**7
                / (7 * m * m - 1) ** mp.mpf("2.5") - 1)

    wanted = ratio(cas / a0) / delta
    if wanted <= ratio(mp.mpf(1)):
        return mp.sqrt(5 * ((wanted + 1) ** (mp.mpf(2) / 7) - 1))
    return mp.findroot(lambda m: ratio(m) - wanted, (mp.mpf("1.0001"), mp.mpf(3)),
                       solver="anderson")


@pytest.mark.parametrize(("cas_kt", "height_ft"), [
    (60, 1000), (250, 25000), (280, 36000), (280, 37000), (520, 20000), (600, 30000), (700, 0)])
def test_mach_in_thirty_digits(cas_kt, height_ft):
    with mp.workdps(30):
        v, h = mp.mpf(cas_kt * KNOT), mp.mpf(height_ft * FOOT)
        by_v = float(mp.diff(lambda x: _mach_mp(x, h), v, h=mp.mpf("1e-8")))
        by_h = float(mp.diff(lambda x: _mach_mp(v, x), h, h=mp.mpf("1e-6")))
    assert sensitivity.mach_by_cas(float(v), float(h)) == pytest.approx(by_v, rel=1e-10)
    assert sensitivity.mach_by_altitude(float(v), float(h)) == pytest.approx(by_h, rel=1e-10)


def _difference(function, x, step):
    return (function(x + step) - function(x - step)) / (2 * step)


CAS = np.array([30, 90, 200, 280, 340, 430, 640]) * KNOT
HEIGHT = np.array([100, 4000, 12000, 30000, 36000.0, 41000, 20000]) * FOOT


def test_equivalent_airspeed_by_differences():
    mach = airspeed.mach_from_cas(CAS, HEIGHT)
    by_mach, by_height = sensitivity.eas_by_mach(mach, HEIGHT)
    assert by_mach == pytest.approx(
        _difference(lambda m: airspeed.eas_from_mach(m, HEIGHT), mach, 1e-6), rel=1e-7)
    assert by_height == pytest.approx(
        _difference(lambda h: airspeed.eas_from_mach(mach, h), HEIGHT, 0.1), rel=1e-7)


@pytest.mark.parametrize("factor", [0.0, 0.8, 1.0])
def test_true_airspeed_of_a_reading_by_differences(factor):
    mach = airspeed.mach_from_cas(CAS, HEIGHT)
    warm = atmosphere.temperature(HEIGHT) + 7
    read = warm * (1 + 0.2 * factor * mach**2)

    def tas(m, felt):
        return airspeed.tas_from_mach(m, felt / (1 + 0.2 * factor * m**2))

    by_mach, by_reading = sensitivity.tas_by_mach(mach, warm, factor)
    assert by_mach == pytest.approx(_difference(lambda m: tas(m, read), mach, 1e-6), rel=1e-6)
    assert by_reading == pytest.approx(_difference(lambda r: tas(mach, r), read, 1e-3), rel=1e-6)


def test_the_airspeed_of_a_mach_limit_by_differences():
    # A limit that falls by 0.01 Mach in 1000 m.
    slope = -1e-5
    mach = airspeed.mach_from_cas(CAS, HEIGHT)

    def limit(h):
        return airspeed.cas_from_mach(mach + slope * (h - HEIGHT), h)

    found = sensitivity.cas_at_mach_by_altitude(CAS, HEIGHT, slope)
    assert found == pytest.approx(_difference(limit, HEIGHT, 0.05), rel=1e-6)


def test_the_branches_meet_at_mach_1():
    below, above = sensitivity.impact_ratio_slope([1.0, np.nextafter(1.0, 2)])
    assert above == pytest.approx(below, rel=1e-12)


def test_at_rest_and_missing():
    height = np.array([0.0, 5000.0])
    delta = atmosphere.pressure_ratio(height)
    assert sensitivity.mach_by_cas(0.0, height) == pytest.approx(
        1 / (atmosphere.A0 * np.sqrt(delta)))
    assert sensitivity.mach_by_cas(1e-3, height) == pytest.approx(
        1 / (atmosphere.A0 * np.sqrt(delta)), rel=1e-6)
    assert sensitivity.mach_by_altitude(0.0, height).tolist() == [0.0, 0.0]
    assert np.isnan(sensitivity.mach_by_cas([np.nan, 100.0], [0.0, np.nan])).all()
    with pytest.raises(ValueError, match="calibrated airspeed of 0"):
        sensitivity.cas_at_mach_by_altitude([0.0], [0.0])


def test_uncertainty_of_mach_and_true_airspeed_at_250_kt_and_25000_ft():
    # Computed in closed form for u = 3 kt, 100 ft, 2 degC: .00699 and 4.48 kt; and a static
    # source's error of 1 kt, which comes with 53 ft, moves Mach by .00294.
    v, h = 250 * KNOT, 25000 * FOOT
    warm = atmosphere.temperature(h)
    by_v, by_h = sensitivity.mach_by_cas(v, h), sensitivity.mach_by_altitude(v, h)
    of_mach = np.hypot(by_v * 3 * KNOT, by_h * 100 * FOOT)
    by_mach, by_reading = sensitivity.tas_by_mach(airspeed.mach_from_cas(v, h), warm)
    of_tas = np.hypot(by_mach * of_mach, by_reading * 2) / KNOT
    assert of_mach == pytest.approx(0.00699, abs=5e-6)
    assert of_tas == pytest.approx(4.48, abs=5e-3)
    along = by_v + by_h * sensitivity.altitude_by_static_source(v, h)
    assert along * KNOT == pytest.approx(0.00294, abs=5e-6)
