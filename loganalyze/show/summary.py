"""The summary of a log: its inputs, what was taken for what, and the facts of its flights."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from loganalyze import __version__
from loganalyze.judge.settings import Settings
from loganalyze.problems import Problem
from loganalyze.record.log import Source
from loganalyze.sheets.limits import LimitsSheet
from loganalyze.show import wording
from loganalyze.show.facts import (
    ChannelFacts,
    FlightFacts,
    Judged,
    analysis_of,
    channel_facts,
    flight_facts,
    plain,
)


@dataclass(frozen=True)
class InputFacts:
    """A file that went in: what it was for, its name, and its bytes."""

    role: str
    file: str
    size: int
    sha256: str


@dataclass(frozen=True)
class LimitFacts:
    """A limit of the sheet, by name and published quantity."""

    name: str
    quantity: str


@dataclass(frozen=True)
class Summary:
    """Everything that was found in one log. It holds no clock times: same inputs, same bytes."""

    program: str
    versions: dict[str, str]
    aircraft: str
    inputs: list[InputFacts]
    dialect: dict[str, Any]
    """How the file was understood: format, delimiter, encoding, ..."""
    inferred: list[str]
    """What the file itself didn't state, a sentence each."""
    channels: list[ChannelFacts]
    limits: list[LimitFacts]
    settings: dict[str, Any]
    declared: dict[str, float]
    """States that the recorder doesn't hold, as they were declared."""
    flights: list[FlightFacts]
    cautions: list[str]

    @property
    def exceeded(self) -> bool:
        """Whether any limit was exceeded."""
        return any(flight.exceedances for flight in self.flights)

    def plain(self) -> dict[str, Any]:
        """Return the summary as JSON holds it: null where a number isn't known."""
        return {field.name: plain(getattr(self, field.name)) for field in fields(self)}

    def json(self) -> str:
        """Return the summary as JSON text."""
        return json.dumps(self.plain(), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def summarise(
    judged: Iterable[Judged],
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
    each: Callable[[Judged, FlightFacts], None] | None = None,
) -> Summary:
    """Run through the analyses of one log's flights and keep their facts.

    Parameters
    ----------
    judged : iterable of Analysis or Assessment
        The flights of one log, in order; only one is held at a time.
    limits, columns : Path, optional
        The files that the sheets came from, to name them with their hashes.
    declared : mapping, optional
        States declared for the flight, as the user wrote them.
    each : callable, optional
        Called with each flight and its facts.

    Raises
    ------
    Problem
        When there is no flight, or an input file changed meanwhile.
    """
    flights: list[FlightFacts] = []
    channels: dict[str, ChannelFacts] = {}
    source, sheet, settings = None, None, None
    for one_flight in judged:
        analysis = analysis_of(one_flight)
        source, sheet, settings = analysis.log.source, analysis.sheet, analysis.settings
        facts = flight_facts(one_flight)
        if each:
            each(one_flight, facts)
        flights.append(facts)
        for one in channel_facts(analysis.log):
            before = channels.get(one.channel)
            missing = one.missing + (before.missing if before else 0)
            channels[one.channel] = replace(before or one, missing=missing)
        # Only then is the next flight read: one at a time is in memory.
        del one_flight, analysis
    if source is None or sheet is None or settings is None:
        raise Problem("the log holds no flight", mend="check that it is a recording")
    return _summary(source, sheet, settings, list(channels.values()), flights,
                    limits, columns, declared)


def summary_of(
    judged: Judged,
    facts: FlightFacts,
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
) -> Summary:
    """Return the summary of one flight alone, as `summarise` does of all flights of a log.

    `facts` are the flight's own, as `flight_facts` gave them.
    """
    analysis = analysis_of(judged)
    return _summary(analysis.log.source, analysis.sheet, analysis.settings,
                    channel_facts(analysis.log), [facts], limits, columns, declared)


def _summary(
    source: Source, sheet: LimitsSheet, settings: Settings, channels: list[ChannelFacts],
    flights: list[FlightFacts], limits: Path | None, columns: Path | None,
    declared: Mapping[str, float] | None,
) -> Summary:
    files = [InputFacts("log", one.path.name, one.size, one.sha256)
             for one in source.files or (source,)]
    # Of a folder of columns files it is the one that was taken.
    files += [_input(role, path) for role, path in (
        ("limits", limits), ("columns", source.columns or columns)) if path is not None]
    return Summary(
        program="loganalyze",
        versions={"loganalyze": __version__, "python": platform.python_version(),
                  "numpy": np.__version__, "pyarrow": pa.__version__},
        aircraft=sheet.aircraft,
        inputs=files,
        dialect=plain(source.dialect),
        inferred=list(source.inferred),
        channels=channels,
        limits=[LimitFacts(limit.name, limit.quantity) for limit in sheet.limit],
        settings=plain(settings),
        declared=dict(declared or {}),
        flights=flights,
        cautions=list(wording.CAUTIONS),
    )


def _input(role: str, path: Path) -> InputFacts:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return InputFacts(role, path.name, path.stat().st_size, digest)
