"""Analysis of a recording: its flights are read and judged one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import overload

from loganalyze.events import analysis
from loganalyze.events.analysis import Analysis
from loganalyze.read import read_flights
from loganalyze.read.files.given_data import LogInput
from loganalyze.record.flight_log import FlightLog
from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet, read_limits


@overload
def analyze(
    log: FlightLog, sheet: LimitsSheet | str | Path, *, columns: None = None,
    settings: Settings | None = None, declared: Mapping[str, float] | None = None,
    flight: int = 1, verdict_only: bool = False,
) -> Analysis: ...


@overload
def analyze(
    log: LogInput, sheet: LimitsSheet | str | Path, *,
    columns: str | Path | ColumnsFile | None = None, settings: Settings | None = None,
    declared: Mapping[str, float] | None = None, flight: int = 1, verdict_only: bool = False,
) -> tuple[Analysis, ...]: ...


def analyze(
    log: FlightLog | LogInput,
    sheet: LimitsSheet | str | Path,
    *,
    columns: str | Path | ColumnsFile | None = None,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
    flight: int = 1,
    verdict_only: bool = False,
) -> Analysis | tuple[Analysis, ...]:
    """Judge a flight, or every flight of a recording, against a limits sheet.

    Parameters
    ----------
    log : FlightLog, or path-like, list of path-like, data frame or open file
        A `FlightLog`, from `read_log` or `read_flights`, is judged as one flight. Anything else
        is read by `read_flights`, and each of its flights is judged separately.
    sheet : LimitsSheet or path-like
        The aircraft's limits, or their file.
    columns : path-like or ColumnsFile, optional
        As for `read_log`; only for a log that isn't a `FlightLog`.
    settings : Settings, optional
        Thresholds of the evaluation.
    declared : mapping of str to float, optional
        States that the recorder doesn't hold, by channel, in SI (a discrete: 0 or 1).
    flight : int
        The number of the flight, or of the first one of a recording.
    verdict_only : bool
        Leave out the columns that the verdict doesn't need: speeds, temperatures, pointer.

    Returns
    -------
    Analysis, or tuple of Analysis
        The analysis of a `FlightLog`; for anything else a tuple of the analyses of its flights,
        in their order, even of a single flight. All are held in memory; `analyze_each` yields
        them one by one. Without a temperature, true airspeed and density altitude are missing and
        true airspeed limits unknown; nothing else changes.

    Raises
    ------
    Problem
        As `read_log` and `read_limits` do; when the log holds no samples or no airspeed, or a
        declared state is recorded.
    TypeError
        For `columns` with a log that is read already.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> log = la.read_log("sample_logs/descent_through_mmo_and_vmo.csv")
    >>> la.analyze(log, sheet).outcome
    'exceeded'
    >>> [flight.outcome for flight in la.analyze("sample_logs/clean_flight.csv", sheet)]
    ['not exceeded']
    """
    limits = sheet if isinstance(sheet, LimitsSheet) else read_limits(sheet)
    if isinstance(log, FlightLog):
        if columns is not None:
            raise TypeError("the log is read already: give columns to read_log")
        return analysis.analyze(log, limits, settings=settings, declared=declared, flight=flight,
                                verdict_only=verdict_only)
    return analysis.analyze_flights(
        tuple(read_flights(log, columns)), limits, settings=settings, declared=declared,
        first=flight, verdict_only=verdict_only)


def analyze_each(
    log: LogInput,
    sheet: LimitsSheet | str | Path,
    *,
    columns: str | Path | ColumnsFile | None = None,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
    verdict_only: bool = False,
) -> Iterator[Analysis]:
    """Yield the analyses of a recording's flights one by one.

    The memory used is that of one flight, whatever the length of the recording, if the caller
    deletes each analysis before requesting the next (``del flight`` at the end of the loop).

    Parameters
    ----------
    log, sheet, columns, settings, declared, verdict_only
        As for `analyze`; not a `FlightLog`, which is one flight.

    Yields
    ------
    Analysis
        As returned by `analyze`, numbered from 1.

    Raises
    ------
    Problem
        As `analyze` does, when the flight concerned is requested.

    Examples
    --------
    >>> import loganalyze as la
    >>> for flight in la.analyze_each("sample_logs/clean_flight.csv",
    ...                               "sample_logs/ouzelwing_240.toml"):
    ...     print(flight.flight, flight.outcome)
    ...     del flight
    1 not exceeded
    """
    limits = sheet if isinstance(sheet, LimitsSheet) else read_limits(sheet)
    number = 0
    for flight in read_flights(log, columns):
        number += 1  # noqa: SIM113  (enumerate would keep the flight that it gave last)
        yield analysis.analyze(flight, limits, settings=settings, declared=declared,
                               flight=number, verdict_only=verdict_only)
        del flight
