"""The chart of a case: speed against limit, margin and altitude, as lines of an SVG picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.review.cases.case_courses import case_courses

Array = NDArray[np.float64]
LEFT, RIGHT, WIDTH = 62.0, 12.0, 860.0
"""Margins and width of the picture, in its own units."""
PANELS = (("speed", 30.0, 190.0), ("margin", 245.0, 120.0), ("altitude", 405.0, 80.0))
"""Name, top and height of each panel."""
HEIGHT = 525.0
MOST_POINTS = 1500
LEAST_SPAN = {"speed": 4.0, "margin": 4.0, "altitude": 200.0}
"""Of an axis, by panel [kt, ft]; of one in Mach .01."""
STEPS = (1, 2, 5)
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True)
class Tick:
    """A value marked on an axis; ``at`` : its place in the picture."""

    at: float
    text: str


@dataclass(frozen=True)
class Line:
    """A line; ``kind`` : "value", "limit" or "second"; ``by`` : the channel of a second source."""

    kind: str
    path: str
    by: str = ""


@dataclass(frozen=True)
class Panel:
    """One panel; ``lines`` : the value judged, its limit or 0, and another source's value."""

    name: str
    top: float
    height: float
    ticks: tuple[Tick, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class CaseChart:
    """The chart of a case, to be drawn by a template; times are seconds from its start."""

    panels: tuple[Panel, ...]
    times: tuple[Tick, ...]
    from_x: float
    to_x: float
    worst_x: float | None
    left: float = LEFT
    right: float = WIDTH - RIGHT
    width: float = WIDTH
    height: float = HEIGHT


def case_chart(samples: Mapping[str, Sequence[Any]], start_s: float, end_s: float,
               worst_s: float | None, *, in_mach: bool = False) -> CaseChart | None:
    """Return the chart of a case; None where the store keeps fewer than two samples around it.

    Parameters
    ----------
    samples : mapping of str to sequence
        Columns of equal length, as `CaseIndex.samples` gives them; None where not known. A line
        is broken where a value isn't known.
    start_s, end_s, worst_s : float
        Of the exceedance, and its worst moment [s], on the samples' clock.
    in_mach : bool
        Whether the limit is one of Mach number: speed and margin are then drawn as that.
    """
    if len(samples.get("time_s", ())) < 2:
        return None
    found = case_courses(samples, start_s, in_mach=in_mach)
    kept = _kept(found.margin)
    time = found.time_s[kept]
    low, high = float(time[0]), float(time[-1])
    if not low < high:
        return None

    def across(value: float) -> float:
        return LEFT + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    places = np.array([across(value) for value in time])
    drawn = (
        (("value", found.speed, ""), ("limit", found.limit, ""), *_second(found.second_speed)),
        (("value", found.margin, ""), ("limit", np.zeros_like(found.margin), "")),
        (("value", found.altitude_ft, ""), *_second(found.second_altitude_ft)))
    inside = (max(low, 0.0), min(high, end_s - start_s))
    return CaseChart(
        tuple(_panel(f"{name}{'_mach' if in_mach and name != 'altitude' else ''}", top, height,
                     places, [(kind, values[kept], by) for kind, values, by in lines])
              for (name, top, height), lines in zip(PANELS, drawn, strict=True)),
        tuple(Tick(round(across(value), 1), f"{value:.10g}".replace("-", MINUS))
              for value in _marks(low, high, 9)),
        round(across(inside[0]), 1), round(across(inside[1]), 1),
        None if worst_s is None or not low <= worst_s - start_s <= high
        else round(across(worst_s - start_s), 1))


def _second(found: tuple[Array, str] | None) -> tuple[tuple[str, Array, str], ...]:
    """Return what another source says as a line, where there is one."""
    return () if found is None else (("second", *found),)


def _kept(margin: Array) -> NDArray[np.intp]:
    """Return which samples are drawn: of many, the least and greatest margin of each stretch."""
    if margin.size <= MOST_POINTS:
        return np.arange(margin.size)
    found = {0, margin.size - 1}
    for part in np.array_split(np.arange(margin.size), MOST_POINTS // 2):
        known = part[np.isfinite(margin[part])]
        found |= {int(part[0])} if not known.size else {
            int(known[np.argmin(margin[known])]), int(known[np.argmax(margin[known])])}
    return np.array(sorted(found), dtype=np.intp)


def _panel(name: str, top: float, height: float, places: Array,
           lines: Sequence[tuple[str, Array, str]]) -> Panel:
    known = np.concatenate([values for _, values, _ in lines])
    known = known[np.isfinite(known)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    # A level that hardly moves is drawn as one: no axis in fractions of what can be read.
    least = 0.01 if name.endswith("_mach") else LEAST_SPAN.get(name, 1.0)
    middle, half = (low + high) / 2, max(high - low, least) / 2
    low, high = middle - 1.12 * half, middle + 1.12 * half

    def up(value: float) -> float:
        return top + height - (value - low) / (high - low) * height

    return Panel(name, top, height,
                 tuple(Tick(round(up(value), 1), f"{value:,.10g}".replace("-", MINUS))
                       for value in _marks(low, high, max(4, int(height // 36)))),
                 tuple(Line(kind, _path(places, np.array([up(value) for value in values])), by)
                       for kind, values, by in lines))


def _path(across: Array, down: Array) -> str:
    parts, drawing = [], False
    for x, y in zip(across, down, strict=True):
        if np.isfinite(y):
            parts.append(f"{'L' if drawing else 'M'}{x:.1f} {y:.1f}")
        drawing = bool(np.isfinite(y))
    return "".join(parts)


def _marks(low: float, high: float, most: int) -> list[float]:
    """Return round values between two, at most so many, a 1, 2 or 5 times a power of 10 apart."""
    rough = (high - low) / most
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(next((factor * power for factor in STEPS if factor * power >= rough), 10 * power))
    first = int(np.ceil(low / step))
    return [number * step for number in range(first, int(np.floor(high / step)) + 1)]
