"""Each step to a crossover against arbitrary precision, written again from the published formulas.

NACA Report 1135, eqs. 44 and 100; ISO 2533:1975, whose relations of pressure and altitude are
eqs. 33a and 33b of U.S. Standard Atmosphere, 1976.
"""

import math

import mpmath as mp
import numpy as np
import pytest

from loganalyze.air import airspeed
from loganalyze.air.crossover import crossover_steps

KT = 1852.0 / 3600.0
PAIRS = [(255.0, 0.49), (250.0, 0.48), (320.0, 0.82), (340.0, 0.90), (160.0, 0.95),
         (170.0, 1.4), (700.0, 1.2), (800.0, 1.6), (60.0, 0.80), (200.0, 0.80)]
"""Speeds [kt] and Mach numbers in every layer, and on both sides of the speed of sound."""


def impact(mach):
    if mach <= 1:
        return (1 + mach**2 / 5) ** mp.mpf("3.5") - 1
    return (mp.mpf("1.2") ** mp.mpf("3.5") * 6 ** mp.mpf("2.5") * mach**7
            / (7 * mach**2 - 1) ** mp.mpf("2.5") - 1)


def altitude(delta):
    """Solve eqs. 33a and 33b for the altitude, layer by layer."""
    t0, r, g = mp.mpf("288.15"), mp.mpf("287.05287"), mp.mpf("9.80665")
    at_11 = (mp.mpf("216.65") / t0) ** (g / (r * mp.mpf("0.0065")))
    if delta >= at_11:
        return t0 / mp.mpf("0.0065") * (1 - delta ** (r * mp.mpf("0.0065") / g))
    at_20 = at_11 * mp.exp(-g * 9000 / (r * mp.mpf("216.65")))
    if delta >= at_20:
        return 11000 + r * mp.mpf("216.65") / g * mp.log(at_11 / delta)
    return 20000 + mp.mpf("216.65") / mp.mpf("0.001") * (
        (delta / at_20) ** (-r * mp.mpf("0.001") / g) - 1)


@pytest.mark.parametrize(("cas", "mach"), PAIRS)
def test_each_step(cas, mach):
    steps = crossover_steps(cas * KT, mach)
    with mp.workdps(40):
        sound = mp.sqrt(mp.mpf("1.4") * mp.mpf("287.05287") * mp.mpf("288.15"))
        over_static, at_sea_level = impact(mp.mpf(mach)), impact(mp.mpf(cas * KT) / sound)
        delta = at_sea_level / over_static
        exact = {
            "impact_over_static": over_static, "sea_level_mach": mp.mpf(cas * KT) / sound,
            "impact_over_sea_level": at_sea_level, "impact_pressure": 101325 * at_sea_level,
            "pressure": 101325 * delta, "pressure_ratio": delta}
        for name, value in exact.items():
            assert getattr(steps, name) == pytest.approx(float(value), rel=1e-12), name
        assert steps.pressure_altitude == pytest.approx(float(altitude(delta)), abs=1e-6)
    assert steps.layer.base <= max(steps.pressure_altitude, 0.0) <= steps.layer.top


@pytest.mark.parametrize(("cas", "mach"), PAIRS)
def test_the_altitude_is_where_both_are_one_speed(cas, mach):
    height = crossover_steps(cas * KT, mach).pressure_altitude
    assert airspeed.cas_from_mach(mach, height) == pytest.approx(cas * KT, rel=1e-11)


def test_every_layer_is_among_the_pairs():
    bases = {crossover_steps(cas * KT, mach).layer.base for cas, mach in PAIRS}
    assert bases == {0.0, 11e3, 20e3}
    assert any(mach > 1 for _, mach in PAIRS)
    assert any(crossover_steps(cas * KT, mach).sea_level_mach > 1 for cas, mach in PAIRS)


def test_speeds_that_never_meet_are_refused():
    with pytest.raises(ValueError, match="cross nowhere"):
        crossover_steps(600 * KT, 0.2)
    with pytest.raises(ValueError, match="crosses no other"):
        crossover_steps(0.0, 0.5)
    assert math.isfinite(float(np.float64(crossover_steps(250 * KT, 0.5).pressure)))
