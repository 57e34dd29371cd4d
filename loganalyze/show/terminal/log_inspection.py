"""The contents of a log without a verdict: channels, sampling, gaps, flights, screening."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from loganalyze.events.analysis import analyze
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.show.terminal.sparklines import BLOCKS, sparkline
from loganalyze.text.flight_account import channel_facts, flag_facts
from loganalyze.text.language import inspection_labels as label
from loganalyze.text.language import reading_text, terminal_labels
from loganalyze.text.plain_values import plain, rounded, utc_text
from loganalyze.text.presentation import Presentation, Units
from loganalyze.text.recording_facts import ChannelFacts, FlagFacts

GAPS_LISTED = 10
"""How many gaps are listed, the longest first."""
LABEL, LINE = 23, 56
"""Characters of a sparkline's name and of the line itself: 80 with the blank between."""

NO_LIMITS = LimitsSheet.model_validate({
    "aircraft": "any", "airspeed": {"recorded": "calibrated"},
    "temperature": {"outside_air": "static"},
    "limit": [{"name": "none", "quantity": "calibrated_airspeed", "maximum_kt": 999.0}],
})
"""A sheet for screening only, whose limits aren't evaluated."""


@dataclass(frozen=True)
class ReachFacts:
    """Least and greatest value of a channel, in the unit of its name's vocabulary, and its shape.

    ``line`` : a sparkline; ``held`` : the file repeats each value until the next.
    """

    channel: str
    least: float | None
    greatest: float | None
    unit: str
    held: bool
    line: str


@dataclass(frozen=True)
class FlightInspection:
    """The contents of one flight of a log; times count from the log's first sample."""

    flight: int
    samples: int
    start_s: float | None
    start_utc: str | None
    interval_s: float | None
    duration_s: float
    gaps: int
    """Steps in time longer than 1.5 intervals."""
    gaps_s: float
    longest_gaps_s: list[list[float]]
    """Start and end of the longest gaps."""
    counts: dict[str, Any]
    """Counts made while reading."""
    channels: list[ChannelFacts]
    ranges: list[ReachFacts]
    airborne_s: float
    screened_s: dict[str, float]
    """Airborne time that no verdict could rest on, by reason; "" for all of them together."""
    quality: list[FlagFacts]
    files: list[str] = field(default_factory=list)
    """Which of a recording's several files hold the flight."""


@dataclass(frozen=True)
class Inspection:
    """What a log holds.

    ``starter`` : where no column tells the pressure altitude, a columns file to start from; else
    empty.
    """

    file: str
    dialect: dict[str, Any]
    inferred: list[str]
    flights: list[FlightInspection]
    starter: str = ""


def inspection(flights: Iterable[FlightLog], blocks: str = BLOCKS,
               how: Presentation | None = None) -> Inspection:
    """Return the contents of a log's flights as plain values; one flight is in memory at a time.

    `blocks` are the characters of the sparklines, the lowest first; the sentences are put as
    `how` says, the numbers in the units of the channels' vocabulary.
    """
    how = how or Presentation()
    found: list[FlightInspection] = []
    inferred: dict[str, None] = {}
    file, dialect, starter = "", {}, ""
    for number, log in enumerate(flights, 1):
        file, dialect = log.source.path.name, plain(log.source.dialect)
        inferred |= dict.fromkeys(reading_text.sentences(log.source.inferred))
        starter = log.source.starter
        found.append(_flight(number, log, blocks, how))
        del log
    return Inspection(file, dialect, list(inferred), found, starter)


def _flight(number: int, log: FlightLog, blocks: str, how: Presentation) -> FlightInspection:
    steps = np.diff(log.time)
    gaps = np.flatnonzero(steps > HELD_INTERVALS * log.interval_s)
    longest = gaps[np.argsort(-steps[gaps], kind="stable")][:GAPS_LISTED]
    analysis = analyze(log, NO_LIMITS, flight=number)
    start = None if log.utc_start is None else log.utc_start + np.timedelta64(
        round(log.time[0] * 1e9), "ns")
    own = how.of_flight(float(log.time[0]), log.utc_start)
    return FlightInspection(
        flight=number,
        samples=len(log),
        start_s=rounded(log.time[0]),
        start_utc=utc_text(start),
        interval_s=rounded(log.interval_s),
        duration_s=round(float(log.time[-1] - log.time[0]), 9),
        gaps=len(gaps),
        gaps_s=round(float(steps[gaps].sum()), 9),
        longest_gaps_s=[[round(float(log.time[i]), 9), round(float(log.time[i + 1]), 9)]
                        for i in longest],
        counts=plain({key: value for step in log.steps for key, value in step.counts.items()}),
        channels=channel_facts(log),
        ranges=[_reach(log, name, blocks) for name in log.channels],
        airborne_s=round(analysis.airborne.duration, 9),
        screened_s={reason: round(time, 9) for reason, time in analysis.screened_s.items()},
        quality=[flag_facts(flag, own) for flag in analysis.quality],
        files=[path.name for path in log.source.flight_files],
    )


