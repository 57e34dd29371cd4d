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
"""Altitudes within reach at which a limit is looked at; a table's rows come on top."""
_CONFIGURATION = frozenset(("flap", "flap_lever", "slat", "speedbrake", "gear_down", "weight",
                            "fuel", "weight_on_wheels"))
"""Channels that don't go out and back within a gap so short as this is about."""


def bounded(evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]) -> Intervals:
    """Return the parts of the unknown time in which no limit can have been reached.

    Between two samples that are known and under, for each limit: even where airspeed and
    altitude went at their greatest plausible rates the limit stayed out of reach, or it applied
    neither before nor after and nothing of the configuration changed.
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
    safe = np.ones(len(before), dtype=bool)
    reach = _Reach(evaluation, before, after)
    for i in judged:
        out = reach.out_of(evaluation.sheet.limit[i])
        safe &= out | _idle(evaluation, columns, i, before, after)
    starts = np.minimum(time[before] + HELD_INTERVALS * interval, time[before + 1])
    return Intervals.of(zip(starts[safe].tolist(), time[after[safe]].tolist(), strict=True))


class _Reach:
    """How fast, how high, how low and how warm it may have been between two rows."""

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
            np.clip(one, sample_reasons.HEIGHT.lowest, sample_reasons.HEIGHT.highest)
            for one in (lowest, highest))
        # The warmer the air, the more true airspeed for the same calibrated one.
        self._warmest = _furthest(start.temperature, end.temperature,
                                  heat.greatest_rate * heat.unit.factor * span)
        self._start = start

    def out_of(self, limit: Limit) -> NDArray[np.bool_]:
        """Whether the limit stayed out of reach, bool[gaps]; False where that can't be told."""
        lowest, highest = self._range
        if not limit.kind.is_speed:
            return np.zeros(len(lowest), dtype=bool)
        heights = [lowest + (highest - lowest) * part for part in np.linspace(0, 1, _LOOKS)]
        heights += [np.clip(node, lowest, highest) for node in limit.nodes_m]
        out = np.ones(len(lowest), dtype=bool)
        error = self._start.indicated_altitude - self._start.pressure_altitude
        for height in heights:
            at = replace(self._start, pressure_altitude=height, temperature=self._warmest,
                         indicated_altitude=height + error)
            equivalent = self._evaluation.equivalent(limit, at)
            out &= equivalent > self._fastest
        return out


def _furthest(start: Floats, end: Floats, change: Floats) -> Floats:
    """The greatest value between two that are so great a change apart at most; NaN if further."""
    peak = (start + end + change) / 2
    return np.where(np.abs(end - start) <= change, peak, np.nan)


def _idle(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]], i: int, before: Rows, after: Rows
) -> NDArray[np.bool_]:
    """Whether a limit applied neither before nor after, and nothing that it goes by changed."""
    state = columns[f"state_{i}"]
    idle = (state[before] == NOT_APPLICABLE) & (state[after] == NOT_APPLICABLE)
    for one in condition_states.recorded(
            evaluation.sheet.limit[i].conditions, evaluation.cleaned, evaluation.declared,
            evaluation.sheet.configuration):
        if one.condition.channel not in _CONFIGURATION:
            return np.zeros(len(before), dtype=bool)
        for values in one.readings:
            idle &= np.abs(values[after] - values[before]) <= 1e-9 * np.abs(values[before])
    return np.asarray(idle)
