"""Writes exports that need a closer look to be read; called by ``write.py``."""

from __future__ import annotations

import io
import zipfile

import pyarrow as pa
import pyarrow.parquet as pq
from gallery.writing import FEW, HERE, KMH, PLAIN, T, elapsed, grid, plain, put, stamps, text

CELL_UNITS = ("s", "ft", "kt", "degC", "deg", "deg", "")


def bare(rows: list[list[str]]) -> tuple[list[str], list[str]]:
    """Return the names of a header without their units, and the units."""
    return ([name.split(" [")[0] for name in rows[0]],
            [name.split("[")[1][:-1] if "[" in name else "" for name in rows[0]])


def aligned(rows: list[list[str]], widths: list[int]) -> str:
    return "".join("".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))
                   .rstrip() + "\n" for row in rows)


def blanks() -> None:
    rows = plain()
    short = [["TIME_S", "PALT_FT", "KIAS", "SAT_C", "HDG", "FLAP_DEG", "GEAR_DOWN"], *rows[1:]]
    put("white_space.txt", "".join(" ".join(row) + "\n" for row in short))
    put("white_space_names.txt", "Invented replay, 40 samples\n\n" + aligned(
        rows, [max(map(len, column)) + 2 for column in zip(*rows, strict=True)]))
    names, units = bare(rows)
    rule = ["-" * max(len(name), 6) for name in names]
    put("white_space_rule.txt", aligned([names, [*units[:-1], "-"], rule, *rows[1:]], [
        max(map(len, column)) + 2 for column in zip(names, rule, strict=True)]))
    sparse = [[*row] for row in short]
    for i, row in enumerate(sparse[1:]):
        row[3] = row[3] if i % 4 == 0 else ""
        row[4] = row[4] if i % 2 == 0 else ""
    put("fixed_width.txt", aligned(sparse, [8, 9, 8, 8, 8, 10, 11]))


def cells() -> None:
    rows = plain()
    names, _ = bare(rows)
    put("units_in_cells.csv", text([names, *(
        [f"{cell} {unit}".strip() for cell, unit in zip(row, CELL_UNITS, strict=True)]
        for row in rows[1:])]))
    put("units_in_some_cells.csv", text([rows[0], *(
        [*row[:1], f"{row[1]}ft", *row[2:]] for row in rows[1:])]))
    put("minus_sign.csv", text(rows).replace(",-", ",\u2212"))
    put("totals.csv", text(rows) + "TOTAL,,,,,,40\nMIN,3900,160.0,-8.9,0.0,0.0,0\n"
        "MAX,4500,190.0,0.4,359.9,15.0,1\nAverage,4200,175.0,-4.0,10.0,7.0,0.5\n")
    stamped = grid(T, {"UTC": stamps("%Y-%m-%d %H:%M:%S,%L")}, FEW)
    put("decimal_comma_stamps.csv", text(stamped, ";", ","))


def lines() -> None:
    rows = plain()
    names, units = bare(rows)
    types = ["FLOAT", "INT32", "FLOAT", "FLOAT", "FLOAT", "FLOAT", "BOOL"]
    put("types_row.csv", text([names, units, types, *rows[1:]]))
    put("types_row_first.csv", text([names, types, units, *rows[1:]]))
    put("types_row_alone.csv", text([rows[0], ["float", "int", *["double"] * 4, "int"],
                                     *rows[1:]]))
    put("broken_names.csv", text([[f'"{name.replace(" [", chr(10) + "[")}"' for name in rows[0]]])
        .replace('"""', '"') + text(rows[1:]))
    remarks = [[*row, "Remark" if not i else ""] for i, row in enumerate(rows)]
    remarks[1][-1], remarks[20][-1] = "taken over\nby the crew", "a note,\nin two lines"
    put("broken_cells.csv", "".join(
        ",".join(f'"{cell}"' if "\n" in cell else cell for cell in row) + "\n"
        for row in remarks))
    order = [*rows[0][:3], rows[0][5], rows[0][6], rows[0][3], rows[0][4]]
    places = [rows[0].index(name) for name in order]
    sparse = [[row[i] for i in places] for row in rows]
    for i, row in enumerate(sparse[1:]):
        row[5] = row[5] if i % 4 == 0 else ""
        row[6] = row[6] if i % 8 == 0 else ""
    put("without_trailing_blanks.csv", "".join(
        ",".join(row).rstrip(",") + "\n" for row in sparse))


def headers() -> None:
    rows = plain()
    names, units = bare(rows)
    kmh = grid(T, elapsed(), [PLAIN[0], ("IAS [km/h]", "indicated_airspeed", KMH, 1), *PLAIN[2:]])
    put("later_order.csv", text(rows[:16]) + text(
        [[row[i] for i in (3, 2, 1, 0, 6, 5, 4)] for row in [rows[0], *rows[16:]]]))
    put("later_unit.csv", text(rows[:16]) + text([kmh[0], *kmh[16:]]))
    other = [unit.replace("kt", "km/h") for unit in units]
    put("later_units_row.csv", text([names, units, *rows[1:16]]) + text(
        [names, other, *kmh[16:]]))
    put("later_column.csv", text(rows[:16]) + text(
        [[*row, "Cabin Call" if not i else "0"] for i, row in enumerate([rows[0], *rows[16:]])]))
    put("two_logs.csv", "Recorder 1\n\n" + text(rows[:16]) + "\nRecorder 1\n\n" + text(
        [[row[i] for i in (1, 0, 2, 3, 4, 5, 6)] for row in [rows[0], *rows[16:]]]))


def containers() -> None:
    rows = plain()
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("flight/"), b"")
        archive.writestr(zipfile.ZipInfo("flight/plain.csv"), text(rows))
        archive.writestr(zipfile.ZipInfo("__MACOSX/._plain.csv"), b"\0")
    put("packed.csv.zip", stream.getvalue())
    table = pa.table({name: pa.array([row[i] or None for row in rows[1:]])
                      for i, name in enumerate(rows[0])})
    pq.write_table(table, HERE / "text_columns.parquet")
    comma = pa.table({name: pa.array([row[i].replace(".", ",") for row in rows[1:]])
                      for i, name in enumerate(rows[0])})
    pq.write_table(comma, HERE / "text_columns_comma.parquet")


def forms() -> None:
    blanks()
    cells()
    lines()
    headers()
    containers()
