"""The numbers and columns that both renditions of the fast path go by, by name."""

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
"""Below this [m/s] the table of powers loses digits to the subtraction of 1."""
FAST = 0.999
"""Above this Mach number it ends."""
GUARD = 1e-3 * KNOT
"""A margin from the table [m/s] is believed beyond this; the table's error is far below it."""
_GROUND, _TROPOPAUSE = atmosphere.LAYERS[0], atmosphere.LAYERS[1]


class Numbers(NamedTuple):
    """Constants of the formulas; all float64, so that they are one argument of a kernel."""

    altitude_start: float
    """Where the tables over pressure altitude begin [m]."""
    altitude_scale: float
    """Their cells a metre."""
    altitude_cells: float
    """Their cells, with one of NaN beyond the last."""
    ratio_of_speed: float
    """sqrt(0.2) / a0 [s/m]: its product with the CAS, squared, is 0.2 (CAS / a0)^2."""
    knots: float
    """kt in a m/s."""
    feet: float
    """ft in a m."""
    sonic_ratio: float
    """q_c/p at Mach 1."""
    slow: float
    fast: float
    guard: float
    sound_kt: float
    """a0 [kt]."""
    sound_root_kt: float
    """a0 / sqrt(T0) [kt/K^(1/2)]."""
    freezing: float
    lapse: float
    """Of the standard atmosphere below the tropopause [K/m]."""
    sea_level_temperature: float
    tropopause_temperature: float


class TableNumbers(NamedTuple):
    """What goes by the tables that were made, and by the flight; all float64."""

    expansion_scale: float
    """Cells of the table of powers a unit of q_c/p."""
    recovery: float
    """0.2 times the probe's recovery factor; 0 for one that reads static temperature."""
    thinnest: float
    densest: float
    """The ends of the table over the density ratio."""
    thinness_scale: float
    """Its cells a unit."""


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
    """A block's columns of numbers, float32[n]; empty where one isn't wanted."""

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
