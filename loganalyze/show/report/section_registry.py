"""The registry of a report's sections: one line adds one, for the readers that get it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from loganalyze.show.report.report_blocks import Section
from loganalyze.show.report.report_subject import Subject
from loganalyze.show.report.sections.evidence_sections import (
    cautions,
    glance,
    margins,
    method,
    quality,
)
from loganalyze.show.report.sections.finding_sections import found, ladder, panels, verdict, warning
from loganalyze.show.report.sections.pointer_sections import crossover, pointer
from loganalyze.show.report.sections.training_sections import ceilings, what_if
from loganalyze.text.presentation import Reader

Maker = Callable[[Subject], Sequence[Section]]


@dataclass(frozen=True, slots=True)
class ReportPart:
    """What makes some sections, and its place from top to bottom for each kind of reader.

    ``make`` : returns none where there is nothing to say; ``safety``, ``crew``, ``maintenance``,
    ``training`` :
    parts with a lower number stand above; None: the reader doesn't get it.
    """

    make: Maker
    safety: int | None = None
    crew: int | None = None
    maintenance: int | None = None
    training: int | None = None


PARTS = [
    ReportPart(verdict, safety=10, crew=10, maintenance=10, training=10),
    ReportPart(found, safety=20, crew=20, maintenance=20, training=20),
    ReportPart(ladder, maintenance=30),
    ReportPart(panels, safety=40, crew=30, maintenance=40, training=30),
    ReportPart(glance, safety=30, crew=50, maintenance=50, training=25),
    ReportPart(warning, safety=50, crew=40, training=45),
    ReportPart(what_if, crew=35, training=35),
    ReportPart(ceilings, safety=55, crew=45, training=40),
    ReportPart(margins, safety=60, crew=70, maintenance=70, training=60),
    ReportPart(pointer, safety=70, crew=60, training=50),
    ReportPart(crossover, safety=75, crew=65, training=55),
    ReportPart(quality, safety=80, crew=80, maintenance=60, training=80),
    ReportPart(method, safety=90, crew=100, maintenance=80, training=100),
    ReportPart(cautions, safety=100, crew=90, maintenance=90, training=90),
]
"""All parts, in no order; `register` and `withdraw` change them."""


def makers(reader: Reader) -> tuple[Maker, ...]:
    """Return the functions that make the sections for a reader, from top to bottom."""
    placed = [(place, part.make) for part in PARTS
              if (place := getattr(part, reader)) is not None]
    return tuple(make for _, make in sorted(placed, key=lambda pair: pair[0]))


def register(part: ReportPart) -> None:
    """Add a part to every report that follows; ValueError where it is there already."""
    if part in PARTS:
        raise ValueError("the part is registered already")
    PARTS.append(part)


def withdraw(part: ReportPart) -> None:
    """Take a part out again; ValueError where it isn't there."""
    PARTS.remove(part)
