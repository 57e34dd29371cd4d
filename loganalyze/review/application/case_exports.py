"""Exports: the list of cases as CSV or JSON, and the trail as it is kept."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import fields

from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.cases.case_rows import ListedCase
from loganalyze.review.decisions.trail_entries import Actor

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""First characters by which a spreadsheet takes a text for a formula."""


def cases_csv(desk: ReviewDesk, actor: Actor, wanted: CaseFilter) -> bytes:
    """Return all cases that a filter lets through as CSV, texts never as formulas."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    names = [field.name for field in fields(ListedCase)]
    writer.writerow(names)
    for case in _cases(desk, actor, wanted):
        writer.writerow([_cell(getattr(case, name)) for name in names])
    return stream.getvalue().encode()


def every_case(desk: ReviewDesk, actor: Actor, wanted: CaseFilter) -> list[ListedCase]:
    """Return all cases that a filter lets through."""
    return list(_cases(desk, actor, wanted))


def trail_lines(desk: ReviewDesk, actor: Actor) -> bytes:
    """Return every entry of the trail, a JSON object a line, with the hashes to check it by."""
    return "".join(json.dumps(entry, ensure_ascii=False) + "\n"
                   for entry in desk.whole_trail(actor)).encode()


def _cases(desk: ReviewDesk, actor: Actor, wanted: CaseFilter) -> Iterator[ListedCase]:
    for page in desk.every_case(actor, wanted):
        yield from page.cases


def _cell(value: object) -> object:
    if isinstance(value, tuple):
        value = "; ".join(map(str, value))
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return "" if value is None else value
