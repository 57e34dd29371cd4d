"""Pictures of a fleet's trends: rates of months and aircraft, before and after, and margins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loganalyze.fleet.statistics.event_rates import EventRate
from loganalyze.fleet.statistics.trend_tables import TrendRow
from loganalyze.fleet.trend_report.trend_answers import TrendAnswers
from loganalyze.show.figures.figure_style import (
    ABOVE,
    BLUE,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    plain_text,
)
from loganalyze.text.language import trend_labels as words
from loganalyze.text.presentation import Presentation

MOST_AIRCRAFT = 40
"""Aircraft in the picture: those of the highest rates."""
HEADROOM = 4.0
"""The axis of rates ends at so many times the highest rate at most: an interval that is longer
would make all others points."""
BIN_KT = 1.0
MOST_SHOWN_KT = 60.0
"""Margins up to this are drawn, however far from the limits a fleet flies."""


def course_figure(found: TrendAnswers) -> Figure:
    """Draw the rate of each month with its interval, and the judged hours below."""
    rows = [row for row in found.rows("month") if row.group[:4].isdigit()]
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 3.9))
        grid = figure.add_gridspec(2, height_ratios=(3, 1), left=0.1, right=0.98, top=0.92,
                                   bottom=0.13, hspace=0.1)
        rates, hours = (figure.add_subplot(grid[i]) for i in range(2))
        if not rows:
            _nothing(rates, words.NO_MONTHS)
            return figure
        months = [12 * int(row.group[:4]) + int(row.group[5:7]) - 1 for row in rows]
        _band(rates, found.trends.whole.rate, along="x")
        for month, row in zip(months, rows, strict=True):
            _bar(rates, month, row.rate, along="x")
        rates.set_ylim(0, _most([row.rate for row in rows], found.trends.whole.rate))
        hours.bar(months, [row.rate.hours for row in rows], 0.7, color=BLUE)
        if found.action is not None:
            day = found.action
            place = 12 * day.year + day.month - 1.5 + (day.day - 1) / 31
            for axes in (rates, hours):
                axes.axvline(place, color="black", linewidth=1.2, linestyle=(0, (4, 2)))
            rates.annotate(words.ACTION_LINE.format(day=day.isoformat()), (place, 1), (3, -2),
                           xycoords=("data", "axes fraction"), textcoords="offset points",
                           va="top", fontsize=SMALL_PT)
        step = max(1, math.ceil((months[-1] - months[0] + 1) / 9))
        ticks = range(months[0], months[-1] + 1, step)
        hours.set_axisbelow(True)
        for axes in (rates, hours):
            axes.set_xlim(months[0] - 0.7, months[-1] + 0.7)
            axes.set_xticks(list(ticks), [f"{tick // 12}-{tick % 12 + 1:02d}" for tick in ticks])
            axes.grid(axis="x", visible=False)
        rates.tick_params(axis="x", labelbottom=False)
        rates.set_ylabel(words.RATE_AXIS)
        hours.set_ylabel(words.HOURS_AXIS)
        rates.legend(ncols=2, **ABOVE)
        figure.align_ylabels()
    return figure


def aircraft_figure(found: TrendAnswers) -> Figure:
    """Draw the rate of each aircraft with its interval, the highest on top."""
    rows = sorted(found.rows("aircraft"), key=lambda row: row.rate.rate)[-MOST_AIRCRAFT:]
    with mpl.rc_context(STYLE):
        tall = 0.95 + 0.24 * max(len(rows), 3)
        figure = Picture(figsize=(WIDTH_IN, tall))
        left = min(0.4, 0.03 + 0.0125 * max((len(row.group) for row in rows), default=4))
        axes = figure.add_axes((left, 0.5 / tall, 0.98 - left, (tall - 0.85) / tall))
        if not rows:
            _nothing(axes, words.NO_AIRCRAFT)
            return figure
        _band(axes, found.trends.whole.rate, along="y")
        for place, row in enumerate(rows):
            _bar(axes, place, row.rate, along="y")
        axes.set_yticks(range(len(rows)), [plain_text(row.group) for row in rows])
        axes.set_ylim(-0.7, len(rows) - 0.3)
        axes.set_xlim(0, _most([row.rate for row in rows], found.trends.whole.rate))
        axes.set_xlabel(words.RATE_AXIS)
        axes.grid(axis="y", visible=False)
        axes.legend(ncols=2, **ABOVE)
    return figure


def change_figure(found: TrendAnswers) -> Figure:
    """Draw the rate before and after the action, each with its interval."""
    change = found.trends.change
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 1.5))
        axes = figure.add_axes((0.17, 0.32, 0.81, 0.62))
        parts = [] if change is None else [change.after, change.before]
        for place, rate in enumerate(parts):
            _bar(axes, place, rate, along="y")
        axes.set_yticks(range(len(parts)), [words.AFTER, words.BEFORE][:len(parts)])
        axes.set_ylim(-0.6, 1.6)
        axes.set_xlim(0, _most(parts, found.trends.whole.rate))
        axes.set_xlabel(words.RATE_AXIS)
        axes.grid(axis="y", visible=False)
    return figure


def margins_figure(found: TrendAnswers, how: Presentation) -> Figure:
    """Draw how many flights came how close, and the lower tail on a logarithmic scale."""
    margins = found.margins.known_kt
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 3.0))
        grid = figure.add_gridspec(1, 2, left=0.09, right=0.98, top=0.93, bottom=0.17, wspace=0.33)
        spread, tail = (figure.add_subplot(grid[i]) for i in range(2))
        if not len(margins):
            _nothing(spread, words.NO_MARGIN)
            return figure
        per_knot = how.units.per_knot
        last = BIN_KT * math.ceil(min(float(margins[-1]) + BIN_KT, MOST_SHOWN_KT) / BIN_KT)
        near = margins[margins <= last]
        first = BIN_KT * math.floor(min(float(margins[0]), -1.0) / BIN_KT)
        edges = np.arange(first, last + BIN_KT, BIN_KT)
        counts, _ = np.histogram(near, edges)
        over = edges[:-1] < 0
        looks: tuple[dict[str, Any], ...] = (
            {"color": BLUE, "edgecolor": "white"},
            {"color": VERMILION, "edgecolor": "black", "hatch": "////"})
        for part, look in zip((~over, over), looks, strict=True):
            spread.bar(edges[:-1][part] * per_knot, counts[part], BIN_KT * per_knot, align="edge",
                       linewidth=0.4, **look)
        spread.set_ylabel(words.FLIGHTS_AXIS)
        shares = np.arange(1, len(margins) + 1) / len(margins)
        tail.step(margins * per_knot, shares, where="post", color=BLUE, linewidth=1.5)
        tail.set_yscale("log")
        tail.set_ylim(0.7 / len(margins), 1.2)
        tail.yaxis.set_major_formatter(mpl.ticker.FuncFormatter(
            lambda share, _: f"{100 * share:g} %"))
        tail.set_ylabel(words.SHARE_AXIS)
        for axes in (spread, tail):
            axes.set_xlim(first * per_knot, last * per_knot)
            axes.axvline(0, color="black", linewidth=1.2)
            axes.set_axisbelow(True)
            axes.set_xlabel(words.MARGIN_AXIS.format(unit=how.units.speed))
    return figure


def _bar(axes: Axes, place: float, rate: EventRate, along: str) -> None:
    """Draw a rate as a point with its interval, beside others along an axis."""
    low, middle, high = (1000 * value for value in (rate.low, rate.rate, rate.high))
    line, point = ((axes.vlines, (place, middle)) if along == "x"
                   else (axes.hlines, (middle, place)))
    line(place, low, high, color=BLUE, linewidth=1.6)
    axes.plot(*point, "o", color=BLUE, markersize=4.5)


def _band(axes: Axes, rate: EventRate, along: str) -> None:
    """Draw the fleet's rate as a line, and its interval as a band behind all others."""
    line, band = ((axes.axhline, axes.axhspan) if along == "x" else (axes.axvline, axes.axvspan))
    band(1000 * rate.low, 1000 * rate.high, color="#999999", alpha=0.22, linewidth=0)
    line(1000 * rate.rate, color="black", linewidth=1.0, label=words.FLEET_LINE)


def _most(rates: Sequence[EventRate], whole: EventRate) -> float:
    """Return where the axis of rates ends."""
    known = [rate for rate in (*rates, whole) if math.isfinite(rate.rate + rate.high)]
    longest = max((1000 * rate.high for rate in known), default=1.0)
    highest = max((1000 * rate.rate for rate in known), default=0.0)
    return 1.05 * (min(longest, HEADROOM * highest) if highest > 0 else longest)


def _nothing(axes: Axes, said: str) -> None:
    axes.annotate(said, (0.5, 0.5), xycoords="axes fraction", ha="center")


def pictured(rows: Sequence[TrendRow]) -> bool:
    """Whether rows are worth a picture: more than one group with a rate."""
    return sum(math.isfinite(row.rate.rate) for row in rows) > 1
