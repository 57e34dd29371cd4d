"""The flight log: the recorded channels in SI, with a record of how they were read."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.record.channels import kind
from loganalyze.record.findings import Finding
from loganalyze.record.intervals import HELD_INTERVALS, breaks_of


@dataclass(frozen=True)
class Step:
    """Record of a reading step: its name, settings and counts (no clock times)."""

    name: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    counts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Source:
    """Origin of a log: its path, its size in bytes, and how the file was interpreted.

    ``dialect`` describes the file (format, delimiter, encoding, ...); ``inferred`` holds a
    finding for each property that the file doesn't state; ``files`` : the files of a recording
    that spans several, in order, where ``path`` is their folder or the first of them;
    ``columns`` : the columns file used; ``likely_rows`` : the estimated number of rows, 0 where
    unknown; ``flight_files`` : which of several files hold the rows of this log; ``data`` : the
    file that holds the bytes, where it isn't `path` (a copy of piped input); ``starter`` : where
    no column gives the pressure altitude, the columns found and a first columns file to edit;
    ``digest`` : the SHA-256 of bytes that aren't kept (of a data frame or stream).
    """

    path: Path
    size: int = 0
    modified_ns: int = 0
    dialect: Mapping[str, Any] = field(default_factory=dict)
    inferred: tuple[Finding, ...] = ()
    files: tuple[Source, ...] = ()
    columns: Path | None = None
    likely_rows: int = 0
    flight_files: tuple[Path, ...] = ()
    data: Path | None = None
    starter: str = ""
    digest: str = ""

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes, computed on first access.

        Of several files: the SHA-256 of their concatenated hexadecimal digests. Raises Problem
        when a file has changed since it was read, or no longer exists.
        """
        if self.digest:
            return self.digest
        if self.files:
            return hashlib.sha256("".join(file.sha256 for file in self.files).encode()).hexdigest()
        data = self.data or self.path
        try:
            state = data.stat()
        except OSError as error:
            raise Problem("the file no longer exists", str(self.path),
                          "put it back and run the command again") from error
        if (state.st_size, state.st_mtime_ns) != (self.size, self.modified_ns):
            raise Problem("the file changed while it was being analysed", str(self.path),
                          "run the command again once nothing writes to it")
        with data.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()


class FoundOnDemand:
    """A number of a dataclass, given as it is or by what finds it when it is first asked for."""

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = f"_{name}"

    def __get__(self, instance: Any, owner: type | None = None) -> float:
        if instance is None:
            return float("nan")  # the field's default
        held: float | Callable[[], float] = instance.__dict__[self._name]
        if callable(held):
            held = instance.__dict__[self._name] = held()
        return held

    def __set__(self, instance: Any, value: float | Callable[[], float]) -> None:
        instance.__dict__[self._name] = value


@dataclass(frozen=True, eq=False)
class Channel:
    """One recorded channel.

    ``values`` : float64[m], in SI (discretes: 0 and 1, NaN where blank); NaN where missing.
    ``rows`` : int32[m], the log's rows at which it was recorded, or None for every row.
    ``interval_s`` : its own normal interval [s]; ``skew_s`` [s] : delay of the sample
    after its row's stamp; ``lag_s`` [s] : delay of the sensor; ``resolution`` : quantization
    step in SI, NaN where unknown; ``column`` and ``recorded_unit`` : as in the file;
    ``known_by``, ``unit_by`` : how the column was recognised, and where its unit is from, as codes.
    """

    values: NDArray[np.float64]
    rows: NDArray[np.int32] | None = None
    interval_s: float = float("nan")
    resolution: float = cast(float, FoundOnDemand())
    rounding: float = 0.0
    """Greatest relative error of the file's own number format (2**-24 for float32)."""
    column: str = ""
    recorded_unit: str = ""
    known_by: str = ""
    unit_by: str = ""
    lag_s: float = 0.0
    skew_s: float = 0.0
    skew_known: bool = False
    """Whether lag and skew are stated; otherwise the skew is unknown within a row's interval."""
    held: bool = False
    """Whether the file repeats each value until the next one (the repeats aren't in ``values``)."""
    shifted: bool = False
    """Whether ``values`` were resampled to the rows' times to correct lag or skew."""


@dataclass(frozen=True, eq=False)
class FlightLog:
    """A recorded stretch of time.

    ``time`` : float64[n] [s], elapsed since the file's first sample, increasing.
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

    @cached_property
    def breaks(self) -> NDArray[np.intp]:
        """The rows after which the next one is more than 1.5 usual intervals away, intp[k].

        All but the last where the usual interval isn't known.
        """
        return breaks_of(self.time, self.interval_s if self.interval_s > 0 else 0.0)

    def aligned(self, name: str) -> NDArray[np.float64]:
        """Return channel `name` at every row of the log, float64[n] in SI.

        A slow channel that is smooth is interpolated between two of its samples that are less
        than 1.5 of its own intervals apart; any other is held, as is the last sample before a
        gap, for less than 1.5 of its own intervals. NaN beyond. Raises KeyError for a channel
        that the log doesn't hold.
        """
        channel = self.channels[name]
        if channel.rows is None:
            return channel.values
        known = kind(name)
        return aligned(self.time, self.time[channel.rows], channel.values, channel.interval_s,
                       known is not None and known.smooth)

    def recorded(self, name: str) -> NDArray[np.bool_]:
        """Return whether channel `name` was itself sampled at each row, bool[n].

        False where `aligned` holds or interpolates it. Raises KeyError for a channel that the
        log doesn't hold.
        """
        channel = self.channels[name]
        if channel.shifted:
            return np.zeros(len(self.time), dtype=bool)
        if channel.rows is None:
            return ~np.isnan(channel.values)
        own = np.zeros(len(self.time), dtype=bool)
        own[channel.rows] = ~np.isnan(channel.values)
        return own


def aligned(time: NDArray[np.float64], stamps: NDArray[np.float64], values: NDArray[np.float64],
            interval: float, smooth: bool, hold: bool = True) -> NDArray[np.float64]:
    """Resample to other times, never further than the samples' own interval.

    Parameters
    ----------
    time : float64[n]  [s]
        The times to resample to, increasing.
    stamps, values : float64[m]  [s], any unit
        The samples and their times, increasing.
    interval : float  [s]
        The samples' normal interval.
    smooth : bool
        Interpolate between two samples less than 1.5 intervals apart.
    hold : bool
        Hold a sample for less than 1.5 intervals where it isn't interpolated.

    Returns
    -------
    float64[n]
        NaN beyond, before the first sample, and where the latest sample is NaN.
    """
    latest = np.searchsorted(stamps, time, side="right") - 1
    resampled = np.full(len(time), np.nan)
    seen = np.flatnonzero(latest >= 0)
    before = latest[seen]
    age = time[seen] - stamps[before]
    longest = HELD_INTERVALS * interval
    # A sample is valid at its own time even where its channel has no interval.
    fresh = (age == 0) | (hold & (age < longest))
    resampled[seen[fresh]] = values[before[fresh]]
    if smooth and len(stamps) > 1:
        after = np.minimum(before + 1, len(stamps) - 1)
        span = stamps[after] - stamps[before]
        between = (age > 0) & (span > 0) & (span < longest) & ~np.isnan(values[after])
        seen, before, after = seen[between], before[between], after[between]
        part = age[between] / span[between]
        resampled[seen] = values[before] + part * (values[after] - values[before])
    return resampled
