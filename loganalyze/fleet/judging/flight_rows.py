"""The store's own tables: a row a flight, a row a flight and limit, a row a log with a problem."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from loganalyze.phases.phase_detection import PHASES
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged
from loganalyze.text.plain_values import rounded

FLIGHT_KEY = Column("flight_key", "string", "", "hash of the log's bytes, of all that it was "
                    "judged by, and of the flight's number", True)

LEVELS = ("low", "medium", "high")

FLIGHT_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("outcome", "string", "", "what the verdict comes to", True,
           ("exceeded", "not determined", "not exceeded", "not judged")),
    Column("start_utc", "datetime", "", "UTC of the flight's first sample, where the log has a "
           "date"),
    Column("samples", "integer", "", "recorded samples", True),
    Column("interval_s", "number", "s", "the recording's usual interval"),
    Column("recorded_s", "number", "s", "from the first sample to the end of the last", True),
    Column("airborne_s", "number", "s", "of it, not known to be on the ground", True),
    Column("judged_s", "number", "s", "time in which every limit was judged that the log has the "
           "channels for", True),
    Column("unknown_s", "number", "s", "time that couldn't be judged", True),
    Column("exceedances", "integer", "", "how many exceedances", True),
    Column("proven", "integer", "", "of them, proven over, as flown", True),
    Column("episodes", "integer", "", "overlapping exceedances counted once", True),
    Column("severity", "string", "", "the highest severity of them", choices=LEVELS),
    Column("smallest_margin_kt", "number", "kt", "the smallest margin to any limit, as CAS; "
           "negative is over"),
    Column("smallest_margin_mach", "number", "1", "the same in Mach number"),
    Column("smallest_margin_limit", "string", "", "the limit of that margin"),
    Column("smallest_margin_altitude_ft", "number", "ft", "pressure altitude there"),
    Column("highest_calibrated_airspeed_kt", "number", "kt", "highest calibrated airspeed"),
    Column("highest_mach", "number", "1", "highest Mach number"),
    Column("unjudged_limits", "string", "", "limits judged for too little of the flight, parted "
           "by semicolons"),
    Column("lacking_limits", "string", "", "limits for which the log holds no channel, parted by "
           "semicolons"),
)

RECORD_COLUMNS = (
    Column("source", "string", "", "path or address of the log", True),
    Column("log_sha256", "string", "", "SHA-256 of its bytes; in a protected store a keyed hash of "
           "it, and all keys follow from that", True),
    Column("judgement_key", "string", "", "hash of that and of all that it was judged by", True),
    Column("judgement", "integer", "", "which judgement of these bytes it is, from 1: the highest "
           "is the latest", True),
    Column("flights_in_log", "integer", "", "how many flights the log holds", True),
    Column("registration", "string", "", "registration, where the log or its path states one"),
    Column("tags", "string", "", "the aircraft's tags in the fleet file, a JSON object", True),
    Column("version", "string", "", "version of the program", True),
)
"""What the run adds to each row of `flights`."""

MEASURE_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("limit", "string", "", "name of the limit; blank for all limits together"),
    Column("smallest_margin_kt", "number", "kt", "smallest margin, as CAS; negative is over"),
    Column("smallest_margin_mach", "number", "1", "the same in Mach number"),
    Column("smallest_margin", "number", "as the limit", "the same for a limit that is none of a "
           "speed"),
    Column("margin_u_kt", "number", "kt", "standard uncertainty of the margin to the closest limit "
           "there, as flown"),
    Column("margin_u_mach", "number", "1", "the same in Mach number"),
    Column("margin_displayed_u_kt", "number", "kt", "the same as displayed to the crew, in kt"),
    Column("time_s", "number", "s", "when that was, from the log's first sample"),
    Column("pressure_altitude_ft", "number", "ft", "pressure altitude there"),
    Column("phase", "string", "", "phase of flight there", choices=PHASES),
    Column("judged_s", "number", "s", "time in which the limit was judged"),
    Column("unknown_s", "number", "s", "time in which it couldn't be"),
    Column("within_s", "string", "", "bands of margin and the time spent with less, a JSON list "
           "of pairs"),
)

UNCERTAINTIES = ("margin_u_kt", "margin_u_mach", "margin_displayed_u_kt")

PROBLEMS = "problems"
PROBLEM_COLUMNS = (
    Column("source", "string", "", "path or address of the log", True),
    Column("reason", "string", "", "why it isn't in `flights`, as a sentence", True),
    Column("kind", "string", "", "whose fault it is", True,
           ("wrong input", "unreadable", "unexpected error", "worker lost")),
    Column("log_sha256", "string", "", "SHA-256 of its bytes, where they could be read; in a "
           "protected store a keyed hash of it"),
    Column("attempt_key", "string", "", "hash of that, of all that a log of this run can be "
           "judged by, and of the version: with the same it isn't tried again"),
    Column("seen_on", "datetime", "", "the day [UTC] on which it was first met so", True),
)

RETURNED = "returned"
RETURNED_COLUMNS = (
    Column("log_sha256", "string", "", "the `log_sha256` of a log that was judged several times, "
           "and last asked for by an earlier judgement again", True),
    Column("judgement_key", "string", "", "the judgement that counts", True),
    Column("judgements", "integer", "", "how many there were then: with more, this row is void",
           True),
)


def _flights(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    assessed = judged.exceedances if isinstance(judged, Assessment) else ()
    words = [exceedance.severity for exceedance in facts.exceedances if exceedance.severity]
    nearest = next(
        (smallest for smallest in facts.smallest_margins if smallest.limit is None), None
    )
    by_limit = [smallest for smallest in facts.smallest_margins
                if smallest.limit and smallest.margin_kt is not None and nearest is not None
                and smallest.margin_kt == nearest.margin_kt]
    yield (
        facts.flight,
        facts.outcome,
        facts.start_utc,
        facts.samples,
        facts.interval_s,
        facts.recorded_s,
        facts.quality.airborne_s,
        facts.judged_s,
        facts.unknown_s,
        len(facts.exceedances),
        sum(exceedance.flown.word == "proven over" for exceedance in assessed),
        len({exceedance.episode for exceedance in facts.exceedances}),
        max(words, key=LEVELS.index) if words else None,
        nearest.margin_kt if nearest else None,
        nearest.margin_mach if nearest else None,
        by_limit[0].limit if by_limit else None,
        nearest.pressure_altitude_ft if nearest else None,
        rounded(judged.highest_calibrated_airspeed_kt) if isinstance(judged, Assessment) else None,
        rounded(judged.highest_mach) if isinstance(judged, Assessment) else None,
        "; ".join(facts.unjudged_limits) or None,
        "; ".join(facts.lacking_channels) or None,
    )


def _measures(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    stamps = np.array([measure.time_s for measure in judged.measures])
    known = np.flatnonzero(~np.isnan(stamps))
    columns = judged.columns.at(np.searchsorted(judged.analysis.time, stamps[known]))
    places = dict(zip(known.tolist(), range(len(known)), strict=True))
    for k, measure in enumerate(judged.measures):
        bands = ", ".join(f"[{band:g}, {time:.3f}]" for band, time in measure.within_s)
        yield (
            facts.flight,
            measure.limit or None,
            rounded(measure.smallest_margin_kt),
            rounded(measure.smallest_margin_mach),
            rounded(measure.smallest_margin),
            *(
                rounded(columns[name][places[k]])
                if k in places and name in columns
                else None
                for name in UNCERTAINTIES
            ),
            rounded(measure.time_s),
            rounded(measure.pressure_altitude_ft),
            measure.phase or None,
            rounded(measure.judged_s),
            rounded(measure.unknown_s),
            f"[{bands}]",
        )


FLIGHTS = ResultTable("flights", FLIGHT_COLUMNS, _flights)
MEASURES = ResultTable("measures", MEASURE_COLUMNS, _measures)
