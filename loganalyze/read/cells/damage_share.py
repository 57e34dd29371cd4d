"""How many of a log's cells may be damaged before they are taken for a habit of the export."""

from __future__ import annotations

SHARE = 0.02
"""Such a share of a column's cells, or of the lines: engineering judgement. With one cell in a
hundred damaged nearly the whole flight can still be judged, while a habit of an export shows in
more."""


def are_few(count: int, total: int) -> bool:
    """Whether so many damaged ones of all are few enough to go without them."""
    return count <= SHARE * total
