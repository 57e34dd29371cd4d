"""``samples.parquet``: a row a sample, a row group a flight."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from loganalyze.limits.evaluation import STATES
from loganalyze.phases.phase_detection import PHASES
from loganalyze.record.arrays import Rows
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.tables.table_columns import (
    ORIGIN_COLUMNS,
    UTC,
    Column,
    Origin,
    metadata,
    numbers,
    words,
)
from loganalyze.text.flight_account import Judged, analysis_of

_HEAD = (
    Column("time_s", "number", "s", "time from the log's first sample (float64)", True),
    Column("utc", "datetime", "", "UTC of the sample, where the log has a date"),
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
)
_PHASE = Column("phase", "string", "", "phase of flight", choices=PHASES)
_NUMBERS = (
    Column("pressure_altitude_ft", "number", "ft", "pressure altitude"),
    Column("indicated_airspeed_kt", "number", "kt", "indicated airspeed"),
    Column("calibrated_airspeed_kt", "number", "kt", "calibrated airspeed"),
    Column("equivalent_airspeed_kt", "number", "kt", "equivalent airspeed"),
    Column("true_airspeed_kt", "number", "kt", "true airspeed"),
    Column("mach", "number", "1", "Mach number"),
    Column("static_air_temperature_degc", "number", "degC", "static air temperature"),
    Column("isa_deviation_degc", "number", "degC",
           "static air temperature less that of the standard atmosphere at this altitude"),
    Column("density_altitude_ft", "number", "ft", "density altitude"),
    Column("limit_airspeed_kt", "number", "kt", "the lowest limit that applies, as CAS"),
    Column("limit_pointer_kt", "number", "kt",
           "where the limit pointer stood: the lowest limit shown on it, as IAS"),
    Column("margin_kt", "number", "kt",
           "limit airspeed less calibrated airspeed; negative is over"),
    Column("margin_mach", "number", "1", "the same in Mach number"),
    Column("margin_u_kt", "number", "kt", "standard uncertainty of margin_kt, as flown"),
    Column("margin_u_mach", "number", "1", "standard uncertainty of margin_mach, as flown"),
    Column("margin_displayed_u_kt", "number", "kt",
           "standard uncertainty of margin_kt, as displayed"),
    Column("calibrated_airspeed_u_kt", "number", "kt",
           "standard uncertainty of the calibrated airspeed"),
    Column("true_airspeed_u_kt", "number", "kt", "standard uncertainty of the true airspeed"),
    Column("mach_u", "number", "1", "standard uncertainty of the Mach number"),
)
_GOVERNING = Column("governing_limit", "string", "", "the limit that sets the limit airspeed")
_STATE = Column("state", "string", "", "over if any limit is over, else unknown if any is unknown",
                True, STATES)


def sample_columns(limit_names: Sequence[str]) -> tuple[Column, ...]:
    """Return the columns of ``samples.parquet`` for a sheet with these limits."""
    states = tuple(state_column(name) for name in limit_names)
    return (*_HEAD, _PHASE, *_NUMBERS, _GOVERNING, _STATE, *states, *ORIGIN_COLUMNS)


def state_column(limit: str) -> Column:
    """Return the column that holds the state of one limit."""
    return Column(f"state_{limit}", "string", "", f"state of the limit {limit}", True, STATES)


_WORD = pa.dictionary(pa.uint8(), pa.string())


def sample_schema(limit_names: Sequence[str]) -> pa.Schema:
    """Return the Arrow schema of ``samples.parquet`` for a sheet with these limits."""
    kinds = {"time_s": pa.float64(), "utc": UTC, "flight": pa.int32()}
    return pa.schema([
        pa.field(column.name, kinds.get(column.name, pa.float32() if column.kind == "number"
                                        else _WORD), metadata=metadata(column))
        for column in sample_columns(limit_names)
    ])


def sample_table(judged: Judged, origin: Origin, rows: Rows | None = None) -> pa.Table:
    """Return the samples of one flight as an Arrow table: those of some rows, intp[m], or all."""
    analysis = analysis_of(judged)
    assessed: Mapping[str, NDArray[Any]] = {}
    if isinstance(judged, Assessment):
        assessed = judged.columns if rows is None else judged.columns.at(rows)
    schema = sample_schema(analysis.limit_names)
    chosen = slice(None) if rows is None else rows
    time = analysis.time[chosen]
    size = len(time)
    found = {**{name: values[chosen] for name, values in analysis.columns.items()}, **assessed}
    arrays = [numbers(time, pa.float64())]
    if analysis.log.utc_start is None or origin.hidden:
        arrays.append(pa.nulls(size, UTC))
    else:
        elapsed = np.round(time * 1e6).astype("timedelta64[us]")
        utc = analysis.log.utc_start.astype("datetime64[us]") + elapsed
        arrays.append(numbers(utc, UTC))
    arrays.append(numbers(np.full(size, analysis.flight, dtype=np.int32), pa.int32()))
    arrays.append(words(found["phase"], PHASES) if assessed else pa.nulls(size, _WORD))
    for column in _NUMBERS:
        values = found.get(column.name)
        arrays.append(pa.nulls(size, pa.float32()) if values is None
                      else numbers(values.astype(np.float32, copy=False), pa.float32()))
    arrays.append(words(found["governing_limit"], analysis.limit_names))
    for key in ("state", *(f"state_{i}" for i in range(len(analysis.limit_names)))):
        arrays.append(words(found[key], STATES))
    same = np.zeros(size, dtype=np.uint8)
    for cell in origin.cells:
        arrays.append(pa.nulls(size, _WORD) if cell is None else words(same, [cell]))
    return pa.Table.from_arrays(arrays, schema=schema)


def sample_writer(path: str, limit_names: Sequence[str]) -> pq.ParquetWriter:
    """Return a writer of ``samples.parquet``, a row group a flight."""
    schema = sample_schema(limit_names)
    coded = [field.name for field in schema if pa.types.is_dictionary(field.type)]
    plain = [field.name for field in schema if pa.types.is_floating(field.type)]
    return pq.ParquetWriter(path, schema, compression="zstd", compression_level=1,
                            use_dictionary=[*coded, "flight"], use_byte_stream_split=plain)


