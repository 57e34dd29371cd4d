"""Which groups of flights may be shown, so that none speaks of too few, also by difference."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray


def shown_groups(names: Mapping[str, NDArray[Any]], least: int) -> dict[str, set[str]]:
    """Return the groups of each dimension that may be shown beside each other and the whole.

    A group of fewer than `least` flights isn't shown. Nor are groups from which one would follow:
    the next smallest of its dimension, while those left out are together fewer than `least`; and
    of groups that lie wholly in one of another dimension, the smallest two, while what is left of
    that one is fewer than `least`. Differences of more steps than these aren't sought.

    Parameters
    ----------
    names : mapping of str to ndarray of str
        By dimension the group of each flight, all of shape (n,).
    least : int
        The smallest number of flights.

    Returns
    -------
    dict
        By dimension.
    """
    sizes = {dimension: dict(zip(*(part.tolist() for part in np.unique(
        groups, return_counts=True)), strict=True)) for dimension, groups in names.items()}
    found = {dimension: _large(counts, least) for dimension, counts in sizes.items()}
    again = True
    while again:
        again = False
        for outer, inner in permutations(names, 2):
            for group in sorted(found[outer]):
                within = names[outer] == group
                wholly = [inner_group for inner_group in found[inner]
                          if not np.any((names[inner] == inner_group) & ~within)]
                rest = int(within.sum()) - sum(sizes[inner][inner_group] for inner_group in wholly)
                if wholly and 0 < rest < least:
                    _leave_out(_smallest(wholly, sizes[inner]), found[inner], sizes[inner])
                    again = True
    return found


def _large(sizes: Mapping[str, int], least: int) -> set[str]:
    """Return the groups of a dimension that aren't too small, nor follow from the others."""
    by_size = sorted(sizes, key=lambda one: (sizes[one], one))
    hidden = sum(sizes[group] < least for group in by_size)
    while hidden < len(by_size) and 0 < sum(sizes[group] for group in by_size[:hidden]) < least:
        hidden += 1
    return {*by_size[hidden:]}


def _leave_out(group: str, shown: set[str], sizes: Mapping[str, int]) -> None:
    """Leave a group out, and another where it would follow from the whole and the rest."""
    shown.discard(group)
    if len(shown) == len(sizes) - 1 and shown:
        shown.discard(_smallest(shown, sizes))


def _smallest(groups: Iterable[str], sizes: Mapping[str, int]) -> str:
    return min(groups, key=lambda one: (sizes[one], one))
