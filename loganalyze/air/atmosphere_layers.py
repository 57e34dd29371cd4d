"""The layers of the standard atmosphere and the constants that they rest on.

References
----------
.. [1] ISO 2533:1975, Standard Atmosphere (the same atmosphere as ICAO Doc 7488/3).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from loganalyze.air.validity import Floats

P0 = 101325.0
"""Pressure at sea level [Pa]."""
T0 = 288.15
"""Temperature at sea level [K]."""
G0 = 9.80665
"""Acceleration of free fall [m/s2]."""
R_AIR = 287.05287
"""Specific gas constant of air [J/(kg K)]."""
GAMMA = 1.4
"""Ratio of the specific heats of air."""
A0 = float(np.sqrt(GAMMA * R_AIR * T0))
"""Speed of sound at sea level [m/s]."""
LOWEST, HIGHEST = -5000.0, 32000.0
"""The pressure altitudes between which everything here is defined [m]."""


class Layer(NamedTuple):
    """One layer with a constant lapse rate.

    The first layer's base is sea level, where it is exact, though the layer reaches down to LOWEST.
    """

    base: float
    """Pressure altitude of the base [m]."""
    top: float
    """Pressure altitude of the top [m]."""
    temperature: float
    """Temperature at the base [K]."""
    lapse: float
    """Change of temperature with altitude [K/m]."""
    pressure_ratio: float
    """Pressure at the base over that at sea level."""

    def pressure_factor(self, rise: Floats) -> Floats:
        """Pressure at a rise [m] above the base over that at the base."""
        if self.lapse == 0.0:
            factor: Floats = np.exp(-G0 / (R_AIR * self.temperature) * rise)
        else:
            warming = 1.0 + self.lapse / self.temperature * rise
            factor = np.power(warming, -G0 / (R_AIR * self.lapse))
        return factor

    def rise(self, factor: Floats, *, of_density: bool) -> Floats:
        """Rise [m] above the base at which pressure (or density) is this factor of the base's."""
        if self.lapse == 0.0:
            height: Floats = -R_AIR * self.temperature / G0 * np.log(factor)
        else:
            exponent = -G0 / (R_AIR * self.lapse) - of_density
            height = self.temperature / self.lapse * np.expm1(np.log(factor) / exponent)
        return height

    @property
    def density_ratio(self) -> float:
        """Density at the base over that at sea level."""
        return self.pressure_ratio * T0 / self.temperature


def _layers() -> tuple[Layer, ...]:
    ratio = 1.0
    layers = []
    for base, top, temperature, lapse in (
        (0.0, 11e3, T0, -6.5e-3),
        (11e3, 20e3, 216.65, 0.0),
        (20e3, HIGHEST, 216.65, 1e-3),
    ):
        layers.append(Layer(base, top, temperature, lapse, ratio))
        ratio *= float(layers[-1].pressure_factor(np.asarray(top - base)))
    return tuple(layers)


LAYERS = _layers()
"""The layers of the standard atmosphere, from the lowest up."""
