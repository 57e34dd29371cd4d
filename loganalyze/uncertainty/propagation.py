"""Uncertainty at every sample, computed fast in blocks.

Terms that depend on pressure altitude or airspeed alone come from tables of one value per cell (8 m
and a quarter of a knot); the others are computed in closed form in float32. Supersonic samples, and
those governed by a limit that depends on more than altitude, are computed exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere
from loganalyze.engine import limit_curves
from loganalyze.events.analysis import Analysis
from loganalyze.record.threads import side_by_side, threads
from loganalyze.record.units import FOOT, KNOT
from loganalyze.uncertainty import margin_sensitivities
from loganalyze.uncertainty.error_budget import Budget
from loganalyze.uncertainty.margin_sensitivities import CELLS_A_KNOT, SPEEDS, CellTables

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Rows = NDArray[np.intp]
Some = slice | Rows
"""Rows that are computed at once: those of a block, or a choice."""
Exactly = Callable[[Rows, NDArray[np.uint8]], Mapping[str, Floats]]

NAMES = ("margin_u_kt", "margin_u_mach", "mach_u", "calibrated_airspeed_u_kt",
         "true_airspeed_u_kt", "margin_displayed_u_kt")
BLOCK = 65536
"""Rows per block; with smaller ones threads contend for the interpreter's lock."""
SCANNED = 1024
"""Rows whose uncertainty is bounded together."""
RATE_S = 1.0
"""Time on either side over which rates of change are taken [s], at least one interval."""

_SOUND_KT = atmosphere.A0 / KNOT


def names_of(analysis: Analysis) -> tuple[str, ...]:
    """Return the names of the columns that an analysis has.

    Raises ValueError for one with `verdict_only`, which has no speeds.
    """
    if "mach" not in analysis.columns:
        raise ValueError("an analysis of the verdict alone holds no speeds to compute with")
    return tuple(name for name in NAMES
                 if name != "true_airspeed_u_kt" or "true_airspeed_kt" in analysis.columns)


