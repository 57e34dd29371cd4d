"""Joining of stretches over a limit to one exceedance.

Two stretches are joined by any of three rules:

- *Chatter*: less than ``join_gap_s`` under the limit, by less than the quantity's own join
  margin (``join_margin_kt``, ``join_margin_mach``) throughout.
- *Ridden*: the speed follows the limit, and noise takes samples over it. At most ``ride_gap_s``
  under the limit, by at most ``ride_noise`` standard deviations of the margin's white noise,
  estimated from the samples around: a log with little noise joins little, and a departure greater
  than noise ends the exceedance.
- *Hole*: samples between are missing or rejected. If the speed can't have returned below the limit
  in that time, at three times the greatest rate of the margin around the hole (at least
  ``hole_least_rate_kt_s``, at most ``hole_greatest_rate_kt_s``), the hole counts as time over the
  limit, reported as ``bounded_s``. Any other hole separates two exceedances.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, Literal, assert_never

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import UNDER, UNKNOWN, Evaluation
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.screening.noise_estimation import noise_near, noise_of
from loganalyze.screening.quantization import step_of
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
States = NDArray[np.uint8]

Relation = Literal["apart", "touches", "bounded"]
APART: Final = "apart"
TOUCHES: Final = "touches"
BOUNDED: Final = "bounded"
"""Relation of a stretch to the one before it: another exceedance, another touch of the same
exceedance, or the same touch with a bounded hole between."""
_AROUND_S = 60.0
"""Samples within this time [s] on either side give the noise, and the rate at a hole."""
_NOISE_ROWS, _NOISE_LEAST = 2048, 30
_TIMES_OWN_RATE = 3.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch over a limit: rows ``first`` to ``last``, times ``start`` to ``end`` [s].

    ``over_s`` : time over the limit [s], in ``touches`` stretches without interruption, of which
    the longest lasted ``longest_s``; ``bounded_s`` : the part of it in bounded holes [s];
    ``over`` : start and end [s] of each touch, bounded holes included.
    """

    first: int
    last: int
    start: float
    end: float
    began_by: str
    ended_by: str
    over_s: float
    longest_s: float
    touches: int = 1
    bounded_s: float = 0.0
    over: tuple[tuple[float, float], ...] = ()


def reach(evaluation: Evaluation) -> float:
    """Return the greatest time [s] that a sample stands for; infinite without a usual interval."""
    return HELD_INTERVALS * evaluation.log.interval_s if evaluation.log.interval_s > 0 else np.inf


def joined(
    evaluation: Evaluation, limit: Limit, state: States, stretches: Sequence[Stretch]
) -> list[Stretch]:
    """Join stretches that are parts of one exceedance, by the rules in the module's docstring."""
    events: list[Stretch] = []
    over: list[list[tuple[float, float]]] = []
    run = 0.0
    """Time of the last touch so far, bounded holes included [s]."""
    relations: tuple[Relation, ...] = (APART, *_relations(evaluation, limit, state, stretches))
    for stretch, relation in zip(stretches, relations, strict=True):
        match relation:
            case "apart":
                events.append(stretch)
                over.append([(stretch.start, stretch.end)])
                run = stretch.over_s
                continue
            case "touches":
                hole, began, run = 0.0, stretch.start, stretch.over_s
            case "bounded":
                hole = max(stretch.start - events[-1].end, 0.0)
                began = over[-1].pop()[0]
                # The time after the last sample before a bounded hole belongs to the hole.
                run = run + hole + stretch.over_s
            case _:
                assert_never(relation)
        before = events[-1]
        over[-1].append((began, stretch.end))
        events[-1] = replace(
            before, last=stretch.last, end=stretch.end, ended_by=stretch.ended_by,
            over_s=before.over_s + hole + stretch.over_s, longest_s=max(before.longest_s, run),
            touches=before.touches + (relation == TOUCHES), bounded_s=before.bounded_s + hole)
    return [replace(event, over=tuple(spans)) for event, spans in zip(events, over, strict=True)]


