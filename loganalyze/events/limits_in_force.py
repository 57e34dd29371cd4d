"""Limits of flaps, slats or gear that are in force where no aircraft flies with them out.

A channel seldom reads exactly 0 with the flaps up. Where the range in the limits sheet takes in
the value at which the channel rests, or a state is the wrong way round, the limit is in force
through climb and cruise, and the whole flight would be an exceedance. Such a limit isn't judged:
the sheet is asked about.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.events import recording_quality
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import Evaluation
from loganalyze.record.channels import kind
from loganalyze.record.findings import Finding
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE
from loganalyze.screening import sample_checks
from loganalyze.sheets.limit_conditions import Condition

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

CONFIGURATION = frozenset(("flap", "flap_lever", "slat", "gear_down"))
"""The channels whose limits are looked at. A gear that moves, or a speedbrake, is out for a
moment only."""
NEAR_REST = {"deg": 1.0 * DEGREE}
"""How far [SI] from the value at which a channel rests a reading is still at rest: the noise and
drift of a position sensor, well below the step between two detents. A state must be the same."""

_NEARLY_ALL = 0.9
"""A limit in force for this share of the airborne time is so throughout the flight."""


def questioned(
    evaluation: Evaluation, rows_over: Mapping[int, Rows], judged_s: float
) -> tuple[tuple[int, Finding], ...]:
    """Return the limits whose conditions hold where no aircraft flies so, and what to correct.

    A limit is questioned if it was exceeded for ``settings.at_rest_s`` in total, at readings
    where each channel of flaps, slats or gear that it goes by stands for most of the airborne
    time; and either by ``settings.at_rest_pct`` of the limit for that long, or with the limit
    in force for nearly all of the airborne time.

    Parameters
    ----------
    evaluation : Evaluation
        With what was screened out noted in ``evaluation.air``.
    rows_over : mapping of int to intp[m]
        The rows over each limit that has any, by the limit's index in the sheet.
    judged_s : float  [s]
        The time in which the limits were judged: the flight was recorded for at least so long.

    Returns
    -------
    tuple of (int, Finding)
        The limit's index in the sheet, and a finding for each such limit.
    """
    settings, found = evaluation.settings, []
    for i, rows in rows_over.items():
        limit = evaluation.sheet.limit[i]
        if not any(one.channel in CONFIGURATION for one in limit.conditions):
            continue
        time, interval = evaluation.log.time, evaluation.log.interval_s
        over_s = float(sample_checks.held_at(time, interval, rows).sum())
        if over_s < settings.at_rest_s:
            continue
        airborne = ~recording_quality.rows_on_ground(evaluation.log, evaluation.air, settings)[1]
        at = evaluation.air_data_at(rows)
        value = limit_equivalents.published_value(limit, at)
        far = value > (1 + settings.at_rest_pct / 100) * limit_equivalents.published_maximum(
            limit, at
        )
        if sample_checks.held_at(time, interval, rows[far]).sum() >= settings.at_rest_s:
            rows = rows[far]
        elif not _nearly_always(evaluation, i, airborne, judged_s):
            continue
        at_rest = [_at_rest(one, rows, airborne) for one in condition_states.recorded(
            limit.conditions, evaluation.cleaned, evaluation.declared,
            evaluation.sheet.configuration)
            if one.condition.channel in CONFIGURATION]
        if any(one is None for one in at_rest):
            continue
        condition, reading = next(one for one in at_rest if one is not None)
        found.append((i, _finding(limit.name, condition, reading, over_s)))
    return tuple(found)


def _nearly_always(
    evaluation: Evaluation, i: int, airborne: NDArray[np.bool_], judged_s: float
) -> bool:
    """Whether a limit was in force for nearly all of the airborne time."""
    yes = evaluation.applicability[i] == condition_states.YES
    # No row stands for longer, whatever the gaps: that settles most flights.
    longest = HELD_INTERVALS * evaluation.log.interval_s
    on_ground_s = longest * (len(airborne) - np.count_nonzero(airborne))
    if longest * np.count_nonzero(yes) < _NEARLY_ALL * (judged_s - on_ground_s):
        return False
    hold = sample_checks.held(evaluation.log.time, evaluation.log.interval_s)
    return bool(hold[airborne & yes].sum() >= _NEARLY_ALL * hold[airborne].sum())


def _at_rest(one: condition_states.Recorded, rows: Rows, airborne: NDArray[np.bool_]
             ) -> tuple[Condition, float] | None:
    """Return the condition and the value [SI] that it holds at, if its channel rests there."""
    unit = kind(one.condition.channel)
    near = NEAR_REST.get(unit.unit.name, 0.0) if unit else 0.0
    for values in one.readings:
        here, mostly = _median(values[rows]), _median(values[airborne])
        if abs(here - mostly) <= near and condition_states.holds(here, one.condition):
            return one.condition, here
    return None


def _median(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else math.nan


def _finding(limit: str, condition: Condition, reading: float, seconds: float) -> Finding:
    known = kind(condition.channel)
    factor = known.unit.factor if known else 1.0
    state = known is not None and known.discrete
    low = condition.low / factor
    return Finding("limit_in_force_at_rest", {
        "limit": limit, "channel": condition.channel, "over_s": seconds,
        "reading": reading / factor, "unit": "" if state or not known else known.unit.name,
        "low": low if math.isfinite(low) and not state else None})
