"""What a file is: its format, which columns are read from it, and its clock."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from loganalyze.problems import Problem
from loganalyze.read.clocks.clock_detection import find_form
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import Header, LogColumn, recognise
from loganalyze.read.columns.required_channels import has_altitude, listed
from loganalyze.read.columns.unit_inference import settle_units
from loganalyze.read.files.given_data import Given, LogPaths
from loganalyze.read.files.multi_file import Log
from loganalyze.read.plan.log_opening import Opened, open_source
from loganalyze.read.plan.starter_file import HEADING, starter_text, with_starter
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import Source
from loganalyze.sheets.columns_file import CLOCK_PARTS, ColumnsFile, read_columns
from loganalyze.sheets.export_options import ClockHabits, Signature


@dataclass(frozen=True)
class ReadPlan:
    """A file that is understood: what to read from it, and the record of how."""

    log: Log
    time: LogColumn
    form: Form
    columns: list[LogColumn]
    kelvin: frozenset[str]
    source: Source
    clock: Mapping[str, LogColumn] = field(default_factory=dict)
    """The clock's columns, by `sheets.columns.CLOCK_PARTS`."""
    sheet: ColumnsFile | None = None

    @property
    def where(self) -> str:
        """The file's name, for errors."""
        return str(self.source.path)


def understand(named: LogPaths | Given, chosen: str | Path | ColumnsFile | None) -> ReadPlan:
    """Tell what a file holds, from its first lines; raises Problem where that leaves a doubt."""
    try:
        opened = open_source(named, chosen)
    except Problem as problem:
        raise _with_starter_unopened(problem, named, chosen) from None
    try:
        return _understood(opened, named)
    except Problem as problem:
        raise with_starter(problem, opened.log, opened.sheet) from None


def with_plan_starter(problem: Problem, plan: ReadPlan) -> Problem:
    """Return a problem met while reading, with the columns file that the log was read with."""
    columns = {**plan.clock, **{column.channel: column for column in plan.columns}}
    return with_starter(problem, plan.log, plan.sheet, columns, plan.form.order)


def _with_starter_unopened(problem: Problem, named: LogPaths | Given,
                           chosen: str | Path | ColumnsFile | None) -> Problem:
    """Return the problem of a log that can't be opened without a key under [file], with a starter.

    The keys that its hint names are tried until the log can be opened; they are to be checked.
    """
    header = re.search(r"the header of line (\d+)", problem.what)
    if "[signature]" in problem.hint:
        log = open_source(named, None).log
        signature = Signature(header=tuple(header.name for header in log.headers))
        return with_starter(problem, log, ColumnsFile(signature=signature))
    tried: list[dict[str, Any]] = [{"header_line": int(header[1])}] if header else [
        {"decimal": "comma"}, {"decimal": "comma", "thousands": "point"},
        {"decimal": "point", "thousands": "comma"}] if "thousands" in problem.hint else []
    stated: dict[str, Any] = {}
    if isinstance(chosen, ColumnsFile) or (chosen is not None and not Path(chosen).is_dir()):
        sheet = chosen if isinstance(chosen, ColumnsFile) else read_columns(chosen)
        stated = sheet.model_dump(exclude_defaults=True)
    for keys in tried:
        sheet = ColumnsFile.model_validate(stated | {"file": stated.get("file", {}) | keys})
        try:
            return with_starter(problem, open_source(named, sheet).log, sheet)
        except Problem:
            continue
    return problem


def _understood(opened: Opened, named: LogPaths | Given) -> ReadPlan:
    log, sheet, where = opened.log, opened.sheet, str(opened.path)
    found, notes = _recognised(log, sheet, where)
    by_channel = {column.channel: column for column in found}
    clock = {part: by_channel.pop(part) for part in CLOCK_PARTS if part in by_channel}
    form, said = find_form(log, clock, sheet.clock if sheet else ClockHabits(), where)
    time = next(iter(form.parts or clock.values()))
    notes[:0] = [*opened.notes, *said]
    by_channel, kelvin = settle_units(by_channel, log, log.headers, notes, where)
    described = log.described() | {"clock": form.words, "time_column": time.name}
    starter = "" if has_altitude(by_channel) else "\n".join([
        listed(log.headers), HEADING, starter_text(
            log, sheet, {**clock, **by_channel}, "pressure_altitude", form.order)])
    files = tuple(Source(file.path, file.size, file.modified_ns, data=file.data)
                  for file in opened.files)
    source = Source(opened.path, sum(file.size for file in files),
                    max(file.modified_ns for file in files), described, tuple(notes),
                    files if len(files) > 1 else (), opened.columns, log.likely_rows,
                    data=opened.files[0].data, starter=starter,
                    digest=named.sha256 if isinstance(named, Given) else "")
    return ReadPlan(log, time, form, list(by_channel.values()), kelvin, source, clock, sheet)


def _recognised(log: Log, sheet: ColumnsFile | None, where: str
                ) -> tuple[Sequence[LogColumn], list[Finding]]:
    """Return what `recognise` does."""
    if sheet is None:
        try:
            found, notes = _by_names(tuple(log.headers))
        except Problem:
            pass  # It is raised again below, with the file's name.
        else:
            return found, list(notes)
    return recognise(log.headers, sheet, where)


@lru_cache(maxsize=32)
def _by_names(headers: tuple[Header, ...]) -> tuple[Sequence[LogColumn], Sequence[Finding]]:
    """Return what the headers alone tell, kept for a fleet's files of the same headers."""
    return recognise(headers, None, "")
