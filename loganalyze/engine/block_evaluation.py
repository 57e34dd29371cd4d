"""Speeds, limit airspeed, margins and states of whole flights, in one pass over blocks.

Each block goes through all formulas while it lies in the processor's cache. Limits whose
calibrated equivalent depends on the pressure altitude alone are read from a table. Every row near
a limit or over one, and every row for which the table holds NaN, is evaluated directly.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states
from loganalyze.engine import (
    block_kernels,
    block_states,
    kernel_loading,
    limit_curves,
    speed_tables,
)
from loganalyze.engine.block_plan import BlockPlan, EvaluatedSamples
from loganalyze.engine.flight_batch import FlightBatch
from loganalyze.engine.kernel_arguments import GUARD
from loganalyze.limits.evaluation import UNDER, Evaluation
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.record.buffers import pooled
from loganalyze.record.threads import side_by_side, threads
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening import channel_screening

Floats = NDArray[np.float64]

BLOCK = 32768
COMPILED_BLOCK = 65536
"""Rows; larger than `BLOCK` since the compiled loops divide a block by themselves."""


def evaluate(
    evaluations: Sequence[Evaluation], *, speeds_wanted: bool
) -> list[EvaluatedSamples]:
    """Evaluate all limits at every row of a batch of flights; one flight is a batch of one.

    A flight with excursions of several samples is evaluated a second time with these rejected.
    The results of a flight don't depend on the others of the batch, bit for bit.

    Parameters
    ----------
    evaluations : sequence of Evaluation
        One a flight, all of the same limits sheet.
    speeds_wanted : bool
        Compute speeds, temperatures and the limit pointer as well as margins and states.

    Returns
    -------
    list of EvaluatedSamples
        One a flight. Their columns are views of arrays that the whole batch shares.
    """
    if not evaluations:
        return []
    logs = [evaluation.log for evaluation in evaluations]
    compiled = kernel_loading.for_samples(
        sum(map(len, logs)), max((log.source.likely_rows for log in logs), default=0))
    plans = [BlockPlan.of(evaluation, speeds_wanted=speeds_wanted, compiled=compiled)
             for evaluation in evaluations]
    columns = _columns_of_flights(plans)
    results = _evaluated(plans, columns)
    again = [(k, replace(plan, screen=without)) for k, plan in enumerate(plans)
             if (without := channel_screening.excursions(
                 logs[k], evaluations[k].air, plan.screen)) is not None]
    # The second evaluation writes every row of every column.
    found = _evaluated([plan for _, plan in again], [columns[k] for k, _ in again])
    for (k, _), result in zip(again, found, strict=True):
        results[k] = result
    return results


def _columns_of_flights(plans: Sequence[BlockPlan]) -> list[dict[str, NDArray[Any]]]:
    """Allocate the columns of a batch, flights end to end; return each flight's views of them."""
    batch = FlightBatch.of([len(plan.evaluation.log) for plan in plans])
    wanted = [_wanted(plan) for plan in plans]
    names = list(dict.fromkeys(name for some in wanted for name in some))
    limits = max((len(plan.evaluation.sheet.limit) for plan in plans), default=0)
    governing = any(plan.speeds_wanted for plan in plans)
    whole = _columns(names, limits, batch.rows, governing)
    return [{name: column[batch.rows_of(k)] for name, column in whole.items()
             if name not in names or name in some} for k, some in enumerate(wanted)]


def _wanted(plan: BlockPlan) -> list[str]:
    """Names of the float32 columns that a flight has."""
    if not plan.speeds_wanted:
        return ["margin_kt"]
    names = ["pressure_altitude_ft", "calibrated_airspeed_kt", "limit_airspeed_kt",
             "limit_pointer_kt", "margin_kt", "margin_mach"]
    if plan.evaluation.air.indicated_airspeed is not None:
        names.append("indicated_airspeed_kt")
    names += ["mach", "equivalent_airspeed_kt"]
    if plan.evaluation.air.temperature is not None:
        names += ["true_airspeed_kt", "static_air_temperature_degc", "isa_deviation_degc",
                  "density_altitude_ft"]
    return names


