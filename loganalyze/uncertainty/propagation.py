"""Uncertainty at every sample, computed fast in blocks.

Terms that depend on pressure altitude or airspeed alone come from tables of one value per cell (8 m
and a quarter of a knot); the others are computed in closed form in float32. Supersonic samples, and
those governed by a limit that depends on more than altitude, are computed exactly.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere, sensitivity
from loganalyze.engine import limit_curves
from loganalyze.engine.limit_curves import LimitCurves
from loganalyze.events.analysis import Analysis
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.threads import side_by_side, threads
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.uncertainty import margin_sensitivities
from loganalyze.uncertainty.error_budget import AIRSPEED, ALTITUDE, STATIC, TEMPERATURE, Budget

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Exactly = Callable[[NDArray[np.intp], NDArray[np.uint8]], Mapping[str, Floats]]

NAMES = ("margin_u_kt", "margin_u_mach", "mach_u", "calibrated_airspeed_u_kt",
         "true_airspeed_u_kt", "margin_displayed_u_kt")
BLOCK = 65536
"""Rows per block; with smaller ones threads contend for the interpreter's lock."""
RATE_S = 1.0
"""Time on either side over which rates of change are taken [s], at least one interval."""

_SPEEDS, _KELVINS = 4400, 500
_CELLS_A_KNOT = 4
_SOUND_KT = atmosphere.A0 / KNOT


