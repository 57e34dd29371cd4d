"""Calls of the compiled kernels for one block: arguments, tables and buffers.

The results are bitwise equal to those of the NumPy loops in `block_evaluation`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.piecewise import PiecewiseQuadratic
from loganalyze.engine import kernel_arguments, speed_tables
from loganalyze.engine.block_plan import BlockPlan
from loganalyze.engine.limit_curves import LimitCurves, StackedCurves
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.screening import sample_checks

Floats = NDArray[np.float64]
Configurations = Sequence[tuple[tuple[int, ...], NDArray[np.bool_] | None]]

_NO_FLOATS, _NO_BITS = np.empty(0), np.empty(0, dtype=np.uint16)
_NO_SINGLE = np.empty(0, dtype=np.float32)


def with_compiled_checks(screen: sample_checks.Screen, compiled: Any) -> sample_checks.Screen:
    """Return a screen whose checks of each sample and its neighbours run in the compiled kernel."""
    bounds = np.array(
        [
            [
                bound.lowest,
                bound.highest,
                screen.rate(bound) if bound in sample_checks.NOISE else np.inf,
                sample_checks.NOISE.get(bound, np.inf),
                bound.first_bit,
                screen.rate(bound) * screen.settings.excursion_rate_factor,
            ]
            for bound in (sample_reasons.SPEED, sample_reasons.HEIGHT, sample_reasons.HEAT)
        ]
    )
    probe = _NO_FLOATS if screen.temperature is None else screen.temperature
    time, speed, altitude, probe = (
        np.ascontiguousarray(values)
        for values in (screen.time, screen.speed, screen.altitude, probe))

    def local_checks(low: int, high: int) -> Bits | None:
        bits = np.zeros(high - low, dtype=np.uint16)
        spikes, fast_steps = np.empty((2, 2, high - low + 1), dtype=np.int64)
        n_spikes, n_fast_steps = np.zeros((2, 2), dtype=np.int64)
        marked: int = compiled.screen(time, speed, altitude, probe, low, high, bounds, bits,
                                      spikes, fast_steps, n_spikes, n_fast_steps)
        for i, bound in enumerate((sample_reasons.SPEED, sample_reasons.HEIGHT)):
            screen.add_fast_steps(bound, fast_steps[i, : n_fast_steps[i]])
            for row in spikes[i, : n_spikes[i]].tolist():
                marked += screen.mark_spike(bits, bound, row, low)
        return bits if marked else None

    return replace(screen, local_checks=local_checks)


class CompiledLoops:
    """The compiled loops of one thread: its row buffers, and the tables of one flight."""

    def __init__(self, plan: BlockPlan, compiled: Any, size: int) -> None:
        self._plan, self._compiled = plan, compiled
        self._rows = [np.empty(size, dtype=np.int64) for _ in range(6)]
        expansion, density = speed_tables.expansion(), speed_tables.density_altitude()
        self._expansion = _coefficients(expansion)
        self._density = _coefficients(density)
        self._numbers = kernel_arguments.numbers()
        self._tables = kernel_arguments.TableNumbers(
            expansion_scale=1.0 / expansion.step,
            recovery=0.2 * plan.evaluation.air.recovery_factor,
            thinnest=density.start,
            densest=density.stop,
            density_scale=1.0 / density.step,
        )

    def fill(
        self, out: Mapping[str, NDArray[Any]], configurations: Configurations, bits: Bits | None,
        start: int, stop: int,
    ) -> NDArray[np.intp]:
        """Write a block's columns; return the rows, from its start, to be evaluated directly."""
        curves = stacked(self._plan, tuple(chosen for chosen, _ in configurations))
        table, governing = curves.table, curves.governing
        config = _NO_BITS
        if len(configurations) > 1:
            config = codes(configurations, stop - start)
        reasons = _NO_BITS if bits is None else bits
        air, near = self._plan.evaluation.air, self._rows[0]
        if not self._plan.speeds_wanted:
            n_near = self._compiled.verdict(
                air.calibrated_airspeed[start:stop], air.pressure_altitude[start:stop], reasons,
                sample_reasons.AIRSPEED, air.altitude_mask, config, table, self._numbers,
                out["margin_kt"][start:stop], near)
            return near[:n_near]

        def columns(first: int, last: int, exact_mach: Floats, rows: list[NDArray[np.int64]]
                    ) -> tuple[int, int, int]:
            here = slice(start + first, start + last)
            probe = _NO_FLOATS if air.temperature is None else air.temperature[here]
            counts: tuple[int, int, int] = self._compiled.columns(
                air.calibrated_airspeed[here], air.pressure_altitude[here], probe,
                reasons[first:last], sample_reasons.AIRSPEED, air.altitude_mask,
                sample_reasons.TEMPERATURE, config[first:last], table, governing,
                self._expansion, self._density, self._numbers, self._tables, exact_mach,
                kernel_arguments.Columns(*(
                    out[name][here] if name in out else _NO_SINGLE
                    for name in kernel_arguments.COLUMN_NAMES)),
                out["governing_limit"][here], *rows)
            return counts

        n_near, n_extremes, n_beyond = columns(0, stop - start, _NO_FLOATS, self._rows[:3])
        beyond = self._rows[2][:n_beyond]
        if n_extremes:
            # Their Mach numbers are computed exactly; the rows around them are then written again.
            extremes = self._rows[1][:n_extremes]
            first, last = int(extremes[0]), int(extremes[-1]) + 1
            exact_mach = np.full_like(air.calibrated_airspeed[start:stop],
                                      self._compiled.FROM_TABLE)
            speed, altitude, _ = self._screened_values(extremes, bits, start)
            exact_mach[extremes] = mach_at_cas(speed, altitude)
            _, _, n_beyond = columns(first, last, exact_mach[first:last], self._rows[3:])
            beyond = np.concatenate([beyond[(beyond < first) | (beyond >= last)],
                                     self._rows[5][:n_beyond] + first])
        if len(beyond):
            self._write_beyond_density_table(out, np.sort(beyond), bits, start)
        return near[:n_near]

    def _screened_values(self, rows: NDArray[np.intp], bits: Bits | None, start: int
                         ) -> tuple[Floats, Floats, Floats | None]:
        """Return airspeed [m/s], altitude [m], probe temperature [K] of rows; NaN if rejected."""
        air, where = self._plan.evaluation.air, rows + start
        reasons = np.zeros(len(rows), dtype=np.uint16) if bits is None else bits[rows]
        speed = np.where(reasons & sample_reasons.AIRSPEED, np.nan, air.calibrated_airspeed[where])
        altitude = np.where(reasons & air.altitude_mask, np.nan, air.pressure_altitude[where])
        if air.temperature is None:
            return speed, altitude, None
        return speed, altitude, np.where(reasons & sample_reasons.TEMPERATURE, np.nan,
                                         air.temperature[where])

    def _write_beyond_density_table(
        self, out: Mapping[str, NDArray[Any]], rows: NDArray[np.intp], bits: Bits | None,
        start: int,
    ) -> None:
        """Write the density altitude of rows whose density ratio lies outside the table."""
        speed, altitude, probe = self._screened_values(rows, bits, start)
        work = speed_tables.Workspace(len(rows))
        work.take(speed, altitude)
        some = {name: np.empty(len(rows), dtype=np.float32)
                for name in kernel_arguments.COLUMN_NAMES}
        speed_tables.write_speeds(work, probe, self._plan.evaluation.air.recovery_factor, some)
        out["density_altitude_ft"][rows + start] = some["density_altitude_ft"]


