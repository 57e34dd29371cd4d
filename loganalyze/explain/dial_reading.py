"""What the airspeed indicator showed at an instant: speed, limit pointer, and their trends.

The trend is the change over ten seconds of the least-squares line through the samples of the last
ten seconds. With a missing or unknown sample, or too few samples, a reason is given instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT
from loganalyze.record.intervals import HELD_INTERVALS

Basis = Literal["indicated", "calibrated"]
NoTrend = Literal["", "gap", "start", "slow", "unknown"]
"""Why there is no trend: a gap or an unknown sample in the window, a window that begins before the
recording does, fewer than three samples, or a value that isn't known now; empty where there is
one."""

WINDOW_S = 10.0
"""[s] Long enough to average a gust, short enough to follow a push-over; the trade's usual span
of a trend (common practice, no source)."""
LEAST_SAMPLES = 3
DIALS: dict[Basis, tuple[str, str]] = {
    "indicated": ("indicated_airspeed_kt", "limit_pointer_kt"),
    "calibrated": ("calibrated_airspeed_kt", "limit_airspeed_kt"),
}
"""The columns of speed and limit that a dial of each kind shows."""


@dataclass(frozen=True, slots=True)
class DialReading:
    """What the dial showed.

    ``basis`` : whether the speeds [kt] are indicated ones, or calibrated where no indicated
    airspeed is known; ``pointer_kt`` : NaN where no limit is shown or known; trends [kt in 10 s],
    NaN with the reason beside it; ``unseen`` : the lowest limit's name where the pointer doesn't
    show it, else empty.
    """

    time_s: float
    basis: Basis
    speed_kt: float
    pointer_kt: float
    speed_trend_kt: float
    speed_no_trend: NoTrend
    pointer_trend_kt: float
    pointer_no_trend: NoTrend
    unseen: str


def dial_basis(analysis: Analysis) -> Basis:
    """Return which speeds the dial is drawn in: indicated ones where any is known."""
    found = analysis.columns.get("indicated_airspeed_kt")
    return "indicated" if found is not None and bool(np.isfinite(found).any()) else "calibrated"


def pointer_limits(analysis: Analysis) -> tuple[int, ...]:
    """Return the limits (indices) that the limit pointer shows."""
    return tuple(i for i, limit in enumerate(analysis.sheet.limit)
                 if limit.on_pointer and limit.kind.is_speed)


def dial_reading(analysis: Analysis, time_s: float) -> DialReading:
    """Return what the airspeed indicator showed at the sample nearest to an instant.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    time_s : float
        [s from the log's first sample].

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> shown = la.dial_reading(flight, flight.exceedances[1].worst_time_s)
    >>> shown.speed_kt, shown.pointer_kt
    (265.0, 255.0)
    """
    time = analysis.time
    row = int(np.abs(time - time_s).argmin())
    basis = dial_basis(analysis)
    speed, pointer = (analysis.columns[name] for name in DIALS[basis])
    interval = analysis.log.interval_s
    speed_trend, no_speed = trend(time, speed, row, interval)
    pointer_trend, no_pointer = trend(time, pointer, row, interval)
    governing = int(analysis.columns["governing_limit"][row])
    hidden = governing != NO_GOVERNING_LIMIT and governing not in pointer_limits(analysis)
    return DialReading(
        float(time[row]), basis, float(speed[row]), float(pointer[row]), speed_trend, no_speed,
        pointer_trend, no_pointer, analysis.limit_names[governing] if hidden else "")


def trend(time: NDArray[np.float64], values: NDArray[Any], row: int, interval: float
          ) -> tuple[float, NoTrend]:
    """Return the change over the last 10 s by least squares, or NaN and why there is none.

    Parameters
    ----------
    time : ndarray
        float64[n], increasing [s].
    values : ndarray
        Any float[n]; NaN where not known.
    row : int
        Of the instant.
    interval : float
        The recording's usual step [s]; a longer step than 1.5 of it is a gap, none if it is 0.
    """
    nothing, now = float("nan"), float(time[row])
    reach = HELD_INTERVALS * interval if interval > 0 else np.inf
    if not np.isfinite(values[row]):
        return nothing, "unknown"
    first = int(np.searchsorted(time, now - WINDOW_S - 1e-9))
    if time[0] > now - WINDOW_S + min(reach, WINDOW_S):
        return nothing, "start"
    stamps = time[first:row + 1].astype(np.float64)
    window = np.asarray(values[first:row + 1], dtype=np.float64)
    steps = np.diff(stamps, prepend=max(now - WINDOW_S, float(time[0])))
    if np.isnan(window).any() or (steps > reach).any():
        return nothing, "gap"
    if len(window) < LEAST_SAMPLES:
        return nothing, "slow"
    about = stamps - stamps.mean()
    slope = float((about * (window - window.mean())).sum() / (about * about).sum())
    return slope * WINDOW_S, ""
