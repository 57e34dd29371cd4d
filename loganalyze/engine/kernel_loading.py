"""The compiled kernels, loaded once there is so much to judge that they pay."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any

ENOUGH = 4_000_000
"""Samples judged in one process above which loading the compiler costs less than it saves."""


class _Count:
    judged = 0


def for_samples(samples: int, likely: int = 0) -> Any:
    """Return the compiled loops once so many samples are judged that they pay, else None.

    `likely` : so many are likely to be judged, with these and what comes after them.
    """
    _Count.judged += samples
    return load() if max(_Count.judged, likely) >= ENOUGH else None


@cache
def load() -> Any:
    """Return the compiled loops, or None where they can't be had."""
    # An import by name, since numba takes half a second to load and may not be installed.
    try:
        return import_module("loganalyze.engine.compiled_kernels")
    except (ImportError, RuntimeError):  # RuntimeError: nowhere to keep what was compiled
        return None
