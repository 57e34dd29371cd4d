"""The block loop's sums by compiled kernels, where there is much to judge.

Compiled or not, every result is the same to the bit: only the time differs.
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
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.screening import sample_checks

Floats = NDArray[np.float64]
Choices = Sequence[tuple[tuple[int, ...], NDArray[np.bool_] | None]]

_NO_FLOATS, _NO_BITS = np.empty(0), np.empty(0, dtype=np.uint16)
_NO_SINGLE = np.empty(0, dtype=np.float32)


def looking(screen: sample_checks.Screen, compiled: Any) -> sample_checks.Screen:
    """Return a screen that looks at samples and their neighbours by the compiled loop."""
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
    felt = _NO_FLOATS if screen.temperature is None else screen.temperature
    time, speed, altitude, felt = (
        np.ascontiguousarray(values)
        for values in (screen.time, screen.speed, screen.altitude, felt))

    def look(low: int, high: int) -> Bits | None:
        bits = np.zeros(high - low, dtype=np.uint16)
        spikes, leaps = np.empty((2, 2, high - low + 1), dtype=np.int64)
        spiked, leapt = np.zeros((2, 2), dtype=np.int64)
        marked: int = compiled.screen(time, speed, altitude, felt, low, high, bounds, bits,
                                      spikes, leaps, spiked, leapt)
        for i, bound in enumerate((sample_reasons.SPEED, sample_reasons.HEIGHT)):
            screen.leap(bound, leaps[i, : leapt[i]])
            for row in spikes[i, : spiked[i]].tolist():
                marked += screen.mark_spike(bits, bound, row, low)
        return bits if marked else None

    return replace(screen, look=look)


class Loops:
    """The compiled loops of one thread, with the tables of one flight."""

    def __init__(self, plan: BlockPlan, compiled: Any, size: int) -> None:
        self._plan, self._compiled = plan, compiled
        self._rows = [np.empty(size, dtype=np.int64) for _ in range(6)]
        self._stacks: dict[tuple[tuple[int, ...], ...],
                           tuple[Floats, NDArray[np.uint8]]] = {}
        expansion, thinness = speed_tables.expansion(), speed_tables.density_altitude()
        self._expansion = _together(expansion)
        self._thinness = _together(thinness)
        self._numbers = kernel_arguments.numbers()
        self._tables = kernel_arguments.TableNumbers(
            expansion_scale=1.0 / expansion.step,
            recovery=0.2 * plan.evaluation.air.recovery_factor,
            thinnest=thinness.start,
            densest=thinness.stop,
            thinness_scale=1.0 / thinness.step,
        )

    def fill(
        self, out: Mapping[str, NDArray[Any]], choices: Choices, bits: Bits | None,
        start: int, stop: int,
    ) -> NDArray[np.intp]:
        """Write a block's columns; return the rows (in the block) to be reckoned directly."""
        table, who = self._stack(tuple(chosen for chosen, _ in choices))
        which = _NO_BITS
        if len(choices) > 1:
            which = np.zeros(stop - start, dtype=np.uint16)
            for i, (_, where) in enumerate(choices):
                which[where] = i
        reasons = _NO_BITS if bits is None else bits
        air, near = self._plan.evaluation.air, self._rows[0]
        if not self._plan.speeds_wanted:
            close = self._compiled.verdict(
                air.calibrated_airspeed[start:stop], air.pressure_altitude[start:stop], reasons,
                sample_reasons.AIRSPEED, air.altitude_mask, which, table, self._numbers,
                out["margin_kt"][start:stop], near)
            return near[:close]

        def columns(first: int, last: int, given: Floats, rows: list[NDArray[np.int64]]
                    ) -> tuple[int, int, int]:
            here = slice(start + first, start + last)
            felt = _NO_FLOATS if air.temperature is None else air.temperature[here]
            found: tuple[int, int, int] = self._compiled.columns(
                air.calibrated_airspeed[here], air.pressure_altitude[here], felt,
                reasons[first:last], sample_reasons.AIRSPEED, air.altitude_mask,
                sample_reasons.TEMPERATURE, which[first:last], table, who, self._expansion,
                self._thinness, self._numbers, self._tables, given,
                kernel_arguments.Columns(*(
                    out[name][here] if name in out else _NO_SINGLE
                    for name in kernel_arguments.COLUMN_NAMES)),
                out["governing_limit"][here], *rows)
            return found

        close, ending, outside = columns(0, stop - start, _NO_FLOATS, self._rows[:3])
        beyond = self._rows[2][:outside]
        if ending:
            # Those rows go to the engine, and the stretch that holds them once more.
            ends = self._rows[1][:ending]
            first, last = int(ends[0]), int(ends[-1]) + 1
            given = np.full(last - first, self._compiled.GIVEN_NOT)
            given[ends - first] = mach_at_cas(*self._kept(ends, bits, start)[:2])
            _, _, outside = columns(first, last, given, self._rows[3:])
            beyond = np.concatenate([beyond[(beyond < first) | (beyond >= last)],
                                     self._rows[5][:outside] + first])
        if len(beyond):
            self._reckon_beyond(out, np.sort(beyond), bits, start)
        return near[:close]

    def _kept(self, rows: NDArray[np.intp], bits: Bits | None, start: int
              ) -> tuple[Floats, Floats, Floats | None]:
        """Airspeed, altitude and temperature of a block's rows, NaN where screened."""
        air, where = self._plan.evaluation.air, rows + start
        reasons = np.zeros(len(rows), dtype=np.uint16) if bits is None else bits[rows]
        speed = np.where(reasons & sample_reasons.AIRSPEED, np.nan, air.calibrated_airspeed[where])
        altitude = np.where(reasons & air.altitude_mask, np.nan, air.pressure_altitude[where])
        if air.temperature is None:
            return speed, altitude, None
        return speed, altitude, np.where(reasons & sample_reasons.TEMPERATURE, np.nan,
                                         air.temperature[where])

    def _reckon_beyond(self, out: Mapping[str, NDArray[Any]], rows: NDArray[np.intp],
                       bits: Bits | None, start: int) -> None:
        """Write the density altitude where the air is too thin or dense for its table."""
        speed, altitude, felt = self._kept(rows, bits, start)
        work = speed_tables.Workspace(len(rows))
        work.take(speed, altitude)
        some = {name: np.empty(len(rows), dtype=np.float32)
                for name in kernel_arguments.COLUMN_NAMES}
        speed_tables.reckon(work, felt, self._plan.evaluation.air.recovery_factor, some)
        out["density_altitude_ft"][rows + start] = some["density_altitude_ft"]

    def _stack(self, parts: tuple[tuple[int, ...], ...]) -> tuple[Floats, NDArray[np.uint8]]:
        """The tables of some configurations, one after the other."""
        if parts not in self._stacks:
            tables = [self._table(chosen) for chosen in parts]
            self._stacks[parts] = (np.concatenate([table for table, _ in tables], axis=1),
                                   np.concatenate([who for _, who in tables]))
        return self._stacks[parts]

    def _table(self, chosen: tuple[int, ...]) -> tuple[Floats, NDArray[np.uint8]]:
        plan = self._plan
        curve = plan.curves.curve(chosen)
        cells = [speed_tables.pressure_ratio(), curve.limit_airspeed, curve.limit_mach]
        shown: tuple[int, ...] = ()  # Without any the pointer is NaN.
        evaluation = plan.evaluation
        if (set(evaluation.on_pointer) <= set(plan.curves.tabulated)
                and not evaluation.air.position_tables):
            shown = tuple(i for i in chosen if i in evaluation.on_pointer)
        cells.append(plan.curves.curve(shown).limit_airspeed)
        return np.concatenate([_together(one) for one in cells]), curve.governing


def _together(cells: PiecewiseQuadratic) -> Floats:
    """A table's coefficients, the highest power first, float64[2 or 3, cells]."""
    coefficients = [cells.slope, cells.value]
    if cells.curvature is not None:
        coefficients.insert(0, cells.curvature)
    return np.stack(coefficients)
