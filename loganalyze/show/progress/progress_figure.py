"""A trainee's measures over their flights, on one picture."""

from __future__ import annotations

import math

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from loganalyze.show.figures.figure_style import (
    BLUE,
    GREY,
    SMALL_PT,
    STYLE,
    WIDTH_IN,
    Picture,
    lines_of,
    plain_text,
)
from loganalyze.text.language import progress_words as words
from loganalyze.training.progress import MeasureProgress, Progress
from loganalyze.training.progress_trend import IMPROVING, LEAST_FLIGHTS, WORSE

MOST = 6
"""More measures than this are left to the tables."""


def shown(found: Progress) -> list[MeasureProgress]:
    """Return the measures that are drawn: with a better side, of flights enough for a trend, those
    that change first.
    """
    some = [
        measure
        for measure in found.measures
        if measure.better and measure.trend.flights >= LEAST_FLIGHTS
    ]
    return sorted(some, key=lambda one: one.direction not in (IMPROVING, WORSE))[:MOST]


def progress_figure(found: Progress) -> Figure:
    """Draw each measure against the flights, with its uncertainty and its trend."""
    some = shown(found)
    lines = math.ceil(len(some) / 2)
    height = 0.45 + 2.25 * lines
    with mpl.rc_context({**STYLE, "xtick.labelsize": SMALL_PT, "ytick.labelsize": SMALL_PT}):
        figure = Picture(figsize=(WIDTH_IN, height))
        grid = figure.add_gridspec(lines, 2, left=0.095, right=0.985, top=1 - 0.5 / height,
                                   bottom=0.5 / height, hspace=0.62, wspace=0.28)
        for i, measure in enumerate(some):
            axes = figure.add_subplot(grid[i // 2, i % 2])
            _draw(axes, measure)
            axes.set_xlim(0.5, len(found.flown) + 0.5)
            axes.xaxis.set_major_locator(MaxNLocator(8, integer=True, min_n_ticks=2))
            if i >= len(some) - 2:
                axes.set_xlabel(words.FLIGHT_AXIS, fontsize=SMALL_PT)
    return figure


def _draw(axes: Axes, measure: MeasureProgress) -> None:
    values, errors = np.array(measure.values), np.nan_to_num(measure.uncertainties)
    known = np.isfinite(values)
    at = np.arange(1, len(values) + 1)[known]
    if not math.isnan(measure.course_low):
        axes.axhspan(measure.course_low, measure.course_high, color=GREY, alpha=0.2, linewidth=0)
    axes.errorbar(at, values[known], errors[known], fmt="o", color=BLUE, markersize=4, capsize=2.5)
    # The trend is by the order of the flights that have the measure.
    order = np.arange(known.sum()) - 0.5 * (known.sum() - 1)
    axes.plot(at, measure.trend.level + order * measure.trend.per_flight, color="black",
              linewidth=1.2, linestyle=(0, (5, 2)))
    title = f"{words.heading(measure.exercise)}: {words.inside(measure.measure)}"
    axes.set_title("\n".join(map(plain_text, lines_of(title, 3.2))), loc="left", fontsize=SMALL_PT)
    axes.set_ylabel(words.unit(measure.measure), fontsize=SMALL_PT)
    axes.set_ylim(bottom=min(0.0, float(np.nanmin(values - np.nan_to_num(measure.uncertainties)))))
