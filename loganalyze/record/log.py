"""The flight log: what the recorder kept, in SI, with the record of how it was read."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.record.intervals import HELD_INTERVALS


@dataclass(frozen=True)
class Step:
    """A step's record: its name, its settings, and what it counted (no clock times)."""

    name: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    counts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Source:
    """Where a log came from: path, bytes and how the file was understood.

    ``dialect`` describes the file (format, delimiter, encoding, ...); ``inferred`` holds one
    plain sentence for everything that the file itself didn't state.
    """

    path: Path
    size: int = 0
    modified_ns: int = 0
    dialect: Mapping[str, Any] = field(default_factory=dict)
    inferred: tuple[str, ...] = ()

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes, read when first asked for.

        Raises Problem when the file has changed since it was read, or is gone.
        """
        try:
            state = self.path.stat()
        except OSError as error:
            raise Problem("the file is gone since it was read", str(self.path),
                          "put it back and run the command again") from error
        if (state.st_size, state.st_mtime_ns) != (self.size, self.modified_ns):
            raise Problem("the file changed while it was being analysed", str(self.path),
                          "run the command again once nothing writes to it")
        with self.path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()


@dataclass(frozen=True, eq=False)
class Channel:
    """One recorded channel.

    ``values`` : float64[m], in SI (discretes: 0 and 1, NaN where blank); NaN where missing.
    ``rows`` : int32[m], the log's rows at which it was recorded, or None for every row.
    ``interval_s`` : its own normal interval [s]; ``resolution`` : its quantum in SI, or NaN
    where not known; ``column`` and ``recorded_unit`` : as in the file; ``known_by`` : how the
    column and its unit were recognised, in plain words.
    """

    values: NDArray[np.float64]
    rows: NDArray[np.int32] | None = None
    interval_s: float = float("nan")
    resolution: float = float("nan")
    rounding: float = 0.0
    """Greatest relative error of the file's own number format (2**-24 for float32)."""
    column: str = ""
    recorded_unit: str = ""
    known_by: str = ""


@dataclass(frozen=True, eq=False)
class FlightLog:
    """A recorded stretch of time.

    ``time`` : float64[n] [s], elapsed since the file's first sample, rising.
    ``utc_start`` : numpy datetime64[ns] of ``time == 0``, or None where the log has no date.
    """

    time: NDArray[np.float64]
    channels: Mapping[str, Channel]
    source: Source
    utc_start: np.datetime64 | None = None
    interval_s: float = float("nan")
    steps: tuple[Step, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "channels", MappingProxyType(dict(self.channels)))

    def __len__(self) -> int:
        return len(self.time)

    def __contains__(self, name: object) -> bool:
        return name in self.channels

    def aligned(self, name: str) -> NDArray[np.float64]:
        """Return channel `name` at every row of the log, float64[n] in SI.

        A slow channel is held for 1.5 of its own intervals, and NaN beyond. Raises KeyError
        for a channel that the log doesn't hold.
        """
        channel = self.channels[name]
        if channel.rows is None:
            return channel.values
        latest = np.searchsorted(channel.rows, np.arange(len(self.time)), side="right") - 1
        held = np.full(len(self.time), np.nan)
        seen = latest >= 0
        rows = channel.rows[latest[seen]]
        age = self.time[seen] - self.time[rows]
        # A sample stands at its own row even where its channel has no interval.
        fresh = (age == 0) | (age < HELD_INTERVALS * channel.interval_s)
        held[np.flatnonzero(seen)[fresh]] = channel.values[latest[seen][fresh]]
        return held
