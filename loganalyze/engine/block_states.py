"""States of the limits in a block: from applicability alone where far below, else row by row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.engine.block_plan import BlockPlan, EvaluatedSamples
from loganalyze.limits import row_evaluation
from loganalyze.limits.evaluation import (
    NOT_APPLICABLE,
    OVER,
    UNDER,
    UNKNOWN,
    Bytes,
    combined_state,
)
from loganalyze.record.arrays import Bits
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.screening import sample_checks

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

_STATE_OF = np.array([NOT_APPLICABLE, UNDER, UNKNOWN], dtype=np.uint8)
"""State of a limit with a safe margin, indexed by `condition_states` NO, YES, UNKNOWN."""


def far_state(plan: BlockPlan, i: int, state: Bytes, altitude: Floats, start: int, stop: int
              ) -> bool:
    """Write a limit's state for rows that are safely below it; return whether any is unknown."""
    unknown = False
    if i in plan.table_ends:
        low, high = plan.table_ends[i]
        if not (altitude.min() >= low and altitude.max() <= high):
            state[~((altitude >= low) & (altitude <= high))] = UNKNOWN
            unknown = True
    if i in plan.evaluation.applicability:
        applies = plan.evaluation.applicability[i][start:stop]
        least, most = applies.min(), applies.max()
        if least != condition_states.YES or most != condition_states.YES:
            if unknown:
                state[applies == condition_states.NO] = NOT_APPLICABLE
                state[applies == condition_states.UNKNOWN] = UNKNOWN
            elif most == condition_states.UNKNOWN:
                np.take(_STATE_OF, applies, out=state, mode="clip")
            elif least == most:
                state.fill(NOT_APPLICABLE)
            else:
                np.multiply(applies ^ condition_states.YES, NOT_APPLICABLE, out=state)
            unknown |= bool(most == condition_states.UNKNOWN)
    return unknown


def write_rows(plan: BlockPlan, part: EvaluatedSamples, rows: Rows, reasons: Bits
               ) -> NDArray[np.bool_]:
    """Evaluate every limit at some rows directly, and write the columns.

    Returns at which of the rows no verdict was possible, bool[m], as `Evaluation.unknown` does.
    """
    evaluation, out = plan.evaluation, part.columns
    at = evaluation.air_data_at(rows, reasons)
    found = row_evaluation.evaluate_rows(evaluation, at, margins_alone=not plan.speeds_wanted)
    for i, states in enumerate(found.states):
        if i not in plan.other_limits:
            out[f"state_{i}"][rows] = states
            part.add_over(i, rows[states == OVER])
    out["state"][rows] = found.state
    out["margin_kt"][rows] = found.margin / KNOT
    if plan.speeds_wanted:
        out["governing_limit"][rows] = found.governing
        out["limit_airspeed_kt"][rows] = found.limit_airspeed / KNOT
        out["margin_mach"][rows] = found.margin_mach
        out["limit_pointer_kt"][rows] = found.limit_pointer / KNOT
    judged = [i for i in range(len(found.states)) if i not in evaluation.unevaluable_limits]
    missing: NDArray[np.bool_] = (found.states[judged] == UNKNOWN).any(axis=0)
    return missing if judged else ~missing


def write_other_limit(plan: BlockPlan, part: EvaluatedSamples, i: int, start: int, stop: int,
                      reasons: Bits | None) -> bool:
    """Evaluate a limit that isn't on a speed at every row of a block; return if any is unknown."""
    rows = np.arange(start, stop)
    none = np.zeros(len(rows), dtype=np.uint16)
    at = plan.evaluation.air_data_at(rows, none if reasons is None else reasons)
    states = plan.evaluation.state(plan.evaluation.sheet.limit[i], at)
    part.columns[f"state_{i}"][start:stop] = states
    part.add_over(i, rows[states == OVER])
    return bool((states == UNKNOWN).any())


def combine(plan: BlockPlan, out: Mapping[str, NDArray[Any]], start: int, stop: int) -> None:
    """Write the combined state of a block whose speed limits are all safely below or unknown."""
    count = len(plan.evaluation.sheet.limit)
    # All other states are still UNDER; not reading them saves the system mapping their memory.
    written = [
        out[f"state_{i}"][start:stop] for i in range(count)
        if i in plan.table_ends or i in plan.evaluation.applicability or i in plan.other_limits]
    differing = [states for states in written if states.max() != UNDER]
    state = out["state"][start:stop]
    if len(differing) == count:
        state[:] = combined_state(np.stack(differing))
        return
    for states in differing:
        np.copyto(state, UNKNOWN, where=states == UNKNOWN)
    for i in plan.other_limits:
        np.copyto(state, OVER, where=out[f"state_{i}"][start:stop] == OVER)


def count_judged(plan: BlockPlan, part: EvaluatedSamples, start: int, stop: int, unknown: bool,
                 missing: Rows | None = None) -> None:
    """Append the time of a block in which a verdict was possible.

    With `unknown`, states may be unknown at any row and all are checked; otherwise a verdict is
    missing at exactly the rows `missing` (indices into the log).
    """
    known = None
    if unknown:
        known = ~plan.evaluation.unknown(part.columns, slice(start, stop))
    elif missing is not None and len(missing):
        known = np.ones(stop - start, dtype=bool)
        known[missing - start] = False
    part.judged_s.append(_held(plan, start, stop, known))


def _held(plan: BlockPlan, start: int, stop: int, known: NDArray[np.bool_] | None) -> float:
    """Time [s] that the rows of a block marked in `known` stand for (None: all rows)."""
    log = plan.evaluation.log
    time, interval = log.time[start : min(stop + 1, len(log))], log.interval_s
    if (known is None or known.all()) and len(time) > stop - start:
        steps = time[1:] - time[:-1]
        if steps.max() <= HELD_INTERVALS * interval:
            return float(time[-1] - time[0])
    hold = sample_checks.held(time, interval)[: stop - start]
    return float(hold.sum() if known is None else hold[known].sum())