def columns(analysis: Analysis, budget: Budget, exactly: Exactly, rows: Rows | None = None
            ) -> dict[str, Singles]:
    """Return all columns of uncertainties at all rows or at some; see `Uncertainty.columns`."""
    n = len(analysis.log) if rows is None else len(rows)
    out = {name: np.empty(n, dtype=np.float32) for name in names_of(analysis)}
    work = _Work(analysis, budget, CellTables.of(analysis, budget), out)
    starts = range(0, n, BLOCK)
    # All threads draw from one iterator, so that none waits for another.
    blocks = iter(starts)
    pending = [some for parts in side_by_side(
        [partial(work.run, blocks, rows)] * threads(len(starts))) for some in parts]
    if pending:
        left = np.concatenate(pending)
        for some in np.array_split(left, max(1, len(left) // 65536)):
            at = some if rows is None else rows[some]
            for name, values in exactly(at, analysis.columns["governing_limit"][at]).items():
                if name in out:
                    out[name][some] = values
    return out


def greatest(analysis: Analysis, budget: Budget) -> Floats:
    """Return what no limit's margin is less certain than, by stretches of `SCANNED` rows.

    Each variance is a sum of products of factors that aren't negative: a table's value at the row's
    cell, a slope that grows with airspeed and altitude, and the variances by the rates of change
    of altitude and margin (see `_Work.uncertainties`). The sum of the products of the factors'
    greatest values, those of the tables over all cells that the flight came through and those of
    the rates over a stretch, is at least as great as any row's.

    Returns
    -------
    float64[limits, stretches]  [kt CAS]
        As flown or as displayed, whichever is more. Infinite for a limit without a table, and in a
        stretch with a sample that is judged without a Mach number below 1.
    """
    data, tables, n = analysis.columns, CellTables.of(analysis, budget), len(analysis.log)
    starts = np.arange(0, n, SCANNED)
    found = np.full((len(analysis.sheet.limit), len(starts)), np.inf)
    speed, height = (float(np.fmax.reduce(data[name], initial=-np.inf))
                     for name in ("calibrated_airspeed_kt", "pressure_altitude_ft"))
    if not np.isfinite(speed) or not np.isfinite(height):
        return found
    lowest = float(np.fmin.reduce(data["pressure_altitude_ft"]))
    # A cell more to either side: it costs nothing, and rounding can't lead beyond it.
    first, last = (int(np.clip((at * FOOT - limit_curves.START) / limit_curves.STEP,
                               0, limit_curves.COUNT - 1)) for at in (lowest, height))
    cells = slice(max(first - 1, 0), last + 2)
    fastest = int(np.clip(speed * CELLS_A_KNOT, 0, SPEEDS - 1)) + 2
    whole = slice(0, n)
    work = _Work(analysis, budget, tables, {})
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        per_s = work.per_s(whole)
        skew, lag = (np.fmax.reduceat(part, starts).astype(np.float64) for part in (
            work.moved("pressure_altitude_ft", whole, per_s, budget.skew_s),
            work.lagging(whole, per_s)))
    # The last of the slopes doesn't depend on the Mach number.
    *_, along = margin_sensitivities.mach_slopes(
        np.array([speed], np.float32), np.array([0.5], np.float32),
        tables.inverse_delta[cells].max(keepdims=True),
        tables.thinning_ft[cells].min(keepdims=True))
    high = float(tables.high[cells].max())
    for i in analysis.limit_curves.tabulated:
        of_limit = slice(i * limit_curves.COUNT + cells.start, i * limit_curves.COUNT + min(
            cells.stop, limit_curves.COUNT))
        # Without a value in the cells beyond the ends of its own table, where it has no margin.
        moves = float(np.fmax.reduce(np.abs(tables.in_kt[of_limit])))
        speeds = slice(tables.shift[i], tables.shift[i] + fastest)
        static = tables.static if len(tables.static) == 1 else tables.static[speeds]
        flown = (float(tables.independent[speeds].max()) + moves**2 * (high + skew)
                 + (float(along[0]) * moves + 1) ** 2 * float(static.max()))
        shown = (float(tables.displayed[:fastest].max()) + moves**2 * skew + lag
                 + float(np.fmax.reduce(tables.fixed[of_limit])))
        # Sums in single precision may come out greater by their rounding.
        found[i] = np.sqrt(np.fmax(flown, shown)) * (1 + 1e-4)
    found[np.isnan(found)] = np.inf
    exact = ~(data["mach"] < 1) & ~np.isnan(data["margin_kt"])
    found[:, np.logical_or.reduceat(exact, starts)] = np.inf
    return found


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
    tables: CellTables
    out: Mapping[str, Singles]

    def run(self, starts: Iterable[int], rows: Rows | None) -> list[Rows]:
        """Compute blocks of all rows or of some; return where exact values are needed."""
        pending = []
        n = len(self.analysis.log) if rows is None else len(rows)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            for start in starts:
                block = slice(start, min(start + BLOCK, n))
                left = self.uncertainties(
                    block if rows is None else rows[block],
                    {name: column[block] for name, column in self.out.items()})
                if len(left):
                    pending.append(left + start)
        return pending

    def per_s(self, rows: Some) -> Singles:
        """One over the time that each row's rate is taken over, infinite for a log of one row."""
        time, k = self.analysis.time, reach(self.analysis.log.interval_s)
        step = _beside(time, rows, k) - _beside(time, rows, -k)
        return np.asarray(np.float32(1) / step.astype(np.float32))

    def _rate(self, name: str, rows: Some, per_s: Singles) -> Singles:
        values, time = self.analysis.columns[name], self.analysis.time
        interval = self.analysis.log.interval_s
        k = reach(interval)
        found = _beside(values, rows, k) - _beside(values, rows, -k)
        found *= per_s
        if np.isnan(found.max(initial=0.0)):
            lost = np.flatnonzero(np.isnan(found) & ~np.isnan(values[rows]))
            found[lost] = rate(values, time, _numbers(rows)[lost], interval)
        return np.asarray(found)

    def moved(self, name: str, rows: Some, per_s: Singles, seconds: float) -> Singles:
        """Variance of a column by a time error of at most so many seconds, rectangular."""
        if seconds == 0.0:
            return np.zeros(len(per_s), dtype=np.float32)
        found = self._rate(name, rows, per_s)
        found *= np.float32(seconds / np.sqrt(3))
        found *= found
        return found

    def lagging(self, rows: Some, per_s: Singles) -> Singles:
        """Variance of the margin by the display's lag; see `closing`."""
        lag = self.moved("margin_kt", rows, per_s, self.budget.lag_s)
        if self.budget.lag_s:
            governing = self.analysis.columns["governing_limit"]
            k = reach(self.analysis.log.interval_s)
            stepped = _stepped(self.analysis, _beside(governing, rows, -k),
                               _beside(governing, rows, k))
            if len(stepped):
                lag[stepped] = (closing(self.analysis, _numbers(rows)[stepped])
                                * self.budget.lag_s) ** 2 / 3
        return lag

    def uncertainties(self, rows: Some, out: Mapping[str, Singles]) -> Rows:
        """Compute the columns at some rows; return at which of them they must be had exactly."""
        columns, tables, budget = self.analysis.columns, self.tables, self.budget
        speed, number = columns["calibrated_airspeed_kt"][rows], columns["mach"][rows]
        height = columns["pressure_altitude_ft"][rows]
        governing = columns["governing_limit"][rows]
        governing = np.minimum(governing, np.uint8(len(self.analysis.sheet.limit)))
        per_s = self.per_s(rows)
        cell = (
            (height - np.float32(limit_curves.START / FOOT)) * np.float32(FOOT / limit_curves.STEP)
        ).astype(np.intp)
        if cell.min(initial=0) < 0:  # as a missing altitude comes out
            np.maximum(cell, 0, out=cell)
        thick = tables.inverse_delta.take(cell, mode="clip")
        thin = tables.thinning_ft.take(cell, mode="clip")
        by_kt, by_foot, along = margin_sensitivities.mach_slopes(speed, number, thick, thin)
        skew = self.moved("pressure_altitude_ft", rows, per_s, budget.skew_s)
        high = tables.high.take(cell, mode="clip")
        high += skew
        whole = knots = (speed * np.float32(CELLS_A_KNOT)).astype(np.intp)
        free = tables.independent.take(knots, mode="clip")
        static = _look(tables.static, knots)
        np.sqrt(free + static, out=out["calibrated_airspeed_u_kt"])
        square = by_kt * by_kt
        of_mach = _sum(square * free, by_foot, high, by_foot * along + by_kt, static)
        np.sqrt(of_mach, out=out["mach_u"])
        if "true_airspeed_u_kt" in out:
            self._true_airspeed(rows, per_s, number, of_mach, out["true_airspeed_u_kt"])
        if tables.shift.any():
            knots = tables.shift[governing] + np.minimum(knots, SPEEDS - 1)
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
        lag = self.lagging(rows, per_s)
        lag += tables.displayed.take(whole, mode="clip")
        lag += tables.fixed.take(place, mode="clip")
        moves *= moves
        moves *= skew
        lag += moves
        np.sqrt(lag, out=out["margin_displayed_u_kt"])
        if whole.min(initial=0) < 0:  # as a missing airspeed comes out
            lost = np.isnan(speed)
            out["calibrated_airspeed_u_kt"][lost] = np.nan
            out["margin_displayed_u_kt"][lost] = np.nan
        # A missing value makes the greatest missing too.
        if np.isnan(out["margin_u_kt"].max(initial=0.0)) or not number.max(initial=0.0) < 1:
            unsettled = np.isnan(out["margin_u_kt"]) & ~np.isnan(columns["margin_kt"][rows])
            unsettled |= number >= 1
            return np.flatnonzero(unsettled)
        return np.empty(0, dtype=np.intp)

    def _true_airspeed(self, rows: Some, per_s: Singles, number: Singles,
                       of_mach: Singles, out: Singles) -> None:
        columns = self.analysis.columns
        static = columns["static_air_temperature_degc"][rows] + np.float32(273.15)
        sound = np.sqrt(static)
        sound *= np.float32(_SOUND_KT / np.sqrt(atmosphere.T0))
        recovery = self.analysis.evaluation.air.recovery_factor
        rise = None
        if recovery:
            rise = number * number
            rise *= np.float32(0.2 * recovery)
            rise += 1
            static *= rise
        warm = self.moved("static_air_temperature_degc", rows, per_s,
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


def _numbers(rows: Some) -> Rows:
    return np.arange(rows.start, rows.stop) if isinstance(rows, slice) else rows


def _beside(values: NDArray[Any], rows: Some, by: int) -> NDArray[Any]:
    """Return the values so many rows after some rows; beyond the log's ends the last one."""
    if isinstance(rows, slice):
        first, stop = rows.start + by, rows.stop + by
        if stop > 0 and first < len(values):
            inside = values[max(first, 0) : stop]
            before, after = max(-first, 0), max(stop - len(values), 0)
            return inside if not before and not after else np.concatenate([
                np.repeat(values[:1], before), inside, np.repeat(values[-1:], after)])
    return values.take(_numbers(rows) + by, mode="clip")


def _look(table: Singles, index: Rows) -> Singles:
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
