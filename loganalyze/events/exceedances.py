"""Exceedances of each limit: start, end, time over the limit, and worst instant.

The rules that join stretches over a limit to one exceedance are in `joining`.

A crossing of the limit is interpolated between the sample under and the sample over it, on the
recorded time stamps, in the limit's published quantity. A limit that begins or ceases to apply
is a step, which isn't interpolated: the sample at which it is first recorded counts.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.joining import Stretch, joined, reach
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import NOT_APPLICABLE, OVER, UNDER, Evaluation
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Exceedance:
    """One exceedance of one limit. Times [s] count from the log's first sample.

    ``duration_s`` is the span from start to end, ``time_over_s`` the time spent over the limit in
    it, in ``touches`` stretches of which the longest took ``longest_over_s``; ``bounded_s`` is the
    part of the time over that lies in gaps between samples, too short to have returned below the
    limit. ``worst_excess_kt`` is in kt CAS; ``worst_excess_mach`` is NaN except for Mach
    limits; ``worst_value`` and ``limit_value`` are in the limit's published quantity, kt or Mach,
    at the worst instant. ``start_uncertainty_s`` and ``end_uncertainty_s`` : greatest
    distance of the true start and end from those stated, since both lie between two samples; NaN
    where the neighbouring sample isn't known. ``over`` : start and end of each touch, bounded gaps
    included. Unknown values are NaN.
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
    touches: int
    longest_over_s: float
    bounded_s: float
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
    start_uncertainty_s: float
    end_uncertainty_s: float
    over: tuple[tuple[float, float], ...] = ()

    @property
    def worst_excess(self) -> float:
        """Greatest excess in the limit's own unit; NaN for limits on speeds.

        Limits on speeds have ``worst_excess_kt`` and ``worst_excess_mach``.
        """
        is_speed = quantity_of(self.quantity).is_speed
        return float("nan") if is_speed else self.worst_value - self.limit_value

    @property
    def unit(self) -> str:
        """The unit of ``worst_value`` and ``limit_value``: kt, Mach or such as g."""
        return quantity_of(self.quantity).unit.name


def find(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]],
    over: Mapping[int, NDArray[np.intp]], flight: int,
) -> tuple[Exceedance, ...]:
    """Return all exceedances of a flight, ordered by start.

    `columns` : the state of each limit, such as ``state_0``; `over` : the rows over each limit, by
    index, ascending, without entries for limits never exceeded.
    """
    found = []
    for i, limit in enumerate(evaluation.sheet.limit):
        if i in over:
            state = columns[f"state_{i}"]
            stretches = _stretches(evaluation, limit, state, over[i])
            found += _exceedances(
                evaluation, limit, state, joined(evaluation, limit, state, stretches), flight
            )
    return _with_episodes(
        sorted(found, key=lambda exceedance: (exceedance.start_s, exceedance.limit)))


def _stretches(
    evaluation: Evaluation, limit: Limit, state: NDArray[np.uint8], over: NDArray[np.intp]
) -> list[Stretch]:
    time = evaluation.log.time
    breaks = (np.diff(over) > 1) | (np.diff(time[over]) > reach(evaluation))
    firsts = over[np.concatenate([[True], breaks])]
    lasts = over[np.concatenate([breaks, [True]])]
    starts, began = _beginnings(evaluation, limit, state, firsts)
    ends, ended = _endings(evaluation, limit, state, lasts)
    return [
        Stretch(first, last, start, end, began_by, ended_by, end - start, end - start)
        for first, last, start, end, began_by, ended_by in zip(
            firsts.tolist(), lasts.tolist(), starts.tolist(), ends.tolist(), began, ended,
            strict=True)
    ]


def _beginnings(
    evaluation: Evaluation, limit: Limit, state: NDArray[np.uint8], firsts: NDArray[np.intp]
) -> tuple[Floats, list[str]]:
    """Return the start [s] of each stretch and how it began, from its first row."""
    time = evaluation.log.time
    starts = time[firsts].copy()
    before = np.maximum(firsts - 1, 0)
    whole = (firsts > 0) & (time[firsts] - time[before] <= reach(evaluation))
    crossed = whole & (state[before] == UNDER)
    applied = whole & (state[before] == NOT_APPLICABLE)
    starts[crossed] = _crossings(evaluation, limit, before[crossed])
    return starts, np.select(
        [crossed, applied, firsts == 0], ["crossed", "limit applied", "start of log"], "gap"
    ).tolist()


