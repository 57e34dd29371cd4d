"""The rules of a limits sheet applied to rows of air data, without a file and unscreened."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pydantic_core import PydanticCustomError

from loganalyze.limits.evaluation import STATES, Evaluation
from loganalyze.limits.limit_equivalents import published_maximum, published_value
from loganalyze.limits.row_evaluation import evaluate_rows
from loganalyze.problems import Problem
from loganalyze.record.flight_log import Channel, FlightLog, Source
from loganalyze.record.units import KNOT
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limit_conditions import channel_and_unit
from loganalyze.sheets.limits_sheet import LimitsSheet

if TYPE_CHECKING:
    import pandas as pd

APPLIES = ("no", "yes", "unknown")
_TIME = "time_s"
_FRAME = Path("data frame")


def evaluate(
    frame: Any,
    sheet: LimitsSheet,
    *,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Apply every limit of a sheet to rows of air data, without screening.

    This is the direct evaluation that `analyze` uses for every sample near a limit, and with which
    its fast path is tested to be equal. A spike counts like any other value.

    Parameters
    ----------
    frame : data frame or mapping
        pandas, Polars or Arrow, or a mapping of names to columns. Columns are named as a limits
        sheet names the channels of its conditions, with the unit at the end:
        ``calibrated_airspeed_kt`` or ``indicated_airspeed_kt`` as the sheet says,
        ``pressure_altitude_ft``, ``static_air_temperature_degc``, ``flap_deg``, ``gear_down``
        (0 or 1). ``time_s`` [s], ascending, matters only to conditions with a dwell time; without
        it rows are a second apart. Missing values are null or NaN.
    sheet : LimitsSheet
        As returned by `read_limits`.
    settings : Settings, optional
        Tolerances; otherwise the defaults, or what the sheet states.
    declared : mapping of str to float, optional
        States that no column holds, by channel, in SI.

    Returns
    -------
    pandas.DataFrame
        One row per row of `frame`. For each limit, such as VMO: ``applies_VMO`` ("no", "yes",
        "unknown"); ``value_VMO``, ``maximum_VMO``, ``margin_VMO`` in its own unit, kt or Mach,
        whether or not it applies; ``equivalent_VMO_kt``, the limit as calibrated airspeed;
        ``state_VMO`` ("under", "over", "unknown", "not applicable"). Then ``state``,
        ``limit_airspeed_kt``, ``governing_limit``, ``margin_kt``, ``margin_mach`` and
        ``limit_pointer_kt`` of all limits together. NaN or null where unknown.

    Raises
    ------
    Problem
        For columns of unknown names or units, or none that holds the airspeed.

    Examples
    --------
    >>> from loganalyze import LimitsSheet, evaluate
    >>> sheet = LimitsSheet.model_validate({
    ...     "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    ...     "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250},
    ...               {"name": "MMO", "quantity": "mach", "maximum": 0.5}]})
    >>> found = evaluate({"calibrated_airspeed_kt": [240, 253, 240],
    ...                   "pressure_altitude_ft": [5000, 5000, 27000]}, sheet)
    >>> found[["state_VMO", "state_MMO", "governing_limit"]]
      state_VMO state_MMO governing_limit
    0     under     under             VMO
    1      over     under             VMO
    2     under      over             MMO
    >>> found["margin_VMO"].round(6).tolist()
    [10.0, -3.0, 10.0]
    """
    log = _log(frame)
    evaluation = Evaluation.of(log, sheet, settings or Settings(**sheet.screening), declared or {})
    evaluation.fill(slice(None))
    at = evaluation.air_data_at(np.arange(len(log)))
    rows = evaluate_rows(evaluation, at)
    columns: dict[str, Any] = {}
    for limit, state in zip(sheet.limit, rows.states, strict=True):
        value, maximum = published_value(limit, at), published_maximum(limit, at)
        columns |= {
            f"applies_{limit.name}": _words(evaluation.applies(limit, at.rows), APPLIES),
            f"value_{limit.name}": value,
            f"maximum_{limit.name}": maximum,
            f"margin_{limit.name}": maximum - value,
            f"equivalent_{limit.name}_kt": evaluation.equivalent(limit, at) / KNOT,
            f"state_{limit.name}": _words(state, STATES),
        }
    columns |= {
        "state": _words(rows.state, STATES),
        "limit_airspeed_kt": rows.limit_airspeed / KNOT,
        "governing_limit": _words(rows.governing, [limit.name for limit in sheet.limit]),
        "margin_kt": rows.margin / KNOT,
        "margin_mach": rows.margin_mach,
        "limit_pointer_kt": rows.limit_pointer / KNOT,
    }
    table: pd.DataFrame = pa.table(columns).to_pandas()
    return table


def _log(frame: Any) -> FlightLog:
    """Return the rows of a frame as a log in which every channel has a value at every row."""
    columns = _columns(frame)
    if not columns or not all(columns.values()):
        raise Problem("the data frame holds no rows", str(_FRAME), "give at least one")
    time, channels = None, {}
    for name, column in columns.items():
        try:
            values = np.array(column.cast(pa.float64()).to_numpy(zero_copy_only=False))
        except pa.ArrowException:
            raise Problem(f'column "{name}" holds something other than numbers', str(_FRAME),
                          "give numbers, and null for what is missing") from None
        if name == _TIME:
            time = values
            continue
        channel, factor, offset = _known(name)
        channels[channel] = Channel(values * factor + offset, column=name)
    if time is None:
        time = np.arange(len(next(iter(columns.values()))), dtype=np.float64)
    if np.isnan(time).any() or (np.diff(time) <= 0).any():
        raise Problem(f'column "{_TIME}" doesn\'t rise from row to row', str(_FRAME),
                      "sort the rows, or leave the column out")
    interval = float(np.median(np.diff(time))) if len(time) > 1 else float("nan")
    return FlightLog(time - time[0], channels, Source(_FRAME), interval_s=interval)


def _columns(frame: Any) -> dict[str, pa.ChunkedArray]:
    try:
        table = (pa.table(dict(frame)) if isinstance(frame, Mapping)
                 else pa.RecordBatchReader.from_stream(frame).read_all())
    except (pa.ArrowException, TypeError, ValueError) as error:
        raise Problem(f"the data frame can't be read ({str(error).splitlines()[0]})", str(_FRAME),
                      "give a data frame, or a mapping of names to columns") from None
    return {name: table[name] for name in table.column_names if not name.startswith("__index")}


def _known(name: str) -> tuple[str, float, float]:
    """Return a column's channel, and the factor and offset that convert its numbers to SI."""
    try:
        channel, unit = channel_and_unit(name)
    except PydanticCustomError as error:
        refused = error.context or {}
        raise Problem(
            f'column "{name}": {refused["what"]}', str(_FRAME), refused["hint"]) from None
    return (channel, unit.factor, unit.offset) if unit else (channel, 1.0, 0.0)


def _words(codes: NDArray[np.uint8], names: Any) -> pa.Array:
    known = pa.array(codes, mask=codes >= len(names))
    return pa.DictionaryArray.from_arrays(known, pa.array(names, pa.string())).cast(pa.string())
