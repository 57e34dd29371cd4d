"""Columns over the rows of a log that are computed when they are first read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Columns = Mapping[str, NDArray[Any]]
Compute = Callable[[NDArray[np.intp] | None], Columns]


class RowColumns(Mapping[str, NDArray[Any]]):
    """Columns by name: some given, the others computed together when one of them is first read.

    Parameters
    ----------
    given : mapping of ndarray, each of shape (n,)
        The columns that are at hand.
    names : tuple of str
        The others' names.
    compute : callable
        Takes some rows, intp[m], or None for all; returns the others there. At some rows it returns
        what it returns for all at those rows, to the bit.
    """

    def __init__(self, given: Columns, names: tuple[str, ...], compute: Compute) -> None:
        self._given, self._names, self._compute = given, names, compute

    @cached_property
    def _computed(self) -> Columns:
        return self._compute(None)

    def __getitem__(self, name: str) -> NDArray[Any]:
        if name in self._given:
            return self._given[name]
        if name not in self._names:
            raise KeyError(name)
        return self._computed[name]

    def __contains__(self, name: object) -> bool:
        return name in self._given or name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter((*self._given, *self._names))

    def __len__(self) -> int:
        return len(self._given) + len(self._names)

    def beside(self, given: Columns) -> RowColumns:
        """Return these columns after others that are at hand."""
        return RowColumns({**given, **self._given}, self._names,
                          lambda rows: self._computed if rows is None else self._some(rows))

    def at(self, rows: NDArray[np.intp]) -> dict[str, NDArray[Any]]:
        """Return all columns at some rows, ndarray of shape (m,) each.

        What isn't computed yet is computed for these rows alone.
        """
        return {**{name: values[rows] for name, values in self._given.items()}, **self._some(rows)}

    def _some(self, rows: NDArray[np.intp]) -> Columns:
        if "_computed" in self.__dict__:
            return {name: values[rows] for name, values in self._computed.items()}
        return self._compute(rows)
