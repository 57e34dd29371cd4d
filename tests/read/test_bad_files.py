"""Files that aren't logs, each refused in one exact sentence."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import PLAIN, export, parquet

from loganalyze import ColumnsFile, Problem, read_flights, read_log
from loganalyze.sheets.columns_file import Column
from loganalyze.text.language import reading_text

HEADER = PLAIN.split("\n")[0]
MANY = "\n".join([HEADER, *(f"{i},20000,200,-20" for i in range(240_000)), ""])

BAD: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "{}: the file is empty; export the log again."),
    "empty once unpacked": (
        gzip.compress(b""), "{}: the file is empty once unpacked; export the log again."),
    "blank lines": (
        b"\n\n \n", "{}: the file holds nothing but blank lines; export the log again."),
    "header only": (
        HEADER.encode() + b"\n", "{}: the file holds a header but no rows; export the log again."),
    "header and units only": (
        b"time,press_alt,ias\ns,ft,kt\n",
        "{}: the file holds a header but no rows; export the log again."),
    "prose": (
        b"Dear colleague,\nthe flight went well, I think.\nWe saw the coast, too.\nBye\n",
        "{}: this isn't a log: no rows of numbers under a header in its first lines; give a CSV "
        "or Parquet export with a named column a channel."),
    "no header": (
        b"0,1,2\n1,2,3\n",
        "{}, line 1: no header names the columns; add a line of column names above the first "
        "row."),
    "binary": (
        bytes(range(256)) * 20,
        "{}: this isn't a log but binary data; give the recorder's export as CSV or Parquet, not "
        "its raw memory."),
    "web page": (
        b"<!DOCTYPE html>\n<html><body>Log in, please.</body></html>\n",
        "{}: this isn't a log but a web page; download the export itself, as CSV or Parquet."),
    "spreadsheet": (
        b"PK\x03\x04" + bytes(50),
        "{}: the zip archive is damaged or cut short; export or copy it again."),
    "document": (
        b"%PDF-1.7\n", "{}: this isn't a log but a PDF document; give the recorder's export as "
        "CSV or Parquet."),
    "cut gzip": (
        gzip.compress(MANY.encode())[:-2000],
        "{}: the compressed file is damaged or cut short; export or copy it again."),
    "cut Parquet": (
        b"PAR1" + bytes(100),
        "{}: the Parquet file is damaged or cut short; export or copy it again."),
    "packed Parquet": (
        gzip.compress(b"PAR1" + bytes(100)),
        "{}: a Parquet file packed once more can't be read in place; unpack it first (Parquet is "
        "compressed inside)."),
    "text in a number column": (
        PLAIN.replace("201,", "fast,").encode(),
        '{}, line 3: "fast" in column "ias_kt" isn\'t a number; mend the cell, or leave it blank '
        "where nothing was recorded."),
    "text far below": (
        MANY.replace("\n230000,20000,", "\n230000,high,").replace(
            "\n230001,20000,", "\n230001,high,").encode(),
        '{}, line 230002: "high" in column "pressure_altitude_ft" isn\'t a number; mend the cell, '
        "or leave it blank where nothing was recorded."),
    "text in the time column": (
        PLAIN.replace("\n0.5,", "\nlate,").encode(),
        '{}, line 4: "late" in column "time_s" isn\'t a number; mend the cell, or leave it blank '
        "where nothing was recorded."),
    "a line too short": (
        PLAIN.replace("0.5,20020,", "0.5,").encode(),
        "{}, line 4: the line has 3 cells where the others have 4; export the log again, or mend "
        "the line."),
    "a broken first row": (
        PLAIN.replace("\n0,20000,", "\n0,20000,,,").encode(),
        "{}, line 2: the line has 6 cells where the others have 4; export the log again, or mend "
        "the line."),
    "a state that is none": (
        PLAIN.replace("sat_degc", "gear_down").replace("-24.7", "sideways").replace(
            "-24.6", "UP").encode(),
        '{}, line 3: "sideways" in column "gear_down" isn\'t a state that is known; export states '
        "as 0 and 1, or say what it means under values in a columns file."),
    "fewer names than cells": (
        PLAIN.replace("\n", ",1,2\n").replace("degc,1,2", "degc,flap").encode(),
        "{}, line 1: the header names 5 columns, but the rows have 6 cells; mend the header "
        "line."),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_files(kind: str, tmp_path: Path) -> None:
    data, sentence = BAD[kind]
    path = export(tmp_path, data)
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == sentence.format(path)
    with pytest.raises(Problem) as again:
        list(read_flights(path))
    assert again.value.sentence == sentence.format(path)


def test_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.csv"
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == f"{path}: there is no such file; check the path."


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(Problem) as caught:
        read_log(tmp_path)
    assert caught.value.sentence == (
        f"{tmp_path}: no log is in this folder; name a log, or a folder with the files of one.")


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = export(tmp_path, PLAIN)

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f"{path}: no permission to read this file; ask its owner, or copy it where you may read "
        "it.")


def test_parquet_without_rows(tmp_path: Path) -> None:
    path = parquet(tmp_path, {"time_s": pa.array([], pa.float64())})
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f"{path}: the file holds columns but no rows; export the log again.")


def test_a_nested_column_on_which_no_verdict_rests_is_left_unread(tmp_path: Path) -> None:
    columns = {"time_s": pa.array([0.0, 1.0]), "pressure_altitude_ft": pa.array([1e4, 1e4]),
               "ias_kt": pa.array([100.0, 101]), "Pitch [deg]": pa.array([[1.0, 2], [1.0, 2]])}
    log = read_log(parquet(tmp_path, columns))
    assert "pitch" not in log
    assert reading_text.sentences(log.source.inferred) == (
        'Column "Pitch [deg]" was not read: it holds list<element: double>, not numbers.',)
    chosen = ColumnsFile(columns={"pitch": Column(column="Pitch [deg]")})
    with pytest.raises(Problem, match=r'column "Pitch \[deg\]" holds list<.*>, not numbers'):
        read_log(parquet(tmp_path, columns), chosen)


def test_parquet_text_and_nested_columns(tmp_path: Path) -> None:
    good = {"time_s": pa.array([0.0, 1.0]), "press_alt_ft": pa.array([0.0, 1.0])}
    path = parquet(tmp_path, good | {"ias_kt": pa.array(["200", "fast"])})
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: column "ias_kt" holds text, not numbers; export it as numbers, or name another '
        "column as indicated_airspeed in a columns file.")
    path = parquet(tmp_path, good | {"ias_kt": pa.array([{"l": 1.0}, {"l": 2.0}])})
    with pytest.raises(Problem, match=r"holds struct<l: double>, not numbers"):
        read_log(path)


def test_a_column_that_is_nowhere_recorded_is_nan(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN.replace("-24.6", "").replace("-24.7", "NA")
                  .replace("-24.8", "---").replace("-24.9", "null"))
    assert np.isnan(read_log(path).channels["static_air_temperature"].values).all()
