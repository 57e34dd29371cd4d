"""The picture of a case, from the samples that the store keeps around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from loganalyze.show.figures.figure_style import BLUE, STYLE, VERMILION, WIDTH_IN, Picture
from loganalyze.text.language import pack_words as words

SHADE = "#eeeeee"


def case_figure(samples: Mapping[str, Sequence[Any]], start_s: float, end_s: float) -> Figure:
    """Draw speed against limit, margin and altitude around an exceedance.

    Parameters
    ----------
    samples : mapping of str to sequence
        Columns of equal length, as `CaseIndex.samples` gives them; None where not known.
    start_s, end_s : float
        Of the exceedance [s], on the samples' clock.
    """
    time = _numbers(samples, "time_s") - start_s
    with mpl.rc_context(STYLE):
        figure = Picture(figsize=(WIDTH_IN, 5.0))
        grid = figure.add_gridspec(3, height_ratios=(3, 2, 2), left=0.11, right=0.98, top=0.95,
                                   bottom=0.1, hspace=0.12)
        speed, margin, altitude = (figure.add_subplot(grid[i]) for i in range(3))
        speed.plot(time, _numbers(samples, "calibrated_airspeed_kt"), color=BLUE,
                   label=words.SPEED)
        speed.plot(time, _numbers(samples, "limit_airspeed_kt"), "--", color=VERMILION,
                   label=words.LIMIT)
        speed.set_ylabel(words.SPEED_AXIS)
        speed.legend(loc="best")
        margin.plot(time, _numbers(samples, "margin_kt"), color=BLUE)
        margin.axhline(0.0, color=VERMILION, linestyle="--")
        margin.set_ylabel(words.MARGIN_AXIS)
        altitude.plot(time, _numbers(samples, "pressure_altitude_ft"), color=BLUE)
        altitude.set_ylabel(words.ALTITUDE_AXIS)
        altitude.set_xlabel(words.TIME_AXIS)
        for axes in (speed, margin, altitude):
            axes.axvspan(0.0, end_s - start_s, color=SHADE, zorder=0)
            axes.set_xlim(float(time.min()), float(time.max()))
            axes.tick_params(labelbottom=axes is altitude)
    return figure


def _numbers(samples: Mapping[str, Sequence[Any]], name: str) -> NDArray[np.float64]:
    values = samples.get(name) or [None] * len(samples["time_s"])
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