def _endings(
    evaluation: Evaluation, limit: Limit, state: NDArray[np.uint8], lasts: NDArray[np.intp]
) -> tuple[Floats, list[str]]:
    """Return the end [s] of each stretch and how it ended, from its last row."""
    time, interval = evaluation.log.time, evaluation.log.interval_s
    at_end = lasts == len(time) - 1
    after = np.where(at_end, lasts, lasts + 1)
    gap = time[after] - time[lasts] > reach(evaluation)
    recovered = ~at_end & ~gap & (state[after] == UNDER)
    lifted = ~at_end & ~gap & (state[after] == NOT_APPLICABLE)
    ends = np.where(gap, time[lasts] + reach(evaluation), time[after])
    ends[at_end] += interval if interval > 0 else 0.0
    ends[recovered] = _crossings(evaluation, limit, lasts[recovered])
    return ends, np.select(
        [at_end, gap, recovered, lifted], ["end of log", "gap", "recovered", "limit lifted"],
        "channel lost",
    ).tolist()


def _crossings(evaluation: Evaluation, limit: Limit, rows: NDArray[np.intp]) -> Floats:
    """Return the time [s] at which the margin is zero between each row and the next."""
    before, after = evaluation.margin(limit, rows), evaluation.margin(limit, rows + 1)
    start, end = evaluation.log.time[rows], evaluation.log.time[rows + 1]
    # A margin within the tolerance may be of either sign, so the share is clipped.
    share = np.clip(before / np.where(before == after, 1.0, before - after), 0.0, 1.0)
    return start + (end - start) * np.where(before == after, 1.0, share)


def _exceedances(
    evaluation: Evaluation, limit: Limit, state: NDArray[np.uint8], stretches: Sequence[Stretch],
    flight: int,
) -> list[Exceedance]:
    # One call for all: a flight along a limit in gusts has thousands of stretches.
    over = [
        stretch.first + np.flatnonzero(state[stretch.first : stretch.last + 1] == OVER)
        for stretch in stretches
    ]
    margins = evaluation.margin(limit, np.concatenate(over))
    margins_of_stretches = np.split(margins, np.cumsum([len(rows) for rows in over[:-1]]))
    worst = np.array([rows[stretch_margins.argmin()]
                      for rows, stretch_margins in zip(over, margins_of_stretches, strict=True)])
    at = evaluation.air_data_at(worst)
    value = limit_equivalents.published_value(limit, at)
    maximum = limit_equivalents.published_maximum(limit, at)
    equivalent = evaluation.equivalent(limit, at)
    lowest = evaluation.lowest(at, _compared(evaluation, limit))
    found = {
        "worst_excess_kt": (at.calibrated_airspeed - equivalent) / KNOT,
        "worst_excess_mach": value - maximum if limit.kind.suffix == LimitedMach.suffix
        else np.full(len(worst), np.nan),
        "worst_time_s": evaluation.log.time[worst],
        "worst_pressure_altitude_ft": at.pressure_altitude / FOOT,
        "worst_value": value,
        "limit_value": maximum,
        "worst_limit_airspeed_kt": lowest.limit_airspeed / KNOT,
        "worst_limit_pointer_kt": evaluation.limit_pointer(at, lowest.equivalents) / KNOT,
        "worst_calibrated_airspeed_kt": at.calibrated_airspeed / KNOT,
        "worst_mach": at.mach,
    }
    if not limit.kind.is_speed:  # The speed limits at that instant are irrelevant.
        nothing = np.full(len(worst), np.nan)
        found |= {"worst_limit_airspeed_kt": nothing, "worst_limit_pointer_kt": nothing}
    start, time = evaluation.log.utc_start, evaluation.log.time
    return [
        Exceedance(
            flight=flight,
            episode=0,
            limit=limit.name,
            quantity=limit.quantity,
            start_s=stretch.start,
            end_s=stretch.end,
            start_utc=None if start is None else start + np.timedelta64(
                round(stretch.start * 1e9), "ns"),
            duration_s=stretch.end - stretch.start,
            time_over_s=stretch.over_s,
            touches=stretch.touches,
            longest_over_s=stretch.longest_s,
            bounded_s=stretch.bounded_s,
            began_by=stretch.began_by,
            ended_by=stretch.ended_by,
            brief=stretch.over_s < evaluation.settings.minimum_duration_s,
            start_uncertainty_s=_uncertainty(
                time, stretch.start, stretch.first - 1, stretch.began_by),
            end_uncertainty_s=_uncertainty(time, stretch.end, stretch.last, stretch.ended_by),
            over=stretch.over,
            **dict(zip(found, numbers, strict=True)),
        )
        for stretch, *numbers in zip(
            stretches, *(values.tolist() for values in found.values()), strict=True)
    ]


