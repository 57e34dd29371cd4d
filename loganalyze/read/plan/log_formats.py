"""The registry of the formats that a log's file may have: one line adds one.

A format of one's own says which first bytes are its own, and gives a file's columns as an Arrow
stream (an Arrow table, a data frame). All else is as for Parquet: names, units, clocks, long
tables, screening. Registering it is the one line::

    register(arrow_format("name", (".ext",), lambda head: head.startswith(b"..."), columns))
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from loganalyze.problems import Problem
from loganalyze.read.csv.csv_log import CsvLog
from loganalyze.read.files.containers import scratch_file
from loganalyze.read.files.file_types import LogFile, refuse_others
from loganalyze.read.files.given_data import Frame, write_frame
from loganalyze.read.files.multi_file import TABLES, TEXTS, Log
from loganalyze.read.long.long_parquet import LongParquet
from loganalyze.read.long.long_table import LongCsv
from loganalyze.read.parquet.parquet_log import ParquetLog
from loganalyze.sheets.columns_file import ColumnsFile
from loganalyze.sheets.export_options import FileHabits

T = TypeVar("T", bound=Log)


@dataclass(frozen=True, slots=True)
class LogFormat(Generic[T]):
    """A format that a log's file may have.

    ``suffixes`` : how names end in a folder of one recording's files; ``fits`` : whether a file's
    first bytes, unpacked, are of this format; ``table`` : opens a file with what the columns file
    states of a text, and the columns file; ``long`` : the same table read as a long one, from
    which columns hold its parameter, value, unit and time.
    """

    name: str
    suffixes: tuple[str, ...]
    fits: Callable[[bytes], bool]
    table: Callable[[LogFile, FileHabits, ColumnsFile | None], T]
    long: Callable[[T, dict[str, int]], Log]


def _text(file: LogFile, habits: FileHabits, sheet: ColumnsFile | None) -> CsvLog:
    refuse_others(file)
    return CsvLog.open(file, habits, sheet)


def _parquet(file: LogFile, habits: FileHabits, sheet: ColumnsFile | None) -> ParquetLog:
    if file.compression:
        raise Problem("a Parquet file packed once more can't be read in place", str(file.path),
                      "unpack it first (Parquet is compressed inside)")
    return ParquetLog.open(file)


TEXT = LogFormat("CSV", TEXTS, lambda head: True, _text, LongCsv.open)
PARQUET = LogFormat("Parquet", TABLES, lambda head: head.startswith(b"PAR1"), _parquet,
                    LongParquet.open)

FORMATS: list[LogFormat[Any]] = [PARQUET]
"""The formats that are known by their first bytes; what fits none is text. `register` and
`withdraw` change them."""


def register(log_format: LogFormat[Any]) -> None:
    """Add a format; ValueError where there is one of its name."""
    if any(log_format.name == other.name for other in (*FORMATS, TEXT)):
        raise ValueError(f"there is a format {log_format.name} already")
    FORMATS.append(log_format)


def withdraw(log_format: LogFormat[Any]) -> None:
    """Take a format out again; ValueError where it isn't there."""
    FORMATS.remove(log_format)


def format_of(file: LogFile) -> LogFormat[Any]:
    """Return the format that fits a file."""
    return next((log_format for log_format in FORMATS if log_format.fits(file.head)), TEXT)


def table_suffixes() -> tuple[str, ...]:
    """Return how the names of files end that are no texts."""
    return tuple(suffix for log_format in FORMATS for suffix in log_format.suffixes)


def arrow_format(
    name: str, suffixes: tuple[str, ...], fits: Callable[[bytes], bool],
    columns: Callable[[LogFile], Frame],
) -> LogFormat[ParquetLog]:
    """Return a format whose files are read as Arrow columns.

    Parameters
    ----------
    name : str
        What it is called.
    suffixes : tuple of str
        How its files' names end, with the dot.
    fits : callable
        From the first bytes of a file (some 256 KB, unpacked): whether it has this format.
    columns : callable
        From a `LogFile` (its ``stream().read()`` gives the unpacked bytes): an Arrow table, or
        anything that gives its columns as an Arrow stream; a column a channel, or a long table.
        It raises `Problem` for a file that it can't read.

    Returns
    -------
    LogFormat
        To be registered.
    """
    def opened(file: LogFile, habits: FileHabits, sheet: ColumnsFile | None) -> ParquetLog:
        data = scratch_file()
        write_frame(columns(file), data, str(file.path))
        return replace(ParquetLog.open(replace(file, data=data, compression="")), kind=name)

    return LogFormat(name, suffixes, fits, opened, LongParquet.open)
