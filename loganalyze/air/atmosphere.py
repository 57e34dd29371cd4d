"""The standard atmosphere from -5 km to 32 km, and what an off-standard temperature changes.

All altitudes are geopotential. In each layer temperature is linear in altitude, and pressure
follows from the hydrostatic equation and the perfect gas law.

References
----------
.. [1] ISO 2533:1975, Standard Atmosphere (the same atmosphere as ICAO Doc 7488/3).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.air.atmosphere_layers import (
    A0,
    G0,
    GAMMA,
    HIGHEST,
    LAYERS,
    LOWEST,
    P0,
    R_AIR,
    T0,
    Layer,
)
from loganalyze.air.validity import (
    HIGHEST_TEMPERATURE,
    LOWEST_TEMPERATURE,
    Floats,
    within,
)

__all__ = [
    "A0", "G0", "GAMMA", "HIGHEST", "LAYERS", "LOWEST", "P0", "R_AIR", "T0", "Layer",
    "altitude_from_density_ratio", "density_altitude", "density_ratio", "isa_deviation",
    "pressure_altitude", "pressure_altitude_from_ratio", "pressure_altitude_from_setting",
    "pressure_ratio", "speed_of_sound", "temperature",
]

# Settings from the QFE of the highest aerodromes to beyond any sea-level pressure on record;
# hectopascals handed over as pascals fall outside.
_LOWEST_SETTING, _HIGHEST_SETTING = 50e3, 110e3


def _rises(pressure_altitude: ArrayLike) -> list[tuple[Layer, Floats]]:
    """How far each altitude has risen inside each layer, for the layers that any reaches."""
    altitude = within(pressure_altitude, LOWEST, HIGHEST, "pressure altitude [m]")
    highest = np.fmax.reduce(altitude, axis=None, initial=LOWEST)
    return [
        (layer, np.clip(altitude, layer.base if layer.base else None, layer.top) - layer.base)
        for layer in LAYERS
        if layer.base == 0.0 or highest > layer.base
    ]


def pressure_ratio(pressure_altitude: ArrayLike) -> Floats:
    """Static pressure over that at sea level, at a pressure altitude.

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        The ratio, called delta; NaN where the altitude is NaN.

    Raises
    ------
    ValueError
        If an altitude lies outside the range.

    References
    ----------
    ISO 2533:1975, pressure as a function of geopotential altitude.
    """
    # The product over the layers is continuous at their boundaries by construction.
    (first, rise), *others = _rises(pressure_altitude)
    ratio = first.pressure_factor(rise)
    for layer, rise in others:
        ratio = ratio * layer.pressure_factor(rise)
    return ratio


def temperature(pressure_altitude: ArrayLike) -> Floats:
    """Temperature of the standard atmosphere at a pressure altitude.

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Temperature [K]; NaN where the altitude is NaN.

    Raises
    ------
    ValueError
        If an altitude lies outside the range.

    References
    ----------
    ISO 2533:1975, temperature as a function of geopotential altitude.
    """
    (first, rise), *others = _rises(pressure_altitude)
    kelvin = first.temperature + first.lapse * rise
    for layer, rise in others:
        kelvin = kelvin + layer.lapse * rise
    return kelvin


def _altitude(ratio: Floats, *, of_density: bool) -> Floats:
    """Altitude [m] in the standard atmosphere from the pressure or the density ratio."""
    altitude = np.zeros_like(ratio)
    thinnest = np.fmin.reduce(ratio, axis=None, initial=np.inf)
    bases = [layer.density_ratio if of_density else layer.pressure_ratio for layer in LAYERS]
    for layer, base, top in zip(LAYERS, bases, [*bases[1:], 0.0], strict=True):
        if layer.base == 0.0 or thinnest < base:
            factor = np.clip(ratio, top or None, base if layer.base else None) / base
            altitude = altitude + layer.rise(factor, of_density=of_density)
    # The ends of the range come back as themselves, not a rounding error beyond.
    inside: Floats = np.clip(altitude, LOWEST, HIGHEST)
    return inside


def pressure_altitude_from_ratio(ratio: ArrayLike) -> Floats:
    """Pressure altitude from the static pressure over that at sea level.

    Parameters
    ----------
    ratio : array_like
        Any shape, from the ratio at 32000 m (0.00857) to that at -5000 m (1.754).

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Pressure altitude [m, geopotential]; NaN where the ratio is NaN.

    Raises
    ------
    ValueError
        If a ratio lies outside the range.

    References
    ----------
    ISO 2533:1975, pressure as a function of geopotential altitude, solved for the altitude.
    """
    return _altitude(
        within(ratio, _LOWEST_RATIO, _HIGHEST_RATIO, "pressure ratio"), of_density=False
    )


def pressure_altitude(pressure: ArrayLike) -> Floats:
    """Pressure altitude at a static pressure.

    Parameters
    ----------
    pressure : array_like
        Any shape [Pa], 868 to 177687: the pressures at 32000 and -5000 m.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Pressure altitude [m, geopotential]; NaN where the pressure is NaN.

    Raises
    ------
    ValueError
        If a pressure lies outside the range.

    References
    ----------
    ISO 2533:1975, pressure as a function of geopotential altitude, solved for the altitude.
    """
    static = within(pressure, P0 * _LOWEST_RATIO, P0 * _HIGHEST_RATIO, "static pressure [Pa]")
    return _altitude(static / P0, of_density=False)


def speed_of_sound(temperature: ArrayLike) -> Floats:
    """Speed of sound at a static temperature.

    Parameters
    ----------
    temperature : array_like
        Any shape [K], 100 to 400.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Speed of sound [m/s]; NaN where the temperature is NaN.

    Raises
    ------
    ValueError
        If a temperature lies outside the range.

    References
    ----------
    ISO 2533:1975, speed of sound: sqrt(gamma R T).
    """
    sound: Floats = np.sqrt(GAMMA * R_AIR * _static(temperature))
    return sound


def density_ratio(pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Air density over the standard one at sea level.

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against the altitude.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        The ratio, called sigma; NaN where either is NaN.

    Raises
    ------
    ValueError
        If an altitude or a temperature lies outside its range.

    References
    ----------
    ISO 2533:1975, density by the perfect gas law.
    """
    return pressure_ratio(pressure_altitude) * (T0 / _static(temperature))