def _relations(
    evaluation: Evaluation, limit: Limit, state: States, stretches: Sequence[Stretch]
) -> list[Relation]:
    """Return the relation of each stretch but the first to the one before it."""
    settings = evaluation.settings
    found: list[Relation] = [APART] * max(len(stretches) - 1, 0)
    crossed = [i for i, (before, after) in enumerate(pairwise(stretches))
               if before.ended_by == "recovered" and after.began_by == "crossed"
               and after.start - before.end < max(settings.join_gap_s, settings.ride_gap_s)]
    if crossed:
        greatest_margins = _greatest_margins(evaluation, limit, state, stretches, crossed)
        for i, most in zip(crossed, greatest_margins, strict=True):
            apart = stretches[i + 1].start - stretches[i].end
            greatest = limit.kind.join_margin(settings)
            if apart < settings.join_gap_s and most < greatest:
                found[i] = TOUCHES
        _ridden(evaluation, limit, stretches, crossed, found, greatest_margins)
    holes = [i for i, (before, after) in enumerate(pairwise(stretches))
             if (state[before.last + 1 : after.first] == UNKNOWN).all()]
    if holes and limit.kind.is_speed:  # Greatest rates are known for speeds alone.
        beside = np.array([(stretches[i].last, stretches[i + 1].first) for i in holes])
        over = -evaluation.margin_kt(limit, beside.ravel()).reshape(beside.shape).sum(axis=1)
        for i, (before, after), both in zip(holes, beside.tolist(), over.tolist(), strict=True):
            if _is_bounded(evaluation, limit, before, after, both):
                found[i] = BOUNDED
    return found


def _greatest_margins(
    evaluation: Evaluation, limit: Limit, state: States, stretches: Sequence[Stretch],
    crossed: Sequence[int],
) -> list[float]:
    """Return the greatest margin between stretch i and the next; infinite where unknown."""
    time = evaluation.log.time
    between = [(stretches[i].last + 1, stretches[i + 1].first) for i in crossed]
    # One call for all rows: a flight along a limit in gusts has thousands of these pieces. Each
    # includes the row after it, so that all its time steps are checked.
    rows = np.concatenate([np.arange(first, stop + 1) for first, stop in between])
    lengths = np.array([stop + 1 - first for first, stop in between])
    starts = np.cumsum(lengths) - lengths
    inside = np.ones(len(rows), dtype=bool)
    inside[starts + lengths - 1] = False
    broken = (inside & (state[rows] != UNDER)) | (time[rows] - time[rows - 1] > reach(evaluation))
    margins = np.full(len(rows), -np.inf)
    margins[inside] = evaluation.margin(limit, rows[inside])
    whole = ~np.logical_or.reduceat(broken, starts)
    greatest = np.where(whole, np.maximum.reduceat(margins, starts), np.inf)
    return [float(margin) for margin in greatest]


def _ridden(
    evaluation: Evaluation, limit: Limit, stretches: Sequence[Stretch], crossed: Sequence[int],
    found: list[Relation], greatest: Sequence[float],
) -> None:
    """Mark the touches to be joined because the margin between them is within its noise."""
    settings, margins = evaluation.settings, dict(zip(crossed, greatest, strict=True))
    # `_noise` is limited to the join margin: greater margins need no estimate.
    most = settings.ride_noise * limit.kind.join_margin(settings)
    for cluster in _clusters(crossed):
        near = [i for i in cluster if found[i] != TOUCHES and margins[i] < most]
        if not near:
            continue
        first, last = stretches[cluster[0]].first, stretches[cluster[-1] + 1].last
        noise = _noise(evaluation, limit, first, last)
        for i in near:
            if margins[i] < settings.ride_noise * noise:
                found[i] = TOUCHES


