"""``near``: a row a stretch that stayed under a limit but may have been over."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.phases.phase_detection import PHASES
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.tables.exceedance_table import ASSURANCE_COLUMNS, FLIGHT_COLUMNS
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged
from loganalyze.text.plain_values import rounded

NEAR_COLUMNS = (
    *FLIGHT_COLUMNS,
    Column("limit", "string", "", "name of the limit", True),
    Column("quantity", "string", "", "the quantity in which the limit is published", True),
    Column("start_s", "number", "s", "start of the stretch, from the log's first sample", True),
    Column("end_s", "number", "s", "its end", True),
    Column("closest_time_s", "number", "s", "when the margin was smallest", True),
    Column("closest_pressure_altitude_ft", "number", "ft", "pressure altitude at that instant"),
    Column("margin", "number", "kt or 1", "the smallest margin, in the quantity of the limit"),
    Column("margin_kt", "number", "kt", "the smallest margin, as CAS"),
    Column("phase", "string", "", "phase of flight at that instant", choices=PHASES),
    *ASSURANCE_COLUMNS,
)
"""Rows of assessed flights only, since near misses depend on the uncertainty."""


def _rows(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    quantities = {limit.name: limit.quantity for limit in judged.analysis.sheet.limit}
    for near_miss in judged.near:
        sure = [part for each in (near_miss.flown, near_miss.displayed) for part in (
            each.word, rounded(each.probability), rounded(each.low), rounded(each.high))]
        yield (
            judged.analysis.flight,
            facts.start_s,
            near_miss.limit,
            quantities[near_miss.limit],
            near_miss.start_s,
            near_miss.end_s,
            near_miss.time_s,
            rounded(near_miss.pressure_altitude_ft),
            rounded(near_miss.margin),
            rounded(near_miss.margin_kt),
            near_miss.phase,
            *sure,
        )


NEAR = ResultTable("near", NEAR_COLUMNS, _rows)
