"""Loading of the compiled kernels, for recordings long enough to repay their time and memory."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any

ENOUGH = 4_000_000
"""Samples of one recording above which loading the kernels costs less time than it saves.

Shorter recordings never load them, however many a process judges: of all that a flight costs they
save some 3 %, and they take 140 MB, nearly half of what a worker may hold.
"""


def for_samples(samples: int, likely: int = 0) -> Any:
    """Return the module of compiled kernels if its use saves time, else None.

    `samples` : number of samples to evaluate in one call; `likely` : expected number of samples of
    the whole recording.
    """
    return load() if max(samples, likely) >= ENOUGH else None


@cache
def load() -> Any:
    """Return the module of compiled kernels, or None where numba is missing or can't work."""
    # Imported by name: numba takes half a second to load and may not be installed.
    try:
        return import_module("loganalyze.engine.compiled_kernels")
    except (ImportError, RuntimeError):  # RuntimeError: no writable folder for numba's cache
        return None
