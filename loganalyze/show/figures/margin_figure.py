"""The figure of a flight: its margin, its speed against the limit, and its altitude."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.transforms import Transform

from loganalyze.events.analysis import Analysis
from loganalyze.limits.limit_envelope import Crossing, crossovers
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT
from loganalyze.problems import Problem
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.record.units import FOOT
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import (
    BLUE,
    BODY_PT,
    GREEN,
    HALO,
    HEADING_PT,
    LEGEND,
    LINE_IN,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    plain_text,
)
from loganalyze.show.figures.numbered_exceedances import (
    Numbered,
    foot_lines,
    heading_lines,
    numbered,
)
from loganalyze.show.figures.time_axis import (
    BAND,
    OVER,
    UNKNOWN,
    WORST,
    band,
    line,
    say_unknown,
    shade,
    thousands,
    time_axis,
)
from loganalyze.text.flight_account import presented
from loganalyze.text.language import ceiling_sentences, report_labels
from loganalyze.text.language import picture_labels as words
from loganalyze.text.presentation import Presentation

PANELS_IN, LEFT = 4.9, 0.115
"""Height of the three panels together [in], and their left edge as a share of the width."""

CEILINGS = ((0, (6, 2, 1, 2)), (0, (1.5, 1.5)))
"""The dashes of the first of the sheet's own ceilings, and of all others."""

HEADLINE_IN = 0.175
"""The height of a line of the headline [in]."""

CLOSE_KT = 80.0
"""Margins beyond this [kt] are cut off the plot when any is below it."""


def margin_figure(analysis: Analysis, how: Presentation | None = None,
                  assessment: Assessment | None = None, *, alone: bool = True) -> Figure:
    """Draw one flight: the margin, the speed against its limit, and the altitude.

    Parameters
    ----------
    analysis : Analysis
        One flight, of any length: 2,000 points a line are drawn, and no peak is lost.
    how : Presentation, optional
        In which units and on which clock, and whether de-identified.
    assessment : Assessment, optional
        Draws the margin's 95 % interval as a band.
    alone : bool
        With the verdict above and the exceedances listed below, as a picture by itself needs;
        a report has them.

    Returns
    -------
    matplotlib.figure.Figure
        Three panels over one time axis. Exceedances are shaded, marked with a triangle where
        they were worst and numbered; what couldn't be judged is hatched.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> len(la.margin_figure(flight).axes)
    3
    """
    how = presented(analysis, how)
    with mpl.rc_context(STYLE):
        marked = numbered(analysis, assessment, how)
        clean = not marked and analysis.smallest[0].margin_kt == analysis.smallest[0].margin_kt
        names, said = heading_lines(analysis, assessment, how) if alone else ([], [])
        below = foot_lines(analysis, marked, how) if alone else []
        head = 0.12 + HEADLINE_IN * len(names + said) + 0.05 * len(names)
        foot = 0.5 + LINE_IN * len(below) + 0.1 * bool(below)
        height = PANELS_IN + head + foot
        figure = Picture(figsize=(WIDTH_IN, height))
        grid = figure.add_gridspec(3, height_ratios=(1.1, 1.25, 1.0), left=LEFT, right=0.985,
                                   top=1 - head / height, bottom=foot / height, hspace=0.1)
        margin, speed, altitude = (figure.add_subplot(grid[i]) for i in range(3))
        span = _span(analysis)
        for i, label in enumerate([*names, *said]):
            figure.text(LEFT, 1 - (0.15 + HEADLINE_IN * i + 0.05 * min(i, len(names))) / height,
                        plain_text(label), va="center", weight="bold" if i < len(names) else None,
                        fontsize=HEADING_PT if i < len(names) else BODY_PT)
        for i, label in enumerate(below):
            figure.text(LEFT, (0.08 + LINE_IN * (len(below) - 1 - i)) / height, plain_text(label),
                        va="bottom", fontsize=SMALL_PT)
        banded = band(margin, analysis, assessment, how.units.per_knot)
        _draw_margin(margin, analysis, how)
        _draw_speed(speed, analysis, how)
        _draw_altitude(altitude, analysis, how)
        for panel in (margin, speed, altitude):
            shade(panel, analysis, span)
            panel.tick_params(axis="x", labelbottom=panel is altitude)
        _legend(margin, analysis, banded)
        _number(margin, marked, analysis, how)
        if clean:
            _mark_closest(margin, analysis, how)
        first = float(analysis.time[0]) if len(analysis.time) else 0.0
        time_axis((margin, speed, altitude), analysis, how, first, span)
    return figure


