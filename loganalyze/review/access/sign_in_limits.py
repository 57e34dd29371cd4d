"""A limit to failed attempts to sign in: by name, and by where they come from."""

from __future__ import annotations

import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable

WINDOW_S = 15 * 60.0
"""Time in which failures count [s]."""
OF_ONE_NAME, OF_ONE_PLACE = 8, 40
"""Failures in that time after which a name, or an address, waits; engineering judgement: a person
who mistypes gets through, a guesser gets some thirty attempts an hour."""
MOST_KEPT = 50_000


class SignInLimits:
    """Counts failed attempts; safe to use from several threads.

    ``clock`` : gives a time [s] that only rises.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._failures: dict[tuple[str, str], deque[float]] = defaultdict(deque)

    def wait_s(self, person: str, place: str) -> float:
        """Return how long an attempt must still wait [s]; 0 where it may go on."""
        with self._lock:
            return max(self._wait(("name", person.casefold()), OF_ONE_NAME),
                       self._wait(("place", place), OF_ONE_PLACE))

    def failed(self, person: str, place: str) -> None:
        """Count a failure."""
        with self._lock:
            if len(self._failures) > MOST_KEPT:
                self._forget()
            now = self._clock()
            self._failures["name", person.casefold()].append(now)
            self._failures["place", place].append(now)

    def succeeded(self, person: str) -> None:
        """Forget the failures of a name."""
        with self._lock:
            self._failures.pop(("name", person.casefold()), None)

    def _wait(self, key: tuple[str, str], most: int) -> float:
        failures = self._failures.get(key)
        if failures is None:
            return 0.0
        oldest = self._clock() - WINDOW_S
        while failures and failures[0] <= oldest:
            failures.popleft()
        return failures[-most] - oldest if len(failures) >= most else 0.0

    def _forget(self) -> None:
        oldest = self._clock() - WINDOW_S
        for key in [key for key, failures in self._failures.items() if failures[-1] <= oldest]:
            del self._failures[key]
