"""For tests and extensions: logs, limits sheets, flights of known truth, and both engines.

Everything here goes through the public names; a test that is built on it doesn't break when the
insides change.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.engine import block_evaluation, kernel_loading
from loganalyze.events.analysis import Analysis
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import Channel, FlightLog, Source
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.simulate import Recorder, Segment, Truth, Weather, fly

__all__ = ["assert_same", "engine", "make_flight", "make_log", "make_sheet"]

Engine = Literal["arrays", "compiled"]


def make_log(
    time: ArrayLike, interval_s: float | None = None, **channels: ArrayLike | Channel
) -> FlightLog:
    """Make a log from arrays in the trade's units.

    Parameters
    ----------
    time : array_like, shape (n,)
        Seconds from the first sample, rising.
    interval_s : float, optional
        The normal interval [s]; by default the median of the differences, NaN for one sample.
    **channels : array_like, shape (n,) or scalar, or Channel
        By name (``calibrated_airspeed``, ``pressure_altitude``, ``flap`` ...), in the edge unit of
        the channel: kt, ft, degC, deg; NaN where nothing was recorded. A `Channel` is kept as it
        is, in SI.

    Returns
    -------
    FlightLog
        Named ``made.csv``.

    Examples
    --------
    >>> log = make_log(range(3), calibrated_airspeed=[240, 251, 249], pressure_altitude=9000)
    >>> log.channels["calibrated_airspeed"].values.round(2).tolist()
    [123.47, 129.13, 128.1]
    """
    stamps = np.asarray(time, dtype=np.float64)
    kept = {}
    for name, values in channels.items():
        if not isinstance(values, Channel):
            known = kind(name)
            unit = known.unit if known else None
            numbers = np.broadcast_to(np.asarray(values, dtype=np.float64), stamps.shape)
            if unit:
                numbers = numbers * unit.factor + unit.offset
            values = Channel(np.array(numbers), column=name.upper())
        kept[name] = values
    if interval_s is None:
        interval_s = float(np.median(np.diff(stamps))) if len(stamps) > 1 else float("nan")
    return FlightLog(stamps, kept, Source(Path("made.csv")), interval_s=interval_s)


def make_sheet(
    *limits: Mapping[str, Any], recorded: str = "calibrated",
    ceilings: Sequence[Mapping[str, Any]] = (),
    temperature: Mapping[str, Any] | None = None, **airspeed: Any,
) -> LimitsSheet:
    """Make a limits sheet of an invented aircraft.

    Parameters
    ----------
    *limits : mapping
        The ``[[limit]]`` tables, as a file states them.
    ceilings : sequence of mapping
        The ``[[ceiling]]`` tables.
    recorded : str
        Which airspeed the log records: "calibrated" or "indicated".
    temperature, **airspeed
        What else the tables ``[temperature]`` and ``[airspeed]`` state.

    Returns
    -------
    LimitsSheet

    Raises
    ------
    pydantic.ValidationError
        For tables that no file may state.

    Examples
    --------
    >>> sheet = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
    >>> [limit.name for limit in sheet.limit]
    ['VMO']
    """
    stated: dict[str, Any] = {
        "aircraft": "an invented twin",
        "airspeed": {"recorded": recorded, **airspeed},
        "limit": list(limits),
        "ceiling": list(ceilings),
    }
    if temperature is not None:
        stated["temperature"] = temperature
    return LimitsSheet.model_validate(stated)


def make_flight(
    *segments: Segment, start_altitude_ft: float, start_cas_kt: float = 0.0,
    weather: Weather | None = None, recorder: Recorder | None = None, seed: int = 0,
) -> tuple[FlightLog, Truth]:
    """Make the log of a flight whose truth is known.

    Parameters
    ----------
    *segments : loganalyze.simulate.Segment
        What is flown, one after the other.
    start_altitude_ft, start_cas_kt : float
        Pressure altitude [ft] and calibrated airspeed [kt] at the start.
    weather : loganalyze.simulate.Weather, optional
        Temperature and gusts; by default the standard atmosphere, calm.
    recorder : loganalyze.simulate.Recorder, optional
        Rate, steps, noise and gaps; by default exact, at 4 Hz.
    seed : int
        Of gusts and noise; the same seed gives the same log.

    Returns
    -------
    log : FlightLog
        With calibrated airspeed, pressure altitude, outside air temperature, flap and gear.
    truth : loganalyze.simulate.Truth
        What the air did; ``truth.over(cas_kt=250)`` says exactly when a limit was exceeded.

    Examples
    --------
    >>> from loganalyze import analyze
    >>> from loganalyze.simulate import Segment
    >>> log, truth = make_flight(Segment(60, 0, 240), Segment(60, -1500, 262), Segment(60, 0, 230),
    ...                          start_altitude_ft=9000, start_cas_kt=240)
    >>> sheet = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
    >>> (found,) = analyze(log, sheet).exceedances
    >>> (start, end), = truth.over(cas_kt=250)
    >>> bool(abs(found.start_s - start) < 0.1), bool(abs(found.end_s - end) < 0.1)
    (True, True)
    """
    truth = fly(segments, weather or Weather(), start_altitude_ft=start_altitude_ft,
                start_cas_kt=start_cas_kt, seed=seed)
    recorder = recorder or Recorder()
    rows = recorder.record(truth, seed)
    log = make_log(
        rows["time_s"], 1.0 / recorder.rate_hz, calibrated_airspeed=rows["airspeed_kt"],
        pressure_altitude=rows["pressure_altitude_ft"],
        static_air_temperature=rows["outside_air_temperature_degc"],
        flap=rows["flap_deg"], gear_down=rows["gear_down"])
    return replace(log, source=Source(Path("simulated.csv"))), truth


def assert_same(analysis: Analysis, other: Analysis) -> None:
    """Assert that two analyses say the same, to the bit.

    Columns are compared byte by byte; exceedances, suspects, findings, times and counts as they
    are. The logs' names and the settings' values aren't looked at.

    Raises
    ------
    AssertionError
        It names the first thing that differs, and for a column the row.

    Examples
    --------
    >>> from loganalyze import analyze
    >>> log = make_log(range(3), calibrated_airspeed=[240, 251, 249], pressure_altitude=9000)
    >>> sheet = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
    >>> with engine("compiled"):
    ...     fast = analyze(log, sheet)
    >>> assert_same(fast, analyze(log, sheet))
    """
    if analysis.columns.keys() != other.columns.keys():
        names = sorted(analysis.columns.keys() ^ other.columns.keys())
        raise AssertionError(f"only one has the columns {', '.join(names)}")
    for name, column in analysis.columns.items():
        beside = other.columns[name]
        if column.dtype != beside.dtype or column.shape != beside.shape:
            raise AssertionError(f"{name}: {column.dtype}[{len(column)}] and "
                                 f"{beside.dtype}[{len(beside)}]")
        if column.tobytes() != beside.tobytes():
            bits = np.uint8 if column.dtype.itemsize == 1 else f"u{column.dtype.itemsize}"
            row = int(np.flatnonzero(column.view(bits) != beside.view(bits))[0])
            raise AssertionError(f"{name}, row {row}: {column[row]} and {beside[row]}")
    # By repr: NaN equals NaN there.
    for name in ("exceedances", "suspects", "findings", "screened", "judged_s", "outcome"):
        if repr(getattr(analysis, name)) != repr(getattr(other, name)):
            raise AssertionError(f"{name}: {getattr(analysis, name)} and {getattr(other, name)}")


@contextmanager
def engine(which: Engine | None = None, block: int | None = None) -> Iterator[None]:
    """Choose the engine of the analyses in a ``with`` statement; not for threads side by side.

    Parameters
    ----------
    which : {"arrays", "compiled"}, optional
        Whole arrays of NumPy, or loops compiled by numba; by default these once there is enough to
        judge. The plain reading to which both are held is `loganalyze.evaluate`.
    block : int, optional
        Samples taken at a time, to try what lies between two blocks.

    Raises
    ------
    ValueError
        For an engine that isn't known.
    RuntimeError
        For "compiled" where numba isn't installed.

    Examples
    --------
    >>> with engine("arrays", block=1000):
    ...     pass
    """
    if which not in (None, "arrays", "compiled"):
        raise ValueError(f'an engine is "arrays" or "compiled", not "{which}"')
    if which == "compiled" and kernel_loading.load() is None:
        raise RuntimeError("the compiled loops can't be had: is numba installed?")
    before = kernel_loading.ENOUGH, block_evaluation.BLOCK, block_evaluation.COMPILED_BLOCK
    try:
        if which is not None:
            kernel_loading.ENOUGH = 0 if which == "compiled" else inf  # type: ignore[assignment]
        if block is not None:
            block_evaluation.BLOCK = block_evaluation.COMPILED_BLOCK = block
        yield
    finally:
        kernel_loading.ENOUGH, block_evaluation.BLOCK, block_evaluation.COMPILED_BLOCK = before
