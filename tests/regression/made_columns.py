"""Columns of recorded flights, from smooth curves and a noise of whole numbers.

Nothing here rests on a library's stream of random numbers: the same columns come out of every
version. All speeds are in kt, heights in ft, times in s, angles in deg, temperatures in degC.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loganalyze.simulate import pressures

Column = NDArray[np.float64]
Points = Sequence[tuple[float, float]]

FOOT, KNOT = 0.3048, 1852.0 / 3600.0


def stamps(seconds: float, interval_s: float = 1.0) -> Column:
    """Times from 0 up to, and not including, the end [s]."""
    return np.arange(round(seconds / interval_s)) * interval_s


def through(time: Column, *points: tuple[float, float]) -> Column:
    """A curve through points (time, value) that is level at each, and before and beyond them."""
    at = np.array([point[0] for point in points], dtype=np.float64)
    values = np.array([point[1] for point in points], dtype=np.float64)
    after = np.clip(np.searchsorted(at, time, side="right"), 1, len(at) - 1)
    share = np.clip((time - at[after - 1]) / (at[after] - at[after - 1]), 0.0, 1.0)
    eased = share * share * (3.0 - 2.0 * share)
    return np.asarray(values[after - 1] + eased * (values[after] - values[after - 1]))


def straight(time: Column, *points: tuple[float, float]) -> Column:
    """Straight lines through points (time, value), constant before and beyond them."""
    return np.interp(time, [point[0] for point in points], [point[1] for point in points])


def between(time: Column, *spans: tuple[float, float]) -> Column:
    """1 within the spans [start, end), 0 elsewhere."""
    inside = np.zeros(len(time))
    for start, end in spans:
        inside[(time >= start) & (time < end)] = 1.0
    return inside


def noise(count: int, seed: int) -> Column:
    """White noise of standard deviation 1: twelve hashed whole numbers a sample, added up."""
    mask = np.uint64(0xFFFFFFFFFFFFFFFF)
    numbers = np.arange(12 * count, dtype=np.uint64) + np.uint64(seed * 1_000_003)
    with np.errstate(over="ignore"):
        for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB), (31, 1)):
            numbers = (numbers ^ (numbers >> np.uint64(shift))) * np.uint64(factor) & mask
    uniform = (numbers >> np.uint64(40)).astype(np.float64) / 2.0**24
    return np.asarray(uniform.reshape(count, 12).sum(axis=1) - 6.0)


def smoothed_noise(count: int, seed: int, samples: float) -> Column:
    """Noise of standard deviation 1, correlated over so many samples."""
    kept = float(np.exp(-1.0 / samples))
    fresh = noise(count, seed) * float(np.sqrt(1.0 - kept * kept))
    fresh[0] /= float(np.sqrt(1.0 - kept * kept))
    values = fresh.tolist()
    for i in range(1, count):
        values[i] += kept * values[i - 1]
    return np.array(values)


def stepped(values: Column, step: float) -> Column:
    """Values rounded to multiples of a step; no value lies near the middle of two by rounding."""
    return np.asarray(np.round(values / step + 3e-7) * step) if step else values


def without(values: Column, rows: slice | NDArray[np.intp] | list[int]) -> Column:
    """The values without some rows: NaN there."""
    left = np.array(values, dtype=np.float64)
    left[rows] = np.nan
    return left


def standard_degc(height_ft: Column, deviation: float = 0.0) -> Column:
    """Static temperature of the standard atmosphere, and a deviation [K]."""
    return np.asarray(pressures.standard_temperature(height_ft * FOOT) - 273.15 + deviation)


def mach_of(cas_kt: Column, height_ft: Column) -> Column:
    """Mach number of a calibrated airspeed at a pressure altitude."""
    return pressures.mach_of(pressures.impact_pressure(cas_kt * KNOT)
                             / pressures.static_pressure(height_ft * FOOT))


def tas_of(cas_kt: Column, height_ft: Column, degc: Column) -> Column:
    """True airspeed [kt]."""
    return np.asarray(mach_of(cas_kt, height_ft) * pressures.sound_speed(degc + 273.15) / KNOT)


def total_degc(cas_kt: Column, height_ft: Column, degc: Column, recovery: float = 1.0) -> Column:
    """What a probe reads that recovers a part of the rise."""
    return np.asarray((degc + 273.15) * (1 + 0.2 * recovery * mach_of(cas_kt, height_ft)**2)
                      - 273.15)


def over_ground(true_kt: Column, heading_deg: Column, wind_kt: float | Column,
                wind_from_deg: float) -> tuple[Column, Column]:
    """Ground speed [kt] and track [deg] of a true airspeed and heading in a wind."""
    heading, blows = np.radians(heading_deg), np.radians(wind_from_deg + 180.0)
    north = true_kt * np.cos(heading) + wind_kt * np.cos(blows)
    east = true_kt * np.sin(heading) + wind_kt * np.sin(blows)
    return np.hypot(north, east), np.degrees(np.arctan2(east, north)) % 360.0
