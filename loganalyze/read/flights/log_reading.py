"""From a file to flight logs: the whole of it, or flight by flight in bounded memory."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pyarrow as pa

from loganalyze.problems import Problem
from loganalyze.read.clocks.time_codes import Clock
from loganalyze.read.files.address_space import is_shortage
from loganalyze.read.files.given_data import Given, LogInput, LogPaths, filed
from loganalyze.read.files.row_batches import RowBatch, Rows
from loganalyze.read.flights.flight_boundaries import CutSettings
from loganalyze.read.flights.flight_splitting import FlightSplitter
from loganalyze.read.flights.log_assembly import (
    assembled,
    from_first_sample,
    refuse_standing,
    rows_for,
)
from loganalyze.read.plan.read_plan import ReadPlan, understand, with_plan_starter
from loganalyze.record.buffers import pooled
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.threads import MOST
from loganalyze.sheets.columns_file import ColumnsFile

DEFAULTS = CutSettings()
LARGE = 1 << 20
"""Rows of a flight before which the memory that decoding took is given back: less is soon needed
again, and giving it back and forth takes longer than reading does."""


def read_log(source: LogInput, columns: str | Path | ColumnsFile | None = None) -> FlightLog:
    """Read a whole log.

    Parameters
    ----------
    source : path-like, list of path-like, data frame or open file
        A CSV export (also packed as .gz or .zst) or a Parquet file; the files of one recording in
        several, or the folder that holds them; a data frame (pandas, Polars, Arrow, or any that
        gives an Arrow stream); a file open for reading, as bytes or as text.
    columns : path-like or ColumnsFile, optional
        Which column is which channel, where the names alone don't say; a folder is searched for
        the columns file whose signature the log matches.

    Returns
    -------
    FlightLog
        Every recognised channel in SI, NaN where nothing was recorded; ``source`` holds how
        the file was understood, ``steps`` what was counted.

    Raises
    ------
    Problem
        For a file that isn't a log, or one that leaves in doubt what the verdict rests on.

    Examples
    --------
    >>> import loganalyze as la
    >>> log = la.read_log("sample_logs/descent_through_mmo_and_vmo.csv")
    >>> len(log), sorted(log.channels)[0]
    (4080, 'flap')
    """
    with filed(source) as path, _memory(path):
        plan = understand(path, columns)
        with _starting(plan):
            clock = Clock(plan.form)
            rows = rows_for(plan, plan.log.likely_rows, pooled)
            copies: deque[Future[None]] = deque()
            # One thread copies while the others parse; it may lag a few batches behind them.
            with ThreadPoolExecutor(1) as copier:
                for batch in plan.log.row_batches(plan.time, plan.form, plan.columns, sink=rows):
                    copies.append(copier.submit(_copy, plan, clock, rows, batch))
                    if len(copies) > MOST:
                        copies.popleft().result()
            for copy in copies:
                copy.result()
            if not len(rows):
                raise _no_rows(plan)
            log = assembled(plan, clock, rows)
            return from_first_sample(log, float(log.time[0]) if len(log) else 0.0)


def read_flights(
    source: LogInput, columns: str | Path | ColumnsFile | None = None,
    gap_s: float = DEFAULTS.gap_s, cuts: CutSettings = DEFAULTS,
) -> Iterator[FlightLog]:
    """Read a log flight by flight, holding only one flight at a time.

    A flight ends with a gap in time, with a clock that is set anew, or with time on the ground
    (by weight on wheels where recorded, else by airspeed and altitude; `CutSettings` has the
    thresholds and their reasons). It keeps half an hour of ground time before and after it at
    most; what is more is ground running, and belongs to no flight. A log in which nothing flies
    is given as it is, stretch by stretch.

    Parameters
    ----------
    source, columns
        As for `read_log`.
    gap_s : float
        A gap in time longer than this [s] begins a new flight.
    cuts : CutSettings
        The other thresholds by which a recording is cut into flights.

    Yields
    ------
    FlightLog
        The flights in the order of the file; each one's time counts from the file's first
        sample. ``steps`` counts the ground running left out before it.

    Raises
    ------
    Problem
        As for `read_log`.

    Examples
    --------
    >>> import loganalyze as la
    >>> [len(log) for log in la.read_flights("sample_logs/clean_flight.csv")]
    [9048]
    """
    with filed(source) as path, _memory(path):
        plan = understand(path, columns)
        with _starting(plan):
            splitter = FlightSplitter(plan, replace(cuts, gap_s=gap_s))
            for batch in plan.log.row_batches(plan.time, plan.form, plan.columns, low_memory=True,
                                              sink=splitter):
                splitter.add(batch)
                yield from _spared(splitter.flights(final=False))
            yield from _spared(splitter.flights(final=True))
            if splitter.empty:
                raise _no_rows(plan)


def _spared(flights: Iterator[FlightLog]) -> Iterator[FlightLog]:
    """Yield the flights, large ones once the memory that decoding them took is given back."""
    for flight in flights:
        if len(flight) >= LARGE:
            pa.default_memory_pool().release_unused()
        yield flight
        del flight  # or it would stay while the next one is read


def _copy(plan: ReadPlan, clock: Clock, rows: Rows, batch: RowBatch) -> None:
    rows.add(clock.elapsed(batch.ticks), batch)
    refuse_standing(rows, plan.where)


@contextmanager
def _memory(path: LogPaths | Given) -> Iterator[None]:
    """Make a Problem of memory that doesn't suffice."""
    try:
        yield
    except (MemoryError, OSError, RuntimeError, pa.ArrowException) as error:
        if not is_shortage(error):
            raise
        named = path.path if isinstance(path, Given) else path
        where = str(named) if isinstance(named, str | Path) else str(next(iter(named), ""))
        raise Problem("the log needs more memory than there is", where,
                      "cut it into flights, or read it where more memory is free") from None


@contextmanager
def _starting(plan: ReadPlan) -> Iterator[None]:
    """Add a columns file to start from to a Problem that one can mend."""
    try:
        yield
    except Problem as problem:
        raise with_plan_starter(problem, plan) from None


def _no_rows(plan: ReadPlan) -> Problem:
    return Problem("the file holds a header but no rows", plan.where, "export the log again")
