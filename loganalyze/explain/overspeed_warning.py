"""How the recorded overspeed warning behaved, against the limits and the latest it may sound.

With the limit L, the threshold T beyond it and the tolerance U of the recorded speed, all of the
sheet's ``[warning]``, the excess e = speed - L and the warning's recorded onset say:

- on time: it came on with -U <= e, and had not been silent while e > T + U;
- late: it had been silent at a recorded sample with e > T + U, and then came on;
- missing: it was silent while e > T + U, and didn't come on at the end of that;
- early: it came on with e < -U, and e reached -U while it was on;
- spurious: it was on, and e stayed below -U all the while;
- not determinable: the onset wasn't recorded (start of the log, gap), or the excess isn't known.

Only samples at which the recorder kept the warning count: between them it may have been either.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER, UNDER, UNKNOWN
from loganalyze.quantities.limited_speed import LimitedAirspeed, LimitedMach
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.results.assessment_results import WarningFinding

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

CHANNEL = "overspeed_warning"

KINDS: tuple[str, ...] = (
    "on time", "early", "late", "missing", "spurious", "not determinable")


@dataclass(frozen=True, slots=True)
class WarningSettings:
    """Thresholds for judging the warning that aren't in the limits sheet."""

    join_gap_s: float = 3.0
    """[s] Interruptions shorter than this don't end a warning: an intermittent horn is recorded as
    off between its sounds. Engineering judgement."""


@dataclass(frozen=True, eq=False)
class _Watched:
    """One watched limit over the recorded rows, in its published quantity [kt or Mach].

    ``excess`` : -inf where it isn't needed, NaN where unknown; ``maximum`` : the limit,
    where the excess was computed.
    """

    name: str
    excess: Floats
    maximum: Floats
    unit: str
    threshold: float
    tolerance: float

    @property
    def latest(self) -> float:
        return self.threshold + self.tolerance

    def share(self, row: int) -> float:
        """How far the excess has got from the earliest to the latest the warning may sound."""
        span = self.threshold + 2 * self.tolerance
        return (float(self.excess[row]) + self.tolerance) / (span or 1.0)


@dataclass(frozen=True, eq=False)
class _Recorded:
    """The rows at which the warning was recorded.

    ``rows`` : in the log; ``time`` [s]; ``on`` : whether it sounded, chops closed; ``whole`` :
    whether a row follows the one before it without a gap; ``hold_s`` : what a row stands for.
    """

    rows: Rows
    time: Floats
    on: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    hold_s: float


def warnings_of(
    analysis: Analysis, settings: WarningSettings | None = None
) -> tuple[WarningFinding, ...]:
    """Return what the overspeed warning did and should have done, by time.

    Parameters
    ----------
    analysis : Analysis
    settings : WarningSettings, optional

    Returns
    -------
    tuple of WarningFinding
        One for each sounding of the warning and one for each stretch in which it was missing.
        Empty where the log doesn't record the warning, or it watches no limit. ``values`` at
        the onset (where missing: at the worst) are in the limit's published quantity, so they
        end in ``_kt`` or ``_mach``: ``speed``, ``limit``, ``threshold`` (the limit and what
        goes beyond it), ``excess``, ``tolerance``; ``late_s`` [s] counts from where threshold
        and tolerance were passed.

    References
    ----------
    14 CFR 25.1303(c)(1): a warning whenever the speed exceeds VMO + 6 kt or MMO + 0.01.
    """
    settings = settings or WarningSettings()
    log = analysis.log
    if CHANNEL not in log or not len(log):
        return ()
    if not (log.channels[CHANNEL].values > 0.5).any() and not analysis.exceedances:
        return ()
    recorded = _recorded(analysis, settings)
    watched = _watched(analysis, recorded)
    found = []
    if watched:
        found = [_sounding(recorded, watched, first, last) for first, last in _runs(recorded.on)]
        for limit in watched:
            found += _missing(recorded, limit)
    return tuple(sorted(found, key=lambda finding: (finding.start_s, finding.limit)))


def _recorded(analysis: Analysis, settings: WarningSettings) -> _Recorded:
    log, channel = analysis.log, analysis.log.channels[CHANNEL]
    rows = (np.arange(len(log)) if channel.rows is None else channel.rows).astype(np.intp)
    known = ~np.isnan(channel.values)
    rows, on = rows[known], channel.values[known] > 0.5
    time = log.time[rows]
    interval = channel.interval_s if channel.interval_s > 0 else log.interval_s
    interval = interval if interval > 0 else 0.0
    whole = np.diff(time, prepend=-np.inf) <= HELD_INTERVALS * interval
    for first, last in _runs(~on):
        chop = first > 0 and last + 1 < len(on) and whole[first : last + 2].all()
        if chop and time[last + 1] - time[first] < settings.join_gap_s:
            on[first : last + 1] = True
    return _Recorded(rows, time, on, whole, interval)


