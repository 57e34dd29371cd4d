"""``ceilings``: a row a stretch above a school's or an operator's own ceiling."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged, analysis_of

CEILING_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("ceiling", "string", "", "name of the ceiling, which is no limit", True),
    Column("set_by", "string", "", "whose ceiling it is", True),
    Column("quantity", "string", "", "the quantity in which it is stated", True),
    Column("start_s", "number", "s", "start of the stretch, from the log's first sample", True),
    Column("end_s", "number", "s", "its end", True),
    Column("time_above_s", "number", "s", "time above the ceiling in it", True),
    Column("touches", "integer", "", "stretches without a break that it is made of", True),
    Column("most", "number", "kt or 1", "the greatest difference, in the quantity of the ceiling",
           True),
    Column("most_kt", "number", "kt", "the same as CAS; blank for a quantity that is no speed"),
    Column("worst_time_s", "number", "s", "when that was", True),
    Column("worst_pressure_altitude_ft", "number", "ft", "pressure altitude then"),
    Column("value", "number", "kt or 1", "the value then, in the quantity of the ceiling", True),
    Column("ceiling_value", "number", "kt or 1", "the ceiling then", True),
    Column("began_by", "string", "", "how it began, as of an exceedance", True),
    Column("ended_by", "string", "", "how it ended, as of an exceedance", True),
)
"""No row where the sheet states no ceiling, or none was flown above."""


def _rows(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    for ceiling in facts.ceilings:
        for above in ceiling.stretches:
            yield (
                analysis_of(judged).flight,
                ceiling.name,
                ceiling.set_by,
                ceiling.quantity,
                above.start_s,
                above.end_s,
                above.time_above_s,
                above.touches,
                above.most,
                above.most_kt,
                above.worst_time_s,
                above.worst_pressure_altitude_ft,
                above.value,
                above.ceiling_value,
                above.began_by,
                above.ended_by,
            )


CEILINGS = ResultTable("ceilings", CEILING_COLUMNS, _rows)
