"""Which stretches over a limit are parts of one exceedance.

Three rules, of which one is enough:

- *Chatter*: less than ``join_gap_s`` under the limit, by less than the quantity's own join
  margin (``join_margin_kt``, ``join_margin_mach``) throughout.
- *Ridden*: the limit is flown along, and noise carries samples over it. Up to ``ride_gap_s``
  under the limit, never by more than ``ride_noise`` standard deviations of the margin's own
  white noise, as the samples about the stretches show it: a quiet log joins little, and a
  departure that is none of noise ends the exceedance.
- *Hole*: samples are missing or were screened out between. Where the limit can't have been
  regained in so short a time, at three times the greatest rate that the margin shows about the
  hole (and at least ``hole_least_rate_kt_s``, at most ``hole_greatest_rate_kt_s``), the stretches
  are one, and the hole counts as over and is stated. Any other hole parts two exceedances.
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
"""How a stretch relates to the one before it: another exceedance, another touch of the same, or
the same stretch with a bounded hole between."""
_AROUND_S = 60.0
"""Samples so far to either side [s] tell the noise, and the rate at a hole."""
_NOISE_ROWS, _NOISE_LEAST = 2048, 30
_TIMES_OWN_RATE = 3.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows first to last over the limit, and when that began and ended.

    ``over_s`` : time over in it, in ``touches`` stretches without a break, of which the longest
    lasted ``longest_s``; ``bounded_s`` : the part of it for which no sample stands [s];
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
    """How long [s] a sample stands for at most."""
    return HELD_INTERVALS * evaluation.log.interval_s if evaluation.log.interval_s > 0 else np.inf


def joined(
    evaluation: Evaluation, limit: Limit, state: States, stretches: Sequence[Stretch]
) -> list[Stretch]:
    """Join stretches that are parts of one exceedance, see the module's docstring."""
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
                # What stands beyond the last sample before a bounded hole is the hole's.
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
    """How each stretch but the first relates to the one before it."""
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
             if before.ended_by in ("gap", "channel lost") and after.began_by == "gap"
             and (state[before.last + 1 : after.first] == UNKNOWN).all()]
    if holes and limit.kind.is_speed:  # How fast a margin closes at most is known of speeds alone.
        beside = np.array([(stretches[i].last, stretches[i + 1].first) for i in holes])
        over = -evaluation.margin_kt(limit, beside.ravel()).reshape(beside.shape).sum(axis=1)
        for i, (before, after), both in zip(holes, beside.tolist(), over.tolist(), strict=True):
            if _is_bounded(evaluation, limit, before, after, both):
                found[i] = BOUNDED
    return found


def _greatest_margins(
    evaluation: Evaluation, limit: Limit, state: States, stretches: Sequence[Stretch],
    which: Sequence[int],
) -> list[float]:
    """Return the greatest margin between stretch i and the next; infinite where it isn't known."""
    time = evaluation.log.time
    between = [(stretches[i].last + 1, stretches[i + 1].first) for i in which]
    # All rows in one call: a limit ridden in gusts has thousands of such pieces. With the row
    # after it each piece has all its steps in time.
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
    return [float(one) for one in greatest]


def _ridden(
    evaluation: Evaluation, limit: Limit, stretches: Sequence[Stretch], crossed: Sequence[int],
    found: list[Relation], greatest: Sequence[float],
) -> None:
    """Join the touches of a limit that is flown along within the noise."""
    settings, margins = evaluation.settings, dict(zip(crossed, greatest, strict=True))
    # No noise beyond this counts, so that some margins need no estimate of it.
    most = settings.ride_noise * limit.kind.join_margin(settings)
    for some in _clusters(crossed):
        near = [i for i in some if found[i] != TOUCHES and margins[i] < most]
        if not near:
            continue
        noise = _noise(evaluation, limit, stretches[some[0]].first, stretches[some[-1] + 1].last)
        for i in near:
            if margins[i] < settings.ride_noise * noise:
                found[i] = TOUCHES


def _clusters(crossed: Sequence[int]) -> Iterator[list[int]]:
    """Yield runs of consecutive indices."""
    edges = np.flatnonzero(np.diff(crossed) > 1) + 1
    for part in np.split(np.asarray(crossed), edges):
        yield [int(one) for one in part]


def _noise(evaluation: Evaluation, limit: Limit, first: int, last: int) -> float:
    """Standard deviation of the margin's white noise about some rows, in the limit's unit."""
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
    # Where samples are few and far between the corners of what was flown pass for noise.
    rough = noise_of(margins[~np.isnan(margins)])
    most = limit.kind.join_margin(evaluation.settings)
    # More than this is flown, not noise.
    return min(max(min(found.white, rough), rounding), most)


def _step(evaluation: Evaluation, limit: Limit, rows: Rows) -> float:
    """The recorder's step of the airspeed in the limit's own unit, 0 for none.

    Of a quantity that is no speed it is that of its own values.
    """
    at = evaluation.air_data_at(rows)
    value = limit_equivalents.published_value(limit, at)
    step = step_of(evaluation.air.screened_airspeed[rows] if limit.kind.is_speed else value)
    if not step > 0:
        return 0.0
    if not limit.kind.is_speed:
        return float(step)
    share = np.nanmedian(value / at.calibrated_airspeed)
    return float(step * share) if np.isfinite(share) else 0.0


def _is_bounded(evaluation: Evaluation, limit: Limit, before: int, after: int, over: float) -> bool:
    """Whether the limit can't have been regained in a hole between two rows over it.

    `over` : the sum of both excesses [kt].
    """
    settings, time = evaluation.settings, evaluation.log.time
    wait = float(time[after] - time[before])
    # The rate lies between two bounds: what these decide needs no rate.
    if wait > settings.hole_longest_s or not over > settings.hole_least_rate_kt_s * wait:
        return False
    hole = np.arange(before + 1, after)
    if (evaluation.applies(limit, hole) != condition_states.YES).any():
        return False
    return (over > settings.hole_greatest_rate_kt_s * wait
            or over > _rate(evaluation, limit, before, after) * wait)


def _rate(evaluation: Evaluation, limit: Limit, before: int, after: int) -> float:
    """The greatest rate [kt/s] at which the margin may have changed in a hole between two rows."""
    settings, time = evaluation.settings, evaluation.log.time
    interval = evaluation.log.interval_s
    least, most = settings.hole_least_rate_kt_s, settings.hole_greatest_rate_kt_s
    low, high = np.searchsorted(time, (time[before] - _AROUND_S, time[after] + _AROUND_S))
    own = np.nan
    for first, stop in ((int(low), before + 1), (after, int(high))):
        rows = np.arange(first, stop)
        margins = evaluation.margin_kt(limit, rows)
        # Over some two seconds: the step from one sample to the next is mostly noise.
        apart = max(1, round(2.0 / interval)) if interval > 0 else 1
        if len(rows) > apart:
            moved = np.abs(margins[apart:] - margins[:-apart])
            own = np.fmax(own, np.nanmax(
                moved / (time[rows[apart:]] - time[rows[:-apart]]), initial=0.0))
    # Too few samples tell no rate: then the greatest counts.
    return most if np.isnan(own) else min(max(_TIMES_OWN_RATE * float(own), least), most)
