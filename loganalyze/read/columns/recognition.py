"""Recognition of the channel and unit of each column, and how each is known.

Nothing is guessed in silence: a name that may mean several channels, two columns for one
channel that nothing tells apart, or a unit that nothing states, are refused where the verdict
depends on them, and left unread (and said so) where it doesn't.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from loganalyze.problems import Problem
from loganalyze.read.cells.discrete_words import WORDS
from loganalyze.read.columns.channel_aliases import WORDED
from loganalyze.read.columns.column_names import Reading, read_name, units_in
from loganalyze.read.columns.required_channels import (
    TEMPERATURES,
    UNITLESS,
    OpenChannelProblem,
    check_requirements,
    essential,
    in_words,
    listed,
)
from loganalyze.record.channels import CHANNELS
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.findings import Finding
from loganalyze.record.units import UNITS, Unit, find_unit
from loganalyze.sheets.columns_file import CLOCK_PARTS, ColumnsFile
from loganalyze.sheets.columns_file import Column as Entry

ENGINES = frozenset(("torque", "fan_speed", "power_lever"))
"""Channels recorded per engine: a second column of them isn't a second source."""
_PAIR = re.compile(r"\s*([01])\s*[=:\-]\s*([A-Za-z][A-Za-z /]*?)\s*")


@dataclass(frozen=True)
class Header:
    """A column as the file names it, with the unit that a units row or metadata states."""

    name: str
    unit: str = ""
    unit_from: str = ""
    place: str = ""
    """Its place in the file, such as ", line 3"."""
    nested: str = ""
    """What its cells are where each holds several values."""


@dataclass(frozen=True)
class LogColumn:
    """A recognised column: ``unit`` is None where nothing states it.

    ``channel`` : the channel, a part of the clock (`sheets.columns.CLOCK_PARTS`), or `X.fine` for
    the fine word of channel X, that has its own column; ``lag_s``, ``skew_s`` [s], ``fine_span``
    and ``wraps_at`` [SI] as the columns file states them (0: not stated); ``timed`` : whether it
    states lag or skew at all; ``values`` : what its words mean, in the unit; ``missing`` : its
    cells that stand for no value; ``worded`` : whether only words tell its states apart.
    """

    channel: str
    index: int
    name: str
    unit: Unit | None
    recorded_unit: str
    known_by: str
    unit_by: str = ""
    lag_s: float = 0.0
    skew_s: float = 0.0
    fine_span: float = 0.0
    wraps_at: float = 0.0
    timed: bool = False
    values: Mapping[str, float] = field(default_factory=dict)
    missing: tuple[str | float, ...] = ()
    worded: bool = False


class _ColumnError(Problem):
    """A column that can't be read, as a Problem and as a finding for where it isn't needed."""

    def __init__(self, what: str, where: str, hint: str, finding: Finding) -> None:
        super().__init__(what, where, hint)
        self.finding = finding


@dataclass(frozen=True)
class _Candidate:
    column: LogColumn
    reading: Reading


def recognise(
    headers: Sequence[Header], chosen: ColumnsFile | None, where: str
) -> tuple[list[LogColumn], list[Finding]]:
    """Return the recognised columns, and a finding for each one left in doubt.

    The columns file `chosen` wins over what the names say. A channel that two columns hold, told
    apart by such as left and right or 1 and 2, comes twice: X and X_2. Raises Problem where a
    column that the columns file names is missing, or where what the verdict needs is missing,
    ambiguous, or recorded twice with nothing to tell the columns apart.
    """
    found: dict[str, LogColumn] = {}
    if chosen is not None:
        for channel, entry in chosen.columns.items():
            found |= _stated_columns(channel, entry, headers, where)
    taken = {column.index for column in found.values()}
    named: dict[str, list[_Candidate]] = {}
    doubtful: list[tuple[Header, tuple[str, ...]]] = []
    notes: list[Finding] = []
    for index, header in enumerate(headers):
        reading = read_name(header.name) if index not in taken else None
        if reading is None or _bare_symbol(header, reading):
            continue
        if reading.doubtful:
            doubtful.append((header, reading.doubtful))
        elif reading.word:
            _refuse_word(header, reading, found, where, notes)
        elif (column := _named(reading, index, header, where, notes)) is not None:
            named.setdefault(reading.channel, []).append(_Candidate(column, reading))
    for channel, candidates in named.items():
        _settle(channel, candidates, found, headers, where, notes)
    _settle_clock(found, named)
    notes += check_requirements(headers, found, doubtful, where)
    return sorted(found.values(), key=lambda column: column.index), notes


