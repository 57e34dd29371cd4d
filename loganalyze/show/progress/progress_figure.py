"""A trainee's measures over their flights, on one picture."""

from __future__ import annotations

import math

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from loganalyze.show.figures.figure_style import BLUE, GREY, STYLE, Picture
from loganalyze.text.language import progress_words as words
from loganalyze.training.progress import MeasureProgress, Progress
from loganalyze.training.progress_trend import LEAST_FLIGHTS

MOST = 8
"""More measures than this are left to the tables."""


def shown(found: Progress) -> list[MeasureProgress]:
    """Return the measures that are drawn: with a better side, of flights enough for a trend."""
    return [one for one in found.measures
            if one.better and one.trend.flights >= LEAST_FLIGHTS][:MOST]


def progress_figure(found: Progress) -> Figure:
    """Draw each measure against the flights, with its uncertainty and its trend."""
    some = shown(found)
    lines = math.ceil(len(some) / 2)
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(10, 0.6 + 2.3 * lines))
        grid = figure.add_gridspec(lines, 2, left=0.09, right=0.97, top=1 - 0.35 / (1 + lines),
                                   bottom=0.55 / (0.6 + 2.3 * lines), hspace=0.5, wspace=0.25)
        at = np.arange(1, len(found.flown) + 1)
        for i, one in enumerate(some):
            axes = figure.add_subplot(grid[i // 2, i % 2])
            values, errors = np.array(one.values), np.nan_to_num(one.uncertainties)
            known = np.isfinite(values)
            axes.errorbar(at[known], values[known], errors[known], fmt="o", color=BLUE,
                          markersize=5, capsize=3)
            # The trend is by the order of the flights that have the measure.
            order = np.arange(known.sum()) - 0.5 * (known.sum() - 1)
            axes.plot(at[known], one.trend.level + order * one.trend.per_flight, color="black",
                      linewidth=1.2, linestyle=(0, (5, 2)))
            if not math.isnan(one.course_low):
                axes.axhspan(one.course_low, one.course_high, color=GREY, alpha=0.2, linewidth=0)
            axes.set_title(f"{words.exercise(one.exercise)}: {words.measure(one.measure)}",
                           loc="left", fontsize=8.5)
            axes.set_ylabel(words.unit(one.measure))
            axes.set_ylim(bottom=min(0.0, float(np.nanmin(values - errors))))
            axes.set_xticks(at)
            if i >= len(some) - 2:
                axes.set_xlabel(words.FLIGHT_AXIS)
    return figure
