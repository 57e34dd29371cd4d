"""The summary of a log: its inputs, what was taken for what, and the facts of its flights."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from loganalyze.problems import Problem
from loganalyze.record.flight_log import Source
from loganalyze.screening.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.text import verdict_sentences
from loganalyze.text.facts import ChannelFacts, FlightFacts, InputFacts, LimitFacts, Summary
from loganalyze.text.flight_account import Judged, analysis_of, channel_facts, flight_facts
from loganalyze.text.plain_values import plain
from loganalyze.version import __version__


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
        cautions=list(verdict_sentences.CAUTIONS),
    )


def _input(role: str, path: Path) -> InputFacts:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return InputFacts(role, path.name, path.stat().st_size, digest)
