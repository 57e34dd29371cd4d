"""A folder of columns files, each for a family of exports: the one that fits is found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from loganalyze.problems import Problem
from loganalyze.read.csv.csv_dialect import NONE_SAID
from loganalyze.record.findings import Finding
from loganalyze.sheets.columns_file import ColumnsFile, read_columns
from loganalyze.sheets.export_options import FileHabits


def find_family(folder: Path, names_of: Callable[[FileHabits], Sequence[str]],
                where: str) -> tuple[ColumnsFile, Path, Finding]:
    """Return the columns file in `folder` whose signature fits a log, and how it was chosen.

    `names_of` : gives the names of the log's columns, read with the habits that a columns file
    states of its text. Raises Problem where none or several match.
    """
    sheets = {path.name: read_columns(path) for path in sorted(folder.glob("*.toml"))}
    if not sheets:
        raise Problem("no columns file (.toml) is in this folder", str(folder),
                      "name a columns file, or a folder with some")
    names: dict[FileHabits, Sequence[str] | Problem] = {}
    for habits in (NONE_SAID, *(sheet.file for sheet in sheets.values())):
        if habits not in names:
            try:
                names[habits] = names_of(habits)
            except Problem as problem:
                names[habits] = problem
    fitting = {name: sheet for name, sheet in sheets.items()
               if sheet.signature is not None
               and not isinstance(found := names[sheet.file], Problem)
               and sheet.signature.matches(found)}
    if not fitting:
        plain = names[NONE_SAID]
        if isinstance(plain, Problem):
            raise plain
        count = len(sheets)
        said = (f"none of the {count} columns files in {folder} is" if count > 1 else
                f"the columns file in {folder} isn't")
        raise Problem(f"{said} for this log's columns", where,
                      "add one with their names under [signature], or name a columns file")
    if len(fitting) > 1:
        *others, last = fitting
        raise Problem(f"{', '.join(others)} and {last} in {folder} are both for this log's columns"
                      if len(others) == 1 else f"{', '.join(others)} and {last} in {folder} are "
                      "all for this log's columns", where, "name the right one")
    (name, sheet), = fitting.items()
    return sheet, folder / name, Finding("columns_file_chosen", {
        "folder": folder.name, "file": name})
