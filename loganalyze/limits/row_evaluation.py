"""All limits evaluated at some rows: the reference for the engine's fast path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.limits.evaluation import Bytes, Evaluation, Floats, combined_state
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.speed_relations import mach_at_cas


@dataclass(frozen=True, eq=False)
class EvaluatedRows:
    """The states and margins of a sheet's limits at m rows; NaN where unknown.

    ``states`` : uint8[limits, m], of each limit; ``state`` : uint8[m], combined;
    ``limit_airspeed`` : float64[m] [m/s CAS], the lowest limit that applies; ``governing`` :
    uint8[m], its index, 255 for none; ``margin`` : float64[m] [m/s CAS], to it; ``margin_mach``,
    ``limit_pointer`` : float64[m] [Mach, m/s IAS].
    """

    states: Bytes
    state: Bytes
    limit_airspeed: Floats
    governing: Bytes
    margin: Floats
    margin_mach: Floats
    limit_pointer: Floats


def evaluate_rows(
    evaluation: Evaluation, at: AirDataRows, *, margins_alone: bool = False
) -> EvaluatedRows:
    """Evaluate every limit at some rows.

    Parameters
    ----------
    evaluation : Evaluation
        With `Evaluation.fill` called for those rows.
    at : AirDataRows
        The air data of the rows, from `Evaluation.air_data_at`.
    margins_alone : bool
        Return NaN for the margin in Mach and the limit pointer, to save time.
    """
    limits = evaluation.sheet.limit
    states = np.stack([evaluation.state(limit, at) for limit in limits])
    lowest = evaluation.lowest(at)
    margin_mach: NDArray[np.float64] = np.full(at.rows.shape, np.nan)
    pointer = margin_mach
    if not margins_alone:
        margin_mach = mach_at_cas(lowest.limit_airspeed, at.pressure_altitude) - at.mach
        pointer = evaluation.limit_pointer(at, lowest.equivalents)
    return EvaluatedRows(
        states, combined_state(states), lowest.limit_airspeed, lowest.governing,
        lowest.limit_airspeed - at.calibrated_airspeed, margin_mach, pointer)
