"""What a fleet's statistics need of each flight: closest approaches by phase, and cross-checks."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np

from loganalyze.air import atmosphere
from loganalyze.events.analysis import Analysis
from loganalyze.phases.phase_detection import PHASES
from loganalyze.record.channels import kind
from loganalyze.record.units import FOOT
from loganalyze.results.assessment_results import Assessment, Check
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged
from loganalyze.text.plain_values import rounded

TURNS, TURNS_SPLIT, TWO_SOURCES, RECORDED, FROM_STANDARD = (
    "turns", "turns, split", "two sources", "recorded and computed", "from standard atmosphere")
WAYS = (TURNS, TURNS_SPLIT, TWO_SOURCES, RECORDED, FROM_STANDARD)
"""By which way an instrument's error shows in a flight."""
HIGH_ENOUGH_FT = 5000.0
"""Pressure altitude [ft] above which the air's temperature is compared with the standard
atmosphere; lower, the ground warms and cools it. Engineering judgement."""
APART_S = 30.0
"""Differences so far apart in time [s] count as independent of each other; engineering judgement.
What differs longer than that differs from flight to flight, and is estimated there."""
FEWEST = 10
"""The fewest samples that are compared."""

CLOSEST_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("phase", "string", "", "phase of flight", True, PHASES),
    Column("limit", "string", "", "the limit that was closest there"),
    Column("margin_kt", "number", "kt", "the smallest margin to any limit in the phase, as CAS; "
           "negative is over", True),
    Column("margin_u_kt", "number", "kt", "its standard uncertainty, as flown"),
    Column("margin_displayed_u_kt", "number", "kt", "its standard uncertainty, as displayed to "
           "the crew"),
    Column("time_s", "number", "s", "when that was, from the log's first sample", True),
    Column("pressure_altitude_ft", "number", "ft", "pressure altitude there"),
    Column("phase_s", "number", "s", "time in the phase with a known margin", True),
)

CHECK_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("way", "string", "", "how the error shows", True, WAYS),
    Column("channel", "string", "", "the channel of which it is an error", True),
    Column("second", "string", "", "what it is compared with: a second source, or blank"),
    Column("samples", "integer", "", "samples compared", True),
    Column("reads_high", "number", "as the channel", "how much the channel reads too high, or "
           "higher than what it is compared with", True),
    Column("reads_high_u", "number", "as the channel", "its standard uncertainty within the "
           "flight"),
    Column("unit", "string", "", "unit of both", True),
)


def _closest(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    analysis = judged.analysis
    margin, phases = analysis.columns["margin_kt"], judged.columns["phase"]
    known = np.flatnonzero(~np.isnan(margin))
    if not len(known):
        return
    of_phase, known_margin = phases[known], margin[known]
    edges = [0, *(np.flatnonzero(of_phase[1:] != of_phase[:-1]) + 1).tolist(), len(known)]
    closest: dict[int, int] = {}
    for first, stop in pairwise(edges):
        place, code = first + int(known_margin[first:stop].argmin()), int(of_phase[first])
        # Of equal margins the first one stays the closest.
        if code not in closest or known_margin[place] < known_margin[closest[code]]:
            closest[code] = place
    present = sorted(closest)
    rows = known[[closest[code] for code in present]]
    lowest = analysis.columns["governing_limit"][rows]
    names = analysis.limit_names
    seconds = np.bincount(of_phase, minlength=len(PHASES)) * analysis.log.interval_s
    altitude = analysis.columns.get("pressure_altitude_ft")
    columns = judged.columns.at(rows)
    for k, (code, row, governing) in enumerate(zip(
            present, rows.tolist(), lowest.tolist(), strict=True)):
        yield (facts.flight, PHASES[code], names[governing] if governing < len(names) else None,
               rounded(margin[row]),
               *(rounded(columns[name][k]) if name in columns else None
                 for name in ("margin_u_kt", "margin_displayed_u_kt")),
               rounded(analysis.time[row]),
               None if altitude is None else rounded(altitude[row]), rounded(seconds[code]))


def _checks(judged: Judged, facts: FlightFacts) -> Iterator[tuple[Any, ...]]:
    if not isinstance(judged, Assessment):
        return
    interval = judged.analysis.log.interval_s
    for check in judged.checks:
        for row in _of_turns(check) if check.code == TURNS else _compared(check, interval):
            yield (facts.flight, *row)
    standard = _from_standard(judged.analysis)
    if standard is not None:
        yield (facts.flight, *standard)


def _of_turns(check: Check) -> Iterator[tuple[Any, ...]]:
    """Return what turns show: an airspeed's error, and where they allow it that of the air's too.

    Unsplit, the whole is an error of the true airspeed, or of the calibrated one alone.
    """
    for way, channel, value, u, unit in _TURN_VALUES:
        if value in check.values:
            yield (way, channel, None, check.values["samples"], rounded(check.values[value]),
                   rounded(check.values[u]) if u in check.values else None, unit)


_TURN_VALUES = (
    (TURNS, "true_airspeed", "reads_high_kt", "reads_high_u_kt", "kt"),
    (TURNS, "calibrated_airspeed", "as_calibrated_kt", "as_calibrated_u_kt", "kt"),
    (TURNS_SPLIT, "calibrated_airspeed", "airspeed_reads_high_kt", "airspeed_u_kt", "kt"),
    (TURNS_SPLIT, "static_air_temperature", "temperature_reads_high_k", "temperature_u_k", "K"),
)


def _compared(check: Check, interval_s: float) -> Iterator[tuple[Any, ...]]:
    """Return a channel against its second source, or against what was computed."""
    values = check.values
    channel = str(values["channel"])
    known = kind(channel)
    if "median_difference" not in values or known is None:
        return
    way = TWO_SOURCES if check.code == "two_sources" else RECORDED
    independent = max(2.0, values["samples"] * interval_s / APART_S)
    # The standard error of a median of normal values is 1.2533 times that of their mean.
    u = 1.2533 * values["spread"] / math.sqrt(independent)
    yield (way, channel, values.get("second"), values["samples"],
           rounded(values["median_difference"]), rounded(u), known.unit.name)


def _from_standard(analysis: Analysis) -> tuple[Any, ...] | None:
    """Return how much warmer than standard the air read, well above the ground."""
    columns = analysis.columns
    if not {"static_air_temperature_degc", "pressure_altitude_ft"} <= columns.keys():
        return None
    altitude, warm = columns["pressure_altitude_ft"], columns["static_air_temperature_degc"]
    rows = np.flatnonzero((altitude > HIGH_ENOUGH_FT) & ~np.isnan(warm))
    if len(rows) < FEWEST:
        return None
    rows = rows[:: max(1, len(rows) // 500)]
    standard = atmosphere.temperature(altitude[rows].astype(np.float64) * FOOT)
    above = warm[rows].astype(np.float64) + 273.15 - standard
    return (FROM_STANDARD, "static_air_temperature", None, len(rows),
            rounded(float(np.median(above))), None, "K")


CLOSEST = ResultTable("closest", CLOSEST_COLUMNS, _closest)
CHECKS = ResultTable("checks", CHECK_COLUMNS, _checks)
