"""What a file is: its format, which columns are read from it, and its clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loganalyze.read.clocks.clock_detection import find_form
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import Column, recognise
from loganalyze.read.columns.required_channels import has_altitude, start
from loganalyze.read.columns.unit_inference import settle_units
from loganalyze.read.files.given_data import Given, Named
from loganalyze.read.files.multi_file import Log
from loganalyze.read.plan.log_opening import open_source
from loganalyze.record.flight_log import Source
from loganalyze.sheets.columns_file import CLOCK_PARTS, ColumnsFile
from loganalyze.sheets.export_options import ClockHabits


@dataclass(frozen=True)
class Job:
    """A file that is understood: what to read from it, and the record of how."""

    log: Log
    time: Column
    form: Form
    columns: list[Column]
    kelvin: frozenset[str]
    source: Source
    clock: Mapping[str, Column] = field(default_factory=dict)
    """The clock's columns, by `sheets.columns.CLOCK_PARTS`."""
    sheet: ColumnsFile | None = None

    @property
    def where(self) -> str:
        """The file, for what goes wrong."""
        return str(self.source.path)


def understand(named: Named | Given, chosen: str | Path | ColumnsFile | None) -> Job:
    """Tell what a file holds, from its first lines; raises Problem where that leaves a doubt."""
    opened = open_source(named, chosen)
    log, sheet, where = opened.log, opened.sheet, str(opened.path)
    found, notes = recognise(log.headers, sheet, where)
    by_channel = {column.channel: column for column in found}
    clock = {part: by_channel.pop(part) for part in CLOCK_PARTS if part in by_channel}
    form, said = find_form(log, clock, sheet.clock if sheet else ClockHabits(), where)
    time = next(iter(form.parts or clock.values()))
    notes[:0] = [*opened.notes, *said]
    by_channel, kelvin = settle_units(by_channel, log, log.headers, notes, where)
    described = log.described() | {"clock": form.words, "time_column": time.name}
    starter = "" if has_altitude(by_channel) else start(
        log.headers, {**clock, **by_channel}, "pressure_altitude")
    files = tuple(Source(file.path, file.size, file.modified_ns, data=file.data)
                  for file in opened.files)
    source = Source(opened.path, sum(file.size for file in files),
                    max(file.modified_ns for file in files), described, tuple(notes),
                    files if len(files) > 1 else (), opened.columns, log.likely_rows,
                    data=opened.files[0].data, starter=starter,
                    digest=named.sha256 if isinstance(named, Given) else "")
    return Job(log, time, form, list(by_channel.values()), kelvin, source, clock, sheet)