def _clusters(crossed: Sequence[int]) -> Iterator[list[int]]:
    """Yield runs of consecutive indices."""
    edges = np.flatnonzero(np.diff(crossed) > 1) + 1
    for part in np.split(np.asarray(crossed), edges):
        yield [int(index) for index in part]


def _noise(evaluation: Evaluation, limit: Limit, first: int, last: int) -> float:
    """Return the standard deviation of the margin's white noise around rows [limit's unit]."""
    time = evaluation.log.time
    low, high = np.searchsorted(time, (time[first] - _AROUND_S, time[last] + _AROUND_S))
    middle = (int(low) + int(high)) // 2
    rows = np.arange(max(int(low), middle - _NOISE_ROWS // 2),
                     min(int(high), middle + _NOISE_ROWS // 2))
    margins = evaluation.margin(limit, rows)
    rounding = _step(evaluation, limit, rows) / math.sqrt(12.0)
    found = noise_near(time[rows], margins)
    if found.samples < _NOISE_LEAST:
        return 0.0
    # At a low sampling rate, changes of the flown speed can be mistaken for noise.
    from_differences = noise_of(margins[~np.isnan(margins)])
    most = limit.kind.join_margin(evaluation.settings)
    # A greater scatter is motion of the aircraft.
    return min(max(min(found.white, from_differences), rounding), most)


def _step(evaluation: Evaluation, limit: Limit, rows: Rows) -> float:
    """Return the quantization step of the airspeed in the limit's own unit, 0 without one.

    For a quantity other than a speed it is the step of its own values.
    """
    value = limit_equivalents.published_value(limit, evaluation.air_data_at(rows))
    recorded = evaluation.air.screened_airspeed[rows] if limit.kind.is_speed else value
    known = (recorded > 0.0) & ~np.isnan(value)
    step = step_of(recorded) * np.median(value[known] / recorded[known]) if known.any() else 0.0
    return float(step) if step > 0 else 0.0


def _is_bounded(evaluation: Evaluation, limit: Limit, before: int, after: int, over: float) -> bool:
    """Whether the speed can't have returned below the limit between two rows over it.

    `over` : the sum of both excesses [kt].
    """
    settings, time = evaluation.settings, evaluation.log.time
    wait = float(time[after] - time[before])
    # The rate lies between two bounds, which decide most cases.
    if wait > settings.hole_longest_s or not over > settings.hole_least_rate_kt_s * wait:
        return False
    hole = np.arange(before + 1, after)
    if (evaluation.applies(limit, hole) != condition_states.YES).any():
        return False
    return (over > settings.hole_greatest_rate_kt_s * wait
            or over > _rate(evaluation, limit, before, after) * wait)


def _rate(evaluation: Evaluation, limit: Limit, before: int, after: int) -> float:
    """Return the greatest rate [kt/s] at which the margin may change between two rows."""
    settings, time = evaluation.settings, evaluation.log.time
    interval = evaluation.log.interval_s
    least, most = settings.hole_least_rate_kt_s, settings.hole_greatest_rate_kt_s
    low, high = np.searchsorted(time, (time[before] - _AROUND_S, time[after] + _AROUND_S))
    observed = np.nan
    for first, stop in ((int(low), before + 1), (after, int(high))):
        rows = np.arange(first, stop)
        margins = evaluation.margin_kt(limit, rows)
        # Over some two seconds: the step from one sample to the next is mostly noise.
        apart = max(1, round(2.0 / interval)) if interval > 0 else 1
        if len(rows) > apart:
            moved = np.abs(margins[apart:] - margins[:-apart])
            observed = np.fmax(observed, np.nanmax(
                moved / (time[rows[apart:]] - time[rows[:-apart]]), initial=0.0))
    # With too few samples for a rate, the greatest one is assumed.
    return most if np.isnan(observed) else min(max(_TIMES_OWN_RATE * float(observed), least), most)
