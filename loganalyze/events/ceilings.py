"""Ceilings that a school or an operator sets itself, measured apart from every limit.

A ceiling is stated like a limit, and the stretches above it are found, joined and timed by the same
rules on the same screened samples. The evaluation of the limits doesn't depend on ceilings.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.events import exceedances
from loganalyze.limits.evaluation import NOT_APPLICABLE, OVER, UNKNOWN, Evaluation
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.sheets.limits_sheet import Ceiling, LimitsSheet

Floats = NDArray[np.float64]

_AT_A_TIME = 32768
"""Number of rows evaluated at once, to bound the memory."""


@dataclass(frozen=True, slots=True)
class AboveCeiling:
    """One stretch above a ceiling. Times [s] count from the log's first sample.

    ``time_above_s`` : the time above in it, ``touches`` stretches without a break; ``most`` : the
    greatest difference to the ceiling, in its own unit, and ``most_kt`` as CAS [kt], NaN for a
    quantity other than a speed; ``value``, ``ceiling_value`` : both at that instant,
    ``worst_time_s``; ``began_by``, ``ended_by`` : as of an exceedance ("crossed", "gap", ...).
    """

    start_s: float
    end_s: float
    time_above_s: float
    touches: int
    worst_time_s: float
    worst_pressure_altitude_ft: float
    most: float
    most_kt: float
    value: float
    ceiling_value: float
    began_by: str
    ended_by: str


@dataclass(frozen=True, eq=False)
class CeilingMeasure:
    """A flight measured against one ceiling.

    ``measured_s`` : time in which the ceiling applied and the speed was known [s];
    ``unknown_s`` : time in which its state is unknown [s], without gaps; ``stretches`` : above it,
    in the order of time; ``lacking`` : channels that it needs and the log doesn't hold;
    ``equivalent_kt`` : float32[n], the ceiling as CAS [kt], NaN where it doesn't apply, is unknown
    or isn't on a speed.
    """

    name: str
    set_by: str
    quantity: str
    measured_s: float
    unknown_s: float
    stretches: tuple[AboveCeiling, ...]
    lacking: tuple[str, ...] = ()
    equivalent_kt: NDArray[np.float32] = field(
        default_factory=lambda: np.empty(0, dtype=np.float32))

    @property
    def time_above_s(self) -> float:
        """Time above the ceiling [s], over all stretches."""
        return float(sum(stretch.time_above_s for stretch in self.stretches))

    @property
    def worst(self) -> AboveCeiling | None:
        """The stretch that went farthest above; None where there was none."""
        return max(self.stretches, key=lambda stretch: stretch.most, default=None)


def measured(limits: Evaluation) -> tuple[CeilingMeasure, ...]:
    """Measure a flight beside each ceiling of its sheet.

    Parameters
    ----------
    limits : Evaluation
        Of the limits, screened; it isn't changed.

    Returns
    -------
    tuple of CeilingMeasure
        In the order of the sheet; empty where it states none.
    """
    ceilings = limits.sheet.ceiling
    if not ceilings:
        return ()
    sheet: LimitsSheet = limits.sheet.model_copy(update={"limit": ceilings, "ceiling": ()})
    evaluation = Evaluation.of(
        limits.log, sheet, limits.settings, limits.declared).screened(limits.air.rejected)
    evaluation.fill(slice(None))
    states, equivalents = _evaluated(evaluation)
    columns = {f"state_{i}": state for i, state in enumerate(states)}
    over = {i: rows for i, state in enumerate(states)
            if i not in evaluation.lacking and len(rows := np.flatnonzero(state == OVER))}
    stretches: dict[str, list[AboveCeiling]] = {ceiling.name: [] for ceiling in ceilings}
    for found in exceedances.find(evaluation, columns, over, 1):
        stretches[found.limit].append(_above(found))
    hold = _held(evaluation)
    return tuple(
        _measure(ceiling, states[i], equivalents[i], hold, tuple(stretches[ceiling.name]),
                 evaluation.lacking.get(i, ()))
        for i, ceiling in enumerate(ceilings))


def _evaluated(evaluation: Evaluation) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Return each ceiling's state and its equivalent CAS [kt], both [ceilings, n]."""
    ceilings, count = evaluation.sheet.limit, len(evaluation.log)
    states = np.empty((len(ceilings), count), dtype=np.uint8)
    equivalents = np.full((len(ceilings), count), np.nan, dtype=np.float32)
    for start in range(0, count, _AT_A_TIME):
        rows = slice(start, min(start + _AT_A_TIME, count))
        at = evaluation.air_data_at(np.arange(rows.start, rows.stop))
        for i, ceiling in enumerate(ceilings):
            states[i, rows] = evaluation.state(ceiling, at)
            if ceiling.kind.is_speed:
                applies = ~np.isin(states[i, rows], (NOT_APPLICABLE, UNKNOWN))
                equivalents[i, rows] = np.where(
                    applies, evaluation.equivalent(ceiling, at) / KNOT, np.nan)
    return states, equivalents


def _held(evaluation: Evaluation) -> Floats:
    """Return the time [s] each sample stands for: to the next one, at most 1.5 intervals."""
    log, interval = evaluation.log, evaluation.log.interval_s
    if not interval > 0:
        return np.zeros(len(log))
    return np.minimum(np.diff(log.time, append=log.time[-1] + interval),
                      HELD_INTERVALS * interval)


def _measure(
    ceiling: Ceiling, state: NDArray[np.uint8], equivalent_kt: NDArray[np.float32], hold: Floats,
    stretches: tuple[AboveCeiling, ...], lacking: tuple[str, ...],
) -> CeilingMeasure:
    return CeilingMeasure(
        ceiling.name, ceiling.set_by, ceiling.quantity,
        float(hold[(state != NOT_APPLICABLE) & (state != UNKNOWN)].sum()),
        float(hold[state == UNKNOWN].sum()), stretches, lacking, equivalent_kt)


def _above(found: exceedances.Exceedance) -> AboveCeiling:
    return AboveCeiling(
        found.start_s, found.end_s, found.time_over_s, found.touches, found.worst_time_s,
        found.worst_pressure_altitude_ft, found.worst_value - found.limit_value,
        found.worst_excess_kt, found.worst_value, found.limit_value, found.began_by,
        found.ended_by)
