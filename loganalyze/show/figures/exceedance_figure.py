"""The picture of one exceedance: how it came, how far it went, and how it was recovered."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.limits.limit_equivalents import published_maximum, published_value
from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.record.channels import CHANNELS
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures import time_axis
from loganalyze.show.figures.figure_style import (
    ABOVE,
    BLUE,
    GREEN,
    GREY,
    HALO,
    LEGEND,
    LETTER_WIDTH,
    ORANGE,
    PURPLE,
    SKY,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    legend_columns,
    lines_of,
    plain_text,
)
from loganalyze.text.flight_account import presented
from loganalyze.text.language import picture_labels as words
from loganalyze.text.language import quantity_words
from loganalyze.text.language import report_labels as label
from loganalyze.text.presentation import Presentation

LEFT = 0.13
"""Left edge of the panels as a share of the width."""

RUN_IN_S, RECOVERY_S = 45.0, 30.0
"""Least run-in and recovery shown [s]; engineering judgement."""

STATE_CHANNELS = ("overspeed_warning", "autopilot", "autothrottle", "gear_down", "speedbrake")
"""Recorded states drawn as strips, where the log has them."""

POWERS = (("torque", GREEN, "-"), ("fan_speed", PURPLE, "-"), ("power_lever", ORANGE, "--"))


def panel_span(analysis: Analysis, index: int, assessment: Assessment | None = None
               ) -> tuple[float, float]:
    """Return the stretch of time [s] that the picture of an exceedance shows."""
    exceedance = analysis.exceedances[index]
    length = exceedance.end_s - exceedance.start_s
    start = exceedance.start_s - max(RUN_IN_S, 0.3 * length)
    if assessment is not None:
        causes = assessment.exceedances[index].contributions
        if causes is not None and np.isfinite(causes.start_s):
            start = min(start, causes.start_s)
    end = exceedance.end_s + max(RECOVERY_S, 0.25 * length)
    time = analysis.time
    return max(start, float(time[0])), min(end, float(time[-1]))


def panel_figure(
    analysis: Analysis,
    index: int,
    assessment: Assessment | None = None,
    how: Presentation | None = None,
) -> Figure:
    """Draw one exceedance: speed against its limit, margin, altitude, power and states.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    index : int
        Which of its exceedances, from 0.
    assessment : Assessment, optional
        Draws the margin's 95 % interval, and starts where the run-in starts.
    how : Presentation, optional
        In which units and on which clock.

    Returns
    -------
    matplotlib.figure.Figure
        Panels over one time axis, from the run-in to the recovery.

    Raises
    ------
    IndexError
        When the flight has no such exceedance.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> len(la.panel_figure(flight, 0).axes)
    4
    """
    how = presented(analysis, how)
    exceedance = analysis.exceedances[index]
    start, end = panel_span(analysis, index, assessment)
    first, last = np.searchsorted(analysis.time, [start, end])
    rows = slice(int(first), int(last) + 1)
    powers = [(name, color, style) for name, color, style in POWERS if name in analysis.log]
    states = [name for name in STATE_CHANNELS if name in analysis.log]
    if how.reader == "maintenance":
        powers, states = [], [name for name in states if name == "gear_down"]
    ratios = [1.3, 1.0, 0.8] + [0.6] * bool(powers) + (
        [sum(0.18 + 0.12 * _names([state])[0].count("\n") for state in states)] * bool(states))
    with mpl.rc_context(STYLE):
        height = 1.0 + 1.15 * sum(ratios)
        figure = Picture(figsize=(WIDTH_IN, height))
        figure.colours = 64
        grid = figure.add_gridspec(
            len(ratios), height_ratios=ratios, left=LEFT, right=0.985, hspace=0.1,
            top=1 - 0.5 / height, bottom=0.5 / height)
        panels = [figure.add_subplot(grid[i]) for i in range(len(ratios))]
        other = none_of_a_speed(exceedance.quantity)
        if other is None:
            _speeds(panels[0], analysis, rows, how)
            _margin(panels[1], analysis, assessment, rows, how)
        else:
            _own(panels[0], panels[1], analysis, exceedance, other, rows)
        time_axis.line(panels[2], analysis, analysis.columns["pressure_altitude_ft"],
                      how.units.per_foot, rows, color=BLUE, linewidth=1.2)
        panels[2].set_ylabel(words.AXES["altitude"].format(unit=how.units.altitude))
        if np.isnan(analysis.columns["pressure_altitude_ft"][rows]).all():
            time_axis.say_unknown(panels[2], words.NO_ALTITUDE)
        else:
            time_axis.thousands(panels[2])
        if powers:
            _powers(panels[3], analysis, powers, rows)
        if states:
            _states(panels[-1], analysis, states, rows)
        for panel in panels:
            time_axis.shade(panel, analysis, end - start, exceedance)
            panel.axvline(exceedance.worst_time_s, color=GREY, linewidth=0.8, linestyle=(0, (3, 2)))
            panel.tick_params(axis="x", labelbottom=panel is panels[-1])
        worst = (
            -exceedance.worst_excess_kt * how.units.per_knot
            if other is None
            else -exceedance.worst_excess
        )
        panels[1].plot(exceedance.worst_time_s, worst, **time_axis.WORST)
        _stages(panels[0], exceedance, start, end)
        time_axis.time_axis(panels, analysis, how, start, max(end - start, 1.0))
    return figure


def _speeds(axes: Axes, analysis: Analysis, rows: slice, how: Presentation) -> None:
    columns, factor = analysis.columns, how.units.per_knot
    flown, displayed = columns["calibrated_airspeed_kt"], columns.get("indicated_airspeed_kt")
    limit, pointer = columns["limit_airspeed_kt"], columns.get("limit_pointer_kt")
    time_axis.line(axes, analysis, limit, factor, rows, color="black", linewidth=1.2,
                  linestyle=(0, (5, 2)), label=label.LEGEND_WORDS["limit_airspeed"])
    if _apart(pointer, limit, rows):
        time_axis.line(axes, analysis, pointer, factor, rows, color=GREY, linewidth=1.2,
                      linestyle=(0, (1, 1.2)), label=f"{label.LEGEND_WORDS['pointer']} (IAS)")
    time_axis.line(axes, analysis, flown, factor, rows, color=BLUE, linewidth=1.4,
                  label=label.LEGEND_WORDS["calibrated"])
    if _apart(displayed, flown, rows):
        time_axis.line(axes, analysis, displayed, factor, rows, color=SKY, linewidth=1.2,
                      linestyle=(0, (4, 1, 1, 1)), label=f"{label.LEGEND_WORDS['indicated']} (IAS)")
    axes.set_ylabel(words.AXES["airspeed"].format(unit=how.units.speed))
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.16 * (high - low))
    _legend(axes)


def _own(
    axes: Axes,
    below: Axes,
    analysis: Analysis,
    exceedance: Exceedance,
    quantity: LimitedQuantity,
    rows: slice,
) -> None:
    """Draw a quantity that is no speed against its limit, and the margin in its unit."""
    value, maximum = np.full((2, len(analysis.time)), np.nan)
    limit = analysis.sheet.limit[analysis.limit_names.index(exceedance.limit)]
    at = analysis.evaluation.air_data_at(np.arange(*rows.indices(len(value))))
    value[rows] = published_value(limit, at)
    maximum[rows] = published_maximum(limit, at)
    unit = quantity.unit.name
    time_axis.line(axes, analysis, maximum, 1.0, rows, color="black", linewidth=1.2,
                   linestyle=(0, (5, 2)), label=words.OWN_LIMIT)
    time_axis.line(axes, analysis, value, 1.0, rows, color=BLUE, linewidth=1.4,
                   label=quantity_words.noun(quantity.name))
    axes.set_ylabel(words.AXES["own"].format(
        quantity=quantity_words.noun(quantity.name), unit=unit))
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.16 * (high - low))
    _legend(axes)
    time_axis.line(below, analysis, maximum - value, 1.0, rows, color=BLUE, linewidth=1.2)
    below.axhline(0, color="black", linewidth=1.2)
    below.set_ylabel(words.AXES["own_margin"].format(unit=unit))


def _legend(axes: Axes) -> None:
    labels = [str(entry) for entry in axes.get_legend_handles_labels()[1]]
    axes.legend(ncols=legend_columns(labels, 0.85 * WIDTH_IN), **ABOVE)


def _apart(first: NDArray[Any] | None, other: NDArray[Any], rows: slice) -> bool:
    """Whether two speeds differ anywhere by more than the width of their lines."""
    if first is None:
        return False
    apart = np.abs(first[rows] - other[rows])
    return bool((apart > 0.3).any())


def _margin(axes: Axes, analysis: Analysis, assessment: Assessment | None, rows: slice,
            how: Presentation) -> None:
    factor = how.units.per_knot
    banded = time_axis.band(axes, analysis, assessment, factor, rows)
    time_axis.line(axes, analysis, analysis.columns["margin_kt"], factor, rows, color=BLUE,
                  linewidth=1.2)
    axes.axhline(0, color="black", linewidth=1.2)
    axes.set_ylabel(words.AXES["margin"].format(unit=how.units.speed)
                    + (f"\n{words.AND_BAND}" if banded else ""))


def _powers(axes: Axes, analysis: Analysis, powers: list[tuple[str, str, str]], rows: slice
            ) -> None:
    units = set()
    for name, color, style in powers:
        kind = CHANNELS[name]
        units.add(kind.unit.name)
        time_axis.line(axes, analysis, analysis.log.aligned(name) / kind.unit.factor, 1.0, rows,
                      color=color, linestyle=style, linewidth=1.2,
                      label=f"{quantity_words.channel(name)} [{kind.unit.name}]")
    axes.set_ylabel(words.AXES["power"].format(unit=", ".join(sorted(units))))
    axes.legend(loc="lower left", ncols=3, **LEGEND)


def _states(axes: Axes, analysis: Analysis, states: list[str], rows: slice) -> None:
    """Draw a strip for each state: filled where it was on, hatched where it isn't known."""
    time = analysis.time[rows]
    ends = np.append(time[1:], time[-1] + max(analysis.log.interval_s, 0.0))
    for place, name in enumerate(reversed(states)):
        values = analysis.log.aligned(name)[rows]
        on, unknown = values > (0 if CHANNELS[name].discrete else 0.05), np.isnan(values)
        for mask, style in ((on, {"facecolor": ORANGE, "edgecolor": "black", "linewidth": 0.5}),
                            (unknown, time_axis.UNKNOWN)):
            runs = np.flatnonzero(np.diff(mask, prepend=False, append=False)).reshape(-1, 2)
            axes.broken_barh([(time[a], ends[b - 1] - time[a]) for a, b in runs],
                             (place - 0.35, 0.7), **style)
    axes.set_yticks(range(len(states)), _names(states[::-1]), fontsize=SMALL_PT)
    axes.set_ylim(-0.5, len(states) - 0.5)
    axes.grid(axis="y", visible=False)


def _names(states: list[str]) -> list[str]:
    """Return the names of states in lines that fit beside their strips."""
    return ["\n".join(lines_of(quantity_words.channel(name), LEFT * WIDTH_IN - 0.1))
            for name in states]


def _stages(axes: Axes, exceedance: Exceedance, start: float, end: float) -> None:
    """Write run-in, exceedance and what followed above the stretches, where there is space."""
    over, under = (plain_text(words.format(limit=exceedance.limit))
                   for words in (label.LEGEND_WORDS["over"], label.AFTER[exceedance.ended_by]))
    for text, low, high, color in (
        (label.LEGEND_WORDS["run_in"], start, exceedance.start_s, GREY),
        (over, exceedance.start_s, exceedance.end_s, VERMILION),
        (under, exceedance.end_s, end, GREY),
    ):
        wide = LETTER_WIDTH * SMALL_PT / 72 * len(text) / ((0.985 - LEFT) * WIDTH_IN)
        if high - low > wide * (end - start):
            axes.annotate(text, ((low + high) / 2, 1), (0, -3), ha="center", va="top",
                          xycoords=("data", "axes fraction"), textcoords="offset points",
                          color=color, fontsize=SMALL_PT, weight="bold", path_effects=HALO)
