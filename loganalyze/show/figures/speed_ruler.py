"""A ruler of speeds, with the flown speed above it and the limit pointer below it."""

from __future__ import annotations

import math

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from loganalyze.explain.dial_reading import DialReading
from loganalyze.show.figures.figure_style import (
    BLUE,
    FEW_COLOURS,
    HALO,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    plain_text,
)
from loganalyze.text.language import ruler_words as words
from loganalyze.text.presentation import Presentation

NARROWEST = 60.0
"""Least length of the ruler, in the unit of the speed."""
LABELLED = 10.0
"""Spacing of the numbers on the ruler [units], which are also at its ends."""
EDGE = 4.0
"""Least distance of marks from the ruler's ends [units]."""


def ruler_span(*marks: float) -> tuple[float, float]:
    """Return where a ruler begins and ends that holds all marks; NaN ones don't count.

    It begins at a whole ten and moves by tens, so that it stands still while a speed changes a
    little; it is as short as the marks allow, and doubles.
    """
    known = [mark for mark in marks if math.isfinite(mark)] or [0.0]
    low, high = min(known) - EDGE, max(known) + EDGE
    length = NARROWEST
    while True:
        start = math.floor(((low + high - length) / 2) / LABELLED + 0.5) * LABELLED
        start = max(start, 0.0)
        if start <= max(low, 0.0) and high <= start + length:
            return start, start + length
        length *= 2


def ruler_figure(reading: DialReading, how: Presentation | None = None) -> Figure:
    """Draw what the airspeed indicator showed, as a ruler.

    Parameters
    ----------
    one : DialReading
        As `dial_reading` gave it.
    how : Presentation, optional
        In which units.

    Returns
    -------
    matplotlib.figure.Figure
        One panel; what isn't known isn't drawn, and is said below it.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> len(la.ruler_figure(la.dial_reading(flight, 474.5)).axes)
    1
    """
    how = how or Presentation()
    factor = how.units.per_knot
    speed, pointer = reading.speed_kt * factor, reading.pointer_kt * factor
    speed_before = speed - reading.speed_trend_kt * factor
    pointer_before = pointer - reading.pointer_trend_kt * factor
    start, end = ruler_span(speed, pointer, speed_before, pointer_before)
    lines = words.reading_lines(reading, how)
    with mpl.rc_context(STYLE):
        height = 1.6 + 0.2 * len(lines)
        figure = Picture(figsize=(WIDTH_IN, height))
        figure.colours = FEW_COLOURS
        axes = figure.add_axes((0.02, 0.2 * len(lines) / height, 0.96, 1.55 / height))
        axes.set_axis_off()
        axes.set_xlim(start - 0.02 * (end - start), end + 0.02 * (end - start))
        axes.set_ylim(-1.95, 1.95)
        _body(axes, start, end, pointer)
        if math.isfinite(speed):
            _mark(axes, speed, speed_before, 1.0, BLUE, "v",
                  words.SPEED_MARK.format(value=f"{speed:.1f}"), start, end)
        if math.isfinite(pointer):
            _mark(axes, pointer, pointer_before, -1.0, "black", "^",
                  words.POINTER_MARK.format(value=f"{pointer:.1f}"), start, end)
        for i, line in enumerate(lines):
            figure.text(0.028, (0.2 * (len(lines) - i) - 0.1) / height, plain_text(line),
                        va="center", fontsize=9)
    return figure


def _body(axes: Axes, start: float, end: float, pointer: float) -> None:
    """Draw the ruler, its strokes and numbers, hatched beyond the limit pointer."""
    axes.add_patch(Rectangle((start, -0.5), end - start, 1.0, facecolor="white", edgecolor="black",
                             linewidth=1.2))
    if math.isfinite(pointer) and pointer < end:
        axes.add_patch(Rectangle((pointer, -0.5), end - pointer, 1.0, facecolor="#fbe6d9",
                                 edgecolor=VERMILION, hatch="////", linewidth=0, alpha=0.9))
        axes.add_line(Line2D([pointer, pointer], [-0.5, 0.5], color="black", linewidth=2.4))
    each = 1.0 if end - start <= 120 else 5.0
    at = start
    while at <= end:
        long = at % LABELLED == 0
        reach = 0.3 if long else 0.22 if at % 5 == 0 else 0.13
        axes.add_line(Line2D([at, at], [0.5, 0.5 - reach], color="black", linewidth=0.8))
        if at % (LABELLED if end - start <= 120 else 5 * LABELLED) == 0:
            axes.annotate(f"{at:.0f}", (at, -0.16), ha="center", va="center", fontsize=9,
                          path_effects=HALO, annotation_clip=False)
        at += each


def _mark(axes: Axes, now: float, before: float, side: float, color: str, marker: str, text: str,
          start: float, end: float) -> None:
    """Mark a speed above (side 1) or below the ruler, with its way of the last 10 s."""
    lane = side * 0.98
    if math.isfinite(before) and abs(now - before) > 0.002 * (end - start):
        axes.annotate("", (now, lane), (before, lane), arrowprops={
            "arrowstyle": "->", "color": color, "linewidth": 1.5, "shrinkA": 3, "shrinkB": 5})
        axes.plot(before, lane, marker="o", color=color, markersize=4, markerfacecolor="white")
    axes.plot(now, side * 0.68, marker=marker, color=color, markersize=10)
    # The words stand beyond the arrow, towards the ruler's middle.
    right = now < (start + end) / 2
    axes.annotate(text, (now, side * 1.5), (-5 if right else 5, 0), textcoords="offset points",
                  ha="left" if right else "right", va="center", fontsize=10, weight="bold",
                  color=color, path_effects=HALO)
