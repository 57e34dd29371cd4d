"""The share of damaged cells up to which they are faults and not the format of the export."""

from __future__ import annotations

SHARE = 0.02
"""Such a share of a column's cells, or of the lines: engineering judgement. With one cell in a
hundred damaged nearly the whole flight can still be judged, while a habit of an export shows in
more."""


def are_few(count: int, total: int) -> bool:
    """Whether the damaged ones are few enough to be left out."""
    return count <= SHARE * total
