"""From what the user names to a log that can be asked: a file, several, or a folder of them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from loganalyze.problems import Problem
from loganalyze.read.csv.csv_dialect import NONE_SAID
from loganalyze.read.files.file_types import LogFile, open_log
from loganalyze.read.files.given_data import Given, LogPaths
from loganalyze.read.files.multi_file import Log, SeveralLog, files_in
from loganalyze.read.files.registrations import refuse_several, registration_of
from loganalyze.read.long.long_table import long_columns
from loganalyze.read.plan.columns_file_choice import find_family
from loganalyze.read.plan.log_formats import format_of, table_suffixes
from loganalyze.record.findings import Finding
from loganalyze.sheets.columns_file import ColumnsFile, read_columns
from loganalyze.sheets.export_options import FileHabits


@dataclass(frozen=True)
class Opened:
    """A log, its files, the columns file that it is read with, and what was said on the way.

    ``columns`` : the path of the columns file, where it has one.
    """

    log: Log
    path: Path
    files: tuple[LogFile, ...]
    sheet: ColumnsFile | None
    notes: tuple[Finding, ...]
    columns: Path | None


def open_source(named: LogPaths | Given, chosen: str | Path | ColumnsFile | None) -> Opened:
    """Open what the user names, with the columns file `chosen` or the one in it that fits.

    Raises Problem for what isn't a log, or files that don't belong together.
    """
    if isinstance(named, Given):
        return _understood(named.path, (open_log(named.path, named.data),), chosen)
    single = isinstance(named, str | Path)
    paths = [Path(named)] if isinstance(named, str | Path) else [Path(name) for name in named]
    if not paths:
        raise Problem("no log is named", "", "name at least one file")
    path = paths[0]
    if single and path.is_dir():
        paths = files_in(path, table_suffixes())
    twice = next((path for path in paths if paths.count(path) > 1), None)
    if twice is not None:
        raise Problem("it is named twice", str(twice), "name each file once")
    return _understood(path, tuple(open_log(path) for path in paths), chosen)


def _understood(path: Path, files: tuple[LogFile, ...],
                chosen: str | Path | ColumnsFile | None) -> Opened:
    sheet, columns, notes = _sheet(chosen, files[0])
    logs = [_opened(file, sheet) for file in files]
    refuse_several(logs)
    log = logs[0] if len(logs) == 1 else SeveralLog.of(logs)
    return Opened(log, path, files, sheet, notes, columns)


def _sheet(chosen: str | Path | ColumnsFile | None,
           file: LogFile) -> tuple[ColumnsFile | None, Path | None, tuple[Finding, ...]]:
    if chosen is None or isinstance(chosen, ColumnsFile):
        return chosen, None, ()
    if not Path(chosen).is_dir():
        return read_columns(chosen), Path(chosen), ()

    def names(habits: FileHabits) -> list[str]:
        return [header.name for header in format_of(file).table(file, habits, None).headers]

    sheet, path, said = find_family(Path(chosen), names, str(file.path))
    return sheet, path, (said,)


def _opened(file: LogFile, sheet: ColumnsFile | None) -> Log:
    said, where = sheet.long if sheet else None, str(file.path)
    how = format_of(file)
    table: Log = how.table(file, sheet.file if sheet else NONE_SAID, sheet)
    places = long_columns([header.name for header in table.headers], said, where)
    return table if places is None else how.long(table, places)


def stated_registration(named: LogPaths, chosen: str | Path | ColumnsFile | None = None) -> str:
    """Return the aircraft's registration that a log states, or nothing; its rows aren't read.

    Raises Problem as `open_source` does.
    """
    return registration_of(open_source(named, chosen).log)
