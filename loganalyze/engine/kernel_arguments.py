"""Constants and columns, by name, that the NumPy and the compiled loops share."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.engine import limit_curves
from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS

Singles = NDArray[np.float32]

SLOW = 15.0
"""Calibrated airspeed [m/s] below which the table of powers loses digits to cancellation."""
FAST = 0.999
"""Mach number up to which the table of powers is used; it ends at Mach 1."""
GUARD = 1e-3 * KNOT
"""Tabulated margins above this [m/s] are certainly positive: the table's error is far smaller."""
_GROUND, _TROPOPAUSE = atmosphere.LAYERS[0], atmosphere.LAYERS[1]


class Numbers(NamedTuple):
    """Constants of the formulas; all float64, as a kernel's tuple argument requires."""

    altitude_start: float
    """Lowest pressure altitude of the tables [m]."""
    altitude_scale: float
    """Cells of the tables per metre of pressure altitude [1/m]."""
    altitude_cells: float
    """Number of cells of the tables, including one of NaN after the last."""
    ratio_of_speed: float
    """sqrt(0.2) / a0 [s/m]: its product with the CAS, squared, is 0.2 (CAS / a0)^2."""
    knots: float
    """Knots per m/s."""
    feet: float
    """Feet per metre."""
    sonic_ratio: float
    """q_c/p at Mach 1."""
    slow: float
    """`SLOW` [m/s]."""
    fast: float
    """`FAST`, a Mach number."""
    guard: float
    """`GUARD` [m/s]."""
    sound_kt: float
    """a0 [kt]."""
    sound_root_kt: float
    """a0 / sqrt(T0) [kt/K^(1/2)]."""
    freezing: float
    """0 degrees Celsius [K]."""
    lapse: float
    """Temperature gradient of the standard atmosphere below the tropopause [K/m]."""
    sea_level_temperature: float
    """In the standard atmosphere [K]."""
    tropopause_temperature: float
    """In the standard atmosphere [K]."""


class TableNumbers(NamedTuple):
    """Constants of the tables and of the flight; all float64."""

    expansion_scale: float
    """Cells of the table of powers per unit of q_c/p."""
    recovery: float
    """0.2 times the probe's recovery factor; 0 for one that reads static temperature."""
    thinnest: float
    """Lowest density ratio of the table of density altitudes."""
    densest: float
    """Highest density ratio of that table."""
    density_scale: float
    """Cells of that table per unit of the density ratio."""


@cache
def numbers() -> Numbers:
    """Return the constants of the formulas."""
    return Numbers(
        altitude_start=limit_curves.START,
        altitude_scale=1.0 / limit_curves.STEP,
        altitude_cells=float(limit_curves.COUNT + 1),
        ratio_of_speed=float(np.sqrt(0.2) / atmosphere.A0),
        knots=1 / KNOT,
        feet=1 / FOOT,
        sonic_ratio=float(airspeed.SONIC_RATIO),
        slow=SLOW,
        fast=FAST,
        guard=GUARD,
        sound_kt=atmosphere.A0 / KNOT,
        sound_root_kt=float(atmosphere.A0 / np.sqrt(atmosphere.T0) / KNOT),
        freezing=ZERO_CELSIUS,
        lapse=_GROUND.lapse,
        sea_level_temperature=_GROUND.temperature,
        tropopause_temperature=_TROPOPAUSE.temperature,
    )


class Columns(NamedTuple):
    """A block's float32[n] columns; a column that isn't computed is empty."""

    calibrated_airspeed_kt: Singles
    pressure_altitude_ft: Singles
    mach: Singles
    equivalent_airspeed_kt: Singles
    true_airspeed_kt: Singles
    static_air_temperature_degc: Singles
    isa_deviation_degc: Singles
    density_altitude_ft: Singles
    limit_airspeed_kt: Singles
    limit_pointer_kt: Singles
    margin_kt: Singles
    margin_mach: Singles


COLUMN_NAMES = tuple(Columns.__annotations__)
