"""Pieces of a CSV export that can't be parsed as they are, mended step by step."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from loganalyze.read.cells import is_value
from loganalyze.read.dialect import Dialect, split_line

STARTS = frozenset(bytes([code]) for code in b"0123456789+-.") | {b""}
"""How lines begin that need no second look, for speed."""


@dataclass(frozen=True)
class Mender:
    """Leaves out lines that hold no sample, and straightens ragged ones."""

    dialect: Dialect
    encoding: str

    def attempts(self, text: bytes) -> Iterator[tuple[bytes, int]]:
        """Yield the piece as it is, then mended more and more, with the lines left out."""
        mark = self.dialect.comment.encode()
        commented = bool(mark) and (text.startswith(mark) or b"\n" + mark in text)
        if not commented:
            yield text, 0
        delimiter = self.dialect.delimiter.encode()
        lines = text.split(b"\n")
        kept = [line for line in lines if line[:1] in STARTS or not self.no_sample(line)]
        left_out = len(lines) - len(kept)
        if kept and kept[-1] and kept[-1].count(delimiter) < len(self.dialect.names) - 1:
            kept[-1] = b""  # A last line without its end was cut off while it was written.
            left_out += 1
        mended = b"\n".join(kept)
        if left_out or commented:
            yield mended, left_out
        straight = [self._straight(line) for line in kept if not self.no_sample(line)]
        left_out += len(kept) - len(straight)
        mended = b"\n".join(straight)
        yield mended, left_out
        blank = b" " if delimiter == b"\t" else b"[ \t]"
        if re.search(blank, mended):
            mark = re.escape(delimiter)
            yield re.sub(blank + b"+(?=" + mark + rb"|\r?\n|$)|(?:(?<=" + mark + rb")|(?<=\n)|^)"
                         + blank + b"+", b"", mended), left_out

    def no_sample(self, line: bytes) -> bool:
        """Whether a line is blank, a comment, a name or a sentence, or the header come again."""
        dialect = self.dialect
        text = line.decode(self.encoding, "replace").rstrip("\r\x1a")
        if not text.strip(" \t\x0c" + dialect.delimiter):
            return bool(line)
        if dialect.comment and text.lstrip().startswith(dialect.comment):
            return True
        cells = tuple(cell.strip() for cell in split_line(text, dialect.delimiter))
        if cells in (dialect.names, tuple(cell.strip() for cell in dialect.units or ())):
            return True
        filled = [cell for cell in cells if cell]
        values = sum(map(is_value, filled))
        return not values if len(cells) == len(dialect.names) else 2 * values <= len(filled)

    def _straight(self, line: bytes) -> bytes:
        """Return a line with blank cells beyond the last column taken off.

        Where the export leaves out blank cells at the end of its lines, they are added.
        """
        delimiter = self.dialect.delimiter
        end = b"\r" if line.endswith(b"\r") else b""
        text = line.removesuffix(b"\r").decode(self.encoding, "surrogateescape")
        cells = len(split_line(text, delimiter))
        width = len(self.dialect.names)
        while cells > width and text.rstrip(" ").endswith(delimiter):
            text = text.rstrip(" ").removesuffix(delimiter)
            cells -= 1
        blank = text.rstrip(" ").endswith(delimiter)
        if cells < width and self.dialect.ragged and line.strip() and not blank:
            text += delimiter * (width - cells)
        return text.encode(self.encoding, "surrogateescape") + end
