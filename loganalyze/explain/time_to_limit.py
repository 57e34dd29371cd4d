"""Time to limit: how soon the limit would have been reached had the margin gone on closing.

At each sample a straight line is fitted to the margin of the preceding 8 s. Where the margin
closes faster than twice the slope's uncertainty, the time to limit is the line's margin there
over its rate of closing. The shortest of a flight is a leading indicator beside its smallest
margin: it separates fast approaches to a limit from slow ones.

Over the limit nothing is approached any more. A window never reaches across a gap, a sample
without a margin, or a change of which limits apply: extending flaps moves the limit, and that
is no closing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.limits.evaluation import NOT_APPLICABLE, UNKNOWN
from loganalyze.phases.phase_detection import PHASES
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.results.assessment_results import TimeToLimit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

BLOCK = 8192
"""Rows a block: its running sums are taken about its own middle, so that they lose no digits."""

_TAKE_OFF = PHASES.index("take-off")


@dataclass(frozen=True, slots=True)
class ApproachSettings:
    """Thresholds of the time to limit."""

    window_s: float = 8.0
    """[s] Length of the fit: shorter, and gusts make the slope; longer, and a pull-out is
    missed."""
    least_samples: int = 4
    """A line through fewer has next to no uncertainty to speak of: slower recorders than this
    in a window have no time to limit."""
    least_share: float = 0.75
    """The samples must span this share of the window."""
    coverage: float = 2.0
    """Closing counts when it is faster than this many standard uncertainties of the slope."""
    longest_s: float = 60.0
    """[s] Longer times to limit aren't reported: an extrapolation of 8 s doesn't reach so far."""


@dataclass(frozen=True, eq=False)
class Closing:
    """The rows at which a limit was being approached.

    ``rows`` : of the log, rising; ``seconds`` [s], ``margin_kt`` and ``closing_kt_s`` : of the
    fitted line at its end, float64[m].
    """

    rows: Rows
    seconds: Floats
    margin_kt: Floats
    closing_kt_s: Floats


def shortest_time_to_limit(
    analysis: Analysis, phases: NDArray[np.uint8], settings: ApproachSettings | None = None
) -> TimeToLimit | None:
    """Return the flight's shortest time to a limit, or None where it was never approached.

    Parameters
    ----------
    analysis : Analysis
    phases : uint8[n]
        The phase of each row, as `phases_of` gave it; the take-off roll is left out, where every
        flight closes on its limits.
    settings : ApproachSettings, optional
    """
    best: TimeToLimit | None = None
    for found in closings(analysis, settings):
        keep = np.flatnonzero(phases[found.rows] != _TAKE_OFF)
        if not len(keep):
            continue
        at = keep[int(found.seconds[keep].argmin())]
        if best is None or found.seconds[at] < best.seconds:
            row = int(found.rows[at])
            best = TimeToLimit(
                _governing(analysis, row), float(found.seconds[at]), float(analysis.time[row]),
                float(found.margin_kt[at]), float(found.closing_kt_s[at]),
                PHASES[int(phases[row])])
    return best


def closings(
    analysis: Analysis, settings: ApproachSettings | None = None
) -> Iterator[Closing]:
    """Find block by block where the lowest limit that applies was being approached.

    The slope's standard uncertainty is that of a straight line by least squares, its residual
    taken as no less than what the recorder's step of airspeed leaves (step / sqrt(12)).

    Yields
    ------
    Closing
        Times under ``settings.longest_s`` only, rows rising.
    """
    settings = settings or ApproachSettings()
    time, margin = analysis.time, analysis.columns["margin_kt"]
    n = len(time)
    if n < settings.least_samples:
        return
    step = _airspeed_step(analysis)
    for start in range(0, n, BLOCK):
        stop = min(start + BLOCK, n)
        low = int(np.searchsorted(time, time[start] - settings.window_s))
        # A run that began before the block counts from the start of its window.
        run = _run_starts(analysis, low, stop)
        yield _fitted(time[low:stop], margin[low:stop].astype(np.float64), run, start - low, low,
                      step, settings)


def _run_starts(analysis: Analysis, low: int, stop: int) -> Rows:
    """For each row the first row (within the block) that its window may reach back to."""
    interval = analysis.log.interval_s
    time, columns = analysis.time[low:stop], analysis.columns
    broken = np.zeros(stop - low, dtype=bool)
    if interval > 0:
        broken[1:] |= np.diff(time) > HELD_INTERVALS * interval
    missing = np.isnan(columns["margin_kt"][low:stop])
    broken |= missing
    broken[1:] |= missing[:-1]
    for i in analysis.evaluation.applicability:
        if not analysis.sheet.limit[i].kind.is_speed:
            continue
        state = columns[f"state_{i}"][low:stop]
        applies = (state != NOT_APPLICABLE) & (state != UNKNOWN)
        broken[1:] |= applies[1:] != applies[:-1]
    return np.maximum.accumulate(np.where(broken, np.arange(stop - low), 0))


def _fitted(
    time: Floats, margin: Floats, run: Rows, lag: int, low: int, step: float,
    settings: ApproachSettings,
) -> Closing:
    """Fit each row's window from running sums, and keep where the limit is being approached."""
    ends = np.arange(lag, len(time))
    # A sample exactly one window ago belongs to it, whatever the rounding of times.
    firsts = np.searchsorted(time, time[ends] - settings.window_s * (1 + 1e-9))
    firsts = np.maximum(firsts, run[ends])
    count = ends - firsts + 1
    usable = (count >= settings.least_samples) & ~np.isnan(margin[ends])
    usable &= time[ends] - time[firsts] >= settings.least_share * settings.window_s
    ends, firsts, count = ends[usable], firsts[usable], count[usable]
    if not len(ends):
        nothing = np.empty(0)
        return Closing(np.empty(0, dtype=np.intp), nothing, nothing, nothing)
    t = time - time[len(time) // 2]
    m = np.where(np.isnan(margin), 0.0, margin)
    middle = float(m.mean())
    m = m - middle

    def total(values: Floats) -> Floats:
        running = np.concatenate([[0.0], np.cumsum(values)])
        return np.asarray(running[ends + 1] - running[firsts])

    mean_t, mean_m = total(t) / count, total(m) / count
    s_tt = total(t * t) - count * mean_t**2
    s_tm = total(t * m) - count * mean_t * mean_m
    s_mm = total(m * m) - count * mean_m**2
    slope = s_tm / s_tt
    residual = np.maximum(s_mm - slope * s_tm, 0.0) / (count - 2)
    uncertainty = np.sqrt(np.maximum(residual, step**2 / 12.0) / s_tt)
    here = middle + mean_m + slope * (t[ends] - mean_t)
    closing = (-slope > settings.coverage * uncertainty) & (here > 0) & (margin[ends] > 0)
    closing &= here < -slope * settings.longest_s
    rows, rate, left = ends[closing], -slope[closing], here[closing]
    return Closing(rows + low, left / rate, left, rate)


def _airspeed_step(analysis: Analysis) -> float:
    """The recorder's step of airspeed [kt], 0 where not known."""
    steps = [channel.resolution / KNOT
             for name, channel in analysis.log.channels.items()
             if name in ("calibrated_airspeed", "indicated_airspeed")
             and np.isfinite(channel.resolution)]
    return float(max(steps, default=0.0))


def _governing(analysis: Analysis, row: int) -> str:
    """The limit that set the limit airspeed at a row; empty where the columns don't say."""
    governing = analysis.columns.get("governing_limit")
    names = analysis.limit_names
    if governing is None or governing[row] >= len(names):
        return ""
    return names[int(governing[row])]
