"""The picture of the limit airspeed against pressure altitude, with the flight's track in it."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.explain.pointer_movement import PointerMovement
from loganalyze.limits.evaluation import OVER
from loganalyze.limits.limit_envelope import limit_envelope
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT
from loganalyze.problems import Problem
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import FOOT, KNOT
from loganalyze.show.figures.figure_style import (
    ABOVE,
    BLUE,
    GREY,
    HALO,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    plain_text,
)
from loganalyze.show.figures.margin_figure import found_crossovers
from loganalyze.show.figures.time_axis import thousands
from loganalyze.text.language import picture_labels as words
from loganalyze.text.language import pointer_words, report_labels
from loganalyze.text.presentation import Presentation

POINTS = 6000
"""Return the samples of the track to draw: evenly spaced ones, and every one over a limit."""

SLOWEST_KT = 60.0
"""Slower than this [kt] the aircraft rolls, and the track is irrelevant to limits."""


def track_figure(analysis: Analysis, how: Presentation | None = None,
                 movement: PointerMovement | None = None) -> Figure:
    """Draw limit airspeed and flown airspeed against pressure altitude.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    how : Presentation, optional
        In which units.
    movement : PointerMovement, optional
        Instants to mark with letters: where the speed was and where the limit stood.

    Returns
    -------
    matplotlib.figure.Figure
        Altitude upwards, calibrated airspeed to the right: the limit airspeed with no
        conditional limit applying, the crossover, the conditional limits where they governed,
        and the track, thick where it was over a limit.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> len(la.track_figure(flight).axes)
    1
    """
    how = how or Presentation()
    per_knot, per_foot = how.units.per_knot, how.units.per_foot
    columns = analysis.columns
    speed, height = columns["calibrated_airspeed_kt"], columns["pressure_altitude_ft"]
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 4.5))
        axes = figure.add_axes((0.115, 0.105, 0.865, 0.83))
        lines = _lines(analysis, np.where(speed >= SLOWEST_KT, speed, np.nan))
        some = _thinned(lines)
        axes.plot(some[:, 0] * per_knot, some[:, 1] * per_foot, color=BLUE, linewidth=1.0,
                  label=report_labels.TRACK["track"])
        over = columns["state"] == OVER
        if over.any():
            lines = _lines(analysis, np.where(over, speed, np.nan))
            axes.plot(lines[:, 0] * per_knot, lines[:, 1] * per_foot, color=VERMILION,
                      linewidth=3.2, solid_capstyle="round", label=report_labels.TRACK["over"])
        known = height[np.isfinite(height)]
        top = float(known.max()) if known.size else 10_000.0
        bottom = float(known.min()) if known.size else 0.0
        _envelope(axes, analysis, bottom, top, how)
        _conditional(axes, analysis, how)
        _crossovers(axes, analysis, top, how)
        if movement is not None:
            _marks(axes, movement, how)
        axes.set_xlabel(words.AXES["calibrated"].format(unit=how.units.speed))
        axes.set_ylabel(words.AXES["pressure_altitude"].format(unit=how.units.altitude))
        thousands(axes)
        axes.legend(ncols=4, **ABOVE)
    return figure


def _lines(analysis: Analysis, speed: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return speed [kt] and altitude [ft] as a line that breaks where the recording does."""
    height = analysis.columns["pressure_altitude_ft"]
    line = np.column_stack([speed, height]).astype(np.float64)
    gaps = np.flatnonzero(np.diff(analysis.time) > HELD_INTERVALS * analysis.log.interval_s) + 1
    line = np.insert(line, gaps, np.nan, axis=0)
    # Several samples without a value in a row break the line as one does, and thin out first.
    known = np.isfinite(line[:, 0] + line[:, 1])
    return np.asarray(line[known | np.append(True, known[:-1])], dtype=np.float64)


