"""Limits of flaps, slats or gear that apply with these retracted, by an error of the sheet.

A channel seldom reads exactly 0 with the flaps up. If the range in the limits sheet includes the
channel's reading at rest, or a state is inverted, the limit applies through climb and cruise, and
the whole flight would be an exceedance. Such a limit isn't judged; a finding says what to correct
in the sheet.
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
"""The channels whose limits are checked. Gear in transit and speedbrakes are left out: their limits
apply for a short time only."""
NEAR_REST = {"deg": 1.0 * DEGREE}
"""Greatest distance [SI] of a reading at rest from the channel's usual value: noise and drift of a
position sensor, well below the step between two detents. States must be equal."""

_NEARLY_ALL = 0.9
"""A limit that applies for this share of the airborne time counts as applying throughout."""


def questioned(
    evaluation: Evaluation, rows_over: Mapping[int, Rows], judged_s: float
) -> tuple[tuple[int, Finding], ...]:
    """Return the limits that apply with flaps, slats or gear at rest, and what to correct.

    A limit is questioned if it was exceeded for ``settings.at_rest_s`` in total, while each of its
    channels of flaps, slats or gear had its usual airborne reading; and either by
    ``settings.at_rest_pct`` of the limit for that long, or with the limit applying for nearly all
    of the airborne time.

    Parameters
    ----------
    evaluation : Evaluation
        With the rejected rows in ``evaluation.air``.
    rows_over : mapping of int to intp[m]
        The rows over each limit that was exceeded, by the limit's index in the sheet.
    judged_s : float  [s]
        The time in which the limits were judged, a lower bound of the recorded time.

    Returns
    -------
    tuple of (int, Finding)
        The limit's index in the sheet, and a finding for each such limit.
    """
    settings, found = evaluation.settings, []
    for i, rows in rows_over.items():
        limit = evaluation.sheet.limit[i]
        if not any(recorded.channel in CONFIGURATION for recorded in limit.conditions):
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
        at_rest = [_at_rest(recorded, rows, airborne) for recorded in condition_states.recorded(
            limit.conditions, evaluation.cleaned, evaluation.declared,
            evaluation.sheet.configuration)
            if recorded.condition.channel in CONFIGURATION]
        if any(recorded is None for recorded in at_rest):
            continue
        condition, reading = next(recorded for recorded in at_rest if recorded is not None)
        found.append((i, _finding(limit.name, condition, reading, over_s)))
    return tuple(found)


def _nearly_always(
    evaluation: Evaluation, i: int, airborne: NDArray[np.bool_], judged_s: float
) -> bool:
    """Whether a limit applied for nearly all of the airborne time."""
    yes = evaluation.applicability[i] == condition_states.YES
    # An upper bound of the time a row stands for, which decides most flights.
    longest = HELD_INTERVALS * evaluation.log.interval_s
    on_ground_s = longest * (len(airborne) - np.count_nonzero(airborne))
    if longest * np.count_nonzero(yes) < _NEARLY_ALL * (judged_s - on_ground_s):
        return False
    hold = sample_checks.held(evaluation.log.time, evaluation.log.interval_s)
    return bool(hold[airborne & yes].sum() >= _NEARLY_ALL * hold[airborne].sum())


def _at_rest(recorded: condition_states.Recorded, rows: Rows, airborne: NDArray[np.bool_]
             ) -> tuple[Condition, float] | None:
    """Return the condition and its reading [SI] at `rows` if its channel is at rest, or None."""
    unit = kind(recorded.condition.channel)
    near = NEAR_REST.get(unit.unit.name, 0.0) if unit else 0.0
    for values in recorded.readings:
        here, mostly = _median(values[rows]), _median(values[airborne])
        if abs(here - mostly) <= near and condition_states.holds(here, recorded.condition):
            return recorded.condition, here
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
