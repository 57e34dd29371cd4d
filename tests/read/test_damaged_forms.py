"""One damaged byte, cell or line in the forms that take a closer look: refused, or read as before.

Wherever the damage isn't refused, every value more than 8 s from it must be what it was.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from loganalyze import Problem, read_log

ROWS, REACH, TRIALS = 240, 8, 150
NAMES = ["Time [s]", "Pressure Altitude [ft]", "IAS [kt]", "SAT [degC]", "Gear Down"]
BYTES = (b",", b";", b"\n", b'"', b"\x00", b"-", b"e", b"\t", b"|", b"\r", b".", b"#", b" ", b":",
         b"0", b"9", b"\x1a", b"ft")
CELLS = ("", "-", "NaN", "inf", "9" * 40, "1,5", '"', '"x', "#", "-9999", "0", "DOWN", "TOTAL",
         "IAS [km/h]", "ft", "99999", "1 2", "8000 ft", "Time [s]")


def cells(t: int) -> list[str]:
    return [str(t), str(5000 + 20 * t), f"{225 + 40 * np.sin(t / 40):.1f}", f"{5 - t / 25:.1f}",
            str(int(t < 30))]


TABLE = [cells(t) for t in range(ROWS)]
BARE = ["Time", "Pressure Altitude", "IAS", "SAT", "Gear Down"]


def text(rows: list[list[str]], delimiter: str = ",") -> str:
    return "".join(delimiter.join(row) + "\n" for row in rows)


def fixed(rows: list[list[str]]) -> str:
    return "".join("".join(cell.rjust(width) for cell, width in zip(
        row, (9, 24, 11, 13, 12), strict=True)).rstrip() + "\n" for row in rows)


def sparse(rows: list[list[str]]) -> list[list[str]]:
    return [[*row[:3], row[3] if i % 4 == 0 else "", *row[4:]] for i, row in enumerate(rows)]


def later(order: tuple[int, ...], names: list[str], factor: float = 1.0) -> str:
    second = [[*row[:2], f"{float(row[2]) * factor:.1f}", *row[3:]] for row in TABLE[120:]]
    return text([NAMES, *TABLE[:120], *([row[i] for i in order] for row in [names, *second])])


TAIL = [0, 1, 2, 4, 3]
FORMS = {
    "comma": text([NAMES, *TABLE]),
    "white space": text([[name.replace(" ", "_") for name in NAMES], *TABLE], " "),
    "aligned": fixed([NAMES, *TABLE]),
    "fixed width": fixed([NAMES, *sparse(TABLE)]),
    "units in cells": text([BARE, *([row[0] + " s", row[1] + " ft", row[2] + " kt",
                                     row[3] + " degC", row[4]] for row in TABLE)]),
    "types row": text([BARE, ["s", "ft", "kt", "degC", ""],
                       ["float", "int", "float", "float", "bool"], *TABLE]),
    "another order": later((3, 2, 1, 0, 4), NAMES),
    "another unit": later((0, 1, 2, 3, 4), [*NAMES[:2], "IAS [km/h]", *NAMES[3:]], 1.852),
    "without trailing blanks": "".join(",".join(row).rstrip(",") + "\n" for row in [
        [NAMES[i] for i in TAIL], *([row[i] for i in TAIL] for row in sparse(TABLE))]),
    "minus sign": text([NAMES, *TABLE]).replace(",-", ",\u2212"),
    "totals": text([NAMES, *TABLE]) + "TOTAL,1000,2000,30,3\n",
    "the header again": text([NAMES, *TABLE[:120], NAMES, *TABLE[120:]]),
    "broken cells": text([[*NAMES, "Remark"], *([*row, '"one\nand two"' if i % 50 == 0 else ""]
                                                for i, row in enumerate(TABLE))]),
}


def damaged(whole: bytes, dice: random.Random) -> tuple[bytes, int]:
    """Return a text with one byte, cell or line damaged, and the byte at which it is."""
    kind = dice.choice(("swap", "insert", "drop", "cell", "line", "cut", "twice"))
    place = dice.randrange(len(whole))
    if kind in ("swap", "insert", "drop"):
        new = b"" if kind == "drop" else dice.choice(BYTES)
        return whole[:place] + new + whole[place + (kind != "insert"):], place
    lines = whole.split(b"\n")
    number = dice.randrange(len(lines) - 1)
    place = sum(len(line) + 1 for line in lines[:number])
    line = lines[number]
    if kind == "line" and b"Time" not in line and b"km/h" not in line:
        del lines[number]  # Of a header that is gone as a whole, nothing tells.
    elif kind == "twice":
        lines.insert(number, line)
    elif kind == "cut":
        lines[number] = line[: dice.randrange(len(line) + 1)]
    else:
        mark = b"," if b"," in line else b" "
        parts = line.split(mark)
        parts[dice.randrange(len(parts))] = dice.choice(CELLS).encode()
        lines[number] = mark.join(parts)
    return b"\n".join(lines), place


def read(path: Path) -> tuple[dict[str, dict[float, float]], str]:
    """Return the values of each channel by time, and the starter that a log without altitude has.
    """
    log = read_log(path)
    found = {}
    for name, channel in log.channels.items():
        rows = np.arange(len(log.time)) if channel.rows is None else channel.rows
        found[name] = {float(log.time[row]): float(value)
                       for row, value in zip(rows, channel.values, strict=True)
                       if np.isfinite(value)}
    return found, log.source.starter


@pytest.mark.parametrize("form", FORMS)
def test_damage_reaches_no_further(form: str, tmp_path: Path) -> None:
    dice, path = random.Random(form), tmp_path / "flight.csv"
    whole = FORMS[form].encode()
    path.write_bytes(whole)
    before, outcomes = read(path)[0], Counter[str]()
    assert set(before) >= {"pressure_altitude", "indicated_airspeed", "static_air_temperature"}
    for trial in range(TRIALS):
        text, place = damaged(whole, dice)
        path.write_bytes(text)
        # Where in time the damage is: by its share of the rows, and those of the header at zero.
        at = max(whole[:place].count(b"\n") - 1, 0)
        try:
            after, starter = read(path)
        except Problem:
            outcomes["refused"] += 1
            continue
        outcomes["read"] += 1
        for name in ("pressure_altitude", "indicated_airspeed"):
            if name == "pressure_altitude" and name not in after and not at:
                # Its name is damaged: a log needs no altitude, but must say that it has none.
                assert "pressure_altitude" in starter
                continue
            # Other lines than rows, up to five, stand above some rows.
            far = {t for t in before[name] if abs(t - at) > REACH + 5}
            # Time counts from the first sample: it may be the one that was lost.
            lost = min(([t for t in far if abs(after.get(name, {}).get(t - shift, np.inf)
                                               - before[name][t]) > 1e-3] for shift in (0, 1)),
                       key=len)
            assert not lost, (trial, name, text[max(place - 60, 0) : place + 60], lost[:5],
                              len(lost))
    assert outcomes["read"] > TRIALS / 5, outcomes
