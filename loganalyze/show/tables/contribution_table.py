"""``contributions``: why, two rows an exceedance."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.results.assessment_results import Assessment
from loganalyze.show.tables.exceedance_table import EXCEEDANCE_COLUMNS
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged
from loganalyze.text.plain_values import rounded

STRETCHES = ("to the limit", "to the worst")

CONTRIBUTION_COLUMNS = (
    *EXCEEDANCE_COLUMNS[:5],
    Column("stretch", "string", "", "what took the aircraft to the limit, or what made the excess "
           "worse", True, STRETCHES),
    Column("start_s", "number", "s", "start of the stretch, from the log's first sample"),
    Column("end_s", "number", "s", "its end: the first sample over the limit, or the worst one"),
    Column("lost_kt", "number", "kt", "margin lost in the stretch, as CAS"),
    Column("limit_moved_kt", "number", "kt", "of it, lost as the limit moved with altitude"),
    Column("configuration_kt", "number", "kt", "lost by a change of configuration"),
    Column("height_trade_kt", "number", "kt", "lost by height turned into speed, netted"),
    Column("energy_kt", "number", "kt", "lost by energy gained, netted"),
    Column("air_temperature_kt", "number", "kt", "lost by a change of the air's warmth"),
    Column("speed_change_kt", "number", "kt",
           "lost by the speed's change, where without air temperature it can't be split"),
    Column("remainder_kt", "number", "kt", "what the parts leave unexplained"),
    Column("gross_height_trade_kt", "number", "kt", "height turned into speed, not netted"),
    Column("gross_energy_kt", "number", "kt", "energy gained, not netted"),
    Column("wind_kt", "number", "kt", "of the energy, what a change of wind brought"),
    Column("greatest_load_factor", "number", "g", "greatest load factor in the stretch"),
)
"""Two rows an exceedance of an assessed flight; blank where nothing unbroken was recorded, or
where the first sample over the limit was the worst."""


def _rows(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    for exceedance, assessed in zip(facts.exceedances, judged.exceedances, strict=True):
        for stretch, causes in zip(STRETCHES, (assessed.contributions, assessed.worsening),
                                   strict=True):
            parts = [None if causes is None else rounded(getattr(causes, column.name))
                     for column in CONTRIBUTION_COLUMNS[6:]]
            yield (
                exceedance.flight,
                exceedance.flight_start_s,
                exceedance.number,
                exceedance.episode,
                exceedance.limit,
                stretch,
                *parts,
            )


CONTRIBUTIONS = ResultTable("contributions", CONTRIBUTION_COLUMNS, _rows)
