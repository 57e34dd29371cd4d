"""The picture of why margin was lost: a bar for each cause."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from loganalyze.results.assessment_results import Contributions
from loganalyze.show.figures.figure_style import (
    BLUE,
    FEW_COLOURS,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
)
from loganalyze.text.language import report_labels
from loganalyze.text.presentation import Presentation

_WHOLE = ("limit_moved_kt", "configuration_kt", "height_trade_kt", "energy_kt",
          "air_temperature_kt", "remainder_kt")
_UNSPLIT = ("limit_moved_kt", "configuration_kt", "speed_change_kt", "remainder_kt")


def contributions_figure(causes: Contributions, how: Presentation | None = None) -> Figure:
    """Draw what took margin away and what gave it back over a run-in.

    Parameters
    ----------
    causes : Contributions
        As the assessment gave them.
    how : Presentation, optional
        In which units.

    Returns
    -------
    matplotlib.figure.Figure
        A bar a cause, to the right where it took margin away, hatched to the left where it gave
        some back, and their sum.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.assess("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                     "sample_logs/ouzelwing_240.toml")
    >>> figure = la.contributions_figure(flight.exceedances[0].contributions)
    >>> len(figure.axes)
    1
    """
    how = how or Presentation()
    # NaN is not known, and what rounds to nothing has no bar.
    fields = [name for name in (_WHOLE if causes.split else _UNSPLIT)
              if abs(getattr(causes, name)) >= 0.05]
    values = np.array([getattr(causes, name) for name in fields] + [causes.lost_kt])
    values = values * how.units.per_knot
    names = [report_labels.CAUSES[name][0] for name in fields] + [report_labels.LOST]
    places = np.arange(len(values))[::-1].astype(float)
    places[-1] -= 0.25
    with mpl.rc_context(STYLE):
        height = 0.4 + 0.24 * len(values)
        figure = Picture(figsize=(WIDTH_IN, height))
        figure.colours = FEW_COLOURS
        axes = figure.add_axes((0.25, 0.06 / height, 0.73, 1 - 0.36 / height))
        colors = [VERMILION if value > 0 else BLUE for value in values[:-1]] + ["#444444"]
        bars = axes.barh(places, values, height=0.62, color=colors, edgecolor="black",
                         linewidth=0.5)
        for bar, value in zip(bars[:-1], values, strict=False):
            if value < 0:
                bar.set_hatch("////")
        for place, value in zip(places, values, strict=True):
            axes.annotate(f"{round(value, 1) + 0.0:+.1f} {how.units.speed}",
                          (float(value), float(place)),
                          (4 if value >= 0 else -4, 0), textcoords="offset points",
                          ha="left" if value >= 0 else "right", va="center")
        low, high = min(float(values.min()), 0.0), max(float(values.max()), 0.0)
        padding = 0.14 * max(high - low, 1.0)
        axes.set_xlim(low - padding * (low < 0), high + padding)
        axes.set_yticks(places, names)
        axes.axvline(0, color="black", linewidth=1)
        if len(places) > 1:
            axes.axhline((places[-1] + places[-2]) / 2, color="#888888", linewidth=0.6)
        axes.grid(visible=False)
        # The bars carry their numbers: an axis of numbers would add no information.
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        axes.annotate(report_labels.TOOK, (1, 1), (0, 2), xycoords="axes fraction",
                      fontsize=SMALL_PT, textcoords="offset points", ha="right", va="bottom")
        if low < 0:
            axes.annotate(report_labels.GAVE, (0, 1), (0, 2), xycoords="axes fraction",
                          fontsize=SMALL_PT, textcoords="offset points", ha="left", va="bottom")
    return figure
