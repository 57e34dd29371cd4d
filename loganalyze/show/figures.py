"""The figure of a flight: its margin, its speed against the limit, and its altitude."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, MultipleLocator
from numpy.typing import NDArray

from loganalyze.judge.envelope import Crossing, crossovers
from loganalyze.judge.exceedances import Exceedance
from loganalyze.judge.flight import Analysis
from loganalyze.problems import Problem
from loganalyze.record.intervals import Intervals
from loganalyze.record.units import FOOT
from loganalyze.show import wording
from loganalyze.show.facts import smallest_facts, start_utc
from loganalyze.show.picture import BLUE, GREY, HALO, LEGEND, STYLE, VERMILION, Picture
from loganalyze.show.tables import NO_LIMIT
from loganalyze.show.traces import trace

LABELLED = 8
"""How many exceedances carry a label, the worst first; more would hide each other."""

CLOSE_KT = 80.0
"""Margins beyond this [kt] are cut off the plot when any is below it."""

NARROWEST = 1 / 600
"""Least drawn width of a stretch, as a share of the time axis."""

_UNKNOWN: dict[str, Any] = {
    "facecolor": "#f4f4f4", "edgecolor": "#888888", "linewidth": 0, "hatch": "////"}
_WORST: dict[str, Any] = {
    "marker": "v", "color": VERMILION, "markersize": 6, "markeredgecolor": "black",
    "markeredgewidth": 0.6}


def margin_figure(analysis: Analysis) -> Figure:
    """Draw one flight: the margin, the speed against its limit, and the altitude.

    Parameters
    ----------
    analysis : Analysis
        One flight, of any length: 2,000 points a line are drawn, and no peak is lost.

    Returns
    -------
    matplotlib.figure.Figure
        Three panels over one time axis. Exceedances are shaded, marked with a triangle where
        they were worst and numbered; what couldn't be judged is hatched.
    """
    with mpl.rc_context(STYLE):
        marked = sorted(analysis.exceedances, key=_excess, reverse=True)[:LABELLED]
        marked.sort(key=lambda one: one.worst_time_s)
        clean = not marked and analysis.smallest[0].margin_kt == analysis.smallest[0].margin_kt
        rows = 1 if clean else -(-len(marked) // 2)
        height = 7.6 + 0.2 * rows
        figure = Picture(figsize=(10, height))
        bottom = (0.95 + 0.2 * rows) / height
        grid = figure.add_gridspec(3, height_ratios=(1.1, 1.2, 0.9), left=0.08, right=0.98,
                                   top=1 - 0.55 / height, bottom=bottom, hspace=0.1)
        margin, speed, altitude = (figure.add_subplot(grid[i]) for i in range(3))
        _head(figure, analysis, height)
        _draw_margin(margin, analysis)
        _draw_speed(speed, analysis)
        _draw_altitude(altitude, analysis)
        for panel in (margin, speed, altitude):
            _shade(panel, analysis)
            panel.tick_params(axis="x", labelbottom=panel is altitude)
        _legend(margin, analysis)
        _number(margin, marked, analysis)
        if clean:
            _mark_closest(margin, analysis, height)
        _time_axis((margin, speed, altitude), analysis)
        _foot(figure, analysis, marked, height)
    return figure


def _excess(one: Exceedance) -> float:
    return float(np.nan_to_num(one.worst_excess_kt))


def _head(figure: Figure, analysis: Analysis, height: float) -> None:
    several = f", flight {analysis.flight}" if analysis.flight > 1 else ""
    more = len(analysis.exceedances) > LABELLED
    numbered = f" The {LABELLED} worst are numbered." if more else ""
    figure.text(0.08, 1 - 0.2 / height, f"{analysis.sheet.aircraft}: "
                f"{analysis.log.source.path.name}{several}", fontsize=11, weight="bold",
                va="center")
    figure.text(0.08, 1 - 0.4 / height, wording.headline(
        analysis.exceedances, analysis.recorded_s, analysis.judged_s) + numbered, va="center")


def _foot(figure: Figure, analysis: Analysis, marked: list[Exceedance], height: float) -> None:
    for i, one in enumerate(marked):
        said = wording.excess(*(None if np.isnan(value) else float(value)
                                for value in (one.worst_excess_kt, one.worst_excess_mach)))
        figure.text(0.08 + 0.46 * (i % 2), (0.42 + 0.2 * ((len(marked) - 1) // 2 - i // 2))
                    / height, f"{i + 1}  {one.limit} exceeded by {said}, "
                    f"{wording.clock(one.start_s)} to {wording.clock(one.end_s)}", va="center",
                    fontsize=8.5)
    figure.text(0.08, 0.15 / height, f"{wording.CAUTIONS[0]} {wording.CAUTIONS[2]}",
                fontsize=7.5, color=GREY, va="center")


def _line(axes: Axes, analysis: Analysis, column: str, **style: Any) -> None:
    values = analysis.columns.get(column)
    if values is not None and len(analysis.time):
        axes.plot(*trace(analysis.time, values, analysis.log.interval_s), **style)


def _draw_margin(axes: Axes, analysis: Analysis) -> None:
    _line(axes, analysis, "margin_kt", color=BLUE, linewidth=1.1)
    axes.axhline(0, color="black", linewidth=1.2)
    known = analysis.columns["margin_kt"]
    known = known[~np.isnan(known)]
    label = "margin [kt CAS]"
    if known.size:
        least, greatest = float(known.min()), float(known.max())
        top = greatest
        if least < CLOSE_KT < greatest:
            # The ground roll's 200 kt would press the few that matter flat.
            top, label = CLOSE_KT, f"{label},\nshown up to {CLOSE_KT:.0f}"
        low = min(least, 0.0)
        room = 0.08 * (top - low)
        axes.set_ylim(low - 3.6 * room, top + (0 if top == CLOSE_KT else room))
    axes.annotate("over the limit", (1, 0), (-2, -3), xycoords=("axes fraction", "data"),
                  textcoords="offset points", ha="right", va="top", fontsize=8)
    axes.set_ylabel(label)


def _draw_speed(axes: Axes, analysis: Analysis) -> None:
    _line(axes, analysis, "limit_airspeed_kt", color="black", linewidth=1.1,
          linestyle=(0, (5, 2)), label="limit airspeed")
    _line(axes, analysis, "calibrated_airspeed_kt", color=BLUE, linewidth=1.1,
          label="calibrated airspeed")
    axes.set_ylabel("airspeed [kt CAS]")
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.12 * (high - low))
    _label_limits(axes, analysis)
    axes.legend(loc="lower center", ncols=2, **LEGEND)


def _label_limits(axes: Axes, analysis: Analysis) -> None:
    """Write each limit's name on the line where it governs for long enough to carry it."""
    time, codes = analysis.time, analysis.columns["governing_limit"]
    limit = analysis.columns["limit_airspeed_kt"]
    speed = analysis.columns["calibrated_airspeed_kt"]
    if len(time) < 2:
        return
    changes = np.flatnonzero(np.diff(codes)) + 1
    firsts = np.concatenate([[0], changes])
    lasts = np.concatenate([changes - 1, [len(codes) - 1]])
    wide = time[lasts] - time[firsts] > 0.04 * (time[-1] - time[0])
    for first, last in zip(firsts[wide], lasts[wide], strict=True):
        short = time[last] - time[first] < 0.2 * (time[-1] - time[0])
        room = slice(6, 7) if short else slice(2, -2)
        places = np.searchsorted(time, np.linspace(time[first], time[last], 13)[room])
        places = places[np.isfinite(limit[places])]
        if codes[first] == NO_LIMIT or not places.size:
            continue
        # Where the speed's own line is farthest away, and on the other side.
        away = np.nan_to_num(np.abs(limit[places] - speed[places]))
        at = places[int(away.argmax())]
        below = bool(speed[at] > limit[at])
        axes.annotate(analysis.limit_names[codes[first]], (float(time[at]), float(limit[at])),
                      (0, -4 if below else 3), textcoords="offset points", ha="center",
                      va="top" if below else "bottom", fontsize=9, weight="bold",
                      path_effects=HALO)


