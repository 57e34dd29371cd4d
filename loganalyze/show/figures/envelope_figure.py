"""The figure of an aircraft's limits against pressure altitude."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from loganalyze.air.atmosphere import temperature
from loganalyze.limits.limit_envelope import Envelope
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT
from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.show.figures.figure_style import (
    BLUE,
    GREY,
    HALO,
    LEGEND,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
)
from loganalyze.text.language import picture_labels as label
from loganalyze.text.presentation import Presentation


def envelope_figure(
    envelope: Envelope, sheet: LimitsSheet, how: Presentation | None = None
) -> Figure:
    """Draw the limit airspeed and its true airspeed against pressure altitude.

    Parameters
    ----------
    envelope : Envelope
        As `limit_envelope` gave it, from the lowest altitude to the highest.
    sheet : LimitsSheet
        The sheet it is of.
    how : Presentation, optional
        In which units.

    Returns
    -------
    matplotlib.figure.Figure
        Altitude upwards, speeds to the right; each limit is named where it governs.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> envelope = la.limit_envelope(sheet, [100.0 * i for i in range(90)])
    >>> figure = la.envelope_figure(envelope, sheet)
    >>> len(figure.axes)
    1
    """
    how = how or Presentation()
    foot, knot = FOOT / how.units.per_foot, KNOT / how.units.per_knot
    height = envelope.pressure_altitude / foot
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 6.6))
        axes = figure.add_axes((0.12, 0.1, 0.84, 0.78))
        figure.text(0.12, 0.955, label.ENVELOPE["title"].format(aircraft=sheet.aircraft),
                    fontsize=11, weight="bold", va="center")
        figure.text(0.12, 0.92, _temperature_words(envelope), va="center")
        names = [limit.name for limit in sheet.limit]
        faint: dict[str, Any] = {"color": GREY, "linewidth": 0.7, "linestyle": (0, (1, 2))}
        for values in envelope.per_limit:
            axes.plot(values / knot, height, **faint)
        axes.plot([], [], label=label.ENVELOPE["each"], **faint)
        axes.plot(envelope.limit_airspeed / knot, height, color="black", linewidth=1.8,
                  label=label.ENVELOPE["limit"])
        axes.plot(envelope.true_airspeed / knot, height, color=BLUE, linewidth=1.3,
                  linestyle=(0, (5, 2)), label=label.ENVELOPE["true"])
        _name_governing(axes, envelope, names, how)
        _mark_crossovers(axes, envelope, names, how)
        axes.set_xlabel(label.AXES["airspeed"].format(unit=how.units.speed))
        axes.set_ylabel(label.AXES["pressure_altitude"].format(unit=how.units.altitude))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
        axes.legend(loc="best", **LEGEND)
    return figure


def _temperature_words(envelope: Envelope) -> str:
    deviation = envelope.temperature - temperature(envelope.pressure_altitude)
    if np.ptp(deviation) < 1e-6:
        return label.ENVELOPE["isa"].format(degc=deviation[0])
    return label.ENVELOPE["temperature"].format(degc=envelope.temperature[0] - ZERO_CELSIUS)


def _mark_crossovers(axes: Axes, envelope: Envelope, names: list[str], how: Presentation) -> None:
    height = envelope.pressure_altitude / FOOT
    for i in np.flatnonzero(np.diff(envelope.governing)):
        below, above = envelope.governing[i : i + 2]
        if NO_GOVERNING_LIMIT in (below, above):
            continue
        apart = envelope.per_limit[below, i : i + 2] - envelope.per_limit[above, i : i + 2]
        if np.isnan(apart).any():
            continue
        crossing = float(np.interp(0, apart, height[i : i + 2]))
        drawn = crossing * how.units.per_foot
        axes.axhline(drawn, color=VERMILION, linewidth=1, linestyle=(0, (6, 2, 1, 2)))
        axes.annotate(label.CROSSOVER.format(
            below=names[below], above=names[above], altitude=how.altitude(crossing)),
                      (0.01, drawn), (0, 2), xycoords=("axes fraction", "data"),
                      textcoords="offset points", va="bottom", fontsize=SMALL_PT, path_effects=HALO)


def _name_governing(axes: Axes, envelope: Envelope, names: list[str], how: Presentation) -> None:
    codes = envelope.governing
    speed = envelope.limit_airspeed / KNOT * how.units.per_knot
    height = envelope.pressure_altitude / FOOT * how.units.per_foot
    changes = np.flatnonzero(np.diff(codes)) + 1
    for section in np.split(np.arange(len(codes)), changes):
        if codes[section[0]] == NO_GOVERNING_LIMIT or len(section) < 0.04 * len(codes):
            continue
        middle = section[len(section) // 2]
        axes.annotate(names[codes[middle]], (speed[middle], height[middle]), (-5, 0), ha="right",
                      va="center", textcoords="offset points", weight="bold",
                      path_effects=HALO)
