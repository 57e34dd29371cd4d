"""The limit airspeed against pressure altitude: directly, and tabulated for the block loop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import probes
from loganalyze.air.cells import Cells
from loganalyze.judge.airdata import AirData
from loganalyze.judge.equivalents import Point, calibrated_equivalent, mach_at_cas
from loganalyze.sheets.limits import Limit, LimitsSheet

Floats = NDArray[np.float64]

# Cell edges fall on the boundaries of the standard atmosphere's layers (11 and 20 km), and the
# table spans the plausible range of pressure altitude.
START, STEP, COUNT = -1000.0, 8.0, 2625
PARTS = 4
"""Straight pieces that each cell is cut into for the block loop."""
NOBODY = np.uint8(255)
"""Governing limit where none applies or the lowest can't be told."""


@dataclass(frozen=True, eq=False)
class Curve:
    """The lowest of some limits at every pressure altitude.

    A cell is NaN where it can't be tabulated: where two limits cross, or a table bends.
    """

    limit_airspeed: Cells
    limit_mach: Cells
    governing: NDArray[np.uint8]


def depends_on_altitude_alone(limit: Limit, air: AirData) -> bool:
    """Whether the limit's calibrated equivalent follows from the pressure altitude alone."""
    match limit.quantity:
        case "calibrated_airspeed" | "equivalent_airspeed" | "mach":
            return True
        case "indicated_airspeed":
            return air.position is None
        case "indicated_mach":
            return not air.corrected
    return False


def equivalents(
    limits: Sequence[Limit], altitude: Floats, tables: tuple[probes.CorrectionTable, ...] = (),
    temperature: Floats | None = None, indicated_altitude: Floats | None = None,
) -> Floats:
    """Calibrated airspeed [m/s] at which each limit lies, float64[limits, n]; NaN unknown.

    `altitude` and `temperature` are float64[n], [m] and [K].
    """
    unknown = np.full(altitude.shape, np.nan)
    felt = altitude if indicated_altitude is None else indicated_altitude
    air = AirData(None, unknown, felt, altitude, temperature, 0.0, None, tables, ())
    at = Point(np.arange(len(altitude)), unknown, altitude, unknown,
               unknown if temperature is None else temperature, unknown, felt)
    return np.stack([calibrated_equivalent(limit, air, at) for limit in limits])


def lowest(speeds: Floats) -> tuple[Floats, NDArray[np.uint8]]:
    """Return the lowest known speed [m/s] and the index of its limit; NaN and NOBODY if none."""
    known = np.where(np.isnan(speeds), np.inf, speeds)
    governing = known.argmin(axis=0)
    least = np.take_along_axis(known, governing[None], axis=0)[0]
    none = np.isinf(least)
    return np.where(none, np.nan, least), np.where(none, NOBODY, governing).astype(np.uint8)


def tabulate(sheet: LimitsSheet, chosen: Sequence[int], air: AirData) -> Curve:
    """Tabulate the lowest of the chosen limits of a sheet (indices)."""
    limits = [sheet.limit[i] for i in chosen]
    tables = air.position_tables
    edges = START + STEP * np.arange(COUNT + 1, dtype=np.float64)
    if limits:
        _, at_edges = lowest(equivalents(limits, edges, tables))
        bent = at_edges[:-1] != at_edges[1:]
    else:
        bent = np.ones(COUNT, dtype=bool)
    for limit in limits:
        for node in limit.nodes_m:
            cell = (node - START) / STEP
            touched = np.array([np.floor(cell - 1e-6), np.floor(cell + 1e-6)], dtype=np.intp)
            bent[touched[(touched >= 0) & (touched < COUNT)]] = True
    governing = np.full(COUNT + 1, NOBODY)

    def airspeed(altitude: Floats) -> Floats:
        flat = altitude.reshape(-1)
        if not limits:
            return np.full(altitude.shape, np.nan)
        speed, who = lowest(equivalents(limits, flat, tables))
        names = np.append(np.asarray(chosen, dtype=np.uint8), NOBODY)
        centre = who.reshape(altitude.shape)[altitude.shape[0] // 2]
        governing[:-1] = names[np.minimum(centre, len(limits))]
        return np.where(bent, np.nan, speed.reshape(altitude.shape))

    speeds = Cells.of(airspeed, START, STEP, COUNT)
    machs = Cells.of(lambda h: mach_at_cas(airspeed(h), h), START, STEP, COUNT)
    return Curve(speeds.straightened(PARTS), machs.straightened(PARTS),
                 np.append(np.repeat(governing[:-1], PARTS), NOBODY))