def _draw_altitude(axes: Axes, analysis: Analysis) -> None:
    _line(axes, analysis, "pressure_altitude_ft", color=BLUE, linewidth=1.1)
    axes.set_ylabel("pressure altitude [ft]")
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    values = analysis.columns["pressure_altitude_ft"]
    values = values[~np.isnan(values)]
    if not values.size:
        return
    highest = float(values.max())
    far = []
    for crossing in _crossovers(analysis):
        height = crossing.pressure_altitude / FOOT
        name = f"crossover {crossing.below}/{crossing.above}, {height:,.0f} ft"
        if height > 1.4 * highest + 1000:
            far.append(name)
            continue
        axes.axhline(height, color=VERMILION, linewidth=1.1, linestyle=(0, (6, 2, 1, 2)))
        axes.annotate(name, (0.005, height), (0, 2), xycoords=("axes fraction", "data"),
                      textcoords="offset points", va="bottom", fontsize=8, path_effects=HALO)
    if far:
        axes.annotate(f"above this flight: {'; '.join(far)}", (0.005, 0.98), fontsize=8,
                      xycoords="axes fraction", va="top", path_effects=HALO)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.1 * (high - low))


def _crossovers(analysis: Analysis) -> tuple[Crossing, ...]:
    try:
        return crossovers(analysis.sheet)
    except Problem:
        # With position corrections by flap angle there is no one altitude to draw.
        return ()


