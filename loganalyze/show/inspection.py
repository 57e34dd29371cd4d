"""What a log holds, before anything is judged: channels, sampling, gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from loganalyze.record.channels import CHANNELS
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.log import FlightLog
from loganalyze.show import wording
from loganalyze.show.facts import ChannelFacts, channel_facts, plain, rounded, utc_text

GAPS_LISTED = 10
"""How many gaps are listed, the longest first."""


@dataclass(frozen=True)
class RangeFacts:
    """Least and greatest value of a channel, in the unit of its name's vocabulary."""

    channel: str
    least: float | None
    greatest: float | None
    unit: str


@dataclass(frozen=True)
class Inspection:
    """What a log holds."""

    file: str
    dialect: dict[str, Any]
    inferred: list[str]
    samples: int
    interval_s: float | None
    duration_s: float
    start_utc: str | None
    gaps: int
    """Steps in time longer than 1.5 intervals."""
    gaps_s: float
    longest_gaps_s: list[list[float]]
    """Start and end of the longest gaps."""
    channels: list[ChannelFacts]
    ranges: list[RangeFacts]


def inspection(log: FlightLog) -> Inspection:
    """Return what `log` holds, in plain values."""
    steps = np.diff(log.time)
    gaps = np.flatnonzero(steps > HELD_INTERVALS * log.interval_s)
    longest = gaps[np.argsort(-steps[gaps], kind="stable")][:GAPS_LISTED]
    return Inspection(
        file=log.source.path.name,
        dialect=plain(log.source.dialect),
        inferred=list(log.source.inferred),
        samples=len(log),
        interval_s=rounded(log.interval_s),
        duration_s=round(float(log.time[-1] - log.time[0]), 9) if len(log) else 0.0,
        start_utc=utc_text(log.utc_start),
        gaps=len(gaps),
        gaps_s=round(float(steps[gaps].sum()), 9),
        longest_gaps_s=[[round(float(log.time[i]), 9), round(float(log.time[i + 1]), 9)]
                        for i in longest],
        channels=channel_facts(log),
        ranges=[_range(log, name) for name in log.channels],
    )


def _range(log: FlightLog, name: str) -> RangeFacts:
    values = log.channels[name].values
    known = values[~np.isnan(values)]
    kind = CHANNELS.get(name)
    factor, offset = (kind.unit.factor, kind.unit.offset) if kind else (1.0, 0.0)
    ends = [(float(end) - offset) / factor for end in (known.min(), known.max())] if (
        known.size) else [float("nan"), float("nan")]
    unit = kind.unit.name if kind and not kind.discrete else ""
    return RangeFacts(name, rounded(ends[0]), rounded(ends[1]), unit)


def text(found: Inspection) -> str:
    """Return an inspection as plain text."""
    dialect = ", ".join(f"{key} {value}" for key, value in found.dialect.items())
    start = f", from {found.start_utc}" if found.start_utc else ", no date"
    lines = [f"{found.file}: {dialect}" if dialect else found.file,
             f"{wording.count(found.samples, 'sample')} over {wording.duration(found.duration_s)}"
             f"{start}"]
    if found.interval_s:
        lines.append(f"Sampling: one every {found.interval_s:g} s ({1 / found.interval_s:g} Hz)")
    lines.append(f"Gaps: {wording.count(found.gaps, 'gap')}, "
                 f"{wording.duration(found.gaps_s)} in all" if found.gaps else "Gaps: none")
    lines += [f"  {wording.clock(start)} to {wording.clock(end)}"
              for start, end in found.longest_gaps_s]
    rows: list[tuple[str, ...]] = [
        ("channel", "column", "unit", "every", "missing", "from", "to", "known by")
    ]
    for channel, reach in zip(found.channels, found.ranges, strict=True):
        rows.append((
            channel.channel, channel.column, channel.unit,
            f"{channel.interval_s:g} s" if channel.interval_s else "",
            f"{channel.missing:,}",
            *(f"{end:.6g} {reach.unit}".rstrip() if end is not None else ""
              for end in (reach.least, reach.greatest)),
            channel.known_by,
        ))
    lines += ["", *table(rows)]
    lines += [f"Inferred: {sentence}" for sentence in found.inferred]
    return "\n".join(lines)


def table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows as text columns, each as wide as its widest cell."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in rows]
