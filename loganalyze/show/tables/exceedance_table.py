"""``exceedances``: a row an exceedance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple
from typing import Any

from loganalyze.phases.phase_detection import PHASES
from loganalyze.quantities.quantity_registry import only_speeds
from loganalyze.results.assessment_results import OUTCOMES
from loganalyze.results.evidence import CONTRADICTED, NO_ENTRY, NOT_FLOWN, SHOWS_LESS
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged

UNPROVEN = (CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS)

ASSURANCE_COLUMNS = (
    Column("assessment", "string", "", "what the decision rule makes of the excess, as flown",
           choices=OUTCOMES),
    Column("probability", "number", "1", "probability that the limit was truly exceeded, as "
           "flown"),
    Column("excess_low", "number", "kt or 1",
           "lower end of the expanded interval of the excess, in the quantity of the limit"),
    Column("excess_high", "number", "kt or 1", "its upper end"),
    Column("assessment_displayed", "string", "", "the same of what the crew saw",
           choices=OUTCOMES),
    Column("probability_displayed", "number", "1", "the same of what the crew saw"),
    Column("excess_low_displayed", "number", "kt or 1",
           "lower end of the expanded interval of the excess that the crew saw"),
    Column("excess_high_displayed", "number", "kt or 1", "its upper end"),
)
"""How sure an excess is, as flown and as displayed."""

FLIGHT_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("flight_start_s", "number", "s", "the flight's first sample, from the log's first: "
           "sentences and pictures count from it, the columns here from the log's", True),
)
"""Which flight a row is of."""

EXCEEDANCE_COLUMNS = (
    *FLIGHT_COLUMNS,
    Column("number", "integer", "", "number of the exceedance in the flight, by its start, from 1: "
           "the same in every table, picture and sentence", True),
    Column("episode", "integer", "", "overlapping exceedances of a flight share a number", True),
    Column("limit", "string", "", "name of the limit", True),
    Column("quantity", "string", "", "the quantity in which the limit is published", True),
    Column("start_s", "number", "s", "start, from the log's first sample", True),
    Column("end_s", "number", "s", "end, from the log's first sample", True),
    Column("start_utc", "datetime", "", "UTC of the start, where the log has a date"),
    Column("duration_s", "number", "s", "from start to end", True),
    Column("time_over_s", "number", "s", "time spent over the limit", True),
    Column("touches", "integer", "", "how many stretches over the limit it is made of", True),
    Column("longest_over_s", "number", "s", "the longest of them", True),
    Column("bounded_s", "number", "s", "time over for which no sample stands: holes in which the "
           "limit can't have been regained", True),
    Column("began_by", "string", "", "how it began", True,
           ("crossed", "limit applied", "gap", "start of log")),
    Column("ended_by", "string", "", "how it ended", True,
           ("recovered", "limit lifted", "gap", "channel lost", "end of log")),
    Column("brief", "boolean", "", "whether the time over is below the minimum duration", True),
    Column("worst_excess_kt", "number", "kt", "greatest excess over the limit, as CAS"),
    Column("worst_excess_mach", "number", "1", "greatest excess over a Mach limit"),
    Column("worst_time_s", "number", "s", "when that was, from the log's first sample", True),
    Column("worst_pressure_altitude_ft", "number", "ft", "pressure altitude at that instant"),
    Column("worst_value", "number", "kt or 1",
           "speed at that instant, in the quantity of the limit"),
    Column("limit_value", "number", "kt or 1",
           "limit at that instant, in its own quantity"),
    Column("worst_limit_airspeed_kt", "number", "kt", "limit at that instant, as CAS"),
    Column("worst_limit_pointer_kt", "number", "kt", "where the limit pointer stood then, as IAS"),
    Column("worst_calibrated_airspeed_kt", "number", "kt", "calibrated airspeed at that instant"),
    Column("worst_mach", "number", "1", "Mach number at that instant"),
    Column("start_uncertainty_s", "number", "s", "how far the true start may lie from the one "
           "stated: both lie between two samples"),
    Column("end_uncertainty_s", "number", "s", "the same for the end"),
    Column("phase", "string", "", "phase of flight at that instant", choices=PHASES),
    Column("severity", "string", "", "by the rules of the limits sheet, where one is met",
           choices=("low", "medium", "high")),
    Column("severity_probability", "number", "1", "probability that a rule of this level or a "
           "higher one is truly met, as flown"),
    Column("severity_rule", "string", "", "name of the rule that was met"),
    Column("severity_rule_kind", "string", "", "whether it is the operator's own",
           choices=("example", "operator")),
    Column("severity_criteria", "string", "", "all that the rule asks for, parted by semicolons: "
           "its key in the limits sheet, what was recorded, and the least that is asked for, as in "
           "integral_kt_s 1020 of 60"),
    *ASSURANCE_COLUMNS,
    Column("assessment_widest", "string", "", "what the decision rule makes of the excess, as "
           "flown, at the widest tolerances that the rules allow; blank where the limits sheet "
           "states every tolerance", choices=OUTCOMES),
    Column("excess_low_widest", "number", "kt or 1", "lower end of that interval"),
    Column("excess_high_widest", "number", "kt or 1", "its upper end"),
    Column("confirmed_by", "string", "",
           "other channels that show the limit exceeded as well, parted by semicolons"),
    Column("contradicted_by", "string", "",
           "other channels that contradict the exceedance, parted by semicolons"),
    Column("unproven_because", "string", "",
           "what keeps the exceedance, or its size, from being proven", choices=UNPROVEN),
)
"""The first fields of `text.facts.ExceedanceFacts`, in their order."""
OWN_COLUMNS = (
    Column("worst_excess", "number", "as unit says",
           "greatest excess over a limit that is none of a speed, in the quantity of the limit"),
    Column("unit", "string", "", "unit of that and of all numbers in the quantity of the limit; "
           "blank for an airspeed (kt) and a Mach number"),
)
"""Its last columns, in every file once a quantity other than a speed is registered."""


def _columns() -> tuple[Column, ...]:
    return EXCEEDANCE_COLUMNS if only_speeds() else (*EXCEEDANCE_COLUMNS, *OWN_COLUMNS)


def _rows(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    count = len(_columns())
    return (astuple(exceedance)[:count] for exceedance in facts.exceedances)


EXCEEDANCES = ResultTable("exceedances", _columns, _rows)
