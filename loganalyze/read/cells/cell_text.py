"""The content of one cell of an export: a number, a word for a missing value, a time, or a name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from loganalyze.record.units import find_unit

_WORDS = (
    "NA", "N/A", "#N/A", "NaN", "-NaN", "null", "None", "NIL", "NCD", "INOP", "INVALID", "INV",
    "FAIL", "FAILED", "FAILURE", "FAULT", "FLT", "BAD", "BAD DATA", "missing", "NO DATA", "NODATA",
    "NO_DATA", "no value", "XXX", "XXXX", "XXXXX", "UNKNOWN", "UNK", "not available", "N.A.",
    "not computed", "no computed data", "not valid", "out of range", "OOR", "FW", "F/W", "ERR",
    "ERROR", "#VALUE!", "#REF!", "#DIV/0!", "#NUM!", "#NAME?", "NOT RECORDED", "SYNC LOSS",
    "LOST SYNC", "NO SYNC", "SYNC",
)
MISSING = frozenset((
    "", ".", "?", "??", "???", "*", "**", "***", "****", "*****", "******", "-", "--", "---",
    "----", "-----", "------", "-.-", "--.-", "---.-", "----.-", "#", "##", "###", "####",
    "#####", "######",
    *(form for word in _WORDS for form in (word, word.upper(), word.lower(), word.title())),
))
"""Words that exports write for missing values (failed, not computed, not recorded)."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA_NUMBER = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
_WHOLE = re.compile(r"[+-]?\d+([eE][+-]?\d+)?")
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+")
_GROUPED_BY_POINTS = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+")
_MIXED = re.compile("[+-]?\\d{1,3}(([.' \u00a0\u202f]\\d{3})+,\\d*|(,\\d{3})+\\.\\d*|"
                    "(['\u00a0\u202f ]\\d{3})+(\\.\\d*)?)")
_STAMP = re.compile(r"[\dT:\-/., +Z]*\d[:T/-]\d[\dT:\-/., +Z]*( ?(UTC|GMT|[AaPp][Mm]))?"
                    r"|\d\d?[- /.]?[A-Za-z]{3,9}[- /.,]*\d{2,4}([T ,]+\d\d?:\d\d[\d:.,]*Z?)?"
                    r"|\d\d?[./]\d\d?[./]\d{2,4}")
_WITH_UNIT = re.compile(r"([+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*"
                        r"([A-Za-z\u00b0\u00b5\u03bc%][^\d,;|]*\d?)")
_DIGITS = frozenset("0123456789")
_ZEROS = str.maketrans("123456789", "000000000")
_ANY_DIGIT = re.compile(r"\d")
_BLANKS = "[ \u00a0\u202f]"
MARKS = {"comma": ",", "point": ".", "blank": " ", "apostrophe": "'"}
"""The marks that group digits, by their names in a columns file."""


def shape(cell: str) -> str:
    """Return a cell with 0 for each digit: what a recorder writes alike has one shape."""
    return cell.translate(_ZEROS) if cell.isascii() else _ANY_DIGIT.sub("0", cell)


@lru_cache(maxsize=8)
def shapes(cells: tuple[str, ...]) -> tuple[str, ...]:
    """Return the shape of each cell without the blanks around it.

    Kept, for the first cells of a log's clock are asked for their shapes again and again.
    """
    return tuple(shape(cell.strip()) for cell in cells)


@dataclass(frozen=True)
class Numerals:
    """How numbers are written: ``decimal`` mark, and what groups digits by three ("" : nothing)."""

    decimal: str = "."
    thousands: str = ""

    @property
    def _grouping(self) -> str:
        """The mark as a regular expression."""
        return _BLANKS if self.thousands == " " else re.escape(self.thousands)

    @property
    def _grouped(self) -> str:
        mark, decimal = self._grouping, re.escape(self.decimal)
        return rf"[+-]?(\d{{1,3}}({mark}\d{{3}})*|\d+)({decimal}\d*)?([eE][+-]?\d+)?"

    def is_number(self, cell: str) -> bool:
        """Whether `cell` is a number written so."""
        if self.thousands:
            return bool(re.fullmatch(self._grouped, cell)) or self._plain(cell)
        return self._plain(cell)

    def _plain(self, cell: str) -> bool:
        if self.decimal != ",":
            return bool(_NUMBER.fullmatch(cell))
        return bool(_COMMA_NUMBER.fullmatch(cell) or _WHOLE.fullmatch(cell))

    def value(self, cell: str) -> float:
        """Return the number that `cell` holds, NaN where it holds none."""
        if not self.is_number(cell):
            return float("nan")
        plain = re.sub(self._grouping, "", cell) if self.thousands else cell
        return float(plain.replace(self.decimal, "."))


@lru_cache(1 << 16)
def is_value(cell: str) -> bool:
    """Whether `cell` reads as a number, a missing word or a time stamp rather than a name."""
    cell = cell.strip()
    return bool(cell in MISSING or _NUMBER.fullmatch(cell) or _COMMA_NUMBER.fullmatch(cell)
                or _GROUPED.fullmatch(cell) or _MIXED.fullmatch(cell) or _STAMP.fullmatch(cell))


def has_digit(cell: str) -> bool:
    """Whether a digit stands in `cell`."""
    return not _DIGITS.isdisjoint(cell)


@lru_cache(1 << 16)
def number_and_unit(cell: str) -> tuple[str, str] | None:
    """Return the number and the unit that `cell` holds, such as "8000 ft", or None."""
    found = _WITH_UNIT.fullmatch(cell)
    if found is None or find_unit(found[2]) is None or not (
            may_be_number(found[1]) or _GROUPED.fullmatch(found[1])):
        return None
    return found[1], found[2].strip()


def may_be_number(cell: str) -> bool:
    """Whether `cell` reads as a number with a decimal point or comma."""
    return bool(_NUMBER.fullmatch(cell) or _COMMA_NUMBER.fullmatch(cell))


def is_mixed(cell: str) -> bool:
    """Whether `cell` holds a thousands separator without doubt: blanks, or beside a decimal."""
    return bool(_MIXED.fullmatch(cell))


def is_grouped(cell: str) -> bool:
    """Whether `cell` may hold thousands separated by commas."""
    return bool(_GROUPED.fullmatch(cell))


def is_grouped_by_points(cell: str) -> bool:
    """Whether `cell` may hold thousands separated by points."""
    return bool(_GROUPED_BY_POINTS.fullmatch(cell))


def has_point(cell: str) -> bool:
    """Whether `cell` is a number with a decimal point."""
    return "." in cell and bool(_NUMBER.fullmatch(cell))


def has_comma(cell: str) -> bool:
    """Whether `cell` is a number with a decimal comma, or one with thousands."""
    return bool(_COMMA_NUMBER.fullmatch(cell) or _GROUPED.fullmatch(cell))