def likely_columns(headers: Sequence[Header], chosen: ColumnsFile | None
                   ) -> dict[str, LogColumn | None]:
    """Return the channels that columns hold by the columns file or their names, without refusing.

    None for a channel whose column or choice is in doubt; a column whose unit can't be told has
    none.
    """
    found: dict[str, LogColumn] = {}
    open_channels: list[str] = []
    for channel, entry in (chosen.columns if chosen else {}).items():
        try:
            found |= _stated_columns(channel, entry, headers, "")
        except Problem:
            open_channels.append(channel)
    taken = {column.index for column in found.values()}
    named: dict[str, list[_Candidate]] = {}
    for index, header in enumerate(headers):
        reading = read_name(header.name) if index not in taken else None
        if (reading is None or reading.doubtful or reading.word or reading.channel in found
                or _bare_symbol(header, reading)):
            continue
        try:
            column = _named(reading, index, header, "", [])
        except Problem:
            column = LogColumn(
                reading.channel, index, header.name, None, "", "recognised by its name")
        if column is not None:
            named.setdefault(reading.channel, []).append(_Candidate(column, reading))
    for channel, candidates in named.items():
        ranked = candidates if len(candidates) == 1 else _ranked(candidates)
        if ranked is not None:
            found[channel] = ranked[0].column
        elif channel in essential((channel,)):
            open_channels.append(channel)
    _settle_clock(found, named)
    return {**found, **dict.fromkeys(open_channels)}


def _settle(channel: str, candidates: list[_Candidate], found: dict[str, LogColumn],
            headers: Sequence[Header], where: str, notes: list[Finding]) -> None:
    """Add the columns of one channel to those found: one, or several sources of it."""
    kept = found.get(channel)
    if kept is not None:
        # The columns file chose one of several sources: the others stay, to be compared with it.
        mark = read_name(kept.name)
        if mark is None or mark.channel != channel or channel not in CHANNELS:
            return
        candidates = [_Candidate(kept, mark), *(
            candidate for candidate in candidates if f"{channel}_2" not in found)]
    if len(candidates) == 1:
        found.setdefault(channel, candidates[0].column)
        return
    ranked = _ranked(candidates) if channel in CHANNELS else None
    if kept is not None and ranked is not None:
        ranked = [candidates[0], *(other for other in ranked if other is not candidates[0])]
    names = [f'"{candidate.column.name}"' for candidate in candidates]
    if ranked is None:
        if kept is not None:
            return
        said = f"columns {' and '.join(names)} may each be the {in_words(channel)}"
        twice = next((candidate.column.name for candidate in candidates if names.count(
            f'"{candidate.column.name}"') > 1), None)
        if channel in essential((*found, channel)):
            if twice is not None:
                raise same_name(headers, twice, where)
            raise OpenChannelProblem(said, where, f"choose one as {channel} under [columns] in a "
                                     "columns file", headers, channel)
        notes.append(Finding("columns_ambiguous", {
            "columns": [candidate.column.name for candidate in candidates], "channel": channel}))
        return
    for number, candidate in enumerate(ranked, 1):
        name = channel if number == 1 else f"{channel}_{number}"
        found[name] = replace(candidate.column, channel=name)
    notes.append(Finding("several_sources", {
        "column": ranked[0].column.name, "channel": channel,
        "others": [other.column.name for other in ranked[1:]], "engines": channel in ENGINES}))


def _ranked(candidates: list[_Candidate]) -> list[_Candidate] | None:
    """Return candidates in the order of their marks, or None where marks don't tell them apart."""
    marks = [candidate.reading.source for candidate in candidates]
    if len(candidates) > 4 or len(set(marks)) < len(marks) or {0, 1} <= set(marks):
        return None
    if candidates[0].reading.channel == "fuel" and 0 not in marks:
        return None  # Left and right are tanks: neither holds all the fuel.
    return sorted(candidates, key=lambda candidate: candidate.reading.source)


