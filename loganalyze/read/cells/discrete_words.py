"""Text in numbers: states of discretes (ON, DOWN, AIR), words of a lever, grouped digits."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.cells.cell_text import MISSING, Numerals

WORDS: dict[str, float] = {
    word.replace("_", " "): value
    for value, words in (
        (1.0, "1 on true yes y t down dn dwn ground gnd grnd grd on_ground on_gnd engaged engd "
              "eng active act warn warning alert alarm set locked dnlk downlocked down_locked "
              "dn_lkd extended ext extd wow cmd enabled armed_on overspeed"),
        (0.0, "0 off false no n f up air airborne in_air in_flight inflight flight disengaged "
              "diseng disengd not_engaged not_eng inactive not_active inact normal norm none "
              "clear no_warning no_warn not_on_ground retracted ret retr uplk uplocked up_locked "
              "up_lkd disabled not_set no_alert not_down not_dn"),
    )
    for word in words.split()
}
"""Words of exports for a state that is on (1) or off (0), in lower case."""


class UnknownStateError(Exception):
    """A word that isn't a known state."""

    def __init__(self, word: str) -> None:
        self.word = word
        super().__init__(word)


@dataclass(frozen=True)
class Meaning:
    """What the cells of a text column mean.

    ``values`` : words and codes, in lower case, as numbers; ``missing`` : cells that stand for no
    value, in lower case, besides the usual ones; ``numerals`` : how numbers are written, where
    numbers stand for themselves, else None.
    """

    values: Mapping[str, float] = field(default_factory=lambda: WORDS)
    missing: frozenset[str] = frozenset()
    numerals: Numerals | None = None

    def of(self, cell: str) -> float:
        """Return what a cell means, NaN for no value; raises UnknownStateError."""
        word = cell.strip(" \t\u00a0")
        key = " ".join(word.casefold().split())
        if key in self.values:
            return self.values[key]
        if word in MISSING or key in self.missing:
            return float("nan")
        if self.numerals is not None:
            value = self.numerals.value(word)
            if value == value:
                return value
        raise UnknownStateError(word)


def meaning(values: Mapping[str, float], missing: tuple[str | float, ...], discrete: bool,
            numerals: Numerals) -> Meaning:
    """Return what the cells of a column mean, from what the columns file says of it.

    Numbers stand for themselves where no number is among the `values`, but not in the states of
    a `discrete` channel, which are words, 0 and 1.
    """
    gone = frozenset(str(cell).strip().casefold() for cell in missing)
    coded = any(Numerals().is_number(word) for word in values)
    if discrete:
        return Meaning({**({} if coded else WORDS), **values}, gone)
    return Meaning(values, gone, None if coded else numerals)


def mapped(array: pa.Array, of: Callable[[str], float], encoding: str = "utf-8") -> pa.Array:
    """Return a text array as float64, each distinct cell through `of`; null becomes NaN.

    `encoding` : what the text's bytes are, UTF-8 or not. Raises what `of` raises.
    """
    coded = array if pa.types.is_dictionary(array.type) else array.dictionary_encode()
    words = coded.dictionary.cast(pa.binary()).to_pylist()
    table = np.array([*(of(word.decode(encoding, "replace")) for word in words), np.nan])
    codes = coded.indices.fill_null(len(table) - 1).to_numpy(zero_copy_only=False)
    return _floats(table[codes])


def recoded(array: pa.Array, values: Mapping[str, float]) -> pa.Array:
    """Return a numeric array with the codes in `values` replaced by what they mean, as float64.

    Raises UnknownStateError for a number that isn't among them.
    """
    raw, valid = numbers(array)
    wide = raw.astype(np.float64)
    found = np.full(len(wide), np.nan)
    known = np.isnan(wide) if valid is None else np.isnan(wide) | ~valid
    for word, value in values.items():
        code = Numerals().value(word)
        chosen = wide == code
        found[chosen & ~known] = value
        known |= chosen
    if not known.all():
        raise UnknownStateError(f"{wide[~known][0]:g}")
    return _floats(found)


def _floats(found: np.ndarray[tuple[int], np.dtype[np.float64]]) -> pa.Array:
    return pa.Array.from_buffers(pa.float64(), len(found), [None, pa.py_buffer(found)])
