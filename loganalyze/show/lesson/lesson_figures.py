"""The pictures of a lesson: flown against briefed, over time and over altitude."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loganalyze.air.airspeed import cas_from_mach
from loganalyze.limits.limit_envelope import limit_envelope
from loganalyze.problems import Problem
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.lesson.schedule_file import Profile
from loganalyze.show.figures.figure_style import (
    ABOVE,
    BLUE,
    GREEN,
    HALO,
    ORANGE,
    PURPLE,
    SMALL_PT,
    STYLE,
    VERMILION,
    WIDTH_IN,
    Picture,
    legend_columns,
)
from loganalyze.show.figures.time_axis import line, thousands, time_axis
from loganalyze.text.language import lesson_words as words
from loganalyze.text.language import picture_labels
from loganalyze.text.presentation import Presentation
from loganalyze.training import Lesson, Segment

LIMIT: dict[str, Any] = {"color": "black", "linewidth": 1.4, "linestyle": (0, (4, 2))}
BRIEFED: dict[str, Any] = {"color": VERMILION, "linewidth": 2.0}
BAND: dict[str, Any] = {"color": ORANGE, "alpha": 0.28, "linewidth": 0}
SLOWEST_KT = 60.0
"""[kt] Slower than this the aircraft rolls."""
CLOSE = 0.02
"""Moments closer than this share of the time axis have their numbers side by side."""
AROUND_KT = 25.0
"""[kt] The scale of speed reaches so far beyond what was briefed and flown in the parts."""


def course_figure(lesson: Lesson, how: Presentation | None = None) -> Figure:
    """Draw speed and altitude over time, with the briefed speed and the tolerance of each part.

    Parameters
    ----------
    lesson : Lesson
    how : Presentation, optional
        In which units, on which clock.
    """
    how = how or Presentation()
    analysis, columns = lesson.assessment.analysis, lesson.assessment.analysis.columns
    knot, foot = how.units.per_knot, how.units.per_foot
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 3.4))
        grid = figure.add_gridspec(2, height_ratios=(1.9, 1), left=0.105, right=0.985, top=0.93,
                                   bottom=0.14, hspace=0.08)
        speed, height = (figure.add_subplot(grid[i]) for i in range(2))
        line(speed, analysis, columns["limit_airspeed_kt"], knot, label=words.LINES["limit"],
             **LIMIT)
        for i, segment in enumerate(lesson.segments):
            _briefed(speed, lesson, segment, knot, first=i == 0)
        line(speed, analysis, columns["calibrated_airspeed_kt"], knot, color=BLUE, linewidth=1.2,
             label=words.LINES["flown"])
        line(height, analysis, columns["pressure_altitude_ft"], foot, color=BLUE, linewidth=1.2)
        for moment in lesson.moments:
            for axes in (speed, height):
                axes.axvline(moment.time_s, color=GREEN, linewidth=1.0, zorder=0.8)
        start, end = _shown(lesson)
        for numbers, at in _together([moment.time_s for moment in lesson.moments],
                                     CLOSE * (end - start)):
            speed.annotate(numbers, (at, 1), xycoords=("data", "axes fraction"), ha="center",
                           va="top", fontsize=SMALL_PT, color=GREEN, fontweight="bold",
                           path_effects=HALO)
        speed.set_ylabel(picture_labels.AXES["calibrated"].format(unit=how.units.speed))
        height.set_ylabel(picture_labels.AXES["altitude"].format(unit=how.units.altitude))
        thousands(height)
        _scale(speed, lesson, knot)
        time_axis((speed, height), analysis, how, start, end - start)
        labels = [str(label) for label in speed.get_legend_handles_labels()[1]]
        speed.legend(ncols=legend_columns(labels, 0.88 * WIDTH_IN), **ABOVE)
    return figure


def track_figure(lesson: Lesson, how: Presentation, demonstration: Lesson | None = None
                 ) -> Figure:
    """Draw flown and briefed airspeed against pressure altitude, with the limit airspeed.

    With a `demonstration` its track lies beside.
    """
    analysis = lesson.assessment.analysis
    knot, foot = how.units.per_knot, how.units.per_foot
    speeds = lesson.speeds
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 2.7))
        axes = figure.add_axes((0.115, 0.16, 0.87, 0.68))
        known = speeds.altitude_ft[np.isfinite(speeds.altitude_ft)]
        low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1e4)
        heights = np.linspace(low, high + 300.0, 240)
        try:
            limits = limit_envelope(analysis.sheet, heights * FOOT).limit_airspeed / KNOT
            axes.plot(limits * knot, heights * foot, label=words.LINES["limit"], **LIMIT)
        except Problem:  # Corrections by flap angle: no limit follows from the altitude alone.
            pass
        briefed = (("climb", lesson.schedule.climb, VERMILION, "-"),
                   ("descent", lesson.schedule.descent, ORANGE, (0, (6, 1.5))))
        for kind, profile, colour, dashes in briefed:
            if profile is not None:
                at = heights[heights >= (profile.above_ft or low)]
                axes.plot(profile_cas(profile, at) * knot, at * foot, color=colour, linewidth=2.0,
                          linestyle=dashes, label=words.LINES[kind])
        if demonstration is not None:
            shown = demonstration.speeds
            axes.plot(np.where(shown.cas_kt >= SLOWEST_KT, shown.cas_kt, np.nan) * knot,
                      shown.altitude_ft * foot, color=PURPLE, linewidth=1.4,
                      linestyle=(0, (2, 1)), label=words.LINES["demonstration"])
        fast = np.where(speeds.cas_kt >= SLOWEST_KT, speeds.cas_kt, np.nan)
        axes.plot(fast * knot, speeds.altitude_ft * foot, color=BLUE, linewidth=1.1,
                  label=words.LINES["flown"])
        for number, moment in enumerate(lesson.moments, 1):
            cell = int(np.nanargmin(np.abs(speeds.time - moment.time_s)))
            x, y = speeds.cas_kt[cell] * knot, speeds.altitude_ft[cell] * foot
            axes.plot(x, y, "o", color=GREEN, markersize=5, markeredgecolor="white")
            axes.annotate(str(number), (x, y), xytext=(6, 2), textcoords="offset points",
                          fontsize=SMALL_PT, color=GREEN, fontweight="bold", path_effects=HALO)
        axes.set_xlabel(picture_labels.AXES["calibrated"].format(unit=how.units.speed))
        axes.set_ylabel(picture_labels.AXES["pressure_altitude"].format(unit=how.units.altitude))
        thousands(axes)
        labels = [str(label) for label in axes.get_legend_handles_labels()[1]]
        axes.legend(ncols=legend_columns(labels, 0.88 * WIDTH_IN), **ABOVE)
    return figure


def profile_cas(profile: Profile, altitude_ft: Floats) -> Floats:
    """Return the briefed speed of a climb or a descent as CAS [kt] at some altitudes [ft]."""
    speed = np.full(len(altitude_ft), np.inf if profile.airspeed_kt is None
                    else profile.airspeed_kt)
    if profile.lower_airspeed_kt is not None and profile.lower_below_ft is not None:
        speed = np.where(altitude_ft < profile.lower_below_ft, profile.lower_airspeed_kt, speed)
    if profile.mach is not None:
        by_mach = cas_from_mach(np.full(len(altitude_ft), profile.mach), altitude_ft * FOOT)
        crossover = profile.crossover_ft
        above = altitude_ft >= (-np.inf if crossover is None else crossover)
        speed = np.where(above, by_mach / KNOT, speed)
    return speed


def _cells(lesson: Lesson, segment: Segment) -> Rows:
    time = lesson.speeds.time
    return np.flatnonzero((time >= segment.start_s) & (time < segment.end_s))


def _briefed(axes: Axes, lesson: Lesson, segment: Segment, knot: float, first: bool) -> None:
    """Draw the briefed speed of one part, as CAS, and its tolerance."""
    cells = _cells(lesson, segment)
    time, height = lesson.speeds.time[cells], lesson.speeds.altitude_ft[cells]

    def as_cas(speed: float) -> Floats:
        if segment.unit == "kt":
            return np.full(len(cells), speed)
        return cas_from_mach(np.full(len(cells), speed), height * FOOT) / KNOT

    axes.plot(time, as_cas(segment.target) * knot,
              label=words.LINES["briefed"] if first else None, **BRIEFED)
    if segment.has_tolerance:
        low = as_cas(segment.target - (segment.slower or 0.0))
        high = as_cas(segment.target + (segment.faster or 0.0))
        axes.fill_between(time, low * knot, high * knot,
                          label=words.LINES["tolerance"] if first else None, **BAND)


def _together(instants: list[float], apart: float) -> list[tuple[str, float]]:
    """Return the numbers of instants, those of neighbours in one, and where to write them."""
    groups: list[list[int]] = []
    for number, instant in enumerate(instants):
        if groups and instant - instants[groups[-1][-1]] <= apart:
            groups[-1].append(number)
        else:
            groups.append([number])
    return [(", ".join(str(number + 1) for number in group),
             float(np.mean([instants[number] for number in group]))) for group in groups]


def _shown(lesson: Lesson) -> tuple[float, float]:
    """Return from when to when the flight is drawn: in the air."""
    speeds = lesson.speeds
    fast = np.flatnonzero(speeds.cas_kt >= SLOWEST_KT)
    if not len(fast):
        return float(speeds.time[0]), float(speeds.time[-1]) + 1.0
    return float(speeds.time[fast[0]]), float(speeds.time[fast[-1]]) + 1.0


def _scale(axes: Axes, lesson: Lesson, knot: float) -> None:
    """Show the speeds of the parts, and what lies about them."""
    values = [lesson.speeds.cas_kt[_cells(lesson, segment)] for segment in lesson.segments]
    known = (
        np.concatenate([speeds[np.isfinite(speeds)] for speeds in values])
        if values
        else np.zeros(0)
    )
    if len(known):
        axes.set_ylim((known.min() - AROUND_KT) * knot, (known.max() + AROUND_KT) * knot)
