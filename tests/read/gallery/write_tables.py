"""Writes long tables, several files and Parquet; called by ``write.py``."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from gallery.climb import Array, truth
from gallery.write_dialects import PREAMBLE
from gallery.writing import HERE, PLAIN, Spec, T, instants, numbers, plain, put, stamps, text


def long_rows(spec: Sequence[Spec], every: dict[str, int] | None = None,
              unit: bool = True) -> list[list[str]]:
    rows = []
    columns = {name: numbers(convert(truth(channel, T)), decimals)
               for name, channel, convert, decimals in spec}
    for i, t in enumerate(T):
        for name in columns:
            if i % (every or {}).get(name, 1) == 0:
                bare, _, unit_of = name.partition(" [")
                rows.append([f"{t:g}", bare, columns[name][i], *([unit_of.rstrip("]")] if unit
                                                                  else [])])
    return rows


def tables() -> None:
    put("long.csv", text([["Time [s]", "Parameter", "Value", "Unit"], *long_rows(PLAIN)]))
    put("long_mixed_rates.csv", text([["Time [s]", "Parameter", "Value", "Unit"], *long_rows(
        PLAIN, {"SAT [degC]": 4, "Heading [deg]": 2})]))
    odd = [["MARK", "MNEMONIC", "DATUM"], *long_rows(
        [("HP", *PLAIN[0][1:]), ("VI", *PLAIN[1][1:]), ("TS", *PLAIN[2][1:])], unit=False)]
    put("long_named.csv", text(odd, ";", ","), """[long]
time = "MARK"
parameter = "MNEMONIC"
value = "DATUM"
[columns]
time = { column = "MARK", unit = "s" }
pressure_altitude = { column = "HP", unit = "ft" }
indicated_airspeed = { column = "VI", unit = "kt" }
static_air_temperature = { column = "TS", unit = "degC" }
""")
    rows = plain()
    for part in range(4):
        put(f"sequence/zz001_{part + 1}.csv", PREAMBLE + text(
            [rows[0], *rows[1 + 10 * part : 11 + 10 * part]]))
    parquet()


def arrow(spec: Sequence[Spec], t: Array = T) -> dict[str, pa.Array]:
    return {name: pa.array(np.round(convert(truth(channel, t)), decimals) + 0.0)
            for name, channel, convert, decimals in spec}


def put_table(name: str, columns: dict[str, pa.Array], units: dict[str, str] | None = None,
              **options: object) -> None:
    fields = [pa.field(key, array.type, metadata={"unit": units[key]} if units and key in units
                       else None) for key, array in columns.items()]
    path = HERE / name
    path.parent.mkdir(parents=True, exist_ok=True)
    pq.write_table(pa.Table.from_arrays(list(columns.values()), schema=pa.schema(fields)), path,
                   **options)


def parquet() -> None:
    put_table("plain.parquet", {"Time [s]": pa.array(T), **arrow(PLAIN)})
    put_table("no_altitude.parquet", {"Time [s]": pa.array(T), **arrow(PLAIN[1:])})
    bare = {name.split(" [")[0]: name.split("[")[1][:-1] if "[" in name else "" for name, *_ in
            [("Time [s]",), *PLAIN]}
    put_table("units_in_metadata.parquet", dict(zip(
        bare, [pa.array(T), *arrow(PLAIN).values()], strict=True)), bare)
    columns = arrow(PLAIN)
    names = list(columns)
    put_table("whole_numbers.parquet", {
        "Time [ms]": pa.array((T * 1000).astype(np.int32)),
        names[0]: columns[names[0]].cast(pa.int16()),
        names[1]: columns[names[1]].cast(pa.float32()),
        names[2]: columns[names[2]].cast(pa.float32()),
        names[3]: columns[names[3]].cast(pa.float64()),
        names[4]: pa.array(np.rint(truth("flap", T)).astype(np.uint8)),
        names[5]: pa.array(truth("gear_down", T) > 0),
    })
    put_table("decimals.parquet", {"Time [s]": pa.array([Decimal(int(t)) for t in T],
                                                        pa.decimal128(9, 3)), **{
        name: pa.array([Decimal(f"{one:.1f}") for one in array.to_pylist()],
                       pa.decimal128(9, 2)) for name, array in columns.items()}})
    words = pa.array(["DOWN" if down else "UP" for down in truth("gear_down", T)])
    put_table("dictionaries.parquet", {
        "Time [s]": pa.array(T), **{name: columns[name] for name in names[:4]},
        names[4]: columns[names[4]].dictionary_encode(), names[5]: words.dictionary_encode()})
    ns = pa.array(np.array(instants()).astype(np.int64))
    put_table("timestamp_zone.parquet", {
        "Time": ns.cast(pa.timestamp("ns", "+01:00")), **columns})
    put_table("timestamp_utc_us.parquet", {
        "Time": pa.array(np.array(instants()).astype(np.int64) // 1000).cast(
            pa.timestamp("us", "UTC")), **columns}, row_group_size=16)
    put_table("text_numbers.parquet", {
        "UTC": pa.array(stamps("%Y-%m-%dT%H:%M:%SZ")), **columns})
    for part in range(2):
        rows = slice(20 * part, 20 * part + 20)
        chunk = {"Time [s]": pa.array(T[rows]), **{key: array[rows]
                                                   for key, array in columns.items()}}
        put_table(f"dataset/part-{part}.parquet", chunk)
        put_table(f"dataset_keys/flight=7/leg={part + 1}/data.parquet", chunk)
    (HERE / "dataset" / "_SUCCESS").write_bytes(b"")
    nulls = {name: pa.array([None if i % 4 and name == names[2] else one
                             for i, one in enumerate(array.to_pylist())])
             for name, array in columns.items()}
    put_table("mixed_rates.parquet", {"Time [s]": pa.array(T), **nulls})
