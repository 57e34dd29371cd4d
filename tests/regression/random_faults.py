"""Faults of a random flight's recording, put into its columns in the edge units."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.regression.made_columns import Column, noise, smoothed_noise, stepped
from tests.regression.random_draws import Draws

SCALES = {"pressure_altitude": 30.0, "indicated_altitude": 30.0, "satellite_altitude": 30.0,
          "mach": 0.003, "static_air_temperature": 0.4, "total_air_temperature": 0.4,
          "outside_air_temperature": 0.4, "altimeter_setting": 0.5, "vertical_speed": 60.0,
          "load_factor": 0.03, "weight": 40.0}
"""What counts in a channel as 1 kt counts in an airspeed."""

COARSE = {"pressure_altitude": (1.0, 25.0, 100.0), "mach": (0.001, 0.004),
          "static_air_temperature": (0.25, 1.0), "total_air_temperature": (0.25, 1.0),
          "outside_air_temperature": (0.25, 1.0), "load_factor": (0.01, 0.05)}
IMPOSSIBLE = (1100.0, -40.0, 70000.0, -5000.0, 9999.0, -99.75)


def scale_of(name: str) -> float:
    """Return what counts in a channel as 1 kt counts in an airspeed."""
    return SCALES.get(name.removesuffix("_2").removesuffix("_3"), 1.0)


def steps_of(name: str, draw: Draws) -> float:
    """Return a quantization step for a channel."""
    return draw.one_of(*COARSE.get(name.removesuffix("_2"), (0.0625, 0.125, 0.25, 0.5, 1.0, 2.0)))


def faulty(seed: int, time: Column, columns: dict[str, Column]) -> dict[str, Column]:
    """Return the columns with quantization, noise and up to four faults."""
    draw = Draws(seed, "faults")
    made = {name: np.array(values) for name, values in columns.items()}
    for k, name in enumerate(made):
        size = draw.one_of(0.0, 0.0, 0.05, 0.2, 0.6, 2.0) * scale_of(name)
        if size and name not in DISCRETE:
            made[name] = made[name] + size * (
                noise(len(time), seed + k) if draw.chance(0.6) else
                smoothed_noise(len(time), seed + k, draw.between(1, 8)))
        if draw.chance(0.6) and name not in DISCRETE:
            made[name] = stepped(made[name], steps_of(name, draw))
    many = [*MAIN, *MAIN, *MAIN, *made]
    for _ in range(draw.one_of(1, 1, 2, 4) if draw.chance(0.65) else 0):
        name = draw.one_of(*[one for one in many if one in made])
        fault = draw.one_of(*FAULTS)
        made[name] = fault(draw, time, made[name], scale_of(name))
    if draw.chance(0.08):
        _corrupt_frames(draw, made)
    return made


DISCRETE = ("gear_down", "weight_on_wheels", "overspeed_warning", "autopilot", "autothrottle",
            "event_marker", "flap_lever", "mode")
MAIN = ("calibrated_airspeed", "indicated_airspeed", "pressure_altitude", "mach")


def _rows(draw: Draws, count: int, most: int) -> slice:
    """Some rows that follow each other, at times the first or the last."""
    length = min(draw.whole(1, most), count)
    start = draw.one_of(0, count - length, *(draw.whole(0, count - length) for _ in range(6)))
    return slice(start, start + length)


def _spikes(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    for _ in range(draw.one_of(1, 1, 2, 3)):
        values[draw.whole(0, len(values) - 1)] += draw.one_of(-1, 1, 1) * scale * draw.one_of(
            draw.between(3, 14), draw.between(14, 40), draw.between(40, 130))
    return values


def _excursion(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    for _ in range(draw.one_of(1, 1, 2)):
        rows = _rows(draw, len(values), 14)
        size = draw.one_of(-1, 1, 1, 1) * scale * draw.one_of(
            draw.between(20, 60), draw.between(60, 180))
        values[rows] += size * (np.linspace(1, draw.one_of(0.1, 1.0), rows.stop - rows.start))
    return values


def _missing(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    for _ in range(draw.one_of(1, 2, 4)):
        values[_rows(draw, len(values), draw.one_of(1, 3, 10, 60))] = np.nan
    return values


def _stuck(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    rows = _rows(draw, len(values), max(2, len(values) * 2 // 3))
    values[rows] = values[rows.start]
    return values


def _stale(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    hold = draw.whole(2, 12)
    index = np.arange(len(values))
    rows = _rows(draw, len(values), len(values))
    held = index - (index - rows.start) % hold
    return np.where((index >= rows.start) & (index < rows.stop), values[held], values)


def _offset(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    rows = slice(0, len(values)) if draw.chance(0.3) else _rows(
        draw, len(values), max(2, len(values) // 2))
    values[rows] += scale * draw.one_of(-1, 1) * draw.one_of(
        draw.between(1, 8), draw.between(5, 20), draw.between(15, 60))
    return values


def _impossible(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    values[_rows(draw, len(values), draw.one_of(1, 4, 30))] = draw.one_of(*IMPOSSIBLE)
    return values


def _dropout(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    values[_rows(draw, len(values), draw.one_of(1, 3, 12))] = 0.0
    return values


def _clamped(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    return np.maximum(values, draw.between(30, 62) * scale)


def _rough(draw: Draws, time: Column, values: Column, scale: float) -> Column:
    rows = _rows(draw, len(values), len(values))
    length = rows.stop - rows.start
    values[rows] += draw.between(0.5, 8) * scale * noise(length, draw.whole(1, 10**6))
    return values


def _corrupt_frames(draw: Draws, made: dict[str, Column]) -> None:
    count = len(next(iter(made.values())))
    row = draw.whole(0, count - 1)
    for at in (row, row + draw.whole(1, 6)):
        for name in draw.some_of(list(made), draw.whole(2, 4)):
            if at < count:
                made[name][at] = draw.one_of(*IMPOSSIBLE)


Fault = Callable[[Draws, Column, Column, float], Column]
FAULTS: tuple[Fault, ...] = (_spikes, _spikes, _excursion, _missing, _missing, _stuck, _stale,
                             _offset, _impossible, _dropout, _clamped, _rough)
