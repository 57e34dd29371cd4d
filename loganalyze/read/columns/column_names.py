"""The meaning of a column's name alone: channel, unit, which of several sources."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from loganalyze.read.columns.channel_aliases import (
    AMBIGUOUS,
    MARKS,
    NAMED_UNITS,
    NEUTRAL,
    SPELLINGS,
    WORDS_OF_A_PAIR,
)
from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import find_unit


@dataclass(frozen=True)
class Reading:
    """What a name alone says.

    ``channel`` : empty for a name that may mean several, in ``doubtful``; ``unit`` : as written;
    ``unit_from`` : where it stands, in plain words; ``spelling`` : the key that was recognised;
    ``source`` : the number that marks one of several sources, 0 without a mark; ``word`` :
    "coarse" or "fine" for one word of a value in two.
    """

    channel: str
    unit: str
    unit_from: str
    spelling: str
    source: int = 0
    word: str = ""
    doubtful: tuple[str, ...] = ()


def _key(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "", name.casefold())


_BY_KEY = {_key(word): channel for channel, words in SPELLINGS.items() for word in words.split(",")}
_DOUBTFUL = {_key(word): channels for words, channels in AMBIGUOUS.items()
             for word in words.split(",")}
_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_SPLIT = re.compile(r"[\s_.:\-,;]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_TRAILING_DIGIT = re.compile(r"(.*[a-z])([1-4])$", re.IGNORECASE)


@lru_cache(maxsize=4096)
def read_name(name: str) -> Reading | None:
    """Return the meaning of a column's name, or None for an unknown name."""
    inside = [part.strip() for part in _BRACKETS.findall(name)]
    units = units_in(name)
    if units:
        return _read_words(_BRACKETS.sub(
            lambda pair: " " if pair[1].strip() in units else f" {pair[1]} ", name), units[-1])
    whole = _read_words(_BRACKETS.sub(r" \1 ", name), "")
    if whole is not None or not inside:
        return whole
    # The last pair may hold a unit that isn't known: better said than passed over.
    last = name.rindex(inside[-1])
    return _read_words(_BRACKETS.sub(r" \1 ", name[:last - 1]) + " "
                       + name[last + len(inside[-1]) + 1 :], inside[-1])


def units_in(name: str) -> list[str]:
    """Return the units that stand in brackets in a column's name, whatever the rest of it says."""
    return [part.strip() for part in _BRACKETS.findall(name)
            if find_unit(part.strip()) is not None and not part.strip().isdigit()]


def _read_words(text: str, unit: str) -> Reading | None:
    words = [word for word in _SPLIT.split(_CAMEL.sub(" ", text.strip())) if word]
    unit_from = "the brackets in its name" if unit else ""
    source, pair = 0, ""
    while words:
        key = _key("".join(words))
        if (key in _BY_KEY or key in _DOUBTFUL) and _key(words[-1]):
            if _of_a_quantity(_BY_KEY.get(key, ""), unit):
                return None
            if not unit and key in NAMED_UNITS:
                unit, unit_from = NAMED_UNITS[key], "its name"
            return Reading(_BY_KEY.get(key, ""), unit, unit_from, key, source, pair,
                           _DOUBTFUL.get(key, ()))
        glued = _TRAILING_DIGIT.match(words[-1])
        if glued and not source and len(glued[1]) > 1 and glued[2] in MARKS:
            source, words = MARKS[glued[2]], [*words[:-1], glued[1]]
            continue
        if len(words) == 1:
            return None
        last, first = words[-1].casefold(), words[0].casefold()
        taken = 0 if unit else _unit_words(words)
        if last in MARKS and not (taken and find_unit(last)) and not source:
            source, words = MARKS[last], words[:-1]
        elif last in WORDS_OF_A_PAIR and not pair:
            pair, words = WORDS_OF_A_PAIR[last], words[:-1]
        elif last in NEUTRAL:
            words = words[:-1]
        elif taken:
            unit, unit_from = _joined_unit(words[-taken:], text), "the end of its name"
            words = words[:-taken]
        elif first in MARKS and not source:
            source, words = MARKS[first], words[1:]
        elif first in NEUTRAL:
            words = words[1:]
        else:
            return None
    return None


def _of_a_quantity(channel: str, unit: str) -> bool:
    """Whether a name such as IAS STATUS speaks of a quantity, but holds a state."""
    found = find_unit(unit) if unit else None
    kind = CHANNELS.get(channel)
    return (found is not None and found.dimension == "discrete" and kind is not None
            and not kind.discrete)


def _joined_unit(words: Sequence[str], text: str) -> str:
    """Return the unit that `words` make, as written at the end of `text` if it stands there."""
    known = [joined for joined in ("".join(words), " ".join(words), "/".join(words))
             if find_unit(joined) is not None]
    return next((joined for joined in known if text.endswith(joined)), known[-1] if known else "")


def _unit_words(words: Sequence[str]) -> int:
    for count in (2, 1):
        if len(words) > count and not words[-1].isdigit() and _joined_unit(words[-count:], ""):
            return count
    return 0