def _evaluated(
    plans: Sequence[BlockPlan], columns: Sequence[dict[str, NDArray[Any]]]
) -> list[EvaluatedSamples]:
    """Evaluate the blocks of all flights, on two threads if there are enough; merge by flight."""
    size = BLOCK
    if plans and plans[0].compiled is not None:
        size = COMPILED_BLOCK
        plans = [
            replace(plan, screen=block_kernels.with_compiled_checks(plan.screen, plan.compiled))
            for plan in plans]
    cut = list(FlightBatch.of([len(plan.evaluation.log) for plan in plans]).blocks(size))
    # Both threads draw from one iterator, so that neither waits for the other.
    blocks = iter(cut)
    found = side_by_side([partial(_run, plans, columns, size, blocks)] * threads(len(cut)))
    return [_gathered([parts[k] for parts in found if k in parts], columns[k])
            for k in range(len(plans))]


def _gathered(
    parts: Sequence[EvaluatedSamples], columns: dict[str, NDArray[Any]]
) -> EvaluatedSamples:
    """Merge the results of the threads for one flight."""
    result = EvaluatedSamples(columns)
    for part in parts:
        for i, rows in part.over.items():
            result.over.setdefault(i, []).extend(rows)
        result.judged_s += part.judged_s
        result.rejected += part.rejected
    for reason in sample_reasons.REASONS:
        count = sum(part.screened.get(reason, 0) for part in parts)
        if count:
            result.screened[reason] = count
    return result


