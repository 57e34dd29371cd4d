"""Common elements of figures over time: lines that keep peaks, shading, and the time axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import (
    AutoLocator,
    FuncFormatter,
    MaxNLocator,
    MultipleLocator,
    NullLocator,
)
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.record.intervals import Intervals
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import BLUE, HALO, VERMILION
from loganalyze.show.figures.trace_decimation import trace
from loganalyze.text.flight_account import start_utc
from loganalyze.text.language import number_format
from loganalyze.text.language import picture_labels as words
from loganalyze.text.presentation import Presentation

NARROWEST = 1 / 600
"""Least drawn width of a stretch, as a share of the time axis."""

COVERAGE_FACTOR_95 = 1.959963984540054
"""Of the 95 % interval of a normal distribution (JCGM 100:2008, table G.1)."""

UNKNOWN: dict[str, Any] = {
    "facecolor": "#f4f4f4", "edgecolor": "#888888", "linewidth": 0, "hatch": "////"}
OTHERS: dict[str, Any] = {"facecolor": VERMILION, "alpha": 0.1, "linewidth": 0}
OVER: dict[str, Any] = {"facecolor": VERMILION, "alpha": 0.22, "linewidth": 0}
BAND: dict[str, Any] = {"color": BLUE, "alpha": 0.2, "linewidth": 0}
WORST: dict[str, Any] = {
    "marker": "v", "color": VERMILION, "markersize": 6, "markeredgecolor": "black",
    "markeredgewidth": 0.6}

_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)


def line(axes: Axes, analysis: Analysis, values: NDArray[Any] | None, factor: float = 1.0,
         rows: slice = slice(None), **style: Any) -> None:
    """Draw one column over time, times `factor`; nothing where it isn't there."""
    time = analysis.time[rows]
    if values is not None and len(time):
        points, drawn = trace(time, values[rows], analysis.log.interval_s)
        axes.plot(points, drawn * factor, **style)


def band(axes: Axes, analysis: Analysis, assessment: Assessment | None, factor: float = 1.0,
         rows: slice = slice(None)) -> bool:
    """Draw the margin's 95 % interval; whether there was one to draw."""
    u = assessment.columns.get("margin_u_kt") if assessment is not None else None
    time = analysis.time[rows]
    if u is None or not len(time) or np.isnan(u[rows]).all():
        return False
    margin, reach = analysis.columns["margin_kt"][rows], COVERAGE_FACTOR_95 * u[rows]
    points, low = trace(time, margin - reach, analysis.log.interval_s)
    _, high = trace(time, margin + reach, analysis.log.interval_s)
    axes.fill_between(points, low * factor, high * factor, **BAND)
    return True


def shade(axes: Axes, analysis: Analysis, span: float, only: Exceedance | None = None) -> None:
    """Hatch what couldn't be judged and shade what was over; all but `only` one more lightly.

    `span` [s] is what is shown.
    """
    least = NARROWEST * span
    unknown = widened(analysis.unknown.edges, least)
    shaded = analysis.exceedances if only is None else (only,)
    over = widened(np.array([(exceedance.start_s, exceedance.end_s) for exceedance in shaded],
                            dtype=np.float64).reshape(-1, 2), least)
    whole: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "zorder": 0.5}
    if len(unknown):
        axes.broken_barh([(a, b - a) for a, b in unknown], (0, 1), **UNKNOWN, **whole)
    if len(over):
        axes.broken_barh([(a, b - a) for a, b in over], (0, 1), **OVER, **whole)
    others = [] if only is None else [
        exceedance for exceedance in analysis.exceedances if exceedance != only]
    if others:
        beside = Intervals.of(
            (exceedance.start_s, exceedance.end_s) for exceedance in others
        ) - Intervals.of([(only.start_s, only.end_s)] if only else ())
        axes.broken_barh([(a, b - a) for a, b in widened(beside.edges, least)], (0, 1),
                         **OTHERS, **whole)


def widened(edges: NDArray[np.float64], least: float) -> NDArray[np.float64]:
    """Make each stretch wide enough to be seen, and one of those that then overlap."""
    short = np.maximum(0.0, least - (edges[:, 1] - edges[:, 0])) / 2
    return Intervals.of(zip(edges[:, 0] - short, edges[:, 1] + short, strict=True)).edges


def time_axis(panels: Sequence[Axes], analysis: Analysis, how: Presentation, start: float,
              span: float) -> None:
    """Give panels one time axis from `start` [s] over `span` [s], on the report's clock."""
    days = 86400 * np.ceil(span / 86400 / 10)
    step = next((step for step in _STEPS_S if span / step <= 10), days)
    seconds = step < 60
    offset = -how.origin_s
    if how.in_utc:
        assert how.utc_start is not None
        day = how.utc_start.astype("datetime64[D]")
        offset = float((how.utc_start - day) / np.timedelta64(1, "s"))
    last = panels[-1]
    # Ticks stand at whole minutes of the clock that is shown.
    locator = MultipleLocator(step, offset=-(offset % step))
    marks = locator.tick_values(start, start + span)
    for panel in panels:
        panel.set_xlim(start, start + span)
        if isinstance(panel.yaxis.get_major_locator(), AutoLocator):
            panel.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
        if panel is last:
            panel.xaxis.set_major_locator(locator)
        else:
            # A line instead of ticks: a tick is a dozen artists and slow to draw.
            panel.xaxis.set_major_locator(NullLocator())
            panel.add_artist(Line2D(
                np.repeat(marks, 3), np.tile([0.0, 1.0, np.nan], len(marks)), zorder=0.4,
                transform=panel.get_xaxis_transform(), color=mpl.rcParams["grid.color"],
                linewidth=mpl.rcParams["grid.linewidth"]))

    def tick(value: float, _: int | None) -> str:
        clock = number_format.clock((value + offset) % 86400 if how.in_utc else value + offset)
        return clock[:-2] if seconds else clock[:-5]

    last.xaxis.set_major_formatter(FuncFormatter(tick))
    form = "h:mm:ss" if seconds else "h:mm"
    if how.in_utc:
        last.set_xlabel(words.AXES["utc"].format(unit=form))
        return
    utc = None if how.deidentified else start_utc(analysis)
    since = words.FIRST_SAMPLE.format(instant=utc[:19]) if utc else ""
    last.set_xlabel(words.AXES["elapsed"].format(unit=form) + since)


def say_unknown(axes: Axes, text: str) -> None:
    """Write into a panel that holds no line why, and take its scale away."""
    axes.set_yticks([])
    axes.annotate(text, (0.5, 0.5), xycoords="axes fraction", ha="center", va="center",
                  path_effects=HALO)


def thousands(axes: Axes) -> None:
    """Write the numbers of the upright axis with a comma at the thousands."""
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
