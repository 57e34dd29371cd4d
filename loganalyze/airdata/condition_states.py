"""Whether a limit's conditions hold at each row: no, yes, or unknown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import configuration_transit
from loganalyze.record.flight_log import FlightLog
from loganalyze.sheets.limit_conditions import Condition, ConfigurationSheet

NO, YES, UNKNOWN = np.uint8(0), np.uint8(1), np.uint8(2)

_SLACK = 1e-9
"""Relative slack of an edge: a flap of 20 deg is at most 20 deg in radians too."""


@dataclass(frozen=True, eq=False)
class Recorded:
    """A condition with the readings it looks at, float64[n] in SI; none where nothing tells.

    It holds where any reading lies in its range. Where none does, and an outlier that was
    replaced in them would, it is unknown.
    """

    condition: Condition
    readings: tuple[NDArray[np.float64], ...]
    doubted: tuple[NDArray[np.float64], ...] = ()
    """The outliers that were replaced in the readings, float64[n]; NaN elsewhere."""

    @property
    def is_stateful(self) -> bool:
        """Whether a row's answer depends on the rows before it."""
        return self.condition.deadband > 0.0 or self.condition.dwell_s > 0.0


def recorded(
    wanted: Sequence[Condition], log: FlightLog, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None = None,
) -> tuple[Recorded, ...]:
    """Look up what the conditions look at: recorded by the log, or else declared, or derived.

    Without a `configuration` flaps on the move count with their one best reading.
    """
    return tuple(
        Recorded(one, *configuration_transit.readings(one.channel, log, declared, configuration))
        for one in wanted
    )


def applies(
    wanted: Sequence[Condition], log: FlightLog, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None = None,
) -> NDArray[np.uint8]:
    """Tell at each row whether all conditions hold.

    Returns uint8[n]: YES where all hold; NO where one is known not to; else UNKNOWN, as where
    a channel is missing, not recorded and not declared. No conditions: YES everywhere.
    """
    answer = np.full(len(log), YES)
    hold(recorded(wanted, log, declared, configuration), log.time, slice(None), answer)
    return answer


def holds(value: float, condition: Condition) -> bool:
    """Whether a value [SI] of its channel lies in a condition's range; False for NaN."""
    return bool(_inside(np.array([value]), condition, 0.0)[0])


def hold(
    wanted: Sequence[Recorded], time: NDArray[np.float64], rows: slice, answer: NDArray[np.uint8]
) -> None:
    """Write at the given rows whether all conditions hold, as `applies` tells it.

    Only conditions that don't look back may be taken in pieces.
    """
    here = answer[rows]
    here.fill(YES)
    for one in wanted:
        if not one.readings:
            here[here != NO] = UNKNOWN
            continue
        if len(one.readings) == 1 and not one.is_stateful and not one.doubted:
            alike = _throughout(one.condition, one.readings[0][rows])
            if alike is not None:
                if not alike:
                    here.fill(NO)
                continue
        inside, missing = _reading(one, one.readings[0][rows], time[rows])
        for other in one.readings[1:]:
            inside_too, missing_too = _reading(one, other[rows], time[rows])
            inside |= inside_too
            missing = (missing | missing_too) & ~inside
        # No outlier lasts as long as a condition that asks for some time.
        for outliers in one.doubted if one.condition.dwell_s == 0.0 else ():
            missing |= _inside(outliers[rows], one.condition, 0.0) & ~inside
        if missing.any():
            here[missing & (here == YES)] = UNKNOWN
            here[~missing & ~inside] = NO
        else:
            here *= inside.view(np.uint8)


def _throughout(condition: Condition, values: NDArray[np.float64]) -> bool | None:
    """Whether all values are in the range (or none is), as the extremes show; else None."""
    if not len(values):
        return None
    extremes = np.array([values.min(), values.max()])  # NaN where any value is missing.
    inside = _inside(extremes, condition, 0.0)
    if inside.all():
        return True
    one_side = extremes[1] < condition.low or extremes[0] > condition.high
    return False if one_side and not inside.any() else None


def _reading(
    one: Recorded, values: NDArray[np.float64], time: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where a reading is in the range, and where it is missing; in neither it is outside."""
    inside, missing = _inside(values, one.condition, 0.0), np.isnan(values)
    if one.is_stateful:
        # A value that is missing is no sign that the state has changed.
        inside = _steadied(inside, values, one.condition)
        if one.condition.dwell_s > 0.0:
            inside = _dwelt(inside, time, one.condition.dwell_s)
        inside &= ~missing
    return inside, missing


def _inside(values: NDArray[np.float64], condition: Condition, by: float) -> NDArray[np.bool_]:
    """Whether the values lie inside the range by more than `by` (negative: outside by less)."""
    low = condition.low + by
    high = condition.high - by
    inside = None
    if np.isfinite(low):
        low_slack = _SLACK * abs(low)
        inside = (
            values >= low - low_slack if condition.low_included else values > low + low_slack
        )
    if np.isfinite(high):
        high_slack = _SLACK * abs(high)
        below = (
            values <= high + high_slack if condition.high_included else values < high - high_slack
        )
        inside = below if inside is None else inside & below
    return np.asarray(values == values if inside is None else inside)


def _steadied(
    inside: NDArray[np.bool_], values: NDArray[np.float64], condition: Condition
) -> NDArray[np.bool_]:
    """Let the state change only where the value is beyond an edge by more than the deadband."""
    firm = _inside(values, condition, condition.deadband) | ~_inside(
        values, condition, -condition.deadband
    )
    # Until one is firm, what the value shows must do.
    firm |= ~np.logical_or.accumulate(firm & ~np.isnan(values))
    firm &= ~np.isnan(values)
    latest = np.maximum.accumulate(np.where(firm, np.arange(len(values)), -1))
    return np.where(latest >= 0, inside[latest], inside)


def _dwelt(
    inside: NDArray[np.bool_], time: NDArray[np.float64], dwell: float
) -> NDArray[np.bool_]:
    """Count the state only once it has lasted `dwell` seconds; its end counts at once."""
    starts = inside & ~np.concatenate([[False], inside[:-1]])
    since = np.maximum.accumulate(np.where(starts, np.arange(len(time)), 0))
    return np.asarray(inside & (time - time[since] >= dwell))
