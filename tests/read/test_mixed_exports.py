"""Exports that begin alike and differ below, read one after the other: each as if read alone."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.fresh_reading import given

HEADER = "Time,Pressure Altitude [ft],IAS [kt],OAT,Gear Down,Load Factor"
SECONDS = [f"2031-01-01 06:{i // 60:02}:{i % 60:02}Z" for i in range(3000)]


def rows(count=60, stamp=lambda i: SECONDS[i], oat=lambda i: f"{10.5 - i / 100:.2f}"):
    return [[stamp(i), f"{1000 + 3 * i}", f"{150 + (i % 7) / 4:g}", oat(i), f"{int(i < 9)}",
             f"{1 + (i % 5) / 1000 - 0.002:.3f}"] for i in range(count)]


def text(cells, header=HEADER, end="\n"):
    return end.join([header, *(",".join(row) for row in cells)]) + end


def with_cell(row, column, cell, count=60):
    cells = rows(count)
    cells[row][column] = cell
    return text(cells)


def by_column(column, change, count=60):
    cells = rows(count)
    for i, row in enumerate(cells):
        row[column] = change(i, row[column])
    return text(cells)


def with_line(at, line):
    lines = text(rows()).split("\n")
    return "\n".join([*lines[:at], line, *lines[at:]])


TEXTS = {
    "plain": text(rows()),
    "longer": text(rows(700)),
    "two_rows": text(rows(2)),
    "one_row": text(rows(1)),
    "no_rows": HEADER + "\n",
    "crlf": text(rows(), end="\r\n"),
    "crlf_below": HEADER + "\n" + text(rows(), end="\r\n").split("\r\n", 1)[1],
    "no_last_end": text(rows()).rstrip("\n"),
    "cut_off": text(rows())[:-9],
    "decimal_comma": by_column(3, lambda i, cell: '"' + cell.replace(".", ",") + '"'),
    "quoted": by_column(2, lambda i, cell: f'"{cell}"'),
    "units_in_cells": by_column(2, lambda i, cell: f"{cell} kt"),
    "grouped_by_points": by_column(1, lambda i, cell: f"{(990 + i) / 1000:.3f}" if i > 9 else (
        f"{990 + i}")),
    "points_and_below": by_column(5, lambda i, cell: "1.004" if i % 2 else "982"),
    "two_points": by_column(1, lambda i, cell: "1.004.000"),
    "no_points": by_column(5, lambda i, cell: "1"),
    "commas_group": by_column(1, lambda i, cell: '"1,004"'),
    "words": by_column(4, lambda i, cell: "DOWN" if cell == "1" else "UP"),
    "flags_of_two": by_column(4, lambda i, cell: f"{i % 3}"),
    "exponents": by_column(1, lambda i, cell: f"{float(cell):.3e}"),
    "signs": by_column(3, lambda i, cell: f"+{cell}"),
    "minus_of_type": by_column(3, lambda i, cell: f"\u2212{cell}"),
    "blank_cells": by_column(2, lambda i, cell: "" if i % 4 == 1 else cell),
    "blank_last": by_column(5, lambda i, cell: ""),
    "few_blank_last": by_column(5, lambda i, cell: "" if i % 20 == 3 else cell),
    "blanks_around": by_column(2, lambda i, cell: f" {cell}"),
    "left_out_last": text([row[: 6 - i % 2] for i, row in enumerate(rows())]),
    "one_too_many": text([[*row, "7"] for row in rows()]),
    "missing_words": by_column(2, lambda i, cell: "---" if i % 9 == 1 else cell),
    "late_word": with_cell(640, 2, "FAIL", 700),
    "late_text": with_cell(640, 2, "abc", 700),
    "late_comma": with_cell(640, 2, '"150,5"', 700),
    "early_text": with_cell(20, 2, "abc"),
    "early_quote": with_cell(20, 2, '"150"'),
    "stamp_without_zone": text(rows(stamp=lambda i: SECONDS[i].rstrip("Z"))),
    "stamp_with_parts": text(rows(stamp=lambda i: SECONDS[i].replace("Z", ".250Z"))),
    "day_first": text(rows(stamp=lambda i: f"13/02/2031 06:00:{i:02}")),
    "either_first": text(rows(stamp=lambda i: f"03/02/2031 06:00:{i:02}")),
    "time_of_day": text(rows(stamp=lambda i: SECONDS[i][11:-1])),
    "mixed_stamps": text(rows(stamp=lambda i: SECONDS[i] if i % 2 else SECONDS[i][11:])),
    "seconds": text(rows(stamp=lambda i: f"{i}")),
    "quarter_seconds": text(rows(stamp=lambda i: f"{i / 4}")),
    "milliseconds": text(rows(stamp=lambda i: f"{1000 * i}")),
    "since_1970": text(rows(stamp=lambda i: f"{1_900_000_000 + i}")),
    "kelvin": text(rows(oat=lambda i: f"{283.5 - i / 100:.2f}")),
    "kelvin_first": text(rows(700, oat=lambda i: f"{283.5 if i < 600 else 10.5:.2f}")),
    "comment": with_line(9, "# paused"),
    "comments_of_other_marks": with_line(9, "* paused"),
    "blank_line": with_line(9, ""),
    "header_again": with_line(30, HEADER),
    "other_header": with_line(30, "Time,IAS [kt],Pressure Altitude [ft],OAT,Gear Down,Load Factor"),
    "units_row": with_line(1, "UTC,ft,kt,degC,-,g"),
    "types_row": with_line(1, "string,float,float,float,int,float"),
    "total": with_line(61, "Max,1177,151.5,10.5,1,1.002"),
    "preamble": "Tail,X-1\n" + text(rows()),
    "numbers_above": "1,2,3,4,5,6\n" + text(rows()),
    "byte_order_mark": "\ufeff" + text(rows()),
    "not_ascii_below": with_cell(640, 2, "150\u00b0", 700),
    "other_names": text(rows(), HEADER.replace("IAS [kt]", "IAS [km/h]")),
}


def frame(units, unit_by_table=False, ias=None):
    """Return a table whose columns are named alike, in what is stated otherwise."""
    fields, arrays = [], []
    stamps = pa.array(range(0, 60_000, 1000), pa.timestamp("ms", "UTC"))
    values = {"Pressure Altitude": [1000.0 + 3 * i for i in range(60)],
              "IAS": ias or [150.0 + i % 7 for i in range(60)],
              "OAT": [283.0 - i / 100 for i in range(60)]}
    for name, column in {"Time": stamps, **values}.items():
        array = column if isinstance(column, pa.Array) else pa.array(column)
        unit = {} if unit_by_table or name not in units else {"unit": units[name]}
        fields.append(pa.field(name, array.type, metadata=unit))
        arrays.append(array)
    table = {"units": json.dumps(units)} if unit_by_table else {}
    return pa.table(arrays, pa.schema(fields, metadata=table))


FRAMES = {
    "feet": frame({"Pressure Altitude": "ft", "IAS": "kt", "OAT": "K"}),
    "metres": frame({"Pressure Altitude": "m", "IAS": "kt", "OAT": "K"}),
    "listed": frame({"Pressure Altitude": "ft", "IAS": "km/h", "OAT": "K"}, unit_by_table=True),
    "listed_otherwise": frame({"Pressure Altitude": "ft", "IAS": "kt"}, unit_by_table=True),
    "unstated": frame({}),
    "whole_numbers": frame({"Pressure Altitude": "ft", "IAS": "kt"}, ias=[150] * 60),
}


@pytest.fixture(scope="module")
def exports(tmp_path_factory):
    folder = tmp_path_factory.mktemp("exports")
    for name, content in TEXTS.items():
        (folder / f"{name}.csv").write_bytes(content.encode())
    (folder / "latin.csv").write_bytes(TEXTS["not_ascii_below"].encode("latin-1"))
    (folder / "utf_16.csv").write_bytes(TEXTS["plain"].encode("utf-16"))
    for name, table in FRAMES.items():
        pq.write_table(table, folder / f"{name}.parquet")
    return sorted(map(str, folder.iterdir()))


@pytest.fixture(scope="module")
def fresh(exports):
    ran = subprocess.run([sys.executable, "-m", "tests.read.fresh_reading", *exports],
                         capture_output=True, text=True, check=True,
                         cwd=Path(__file__).parents[2])
    return json.loads(ran.stdout)


@pytest.mark.parametrize("seed", range(3))
def test_each_is_read_as_if_nothing_was_read_before(exports, fresh, seed):
    # Twice over, so that each also comes after itself.
    order = random.Random(seed).sample(exports * 2, 2 * len(exports))
    different = [path for path in order if given(path) != fresh[path]]
    assert different == []


def test_they_differ(exports, fresh):
    # What is compared isn't all one: most are read, and hardly two are alike.
    read = [path for path in exports if not fresh[path].startswith(path)]
    assert 40 < len(read) < len(exports)
    assert len(set(fresh.values())) == len(exports)
