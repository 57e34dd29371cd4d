"""Whether a limit's conditions hold at each row: no, yes, or unknown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import configuration_transit
from loganalyze.airdata.configuration_outliers import CleanedChannels
from loganalyze.record.flight_log import FlightLog
from loganalyze.sheets.limit_conditions import Condition, ConfigurationSheet

NO, YES, UNKNOWN = np.uint8(0), np.uint8(1), np.uint8(2)

_SLACK = 1e-9
"""Relative slack of an edge: a flap of 20 deg is at most 20 deg in radians too."""


@dataclass(frozen=True, eq=False)
class Recorded:
    """A condition with the readings that decide it, float64[n] in SI; none where not recorded.

    It holds where any reading lies in its range. It is unknown where none does, but an outlier
    that was replaced in a reading would.
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
    wanted: Sequence[Condition], cleaned: CleanedChannels, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None = None,
) -> tuple[Recorded, ...]:
    """Return the conditions with their readings: recorded, otherwise declared or derived.

    Without a `configuration` moving flaps have a single reading, the surface's if recorded.
    """
    return tuple(
        Recorded(condition, *configuration_transit.readings(
            condition.channel, cleaned, declared, configuration))
        for condition in wanted
    )


def applies(
    wanted: Sequence[Condition], log: FlightLog, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None = None,
) -> NDArray[np.uint8]:
    """Return at each row whether all conditions hold.

    Returns uint8[n]: YES where all hold; NO where at least one is known not to hold; otherwise
    UNKNOWN, such as where a channel is neither recorded nor declared. YES everywhere where there
    are no conditions.
    """
    answer = np.full(len(log), YES)
    hold(recorded(wanted, CleanedChannels(log), declared, configuration), log.time, slice(None),
         answer)
    return answer


def holds(value: float, condition: Condition) -> bool:
    """Whether a value [SI] of its channel lies in a condition's range; False for NaN."""
    return bool(_inside(np.array([value]), condition, 0.0)[0])


def hold(
    wanted: Sequence[Recorded], time: NDArray[np.float64], rows: slice, answer: NDArray[np.uint8]
) -> None:
    """Write into `answer` at the given rows whether all conditions hold, as `applies` returns it.

    Rows may be evaluated block by block only if no condition is stateful.
    """
    here = answer[rows]
    here.fill(YES)
    for entry in wanted:
        if not entry.readings:
            here[here != NO] = UNKNOWN
            continue
        if len(entry.readings) == 1 and not entry.is_stateful and not entry.doubted:
            throughout = _throughout(entry.condition, entry.readings[0][rows])
            if throughout is not None:
                if not throughout:
                    here.fill(NO)
                continue
        inside, missing = _reading(entry, entry.readings[0][rows], time[rows])
        for other in entry.readings[1:]:
            inside_too, missing_too = _reading(entry, other[rows], time[rows])
            inside |= inside_too
            missing = (missing | missing_too) & ~inside
        # An outlier is too short to fulfil a condition with a dwell time.
        for outliers in entry.doubted if entry.condition.dwell_s == 0.0 else ():
            missing |= _inside(outliers[rows], entry.condition, 0.0) & ~inside
        if missing.any():
            here[missing & (here == YES)] = UNKNOWN
            here[~missing & ~inside] = NO
        else:
            here *= inside.view(np.uint8)


def _throughout(condition: Condition, values: NDArray[np.float64]) -> bool | None:
    """Whether all values are in the range (or none), from their extremes; None if undecided."""
    if not len(values):
        return None
    extremes = np.array([values.min(), values.max()])  # NaN where any value is missing.
    inside = _inside(extremes, condition, 0.0)
    if inside.all():
        return True
    one_side = extremes[1] < condition.low or extremes[0] > condition.high
    return False if one_side and not inside.any() else None


def _reading(
    entry: Recorded, values: NDArray[np.float64], time: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where a reading is in the range, and where it is missing; in neither it is outside."""
    inside, missing = _inside(values, entry.condition, 0.0), np.isnan(values)
    if entry.is_stateful:
        # A missing value doesn't change the state.
        inside = _with_deadband(inside, values, entry.condition)
        if entry.condition.dwell_s > 0.0:
            inside = _after_dwell(inside, time, entry.condition.dwell_s)
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


def _with_deadband(
    inside: NDArray[np.bool_], values: NDArray[np.float64], condition: Condition
) -> NDArray[np.bool_]:
    """Let the state change only where the value is beyond an edge by more than the deadband."""
    firm = _inside(values, condition, condition.deadband) | ~_inside(
        values, condition, -condition.deadband
    )
    # Before the first value outside the deadband, the value itself decides.
    firm |= ~np.logical_or.accumulate(firm & ~np.isnan(values))
    firm &= ~np.isnan(values)
    latest = np.maximum.accumulate(np.where(firm, np.arange(len(values)), -1))
    return np.where(latest >= 0, inside[latest], inside)


def _after_dwell(
    inside: NDArray[np.bool_], time: NDArray[np.float64], dwell: float
) -> NDArray[np.bool_]:
    """Delay the start of the state by `dwell` seconds; its end counts immediately."""
    starts = inside & ~np.concatenate([[False], inside[:-1]])
    since = np.maximum.accumulate(np.where(starts, np.arange(len(time)), 0))
    return np.asarray(inside & (time - time[since] >= dwell))
