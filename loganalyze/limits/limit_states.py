"""The state of each limit at each row, and of all together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.limits import limit_equivalents, limit_tables
from loganalyze.limits.evaluation import (
    NOT_APPLICABLE,
    OVER,
    UNDER,
    UNKNOWN,
    Bytes,
    Case,
    Judged,
)
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record import sample_reasons
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.screening import sample_checks

Floats = NDArray[np.float64]

_STATE_OF = np.array([NOT_APPLICABLE, UNDER, UNKNOWN], dtype=np.uint8)
"""State of a limit safely above the speed, by whether it applies."""


def far_state(
    case: Case, i: int, state: Bytes, altitude: Floats, start: int, stop: int
) -> bool:
    """Write a limit's state for rows that are safely below it; tell if any is unknown."""
    limit = case.sheet.limit[i]
    unknown = False
    if i in case.ends:
        low, high = case.ends[i]
        if not (altitude.min() >= low and altitude.max() <= high):
            state[~((altitude >= low) & (altitude <= high))] = UNKNOWN
            unknown = True
    if limit.conditions:
        applies = case.applies[i][start:stop]
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


def directly(
    case: Case, part: Judged, where: NDArray[np.intp], reasons: sample_reasons.Bits
) -> NDArray[np.bool_]:
    """Reckon every limit at the given rows, row by row and exactly, and write the columns.

    Tells at which of the rows a verdict was missing, as `unknown_mask` does.
    """
    air, out = case.air, part.columns
    at = limit_equivalents.point(air, where, reasons)
    reach = np.full((len(case.sheet.limit), len(where)), np.nan)
    shown = np.full((len(case.sheet.limit), len(where)), np.nan)
    codes = np.empty((len(case.sheet.limit), len(where)), dtype=np.uint8)
    for i, limit in enumerate(case.sheet.limit):
        if i in case.by_themselves:
            codes[i] = out[f"state_{i}"][where]
            continue
        applies = case.state_at(i, where)
        codes[i] = _write_codes(case, part, i, at)
        equivalent = limit_equivalents.calibrated_equivalent(limit, air, at)
        reach[i] = np.where(applies == condition_states.YES, equivalent, np.nan)
        if i in case.on_pointer:
            shown[i] = reach[i]
    out["state"][where] = _together(codes)
    limit_airspeed, governing = limit_tables.lowest(reach)
    lost = case.without_lowest(at.pressure_altitude)
    limit_airspeed[lost] = np.nan
    governing[lost] = limit_tables.NO_GOVERNING_LIMIT
    out["margin_kt"][where] = (limit_airspeed - at.calibrated_airspeed) / KNOT
    if case.speeds_wanted:
        out["governing_limit"][where] = governing
        out["limit_airspeed_kt"][where] = limit_airspeed / KNOT
        there = mach_at_cas(limit_airspeed, at.pressure_altitude)
        out["margin_mach"][where] = there - at.mach
        pointer, _ = limit_tables.lowest(shown)
        pointer[case.without_pointer(at.pressure_altitude)] = np.nan
        out["limit_pointer_kt"][where] = air.indicated_from_calibrated(pointer, where) / KNOT
    judged = [i for i in range(len(codes)) if i not in case.hopeless]
    missing: NDArray[np.bool_] = (codes[judged] == UNKNOWN).any(axis=0)
    return missing if judged else ~missing


def by_itself(
    case: Case, part: Judged, i: int, start: int, stop: int, reasons: sample_reasons.Bits | None
) -> bool:
    """Evaluate a limit that is none of a speed at every row of a block; tell if any is unknown."""
    rows = np.arange(start, stop)
    none = np.zeros(len(rows), dtype=np.uint16)
    at = limit_equivalents.point(case.air, rows, none if reasons is None else reasons)
    return bool((_write_codes(case, part, i, at) == UNKNOWN).any())


def _write_codes(case: Case, part: Judged, i: int, at: limit_equivalents.Point) -> Bytes:
    """Write the state of one limit at some rows, and note which of them are over."""
    limit, applies = case.sheet.limit[i], case.state_at(i, at.rows)
    value = limit_equivalents.published_value(limit, at)
    maximum = limit_equivalents.published_maximum(limit, at)
    exceeded = limit_equivalents.over(limit, value, maximum, case.air, case.settings)
    code = np.where(exceeded, OVER, np.where(np.isnan(value - maximum), UNKNOWN, UNDER))
    code[applies == condition_states.NO] = NOT_APPLICABLE
    code[applies == condition_states.UNKNOWN] = UNKNOWN
    part.columns[f"state_{i}"][at.rows] = code
    if (code == OVER).any():
        part.over.setdefault(i, []).append(at.rows[code == OVER])
    return code


def _together(codes: Bytes) -> Bytes:
    """The state of all limits together: over if any is, else unknown if any is."""
    state = np.where((codes == NOT_APPLICABLE).all(axis=0), NOT_APPLICABLE, UNDER)
    state[(codes == UNKNOWN).any(axis=0)] = UNKNOWN
    state[(codes == OVER).any(axis=0)] = OVER
    return state


def combine(case: Case, out: Mapping[str, NDArray[Any]], start: int, stop: int) -> None:
    """Write the combined state of a block whose speed limits are all safely below or unknown."""
    # Only these can be anything but under yet; memory that isn't looked at is never made.
    written = [out[f"state_{i}"][start:stop] for i in range(len(case.sheet.limit))
               if i in case.ends or i in case.applies or i in case.by_themselves]
    loud = [one for one in written if one.max() != UNDER]
    state = out["state"][start:stop]
    if len(loud) == len(case.sheet.limit):
        state[:] = _together(np.stack(loud))
        return
    for one in loud:
        np.copyto(state, UNKNOWN, where=one == UNKNOWN)
    for i in case.by_themselves:
        np.copyto(state, OVER, where=out[f"state_{i}"][start:stop] == OVER)


def count_judged(case: Case, part: Judged, start: int, stop: int, unknown: bool,
                 missing: NDArray[np.intp] | None = None) -> None:
    """Count the time judged in a block.

    `unknown` says that a limit may be so anywhere; else only at the rows `missing` (all told).
    """
    known = None
    if unknown:
        known = ~unknown_mask(case, part.columns, slice(start, stop))
    elif missing is not None and len(missing):
        known = np.ones(stop - start, dtype=bool)
        known[missing - start] = False
    part.known_s.append(_held(case, start, stop, known))


def _held(case: Case, start: int, stop: int, known: NDArray[np.bool_] | None) -> float:
    """Time [s] for which the known rows of a block stand (None: all)."""
    time, interval = case.log.time[start : min(stop + 1, len(case.log))], case.log.interval_s
    if (known is None or known.all()) and len(time) > stop - start:
        steps = time[1:] - time[:-1]
        if steps.max() <= HELD_INTERVALS * interval:
            return float(time[-1] - time[0])
    hold = sample_checks.held(time, interval)[: stop - start]
    return float(hold.sum() if known is None else hold[known].sum())


def unknown_mask(
    case: Case, columns: Mapping[str, NDArray[Any]], rows: slice
) -> NDArray[np.bool_]:
    """Whether a verdict that the log has the channels for was missing at each row.

    Limits for which the log lacks a channel altogether are reported once, not at every row;
    if all are such, nothing is known anywhere.
    """
    limits = [i for i in range(len(case.sheet.limit)) if i not in case.hopeless]
    unknown = np.full(columns["state"][rows].shape, not limits)
    for i in limits:
        unknown |= columns[f"state_{i}"][rows] == UNKNOWN
    return unknown