def same_name(headers: Sequence[Header], name: str, where: str) -> Problem:
    """Return the Problem of several columns called `name`."""
    count = sum(header.name == name for header in headers)
    return Problem(f'{count} columns are called "{name}"', where + headers[0].place,
                   "export the log with a name of its own for each column", listed(headers))


def _settle_clock(found: dict[str, LogColumn], named: Mapping[str, list[_Candidate]]) -> None:
    """Make of hours, minutes and seconds a clock where they are one, and nothing otherwise."""
    if {"hour", "minute"} <= set(found):
        seconds = [candidate for candidate in named.get("time", ())
                   if candidate.reading.spelling == "seconds"]
        if "second" not in found and len(seconds) == 1:
            found["second"] = replace(seconds[0].column, channel="second")
            if found["time"].index == found["second"].index:
                del found["time"]
        return
    if "second" in found and "time" not in found and not {"hour", "minute"} & set(found):
        # Seconds alone are a clock that runs on (of a week, beside the week's number).
        second = found.pop("second")
        found["time"] = replace(second, channel="time", unit=second.unit or UNITS["s"])
    if "time" in found:
        for part in ("hour", "minute", "second"):
            if part in found and found[part].known_by == "name":
                del found[part]
    if "time" not in found and "date" in found and not set(found) & {"hour", "frame", "subframe"}:
        found["time"] = replace(found.pop("date"), channel="time")


def _bare_symbol(header: Header, reading: Reading) -> bool:
    """Whether a short symbol (T, HP, VS) lacks the unit that would tell what it stands for."""
    kind = CHANNELS.get(reading.channel)
    if len(reading.spelling) > 2 or reading.doubtful or (kind is not None and kind.discrete) or (
            reading.channel in CLOCK_PARTS[1:]):
        return False
    unit = find_unit(header.unit or reading.unit, kind.dimension if kind else "time")
    return unit is None or unit.dimension != (kind.dimension if kind else "time")


def _refuse_word(header: Header, reading: Reading, found: Mapping[str, LogColumn], where: str,
                 notes: list[Finding]) -> None:
    """Refuse, or leave unread, one of the two words of a value: its span isn't known."""
    said = (f'column "{header.name}" holds the {reading.word} word of the '
            f"{in_words(reading.channel)}")
    if reading.word == "coarse" and reading.channel in essential(()) and (
            reading.channel not in found):
        raise Problem(said, where, "name both words in a columns file, such as "
                      f'{reading.channel} = {{ column = "{header.name}", fine = "?", '
                      "fine_span = 5000 }")
    if reading.channel not in found:
        notes.append(Finding("part_word", {
            "column": header.name, "word": reading.word, "channel": reading.channel}))


def refuse_unit(column: LogColumn, headers: Sequence[Header], where: str) -> Problem:
    """Return the Problem of a column whose unit nothing states."""
    words = in_words(column.channel)
    return Problem(f'nothing states the unit of column "{column.name}" ({words})', where,
                   f"state unit for {column.channel} under [columns] in a columns file",
                   listed(headers))


def _stated_columns(channel: str, entry: Entry, headers: Sequence[Header],
                    where: str) -> dict[str, LogColumn]:
    """Return what the columns file says of a channel: its column, and that of its fine word."""
    column = _chosen(channel, entry.column, entry.unit, headers, where)
    factor = column.unit.factor if column.unit else 1.0
    values = {word.strip().casefold(): code for word, code in entry.values.items()}
    column = replace(
        column, lag_s=entry.lag_s, skew_s=entry.skew_s,
        timed=bool({"lag_s", "skew_s"} & entry.model_fields_set),
        fine_span=(entry.fine_span or 0.0) * factor, wraps_at=(entry.wraps_at or 0.0) * factor,
        values=values or column.values, missing=entry.missing)
    if entry.fine is None:
        return {channel: column}
    unit = entry.unit or column.recorded_unit or None
    fine = _chosen(channel, entry.fine, unit, headers, where)
    return {channel: column, f"{channel}.fine": replace(fine, channel=f"{channel}.fine")}