def codes(configurations: Configurations, count: int) -> Bits:
    """Return which of several configurations each of `count` rows is in, uint16[count]."""
    found = np.zeros(count, dtype=np.uint16)
    for i, (_, where) in enumerate(configurations):
        found[where] = i
    return found


def stacked(plan: BlockPlan, parts: tuple[tuple[int, ...], ...]) -> StackedCurves:
    """Return the curves of several sets of limits, one after the other along the axis of cells.

    They are kept with the curves of single sets, which the flights of a fleet share.
    """
    curves, evaluation = plan.curves, plan.evaluation
    on_pointer: tuple[int, ...] = ()  # An empty set gives a pointer of NaN.
    if (set(evaluation.on_pointer) <= set(curves.tabulated)
            and not evaluation.air.position_tables):
        on_pointer = evaluation.on_pointer
    if (parts, on_pointer) not in curves.stacked:
        curves.stacked[parts, on_pointer] = _stacked(curves, parts, on_pointer)
    return curves.stacked[parts, on_pointer]


def _stacked(curves: LimitCurves, parts: tuple[tuple[int, ...], ...], on_pointer: tuple[int, ...]
             ) -> StackedCurves:
    each = [curves.curve(chosen) for chosen in parts]
    shown = [tuple(i for i in chosen if i in on_pointer) for chosen in parts]
    table = np.concatenate([
        np.concatenate([_coefficients(cells) for cells in (
            speed_tables.pressure_ratio(), curve.limit_airspeed, curve.limit_mach,
            curves.curve(some).limit_airspeed)])
        for curve, some in zip(each, shown, strict=True)], axis=1)
    return StackedCurves(
        table, np.concatenate([curve.governing for curve in each]), shown == list(parts))


def _coefficients(cells: PiecewiseQuadratic) -> Floats:
    """Return a table's coefficients, the highest power first, float64[2 or 3, cells]."""
    coefficients = [cells.slope, cells.value]
    if cells.curvature is not None:
        coefficients.insert(0, cells.curvature)
    return np.stack(coefficients)
