"""The picture of how the margin was spread: time at each margin."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from loganalyze.results.assessment_results import LimitMeasure
from loganalyze.show.figures.figure_style import (
    BLUE,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    plain_text,
)
from loganalyze.text.language import picture_labels as words
from loganalyze.text.language import report_labels
from loganalyze.text.presentation import Presentation


def histogram_figure(measure: LimitMeasure, how: Presentation | None = None) -> Figure:
    """Draw the time spent at each margin to a limit, or to whichever applied.

    Parameters
    ----------
    measure : LimitMeasure
        As the assessment gave it; its bins are drawn as they are.
    how : Presentation, optional
        In which units.

    Returns
    -------
    matplotlib.figure.Figure
        Time [min] against margin; bins over the limit are marked and hatched. With no bins the
        picture is empty and states that.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.assess("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                     "sample_logs/ouzelwing_240.toml")
    >>> len(la.histogram_figure(flight.measures[0]).axes)
    1
    """
    how = how or Presentation()
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 2.3))
        axes = figure.add_axes((0.1, 0.2, 0.885, 0.67))
        edges = np.array([edge for edge, _ in measure.histogram]) * how.units.per_knot
        minutes = np.array([time for _, time in measure.histogram]) / 60
        if minutes.any():
            met = np.flatnonzero(minutes)
            shown = slice(max(met[0] - 1, 0), met[-1] + 2)
            edges, minutes = edges[shown], minutes[shown]
            steps = np.diff(edges)
            widths = np.append(steps, steps[-1] if len(steps) else how.units.per_knot)
            over = edges < 0
            axes.bar(edges[~over], minutes[~over], widths[~over], align="edge", color=BLUE,
                     edgecolor="white", linewidth=0.4)
            axes.bar(edges[over], minutes[over], widths[over], align="edge", color=VERMILION,
                     edgecolor="black", linewidth=0.4, hatch="////")
        else:
            axes.annotate(words.NOTHING_JUDGED, (0.5, 0.5), xycoords="axes fraction", ha="center")
        axes.set_axisbelow(True)
        axes.axvline(0, color="black", linewidth=1.2)
        axes.annotate(words.OVER_LIMIT, (0, 1), (-4, -2), xycoords=("data", "axes fraction"),
                      textcoords="offset points", ha="right", va="top", fontsize=SMALL_PT)
        axes.set_xlabel(words.AXES["margin"].format(unit=how.units.speed))
        axes.set_ylabel(words.AXES["minutes"])
        limit = measure.limit or report_labels.ALL_LIMITS
        axes.set_title(plain_text(report_labels.HISTOGRAM_TITLE.format(limit=limit)),
                       loc="left")
    return figure
