"""Draws from a seed, the same in every version of Python."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import TypeVar

T = TypeVar("T")


class Draws:
    """Numbers and choices drawn from a seed and a word.

    Each part of a flight draws under a word of its own, so that a change of one part leaves the
    draws of the others as they were. Only `random.Random.random` is used: its sequence for a seed
    is promised to stay the same.
    """

    def __init__(self, seed: int, word: str) -> None:
        self._random = Random(f"{seed} {word}").random

    def chance(self, share: float) -> bool:
        """Return True in so many cases of one."""
        return self._random() < share

    def between(self, low: float, high: float) -> float:
        """Return a number between two."""
        return low + (high - low) * self._random()

    def whole(self, low: int, high: int) -> int:
        """Return a whole number from the lower to the higher, both included."""
        return low + int((high - low + 1) * self._random())

    def one_of(self, *choices: T) -> T:
        """Return one of the choices, each as likely as the others."""
        return choices[int(len(choices) * self._random())]

    def some_of(self, choices: Sequence[T], count: int) -> list[T]:
        """Return so many different ones of the choices, in their order, or all of them."""
        left = list(range(len(choices)))
        chosen = [left.pop(int(len(left) * self._random()))
                  for _ in range(min(count, len(choices)))]
        return [choices[at] for at in sorted(chosen)]
