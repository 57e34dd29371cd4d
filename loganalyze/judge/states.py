"""The state of each limit at each row, and of all together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.judge import conditions, curves, equivalents, screening
from loganalyze.judge.case import NOT_APPLICABLE, OVER, UNDER, UNKNOWN, Bytes, Case, Judged
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT

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
        if least != conditions.YES or most != conditions.YES:
            if unknown:
                state[applies == conditions.NO] = NOT_APPLICABLE
                state[applies == conditions.UNKNOWN] = UNKNOWN
            elif most == conditions.UNKNOWN:
                np.take(_STATE_OF, applies, out=state, mode="clip")
            else:
                np.multiply(applies ^ conditions.YES, NOT_APPLICABLE, out=state)
            unknown |= bool(most == conditions.UNKNOWN)
    return unknown


def directly(
    case: Case, part: Judged, where: NDArray[np.intp], reasons: screening.Bits
) -> None:
    """Reckon every limit at the given rows, row by row and exactly, and write the columns."""
    air, out = case.air, part.columns
    at = equivalents.point(air, where, reasons)
    reach = np.full((len(case.sheet.limit), len(where)), np.nan)
    shown = np.full((len(case.sheet.limit), len(where)), np.nan)
    for i, limit in enumerate(case.sheet.limit):
        applies = case.state_at(i, where)
        value = equivalents.published_value(limit, at)
        maximum = equivalents.published_maximum(limit, at)
        state = out[f"state_{i}"]
        exceeded = equivalents.over(limit, value, maximum, air, case.settings)
        code = np.where(exceeded, OVER, np.where(np.isnan(value - maximum), UNKNOWN, UNDER))
        code[applies == conditions.NO] = NOT_APPLICABLE
        code[applies == conditions.UNKNOWN] = UNKNOWN
        state[where] = code
        if (code == OVER).any():
            part.over.add(i)
        equivalent = equivalents.calibrated_equivalent(limit, air, at)
        reach[i] = np.where(applies == conditions.YES, equivalent, np.nan)
        if i in case.on_pointer:
            shown[i] = reach[i]
    limit_airspeed, governing = curves.lowest(reach)
    # With the altitude unknown a Mach limit may lie anywhere: the lowest limit isn't known.
    lost = np.isnan(at.pressure_altitude)
    limit_airspeed[lost] = np.nan
    governing[lost] = curves.NOBODY
    out["margin_kt"][where] = (limit_airspeed - at.calibrated_airspeed) / KNOT
    if case.speeds_wanted:
        out["governing_limit"][where] = governing
        out["limit_airspeed_kt"][where] = limit_airspeed / KNOT
        there = equivalents.mach_at_cas(limit_airspeed, at.pressure_altitude)
        out["margin_mach"][where] = there - at.mach
        pointer, _ = curves.lowest(shown)
        pointer[lost] = np.nan
        out["limit_pointer_kt"][where] = air.indicated_from_calibrated(pointer, where) / KNOT


def combine(case: Case, part: Judged, start: int, stop: int, settled: bool) -> None:
    """Write the combined state, and count the time judged.

    `settled` says that no limit is over or unknown in the block.
    """
    out = part.columns
    state = out["state"][start:stop]
    limits = range(len(case.sheet.limit))
    # A limit that is under throughout changes nothing but that one applied. Where none is near,
    # only these can be anything else; memory that isn't looked at is never made.
    written = [i for i in limits if i in case.ends or i in case.applies] if settled else limits
    loud = [one for i in written if (one := out[f"state_{i}"][start:stop]).max() != UNDER]
    if len(loud) == len(limits):
        applicable = np.zeros(stop - start, dtype=bool)
        for one in loud:
            applicable |= one != NOT_APPLICABLE
        state[~applicable] = NOT_APPLICABLE
    if not settled:
        for code in (UNKNOWN, OVER):
            for one in loud:
                np.copyto(state, code, where=one == code)
    known = None if settled else ~unknown_mask(case, out, slice(start, stop))
    part.known_s += _held(case, start, stop, known)


def _held(case: Case, start: int, stop: int, known: NDArray[np.bool_] | None) -> float:
    """Time [s] for which the known rows of a block stand (None: all)."""
    time, interval = case.log.time[start : min(stop + 1, len(case.log))], case.log.interval_s
    if (known is None or known.all()) and len(time) > stop - start:
        steps = time[1:] - time[:-1]
        if steps.max() <= HELD_INTERVALS * interval:
            return float(time[-1] - time[0])
    hold = screening.held(time, interval)[: stop - start]
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
