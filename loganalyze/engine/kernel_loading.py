"""Loading of the compiled kernels, once there are enough samples to repay the loading time."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any

ENOUGH = 4_000_000
"""Samples evaluated in one process above which loading the kernels costs less than it saves."""


class _Count:
    judged = 0


def for_samples(samples: int, likely: int = 0) -> Any:
    """Return the module of compiled kernels if its use saves time, else None.

    `samples` : number of samples to evaluate now, added to those evaluated before in the process;
    `likely` : expected number of samples of the whole recording.
    """
    _Count.judged += samples
    return load() if max(_Count.judged, likely) >= ENOUGH else None


@cache
def load() -> Any:
    """Return the module of compiled kernels, or None where numba is missing or can't work."""
    # Imported by name: numba takes half a second to load and may not be installed.
    try:
        return import_module("loganalyze.engine.compiled_kernels")
    except (ImportError, RuntimeError):  # RuntimeError: no writable folder for numba's cache
        return None
