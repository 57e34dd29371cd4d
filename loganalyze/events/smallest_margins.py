"""The smallest margin of a flight to each limit, and to all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.limits.evaluation import OVER, UNDER, Evaluation
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit

Rows = NDArray[np.intp]

_AT_A_TIME = 32768
"""Number of rows evaluated at once, to bound the memory."""


@dataclass(frozen=True, slots=True)
class Smallest:
    """The smallest margin to one limit (`limit` empty: to the lowest limit that applied).

    ``margin_kt`` in kt CAS, ``margin_mach`` in Mach (NaN for one airspeed limit); negative is
    over. ``margin`` is in the limit's own unit, kt CAS for all limits together; for limits on
    quantities other than speeds only ``margin`` is known. All NaN if no sample could be judged.
    """

    limit: str
    margin_kt: float
    margin_mach: float
    time_s: float
    pressure_altitude_ft: float
    limit_airspeed_kt: float
    margin: float


def smallest(
    evaluation: Evaluation, columns: Mapping[str, NDArray[Any]]
) -> tuple[Smallest, ...]:
    """Return the smallest margin of all limits together, then of each limit of the sheet."""
    together = columns["margin_kt"]
    rows = np.flatnonzero(~np.isnan(together))
    best = rows[[int(together[rows].argmin())]] if len(rows) else rows
    near = [_among(limit, columns, _judged(columns, i))
            for i, limit in enumerate(evaluation.sheet.limit)]
    near = [_closest(evaluation, limit, some) if len(some) > _AT_A_TIME else some
            for limit, some in zip(evaluation.sheet.limit, near, strict=True)]
    # The air data of all of them in one call.
    edges = np.cumsum([len(best), *map(len, near)]).tolist()
    at = evaluation.air_data_at(np.concatenate([best, *near]))
    return (_of_all(evaluation, at.taken(slice(0, edges[0]))), *(
        _of_limit(evaluation, limit, at.taken(slice(start, stop)))
        for limit, start, stop in zip(evaluation.sheet.limit, edges[:-1], edges[1:],
                                      strict=True)))


def _judged(columns: Mapping[str, NDArray[Any]], i: int) -> Rows:
    state = columns[f"state_{i}"]
    return np.flatnonzero((state == UNDER) | (state == OVER))


def _closest(evaluation: Evaluation, limit: Limit, rows: Rows) -> Rows:
    """Return of many rows, part by part, the one with the smallest margin; none without one."""
    best, least = rows[:0], np.inf
    for part in np.array_split(rows, len(rows) // _AT_A_TIME):
        margin = evaluation.margin(limit, part)
        if np.nanmin(margin) < least:
            least = float(np.nanmin(margin))
            best = part[[int(np.nanargmin(margin))]]
    return best


def _among(limit: Limit, columns: Mapping[str, NDArray[Any]], rows: Rows) -> Rows:
    """Return those of some rows that may have the smallest margin, in their order.

    A limit that is one number is closest where its quantity is highest; of the columns, rounded to
    float32, that leaves a few rows. For other limits, or without their columns, all rows stay.
    """
    column, within = _COLUMNS.get(limit.kind.name, ("", 0.0))
    if column not in columns or limit.by_pressure_altitude is not None or not len(rows):
        return rows
    values = columns[column][rows]
    highest = np.fmax.reduce(values)
    return rows if np.isnan(highest) else rows[values >= highest - np.float32(within)]


_COLUMNS = {
    "calibrated_airspeed": ("calibrated_airspeed_kt", 1e-3),
    "indicated_airspeed": ("indicated_airspeed_kt", 1e-3),
    "equivalent_airspeed": ("equivalent_airspeed_kt", 1e-3),
    "true_airspeed": ("true_airspeed_kt", 1e-3),
    "mach": ("mach", 1e-6)}
"""The column of a quantity, and how far off it may be [kt or Mach]: rounding to float32 changes a
speed below 1,024 kt by less than 3.1e-5 kt, a Mach number below 4 by less than 1.2e-7."""


def _nowhere(name: str) -> Smallest:
    nothing = float("nan")
    return Smallest(name, nothing, nothing, nothing, nothing, nothing, nothing)


def _of_all(evaluation: Evaluation, at: AirDataRows) -> Smallest:
    if not len(at.rows):
        return _nowhere("")
    limit_airspeed = evaluation.lowest(at).limit_airspeed
    margin_kt = float(limit_airspeed[0] - at.calibrated_airspeed[0]) / KNOT
    limit_mach = mach_at_cas(limit_airspeed, at.pressure_altitude)
    return Smallest(
        "", margin_kt, float(limit_mach[0] - at.mach[0]),
        float(evaluation.log.time[at.rows[0]]), float(at.pressure_altitude[0]) / FOOT,
        float(limit_airspeed[0]) / KNOT, margin_kt)


def _of_limit(evaluation: Evaluation, limit: Limit, at: AirDataRows) -> Smallest:
    margins = evaluation.margin_of(limit, at)
    if np.isnan(margins).all():
        return _nowhere(limit.name)
    best = int(np.nanargmin(margins))
    at, margin = at.taken(slice(best, best + 1)), float(margins[best])
    limit_airspeed = float(evaluation.equivalent(limit, at)[0])
    return Smallest(
        limit.name, (limit_airspeed - float(at.calibrated_airspeed[0])) / KNOT,
        margin if limit.kind.suffix == LimitedMach.suffix else float("nan"),
        float(evaluation.log.time[at.rows[0]]), float(at.pressure_altitude[0]) / FOOT,
        limit_airspeed / KNOT, margin)
