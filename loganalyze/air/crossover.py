"""The crossover of a CAS and a Mach number, step by step, in closed form.

At the crossover altitude both are one speed, so both give one impact pressure. The Mach number
gives it as a multiple of the static pressure there, the CAS gives it in pascals: their quotient
is the static pressure, and the standard atmosphere turns that into a pressure altitude. No
temperature of the day appears.

References
----------
.. [1] Ames Research Staff, Equations, Tables, and Charts for Compressible Flow, NACA Report 1135,
   1953: eq. 44 (isentropic) and eq. 100 (Rayleigh's pitot formula).
.. [2] ISO 2533:1975, Standard Atmosphere; the same relation is eqs. 33a and 33b of U.S. Standard
   Atmosphere, 1976.
"""

from __future__ import annotations

from dataclasses import dataclass

from loganalyze.air.airspeed import crossover_pressure_altitude, impact_ratio_from_cas
from loganalyze.air.atmosphere import A0, LAYERS, P0, Layer
from loganalyze.air.pitot import impact_ratio_from_mach


@dataclass(frozen=True, slots=True)
class CrossoverSteps:
    """Each step's result, unrounded.

    ``cas`` [m/s], ``mach`` : what was given; ``impact_over_static`` : q_c / p at the Mach number;
    ``sea_level_mach`` : CAS over the speed of sound at sea level; ``impact_over_sea_level`` :
    q_c / p0 at the CAS; ``impact_pressure`` : q_c [Pa]; ``pressure`` : static pressure at the
    crossover [Pa]; ``pressure_ratio`` : that over the pressure at sea level; ``layer`` : of the
    standard atmosphere, in which it lies; ``pressure_altitude`` : [m, geopotential].
    """

    cas: float
    mach: float
    impact_over_static: float
    sea_level_mach: float
    impact_over_sea_level: float
    impact_pressure: float
    pressure: float
    pressure_ratio: float
    layer: Layer
    pressure_altitude: float


def crossover_steps(cas: float, mach: float) -> CrossoverSteps:
    """Work out the pressure altitude at which a CAS and a Mach number are the same speed.

    Parameters
    ----------
    cas : float
        [m/s], above 0, up to 5 times the speed of sound at sea level.
    mach : float
        Above 0, up to 5.

    Returns
    -------
    CrossoverSteps
        Every intermediate result; the altitude is that of ``crossover_pressure_altitude``.

    Raises
    ------
    ValueError
        If a speed lies outside its range, or the two meet nowhere between -5000 and 32000 m.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100; ISO 2533:1975.
    """
    altitude = float(crossover_pressure_altitude(cas, mach))
    by_mach, by_cas = float(impact_ratio_from_mach(mach)), float(impact_ratio_from_cas(cas))
    ratio = by_cas / by_mach
    layer = LAYERS[sum(altitude > layer.top for layer in LAYERS[:-1])]
    return CrossoverSteps(
        cas=cas, mach=mach, impact_over_static=by_mach, sea_level_mach=cas / A0,
        impact_over_sea_level=by_cas, impact_pressure=P0 * by_cas, pressure=P0 * ratio,
        pressure_ratio=ratio, layer=layer, pressure_altitude=altitude)
