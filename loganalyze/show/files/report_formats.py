"""The registry of the formats of a report: one line adds one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.report.report_blocks import Picture, Report

Drawn = Callable[[Picture], bytes]
"""Gives a picture of a report as PNG; each is drawn once, however many formats are written."""


@dataclass(frozen=True, slots=True)
class ReportFormat:
    """A format of a report: its name, also the file's suffix, and the function that writes it."""

    name: str
    make: Callable[[Report, Paper, Drawn], bytes]


def _html(report: Report, paper: Paper, drawn: Drawn) -> bytes:
    return report_html(report, drawn).encode("utf-8")


FORMATS: list[ReportFormat] = [ReportFormat("html", _html), ReportFormat("pdf", report_pdf)]
"""All formats; `register` and `withdraw` change them."""


def register(format_: ReportFormat) -> None:
    """Add a format; ValueError where there is one of its name."""
    if format_.name in names():
        raise ValueError(f"there is a report format {format_.name} already")
    FORMATS.append(format_)


def withdraw(format_: ReportFormat) -> None:
    """Take a format out again; ValueError where it isn't there."""
    FORMATS.remove(format_)


def names() -> tuple[str, ...]:
    """Return the names of all formats."""
    return tuple(format_.name for format_ in FORMATS)


def named(name: str) -> ReportFormat:
    """Return a format by its name; KeyError where there is none."""
    return {format_.name: format_ for format_ in FORMATS}[name]
