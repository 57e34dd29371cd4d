"""The compiled kernels, loaded once there is so much to judge that they pay."""

from __future__ import annotations

import ctypes
import re
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

ENOUGH = 4_000_000
"""Samples judged in one process above which loading the compiler costs less than it saves."""

_DONTNEED = 4
"""The advice MADV_DONTNEED of Linux."""
_MAPPING = re.compile(r"^(?P<start>[0-9a-f]+)-(?P<stop>[0-9a-f]+) r-[x-]p \S+ \S+ \S+ +/.*\n"
                      r"(?:(?!Anonymous:)\w+: .*\n)*Anonymous: +(?P<changed>\d+) kB$", re.MULTILINE)
"""What Linux tells of a mapping of a file that can't be written to now: its place, and how much
of it was changed before, which the file doesn't hold."""


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
        compiled = import_module("loganalyze.judge.compiled")
    except (ImportError, RuntimeError):  # RuntimeError: nowhere to keep what was compiled
        return None
    _let_go()
    return compiled


def _let_go() -> None:
    """Let go of the libraries' pages in memory, which come back from their files once used.

    Most were needed to start and to load the loops, and won't be again, but they take as much
    memory as half a million samples do. Only Linux tells where they lie; elsewhere nothing is
    done.
    """
    try:
        maps = Path("/proc/self/smaps").read_text(encoding="utf-8", errors="replace")
        advise = ctypes.CDLL(None).madvise
    except (OSError, AttributeError, TypeError):
        return
    for found in _MAPPING.finditer(maps):
        if found["changed"] == "0":
            start, stop = int(found["start"], 16), int(found["stop"], 16)
            advise(ctypes.c_void_p(start), ctypes.c_size_t(stop - start), _DONTNEED)
