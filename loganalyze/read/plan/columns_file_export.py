"""The columns file that says how a log was understood, to correct and to use again."""

from __future__ import annotations

from pathlib import Path

from loganalyze.read.columns.recognition import LogColumn
from loganalyze.read.files.given_data import LogPaths
from loganalyze.read.plan.read_plan import understand
from loganalyze.read.plan.starter_file import clock_table, column_entry, file_table
from loganalyze.sheets.columns_file import ColumnsFile

_FINE = ".fine"


def used_columns(
    path: LogPaths, columns: str | Path | ColumnsFile | None = None
) -> tuple[ColumnsFile, dict[str, LogColumn]]:
    """Return the columns file with which a log was read, whether one was given or not.

    Parameters
    ----------
    path, columns
        As for `read_log`.

    Returns
    -------
    tuple of ColumnsFile and dict of str to Column
        The file: a log read with it is the same log, and it fits every export that has the same
        columns. For each channel its column, with how it was recognised.

    Raises
    ------
    Problem
        As for `read_log`, for what shows in the first lines of the log.
    """
    plan = understand(path, columns)
    entries = {part: column_entry(column) for part, column in plan.clock.items()}
    whole = [column for column in plan.columns if not column.channel.endswith(_FINE)]
    entries |= {column.channel: column_entry(column) for column in whole}
    for column in plan.columns:
        if column.channel.endswith(_FINE):
            entries[column.channel.removesuffix(_FINE)]["fine"] = column.name
    said = plan.sheet.model_dump(exclude_defaults=True) if plan.sheet else {}
    names = sorted({column.name for column in (*plan.clock.values(), *plan.columns)})
    said |= {"signature": said.get("signature", {"header": names}), "columns": entries}
    said["file"] = file_table(plan.log) | said.get("file", {})
    said["clock"] = clock_table(plan.form.order) | said.get("clock", {})
    known = {column.channel: column for column in (*plan.clock.values(), *whole)}
    return ColumnsFile.model_validate({key: part for key, part in said.items() if part}), known
