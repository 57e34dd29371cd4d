"""Gaps that can't hide an exceedance: too short to reach a limit at the greatest plausible rate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.limits.evaluation import NOT_APPLICABLE, UNDER, Evaluation
from loganalyze.record import sample_reasons
from loganalyze.record.channels import CHANNELS
from loganalyze.record.intervals import HELD_INTERVALS, Intervals
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

_LOOKS = 17
"""Number of reachable altitudes at which a limit is evaluated, besides a table's nodes."""
_CONFIGURATION = frozenset(("flap", "flap_lever", "slat", "speedbrake", "gear_down", "weight",
                            "fuel", "weight_on_wheels"))
"""Channels that can't change and return within so short a gap."""


def bounded(evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]) -> Intervals:
    """Return the parts of the unknown time in which no limit can have been reached.

    Each lies between two samples at which every limit is known and not exceeded. Even if airspeed
    and altitude changed at their greatest plausible rates, each limit was out of reach, or it
    applied neither before nor after and the configuration didn't change.
    """
    time, interval = evaluation.log.time, evaluation.log.interval_s
    if not interval > 0:
        return Intervals.of(())
    known = np.flatnonzero(~evaluation.unknown(columns, slice(None)))
    wide = (np.diff(known) > 1) | (np.diff(time[known]) > HELD_INTERVALS * interval)
    before, after = known[:-1][wide], known[1:][wide]
    judged = [i for i in range(len(evaluation.sheet.limit))
              if i not in evaluation.unevaluable_limits]
    safe = np.ones(len(before), dtype=bool)
    for i in judged:
        for rows in (before, after):
            state = columns[f"state_{i}"][rows]
            safe &= (state == UNDER) | (state == NOT_APPLICABLE)
    before, after = before[safe], after[safe]
    if not len(before):
        return Intervals.of(())
    safe = np.ones(len(before), dtype=bool)
    reach = _Reach(evaluation, before, after)
    for i in judged:
        out = reach.out_of(evaluation.sheet.limit[i])
        safe &= out | _idle(evaluation, columns, i, before, after)
    starts = np.minimum(time[before] + HELD_INTERVALS * interval, time[before + 1])
    return Intervals.of(zip(starts[safe].tolist(), time[after[safe]].tolist(), strict=True))


class _Reach:
    """Bounds of airspeed, altitude and temperature between two rows, at plausible rates."""

    def __init__(self, evaluation: Evaluation, before: Rows, after: Rows) -> None:
        self._evaluation = evaluation
        span = evaluation.log.time[after] - evaluation.log.time[before]
        settings, heat = evaluation.settings, CHANNELS["total_air_temperature"]
        start, end = (evaluation.air_data_at(rows) for rows in (before, after))
        self._fastest = _furthest(start.calibrated_airspeed, end.calibrated_airspeed,
                                  settings.plausible_rate_kt_s * KNOT * span)
        climb = settings.plausible_rate_ft_s * FOOT * span
        highest = _furthest(start.pressure_altitude, end.pressure_altitude, climb)
        lowest = -_furthest(-start.pressure_altitude, -end.pressure_altitude, climb)
        self._range = tuple(
            np.clip(bound, sample_reasons.HEIGHT.lowest, sample_reasons.HEIGHT.highest)
            for bound in (lowest, highest))
        # A true airspeed limit is lowest as CAS in the warmest air; no probe reads it any warmer.
        self._warmest = np.minimum(
            _furthest(start.temperature, end.temperature,
                      heat.greatest_rate * heat.unit.factor * span), sample_reasons.HEAT.highest)
        self._start = start

    def out_of(self, limit: Limit) -> NDArray[np.bool_]:
        """Whether the limit was out of reach, bool[gaps]; False where that isn't known."""
        lowest, highest = self._range
        if not limit.kind.is_speed:
            return np.zeros(len(lowest), dtype=bool)
        heights = [lowest + (highest - lowest) * part for part in np.linspace(0, 1, _LOOKS)]
        heights += [np.clip(node, lowest, highest) for node in limit.nodes_m]
        height, count = np.concatenate(heights), len(heights)
        start = self._start.taken(np.tile(np.arange(len(lowest)), count))
        error = start.indicated_altitude - start.pressure_altitude
        at = replace(start, pressure_altitude=height, temperature=np.tile(self._warmest, count),
                     indicated_altitude=height + error)
        equivalent = self._evaluation.equivalent(limit, at).reshape(count, len(lowest))
        return np.asarray((equivalent > self._fastest).all(axis=0))


def _furthest(start: Floats, end: Floats, change: Floats) -> Floats:
    """Return the greatest value between `start` and `end` at a total change of `change`.

    float64[gaps]; NaN where start and end differ by more than `change`.
    """
    peak = (start + end + change) / 2
    return np.where(np.abs(end - start) <= change, peak, np.nan)


def _idle(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]], i: int, before: Rows, after: Rows
) -> NDArray[np.bool_]:
    """Whether a limit applied neither before nor after, and none of its channels changed."""
    state = columns[f"state_{i}"]
    idle = (state[before] == NOT_APPLICABLE) & (state[after] == NOT_APPLICABLE)
    for condition in condition_states.recorded(
            evaluation.sheet.limit[i].conditions, evaluation.cleaned, evaluation.declared,
            evaluation.sheet.configuration):
        if condition.condition.channel not in _CONFIGURATION:
            return np.zeros(len(before), dtype=bool)
        for values in condition.readings:
            idle &= np.abs(values[after] - values[before]) <= 1e-9 * np.abs(values[before])
    return np.asarray(idle)