def _shade(axes: Axes, analysis: Analysis) -> None:
    """Hatch what couldn't be judged and shade what was over."""
    least = NARROWEST * _span(analysis)
    unknown = _widened(analysis.unknown.edges, least)
    over = _widened(np.array([(one.start_s, one.end_s) for one in analysis.exceedances],
                             dtype=np.float64).reshape(-1, 2), least)
    whole: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "zorder": 0.5}
    if len(unknown):
        axes.broken_barh([(a, b - a) for a, b in unknown], (0, 1), **_UNKNOWN, **whole)
    if len(over):
        axes.broken_barh([(a, b - a) for a, b in over], (0, 1), facecolor=VERMILION, alpha=0.22,
                         linewidth=0, **whole)


def _legend(axes: Axes, analysis: Analysis) -> None:
    handles: list[Artist] = []
    if analysis.exceedances:
        handles.append(Patch(facecolor=VERMILION, alpha=0.22, label="over a limit"))
        handles.append(Line2D([], [], linestyle="none", label="worst", **_WORST))
    if len(analysis.unknown):
        handles.append(Patch(**_UNKNOWN, label="unknown"))
    if handles:
        axes.legend(handles=handles, loc="upper center", ncols=3, **LEGEND)


def _widened(edges: NDArray[np.float64], least: float) -> NDArray[np.float64]:
    """Make each stretch wide enough to be seen, and one of those that then overlap."""
    short = np.maximum(0.0, least - (edges[:, 1] - edges[:, 0])) / 2
    return Intervals.of(zip(edges[:, 0] - short, edges[:, 1] + short, strict=True)).edges


def _number(axes: Axes, marked: list[Exceedance], analysis: Analysis) -> None:
    """Mark and number exceedances; the numbers of neighbours step down, so as not to meet."""
    before, step = -np.inf, 0
    for i, one in enumerate(marked):
        worst = -_excess(one)
        step = (step + 1) % 3 if one.worst_time_s - before < 0.02 * _span(analysis) else 0
        before = one.worst_time_s
        axes.plot(one.worst_time_s, worst, **_WORST)
        axes.annotate(str(i + 1), (one.worst_time_s, worst), (0, -6 - 11 * step), ha="center",
                      va="top", textcoords="offset points", fontsize=9, weight="bold",
                      path_effects=HALO)


def _mark_closest(axes: Axes, analysis: Analysis, height: float) -> None:
    closest = analysis.smallest[0]
    axes.plot(closest.time_s, closest.margin_kt, marker="o", markersize=7, color="black",
              markerfacecolor="none")
    figure = axes.get_figure(root=True)
    assert figure is not None
    figure.text(0.08, 0.42 / height, wording.closest(smallest_facts(analysis)[0]), va="center",
                fontsize=8.5)


def _span(analysis: Analysis) -> float:
    time = analysis.time
    return max(float(time[-1] - time[0]), 1.0) if len(time) else 1.0


_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)


def _time_axis(panels: tuple[Axes, ...], analysis: Analysis) -> None:
    span = _span(analysis)
    days = 86400 * np.ceil(span / 86400 / 10)
    step = next((step for step in _STEPS_S if span / step <= 10), days)
    digits = 7 if step < 60 else 4
    utc = start_utc(analysis)
    for panel in panels:
        if len(analysis.time):
            panel.set_xlim(float(analysis.time[0]), float(analysis.time[0]) + span)
        panel.xaxis.set_major_locator(MultipleLocator(step))
    last = panels[-1]
    last.xaxis.set_major_formatter(FuncFormatter(
        lambda value, _: wording.clock(value)[:-2] if digits == 7 else wording.clock(value)[:-5]))
    since = f" (this flight's first is at {utc[:19]} UTC)" if utc else ""
    last.set_xlabel(f"time from the log's first sample [{'h:mm:ss' if digits == 7 else 'h:mm'}]"
                    + since)