def _runs(true: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last row of each run of true rows."""
    edges = np.flatnonzero(np.diff(true.view(np.int8), prepend=0, append=0)).reshape(-1, 2)
    return [(first, stop - 1) for first, stop in edges.tolist()]


def _watched(analysis: Analysis, recorded: _Recorded) -> list[_Watched]:
    """The excess over the warning's limits, computed where it sounds or a limit is exceeded."""
    warning, evaluation = analysis.sheet.warning, analysis.evaluation
    names = warning.limits or tuple(
        limit.name for limit in analysis.sheet.limit if limit.on_pointer)
    latest = {LimitedAirspeed.suffix: (warning.threshold_kt, warning.tolerance_kt),
              LimitedMach.suffix: (warning.threshold_mach, warning.tolerance_mach)}
    watched = []
    for i, limit in enumerate(analysis.sheet.limit):
        if limit.name not in names:
            continue
        state = analysis.columns[f"state_{i}"][recorded.rows]
        wanted = (state == OVER) | recorded.on
        wanted = wanted | np.append(wanted[1:], False) | np.append(False, wanted[:-1])
        # Elsewhere there is no warning and no excess: -inf marks rows not computed.
        excess = np.where(state == UNKNOWN, np.nan, -np.inf)
        near = np.flatnonzero(wanted & ((state == UNDER) | (state == OVER)))
        at = evaluation.air_data_at(recorded.rows[near])
        maximum = np.full(excess.shape, np.nan)
        maximum[near] = limit_equivalents.published_maximum(limit, at)
        # Rounded, so that a recorded whole knot at a threshold is at it, not beyond by a rounding.
        excess[near] = np.round(limit_equivalents.published_value(limit, at) - maximum[near], 9)
        unit = limit.kind.suffix
        watched.append(_Watched(limit.name, excess, maximum, unit, *latest[unit]))
    return watched


def _sounding(
    recorded: _Recorded, watched: Sequence[_Watched], first: int, last: int
) -> WarningFinding:
    """Judge one sounding of the warning, rows `first` to `last`."""
    time, during = recorded.time, slice(first, last + 1)
    seen = first > 0 and bool(recorded.whole[first])
    reached = any((other.excess[during] >= -other.tolerance).any() for other in watched)
    unknown = any(np.isnan(other.excess[first]) for other in watched)
    known = [other for other in watched if np.isfinite(other.excess[first])]
    limit = max(known, key=lambda other: other.share(first), default=None)
    late = [(since, other) for other in watched
            if (since := _silent_since(recorded, other, first)) is not None]
    values = {}
    if late:
        since, limit = min(late, key=lambda pair: pair[0])
        kind, values = "late", {"late_s": float(time[first]) - since}
    elif not reached:
        lost = any(np.isnan(other.excess[during]).any() for other in watched)
        kind = "not determinable" if lost else "spurious"
    elif not seen:
        kind = "not determinable"
    elif limit is not None and limit.share(first) >= 0:
        kind = "on time"
    else:
        kind = "not determinable" if unknown else "early"
    return _finding(kind, limit, first, float(time[first]), _end(recorded, last), values)


def _silent_since(recorded: _Recorded, limit: _Watched, first: int) -> float | None:
    """Return when [s] the excess passed the latest onset before the warning, None if it didn't."""
    row = first
    while row > 0 and recorded.whole[row] and not recorded.on[row - 1] and (
            limit.excess[row - 1] > limit.latest):
        row -= 1
    return None if row == first else _passed(recorded, limit, row)


def _missing(recorded: _Recorded, limit: _Watched) -> list[WarningFinding]:
    """Stretches in which the warning should have sounded and didn't come on at their end.

    Stretches between which the speed didn't come back to the limit are one.
    """
    silent: list[tuple[int, int]] = []
    calm = ~recorded.on & recorded.whole & (limit.excess > 0)
    for start, stop in _runs(~recorded.on & (limit.excess > limit.latest)):
        breaks = np.flatnonzero(~recorded.whole[start + 1 : stop + 1]) + start + 1
        for first, after in pairwise([start, *breaks.tolist(), stop + 1]):
            if silent and calm[silent[-1][1] + 1 : first + 1].all():
                silent[-1] = (silent[-1][0], after - 1)
            else:
                silent.append((first, after - 1))
    found = []
    for first, last in silent:
        after = last + 1
        follows = after < len(recorded.time) and bool(recorded.whole[after])
        if follows and recorded.on[after]:
            continue
        end = _end(recorded, last)
        if follows and np.isfinite(limit.excess[after]):
            end = _between(recorded, limit, last)
        worst = first + int(np.nanargmax(limit.excess[first:after]))
        found.append(_finding("missing", limit, worst, _passed(recorded, limit, first), end, {}))
    return found


def _passed(recorded: _Recorded, limit: _Watched, row: int) -> float:
    """When the excess passed the latest instant just before `row` [s]."""
    if row and recorded.whole[row] and not recorded.on[row - 1] and (
            np.isfinite(limit.excess[row - 1])):
        return _between(recorded, limit, row - 1)
    return float(recorded.time[row])


def _between(recorded: _Recorded, limit: _Watched, row: int) -> float:
    """When the excess passed the latest instant between `row` and the next [s]."""
    before, after = (float(limit.excess[at]) - limit.latest for at in (row, row + 1))
    start, end = recorded.time[[row, row + 1]].tolist()
    return float(start + (end - start) * before / (before - after))


def _end(recorded: _Recorded, last: int) -> float:
    """Return the end [s] of the time that a row stands for."""
    if last + 1 < len(recorded.time) and recorded.whole[last + 1]:
        return float(recorded.time[last + 1])
    return float(recorded.time[last]) + recorded.hold_s


def _finding(
    kind: str, watched: _Watched | None, row: int, start: float, end: float,
    values: Mapping[str, float],
) -> WarningFinding:
    if watched is None:
        return WarningFinding(kind, "", start, end, values)
    excess, limit = float(watched.excess[row]), float(watched.maximum[row])
    own = {"speed": limit + excess, "limit": limit, "threshold": limit + watched.threshold,
           "excess": excess, "tolerance": watched.tolerance}
    return WarningFinding(kind, watched.name, start, end, {
        **{f"{name}_{watched.unit}": value for name, value in own.items()}, **values})
