"""Exceedances of each limit: screened, crossed, joined, and timed.

A crossing of the limit is interpolated between the sample under and the sample over it, on the
recorded time stamps, in the limit's published quantity. A limit that begins or ceases to apply
is a step, which isn't interpolated: the sample at which it is first recorded counts.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.judge import curves, equivalents
from loganalyze.judge.margins import NOT_APPLICABLE, OVER, UNDER, Case
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits import Limit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Exceedance:
    """One exceedance of one limit. Times [s] count from the log's first sample.

    ``worst_excess_kt`` is in kt CAS; ``worst_excess_mach`` is NaN but for Mach limits;
    ``worst_value`` and ``limit_value`` are in the limit's published quantity, kt or Mach, at
    the worst instant. NaN stands for what isn't known.
    """

    flight: int
    episode: int
    limit: str
    quantity: str
    start_s: float
    end_s: float
    start_utc: np.datetime64 | None
    duration_s: float
    time_over_s: float
    began_by: str
    ended_by: str
    brief: bool
    worst_excess_kt: float
    worst_excess_mach: float
    worst_time_s: float
    worst_pressure_altitude_ft: float
    worst_value: float
    limit_value: float
    worst_limit_airspeed_kt: float
    worst_limit_pointer_kt: float
    worst_calibrated_airspeed_kt: float
    worst_mach: float


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Rows first to last over the limit without a break, and when that began and ended."""

    first: int
    last: int
    start: float
    end: float
    began_by: str
    ended_by: str
    over_s: float


def find(
    case: Case, states: Sequence[NDArray[np.uint8]], over: Collection[int], flight: int
) -> tuple[Exceedance, ...]:
    """Return all exceedances of a flight, by their start.

    `states` are those of each limit; `over` the limits with any sample over.
    """
    found = []
    for i, (limit, state) in enumerate(zip(case.sheet.limit, states, strict=True)):
        if i in over:
            stretches = _stretches(case, limit, state)
            found += [
                _exceedance(case, limit, state, stretch, flight)
                for stretch in _joined(case, limit, state, stretches)
            ]
    return _with_episodes(sorted(found, key=lambda one: (one.start_s, one.limit)))


def margin(case: Case, limit: Limit, rows: NDArray[np.intp]) -> Floats:
    """Margin to a limit in its published quantity [kt or Mach] at judged rows."""
    at = equivalents.point(case.air, rows)
    return equivalents.published_maximum(limit, at) - equivalents.published_value(
        limit, case.air, at
    )


def _stretches(case: Case, limit: Limit, state: NDArray[np.uint8]) -> list[_Stretch]:
    time, interval = case.log.time, case.log.interval_s
    reach = HELD_INTERVALS * interval if interval > 0 else np.inf
    over = np.flatnonzero(state == OVER)
    breaks = (np.diff(over) > 1) | (np.diff(time[over]) > reach)
    firsts = over[np.concatenate([[True], breaks])]
    lasts = over[np.concatenate([breaks, [True]])]
    stretches = []
    for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
        start, began_by = _beginning(case, limit, state, first, reach)
        end, ended_by = _ending(case, limit, state, last, reach)
        stretches.append(_Stretch(first, last, start, end, began_by, ended_by, end - start))
    return stretches


def _beginning(
    case: Case, limit: Limit, state: NDArray[np.uint8], first: int, reach: float
) -> tuple[float, str]:
    time = case.log.time
    if first == 0:
        return float(time[0]), "start of log"
    before = state[first - 1]
    if before not in (UNDER, NOT_APPLICABLE) or time[first] - time[first - 1] > reach:
        return float(time[first]), "gap"
    if before == NOT_APPLICABLE:
        return float(time[first]), "limit applied"
    return _crossing(case, limit, first - 1), "crossed"


def _ending(
    case: Case, limit: Limit, state: NDArray[np.uint8], last: int, reach: float
) -> tuple[float, str]:
    time, interval = case.log.time, case.log.interval_s
    if last == len(time) - 1:
        return float(time[last] + (interval if interval > 0 else 0.0)), "end of log"
    if time[last + 1] - time[last] > reach:
        return float(time[last] + reach), "gap"
    after = state[last + 1]
    if after == NOT_APPLICABLE:
        return float(time[last + 1]), "limit lifted"
    if after != UNDER:
        return float(time[last + 1]), "channel lost"
    return _crossing(case, limit, last), "recovered"


def _crossing(case: Case, limit: Limit, row: int) -> float:
    """When the margin passes zero between `row` and the next [s]."""
    before, after = margin(case, limit, np.array([row, row + 1]))
    start, end = case.log.time[row], case.log.time[row + 1]
    if before == after:
        return float(end)
    return float(start + (end - start) * min(max(before / (before - after), 0.0), 1.0))


