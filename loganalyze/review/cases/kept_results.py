"""Results that are kept until what they were read from changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Result = TypeVar("Result")


class KeptResults(Generic[Result]):
    """The results asked for last; safe to use from several threads.

    Who changes what they are read from calls `forget` once the change can be read: what was begun
    before is then not kept.

    Parameters
    ----------
    most : int
        How many are kept at once.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, Result] = OrderedDict()
        self._changes = 0

    def get(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Return the result under a key, made where none is kept."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            changes = self._changes
        found = make()
        with self._lock:
            if changes == self._changes:
                self._kept[key] = found
                if len(self._kept) > self._most:
                    self._kept.popitem(last=False)
        return found

    def forget(self) -> None:
        """Keep nothing of what was read so far, nor of what is being read."""
        with self._lock:
            self._changes += 1
            self._kept.clear()
