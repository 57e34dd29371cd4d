"""Reading a batch of an export in which a few cells or lines are damaged.

A cell that can't be read as what its column holds counts as missing, and a line with too few or
too many cells is left out: what was there is unknown then, and is said to be. That holds for a
few that stand alone. More of them, or the same word in two rows in sequence, are no damage but a
habit of the export, which only its user can explain.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.cells.damage_share import are_few
from loganalyze.read.cells.discrete_words import UnknownStateError
from loganalyze.read.clocks.timestamps import BadStampError
from loganalyze.read.csv.text_grid import split_line
from loganalyze.record.findings import Finding

MOST_STAMPS = 64
"""Stamps of one batch that may be unreadable; each takes another pass."""
BROKEN_LINES = "damaged lines"


def whole_lines(text: bytes, delimiter: str, width: int, encoding: str) -> tuple[bytes, int] | None:
    """Return the lines with `width` cells, and the number of the others; None for too many."""
    mark = delimiter.encode()
    lines = [line for line in text.split(b"\n") if line.rstrip(b"\r")]
    whole = [line for line in lines if b"\r" not in line.rstrip(b"\r") and (
        line.count(mark) + 1 == width if b'"' not in line else not line.count(b'"') % 2
        and len(split_line(line.decode(encoding, "replace").rstrip("\r"), delimiter)) == width)]
    broken = len(lines) - len(whole)
    return (b"\n".join(whole) + b"\n", broken) if are_few(broken, len(lines)) else None


def readable(array: pa.Array, of: Callable[[str], float],
             encoding: str) -> tuple[pa.Array, int] | None:
    """Return text as float64, and how many cells couldn't be read, which are NaN.

    `of` gives what a cell means, and raises UnknownStateError for one that can't be read. None
    where these are too many, or one stands in two rows in sequence.
    """
    coded = array.dictionary_encode()
    values, unknown = [], []
    for word in coded.dictionary.cast(pa.binary()).to_pylist():
        try:
            values.append(of(word.decode(encoding, "replace")))
            unknown.append(False)
        except UnknownStateError:
            values.append(np.nan)
            unknown.append(True)
    codes = coded.indices.fill_null(len(values)).to_numpy(zero_copy_only=False)
    there = codes[codes < len(values)]
    bad = np.array([*unknown, False])[there]
    if not are_few(int(bad.sum()), len(there)) or (bad[1:] & (there[1:] == there[:-1])).any():
        return None
    found = np.array([*values, np.nan])[codes]
    return pa.Array.from_buffers(pa.float64(), len(found), [None, pa.py_buffer(found)]), int(
        bad.sum())


def whole_numbers(array: pa.Array) -> pa.Array:
    """Return text as int64, null where it holds none."""
    return pc.if_else(pc.match_substring_regex(array, r"^\s*[+-]?[0-9]{1,18}\s*$"), array,
                      pa.scalar(None, pa.string())).cast(pa.int64())


def without_stamp(array: pa.Array, bad: BadStampError) -> pa.Array | None:
    """Return the array with nothing at the row of a stamp that can't be read; None if astray."""
    if not 0 <= bad.row < len(array) or not _is_cell(array, bad):
        return None
    rows = np.zeros(len(array), dtype=bool)
    rows[bad.row] = True
    return pc.if_else(pa.array(rows), pa.scalar(None, array.type), array)


def is_on_or_off(array: pa.Array) -> bool:
    """Whether all numbers that are there are 0 or 1."""
    values, valid = numbers(array)
    good = (values == 0) | (values == 1) | (values != values)
    return bool((good if valid is None else good | ~valid).all())


def unreadable_of(name: str) -> str:
    """Return the name under which the damaged cells of a column are counted."""
    return f'damaged cells in "{name}"'


def damage_findings(counted: Counter[str]) -> list[Finding]:
    """Return a finding for each column with damaged cells, and one for damaged lines."""
    found = []
    for key, count in sorted(counted.items()):
        if key.startswith("damaged cells in "):
            column = key.removeprefix("damaged cells in ")[1:-1]
            found.append(Finding("damaged_cells", {"column": column, "count": count}))
    if count := counted[BROKEN_LINES]:
        found.append(Finding("damaged_lines", {"count": count}))
    return found


def _is_cell(array: pa.Array, bad: BadStampError) -> bool:
    if pa.types.is_string(array.type):
        word = array.slice(bad.row, 1).cast(pa.binary())[0].as_py() or b""
        cell = word.decode("latin-1").strip()
        return bool(cell == bad.cell.strip())
    value = numbers(array.slice(bad.row, 1))[0][0]
    try:
        return bool(np.isclose(float(value), float(bad.cell), rtol=1e-9, atol=0))
    except ValueError:
        return False