def _joined(
    case: Case, limit: Limit, state: NDArray[np.uint8], stretches: Sequence[_Stretch]
) -> list[_Stretch]:
    """Join stretches that are parts of one event."""
    greatest = (
        case.settings.join_margin_mach if limit.is_mach else case.settings.join_margin_kt
    )
    joined: list[_Stretch] = []
    for stretch in stretches:
        before = joined[-1] if joined else None
        if (
            before is not None
            and before.ended_by == "recovered"
            and stretch.began_by == "crossed"
            and stretch.start - before.end < case.settings.join_gap_s
            and _stayed_close(case, limit, state, before.last + 1, stretch.first, greatest)
        ):
            joined[-1] = replace(
                before, last=stretch.last, end=stretch.end, ended_by=stretch.ended_by,
                over_s=before.over_s + stretch.over_s,
            )
        else:
            joined.append(stretch)
    return joined


def _stayed_close(
    case: Case, limit: Limit, state: NDArray[np.uint8], first: int, stop: int, greatest: float
) -> bool:
    if (state[first:stop] != UNDER).any():
        return False
    steps = np.diff(case.log.time[first - 1 : stop + 1])
    if case.log.interval_s > 0 and (steps > HELD_INTERVALS * case.log.interval_s).any():
        return False
    return bool((margin(case, limit, np.arange(first, stop)) < greatest).all())


def _exceedance(
    case: Case, limit: Limit, state: NDArray[np.uint8], stretch: _Stretch, flight: int
) -> Exceedance:
    rows = np.arange(stretch.first, stretch.last + 1)
    rows = rows[state[stretch.first : stretch.last + 1] == OVER]
    worst = rows[[int(margin(case, limit, rows).argmin())]]
    at = equivalents.point(case.air, worst)
    value = float(equivalents.published_value(limit, case.air, at)[0])
    maximum = float(equivalents.published_maximum(limit, at)[0])
    equivalent = equivalents.calibrated_equivalent(limit, case.air, at)
    speed = float(at.calibrated_airspeed[0])
    limit_airspeed, pointer = at_point(case, at)
    when = float(case.log.time[worst[0]])
    start = case.log.utc_start
    return Exceedance(
        flight=flight,
        episode=0,
        limit=limit.name,
        quantity=limit.quantity,
        start_s=stretch.start,
        end_s=stretch.end,
        start_utc=None if start is None else start + np.timedelta64(round(stretch.start * 1e9),
                                                                    "ns"),
        duration_s=stretch.end - stretch.start,
        time_over_s=stretch.over_s,
        began_by=stretch.began_by,
        ended_by=stretch.ended_by,
        brief=stretch.over_s < case.settings.minimum_duration_s,
        worst_excess_kt=(speed - float(equivalent[0])) / KNOT,
        worst_excess_mach=value - maximum if limit.is_mach else float("nan"),
        worst_time_s=when,
        worst_pressure_altitude_ft=float(at.pressure_altitude[0]) / FOOT,
        worst_value=value,
        limit_value=maximum,
        worst_limit_airspeed_kt=limit_airspeed / KNOT,
        worst_limit_pointer_kt=pointer / KNOT,
        worst_calibrated_airspeed_kt=speed / KNOT,
        worst_mach=float(at.mach[0]),
    )


def at_point(case: Case, at: equivalents.Point) -> tuple[float, float]:
    """Limit airspeed as CAS and limit pointer as IAS [m/s] at one row; NaN where not known."""
    if np.isnan(at.pressure_altitude[0]):
        return float("nan"), float("nan")
    reach = np.full((len(case.sheet.limit), 1), np.nan)
    shown = reach.copy()
    for i, limit in enumerate(case.sheet.limit):
        if case.state_at(i, at.rows)[0] == 1:
            reach[i] = equivalents.calibrated_equivalent(limit, case.air, at)
            if i in case.on_pointer:
                shown[i] = reach[i]
    pointer = case.air.indicated_from_calibrated(curves.lowest(shown)[0], at.rows)
    return float(curves.lowest(reach)[0][0]), float(pointer[0])


def _with_episodes(found: Sequence[Exceedance]) -> tuple[Exceedance, ...]:
    """Number the episodes: exceedances that overlap share one."""
    numbered: list[Exceedance] = []
    episode, reach = 0, -np.inf
    for one in found:
        if one.start_s >= reach:
            episode += 1
        reach = max(reach, one.end_s)
        numbered.append(replace(one, episode=episode))
    return tuple(numbered)
