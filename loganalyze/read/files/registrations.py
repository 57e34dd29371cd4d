"""The aircraft's registration, where a log says it: recordings of two aircraft aren't one.

It may stand above the header, in a column, in a Parquet file's metadata or in the file's name.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from loganalyze.problems import Problem
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.files.multi_file import Log

_KEY = (r"(?:registration|tail(?:[ _]?(?:no|num|number|id))?|a(?:ircraft|/?c)[ _]?"
        r"(?:id|ident|registration|reg|tail|tail[ _]?(?:no|number))|regn?)")
_MARK = r"[A-Z0-9]{1,3}-?[A-Z0-9]{1,6}"
_SAID = re.compile(rf"(?<![A-Za-z])(?i:{_KEY})(?i:[ _](?:mark|no|number))?[.\"]?[\s:=,;|]+"
                   rf"\"?({_MARK})(?![A-Za-z0-9])")
_COLUMN = re.compile(rf"(?i:{_KEY}|aircraft)(?i:[ _](?:mark|no|number))?\.?")
_IN_NAME = re.compile(r"(?<![A-Za-z0-9])(?:[A-Z][A-Z0-9]?-[A-Z0-9]{0,3}[A-Z][A-Z0-9]{0,3}"
                      r"|[A-Z]{2}-\d{3,5}|N\d{2,5}[A-Z]{0,2})(?![A-Za-z0-9])")
MOST_WORDS = 1 << 16
"""Bytes above a header that are looked at."""


def tail_column(headers: Sequence[Header]) -> int | None:
    """Return the column that holds the aircraft's registration, or None."""
    return next((i for i, header in enumerate(headers)
                 if _COLUMN.fullmatch(header.name.strip())), None)


def said_above(text: str) -> str:
    """Return the registration that the words above a table state, or nothing."""
    found = _SAID.search(text[:MOST_WORDS])
    return found[1] if found is not None and _is_mark(found[1]) else ""


def registration_of(log: Log) -> str:
    """Return the aircraft's registration as a log states it: in a column, else above its header.

    Empty where neither does; a file's name alone may say something else. Raises Problem for
    a column of several registrations.
    """
    found = _marks(log)
    return found.get("column", found.get("preamble", ""))


def refuse_several(logs: Sequence[Log]) -> None:
    """Raise Problem where logs are of different aircraft, or one is of several."""
    first: dict[str, tuple[str, Log]] = {}
    for log in logs:
        for source, mark in _marks(log).items():
            known, other = first.setdefault(source, (mark, log))
            if _plain(mark) != _plain(known):
                raise Problem(f"it is a log of {mark} by its {source}, and {other.file.path.name} "
                              f"one of {known}", str(log.file.path),
                              "give the logs of each aircraft on their own")


def another_aircraft(mark: str, known: str, where: str) -> Problem:
    """Return the Problem of a log that holds two aircraft's registrations."""
    return Problem(f'the log is of "{known}", but here of "{mark}"', where,
                   "give the log of each aircraft on its own")


def marks_in(cells: Sequence[str]) -> list[str]:
    """Return the different registrations in the cells of a column, in their order."""
    found = dict.fromkeys(stripped for cell in cells if (stripped := cell.strip()))
    return list(found) if all(map(_is_mark, found)) else []


def _marks(log: Log) -> dict[str, str]:
    """Return the registrations that a log states, by where it does."""
    found = {"preamble": said_above(log.preamble)}
    place = tail_column(log.headers)
    if place is not None:
        name = log.headers[place].name
        cells = marks_in(log.cells(LogColumn("tail", place, name, None, "", "")))
        if len(cells) > 1:
            raise another_aircraft(cells[1], cells[0], f'{log.file.path}, column "{name}"')
        found["column"] = cells[0] if cells else ""
    named = {_plain(mark): mark for mark in _IN_NAME.findall(log.file.path.stem)}
    found["name"] = next(iter(named.values())) if len(named) == 1 else ""
    return {source: mark for source, mark in found.items() if mark}


def _is_mark(word: str) -> bool:
    return bool(re.fullmatch(_MARK, word.upper())) and any(
        letter.isdigit() or letter == "-" for letter in word)


def _plain(mark: str) -> str:
    return mark.upper().replace("-", "")