def overview_figure(analysis: Analysis, how: Presentation | None = None,
                    assessment: Assessment | None = None) -> Figure:
    """Draw a flight's margin alone, low and wide: exceedances shaded, edged and numbered.

    Parameters
    ----------
    analysis, how, assessment
        As `margin_figure` takes them.

    Returns
    -------
    matplotlib.figure.Figure
        One panel, in letters that stay legible in print.
    """
    how = presented(analysis, how)
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 1.7))
        figure.colours = 64
        axes = figure.add_axes((0.085, 0.15, 0.905, 0.8))
        band(axes, analysis, assessment, how.units.per_knot)
        _draw_margin(axes, analysis, how)
        span = _span(analysis)
        shade(axes, analysis, span)
        for exceedance in analysis.exceedances:
            for edge in (exceedance.start_s, exceedance.end_s):
                axes.axvline(edge, color=VERMILION, linewidth=0.9, zorder=0.6)
        _number(axes, numbered(analysis, assessment, how), analysis, how)
        first = float(analysis.time[0]) if len(analysis.time) else 0.0
        time_axis((axes,), analysis, how, first, span)
        axes.set_xlabel("")
        axes.set_ylabel(words.AXES["own_margin"].format(unit=how.units.speed))
    return figure


def _draw_margin(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    per_knot = how.units.per_knot
    line(axes, analysis, analysis.columns["margin_kt"], per_knot, color=BLUE, linewidth=1.1)
    known = analysis.columns["margin_kt"]
    known = known[~np.isnan(known)]
    label = words.AXES["margin"].format(unit=how.units.speed)
    if not known.size:
        axes.set_ylabel(label)
        speeds = any(limit.kind.is_speed for limit in analysis.sheet.limit)
        say_unknown(axes, words.NOTHING_JUDGED if speeds else words.NO_AIRSPEED_LIMIT)
        return
    axes.axhline(0, color="black", linewidth=1.2)
    least, greatest = float(known.min()) * per_knot, float(known.max()) * per_knot
    top, close = max(greatest, 0.0), CLOSE_KT * per_knot
    if least < close < greatest:
        # The ground roll's 200 kt would press the few that matter flat.
        top, label = close, label + words.SHOWN_UP_TO.format(most=f"{close:.0f}")
    low = min(least, 0.0)
    spacing = 0.08 * (top - low) or 1.0
    axes.set_ylim(low - 3.6 * spacing, top + (0 if top == close else spacing))
    axes.annotate(words.OVER_LIMIT, (1, 0), (-2, -3), xycoords=("axes fraction", "data"),
                  textcoords="offset points", ha="right", va="top", fontsize=SMALL_PT)
    axes.set_ylabel(label)


def _draw_speed(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    per_knot = how.units.per_knot
    line(axes, analysis, analysis.columns["limit_airspeed_kt"], per_knot, color="black",
         linewidth=1.1, linestyle=(0, (5, 2)), label=report_labels.LEGEND_WORDS["limit_airspeed"])
    line(axes, analysis, analysis.columns["calibrated_airspeed_kt"], per_knot, color=BLUE,
         linewidth=1.1, label=report_labels.LEGEND_WORDS["calibrated"])
    for i, measure in enumerate(analysis.ceilings):
        if not np.isnan(measure.equivalent_kt).all():
            line(
                axes,
                analysis,
                measure.equivalent_kt,
                per_knot,
                color=GREEN,
                linewidth=1.1,
                linestyle=CEILINGS[min(i, 1)],
                label=plain_text(ceiling_sentences.name(measure.name)),
            )
    axes.set_ylabel(words.AXES["calibrated"].format(unit=how.units.speed))
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.12 * (high - low))
    _label_limits(axes, analysis, per_knot)
    axes.legend(loc="lower center", ncols=2, **LEGEND)


def _label_limits(axes: Axes, analysis: Analysis, per_knot: float) -> None:
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
        chosen = slice(6, 7) if short else slice(2, -2)
        places = np.searchsorted(time, np.linspace(time[first], time[last], 13)[chosen])
        places = places[np.isfinite(limit[places])]
        if codes[first] == NO_GOVERNING_LIMIT or not places.size:
            continue
        # Where the speed's own line is farthest away, and on the other side.
        away = np.nan_to_num(np.abs(limit[places] - speed[places]))
        at = places[int(away.argmax())]
        below = bool(speed[at] > limit[at])
        axes.annotate(plain_text(analysis.limit_names[codes[first]]),
                      (float(time[at]), float(limit[at]) * per_knot),
                      (0, -4 if below else 3), textcoords="offset points", ha="center",
                      va="top" if below else "bottom", fontsize=9, weight="bold",
                      path_effects=HALO)


def _draw_altitude(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    per_foot = how.units.per_foot
    line(axes, analysis, analysis.columns["pressure_altitude_ft"], per_foot, color=BLUE,
         linewidth=1.1)
    axes.set_ylabel(words.AXES["pressure_altitude"].format(unit=how.units.altitude))
    thousands(axes)
    values = analysis.columns["pressure_altitude_ft"]
    values = values[~np.isnan(values)]
    if not values.size:
        say_unknown(axes, words.NO_ALTITUDE)
        return
    highest = float(values.max())
    far = []
    for crossing in found_crossovers(analysis):
        height = crossing.pressure_altitude / FOOT
        name = plain_text(words.CROSSOVER.format(
            below=crossing.below, above=crossing.above, altitude=how.altitude(height)))
        if height > 1.4 * highest + 1000:
            far.append(name)
            continue
        axes.axhline(height * per_foot, color=VERMILION, linewidth=1.1, linestyle=(0, (6, 2, 1, 2)))
        axes.annotate(name, (0.005, height * per_foot), (0, 2), xycoords=("axes fraction", "data"),
                      textcoords="offset points", va="bottom", fontsize=SMALL_PT, path_effects=HALO)
    if far:
        axes.annotate(words.ABOVE_THE_FLIGHT.format(crossovers="; ".join(far)), (0.005, 0.98),
                      fontsize=SMALL_PT, xycoords="axes fraction", va="top", path_effects=HALO)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.1 * (high - low))


def found_crossovers(analysis: Analysis) -> tuple[Crossing, ...]:
    """Return where the limits of a flight's sheet cross, none where that depends on the flap."""
    try:
        return crossovers(analysis.sheet)
    except Problem:
        # With position corrections by flap angle there is no one altitude to draw.
        return ()


def _legend(axes: Axes, analysis: Analysis, banded: bool) -> None:
    handles: list[Artist] = []
    if banded:
        handles.append(Patch(**BAND, label=report_labels.LEGEND_WORDS["band"]))
    if analysis.exceedances:
        handles.append(Patch(**OVER, label=report_labels.TRACK["over"]))
        handles.append(Line2D([], [], linestyle="none", label=words.WORST, **WORST))
    if len(analysis.unknown):
        handles.append(Patch(**UNKNOWN, label=words.UNKNOWN))
    if handles:
        axes.legend(handles=handles, loc="upper center", ncols=4, **LEGEND)


def _number(axes: Axes, marked: list[Numbered], analysis: Analysis, how: Presentation) -> None:
    """Mark and number exceedances; the numbers of neighbours step down, so as not to meet."""
    before, step = -np.inf, 0
    for each in sorted(marked, key=lambda each: each.exceedance.worst_time_s):
        exceedance, worst = each.exceedance, -each.excess * how.units.per_knot
        step = (step + 1) % 3 if exceedance.worst_time_s - before < 0.02 * _span(analysis) else 0
        before = exceedance.worst_time_s
        at: str | tuple[str, Transform] = "data"
        if none_of_a_speed(exceedance.quantity):  # Its excess is none of this axis.
            worst, at = 0.97, ("data", axes.transAxes)
        else:
            axes.plot(exceedance.worst_time_s, worst, **WORST)
        axes.annotate(
            str(each.number),
            (exceedance.worst_time_s, worst),
            (0, -6 - 11 * step),
            ha="center",
            va="top",
            xycoords=at,
            textcoords="offset points",
            fontsize=9,
            weight="bold",
            path_effects=HALO,
        )


def _mark_closest(axes: Axes, analysis: Analysis, how: Presentation) -> None:
    closest = analysis.smallest[0]
    axes.plot(closest.time_s, closest.margin_kt * how.units.per_knot, marker="o", markersize=7,
              color="black", markerfacecolor="none")


def _span(analysis: Analysis) -> float:
    time = analysis.time
    return max(float(time[-1] - time[0]), 1.0) if len(time) else 1.0
