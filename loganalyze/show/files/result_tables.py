"""The tables on disk: one definition of every column, and their Arrow form.

``samples.parquet`` keeps a row a sample, ``exceedances.csv`` and ``.parquet`` a row an
exceedance. Whatever is unknown or not recorded is null in every column, never NaN and never a
stand-in value; every column is present in every file, so that the files of a fleet stack.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import astuple, dataclass
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from loganalyze.crosscheck.corroboration import CONTRADICTED, NO_ENTRY, NOT_FLOWN, SHOWS_LESS
from loganalyze.phases.phase_detection import PHASES
from loganalyze.results.assessment_results import OUTCOMES, Assessment
from loganalyze.text.facts import ExceedanceFacts
from loganalyze.text.flight_account import Judged, analysis_of
from loganalyze.text.plain_values import rounded
from loganalyze.text.verdict_sentences import STATES

Kind = Literal["number", "integer", "string", "boolean", "datetime"]


@dataclass(frozen=True)
class Column:
    """A column on disk: its name, what it holds, its unit, and what it says."""

    name: str
    kind: Kind
    unit: str
    words: str
    required: bool = False
    choices: tuple[str, ...] = ()


UNPROVEN = (CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS)


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

EXCEEDANCE_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("episode", "integer", "", "overlapping exceedances of a flight share a number", True),
    Column("limit", "string", "", "name of the limit", True),
    Column("quantity", "string", "", "the quantity in which the limit is published", True),
    Column("start_s", "number", "s", "start, from the log's first sample", True),
    Column("end_s", "number", "s", "end, from the log's first sample", True),
    Column("start_utc", "datetime", "", "UTC of the start, where the log has a date"),
    Column("duration_s", "number", "s", "from start to end", True),
    Column("time_over_s", "number", "s", "time spent over the limit", True),
    Column("touches", "integer", "", "how many stretches over the limit it is made of", True),
    Column("longest_over_s", "number", "s", "the longest of them", True),
    Column("bounded_s", "number", "s", "time over for which no sample stands: holes in which the "
           "limit can't have been regained", True),
    Column("began_by", "string", "", "how it began", True,
           ("crossed", "limit applied", "gap", "start of log")),
    Column("ended_by", "string", "", "how it ended", True,
           ("recovered", "limit lifted", "gap", "channel lost", "end of log")),
    Column("brief", "boolean", "", "whether the time over is below the minimum duration", True),
    Column("worst_excess_kt", "number", "kt", "greatest excess over the limit, as CAS"),
    Column("worst_excess_mach", "number", "1", "greatest excess over a Mach limit"),
    Column("worst_time_s", "number", "s", "when that was, from the log's first sample", True),
    Column("worst_pressure_altitude_ft", "number", "ft", "pressure altitude at that instant"),
    Column("worst_value", "number", "kt or 1",
           "speed at that instant, in the quantity of the limit"),
    Column("limit_value", "number", "kt or 1",
           "limit at that instant, in its own quantity"),
    Column("worst_limit_airspeed_kt", "number", "kt", "limit at that instant, as CAS"),
    Column("worst_limit_pointer_kt", "number", "kt", "where the limit pointer stood then, as IAS"),
    Column("worst_calibrated_airspeed_kt", "number", "kt", "calibrated airspeed at that instant"),
    Column("worst_mach", "number", "1", "Mach number at that instant"),
    Column("start_uncertainty_s", "number", "s", "how far the true start may lie from the one "
           "stated: both lie between two samples"),
    Column("end_uncertainty_s", "number", "s", "the same for the end"),
    Column("phase", "string", "", "phase of flight at that instant", choices=PHASES),
    Column("severity", "string", "", "by the rules of the limits sheet, where one is met",
           choices=("low", "medium", "high")),
    Column("severity_probability", "number", "1", "probability that a rule of this level or a "
           "higher one is truly met, as flown"),
    Column("assessment", "string", "", "what the decision rule makes of the excess, as flown",
           choices=OUTCOMES),
    Column("probability", "number", "1", "probability that the limit was truly exceeded, as "
           "flown"),
    Column("excess_low", "number", "kt or 1",
           "lower end of the expanded interval of the excess, in the quantity of the limit"),
    Column("excess_high", "number", "kt or 1", "its upper end"),
    Column("assessment_displayed", "string", "", "the same of what the crew saw",
           choices=OUTCOMES),
    Column("probability_displayed", "number", "1", "the same of what the crew saw"),
    Column("excess_low_displayed", "number", "kt or 1",
           "lower end of the expanded interval of the excess that the crew saw"),
    Column("excess_high_displayed", "number", "kt or 1", "its upper end"),
    Column("assessment_widest", "string", "", "what the decision rule makes of the excess, as "
           "flown, at the widest tolerances that the rules allow; blank where the limits sheet "
           "states every tolerance", choices=OUTCOMES),
    Column("excess_low_widest", "number", "kt or 1", "lower end of that interval"),
    Column("excess_high_widest", "number", "kt or 1", "its upper end"),
    Column("confirmed_by", "string", "",
           "other channels that show the limit exceeded as well, parted by semicolons"),
    Column("contradicted_by", "string", "",
           "other channels that contradict the exceedance, parted by semicolons"),
    Column("unproven_because", "string", "",
           "what keeps the exceedance, or its size, from being proven", choices=UNPROVEN),
)

STRETCHES = ("to the limit", "to the worst")

CONTRIBUTION_COLUMNS = (
    *EXCEEDANCE_COLUMNS[:3],
    Column("stretch", "string", "", "what took the aircraft to the limit, or what made the excess "
           "worse", True, STRETCHES),
    Column("start_s", "number", "s", "start of the stretch, from the log's first sample"),
    Column("end_s", "number", "s", "its end: the first sample over the limit, or the worst one"),
    Column("lost_kt", "number", "kt", "margin lost in the stretch, as CAS"),
    Column("limit_moved_kt", "number", "kt", "of it, lost as the limit moved with altitude"),
    Column("configuration_kt", "number", "kt", "lost by a change of configuration"),
    Column("height_trade_kt", "number", "kt", "lost by height turned into speed, netted"),
    Column("energy_kt", "number", "kt", "lost by energy gained, netted"),
    Column("air_temperature_kt", "number", "kt", "lost by a change of the air's warmth"),
    Column("speed_change_kt", "number", "kt",
           "lost by the speed's change, where without air temperature it can't be split"),
    Column("remainder_kt", "number", "kt", "what the parts leave unexplained"),
    Column("gross_height_trade_kt", "number", "kt", "height turned into speed, not netted"),
    Column("gross_energy_kt", "number", "kt", "energy gained, not netted"),
    Column("wind_kt", "number", "kt", "of the energy, what a change of wind brought"),
    Column("greatest_load_factor", "number", "g", "greatest load factor in the stretch"),
)
"""Two rows an exceedance of an assessed flight; blank where nothing unbroken was recorded, or
where the first sample over the limit was the worst."""


def sample_columns(limit_names: Sequence[str]) -> tuple[Column, ...]:
    """Return the columns of ``samples.parquet`` for a sheet with these limits."""
    states = tuple(state_column(name) for name in limit_names)
    return (*_HEAD, _PHASE, *_NUMBERS, _GOVERNING, _STATE, *states)


def state_column(limit: str) -> Column:
    """Return the column that holds the state of one limit."""
    return Column(f"state_{limit}", "string", "", f"state of the limit {limit}", True, STATES)


def table_schema(columns: Sequence[Column], title: str) -> dict[str, Any]:
    """Return the Table Schema (frictionless data, version 1) of some columns."""
    return {
        "title": title,
        "missingValues": [""],
        "fields": [
            {
                "name": column.name,
                "type": column.kind,
                "description": column.words,
                **({"unit": column.unit} if column.unit else {}),
                **({"constraints": _constraints(column)} if _constraints(column) else {}),
            }
            for column in columns
        ],
    }


def _constraints(column: Column) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if column.required:
        found["required"] = True
    if column.choices:
        found["enum"] = list(column.choices)
    return found


# pa.array and everything that takes a NumPy array or a list through it import pandas, which
# costs more than the whole analysis of a flight: arrays are made from their buffers.

def _buffer(values: NDArray[Any]) -> pa.Buffer:
    return pa.py_buffer(np.ascontiguousarray(values))


def _valid(known: NDArray[np.bool_]) -> tuple[pa.Buffer | None, int]:
    missing = int(known.size - np.count_nonzero(known))
    return (_buffer(np.packbits(known, bitorder="little")), missing) if missing else (None, 0)


def numbers(values: NDArray[Any], kind: pa.DataType) -> pa.Array:
    """Return `values` as an Arrow array of `kind`, null where they are NaN or NaT."""
    known, missing = (None, 0)
    if values.dtype.kind in "fM":
        known, missing = _valid(~np.isnan(values))
    return pa.Array.from_buffers(kind, len(values), [known, _buffer(values)], missing)


def texts(values: Sequence[str | None]) -> pa.Array:
    """Return strings as an Arrow array, null where None."""
    coded = [(value or "").encode() for value in values]
    ends = np.cumsum([0, *map(len, coded)], dtype=np.int32)
    known, missing = _valid(np.array([value is not None for value in values], dtype=bool))
    return pa.Array.from_buffers(pa.string(), len(coded),
                                 [known, _buffer(ends), pa.py_buffer(b"".join(coded))], missing)


def words(codes: NDArray[np.uint8], names: Sequence[str]) -> pa.Array:
    """Return codes as an Arrow dictionary of `names`, null where the code has none."""
    known, missing = _valid(codes < len(names))
    indices = pa.Array.from_buffers(pa.uint8(), len(codes), [known, _buffer(codes)], missing)
    return pa.DictionaryArray.from_arrays(indices, texts(names))


_WORD = pa.dictionary(pa.uint8(), pa.string())
_UTC = pa.timestamp("us", tz="UTC")


def sample_schema(limit_names: Sequence[str]) -> pa.Schema:
    """Return the Arrow schema of ``samples.parquet`` for a sheet with these limits."""
    kinds = {"time_s": pa.float64(), "utc": _UTC, "flight": pa.int32()}
    return pa.schema([
        pa.field(column.name, kinds.get(column.name, pa.float32() if column.kind == "number"
                                        else _WORD), metadata=_metadata(column))
        for column in sample_columns(limit_names)
    ])


def _metadata(column: Column) -> dict[str, str]:
    return {"unit": column.unit, "description": column.words}


def sample_table(judged: Judged) -> pa.Table:
    """Return the samples of one flight as an Arrow table."""
    analysis = analysis_of(judged)
    assessed = judged.columns if isinstance(judged, Assessment) else {}
    schema = sample_schema(analysis.limit_names)
    size = len(analysis.time)
    found = {**analysis.columns, **assessed}
    arrays = [numbers(analysis.time, pa.float64())]
    if analysis.log.utc_start is None:
        arrays.append(pa.nulls(size, _UTC))
    else:
        elapsed = np.round(analysis.time * 1e6).astype("timedelta64[us]")
        utc = analysis.log.utc_start.astype("datetime64[us]") + elapsed
        arrays.append(numbers(utc, _UTC))
    arrays.append(numbers(np.full(size, analysis.flight, dtype=np.int32), pa.int32()))
    arrays.append(words(found["phase"], PHASES) if assessed else pa.nulls(size, _WORD))
    for column in _NUMBERS:
        values = found.get(column.name)
        arrays.append(pa.nulls(size, pa.float32()) if values is None
                      else numbers(values.astype(np.float32, copy=False), pa.float32()))
    arrays.append(words(found["governing_limit"], analysis.limit_names))
    for key in ("state", *(f"state_{i}" for i in range(len(analysis.limit_names)))):
        arrays.append(words(found[key], STATES))
    return pa.Table.from_arrays(arrays, schema=schema)


def sample_writer(path: str, limit_names: Sequence[str]) -> pq.ParquetWriter:
    """Return a writer of ``samples.parquet``, a row group a flight."""
    schema = sample_schema(limit_names)
    coded = [field.name for field in schema if pa.types.is_dictionary(field.type)]
    plain = [field.name for field in schema if pa.types.is_floating(field.type)]
    return pq.ParquetWriter(path, schema, compression="zstd", compression_level=1,
                            use_dictionary=[*coded, "flight"], use_byte_stream_split=plain)


def exceedance_csv(found: Iterable[ExceedanceFacts]) -> str:
    """Return exceedances as CSV text: a header row, then a row each; blank where unknown."""
    return _csv(EXCEEDANCE_COLUMNS, (astuple(one) for one in found))


def contribution_rows(judged: Judged) -> list[tuple[Any, ...]]:
    """Return two rows for each exceedance of an assessed flight, as CONTRIBUTION_COLUMNS say."""
    if not isinstance(judged, Assessment):
        return []
    rows = []
    for one, told in zip(judged.analysis.exceedances, judged.exceedances, strict=True):
        for stretch, causes in zip(STRETCHES, (told.contributions, told.worsening), strict=True):
            parts = [None if causes is None else rounded(getattr(causes, column.name))
                     for column in CONTRIBUTION_COLUMNS[4:]]
            rows.append((one.flight, one.episode, one.limit, stretch, *parts))
    return rows


def contribution_csv(rows: Iterable[tuple[Any, ...]]) -> str:
    """Return contributions as CSV text; blank where unknown."""
    return _csv(CONTRIBUTION_COLUMNS, rows)


def _csv(columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([column.name for column in columns])
    for row in rows:
        writer.writerow([str(value).lower() if isinstance(value, bool) else value
                         for value in row])
    return stream.getvalue()


def exceedance_table(found: Sequence[ExceedanceFacts]) -> pa.Table:
    """Return exceedances as an Arrow table; an empty one has all the columns."""
    makers: dict[str, Callable[[list[Any]], pa.Array]] = {
        "number": _floats, "integer": _integers, "string": texts, "boolean": _booleans,
        "datetime": _instants}
    arrays = [makers[column.kind]([getattr(one, column.name) for one in found])
              for column in EXCEEDANCE_COLUMNS]
    schema = pa.schema([pa.field(column.name, array.type, metadata=_metadata(column))
                        for column, array in zip(EXCEEDANCE_COLUMNS, arrays, strict=True)])
    return pa.Table.from_arrays(arrays, schema=schema)


def _floats(values: list[float | None]) -> pa.Array:
    return numbers(np.array([np.nan if value is None else value for value in values],
                            dtype=np.float64), pa.float64())


def _integers(values: list[int]) -> pa.Array:
    return numbers(np.array(values, dtype=np.int32), pa.int32())


def _booleans(values: list[bool]) -> pa.Array:
    bits = np.packbits(np.array(values, dtype=bool), bitorder="little")
    return pa.Array.from_buffers(pa.bool_(), len(values), [None, _buffer(bits)], 0)


def _instants(values: list[str | None]) -> pa.Array:
    return numbers(np.array([value[:-1] if value else "NaT" for value in values],
                            dtype="datetime64[us]"), _UTC)
