"""Text states of discretes (ON, DOWN, AIR) as ones and zeros."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

WORDS: dict[str, float] = {
    word: value
    for value, words in (
        (1.0, "1 on true yes y t down dn ground gnd engaged active warn warning set locked closed"),
        (0.0, "0 off false no n f up air flight disengaged inactive normal norm none clear open"),
    )
    for word in words.split()
}
"""What exports write for a state that is there (1) or not (0)."""


class UnknownStateError(Exception):
    """A word that is no known state."""

    def __init__(self, word: str) -> None:
        self.word = word
        super().__init__(word)


def states(array: pa.Array) -> pa.Array:
    """Return the states of a text array as float64, null where it is null.

    Raises UnknownStateError for a word that isn't known.
    """
    coded = array if pa.types.is_dictionary(array.type) else array.dictionary_encode()
    values = []
    for word in coded.dictionary.to_pylist():
        value = WORDS.get(str(word).strip().casefold())
        if value is None:
            raise UnknownStateError(str(word))
        values.append(value)
    table = np.array([*values, np.nan])
    codes = coded.indices.fill_null(len(values)).to_numpy(zero_copy_only=False)
    found = table[codes]
    return pa.Array.from_buffers(pa.float64(), len(found), [None, pa.py_buffer(found)])
