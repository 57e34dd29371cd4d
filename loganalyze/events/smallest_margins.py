"""The smallest margin of a flight to each limit, and to all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.limits.evaluation import OVER, Evaluation
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit

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
    limits = evaluation.sheet.limit
    together = columns["margin_kt"]
    best = np.flatnonzero(together == np.fmin.reduce(together, initial=np.nan))[:1]
    near = [_candidates(limit, columns, i) for i, limit in enumerate(limits)]
    near = [_closest(evaluation, limit, some) if len(some) > _AT_A_TIME else some
            for limit, some in zip(limits, near, strict=True)]
    if not (len(best) or any(map(len, near))):
        return (_nowhere(""), *(_nowhere(limit.name) for limit in limits))
    # The air data of all of them in one call, and what the limits are at each smallest margin.
    starts = np.cumsum([0, len(best), *map(len, near)]).tolist()
    at = evaluation.air_data_at(np.concatenate([best, *near]))
    least = [_least(evaluation.margin_of(limit, at.taken(slice(start, stop))))
             for limit, (start, stop) in zip(limits, pairwise(starts[1:]), strict=True)]
    places = [start + place if margin == margin else 0
              for start, (place, margin) in zip(starts[1:-1], least, strict=True)]
    at = at.taken(np.array([0, *places], dtype=np.intp))
    lowest = evaluation.lowest(at)
    return (_of_all(evaluation, at, float(lowest.limit_airspeed[0])) if len(best) else _nowhere(""),
            *(_of_limit(evaluation, limit, at, i + 1, margin, float(lowest.equivalents[i, i + 1]))
              if margin == margin else _nowhere(limit.name)
              for i, (limit, (_, margin)) in enumerate(zip(limits, least, strict=True))))


def _closest(evaluation: Evaluation, limit: Limit, rows: Rows) -> Rows:
    """Return of many rows, part by part, the one with the smallest margin; none without one."""
    best, least = rows[:0], np.inf
    for part in np.array_split(rows, len(rows) // _AT_A_TIME):
        margin = evaluation.margin(limit, part)
        if np.nanmin(margin) < least:
            least = float(np.nanmin(margin))
            best = part[[int(np.nanargmin(margin))]]
    return best


def _candidates(limit: Limit, columns: Mapping[str, NDArray[Any]], i: int) -> Rows:
    """Return the judged rows of limit `i` that may have its smallest margin, ascending.

    A limit that is one number is closest where its quantity is highest; of the columns, rounded to
    float32, that leaves a few rows. For other limits, or without their columns, all rows stay.
    """
    judged = columns[f"state_{i}"] <= OVER
    column, within = _COLUMNS.get(limit.kind.name, ("", 0.0))
    if column in columns and limit.by_pressure_altitude is None:
        values = np.where(judged, columns[column], np.float32(np.nan))
        highest = np.fmax.reduce(values, initial=np.nan)
        if not np.isnan(highest):
            judged = values >= highest - np.float32(within)
    return np.flatnonzero(judged)


def _least(margins: Floats) -> tuple[int, float]:
    """Return where the smallest of some margins is, and it; NaN where none is known."""
    if np.isnan(margins).all():
        return 0, float("nan")
    place = int(np.nanargmin(margins))
    return place, float(margins[place])


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


def _of_all(evaluation: Evaluation, at: AirDataRows, limit_airspeed: float) -> Smallest:
    """Return the smallest margin of all limits, at the first of some rows."""
    margin_kt = float(limit_airspeed - at.calibrated_airspeed[0]) / KNOT
    limit_mach = mach_at_cas(np.array([limit_airspeed]), at.pressure_altitude[:1])
    return Smallest(
        "", margin_kt, float(limit_mach[0] - at.mach[0]),
        float(evaluation.log.time[at.rows[0]]), float(at.pressure_altitude[0]) / FOOT,
        limit_airspeed / KNOT, margin_kt)


def _of_limit(
    evaluation: Evaluation, limit: Limit, at: AirDataRows, i: int, margin: float,
    limit_airspeed: float,
) -> Smallest:
    """Return the smallest margin to a limit, at the i-th of some rows."""
    return Smallest(
        limit.name, (limit_airspeed - float(at.calibrated_airspeed[i])) / KNOT,
        margin if limit.kind.suffix == LimitedMach.suffix else float("nan"),
        float(evaluation.log.time[at.rows[i]]), float(at.pressure_altitude[i]) / FOOT,
        limit_airspeed / KNOT, margin)