@dataclass(frozen=True, eq=False)
class _Tables:
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
    def of(cls, analysis: Analysis, budget: Budget) -> _Tables:
        nodes = _NODES
        speeds = (np.arange(_SPEEDS, dtype=np.float64) + 0.5) / _CELLS_A_KNOT
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
            shift[i] = _SPEEDS if limit.kind.as_indicated else 0

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
    """What of the tables depends on the sheet alone; as in `_Tables`, not flat.

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
        cas, mach = margin_sensitivities.limit_slopes(sheet.limit[i], at_nodes, _NODES)
        in_kt[i], in_mach[i] = cas / KNOT * FOOT, mach * FOOT
        by_cas[i] = skip_nan(sensitivity.mach_by_cas, at_nodes, _NODES)
    slopes = _Slopes(in_kt, in_mach, by_cas)
    _KEPT.append((curves, slopes))
    return slopes


_KEPT: deque[tuple[LimitCurves, _Slopes]] = deque(maxlen=4)
_NODES: Floats = limit_curves.START + limit_curves.STEP * (
    np.arange(limit_curves.COUNT, dtype=np.float64) + 0.5)
_INVERSE_DELTA: Singles = np.asarray(1 / atmosphere.pressure_ratio(_NODES), dtype=np.float32)
_THINNING_FT: Singles = np.asarray(sensitivity.relative_pressure_lapse(_NODES) * FOOT,
                                   dtype=np.float32)


def columns(analysis: Analysis, budget: Budget, exactly: Exactly) -> dict[str, Singles]:
    """Return all columns of uncertainties; see `Uncertainty.columns`.

    Raises ValueError for an analysis with `verdict_only`, which has no speeds.
    """
    if "mach" not in analysis.columns:
        raise ValueError("an analysis of the verdict alone holds no speeds to compute with")
    n = len(analysis.log)
    names = [name for name in NAMES
             if name != "true_airspeed_u_kt" or "true_airspeed_kt" in analysis.columns]
    out = {name: np.empty(n, dtype=np.float32) for name in names}
    work = _Work(analysis, budget, _Tables.of(analysis, budget), out)
    starts = range(0, n, BLOCK)
    # All threads draw from one iterator, so that none waits for another.
    blocks = iter(starts)
    pending = [row for rows in side_by_side([partial(work.run, blocks)] * threads(len(starts)))
               for row in rows]
    if pending:
        rows = np.concatenate(pending)
        for some in np.array_split(rows, max(1, len(rows) // 65536)):
            for name, values in exactly(some, analysis.columns["governing_limit"][some]).items():
                if name in out:
                    out[name][some] = values
    return out


def reach(interval: float) -> int:
    """Return `RATE_S` as a number of rows, at least one."""
    return max(1, round(RATE_S / interval)) if interval > 0 else 1


def rate(values: NDArray[Any], time: Floats, rows: NDArray[np.intp], interval: float) -> Floats:
    """Return the rate of change of a column at some rows [unit/s], float64[m].

    Over one second on either side; where a value is missing there, over one second on one side,
    else over one sample on both sides or one; NaN where no value beside a row is known.
    """
    found = np.full(len(rows), np.nan)
    k, last = reach(interval), len(time) - 1
    lost = np.arange(len(rows))
    for back, ahead in ((k, k), (0, k), (k, 0), (1, 1), (0, 1), (1, 0)):
        before, after = np.maximum(rows[lost] - back, 0), np.minimum(rows[lost] + ahead, last)
        span = time[after] - time[before]
        rise = values[after].astype(np.float64) - values[before]
        found[lost] = np.where(span > 0, rise / np.where(span > 0, span, 1.0), np.nan)
        lost = lost[np.isnan(found[lost])]
        if not len(lost):
            break
    return found


def closing(analysis: Analysis, rows: NDArray[np.intp]) -> Floats:
    """Rate of change of the margin at some rows [kt/s], without the steps of its limits.

    Where a limit with conditions begins or ceases to govern, the margin steps without motion:
    there it is the airspeed's own rate, of the other sign.
    """
    columns, time, interval = analysis.columns, analysis.time, analysis.log.interval_s
    found = rate(columns["margin_kt"], time, rows, interval)
    governing, k = columns["governing_limit"], reach(interval)
    stepped = _stepped(analysis, governing[np.maximum(rows - k, 0)],
                       governing[np.minimum(rows + k, len(governing) - 1)])
    found[stepped] = -rate(columns["calibrated_airspeed_kt"], time, rows[stepped], interval)
    return found


def _stepped(
    analysis: Analysis, before: NDArray[np.uint8], after: NDArray[np.uint8]
) -> NDArray[np.intp]:
    """Return where the governing limit changes and one of the two has conditions."""
    steps = np.zeros(256, dtype=bool)
    for i, limit in enumerate(analysis.sheet.limit):
        steps[i] = bool(limit.conditions)
    changed = np.flatnonzero(before != after) if steps.any() else np.empty(0, dtype=np.intp)
    return changed[steps[before[changed]] | steps[after[changed]]]


@dataclass(frozen=True, eq=False)
class _Work:
    analysis: Analysis
    budget: Budget
    tables: _Tables
    out: Mapping[str, Singles]

    def run(self, starts: Iterable[int]) -> list[NDArray[np.intp]]:
        """Compute blocks; return the rows that are to be computed exactly."""
        pending = []
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            for start in starts:
                rows = self._block(slice(start, min(start + BLOCK, len(self.analysis.log))))
                if len(rows):
                    pending.append(rows)
        return pending

    def _per_s(self, block: slice) -> Singles:
        """One over the time that each row's rate is taken over, infinite for a log of one row."""
        time, k = self.analysis.time, reach(self.analysis.log.interval_s)
        step = _beside(time, block, k) - _beside(time, block, -k)
        return np.asarray(np.float32(1) / step.astype(np.float32))

    def _rate(self, name: str, block: slice, per_s: Singles) -> Singles:
        values, time = self.analysis.columns[name], self.analysis.time
        interval = self.analysis.log.interval_s
        k = reach(interval)
        found = _beside(values, block, k) - _beside(values, block, -k)
        found *= per_s
        if np.isnan(found.max()):
            rows = np.flatnonzero(np.isnan(found) & ~np.isnan(values[block]))
            found[rows] = rate(values, time, rows + block.start, interval)
        return np.asarray(found)

    def _moved(self, name: str, block: slice, per_s: Singles, seconds: float) -> Singles:
        """Variance of a column by a time error of at most so many seconds, rectangular."""
        if seconds == 0.0:
            return np.zeros(block.stop - block.start, dtype=np.float32)
        found = self._rate(name, block, per_s)
        found *= np.float32(seconds / np.sqrt(3))
        found *= found
        return found

    def _lagging(self, block: slice, per_s: Singles) -> Singles:
        """Variance of the margin by the display's lag; see `closing`."""
        lag = self._moved("margin_kt", block, per_s, self.budget.lag_s)
        if self.budget.lag_s:
            governing = self.analysis.columns["governing_limit"]
            k = reach(self.analysis.log.interval_s)
            rows = np.arange(block.start, block.stop)
            stepped = _stepped(self.analysis, _beside(governing, block, -k),
                               _beside(governing, block, k))
            lag[stepped] = (closing(self.analysis, rows[stepped]) * self.budget.lag_s) ** 2 / 3
        return lag

    def _block(self, block: slice) -> NDArray[np.intp]:
        columns, tables, budget = self.analysis.columns, self.tables, self.budget
        out = {name: column[block] for name, column in self.out.items()}
        speed, number = columns["calibrated_airspeed_kt"][block], columns["mach"][block]
        height = columns["pressure_altitude_ft"][block]
        governing = columns["governing_limit"][block]
        governing = np.minimum(governing, np.uint8(len(self.analysis.sheet.limit)))
        per_s = self._per_s(block)
        cell = (
            (height - np.float32(limit_curves.START / FOOT)) * np.float32(FOOT / limit_curves.STEP)
        ).astype(np.intp)
        if cell.min() < 0:  # as a missing altitude comes out
            np.maximum(cell, 0, out=cell)
        thick = tables.inverse_delta.take(cell, mode="clip")
        thin = tables.thinning_ft.take(cell, mode="clip")
        by_kt, by_foot, along = margin_sensitivities.mach_slopes(speed, number, thick, thin)
        skew = self._moved("pressure_altitude_ft", block, per_s, budget.skew_s)
        high = tables.high.take(cell, mode="clip")
        high += skew
        whole = knots = (speed * np.float32(_CELLS_A_KNOT)).astype(np.intp)
        free = tables.independent.take(knots, mode="clip")
        static = _look(tables.static, knots)
        np.sqrt(free + static, out=out["calibrated_airspeed_u_kt"])
        square = by_kt * by_kt
        of_mach = _sum(square * free, by_foot, high, by_foot * along + by_kt, static)
        np.sqrt(of_mach, out=out["mach_u"])
        if "true_airspeed_u_kt" in out:
            self._true_airspeed(block, per_s, number, of_mach, out["true_airspeed_u_kt"])
        if tables.shift.any():
            knots = tables.shift[governing] + np.minimum(knots, _SPEEDS - 1)
            free = tables.independent.take(knots, mode="clip")
            static = _look(tables.static, knots)
        place = governing * np.intp(limit_curves.COUNT)
        place += cell
        lead = tables.in_mach.take(place, mode="clip")
        lead -= by_foot
        np.sqrt(_sum(square * free, lead, high, lead * along - by_kt, static),
                out=out["margin_u_mach"])
        moves = tables.in_kt.take(place, mode="clip")
        along *= moves
        along -= 1
        np.sqrt(_sum(free, moves, high, along, static), out=out["margin_u_kt"])
        lag = self._lagging(block, per_s)
        lag += tables.displayed.take(whole, mode="clip")
        lag += tables.fixed.take(place, mode="clip")
        moves *= moves
        moves *= skew
        lag += moves
        np.sqrt(lag, out=out["margin_displayed_u_kt"])
        if whole.min() < 0:  # as a missing airspeed comes out
            lost = np.isnan(speed)
            out["calibrated_airspeed_u_kt"][lost] = np.nan
            out["margin_displayed_u_kt"][lost] = np.nan
        # A missing value makes the greatest missing too.
        if np.isnan(out["margin_u_kt"].max()) or not number.max() < 1:
            unsettled = np.isnan(out["margin_u_kt"]) & ~np.isnan(columns["margin_kt"][block])
            unsettled |= number >= 1
            return np.asarray(np.flatnonzero(unsettled) + block.start)
        return np.empty(0, dtype=np.intp)

    def _true_airspeed(self, block: slice, per_s: Singles, number: Singles,
                       of_mach: Singles, out: Singles) -> None:
        columns = self.analysis.columns
        static = columns["static_air_temperature_degc"][block] + np.float32(273.15)
        sound = np.sqrt(static)
        sound *= np.float32(_SOUND_KT / np.sqrt(atmosphere.T0))
        recovery = self.analysis.evaluation.air.recovery_factor
        rise = None
        if recovery:
            rise = number * number
            rise *= np.float32(0.2 * recovery)
            rise += 1
            static *= rise
        warm = self._moved("static_air_temperature_degc", block, per_s,
                           self.budget.temperature_skew_s)
        warm += _look(self.tables.warm, static.astype(np.intp))
        by_heat = sound * number
        by_heat /= static
        by_heat *= by_heat
        by_heat *= warm
        by_heat *= np.float32(0.25)
        if rise is not None:
            sound /= rise
        sound *= sound
        sound *= of_mach
        sound += by_heat
        np.sqrt(sound, out=out)


def _beside(values: NDArray[Any], block: slice, by: int) -> NDArray[Any]:
    """Return the values so many rows after a block's rows; beyond the log's ends the last one."""
    first, stop = block.start + by, block.stop + by
    if first >= 0 and stop <= len(values):
        return values[first:stop]
    return values.take(np.arange(first, stop), mode="clip")


def _look(table: Singles, index: NDArray[np.intp]) -> Singles:
    """Return the table's values at `index`; a constant table has one value."""
    return table if len(table) == 1 else table.take(index, mode="clip")


def _sum(first: Singles, a: Singles, of_a: Singles, b: Singles, of_b: Singles) -> Singles:
    """first + a^2 of_a + b^2 of_b; `first` and `b` are overwritten."""
    second = a * a
    second *= of_a
    first += second
    b *= b
    b *= of_b
    first += b
    return first
