"""From a file to flight logs: the whole of it, or flight by flight in bounded memory."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clock import Clock, Form, Settled, normal_interval, rises, settle, stretches
from loganalyze.read.clock_forms import find_form
from loganalyze.read.columns import Column, recognise
from loganalyze.read.csv import CsvLog
from loganalyze.read.files import WORKERS, open_log
from loganalyze.read.inference import all_kelvin, settle_units
from loganalyze.read.parquet import ParquetLog
from loganalyze.read.pieces import Piece, Rows
from loganalyze.record.log import Channel, FlightLog, Source, Step
from loganalyze.sheets.columns import CLOCK_PARTS, ColumnsFile, read_columns
from loganalyze.sheets.exports import ClockHabits

SLOW_SHARE = 0.6
"""A channel recorded at most at this share of rows may be a slow one."""
FLIGHT_ROOM = 1 << 22
"""Rows that a flight gets room for at first (room that isn't filled costs no memory)."""
SAMPLED_VALUES = 1 << 14
"""Values looked at for a channel's resolution."""


@dataclass(frozen=True)
class _Job:
    """A file that is understood: what to read from it, and the record of how."""

    log: CsvLog | ParquetLog
    time: Column
    form: Form
    columns: list[Column]
    kelvin: frozenset[str]
    source: Source

    @property
    def where(self) -> str:
        return str(self.source.path)


def read_log(path: str | Path, columns: str | Path | ColumnsFile | None = None) -> FlightLog:
    """Read a whole log.

    Parameters
    ----------
    path : path-like
        A CSV export (also packed as .gz or .zst) or a Parquet file.
    columns : path-like or ColumnsFile, optional
        Which column is which channel, where the names alone don't say.

    Returns
    -------
    FlightLog
        Every recognised channel in SI, NaN where nothing was recorded; ``source`` holds how
        the file was understood, ``steps`` what was counted.

    Raises
    ------
    Problem
        For a file that isn't a log, or one that leaves in doubt what the verdict rests on.
    """
    job = _understand(Path(path), columns)
    clock = Clock(job.form)
    rows = _room(job, job.log.likely_rows)
    left_out = 0
    copies: deque[Future[None]] = deque()
    # One thread copies while the others parse; it may lag a few pieces behind them.
    with ThreadPoolExecutor(1) as copier:
        for piece in job.log.pieces(job.time, job.form, job.columns):
            left_out += piece.left_out
            copies.append(copier.submit(_copy, clock, rows, piece))
            if len(copies) > WORKERS:
                copies.popleft().result()
    for copy in copies:
        copy.result()
    if not len(rows):
        raise _no_rows(job)
    return _assembled(job, clock, rows, left_out)


def read_flights(
    path: str | Path, columns: str | Path | ColumnsFile | None = None, gap_s: float = 3600.0
) -> Iterator[FlightLog]:
    """Read a log flight by flight, holding only one flight at a time.

    Parameters
    ----------
    path, columns
        As for `read_log`.
    gap_s : float
        A gap in time longer than this [s] begins a new flight.

    Yields
    ------
    FlightLog
        The flights in the order of the file; each one's time counts from the file's first
        sample.

    Raises
    ------
    Problem
        As for `read_log`.
    """
    job = _understand(Path(path), columns)
    clock = Clock(job.form)
    rows = _room(job, FLIGHT_ROOM)
    latest = -np.inf
    left_out = 0
    empty = True
    for piece in job.log.pieces(job.time, job.form, job.columns, lean=True):
        time = clock.elapsed(piece.ticks)
        left_out += piece.left_out
        start = 0
        for cut in (*_gaps(time, latest, gap_s), len(time)):
            rows.add(time[start:cut], piece.rows(start, cut))
            if cut < len(time) and len(rows):
                yield _assembled(job, clock, rows, left_out)
                rows, left_out, empty = _room(job, FLIGHT_ROOM), 0, False
            start = cut
        latest = max(latest, float(np.max(time, where=np.isfinite(time), initial=-np.inf)))
    if len(rows):
        yield _assembled(job, clock, rows, left_out)
    elif empty:
        raise _no_rows(job)


def _room(job: _Job, rows: int) -> Rows:
    return Rows([column.unit for column in job.columns], rows)


def _copy(clock: Clock, rows: Rows, piece: Piece) -> None:
    rows.add(clock.elapsed(piece.ticks), piece)


def _no_rows(job: _Job) -> Problem:
    return Problem("the file holds a header but no rows", job.where, "export the log again")


def _understand(path: Path, chosen: str | Path | ColumnsFile | None) -> _Job:
    file = open_log(path)
    log = CsvLog.open(file) if file.format == "csv" else ParquetLog.open(file)
    sheet = chosen if chosen is None or isinstance(chosen, ColumnsFile) else read_columns(chosen)
    where = str(path)
    found, notes = recognise(log.headers, sheet, where)
    by_channel = {column.channel: column for column in found}
    clock = {part: by_channel.pop(part) for part in CLOCK_PARTS if part in by_channel}
    form, said = find_form(log, clock, sheet.clock if sheet else ClockHabits(), where)
    time = next(iter(form.parts or clock.values()))
    notes[:0] = said
    by_channel, kelvin = settle_units(by_channel, log, log.headers, notes, where)
    described = log.described() | {"clock": form.words, "time_column": time.name}
    source = Source(path, file.size, file.modified_ns, described, tuple(notes))
    return _Job(log, time, form, list(by_channel.values()), kelvin, source)


def _gaps(time: NDArray[np.float64], latest: float, gap_s: float) -> list[int]:
    """Return the rows at which a flight begins after a gap."""
    if not len(time):
        return []
    if time[-1] - max(latest, time[0]) <= gap_s and time[0] - latest <= gap_s and rises(time):
        return []
    known = np.where(np.isfinite(time), time, np.nan)
    reach = np.fmax.accumulate(np.concatenate([[latest], known]))
    return [int(i) for i in np.flatnonzero(known - reach[:-1] > gap_s) if reach[i] > -np.inf]


def _assembled(job: _Job, clock: Clock, rows: Rows, left_out: int) -> FlightLog:
    settled = Settled(rows.time) if rows.rising else settle(rows.time, job.where)
    interval = normal_interval(settled.time)
    channels = {
        column.channel: _channel(job, column, array, settled, interval)
        for column, array in zip(job.columns, rows.values, strict=True)
    }
    fastest = min((channel.interval_s for channel in channels.values()), default=interval)
    source = job.source
    if settled.sentences:
        source = replace(source, inferred=source.inferred + settled.sentences)
    counts: dict[str, Any] = {"rows": len(rows), "kept": len(settled.time)}
    if settled.spread:
        counts["spread over a coarse stamp"] = settled.spread
    counts |= {f"set aside, {reason}": count for reason, count in settled.aside.items()}
    if left_out:
        counts["lines without a sample"] = left_out
    return FlightLog(settled.time, channels, source, clock.utc_start, fastest,
                     (Step("read", {"clock": job.form.words}, counts),))


def _channel(job: _Job, column: Column, values: NDArray[np.float64], settled: Settled,
             interval: float) -> Channel:
    if settled.keep is not None:
        values = values[settled.keep]
    if column.channel in job.kelvin and not all_kelvin(values) and not np.isnan(values).all():
        raise Problem(f'nothing states the unit of column "{column.name}", and not all its values '
                      "are kelvin", job.where, "state it in a columns file")
    rows = _slow_rows(values)
    if rows is not None:
        values = values[rows]
        interval = normal_interval(settled.time[rows])
    unit = column.recorded_unit or (column.unit.name if column.unit else "")
    return Channel(values, rows, interval, _resolution(values, job.log.rounding(column)),
                   job.log.rounding(column), column.name, unit, column.known_by)


def _slow_rows(values: NDArray[np.float64]) -> NDArray[np.int32] | None:
    """Return the rows of a channel that is blank except at every n-th row or so, else None."""
    parts = [values] if len(values) <= SAMPLED_VALUES else [
        part[:256] for part in stretches(values)] if len(values) > 1 << 18 else [values]
    if np.mean([np.isnan(part).mean() for part in parts if len(part)] or [0]) < 1 - SLOW_SHARE:
        return None
    rows = np.flatnonzero(~np.isnan(values))
    if len(rows) < 2 or len(rows) > SLOW_SHARE * len(values):
        return None
    gaps = np.diff(rows)
    usual = float(np.median(gaps))
    if usual < 1.5 or (gaps <= 1.5 * usual).mean() < 0.75:
        return None
    return rows.astype(np.int32)


def _resolution(values: NDArray[np.float64], rounding: float) -> float:
    """Return the smallest step between the values of a bounded sample, or NaN."""
    stride = max(1, len(values) // SAMPLED_VALUES)
    distinct = np.unique(values[::stride][:SAMPLED_VALUES])
    distinct = distinct[np.isfinite(distinct)]
    if len(distinct) < 2:
        return float("nan")
    steps = np.diff(distinct)
    noise = max(4 * rounding, 1e-12) * float(np.abs(distinct).max())
    steps = steps[steps > noise]
    return float(steps.min()) if len(steps) else float("nan")
