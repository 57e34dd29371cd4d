"""What a verdict needs of a log, and what to say where it isn't there or is in doubt."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from loganalyze.problems import Problem
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.derivations import AIRSPEED, AIRSPEEDS, ALTITUDE
from loganalyze.record.units import Unit

TEMPERATURES = ("static_air_temperature", "total_air_temperature", "outside_air_temperature")
UNITLESS = frozenset(("time", "date", "mach"))

CLOCKS: tuple[frozenset[str], ...] = tuple(map(frozenset, (
    ("time",), ("hour", "minute"), ("frame",), ("subframe",))))
ALTITUDES = tuple(frozenset(way.channels) for way in ALTITUDE)
SPEEDS = tuple(frozenset(way.channels) for way in AIRSPEED)
"""Sets of channels of which any one is enough, the most direct first."""


class Named(Protocol):
    """A column as the file names it."""

    @property
    def name(self) -> str:
        """The column's name in the file."""
        ...


class Known(Named, Protocol):
    """A recognised column."""

    @property
    def unit(self) -> Unit | None:
        """The unit of its numbers, or None where nothing states it."""
        ...


def essential(found: Iterable[str]) -> frozenset[str]:
    """Return the channels of `found` on which the verdict rests: their doubt is refused."""
    there = set(found)
    chosen = {"time", *AIRSPEEDS, *TEMPERATURES}
    for sets in (CLOCKS, ALTITUDES, SPEEDS):
        chosen |= next((one for one in sets if one <= there), sets[0])
    return frozenset(chosen)


def demand(headers: Sequence[Named], found: Mapping[str, Known],
           doubtful: Sequence[tuple[Named, tuple[str, ...]]], strict: bool, where: str) -> None:
    """Raise Problem for what the verdict needs and the file doesn't say without doubt.

    `doubtful` : columns whose names may mean several channels; `strict` : whether a doubtful
    temperature is refused, too.
    """
    needs: list[tuple[str, tuple[frozenset[str], ...], str]] = [
        ("time", CLOCKS, "time"),
        ("pressure altitude", ALTITUDES, "pressure_altitude"),
        ("indicated or calibrated airspeed", SPEEDS, AIRSPEEDS[0]),
    ]
    if strict:
        needs.append(("temperature", tuple(frozenset((one,)) for one in TEMPERATURES), ""))
    for words, sets, first in needs:
        if any(one <= set(found) for one in sets):
            continue
        for header, candidates in doubtful:
            if set().union(*sets) & set(candidates):
                may_be = ", ".join(map(in_words, candidates[:-1])) + (
                    f" or {in_words(candidates[-1])}")
                raise Problem(f'column "{header.name}" may be {may_be}', where,
                              "say which in a columns file",
                              start(headers, found, first or TEMPERATURES[0]))
        if first:
            raise _absent(words, first, headers, found, where)


def _absent(words: str, first: str, headers: Sequence[Named], found: Mapping[str, Known],
            where: str) -> Problem:
    if first == "time" and {"hour", "minute", "second"} & set(found):
        parts = [part for part in ("hour", "minute", "second") if part in found]
        names = " and ".join(f'"{found[part].name}"' for part in parts)
        missing = next(part for part in ("hour", "minute", "second") if part not in found)
        one = len(parts) == 1
        return Problem(f"column{'' if one else 's'} {names} hold{'s a part' if one else ' parts'} "
                       f"of the time, but none holds the {missing}", where,
                       "name it in a columns file", start(headers, found, missing))
    return Problem(f"no column is recognised as the {words}", where, "name it in a columns file",
                   start(headers, found, first))


def in_words(channel: str) -> str:
    """Return a channel in plain words."""
    kind = channel_kind(channel)
    return kind.words if kind else channel.replace("_", " ")


def listed(headers: Sequence[Named]) -> str:
    """Return the columns found, as a line of details."""
    return "columns found: " + ", ".join(json.dumps(header.name, ensure_ascii=False)
                                         for header in headers)


def start(headers: Sequence[Named], found: Mapping[str, Known], missing: str) -> str:
    """Return the columns found and a columns file to start from, with `missing` left open."""
    there = set(found) | {missing}
    wanted: list[str] = []
    for sets in (CLOCKS, ALTITUDES, SPEEDS):
        sufficient = next((one for one in sets if one <= there), sets[0])
        wanted += [name for name in (*found, missing)
                   if name in sufficient and name not in wanted] or sorted(sufficient)
    wanted += [name for name in (*AIRSPEEDS, *TEMPERATURES) if name in found]
    if missing:
        wanted.append(missing)
    lines = [listed(headers), "a columns file to start from:", "[columns]"]
    for channel in dict.fromkeys(wanted):
        column = None if channel == missing else found.get(channel)
        name = json.dumps(column.name, ensure_ascii=False) if column else '"?"'
        kind = channel_kind(channel)
        unit = column.unit.name if column and column.unit else kind.unit.name if kind else ""
        stated = f', unit = "{unit}"' if unit and channel not in UNITLESS else ""
        sure = column is not None and (column.unit is not None or kind is None)
        check = "" if sure else "   # check"
        lines.append(f"{channel} = {{ column = {name}{stated} }}{check}")
    return "\n".join(lines)
