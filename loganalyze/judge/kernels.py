"""The compiled kernels, loaded once there is so much to judge that they pay."""

from __future__ import annotations

import ctypes
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

ENOUGH = 4_000_000
"""Samples judged in one process above which loading the compiler costs less than it saves."""

_DONTNEED = 4
"""The advice MADV_DONTNEED of Linux."""


class _Count:
    judged = 0


def for_samples(samples: int) -> Any:
    """Return the compiled loops once so many samples were judged that they pay, else None."""
    _Count.judged += samples
    return load() if _Count.judged >= ENOUGH else None


@cache
def load() -> Any:
    """Return the compiled loops, or None where they can't be had."""
    # An import by name, since numba takes half a second to load and may not be installed.
    try:
        compiled = import_module("loganalyze.judge.compiled")
    except (ImportError, RuntimeError):  # RuntimeError: nowhere to keep what was compiled
        return None
    _let_go("libllvmlite")
    return compiled


def _let_go(library: str) -> None:
    """Let go of a library's pages in memory, which come back from its file once they're used.

    The compiler isn't used again once the loops are loaded, but takes as much memory as a
    million samples do. Only Linux tells where a library lies; elsewhere nothing is done.
    """
    try:
        maps = Path("/proc/self/maps").read_text(encoding="utf-8", errors="replace")
        advise = ctypes.CDLL(None).madvise
    except (OSError, AttributeError, TypeError):
        return
    for line in maps.splitlines():
        where, rights, rest = line.split(maxsplit=2)
        if library in rest and rights == "r-xp":  # Code, which nobody can have written to.
            start, stop = (int(edge, 16) for edge in where.split("-"))
            advise(ctypes.c_void_p(start), ctypes.c_size_t(stop - start), _DONTNEED)