def _reach(log: FlightLog, name: str, blocks: str) -> ReachFacts:
    channel = log.channels[name]
    known = channel.values[np.isfinite(channel.values)]
    of = kind(name)
    factor, offset = (of.unit.factor, of.unit.offset) if of else (1.0, 0.0)
    ends = [(float(end) - offset) / factor for end in (known.min(), known.max())] if (
        known.size) else [float("nan"), float("nan")]
    unit = of.unit.name if of and not of.discrete and of.unit.name != "1" else ""
    return ReachFacts(name, rounded(ends[0]), rounded(ends[1]), unit, channel.held,
                      sparkline(log.time, log.aligned(name), LINE, blocks,
                                (0.0, 1.0) if of and of.discrete else None))


def text(found: Inspection, how: Presentation | None = None) -> str:
    """Return an inspection as plain text, put as `how` says."""
    how = how or Presentation()
    lines = [label.log(found.file, found.dialect)]
    several = len(found.flights) > 1
    for flight in found.flights:
        own = how.timed(flight.start_s, flight.start_utc)
        if several:
            # Where it begins in the log; all else counts from the flight's own first sample.
            lines += ["", label.flight(flight.flight, flight.start_s, flight.files,
                                       replace(own, origin_s=0.0))]
        lines += _flight_lines(flight, own)
    lines += ["", *map(label.inferred, found.inferred)]
    if found.starter:
        lines += [*([""] if found.inferred else []), terminal_labels.NO_ALTITUDE,
                  *found.starter.splitlines()]
    return "\n".join(lines).rstrip("\n")


def _flight_lines(flight: FlightInspection, how: Presentation) -> list[str]:
    lines = [label.samples(flight.samples, flight.duration_s, flight.start_utc)]
    if flight.interval_s:
        lines.append(label.sampling(flight.interval_s))
    lines.append(label.gaps(flight.gaps, flight.gaps_s))
    lines += [f"  {label.gap(start, end, how)}" for start, end in flight.longest_gaps_s]
    counts = {key: value for key, value in flight.counts.items() if key not in ("rows", "kept")}
    if counts:
        lines.append(label.reading(counts))
    lines += ["", *table([
        label.HEADING,
        *(_row(channel, reach, how.units)
          for channel, reach in zip(flight.channels, flight.ranges, strict=True))])]
    lines += ["", *(f"{reach.channel[:LABEL]:<{LABEL}} {reach.line}".rstrip()
                    for reach in flight.ranges)]
    return [*lines, "", *_screening_lines(flight)]


def _row(channel: ChannelFacts, reach: ReachFacts, units: Units) -> tuple[str, ...]:
    unit, factor = units.edge(reach.unit)
    every = f"{channel.interval_s:g} s" if channel.interval_s else ""
    step = ""
    if channel.resolution and channel.resolution_unit != "discrete":
        step = f"{channel.resolution * factor:.4g} {unit}".rstrip()
    ends = (f"{end * factor:.6g} {unit}".rstrip() if end is not None else ""
            for end in (reach.least, reach.greatest))
    return (
        channel.channel,
        channel.column,
        channel.unit,
        every + (label.HELD if reach.held else ""),
        step,
        f"{channel.missing:,}",
        *ends,
        channel.known_by,
    )


def _screening_lines(flight: FlightInspection) -> list[str]:
    lines = [label.screening(flight.screened_s.get("", 0.0), flight.airborne_s)]
    return lines + [f"  {flag.sentence}" for flag in flight.quality if flag.sentence]


def table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows as text columns, each as wide as its widest cell."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in rows]
