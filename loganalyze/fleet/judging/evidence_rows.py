"""What a reviewer needs about each exceedance beside the verdict: quality flags, other sources.

Rows about exceedances only: from `AROUND_S` before one to `AROUND_S` after it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa

from loganalyze.crosscheck.reference_channels import AIRSPEED, ALTITUDE, ReferenceSet
from loganalyze.events.analysis import Analysis
from loganalyze.record.arrays import Rows
from loganalyze.record.intervals import Intervals
from loganalyze.record.quality_flags import FLAG_CODES
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import Assessment
from loganalyze.results.evidence import CANT_TELL, CONFIRMS, CONFIRMS_LESS, CONTRADICTS
from loganalyze.show.tables.exceedance_table import EXCEEDANCE_COLUMNS
from loganalyze.show.tables.table_columns import Column, ResultTable, numbers, texts
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged
from loganalyze.text.plain_values import rounded

AROUND_S = 60.0
"""Samples kept before and after each exceedance [s]: the run-in and the recovery; engineering
judgement."""
UNITS = {AIRSPEED: ("kt", KNOT), ALTITUDE: ("ft", FOOT)}
"""By quantity: the unit in which the other source is stored, and its size in SI."""

FLAG_COLUMNS = (
    *EXCEEDANCE_COLUMNS[:5],
    Column("flag", "string", "", "what was checked", True, FLAG_CODES),
    Column("channel", "string", "", "the channel, blank for the recording as a whole"),
    Column("screened_out", "boolean", "", "whether no verdict rests on what was flagged", True),
    Column("checked_s", "number", "s", f"how long from {AROUND_S:.0f} s before the exceedance to "
           f"{AROUND_S:.0f} s after it could be checked", True),
    Column("raised_s", "number", "s", "how long of it the flag was raised", True),
    Column("raised_inside_s", "number", "s", "how long of the exceedance itself", True),
    Column("first_s", "number", "s", "when it was raised first, from the log's first sample"),
    Column("last_s", "number", "s", "when it was raised last"),
)
OTHER_COLUMNS = (
    *EXCEEDANCE_COLUMNS[:5],
    Column("channel", "string", "", "the other source: a recorded channel that was not judged",
           True),
    Column("compared", "string", "", "which judged quantity it speaks of", True,
           (AIRSPEED, ALTITUDE)),
    Column("says", "string", "", "what it says of the exceedance, about its worst sample", True,
           (CONFIRMS, CONFIRMS_LESS, CONTRADICTS, CANT_TELL)),
    Column("difference", "number", "kt or ft", "how much more the judged quantity reads than this "
           "source says, their usual difference nearby taken off"),
    Column("allowed", "number", "kt or ft", "what noise, steps, lag and drift may make of it"),
    Column("excess", "number", "as the limit", "the excess as this source has it"),
    Column("samples", "integer", "", "samples compared", True),
)
SECOND_COLUMNS = (
    Column("second_airspeed_kt", "number", "kt", "calibrated airspeed by another recorded channel "
           "around exceedances, where the log has one"),
    Column("second_airspeed_by", "string", "", "that channel"),
    Column("second_altitude_ft", "number", "ft", "pressure altitude by another recorded channel "
           "around exceedances, where the log has one"),
    Column("second_altitude_by", "string", "", "that channel"),
)
"""What the store adds to the samples around exceedances."""
SECOND_FIELDS = (pa.float32(), pa.string(), pa.float32(), pa.string())


def _flags(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    analysis = judged.analysis if isinstance(judged, Assessment) else judged
    for exceedance in facts.exceedances:
        about = Intervals.of([(exceedance.start_s - AROUND_S, exceedance.end_s + AROUND_S)])
        inside = Intervals.of([(exceedance.start_s, exceedance.end_s)])
        for flag in analysis.quality:
            raised = flag.raised & about
            yield (
                exceedance.flight,
                exceedance.flight_start_s,
                exceedance.number,
                exceedance.episode,
                exceedance.limit,
                flag.name,
                flag.channel or None,
                flag.screened_out,
                rounded((flag.covered & about).duration),
                rounded(raised.duration),
                rounded((raised & inside).duration),
                rounded(float(raised.edges[0, 0])) if len(raised) else None,
                rounded(float(raised.edges[-1, 1])) if len(raised) else None,
            )


def _references(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    for exceedance, assessed in zip(facts.exceedances, judged.exceedances, strict=True):
        for found in assessed.evidence.references:
            yield (
                exceedance.flight,
                exceedance.flight_start_s,
                exceedance.number,
                exceedance.episode,
                exceedance.limit,
                found.channel,
                found.quantity,
                found.verdict,
                rounded(found.difference),
                rounded(found.allowed),
                rounded(found.excess),
                found.samples,
            )


QUALITY_FLAGS = ResultTable("quality_flags", FLAG_COLUMNS, _flags)
OTHER_SOURCES = ResultTable("other_sources", OTHER_COLUMNS, _references)


def rows_around(analysis: Analysis) -> Rows:
    """Return the rows of the samples around the exceedances of a flight."""
    time = analysis.time
    near = np.zeros(len(time), dtype=bool)
    for exceedance in analysis.exceedances:
        near |= (time >= exceedance.start_s - AROUND_S) & (time <= exceedance.end_s + AROUND_S)
    return np.flatnonzero(near)


def with_second_sources(table: pa.Table, judged: Assessment, around: Rows, rows: Rows | None
                        ) -> pa.Table:
    """Return a flight's samples with what another recorded channel says of speed and altitude.

    Parameters
    ----------
    table : pa.Table
        Samples of the flight.
    judged : Assessment
        The flight.
    around : intp[k]
        Rows at which the other source is looked at; it is blank elsewhere.
    rows : intp[m], optional
        The rows of the flight that the table holds; None for all.
    """
    found: dict[str, tuple[str, Any]] = {}
    if any(exceedance.evidence.references for exceedance in judged.exceedances):
        for series in ReferenceSet(judged.analysis, around).all:
            if series.absolute and series.quantity not in found:
                found[series.quantity] = (series.channel, series.values)
    size = table.num_rows
    arrays: list[pa.Array] = []
    for quantity in (AIRSPEED, ALTITUDE):
        if quantity not in found:
            arrays += [pa.nulls(size, pa.float32()), pa.nulls(size, pa.string())]
            continue
        channel, values = found[quantity]
        values = (values if rows is None else values[rows]) / UNITS[quantity][1]
        values = values.astype(np.float32)
        arrays += [numbers(values, pa.float32()),
                   texts([None if unknown else channel for unknown in np.isnan(values)])]
    for column, array in zip(SECOND_COLUMNS, arrays, strict=True):
        table = table.append_column(column.name, array)
    return table
