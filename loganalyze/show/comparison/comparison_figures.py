"""Two flights on one picture: their tracks beside the limit airspeed, and their margins."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from loganalyze.comparison.flight_comparison import Comparison
from loganalyze.limits.limit_envelope import limit_envelope
from loganalyze.problems import Problem
from loganalyze.record.units import FOOT, KNOT
from loganalyze.show.figures.figure_style import (
    ABOVE,
    BLUE,
    PURPLE,
    STYLE,
    WIDTH_IN,
    Picture,
    legend_columns,
)
from loganalyze.show.figures.time_axis import thousands
from loganalyze.text.language import comparison_words as words
from loganalyze.text.language import picture_labels
from loganalyze.text.presentation import Presentation

LINES: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linewidth": 1.5},
    {"color": PURPLE, "linewidth": 1.9, "linestyle": (0, (7, 1.5))})
"""Of the two flights: they differ in dash as well as in colour."""
LIMITS = ((0, (4, 2)), (0, (1, 1.5)))


def tracks_figure(found: Comparison, how: Presentation) -> Figure:
    """Draw calibrated airspeed against pressure altitude for both, with the limit airspeed."""
    per_knot, per_foot = how.units.per_knot, how.units.per_foot
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 4.4))
        axes = figure.add_axes((0.12, 0.11, 0.865, 0.8))
        altitudes = np.concatenate(
            [flight.values["pressure_altitude_ft"] for flight in found.flights]
        )
        altitudes = altitudes[np.isfinite(altitudes)]
        same = found.first.analysis.sheet.limit == found.second.analysis.sheet.limit
        for name, flight, style in zip(words.NAMES, found.flights, LINES, strict=True):
            axes.plot(flight.values["calibrated_airspeed_kt"] * per_knot,
                      flight.values["pressure_altitude_ft"] * per_foot, label=name, **style)
        shown = list(zip(words.NAMES, found.flights, LIMITS, strict=True))
        for name, flight, dashes in shown[:1] if same else shown:
            if not altitudes.size:
                continue
            heights = np.linspace(altitudes.min() - 300, altitudes.max() + 300, 200)
            try:
                limit = limit_envelope(flight.analysis.sheet, heights * FOOT).limit_airspeed / KNOT
            except Problem:  # Corrections by flap angle: only what was in force is known.
                heights = flight.values["pressure_altitude_ft"]
                limit = flight.values["limit_airspeed_kt"]
            axes.plot(limit * per_knot, heights * per_foot, color="black", linewidth=1.6,
                      linestyle=dashes,
                      label=words.LIMIT if same else words.LIMIT_OF.format(name=name))
        axes.set_xlabel(words.SPEED_AXIS.format(unit=how.units.speed))
        axes.set_ylabel(picture_labels.AXES["pressure_altitude"].format(unit=how.units.altitude))
        thousands(axes)
        labels = [str(label) for label in axes.get_legend_handles_labels()[1]]
        axes.legend(ncols=legend_columns(labels, 0.86 * WIDTH_IN), **ABOVE)
    return figure


def course_figure(found: Comparison, how: Presentation) -> Figure:
    """Draw both margins along the way, and the difference between them."""
    per_knot = how.units.per_knot
    by_altitude = found.by == "altitude"
    steps = found.steps * (how.units.per_foot if by_altitude else 1.0)
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 4.4))
        grid = figure.add_gridspec(2, height_ratios=(1.5, 1), left=0.12, right=0.985, top=0.92,
                                   bottom=0.11, hspace=0.12)
        margin, difference = (figure.add_subplot(grid[i]) for i in range(2))
        for name, flight, style in zip(words.NAMES, found.flights, LINES, strict=True):
            margin.plot(steps, flight.values["margin_kt"] * per_knot, label=name, **style)
        less = found.difference_kt * per_knot
        difference.plot(steps, less, color="black", linewidth=1.3)
        difference.fill_between(steps, less, 0, where=less < 0, color=PURPLE, alpha=0.3,
                                linewidth=0)
        for axes in (margin, difference):
            axes.axhline(0, color="black", linewidth=1.0)
            axes.set_xlim((steps.max(), steps.min()) if by_altitude else
                          (steps.min(), steps.max()))
        margin.tick_params(axis="x", labelbottom=False)
        margin.set_ylabel(words.MARGIN_AXIS.format(unit=how.units.speed))
        difference.set_ylabel(words.DIFFERENCE_AXIS.format(unit=how.units.speed))
        difference.set_xlabel(words.AXES[found.by].format(unit=how.units.altitude))
        if by_altitude:
            difference.xaxis.set_major_formatter(
                mpl.ticker.FuncFormatter(lambda value, _: f"{value:,.0f}"))
        margin.legend(ncols=2, **ABOVE)
    return figure
