"""Elements of a report: sections of blocks, independent of origin and output format.

A page and a PDF are two renderers of the same sections. Every text here is plain: a renderer
escapes it, lays it out, and adds no fact of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from loganalyze.text.formulas import WorkedStep
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from loganalyze.events.analysis import Analysis
    from loganalyze.results.assessment_results import Assessment


@dataclass(frozen=True, slots=True)
class Subheading:
    """A heading inside a section; ``key`` : of an anchor, where a link leads to it."""

    text: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; `role` "lead" is what is read first, "note" is small print."""

    text: str
    role: Literal["", "lead", "note"] = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeyValues:
    """Facts by name, in order."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Link:
    """The text of a cell that leads to the section with this key; ``page`` : of another page."""

    text: str
    key: str
    page: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLink(Link):
    """The text of a cell that leads to a stretch [s] in the chart, with the cursor at `worst_s`.

    ``number`` : the exceedance's, from 1; 0 for what is none.
    """

    start_s: float
    end_s: float
    worst_s: float
    number: int = 0


@dataclass(frozen=True, slots=True)
class Column:
    """A table's column; numbers stand to the right.

    ``heads_row`` : its cells head their rows; ``whole`` : its cells aren't broken into lines.
    """

    name: str
    numeric: bool = False
    heads_row: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under named columns; `caption` : what the table shows."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str | Link, ...], ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """A box that must not be overlooked."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """A calculation worked step by step; formulas are written as `WorkedStep` says."""

    steps: tuple[WorkedStep, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure, drawn when it is asked for.

    ``name`` : unique in the report, fit for a file name; ``words`` : what the figure shows, for
    those who can't see it; ``caption`` : what is printed below it.
    """

    name: str
    draw: Callable[[], Figure]
    words: str
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Chart:
    """Where a page has a chart to move in and paper has `picture`."""

    analysis: Analysis
    assessment: Assessment | None
    presentation: Presentation
    picture: Picture


@dataclass(frozen=True, slots=True)
class Stretch:
    """The stretch of time [s] that a section is about, for a chart to show.

    ``worst_s`` : where the cursor goes, None for the start; ``number`` : the exceedance's, from
    1; 0 for what is none.
    """

    start_s: float
    end_s: float
    worst_s: float | None = None
    number: int = 0


Block = (Subheading | Paragraph | Bullets | KeyValues | Table | Caution | Steps | Picture | Chart
         | Stretch)


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a report.

    ``key`` : unique in the report, fit for an anchor; ``on_paper`` : whether it belongs in the
    file that is printed and filed; ``new_page`` : whether paper turns the page before it;
    ``folded`` : whether a page shows its title alone until it is asked for the rest.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    on_paper: bool = True
    new_page: bool = False
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """A report: its title, what it is of, and its sections from top to bottom.

    ``footer`` : what each page of paper carries; ``log_sha256`` : of the log's bytes.
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    footer: str
    log_sha256: str
    language: str = "en-GB"

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """All pictures, in order, those in place of charts among them."""
        found = []
        for section in self.sections:
            for block in section.blocks:
                if isinstance(block, Chart):
                    found.append(block.picture)
                elif isinstance(block, Picture):
                    found.append(block)
        return tuple(found)