def _columns(names: list[str], limits: int, n: int, governing: bool) -> dict[str, NDArray[Any]]:
    """Return uninitialized float32[n] columns of these names, and uint8[n] ones for the states."""
    codes = ["state", *(f"state_{i}" for i in range(limits))]
    if governing:
        codes.append("governing_limit")
    first = 4 * n * len(names)
    count = -(-(first + n * len(codes)) // 8)
    buffer = pooled(count).view(np.uint8)
    singles = buffer[:first].view(np.float32).reshape(len(names), n)
    states = buffer[first : first + n * len(codes)].reshape(len(codes), n)
    return {**dict(zip(names, singles, strict=True)), **dict(zip(codes, states, strict=True))}


def _run(
    plans: Sequence[BlockPlan], columns: Sequence[dict[str, NDArray[Any]]], size: int,
    blocks: Iterator[tuple[int, int, int]],
) -> dict[int, EvaluatedSamples]:
    """Evaluate blocks until the iterator is exhausted; return the results by flight."""
    parts: dict[int, EvaluatedSamples] = {}
    # Missing values are NaN, and a damaged log may hold numbers of any size: neither is an error.
    with np.errstate(invalid="ignore", over="ignore"):
        # The blocks of a flight follow each other.
        for k, some in groupby(blocks, key=itemgetter(0)):
            plan, deferred = plans[k], _DeferredRows()
            part = parts.setdefault(k, EvaluatedSamples(columns[k]))
            fill: _ArrayLoops | block_kernels.CompiledLoops = (
                _ArrayLoops(plan)
                if plan.compiled is None
                else block_kernels.CompiledLoops(plan, plan.compiled, size)
            )
            for _, start, stop in some:
                _block(plan, part, fill, deferred, start, stop)
                if deferred.size >= size:
                    deferred.evaluate(plan, part)
                    deferred = _DeferredRows()
            deferred.evaluate(plan, part)
    return parts


class _DeferredRows:
    """Rows to evaluate directly, collected over many blocks since each block has few of them."""

    def __init__(self) -> None:
        self.size = 0
        self._rows: list[NDArray[np.intp]] = []
        self._reasons: list[Bits] = []
        self._blocks: list[tuple[int, int, bool]] = []

    def add(self, rows: NDArray[np.intp], start: int, stop: int, reasons: Bits | None,
            unknown: bool) -> None:
        """Append rows (from their block's start) with the screening bits of the whole block."""
        self._rows.append(rows + start)
        self._reasons.append(
            np.zeros(len(rows), dtype=np.uint16) if reasons is None else reasons[rows]
        )
        self._blocks.append((start, stop, unknown))
        self.size += len(rows)

    def evaluate(self, plan: BlockPlan, part: EvaluatedSamples) -> None:
        """Evaluate the collected rows, and count the time judged in the blocks they came from."""
        if not self._rows:
            return
        missing = block_states.write_rows(
            plan, part, np.concatenate(self._rows), np.concatenate(self._reasons))
        first = 0
        for (start, stop, unknown), rows in zip(self._blocks, self._rows, strict=True):
            here = missing[first : first + len(rows)]
            block_states.count_judged(plan, part, start, stop, unknown, rows[here])
            first += len(rows)


def _block(
    plan: BlockPlan, part: EvaluatedSamples, loop: _ArrayLoops | block_kernels.CompiledLoops,
    deferred: _DeferredRows, start: int, stop: int,
) -> None:
    air, out = plan.evaluation.air, part.columns
    bits = plan.screen.block(start, stop)
    if bits is not None:
        raised = np.flatnonzero(bits)
        part.rejected.append((raised + start, bits[raised]))
        _count(part, bits[raised])
    plan.evaluation.fill(slice(start, stop))
    near = loop.fill(out, _configurations(plan, start, stop), bits, start, stop)
    if plan.speeds_wanted and air.indicated_airspeed is not None:
        indicated = out["indicated_airspeed_kt"][start:stop]
        np.multiply(air.indicated_airspeed[start:stop], 1 / KNOT, out=indicated,
                    casting="same_kind")
        if bits is not None:
            indicated[(bits & sample_reasons.AIRSPEED) > 0] = np.nan
    altitude = air.pressure_altitude[start:stop]
    if bits is not None and plan.table_ends:
        altitude = np.where(bits & air.altitude_mask, np.nan, altitude)
    unknown = False
    out["state"][start:stop] = UNDER
    for i in range(len(plan.evaluation.sheet.limit)):
        state = out[f"state_{i}"][start:stop]
        if i in plan.other_limits:
            unknown |= block_states.write_other_limit(plan, part, i, start, stop, bits)
            continue
        state.fill(UNDER)
        unknown |= block_states.far_state(plan, i, state, altitude, start, stop)
    speeds = len(plan.evaluation.sheet.limit) - len(plan.other_limits)
    if len(plan.curves.tabulated) < speeds or plan.evaluation.air.position_tables:
        near = np.arange(stop - start)
    block_states.combine(plan, out, start, stop)
    if len(near):
        deferred.add(near, start, stop, bits, unknown)
    else:
        block_states.count_judged(plan, part, start, stop, unknown)


def _count(part: EvaluatedSamples, bits: Bits) -> None:
    for bit, reason in enumerate(sample_reasons.REASONS):
        raised = int(np.count_nonzero(bits & np.uint16(1 << bit)))
        if raised:
            part.screened[reason] = part.screened.get(reason, 0) + raised


class _ArrayLoops:
    """The formulas of a block as NumPy array operations: the reference for the compiled loops."""

    def __init__(self, plan: BlockPlan) -> None:
        self._plan = plan
        self._work = speed_tables.Workspace(BLOCK)

    def fill(
        self, out: Mapping[str, NDArray[Any]], configurations: block_kernels.Configurations,
        bits: Bits | None, start: int, stop: int,
    ) -> NDArray[np.intp]:
        """Write a block's columns; return the rows, from its start, to be evaluated directly."""
        plan, air, work = self._plan, self._plan.evaluation.air, self._work
        speed, altitude = air.calibrated_airspeed[start:stop], air.pressure_altitude[start:stop]
        temperature = None
        if plan.speeds_wanted and air.temperature is not None:
            temperature = air.temperature[start:stop]
        if bits is not None:
            speed = np.where(bits & sample_reasons.AIRSPEED, np.nan, speed)
            altitude = np.where(bits & air.altitude_mask, np.nan, altitude)
            if temperature is not None:
                temperature = np.where(bits & sample_reasons.TEMPERATURE, np.nan, temperature)
        work.take(speed, altitude)
        if plan.speeds_wanted:
            cut = {name: column[start:stop] for name, column in out.items()}
            np.multiply(speed, 1 / KNOT, out=cut["calibrated_airspeed_kt"], casting="same_kind")
            np.multiply(work.altitude, 1 / FOOT, out=cut["pressure_altitude_ft"],
                        casting="same_kind")
            speed_tables.write_speeds(work, temperature, air.recovery_factor, cut)
        margin = _limits_from_tables(plan, out, work, configurations, start, stop)
        if np.min(margin) > GUARD:
            return np.empty(0, dtype=np.intp)
        return np.flatnonzero(~(margin > GUARD))


def _limits_from_tables(
    plan: BlockPlan, out: Mapping[str, NDArray[Any]], work: speed_tables.Workspace,
    configurations: block_kernels.Configurations, start: int, stop: int,
) -> Floats:
    """Write the limit columns from the tables; return the margin [m/s CAS], float64[m]."""
    limit, mach, scratch = work.limit, work.limit_mach, work.spare
    curves = block_kernels.stacked(plan, tuple(chosen for chosen, _ in configurations))
    cell = work.cell
    if len(configurations) > 1:
        cell = work.cell_too
        # Multiplied as cells: products of the codes' own 16 bits would overflow.
        np.copyto(cell, block_kernels.codes(configurations, stop - start))
        np.multiply(cell, limit_curves.CELLS, out=cell)
        np.add(cell, work.cell, out=cell)
    curves.limit_airspeed.evaluate(cell, work.offset, limit, scratch)
    if plan.speeds_wanted:
        np.take(curves.governing, cell, out=out["governing_limit"][start:stop], mode="clip")
        curves.limit_mach.evaluate(cell, work.offset, mach, scratch)
        np.subtract(mach, work.mach, out=mach)
        np.copyto(out["margin_mach"][start:stop], mach, casting="same_kind")
        np.multiply(limit, 1 / KNOT, out=out["limit_airspeed_kt"][start:stop],
                    casting="same_kind")
        pointer = limit
        if not curves.all_on_pointer:
            pointer = work.pointer
            curves.pointer.evaluate(cell, work.offset, pointer, scratch)
        np.multiply(pointer, 1 / KNOT, out=out["limit_pointer_kt"][start:stop],
                    casting="same_kind")
    margin: Floats = work.margin
    np.subtract(limit, work.speed, out=margin)
    np.multiply(margin, 1 / KNOT, out=out["margin_kt"][start:stop], casting="same_kind")
    return margin


def _configurations(
    plan: BlockPlan, start: int, stop: int
) -> list[tuple[tuple[int, ...], NDArray[np.bool_] | None]]:
    """Return each set of tabulated limits that applies together in a block, and where it does.

    The mask is bool[m], or None for the whole block.
    """
    always = tuple(i for i in plan.curves.tabulated if i not in plan.evaluation.applicability)
    configurations: list[tuple[tuple[int, ...], NDArray[np.bool_] | None]] = [(always, None)]
    for i in plan.curves.tabulated:
        if i not in plan.evaluation.applicability:
            continue
        yes = plan.evaluation.applicability[i][start:stop] == condition_states.YES
        if not yes.any():
            continue
        if yes.all():
            configurations = [(tuple(sorted((*chosen, i))), where)
                              for chosen, where in configurations]
            continue
        split: list[tuple[tuple[int, ...], NDArray[np.bool_] | None]] = []
        for chosen, where in configurations:
            with_it = yes if where is None else where & yes
            without = ~yes if where is None else where & ~yes
            split.append((chosen, without))
            split.append((tuple(sorted((*chosen, i))), with_it))
        configurations = [(chosen, where) for chosen, where in split
                          if where is not None and where.any()]
    return configurations
