"""The columns file that says how a log was understood, to correct and to use again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from loganalyze.read.clocks.timestamps import DAY_FIRST, MONTH_FIRST
from loganalyze.read.columns.recognition import Column
from loganalyze.read.files.given_data import Named
from loganalyze.read.plan.read_plan import Job, understand
from loganalyze.sheets.columns_file import ColumnsFile

_FINE = ".fine"
_NO_UNIT = ("discrete", "1", "Mach")
"""Units that nobody needs to state."""


def used_columns(
    path: Named, columns: str | Path | ColumnsFile | None = None
) -> tuple[ColumnsFile, dict[str, str]]:
    """Return the columns file with which a log was read, whether one was given or not.

    Parameters
    ----------
    path, columns
        As for `read_log`.

    Returns
    -------
    tuple of ColumnsFile and dict of str to str
        The file: a log read with it is the same log, and it fits every export that has the same
        columns. For each channel, how its column and unit are known.

    Raises
    ------
    Problem
        As for `read_log`, for what shows in the first lines of the log.
    """
    job = understand(path, columns)
    entries = {part: _entry(column) for part, column in job.clock.items()}
    whole = [column for column in job.columns if not column.channel.endswith(_FINE)]
    entries |= {column.channel: _entry(column) for column in whole}
    for column in job.columns:
        if column.channel.endswith(_FINE):
            entries[column.channel.removesuffix(_FINE)]["fine"] = column.name
    said = job.sheet.model_dump(exclude_defaults=True) if job.sheet else {}
    names = sorted({column.name for column in (*job.clock.values(), *job.columns)})
    said |= {"signature": said.get("signature", {"header": names}), "columns": entries}
    said["file"] = _file(job) | said.get("file", {})
    said["clock"] = _order(job) | said.get("clock", {})
    known = {column.channel: column.known_by for column in (*job.clock.values(), *whole)}
    return ColumnsFile.model_validate({key: part for key, part in said.items() if part}), known


def _entry(column: Column) -> dict[str, Any]:
    """Return what a columns file says of a column."""
    factor = column.unit.factor if column.unit else 1.0
    entry: dict[str, Any] = {"column": column.name}
    if column.unit is not None and column.unit.name not in _NO_UNIT:
        entry["unit"] = column.unit.name
    for key, value in (("lag_s", column.lag_s), ("skew_s", column.skew_s),
                       ("fine_span", column.fine_span / factor),
                       ("wraps_at", column.wraps_at / factor),
                       ("values", dict(column.values)), ("missing", column.missing)):
        if value:
            entry[key] = value
    return entry


def _file(job: Job) -> dict[str, Any]:
    """Return how a text export is written; UTF-8 goes without saying."""
    found = job.log.described()
    return {key: found[key] for key in ("delimiter", "decimal", "encoding")
            if key in found and found[key] != "utf-8"}


def _order(job: Job) -> dict[str, Any]:
    """Return the order of the dates where the log's first lines or its whole told it."""
    return {"form": job.form.order} if job.form.order in (DAY_FIRST, MONTH_FIRST) else {}
