"""What an inspection of a log prints around what it found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loganalyze.text.en.labels import terminal_labels
from loganalyze.text.en.labels.step_labels import counted
from loganalyze.text.en.number_format import count, duration, sentence_case
from loganalyze.text.presentation import Presentation

HEADING: tuple[str, ...] = (
    "channel", "column", "unit", "every", "step", "missing", "from", "to", "known by")
"""The heading of the table of channels."""

HELD = ", held"
"""After the interval of a channel whose values the file repeats."""


def log(file: str, dialect: Mapping[str, Any]) -> str:
    """Return the log's file, and how it was understood: format, delimiter, clock, ..."""
    understood = ", ".join(f"{key} {value}" for key, value in dialect.items())
    return f"{file}: {understood}" if understood else file


def flight(number: int, start_s: float | None, files: Sequence[str], how: Presentation) -> str:
    """Return the heading of one flight of several."""
    named = sentence_case(terminal_labels.flight(number))
    return f"{named}, from {how.instant(start_s)}" + (f", in {', '.join(files)}" if files else "")


def samples(number: int, lasting_s: float, start_utc: str | None) -> str:
    """Return how many samples there are, over how long, and from when."""
    start = f", from {start_utc}" if start_utc else ", no date"
    return f"{count(number, 'sample')} over {duration(lasting_s)}{start}"


def sampling(interval_s: float) -> str:
    """Return the log's interval."""
    return f"Sampling: one every {interval_s:g} s ({1 / interval_s:g} Hz)"


def gaps(number: int, lasting_s: float) -> str:
    """Return how many gaps there are, and how long all of them last."""
    return f"Gaps: {count(number, 'gap')}, {duration(lasting_s)} in all" if number else "Gaps: none"


def gap(start_s: float, end_s: float, how: Presentation) -> str:
    """Return one gap."""
    return f"{how.instant(start_s)} to {how.instant(end_s)}"


def reading(counts: Mapping[str, Any]) -> str:
    """Return what was counted while reading."""
    return "Reading: " + ", ".join(f"{counted(key)} {value}" for key, value in counts.items())


def inferred(sentence: str) -> str:
    """Return a sentence on what the file itself didn't state, marked as such."""
    return f"Inferred: {sentence}"


def screening(lost_s: float, airborne_s: float) -> str:
    """Return how much of the airborne time no verdict can rest on."""
    share = f" ({100 * lost_s / airborne_s:.2g} %)" if lost_s and airborne_s else ""
    return (f"Screening: {duration(lost_s) if lost_s else 'nothing'}{share} of "
            f"{duration(airborne_s)} airborne screened out")
