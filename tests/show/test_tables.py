import csv
import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from loganalyze.show.tables import sample_table, table_columns
from loganalyze.show.tables.exceedance_table import EXCEEDANCE_COLUMNS, EXCEEDANCES
from loganalyze.show.tables.table_columns import Origin
from loganalyze.text.flight_account import exceedance_facts, flight_facts

ORIGIN = Origin("log.csv", "an invented twin", "")


def test_numbers_are_null_where_nan():
    array = table_columns.numbers(np.array([1.5, np.nan, -2.0], dtype=np.float32), pa.float32())
    assert array.to_pylist() == [1.5, None, -2.0]
    assert array.null_count == 1
    array.validate(full=True)


def test_numbers_without_nan_carry_no_bitmap():
    array = table_columns.numbers(np.arange(9, dtype=np.float64), pa.float64())
    assert array.null_count == 0
    assert array.buffers()[0] is None
    assert array.to_pylist() == list(range(9))


@pytest.mark.parametrize("values", [[], [""], ["a", None, "ü°"], [None]])
def test_texts_come_back(values):
    array = table_columns.texts(values)
    array.validate(full=True)
    assert array.to_pylist() == values


def test_words_are_null_where_the_code_has_none():
    array = table_columns.words(np.array([0, 255, 1], dtype=np.uint8), ["VMO", "MMO"])
    array.validate(full=True)
    assert array.to_pylist() == ["VMO", None, "MMO"]


def test_samples_hold_every_column_and_only_known_numbers(judged):
    analysis = judged(np.full(5, 200.0), temperature=False, dated=False)
    table = sample_table.sample_table(analysis, ORIGIN)
    table.validate(full=True)
    names = [column.name for column in sample_table.sample_columns(["VMO", "MMO", "VFE 20"])]
    assert table.column_names == names
    assert names[-6:-3] == ["state_VMO", "state_MMO", "state_VFE 20"]
    assert table["log"].to_pylist() == ["log.csv"] * 5
    assert table["limits_sheet"].null_count == 5
    for absent in ("utc", "true_airspeed_kt", "density_altitude_ft", "isa_deviation_degc"):
        assert table[absent].null_count == 5
    assert table["calibrated_airspeed_kt"].to_pylist() == [200.0] * 5
    assert table["state"].to_pylist() == ["under"] * 5
    assert table["state_VFE 20"].to_pylist() == ["not applicable"] * 5
    assert table["governing_limit"].to_pylist() == ["VMO"] * 5
    assert table["margin_kt"].to_pylist() == pytest.approx([45.0] * 5, abs=1e-4)


def test_samples_agree_with_the_data_frame(analysis):
    table = sample_table.sample_table(analysis, ORIGIN)
    frame = analysis.samples
    for name in frame.columns:
        ours = table[name].to_pylist()
        theirs = [None if value != value else value for value in frame[name].tolist()]
        assert ours == theirs, name


def test_samples_know_their_utc(judged):
    table = sample_table.sample_table(judged(np.full(3, 200.0), start=10.0), ORIGIN)
    assert [str(stamp) for stamp in table["utc"].cast(pa.timestamp("s", tz="UTC")).to_pylist()] \
        == [f"2031-05-06 07:08:{second}+00:00" for second in (19, 20, 21)]


def test_the_file_is_float32_but_for_time_and_split_by_bytes(analysis, tmp_path):
    path = tmp_path / "samples.parquet"
    with sample_table.sample_writer(str(path), analysis.limit_names) as writer:
        writer.write_table(sample_table.sample_table(analysis, ORIGIN))
    file = pq.ParquetFile(path)
    for field in file.schema_arrow:
        if pa.types.is_floating(field.type):
            assert field.type == (pa.float64() if field.name == "time_s" else pa.float32())
    group = file.metadata.row_group(0)
    for i in range(group.num_columns):
        column = group.column(i)
        assert column.compression == "ZSTD"
        if column.physical_type in ("FLOAT", "DOUBLE"):
            assert "BYTE_STREAM_SPLIT" in column.encodings
            assert not column.has_dictionary_page


def test_exceedances_in_csv_and_parquet_say_the_same(analysis):
    found = [(*row, *ORIGIN.cells) for row in EXCEEDANCES.rows(analysis, flight_facts(analysis))]
    assert len(found) == len(exceedance_facts(analysis)) == 1
    rows = list(csv.DictReader(io.StringIO(EXCEEDANCES.csv(found))))
    table = EXCEEDANCES.arrow(found)
    table.validate(full=True)
    assert list(rows[0]) == table.column_names
    (row,), (same,) = rows, table.to_pylist()
    assert row["limit"] == same["limit"] == "VMO"
    assert row["brief"] == "false"
    assert same["brief"] is False
    assert row["worst_excess_mach"] == ""
    assert same["worst_excess_mach"] is None
    assert float(row["worst_excess_kt"]) == same["worst_excess_kt"] == pytest.approx(5.0)
    assert row["start_utc"] == "2031-05-06T07:08:58.750Z"
    assert same["start_utc"].isoformat() == "2031-05-06T07:08:58.750000+00:00"


def test_no_exceedance_is_an_empty_table_with_all_columns():
    table = EXCEEDANCES.arrow([])
    table.validate(full=True)
    assert table.num_rows == 0
    assert table.column_names == [
        *(column.name for column in EXCEEDANCE_COLUMNS), "log", "aircraft", "limits_sheet"]
    assert EXCEEDANCES.csv([]).splitlines() == [",".join(table.column_names)]