def density_altitude(pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Altitude at which the standard atmosphere has the density met here.

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against the altitude.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Density altitude [m, geopotential]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If an altitude or a temperature lies outside its range, or the density is one that the
        standard atmosphere has nowhere between -5000 and 32000 m.

    References
    ----------
    ISO 2533:1975, density as a function of geopotential altitude, solved for the altitude.
    """
    return altitude_from_density_ratio(density_ratio(pressure_altitude, temperature))


def altitude_from_density_ratio(density_ratio: ArrayLike) -> Floats:
    """Altitude at which the standard atmosphere has this density.

    Parameters
    ----------
    density_ratio : array_like
        Density over that at sea level, any shape; that of -5000 to 32000 m.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Altitude [m, geopotential]; NaN where the ratio is NaN.

    Raises
    ------
    ValueError
        If a ratio is one that the standard atmosphere has nowhere in that range.

    References
    ----------
    ISO 2533:1975, density as a function of geopotential altitude, solved for the altitude.
    """
    sigma = within(
        density_ratio,
        _LOWEST_RATIO * T0 / _HIGHEST_ISA,
        _HIGHEST_RATIO * T0 / _LOWEST_ISA,
        "density ratio",
    )
    return _altitude(sigma, of_density=True)


def isa_deviation(pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """How much warmer the air is than the standard atmosphere at this pressure altitude.

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against the altitude.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Deviation [K], positive when warmer; NaN where either is NaN.

    Raises
    ------
    ValueError
        If an altitude or a temperature lies outside its range.
    """
    return _static(temperature) - _isa_temperature(pressure_altitude)


def pressure_altitude_from_setting(
    indicated_altitude: ArrayLike, altimeter_setting: ArrayLike
) -> Floats:
    """Pressure altitude from an altimeter that is set to something else than 1013.25 hPa.

    The setting turns the altimeter's scale, so it shifts every altitude by the pressure altitude
    of the setting.

    Parameters
    ----------
    indicated_altitude : array_like
        Any shape [m]; the result must lie in -5000 to 32000.
    altimeter_setting : array_like
        QNH or QFE [Pa], 50000 to 110000; broadcast against the altitude.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Pressure altitude [m, geopotential]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a setting or a resulting altitude lies outside its range.
    """
    setting = within(altimeter_setting, _LOWEST_SETTING, _HIGHEST_SETTING, "altimeter setting [Pa]")
    shifted = np.asarray(indicated_altitude, dtype=np.float64) + pressure_altitude(setting)
    within(shifted, LOWEST, HIGHEST, "pressure altitude [m]")
    return shifted


def _static(temperature: ArrayLike) -> Floats:
    return within(temperature, LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE, "static temperature [K]")


_isa_temperature = temperature  # reachable where a parameter is called temperature
_HIGHEST_RATIO, _LOWEST_RATIO = (float(pressure_ratio(end)) for end in (LOWEST, HIGHEST))
_LOWEST_ISA, _HIGHEST_ISA = (float(temperature(end)) for end in (LOWEST, HIGHEST))
