"""The summary of a log: its inputs, how they were interpreted, and the facts of its flights."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from loganalyze.events.analysis import Analysis
from loganalyze.problems import Problem
from loganalyze.record.flight_log import Source
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.show.tables.table_columns import HIDDEN, Origin
from loganalyze.text.anonymous_facts import anonymous, anonymous_flight
from loganalyze.text.facts import FlightFacts, InputFacts, LimitFacts, Summary
from loganalyze.text.flight_account import Judged, analysis_of, channel_facts, flight_facts
from loganalyze.text.language import reading_text, verdict_sentences
from loganalyze.text.plain_values import plain
from loganalyze.text.presentation import Presentation
from loganalyze.text.recording_facts import ChannelFacts, InferredFacts
from loganalyze.version import __version__


class LogSummary:
    """The facts of one log's flights, gathered flight by flight.

    Parameters
    ----------
    limits, columns : Path, optional
        The files that the sheets came from, to name them with their hashes.
    declared : mapping, optional
        States declared for the flight, as the user wrote them.
    deidentified : bool
        Leave out what tells which flight it is: names, hashes, dates and instants of UTC.
    presentation : Presentation, optional
        For whom, in which units and on which clock the verdicts are put.
    """

    def __init__(
        self,
        *,
        limits: Path | None = None,
        columns: Path | None = None,
        declared: Mapping[str, float] | None = None,
        deidentified: bool = False,
        presentation: Presentation | None = None,
    ) -> None:
        self._how = presentation
        self._deidentified = deidentified
        self._files = (("limits", limits), ("columns", columns))
        self._declared = dict(declared or {})
        self._flights: list[FlightFacts] = []
        self._channels: dict[str, ChannelFacts] = {}
        self._of: tuple[Source, LimitsSheet, Settings] | None = None

    def add(self, judged: Judged) -> FlightFacts:
        """Keep the facts of the log's next flight, not the flight itself, and return them."""
        analysis = analysis_of(judged)
        self._of = analysis.log.source, analysis.sheet, analysis.settings
        facts = flight_facts(judged, self._how)
        if self._deidentified:
            facts = anonymous_flight(facts)
        self._flights.append(facts)
        for channel in channel_facts(analysis.log):
            before = self._channels.get(channel.channel)
            missing = channel.missing + (before.missing if before else 0)
            self._channels[channel.channel] = replace(before or channel, missing=missing)
        return facts

    def origin(self, analysis: Analysis) -> Origin:
        """Return what the rows of a flight's tables say that they come from."""
        if self._deidentified:
            return HIDDEN
        limits = dict(self._files)["limits"]
        return Origin(analysis.log.source.path.name, analysis.sheet.aircraft,
                      limits.name if limits else "")

    def of_flight(self, judged: Judged, facts: FlightFacts) -> Summary:
        """Return a summary of one flight alone; `facts` are those that `add` returned."""
        analysis = analysis_of(judged)
        return self._summary((analysis.log.source, analysis.sheet, analysis.settings),
                             channel_facts(analysis.log), [facts])

    def result(self) -> Summary:
        """Return the summary of all flights added.

        Raises
        ------
        Problem
            When there was none, or an input file changed meanwhile.
        """
        if self._of is None:
            raise Problem("the log holds no flight", hint="check that it is a recording")
        return self._summary(self._of, list(self._channels.values()), self._flights)

    def _summary(self, of: tuple[Source, LimitsSheet, Settings], channels: list[ChannelFacts],
                 flights: list[FlightFacts]) -> Summary:
        source, sheet, settings = of
        files = [InputFacts("log", part.path.name, part.size, part.sha256)
                 for part in source.files or (source,)]
        for role, path in self._files:
            # Of a folder of columns files the one that fits the log was used.
            used = source.columns or path if role == "columns" else path
            if used is not None:
                files.append(_input(role, used))
        summary = Summary(
            program="loganalyze",
            versions={
                "loganalyze": __version__,
                "python": platform.python_version(),
                "numpy": np.__version__,
                "pyarrow": pa.__version__,
            },
            aircraft=sheet.aircraft,
            inputs=files,
            dialect=plain(source.dialect),
            inferred=[reading_text.reading(finding) for finding in source.inferred],
            inferred_codes=[
                InferredFacts(finding.code, plain(finding.values)) for finding in source.inferred
            ],
            channels=channels,
            limits=[LimitFacts(limit.name, limit.quantity) for limit in sheet.limit],
            settings=plain(settings),
            declared=self._declared,
            flights=flights,
            cautions=list(verdict_sentences.CAUTIONS),
        )
        return anonymous(summary) if self._deidentified else summary


def summarise(
    judged: Iterable[Judged],
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
) -> Summary:
    """Return the summary of one log's flights, of which only one is held at a time.

    The parameters are those of `LogSummary`. Raises Problem where there is no flight.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> summary = la.summarise([flight])
    >>> [exceedance.limit for exceedance in summary.flights[0].exceedances]
    ['MMO', 'VMO']
    """
    summary = LogSummary(limits=limits, columns=columns, declared=declared)
    for flight in judged:
        summary.add(flight)
        # Only then is the next flight read: one at a time is in memory.
        del flight
    return summary.result()


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _input(role: str, path: Path) -> InputFacts:
    return InputFacts(role, path.name, path.stat().st_size, sha256_of(path))
