"""Sensitivities of a limit and of the margin to it by the air data; tables of both, by cell."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere, sensitivity
from loganalyze.engine import limit_curves
from loganalyze.engine.limit_curves import LimitCurves
from loganalyze.events.analysis import Analysis
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit, LimitsSheet
from loganalyze.uncertainty.error_budget import AIRSPEED, ALTITUDE, STATIC, TEMPERATURE, Budget

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

SLOWEST_KT = 3.0
"""CAS below which the ratio of Mach to CAS is taken as that at rest [kt]."""

SPEEDS, CELLS_A_KNOT = 4400, 4
"""Cells of airspeed in `CellTables`."""
_KELVINS = 500
_SOUND_KT = atmosphere.A0 / KNOT


def static_source(at: AirDataRows) -> Floats:
    """Return the altitude error per airspeed error of a static source error [m per m/s]."""
    return skip_nan(sensitivity.altitude_by_static_source, at.calibrated_airspeed,
                    at.pressure_altitude)


def margin_slopes(
    limit: Limit, at: AirDataRows, recovery_factor: float
) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the margin to a limit by its inputs, in its published quantity.

    Parameters
    ----------
    limit : Limit
    at : AirDataRows
        Air data at m rows.
    recovery_factor : float
        That of the temperature that is read; 0 for static temperature.

    Returns
    -------
    tuple of float64[m]
        By calibrated airspeed [the limit's unit per m/s], by pressure altitude [per m] and by
        the temperature read [per K]; NaN where an input that matters is missing.
    """
    unit = 1.0 / limit.kind.unit.factor
    by_speed, by_height, by_heat = limit.kind.value_slopes(at, recovery_factor)
    moves = np.zeros(at.rows.shape)
    if limit.by_pressure_altitude is not None:
        moves = maximum_slope(limit, at.pressure_altitude)
    return -unit * by_speed, unit * (moves - by_height), -unit * by_heat


def maximum_slope(limit: Limit, altitude: Floats) -> Floats:
    """Return the derivative of a limit's maximum by pressure altitude [SI per m], float64[m].

    Half a metre to either side, so that a table's bend counts half; 0 beyond its ends.
    """
    before, after = limit.maximum_at(altitude - 0.5), limit.maximum_at(altitude + 0.5)
    here = limit.maximum_at(altitude)
    before = np.where(np.isnan(before), here, before)
    after = np.where(np.isnan(after), here, after)
    return np.asarray(after - before)


def limit_slopes(limit: Limit, cas: Floats, altitude: Floats) -> tuple[Floats, Floats]:
    """How a limit, as CAS [m/s per m] and as Mach [1/m], changes with pressure altitude.

    `cas` is its calibrated equivalent [m/s] at the altitudes [m]. A true airspeed limit is
    taken at constant temperature.
    """
    own = maximum_slope(limit, altitude) if limit.by_pressure_altitude else np.zeros(len(cas))
    return limit.kind.limit_slopes(own, cas, altitude)


def mach_slopes(speed: Singles, number: Singles, thick: Singles, thin: Singles
                ) -> tuple[Singles, Singles, Singles]:
    """Return Mach by CAS [1/kt] and by altitude [1/ft], and altitude by static source [ft/kt].

    In single precision, for many rows. `speed` [kt CAS]; `number` : Mach; `thick` : sea-level
    pressure over that at the altitude, overwritten; `thin` : how that falls with altitude.
    """
    ratio = speed * np.float32(1 / _SOUND_KT)
    if np.fmin.reduce(speed, initial=SLOWEST_KT) < SLOWEST_KT:
        least = np.float32(SLOWEST_KT / _SOUND_KT)
        ratio = np.maximum(ratio, least)
        number = np.maximum(number, least * np.sqrt(thick))
    thick *= ratio
    thick *= _power(ratio)[1]
    warmer, fifth = _power(number)
    below = number * fifth
    by_kt = thick / below
    by_kt *= np.float32(1 / _SOUND_KT)
    fifth *= warmer
    fifth -= 1
    fifth /= below
    fifth *= thin
    fifth *= np.float32(1 / 1.4)
    thick /= thin
    thick *= np.float32(1.4 / _SOUND_KT)
    return by_kt, fifth, thick


def _power(mach: Singles) -> tuple[Singles, Singles]:
    """1 + M^2/5 and its power 5/2."""
    warmer = mach * mach
    warmer *= np.float32(0.2)
    warmer += 1
    power = np.sqrt(warmer)
    power *= warmer
    power *= warmer
    return warmer, power


