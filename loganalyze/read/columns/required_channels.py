"""The channels that a verdict needs, and the refusals where one is missing or ambiguous."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from loganalyze.problems import Problem
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.derivations import AIRSPEED, AIRSPEEDS, ALTITUDE
from loganalyze.record.findings import Finding
from loganalyze.record.units import Unit

TEMPERATURES = ("static_air_temperature", "total_air_temperature", "outside_air_temperature")
UNITLESS = frozenset(("time", "date", "mach"))

CLOCKS: tuple[frozenset[str], ...] = tuple(map(frozenset, (
    ("time",), ("hour", "minute"), ("frame",), ("subframe",))))
ALTITUDES = tuple(frozenset(way.channels) for way in ALTITUDE)
SPEEDS = tuple(frozenset(way.channels) for way in AIRSPEED)
"""Sets of channels of which any one is enough, the most direct first."""
MACH = frozenset(("mach",))


OPEN = "?"
"""Placeholder in a columns file for the name of a column that isn't known yet."""


class OpenChannelProblem(Problem):
    """A channel for which no column, or more than one, is found; ``channel`` : its name."""

    def __init__(self, what: str, where: str, hint: str, headers: Sequence[NamedColumn],
                 channel: str) -> None:
        super().__init__(what, where, hint, listed(headers))
        self.channel = channel


class NamedColumn(Protocol):
    """A column as the file names it."""

    @property
    def name(self) -> str:
        """The column's name in the file."""
        ...


class KnownColumn(NamedColumn, Protocol):
    """A recognised column."""

    @property
    def unit(self) -> Unit | None:
        """The unit of its numbers, or None where nothing states it."""
        ...


def essential(found: Iterable[str]) -> frozenset[str]:
    """Return the channels of `found` on which the verdict rests: their doubt is refused."""
    there = set(found)
    chosen = {"time", *AIRSPEEDS}
    for sets in (CLOCKS, ALTITUDES, SPEEDS):
        chosen |= next((names for names in sets if names <= there), sets[0])
    return frozenset(chosen)


def check_requirements(headers: Sequence[NamedColumn], found: Mapping[str, KnownColumn],
           doubtful: Sequence[tuple[NamedColumn, tuple[str, ...]]], where: str) -> list[Finding]:
    """Raise Problem for what the verdict needs and the file doesn't say without doubt.

    Time and airspeed must be there. A pressure altitude may be absent, for some limits need none,
    but no column may leave in doubt whether it is one; where the Mach number alone tells the
    airspeed it is needed. A temperature is never demanded.

    `doubtful` : columns whose names may mean several channels. Returns a finding for each
    doubtful temperature, which isn't read.
    """
    from_mach = _first_of(SPEEDS, found) == MACH
    needs: tuple[tuple[str, tuple[frozenset[str], ...], str, bool], ...] = (
        ("time", CLOCKS, "time", True),
        ("pressure altitude", ALTITUDES, "pressure_altitude", from_mach),
        ("indicated or calibrated airspeed", SPEEDS, AIRSPEEDS[0], True),
    )
    for words, sets, first, required in needs:
        if _first_of(sets, found):
            continue
        for header, candidates in doubtful:
            if set().union(*sets) & set(candidates):
                raise OpenChannelProblem(
                    f'column "{header.name}" may be {_either(candidates)}', where,
                    f"say which in a columns file, such as {_entry(first, header.name)}",
                    headers, first)
        if required:
            raise _absent(words, first, headers, found, where)
    if not set(TEMPERATURES).isdisjoint(found):
        return []
    return [Finding("temperature_ambiguous", {
        "column": header.name, "channels": list(candidates)}) for header, candidates in doubtful
            if set(TEMPERATURES) & set(candidates)]


def has_altitude(found: Iterable[str]) -> bool:
    """Whether any way to the pressure altitude is among the channels."""
    return bool(_first_of(ALTITUDES, found))


def _first_of(sets: Iterable[frozenset[str]], found: Iterable[str]) -> frozenset[str]:
    """Return the first set that is found whole, empty where none is."""
    there = set(found)
    return next((names for names in sets if names <= there), frozenset())


def _either(candidates: Sequence[str]) -> str:
    return ", ".join(map(in_words, candidates[:-1])) + f" or {in_words(candidates[-1])}"


def _absent(words: str, first: str, headers: Sequence[NamedColumn],
            found: Mapping[str, KnownColumn], where: str) -> Problem:
    if first == "time" and {"hour", "minute", "second"} & set(found):
        parts = [part for part in ("hour", "minute", "second") if part in found]
        names = " and ".join(f'"{found[part].name}"' for part in parts)
        missing = next(part for part in ("hour", "minute", "second") if part not in found)
        what = (f"column {names} holds a part of the time" if len(parts) == 1 else
                f"columns {names} hold parts of the time")
        return OpenChannelProblem(
            f"{what}, but none holds the {missing}", where,
            f"name it as {missing} under [columns] in a columns file", headers, missing)
    return OpenChannelProblem(f"no column is recognised as the {words}", where,
                              f"name it as {first} under [columns] in a columns file", headers,
                              first)


def _entry(channel: str, column: str) -> str:
    return f'{channel} = {{ column = "{column}" }}'


def in_words(channel: str) -> str:
    """Return a channel in plain words."""
    kind = channel_kind(channel)
    return kind.words if kind else channel.replace("_", " ")


def listed(headers: Sequence[NamedColumn]) -> str:
    """Return the columns found, as a line of details."""
    return "columns found: " + ", ".join(json.dumps(header.name, ensure_ascii=False)
                                         for header in headers)