def _chosen(channel: str, name: str, unit: str | None, headers: Sequence[Header],
            where: str) -> LogColumn:
    matches = [i for i, header in enumerate(headers) if header.name == name.strip()]
    if not matches:
        matches = [i for i, header in enumerate(headers)
                   if header.name.casefold() == name.strip().casefold()]
    if not matches:
        raise OpenChannelProblem(
            f'the columns file names "{name}" for {channel}, but no column is called so', where,
            "name one of the columns found", headers, channel)
    if len(matches) > 1:
        raise same_name(headers, headers[matches[0]].name, where)
    header = headers[matches[0]]
    reading = read_name(header.name)
    stated, stated_by = unit, "columns file"
    if stated is None and header.unit:
        stated, stated_by = header.unit, header.unit_from
    if stated is None and reading is not None and reading.unit:
        stated, stated_by = reading.unit, reading.unit_from
    if stated is None and (units := units_in(header.name)):
        stated, stated_by = units[-1], "the brackets in its name"
    return _column(channel, matches[0], header.name, stated or "", "columns file",
                   stated_by, where)


def _named(reading: Reading, index: int, header: Header, where: str,
           notes: list[Finding]) -> LogColumn | None:
    stated, stated_by = reading.unit, reading.unit_from
    if header.unit:
        if stated and find_unit(stated) != find_unit(header.unit):
            raise Problem(f'column "{header.name}" states the unit "{stated}" in its name and '
                          f'"{header.unit}" in {header.unit_from}', where,
                          f"state the right unit for {reading.channel} in a columns file")
        stated, stated_by = header.unit, header.unit_from
    try:
        if header.nested:
            raise _ColumnError(
                f'column "{header.name}" holds {header.nested}, not numbers', where,
                f"export it as numbers, or name another column as {reading.channel} in a columns "
                "file", Finding("nested_column", {"column": header.name, "nested": header.nested}))
        column = _column(reading.channel, index, header.name, stated, "name",
                         stated_by, where)
    except _ColumnError as problem:
        if reading.channel in essential(()):
            raise
        notes.append(problem.finding)
        return None
    return replace(column, worded=reading.spelling in WORDED)


def _column(channel: str, index: int, name: str, stated: str, known_by: str, unit_by: str,
            where: str) -> LogColumn:
    kind = channel_kind(channel)
    dimension = "time" if channel == "time" else kind.dimension if kind else ""
    unit = find_unit(stated, dimension) if stated else None
    codes: dict[str, float] = {}
    if stated and unit is None and kind is not None and kind.discrete:
        codes = _codes(stated)
        unit = kind.unit if codes else None
    if stated and unit is None and channel not in CLOCK_PARTS:
        raise _ColumnError(
            f'the unit "{stated}" of column "{name}" isn\'t known', where,
            f"state unit for {channel} in a columns file as one of " + ", ".join(
                name for name, unit in UNITS.items() if dimension in ("", unit.dimension)),
            Finding("unknown_unit", {"column": name, "unit": stated}))
    if unit is not None:
        expected = dimension or unit.dimension
        free = channel in CLOCK_PARTS[1:] or (kind is not None and kind.discrete)
        if unit.dimension != expected and not free:
            raise _ColumnError(
                f'column "{name}" states the unit "{stated}", which isn\'t one of {expected}, so '
                f"it can't be the {in_words(channel)}", where,
                f"state unit for {channel}, or name another column as it, in a columns file",
                Finding("unit_of_another_quantity", {
                    "column": name, "unit": stated, "dimension": expected, "channel": channel}))
    elif kind is not None and (kind.discrete or kind.name == "mach"):
        unit, unit_by = kind.unit, ""
    else:
        unit_by = ""
    return LogColumn(channel, index, name, unit, stated, known_by, unit_by, values=codes)


def _codes(stated: str) -> dict[str, float]:
    """Return the codes that brackets such as (0=UP, 1=DOWN) state, or none."""
    pairs = [_PAIR.fullmatch(part) for part in re.split(r"[,;]", stated)]
    codes = {pair[1]: WORDS.get(pair[2].casefold()) for pair in pairs if pair}
    if len(codes) != 2 or len(pairs) != 2 or set(codes.values()) != {0.0, 1.0}:
        return {}
    return {code: value for code, value in codes.items() if value is not None}


__all__ = ["TEMPERATURES", "UNITLESS", "Header", "LogColumn", "recognise", "refuse_unit",
           "same_name"]
