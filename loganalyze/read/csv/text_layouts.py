"""Tables whose cells are held apart by blanks alone, and those of a fixed width."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from loganalyze.read.cells.cell_text import is_value
from loganalyze.read.cells.damage_share import SHARE, are_few
from loganalyze.read.csv.text_grid import Grid

LEAST_ROWS = 2
_TOKEN = re.compile(r"\S+")
_GAP = re.compile(r"\t| {2,}")
_DELIMITED = re.compile(r"[;|]|,$|^,")
_RULE = re.compile(r"[\W_]*")


@dataclass(frozen=True)
class Layout:
    """How blanks hold cells apart.

    ``width`` : the cells of a row; ``wide`` : whether it takes two blanks, since one may stand
    within a cell; ``spans`` : the first place of each column and the one after its last, where
    blank cells leave only the places to tell the columns apart.
    """

    width: int
    wide: bool = False
    spans: tuple[tuple[int, int], ...] = field(default=())

    def spread(self, text: str) -> str:
        """Return a line with a tab between its cells.

        A line that doesn't fit the columns keeps its blanks, and so has too few cells.
        """
        if self.spans:
            return self._placed(text.replace("\t", " "))
        stripped = text.strip()
        if not stripped:
            return ""
        wide = _GAP.split(stripped)
        wide = [cell.strip() for cell in wide if cell.strip()]
        if self.wide or (len(wide) == self.width and not is_value(wide[0])):
            return "\t".join(wide)
        return "\t".join(stripped.split())

    def spread_lines(self, text: bytes, encoding: str) -> bytes:
        """Return the lines of a batch spread, each on its own line as before."""
        lines = text.decode(encoding, "surrogateescape").split("\n")
        return "\n".join(map(self.spread, lines)).encode(encoding, "surrogateescape")

    def fits(self, grid: Grid) -> bool:
        """Whether the rows have all cells but for a few; the last line may break off."""
        rows = [i for i in grid.valued if i < len(grid.rows) - 1]
        broken = sum(len(grid.rows[i]) != grid.width for i in rows)
        return len(rows) >= LEAST_ROWS and grid.width > 1 and are_few(broken, len(rows))

    def _placed(self, text: str) -> str:
        cells = [""] * len(self.spans)
        stripped = text.strip()
        if not stripped:
            return ""
        tokens = [(found.start(), found.end(), found[0]) for found in _TOKEN.finditer(text)]
        names = not is_value(tokens[0][2])
        if names and not _RULE.fullmatch(stripped):
            wide = _GAP.split(stripped)
            if len(wide) == len(self.spans):
                return "\t".join(cell.strip() for cell in wide)
            aligned = self._aligned(tokens)
            if aligned:
                return "\t".join(aligned)
        for start, end, token in tokens:
            own = [i for i, (first, last) in enumerate(self.spans) if start < last and end > first]
            if len(own) != 1 or (cells[own[0]] and not names):
                return stripped
            cells[own[0]] = f"{cells[own[0]]} {token}".strip()
        return "\t".join(cells)

    def _aligned(self, tokens: Sequence[tuple[int, int, str]]) -> list[str]:
        """Return the names that stand flush with their columns, all left or all right, or none.

        A name may be wider than the values below it, and blanks may stand within it. `tokens` :
        the place, the one after the last, and the text of each word.
        """
        for side in (0, 1):
            edges = [span[side] for span in self.spans]
            cells: list[list[tuple[int, int, str]]] = [[] for _ in edges]
            for token in tokens:
                own = [i for i, edge in enumerate(edges)
                       if (edge <= token[0] if side == 0 else edge >= token[1])]
                if not own:
                    break
                cells[own[-1] if side == 0 else own[0]].append(token)
            if all(cell and (cell[0][0] if side == 0 else cell[-1][1]) == edge
                   for cell, edge in zip(cells, edges, strict=True)):
                return [" ".join(word for _, _, word in cell) for cell in cells]
        return []


def layouts(texts: Sequence[str], comment: str) -> Iterator[Layout]:
    """Yield the ways in which blanks may hold the cells of these lines apart, the likeliest first.

    The first lines may be prose, and name the columns.
    """
    kept = [text for text in texts if text.strip() and not (
        comment and text.lstrip().startswith(comment))]
    rows = [text for text in kept if _reads_as_row(text.split())]
    if len(rows) < LEAST_ROWS:
        return
    widths = [len(text.split()) for text in rows]
    yield Layout(max(set(widths), key=widths.count))
    yield Layout(0, wide=True)
    plain = [text.replace("\t", " ").rstrip() for text in rows]
    for fewest in dict.fromkeys((1, int(SHARE * len(rows)) + 1)):
        spans = _spans(plain, fewest)
        placed = Layout(len(spans), spans=spans)
        unfit = sum("\t" not in placed.spread(text) for text in rows[:-1])
        if len(spans) > 1 and are_few(unfit, len(rows)):
            yield placed
            return


def _reads_as_row(cells: Sequence[str]) -> bool:
    return (len(cells) > 1 and is_value(cells[0]) and 2 * sum(map(is_value, cells)) > len(cells)
            and not any(_DELIMITED.search(cell) for cell in cells))


def _spans(rows: Sequence[str], fewest: int) -> tuple[tuple[int, int], ...]:
    """Return the places that hold something in so many rows, as columns."""
    places = [sum(place < len(row) and row[place] != " " for row in rows) >= fewest
              for place in range(max(map(len, rows)))]
    edges = [place for place in range(len(places) + 1)
             if (place < len(places) and places[place]) != (place > 0 and places[place - 1])]
    return tuple(zip(edges[::2], edges[1::2], strict=True))