def _thinned(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return evenly spaced points of a line, with all its breaks."""
    step = max(1, len(line) // POINTS)
    keep = np.isnan(line[:, 0])
    keep[::step] = True
    return line[keep]


def _envelope(axes: Axes, analysis: Analysis, bottom: float, top: float, how: Presentation
              ) -> None:
    """Draw the lowest unconditional limit, with some space above the flight."""
    heights = np.linspace(max(bottom - 500, -1900), min(top * 1.15 + 1500, 60_000), 300)
    try:
        found = limit_envelope(analysis.sheet, heights * FOOT)
    except Problem:
        # Position corrections by flap angle: only the limits as they were in flight are known.
        _recorded_limits(axes, analysis, how)
        return
    limit = found.limit_airspeed / KNOT * how.units.per_knot
    axes.plot(limit, heights * how.units.per_foot, color="black", linewidth=1.8,
              linestyle=(0, (5, 2)), label=report_labels.TRACK["limit"])
    codes = found.governing
    for section in np.split(np.arange(len(codes)), np.flatnonzero(np.diff(codes)) + 1):
        if codes[section[0]] == NO_GOVERNING_LIMIT or len(section) < 0.05 * len(codes):
            continue
        # At the ends: in the middle the track would cross it.
        at = section[-len(section) // 20 - 1] if section[-1] == len(codes) - 1 else section[
            len(section) // 20]
        _name(axes, analysis.limit_names[codes[at]], float(limit[at]),
              heights[at] * how.units.per_foot)


def _recorded_limits(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    axes.plot(analysis.columns["limit_airspeed_kt"] * how.units.per_knot,
              analysis.columns["pressure_altitude_ft"] * how.units.per_foot, color="black",
              linewidth=1.2, linestyle=(0, (5, 2)), label=report_labels.TRACK["recorded"])


def _conditional(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    """Draw the conditional limits where they governed."""
    codes, limit = analysis.columns["governing_limit"], analysis.columns["limit_airspeed_kt"]
    height = analysis.columns["pressure_altitude_ft"]
    for i, stated in enumerate(analysis.sheet.limit):
        rows = np.flatnonzero((codes == i) & np.isfinite(height))
        if not stated.when or not rows.size:
            continue
        shown: NDArray[np.bool_] = np.zeros(len(codes), dtype=bool)
        shown[rows] = True
        axes.plot(np.where(shown, limit, np.nan) * how.units.per_knot,
                  height * how.units.per_foot, color=GREY, linewidth=1.6,
                  linestyle=(0, (1, 1)))
        middle = rows[len(rows) // 2]
        _name(axes, stated.name, float(limit[middle]) * how.units.per_knot,
              float(height[middle]) * how.units.per_foot)


def _name(axes: Axes, name: str, x: float, y: float) -> None:
    axes.annotate(plain_text(name), (x, y), (5, 0), ha="left", va="center",
                  textcoords="offset points", weight="bold", path_effects=HALO)


def _marks(axes: Axes, movement: PointerMovement, how: Presentation) -> None:
    """Mark the instants: a dot at the speed, a ring at the limit, the margin between them."""
    per_knot, per_foot = how.units.per_knot, how.units.per_foot
    for letter, instant in zip(pointer_words.LETTERS, movement.instants, strict=False):
        height = instant.pressure_altitude_ft * per_foot
        speed, limit = instant.airspeed_kt * per_knot, instant.limit_airspeed_kt * per_knot
        axes.plot([speed, limit], [height, height], color="black", linewidth=1.2)
        axes.plot(speed, height, marker="o", color="black", markersize=6)
        axes.plot(limit, height, marker="o", color="black", markersize=7, markerfacecolor="white")
        right = max(speed, limit) if np.isfinite(speed) else limit
        axes.annotate(letter, (right, height), (9, 0), textcoords="offset points", ha="left",
                      va="center", fontsize=11, weight="bold", path_effects=HALO)


def _crossovers(axes: Axes, analysis: Analysis, top: float, how: Presentation) -> None:
    for crossing in found_crossovers(analysis):
        height = crossing.pressure_altitude / FOOT
        if height > top * 1.15 + 1500:
            continue
        speed = crossing.limit_airspeed / KNOT * how.units.per_knot
        axes.plot(speed, height * how.units.per_foot, marker="D", color="black", markersize=6,
                  linestyle="none")
        axes.annotate(plain_text(words.CROSSOVER.format(
            below=crossing.below, above=crossing.above, altitude=how.altitude(height))),
                      (speed, height * how.units.per_foot), (-9, -3), ha="right", va="top",
                      textcoords="offset points", fontsize=SMALL_PT, path_effects=HALO)
