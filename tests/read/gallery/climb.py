"""The one flight of the gallery, in closed form: an invented climb from an invented aerodrome.

It crosses midnight and a month's end at t = 24 s, the freezing point, north, 4000 ft and
4096 ft; the gear comes up at 8 s, the flaps from 20 to 30 s. Nothing here is imported from the
program, so that a fault there can't hide here.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

START = np.datetime64("2026-02-28T23:59:36", "ns")
"""The instant of t = 0, in UTC."""
QNH = 1009.0
"""Altimeter setting [hPa]."""


def altitude(t: Array) -> Array:
    """Pressure altitude [ft]."""
    return 3900 + 12 * t


def airspeed(t: Array) -> Array:
    """Indicated airspeed [kt], taken as calibrated."""
    return 160 + 0.5 * t


def temperature(t: Array) -> Array:
    """Static air temperature [degC]."""
    return 0.45 - 0.025 * t + 0.08 * np.sin(2 * np.pi * t / 25)


def static(t: Array) -> Array:
    """Static pressure [hPa] (ISO 2533:1975, equation 12, for the troposphere)."""
    return 1013.25 * (1 - 0.0065 * 0.3048 * altitude(t) / 288.15) ** 5.25587981


def impact(t: Array) -> Array:
    """Impact pressure [hPa] of the airspeed (isentropic flow, sea level standard)."""
    speed = airspeed(t) * 1852 / 3600 / 340.293988
    return 1013.25 * ((1 + 0.2 * speed**2) ** 3.5 - 1)


def mach(t: Array) -> Array:
    """Mach number (isentropic flow)."""
    return np.sqrt(5 * ((1 + impact(t) / static(t)) ** (1 / 3.5) - 1))


def true_airspeed(t: Array) -> Array:
    """True airspeed [kt]."""
    sound = np.sqrt(1.4 * 287.05287 * (temperature(t) + 273.15))
    return mach(t) * sound * 3600 / 1852


def _setting_height() -> float:
    """Pressure altitude [ft] of the altimeter setting."""
    return (1 - (QNH / 1013.25) ** (1 / 5.25587981)) * 288.15 / 0.0065 / 0.3048


CHANNELS: dict[str, Callable[[Array], Array]] = {
    "pressure_altitude": altitude,
    "indicated_altitude": lambda t: altitude(t) - _setting_height(),
    "satellite_altitude": lambda t: altitude(t) + 150,
    "indicated_airspeed": airspeed,
    "calibrated_airspeed": airspeed,
    "true_airspeed": true_airspeed,
    "mach": mach,
    "static_air_temperature": temperature,
    "total_air_temperature": lambda t: (temperature(t) + 273.15) * (1 + mach(t)**2 / 5) - 273.15,
    "outside_air_temperature": temperature,
    "static_pressure": static,
    "impact_pressure": impact,
    "total_pressure": lambda t: static(t) + impact(t),
    "altimeter_setting": lambda t: np.full_like(t, QNH),
    "ground_speed": lambda t: true_airspeed(t) - 5,
    "vertical_speed": lambda t: np.full_like(t, 720.0),
    "heading": lambda t: (352 + 0.5 * t) % 360,
    "track": lambda t: (349 + 0.5 * t) % 360,
    "pitch": lambda t: 8 - 0.05 * t,
    "roll": lambda t: 5 * np.sin(2 * np.pi * t / 20),
    "load_factor": lambda t: 1 + 0.05 * np.sin(2 * np.pi * t / 10),
    "latitude": lambda t: -41.5 + 0.0006 * t,
    "longitude": lambda t: -152.25 + 0.0001 * t,
    "flap": lambda t: np.clip(15 - 1.5 * (t - 20), 0, 15),
    "flap_lever": lambda t: np.where(t < 19, 15.0, 0.0),
    "slat": lambda t: np.clip(20 - 2 * (t - 20), 0, 20),
    "speedbrake": lambda t: np.zeros_like(t),
    "gear_down": lambda t: np.where(t < 8, 1.0, 0.0),
    "weight_on_wheels": lambda t: np.zeros_like(t),
    "overspeed_warning": lambda t: np.zeros_like(t),
    "autopilot": lambda t: np.where(t < 30, 0.0, 1.0),
    "autothrottle": lambda t: np.where(t < 5, 0.0, 1.0),
    "weight": lambda t: 5200 - 0.1 * t,
    "fuel": lambda t: 830 - 0.1 * t,
    "torque": lambda t: 92 - 0.1 * t,
    "fan_speed": lambda t: 95 - 0.05 * t,
    "power_lever": lambda t: np.full_like(t, 45.0),
    "limit_pointer": lambda t: np.full_like(t, 250.0),
}
"""Every channel by name, in the unit that it has at the program's edges (torque, N1 in %)."""


def truth(channel: str, t: ArrayLike) -> Array:
    """Return a channel's true values at `t` [s] in its edge unit; `X_2` is as `X`."""
    return CHANNELS[channel.removesuffix("_2")](np.asarray(t, dtype=np.float64))