@dataclass(frozen=True, eq=False)
class CellTables:
    """By cell of altitude, of airspeed and of temperature; variances in edge units squared.

    ``static`` and ``warm`` hold one value where they are the same everywhere.
    """

    inverse_delta: Singles
    thinning_ft: Singles
    high: Singles
    in_kt: Singles
    """Slope of each limit as CAS [kt/ft], flat over limits and cells; the last is of no limit."""
    in_mach: Singles
    fixed: Singles
    """What altitude and the display's steps add to a displayed margin [kt^2], likewise."""
    independent: Singles
    """Of the airspeed alone; a second stretch for limits published as indicated."""
    static: Singles
    displayed: Singles
    warm: Singles
    shift: NDArray[np.intp]
    """Where a limit's stretch of the two above begins, by limit."""

    @classmethod
    def of(cls, analysis: Analysis, budget: Budget) -> CellTables:
        """Return the tables, kept for the flights of a fleet that share limits and errors."""
        curves = analysis.limit_curves
        for kept, errors, tables in tuple(_KEPT_TABLES):
            if kept is curves and errors == budget:
                return tables
        tables = cls._computed(analysis, budget)
        _KEPT_TABLES.append((curves, budget, tables))
        return tables

    @classmethod
    def _computed(cls, analysis: Analysis, budget: Budget) -> CellTables:
        nodes = _NODES
        speeds = (np.arange(SPEEDS, dtype=np.float64) + 0.5) / CELLS_A_KNOT
        kelvins = np.arange(_KELVINS, dtype=np.float64) + 0.5
        limits = analysis.sheet.limit
        slopes = _slopes(analysis.sheet, analysis.limit_curves)
        in_kt, in_mach = slopes.in_kt, slopes.in_mach
        fixed = np.full(in_kt.shape, np.nan, dtype=np.float32)
        high_displayed = budget.variance(ALTITUDE, nodes / FOOT, flown=False)
        for i, mach_by_cas in slopes.mach_by_cas.items():
            step = limits[i].kind.display_step_cas(budget, mach_by_cas) / KNOT
            fixed[i] = in_kt[i] ** 2 * high_displayed + np.square(step) / 12
        shift = np.zeros(len(limits) + 1, dtype=np.intp)
        for i, limit in enumerate(limits):
            shift[i] = SPEEDS if limit.kind.as_indicated else 0

        def both(moves: str) -> Floats:
            return np.concatenate([
                budget.variance(moves, speeds, flown=True, indicated=indicated)
                for indicated in (False, True)])

        def single(values: Floats) -> Singles:
            return np.asarray(values, dtype=np.float32)

        def short(values: Floats) -> Singles:
            return single(values[:1] if np.ptp(values) == 0.0 else values)

        return cls(
            _INVERSE_DELTA, _THINNING_FT,
            single(budget.variance(ALTITUDE, nodes / FOOT, flown=True)),
            in_kt.ravel(), in_mach.ravel(), fixed.ravel(),
            single(both(AIRSPEED)), short(both(STATIC)),
            single(budget.variance(AIRSPEED, speeds, flown=False)),
            short(budget.variance(TEMPERATURE, kelvins - 273.15, flown=True)),
            shift)


@dataclass(frozen=True, eq=False)
class _Slopes:
    """What of the tables depends on the sheet alone; as in `CellTables`, not flat.

    ``mach_by_cas`` : of each tabulated limit, float64[cells] [s/m].
    """

    in_kt: Singles
    in_mach: Singles
    mach_by_cas: Mapping[int, Floats]


def _slopes(sheet: LimitsSheet, curves: LimitCurves) -> _Slopes:
    """Return the slopes of a sheet's limits, kept for the flights that share its curves."""
    for kept, slopes in tuple(_KEPT):
        if kept is curves:
            return slopes
    in_kt, in_mach = np.full(
        (2, len(sheet.limit) + 1, limit_curves.COUNT), np.nan, dtype=np.float32)
    by_cas = {}
    for i in curves.tabulated:
        at_nodes = curves.at_nodes[i, 1]
        cas, mach = limit_slopes(sheet.limit[i], at_nodes, _NODES)
        in_kt[i], in_mach[i] = cas / KNOT * FOOT, mach * FOOT
        by_cas[i] = skip_nan(sensitivity.mach_by_cas, at_nodes, _NODES)
    slopes = _Slopes(in_kt, in_mach, by_cas)
    _KEPT.append((curves, slopes))
    return slopes


_KEPT_TABLES: deque[tuple[LimitCurves, Budget, CellTables]] = deque(maxlen=4)
_KEPT: deque[tuple[LimitCurves, _Slopes]] = deque(maxlen=4)
_NODES: Floats = limit_curves.START + limit_curves.STEP * (
    np.arange(limit_curves.COUNT, dtype=np.float64) + 0.5)
_INVERSE_DELTA: Singles = np.asarray(1 / atmosphere.pressure_ratio(_NODES), dtype=np.float32)
_THINNING_FT: Singles = np.asarray(sensitivity.relative_pressure_lapse(_NODES) * FOOT,
                                   dtype=np.float32)
