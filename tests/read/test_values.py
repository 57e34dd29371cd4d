"""Values in SI: exact conversion, number formats, slow channels, resolution."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from small_exports import ALTITUDE, FT, KT, PLAIN, SPEED, export, lines, parquet

from loganalyze import ColumnsFile, Problem, read_flights, read_log
from loganalyze.sheets.columns_file import Column
from loganalyze.text.language import reading_text

KNOTS = np.arange(40, 601)


@pytest.mark.parametrize(("unit", "per_knot"), [("kt", 1.0), ("km/h", 1.852), ("m/s", KT)])
def test_whole_knots_are_exact_in_every_unit(unit: str, per_knot: float, tmp_path: Path) -> None:
    rows = [f"{i};0;{float(knot * per_knot)!r}" for i, knot in enumerate(KNOTS)]
    log = read_log(export(tmp_path, lines(f"time_s;press_alt_ft;ias [{unit}]", rows)))
    read = log.channels["indicated_airspeed"].values / KT
    assert np.abs(read - KNOTS).max() < 1e-9


ARRAYS = {
    "float64": pa.array([200.5, 201, 201.5, 202]),
    "float32": pa.array([200.5, 201, 201.5, 202], pa.float32()),
    "float16": pa.array(np.array([200.5, 201, 201.5, 202], np.float16)),
    "int32, tenths": pa.array([200, 201, 202, 203], pa.int32()),
    "int8": pa.array([100, 101, 102, 103], pa.int8()),
    "uint16": pa.array([200, 201, 202, 203], pa.uint16()),
    "int64": pa.array([200, 201, 202, 203], pa.int64()),
    "decimal": pa.array([Decimal("200.5"), Decimal("201.0"), Decimal("201.5"), Decimal("202.0")]),
    "dictionary": pa.array([200.5, 201, 201.5, 202]).dictionary_encode(),
}


@pytest.mark.parametrize("kind", ARRAYS)
def test_parquet_number_formats(kind: str, tmp_path: Path) -> None:
    array = ARRAYS[kind]
    path = parquet(tmp_path, {"time_s": pa.array([0, 0.25, 0.5, 0.75]), "HP": pa.array(
        [20000, 20010, 20020, 20030], pa.int32()), "IAS": array}, units={"HP": "ft", "IAS": "kt"})
    log = read_log(path)
    speed = log.channels["indicated_airspeed"]
    expected = np.array([float(value) for value in array.to_pylist()]) * KT
    np.testing.assert_allclose(speed.values, expected, rtol=1e-15)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values, ALTITUDE, rtol=1e-15)
    assert speed.values.dtype == np.float64
    assert speed.values.flags["C_CONTIGUOUS"]
    assert speed.rounding == {"float32": 2.0**-24, "float16": 2.0**-11}.get(kind, 0)
    assert reading_text.known_by(speed) == "recognised by its name, unit from the column's metadata"


def test_parquet_nulls_are_nan_also_in_a_slice_of_bits(tmp_path: Path) -> None:
    speeds = [None if i % 7 == 3 else float(i) for i in range(100)]
    path = parquet(tmp_path, {"time_s": pa.array(np.arange(100.0)), "press_alt_ft": pa.array(
        np.zeros(100)), "ias_kt": pa.array(speeds)}, rows=33)
    expected = np.array([np.nan if v is None else v * KT for v in speeds])
    np.testing.assert_allclose(read_log(path).channels["indicated_airspeed"].values, expected)
    joined = np.concatenate([log.channels["indicated_airspeed"].values
                             for log in read_flights(path, gap_s=0.5)])
    np.testing.assert_allclose(joined, expected)


ZONE = timezone(timedelta(hours=2))
STAMPS = [datetime(2026, 3, 1, 12, 0, i, 500000, tzinfo=ZONE) for i in range(4)]


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
def test_parquet_timestamps_with_a_zone(unit: str, tmp_path: Path) -> None:
    array = pa.array(STAMPS, pa.timestamp(unit, "+02:00"))
    path = parquet(tmp_path, {"time": array, "press_alt_ft": pa.array(np.zeros(4)),
                              "ias_kt": pa.array(np.full(4, 200.0))})
    log = read_log(path)
    assert log.utc_start == np.datetime64("2026-03-01T10:00:00.500", "ns")
    assert log.time.tolist() == [0, 1, 2, 3]
    assert log.source.inferred == ()


@pytest.mark.parametrize("array", [
    pa.array([stamp.replace(tzinfo=None) for stamp in STAMPS]).cast(pa.timestamp("us")),
    pa.array([stamp.time() for stamp in STAMPS], pa.time64("us")),
    pa.array([1000, 2000, 3000, 4000], pa.time32("ms")),
    pa.array([timedelta(seconds=i) for i in range(4)]),
    pa.array([stamp.isoformat() for stamp in STAMPS]),
    pa.array([stamp.isoformat() for stamp in STAMPS], pa.large_string()),
    pa.array([1, 2, 3, 4], pa.int16()),
], ids=lambda array: str(array.type))
def test_parquet_clocks(array: pa.Array, tmp_path: Path) -> None:
    path = parquet(tmp_path, {"time": array, "press_alt_ft": pa.array(np.zeros(4)),
                              "ias_kt": pa.array(np.full(4, 200.0))})
    assert read_log(path).time.tolist() == [0, 1, 2, 3]


def test_a_slow_channel_keeps_its_own_samples(tmp_path: Path) -> None:
    rows = [f"{i / 4},0,200,{-20 - i / 100 if i % 4 == 2 else ''}" for i in range(400)]
    rows[42] = rows[42].replace("-20.42", "")
    log = read_log(export(tmp_path, lines("time_s,press_alt_ft,ias_kt,sat_degc", rows)))
    channel = log.channels["static_air_temperature"]
    assert channel.rows is not None
    assert channel.rows.dtype == np.int32
    assert channel.rows.tolist() == [i for i in range(2, 400, 4) if i != 42]
    assert channel.interval_s == 1
    assert channel.resolution == pytest.approx(0.04)
    assert (log.interval_s, log.channels["indicated_airspeed"].interval_s) == (0.25, 0.25)
    aligned = log.aligned("static_air_temperature")
    assert np.isnan(aligned[:2]).all()
    assert aligned[2:6] == pytest.approx([253.13, 253.12, 253.11, 253.10])


def test_a_channel_that_fails_for_a_while_is_not_slow(tmp_path: Path) -> None:
    rows = [f"{i},0,200,{-20 if i > 70 else ''}" for i in range(100)]
    log = read_log(export(tmp_path, lines("time_s,press_alt_ft,ias_kt,sat_degc", rows)))
    channel = log.channels["static_air_temperature"]
    assert channel.rows is None
    assert np.isnan(channel.values).sum() == 71


def test_interleaved_channels_set_the_interval_of_the_log(tmp_path: Path) -> None:
    rows = [f"{i / 8},{'' if i % 2 else 1000},{200 if i % 2 else ''}" for i in range(80)]
    log = read_log(export(tmp_path, lines("time_s,press_alt_ft,ias_kt", rows)))
    assert log.interval_s == 0.25
    assert len(log) == 80
    assert len(log.channels["pressure_altitude"].values) == 40


def test_resolution_is_the_smallest_step_of_the_values(tmp_path: Path) -> None:
    log = read_log(export(tmp_path, PLAIN))
    assert log.channels["pressure_altitude"].resolution == pytest.approx(10 * FT)
    assert log.channels["indicated_airspeed"].resolution == pytest.approx(0.5 * KT)
    rng = np.random.default_rng(1)
    quantised = np.round(rng.normal(200, 5, 50_000) * 16) / 16
    path = parquet(tmp_path, {"time_s": pa.array(np.arange(50_000.0)), "press_alt_ft": pa.array(
        np.zeros(50_000)), "ias_kt": pa.array(quantised.astype(np.float32))})
    log = read_log(path)
    assert log.channels["indicated_airspeed"].resolution == pytest.approx(KT / 16)
    assert np.isnan(log.channels["pressure_altitude"].resolution)


def flights_csv(folder: Path) -> Path:
    """Write three flights, hours apart, a few pieces long, with blanks and a slow channel."""
    rng = np.random.default_rng(2)
    count = 150_000
    time = np.arange(3 * count) / 4 + np.repeat([0, 9000, 50000], count) + 17
    speed = np.round(rng.normal(200, 20, 3 * count), 2)
    rows = [f"{t},{i % 20000},{'' if i % 1000 == 7 else v},{-20 if i % 4 == 0 else ''}"
            for i, (t, v) in enumerate(zip(time.tolist(), speed.tolist(), strict=True))]
    return export(folder, lines("time_s,press_alt_ft,ias_kt,sat_degc", rows))


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_flights_are_slices_of_the_whole_log(form: str, tmp_path: Path) -> None:
    path = flights_csv(tmp_path)
    whole = read_log(path)
    if form == "parquet":
        names = {"pressure_altitude": "press_alt_m", "indicated_airspeed": "ias_mps"}
        columns = {name: pa.array(whole.channels[key].values) for key, name in names.items()}
        path = parquet(tmp_path, {"time_s": pa.array(whole.time)} | columns, rows=100_000)
        whole = read_log(path)
    flights = list(read_flights(path, gap_s=1800))
    assert [len(flight) for flight in flights] == [150_000] * 3
    start = 0
    for flight in flights:
        stop = start + len(flight)
        np.testing.assert_array_equal(flight.time, whole.time[start:stop])
        assert flight.channels.keys() == whole.channels.keys()
        for name in whole.channels:
            np.testing.assert_array_equal(flight.aligned(name), whole.aligned(name)[start:stop])
            assert flight.channels[name].interval_s == whole.channels[name].interval_s
        gap = tuple(one for one in flight.source.inferred if one.code == "gap_after")
        assert len(gap) == (flight is not flights[-1])
        assert flight.source == replace(whole.source, inferred=gap)
        start = stop


@pytest.mark.parametrize("small", [0, 100_000], ids=["column by column", "batch by batch"])
def test_many_small_row_groups_are_read_as_one_large_one_is(
        small: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loganalyze.read.parquet.parquet_log.SMALL_GROUP", small)
    n, rng = 5000, np.random.default_rng(3)
    table = {
        "time_s": pa.array(np.arange(n) / 4),
        "press_alt_ft": pa.array(np.arange(n) % 4000, pa.int32(), mask=rng.random(n) < 0.1),
        "ias_kt": pa.array(np.where(rng.random(n) < 0.01, 9999.0, rng.normal(200, 5, n))),
        "gear down": pa.array(np.arange(n) % 900 < 400),
        "flap_deg": pa.array(np.full(n, 10.0), pa.float32(), mask=np.arange(n) // 40 % 2 == 0)}
    large = parquet(tmp_path, table, "large.parquet")
    many = parquet(tmp_path, table, "many.parquet", rows=37)
    for one, other in ((read_log(large), read_log(many)),
                       (next(read_flights(large)), next(read_flights(many)))):
        assert one.steps == other.steps
        assert one.channels.keys() == other.channels.keys()
        for name, channel in one.channels.items():
            assert channel.values.tobytes() == other.channels[name].values.tobytes()
        assert one.time.tobytes() == other.time.tobytes()


def test_a_gap_no_longer_than_asked_does_not_cut(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt\n0,0,200\n1,0,200\n101,0,200\n102,0,200\n")
    assert [len(log) for log in read_flights(path, gap_s=100)] == [4]
    assert [len(log) for log in read_flights(path, gap_s=99)] == [2, 2]


def test_flights_close_the_file_when_left_early(tmp_path: Path) -> None:
    flights = read_flights(flights_csv(tmp_path), gap_s=1800)
    assert len(next(flights)) == 150_000
    flights.close()  # type: ignore[attr-defined]
    with pytest.raises(StopIteration):
        next(flights)


FILLED = PLAIN.replace("201.5", "-9999").replace("20010", "99999").replace("-24.8", "999.9")


@pytest.mark.parametrize("form", ["csv", "float32", "int32"])
def test_fill_values_are_dropped_where_they_are_implausible(form: str, tmp_path: Path) -> None:
    path = export(tmp_path, FILLED)
    if form != "csv":
        columns = [np.genfromtxt(FILLED.splitlines(), delimiter=",", skip_header=1)[:, i]
                   for i in range(4)]
        names = PLAIN.split("\n")[0].split(",")
        kind = pa.float32() if form == "float32" else pa.int32()
        path = parquet(tmp_path, {name: pa.array(np.rint(column) if name != "time_s" and form ==
                                                 "int32" else column).cast(
            kind if name != "time_s" else pa.float64()) for name, column in zip(
                names, columns, strict=True)})
    log = read_log(path)
    assert np.isnan(log.channels["indicated_airspeed"].values).tolist() == [False] * 2 + [
        True, False]
    assert np.isnan(log.channels["pressure_altitude"].values).tolist() == [
        False, True, False, False]
    assert np.isnan(log.channels["static_air_temperature"].values).tolist() == [
        False, False, form != "int32", False]
    np.testing.assert_allclose(log.channels["indicated_airspeed"].values[:2], SPEED[:2], rtol=3e-3)


def test_a_number_that_may_be_a_value_is_no_fill_value(tmp_path: Path) -> None:
    log = read_log(export(tmp_path, PLAIN.replace("20020", "4095")))
    assert log.channels["pressure_altitude"].values[2] == pytest.approx(4095 * FT)


def test_cells_that_the_columns_file_calls_missing(tmp_path: Path) -> None:
    text = PLAIN.replace("20010", "4095").replace("201.5", "OFF").replace("-24.8", "PROBE HTR")
    path = export(tmp_path, text.replace("\n", ",OFF\n").replace("degc,OFF", "degc,AP engaged"))
    sheet = ColumnsFile(columns={
        "pressure_altitude": Column(column="pressure_altitude_ft", missing=(4095,)),
        "indicated_airspeed": Column(column="ias_kt", missing=("off",)),
        "static_air_temperature": Column(column="sat_degc", missing=("PROBE HTR",))})
    log = read_log(path, sheet)
    assert np.isnan(log.channels["pressure_altitude"].values).tolist() == [0, 1, 0, 0]
    assert np.isnan(log.channels["indicated_airspeed"].values).tolist() == [0, 0, 1, 0]
    assert np.isnan(log.channels["static_air_temperature"].values).tolist() == [0, 0, 1, 0]
    assert log.channels["autopilot"].values.tolist() == [0, 0, 0, 0]


LEVER = {"UP": 0, "T/O": 15, "LAND": 35}


@pytest.mark.parametrize("form", ["csv", "text", "dictionary", "codes"])
def test_words_and_codes_mean_what_the_columns_file_says(form: str, tmp_path: Path) -> None:
    words = ["up", "T/O", "T/O", "LAND"]
    coded = Column(column="LEVER", unit="deg", values=LEVER)
    if form == "csv":
        text = PLAIN.split("\n")
        path = export(tmp_path, "\n".join([text[0] + ",LEVER", *(
            f"{row},{word}" for row, word in zip(text[1:], words, strict=False)), ""]))
    else:
        array = pa.array(words)
        if form == "codes":
            array = pa.array([0, 1, 1, 2], pa.int8())
            coded = Column(column="LEVER", unit="deg", values={"0": 0, "1": 15, "2": 35})
        path = parquet(tmp_path, {
            "time_s": pa.array(np.arange(4.0)), "press_alt_ft": pa.array(np.zeros(4)),
            "ias_kt": pa.array(np.full(4, 200.0)),
            "LEVER": array.dictionary_encode() if form == "dictionary" else array})
    log = read_log(path, ColumnsFile(columns={"flap_lever": coded}))
    np.testing.assert_allclose(log.channels["flap_lever"].values, np.radians([0, 15, 15, 35]))
    missing = ColumnsFile(columns={"flap_lever": coded.model_copy(
        update={"values": dict(list(coded.values.items())[:2])})})
    with pytest.raises(Problem, match="isn't a state that is known; export states as 0 and 1, or "
                       "say what it means under values in a columns file"):
        read_log(path, missing)


def test_codes_stated_in_brackets(tmp_path: Path) -> None:
    path = export(tmp_path, 'time_s,press_alt_ft,ias_kt,"GEAR (0=DOWN,1=UP)"\n0,0,200,0\n'
                  "1,0,200,1\n2,0,200,\n")
    np.testing.assert_array_equal(read_log(path).channels["gear_down"].values, [1, 0, np.nan])


@pytest.mark.parametrize("metadata", [
    {"units": '{"HP": "m", "IAS": "km/h"}'}, {"HP.unit": "m", "IAS.units": "km/h"},
    {"unit:HP": "m", "unit:IAS": "km/h"},
])
def test_units_in_the_metadata_of_a_parquet_table(metadata: dict[str, str],
                                                  tmp_path: Path) -> None:
    table = pa.table({"time_s": pa.array([0.0, 1.0]), "HP": pa.array([100.0, 100.0]),
                      "IAS": pa.array([360.0, 360.0])})
    path = tmp_path / "flight.parquet"
    pq.write_table(table.replace_schema_metadata(metadata), path)
    log = read_log(path)
    assert log.channels["pressure_altitude"].values.tolist() == [100, 100]
    np.testing.assert_allclose(log.channels["indicated_airspeed"].values, 100)
    assert reading_text.known_by(log.channels["pressure_altitude"]) == (
        "recognised by its name, unit from the table's metadata")


def test_two_parquet_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    ones = pa.array([1.0, 1.0])
    path = tmp_path / "flight.parquet"
    pq.write_table(pa.Table.from_arrays([ones, ones, ones, ones], [
        "time_s", "press_alt_ft", "ias_kt", "ias_kt"]), path)
    with pytest.raises(Problem, match='2 columns are called "ias_kt"'):
        read_log(path)


def test_two_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("sat_degc", "ias_kt"))
    with pytest.raises(Problem, match='2 columns are called "ias_kt"'):
        read_log(path)
