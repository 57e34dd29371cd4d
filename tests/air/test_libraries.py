"""The engine against two general libraries that know nothing of it: ambiance and fluids.

Both take geometric height, so pressure altitude, which is geopotential, is converted with the
standard's radius of the Earth. ambiance rounds the pressures at the layers' bases (a step of
2e-6), and fluids has a gas constant of its own (287.05307): the tolerances are those.
"""

from __future__ import annotations

import numpy as np
import pytest
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976
from fluids.compressible import P_stagnation, T_stagnation_ideal

from loganalyze.air import airspeed, atmosphere, probes

EARTH_RADIUS = 6_356_766.0  # ISO 2533:1975 [m]

ALTITUDE = np.concatenate(
    [np.linspace(-4990.0, 31990.0, 371), np.array([0.0, 11000.0, 20000.0]) + 0.01]
)


def geometric(altitude: np.ndarray) -> np.ndarray:
    return EARTH_RADIUS * altitude / (EARTH_RADIUS - altitude)


def test_atmosphere_against_ambiance() -> None:
    theirs = Atmosphere(geometric(ALTITUDE))
    kelvin = atmosphere.temperature(ALTITUDE)
    np.testing.assert_allclose(kelvin, theirs.temperature, rtol=1e-12)
    np.testing.assert_allclose(
        atmosphere.P0 * atmosphere.pressure_ratio(ALTITUDE), theirs.pressure, rtol=5e-6
    )
    np.testing.assert_allclose(atmosphere.speed_of_sound(kelvin), theirs.speed_of_sound, rtol=1e-7)
    np.testing.assert_allclose(
        atmosphere.density_ratio(ALTITUDE, kelvin) * 1.225, theirs.density, rtol=6e-6
    )


def test_within_the_lowest_layer_ambiance_is_met_to_the_last_figures() -> None:
    low = np.linspace(0.5, 10990.0, 100)
    np.testing.assert_allclose(
        atmosphere.P0 * atmosphere.pressure_ratio(low),
        Atmosphere(geometric(low)).pressure,
        rtol=1e-11,
    )


def test_atmosphere_against_fluids() -> None:
    # Below -610 m fluids doesn't vouch for itself.
    altitude = ALTITUDE[ALTITUDE > -600.0]
    theirs = [ATMOSPHERE_1976(z) for z in geometric(altitude)]
    kelvin = atmosphere.temperature(altitude)
    np.testing.assert_allclose(kelvin, [t.T for t in theirs], rtol=1e-9)
    np.testing.assert_allclose(
        atmosphere.P0 * atmosphere.pressure_ratio(altitude), [t.P for t in theirs], rtol=5e-6
    )
    np.testing.assert_allclose(
        atmosphere.speed_of_sound(kelvin), [t.v_sonic for t in theirs], rtol=1e-6
    )
    np.testing.assert_allclose(
        atmosphere.density_ratio(altitude, kelvin) * 1.225, [t.rho for t in theirs], rtol=6e-6
    )


def test_off_standard_temperature_against_fluids() -> None:
    theirs = ATMOSPHERE_1976(geometric(np.array(8000.0)).item(), dT=15.0)
    kelvin = atmosphere.temperature(8000.0) + 15.0
    assert atmosphere.density_ratio(8000.0, kelvin) * 1.225 == pytest.approx(theirs.rho, rel=5e-6)
    assert atmosphere.speed_of_sound(kelvin) == pytest.approx(theirs.v_sonic, rel=1e-6)


def test_ram_rise_and_isentropic_impact_against_fluids() -> None:
    # fluids computes stagnation from an energy balance and from a temperature ratio.
    specific_heat = 3.5 * atmosphere.R_AIR
    for kelvin in (200.0, 288.15, 320.0):
        for mach in (0.05, 0.3, 0.52, 0.82, 0.999):
            speed = airspeed.tas_from_mach(mach, kelvin)
            total = T_stagnation_ideal(T=kelvin, V=speed, Cp=specific_heat)
            assert probes.total_temperature(kelvin, mach, 1.0) == pytest.approx(total, rel=1e-12)
            pitot = P_stagnation(P=1.0, T=kelvin, Tst=total, k=atmosphere.GAMMA)
            assert 1.0 + airspeed.impact_ratio_from_mach(mach) == pytest.approx(pitot, rel=1e-12)
