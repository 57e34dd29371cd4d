"""The picture of a case, from the samples that the store keeps around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from loganalyze.review.cases.case_courses import case_courses
from loganalyze.show.figures.figure_style import BLUE, GREY, STYLE, VERMILION, WIDTH_IN, Picture
from loganalyze.text.language import evidence_words
from loganalyze.text.language import pack_words as words

SHADE = "#eeeeee"


def case_figure(samples: Mapping[str, Sequence[Any]], start_s: float, end_s: float, *,
                in_mach: bool = False) -> Figure:
    """Draw speed against limit, margin and altitude around an exceedance.

    Parameters
    ----------
    samples : mapping of str to sequence
        Columns of equal length, as `CaseIndex.samples` gives them; None where not known.
    start_s, end_s : float
        Of the exceedance [s], on the samples' clock.
    in_mach : bool
        Whether the limit is one of Mach number: speed and margin are then drawn as that.
    """
    found = case_courses(samples, start_s, in_mach=in_mach)
    time = found.time_s
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 5.0))
        grid = figure.add_gridspec(3, height_ratios=(3, 2, 2), left=0.11, right=0.98, top=0.95,
                                   bottom=0.1, hspace=0.12)
        speed, margin, altitude = (figure.add_subplot(grid[i]) for i in range(3))
        speed.plot(time, found.speed, color=BLUE, label=words.MACH if in_mach else words.SPEED)
        speed.plot(time, found.limit, "--", color=VERMILION, label=words.LIMIT)
        for axes, second in ((speed, found.second_speed), (altitude, found.second_altitude_ft)):
            if second is not None:
                axes.plot(time, second[0], ":", color=GREY, label=evidence_words.channel(second[1]))
        speed.set_ylabel(words.MACH_AXIS if in_mach else words.SPEED_AXIS)
        speed.legend(loc="best")
        margin.plot(time, found.margin, color=BLUE)
        margin.axhline(0.0, color=VERMILION, linestyle="--")
        margin.set_ylabel(words.MACH_MARGIN_AXIS if in_mach else words.MARGIN_AXIS)
        altitude.plot(time, found.altitude_ft, color=BLUE)
        if found.second_altitude_ft is not None:
            altitude.legend(loc="best")
        altitude.set_ylabel(words.ALTITUDE_AXIS)
        altitude.set_xlabel(words.TIME_AXIS)
        for axes in (speed, margin, altitude):
            axes.axvspan(0.0, end_s - start_s, color=SHADE, zorder=0)
            axes.set_xlim(float(time.min()), float(time.max()))
            axes.tick_params(labelbottom=axes is altitude)
    return figure
