"""Whether a limit's conditions hold at each row: no, yes, or unknown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.log import FlightLog
from loganalyze.sheets.conditions import Condition

NO, YES, UNKNOWN = np.uint8(0), np.uint8(1), np.uint8(2)

_SLACK = 1e-9
"""Relative slack of an edge: a flap of 20 deg is at most 20 deg in radians too."""


def applies(
    wanted: Sequence[Condition], log: FlightLog, declared: Mapping[str, float]
) -> NDArray[np.uint8]:
    """Tell at each row whether all conditions hold.

    Returns uint8[n]: YES where all hold; NO where one is known not to; else UNKNOWN, as where
    a channel is missing, not recorded and not declared. No conditions: YES everywhere.
    """
    answer = np.full(len(log), YES)
    for condition in wanted:
        one = _one(condition, log, declared)
        unknown = ((answer == UNKNOWN) | (one == UNKNOWN)) & (answer != NO) & (one != NO)
        answer &= one
        answer[unknown] = UNKNOWN
    return answer


def _one(
    condition: Condition, log: FlightLog, declared: Mapping[str, float]
) -> NDArray[np.uint8]:
    if condition.channel in log:
        values = log.aligned(condition.channel)
    elif condition.channel in declared:
        values = np.full(len(log), declared[condition.channel])
    else:
        return np.full(len(log), UNKNOWN)
    inside = _inside(values, condition, 0.0)
    if condition.deadband > 0.0:
        inside = _steadied(inside, values, condition)
    if condition.dwell_s > 0.0:
        inside = _dwelt(inside, log.time, condition.dwell_s)
    answer = inside.view(np.uint8)
    missing = np.isnan(values)
    if missing.any():
        answer[missing] = UNKNOWN
    return answer


def _inside(values: NDArray[np.float64], condition: Condition, by: float) -> NDArray[np.bool_]:
    """Whether the values lie inside the range by more than `by` (negative: outside by less)."""
    low = condition.low + by
    high = condition.high - by
    low_slack = _SLACK * abs(low) if np.isfinite(low) else 0.0
    high_slack = _SLACK * abs(high) if np.isfinite(high) else 0.0
    above = (
        values >= low - low_slack if condition.low_included else values > low + low_slack
    )
    below = (
        values <= high + high_slack if condition.high_included else values < high - high_slack
    )
    return np.asarray(above & below)


def _steadied(
    inside: NDArray[np.bool_], values: NDArray[np.float64], condition: Condition
) -> NDArray[np.bool_]:
    """Let the state change only where the value is beyond an edge by more than the deadband."""
    firm = _inside(values, condition, condition.deadband) | ~_inside(
        values, condition, -condition.deadband
    )
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