def _compared(evaluation: Evaluation, limit: Limit) -> list[int]:
    """Return the limits whose lowest is reported as limit airspeed at an exceedance.

    Unless the exceeded limit needs a temperature, limits that do are left out, so that a faulty
    temperature doesn't change the result.
    """
    return [i for i, other in enumerate(evaluation.sheet.limit)
            if limit.kind.needs_temperature or not other.kind.needs_temperature]


def _uncertainty(time: Floats, at: float, before: int, by: str) -> float:
    """Return the greatest error of a start or end [s]: the distance to the farther sample."""
    if by not in ("crossed", "recovered", "limit applied", "limit lifted"):
        return float("nan")
    return float(max(at - time[before], time[before + 1] - at))


def _with_episodes(found: Sequence[Exceedance]) -> tuple[Exceedance, ...]:
    """Number the episodes: exceedances that overlap, or start together, share one.

    Exceedances of limits that need a temperature are assigned after the others, to their episodes
    or to later numbers, so that a faulty temperature doesn't renumber the rest. Those of limits on
    quantities other than speeds come last, likewise.
    """
    tiers = [_tier(exceedance) for exceedance in found]
    spans: list[list[tuple[float, float]]] = []
    for tier in range(_TIERS):
        spans.append(_spans(exceedance for exceedance, own in zip(found, tiers, strict=True)
                            if own == tier and _episode(exceedance, spans) is None))
    return tuple(replace(exceedance, episode=(_episode(exceedance, spans) or 0) + 1)
                 for exceedance in found)


_TIERS = 3


def _tier(exceedance: Exceedance) -> int:
    quantity = quantity_of(exceedance.quantity)
    return 2 if not quantity.is_speed else 1 if quantity.needs_temperature else 0


def _episode(
    exceedance: Exceedance, spans: Sequence[Sequence[tuple[float, float]]]
) -> int | None:
    """Return the number, from 0, of the first span that an exceedance overlaps, tier by tier."""
    before = 0
    for tier_spans in spans:
        episode = _span_of(exceedance, tier_spans)
        if episode is not None:
            return before + episode
        before += len(tier_spans)
    return None


def _spans(found: Iterable[Exceedance]) -> list[tuple[float, float]]:
    """Return start and end [s] of each run of exceedances that overlap or start together."""
    spans: list[tuple[float, float]] = []
    for exceedance in found:
        start, end = exceedance.start_s, exceedance.end_s
        if spans and (start < spans[-1][1] or start == spans[-1][0]):
            spans[-1] = (spans[-1][0], max(spans[-1][1], end))
        else:
            spans.append((start, end))
    return spans


def _span_of(exceedance: Exceedance, spans: Sequence[tuple[float, float]]) -> int | None:
    """Return the index of the first span that an exceedance overlaps, None without any."""
    first = bisect_right(spans, exceedance.start_s, key=lambda span: span[1])
    for i in range(max(first - 1, 0), min(first + 1, len(spans))):
        start, end = spans[i]
        if exceedance.start_s == start or (
                exceedance.start_s < end and exceedance.end_s > start):
            return i
    return None
