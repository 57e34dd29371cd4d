"""Redundant sources of a quantity: disagreements, and confirmation of suspect samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import channel_choice
from loganalyze.airdata.air_data import AirData
from loganalyze.record.derivations import AIRSPEEDS
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE, KNOT
from loganalyze.sheets.evaluation_settings import Settings

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

HALF = 0.5
"""Another channel confirms a step if its own is at least this fraction of it."""
TEMPERATURES = ("static_air_temperature", "total_air_temperature", "outside_air_temperature")


def seconds(log: FlightLog, names: tuple[str, ...]) -> tuple[str, ...]:
    """Return the channels that are further sources of a quantity taken from one channel."""
    if len(names) != 1:
        return ()
    return tuple(f"{names[0]}_{i}" for i in range(2, 10) if f"{names[0]}_{i}" in log)


def disagreeing(
    time: Floats, interval: float, first: Floats, second: Floats, apart: Floats | float,
    longest: float,
) -> Rows:
    """Return the rows at which two sources are more than `apart` apart for over `longest` [s].

    All float64[n] in SI. A missing value ends a disagreement.
    """
    off = np.abs(first - second) > apart
    if not off.any():
        return np.empty(0, dtype=np.intp)
    rows = np.flatnonzero(off)
    reach = HELD_INTERVALS * interval if interval > 0 else np.inf
    breaks = (np.diff(rows) > 1) | (np.diff(time[rows]) > reach)
    firsts = rows[np.concatenate([[True], breaks])]
    lasts = rows[np.concatenate([breaks, [True]])]
    long = time[lasts] - time[firsts] >= longest
    lengths = np.searchsorted(rows, lasts) - np.searchsorted(rows, firsts) + 1
    return np.asarray(rows[np.repeat(long, lengths)])


def speeds_apart(speed: Floats, settings: Settings) -> Floats:
    """Return the greatest difference [m/s] at which two airspeeds agree, float64[n]."""
    return np.maximum(settings.sources_apart_kt * KNOT, settings.sources_apart_pct / 100 * speed)


def ways_to_the_airspeed(log: FlightLog, air: AirData) -> dict[str, Callable[[Rows], Floats]]:
    """Return functions of rows that give the airspeed [m/s] from other channels, by channel."""
    ways: dict[str, Callable[[Rows], Floats]] = {}
    used = set(air.airspeed_sources)
    for name in (*seconds(log, air.airspeed_sources), *AIRSPEEDS):
        if name in log and name not in used:
            ways[name] = log.aligned(name).__getitem__
    if "impact_pressure" in log and "impact_pressure" not in used:
        ways["impact_pressure"] = _of(channel_choice.cas_of_impact, log, "impact_pressure")
    pair = ("total_pressure", "static_pressure")
    if all(name in log for name in pair) and not used & {*pair, "impact_pressure"}:
        total, static = (log.aligned(name) for name in pair)
        ways["total_pressure"] = lambda rows: channel_choice.cas_of_impact(
            total[rows] - static[rows]
        )
    if "mach" in log and "mach" not in used:
        mach, height = log.aligned("mach"), air.screened_altitude
        ways["mach"] = lambda rows: channel_choice.cas_of_mach(mach[rows], height[rows])
    return ways


def ways_to_the_altitude(log: FlightLog, air: AirData) -> dict[str, Callable[[Rows], Floats]]:
    """Return functions of rows that give changes of pressure altitude [m], by channel."""
    used = set(air.altitude_sources)
    ways: dict[str, Callable[[Rows], Floats]] = {}
    for name in (*seconds(log, air.altitude_sources), "satellite_altitude"):
        if name in log:
            ways[name] = log.aligned(name).__getitem__
    if "static_pressure" in log and "static_pressure" not in used:
        ways["static_pressure"] = _of(channel_choice.altitude_of_static, log, "static_pressure")
    pair = ("indicated_altitude", "altimeter_setting")
    if all(name in log for name in pair) and not used & set(pair):
        shown, setting = (log.aligned(name) for name in pair)
        ways["indicated_altitude"] = lambda rows: channel_choice.altitude_of_indicated(
            shown[rows], setting[rows])
    return ways


def _of(
    function: Callable[[Floats], Floats], log: FlightLog, name: str
) -> Callable[[Rows], Floats]:
    values = log.aligned(name)
    return lambda rows: function(values[rows])


@dataclass(frozen=True, eq=False)
class Corroboration:
    """Confirmation of airspeed samples by other channels, and the channels compared."""

    log: FlightLog
    air: AirData
    settings: Settings

    def __call__(self, row: int) -> bool:
        """Whether any channel confirms the airspeed of an isolated sample."""
        return self.over(row - 1, row, row + 1)

    def over(self, before: int, row: int, after: int) -> bool:
        """Whether any channel confirms an excursion between two rows, at a row within it."""
        around = np.array([before, row, after])
        step = _step(self.air.screened_airspeed[around])
        for at in ways_to_the_airspeed(self.log, self.air).values():
            if _step(at(around)) * np.sign(step) >= HALF * abs(step):
                return True
        if "true_airspeed" in self.log:
            # Relative steps, since the ratio of true to calibrated airspeed varies.
            true = self.log.aligned("true_airspeed")[around]
            share = step / self.air.screened_airspeed[around].mean()
            if _step(true) / true.mean() * np.sign(share) >= HALF * abs(share):
                return True
        return (self._shaken("load_factor", row, self.settings.gust_load_g)
                or self._shaken("pitch", row, self.settings.gust_pitch_deg * DEGREE))

    @property
    def looked_at(self) -> tuple[str, ...]:
        """The channels that could have confirmed a sample."""
        return (*ways_to_the_airspeed(self.log, self.air),
                *(name for name in ("true_airspeed", "load_factor", "pitch") if name in self.log))

    def _shaken(self, name: str, row: int, least: float) -> bool:
        """Whether a channel deviates from the mean around it within a second of the row."""
        if name not in self.log:
            return False
        time, values = self.log.time, self.log.aligned(name)
        low, high = np.searchsorted(time, (time[row] - 6.0, time[row] + 6.0))
        near = np.abs(time[low:high] - time[row]) <= max(1.0, self.log.interval_s)
        here, beside = values[low:high][near], values[low:high][~near]
        beside = beside[~np.isnan(beside)]
        return bool(len(beside)) and bool((np.abs(here - beside.mean()) > least).any())


def _step(three: Floats) -> float:
    return float(three[1] - (three[0] + three[2]) / 2)
