"""Damaged exports: bytes, cells and lines of the gallery changed at random.

A damaged export ends in a log whose clock rises, or in one sentence: never in a traceback,
never in a hang, and never in memory out of proportion.
"""

from __future__ import annotations

import random
import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pyarrow as pa
from gallery.cases import CASES, Case

from loganalyze import (
    Analysis,
    FlightLog,
    Intervals,
    Problem,
    Settings,
    analyze,
    read_flights,
    read_limits,
    read_log,
)

FILES = [case for case in CASES if case.path.is_file()]
TEXTS = [case for case in FILES if case.path.suffix in (".csv", ".txt", ".tsv")]
ROUNDS = 2
"""Damaged copies of each export."""
PATIENCE_S = 20
ROOM_MB = 500
"""More memory than a file of a few kB may ever take."""

BYTES = [b",", b";", b"\n", b'"', b"\x00", b"\xff", b"-", b"e", b"\t", b"|", b"\r", b".", b"#",
         b"\xef\xbb\xbf", b"\x1a", b"PAR1"]
CELLS = ["", " ", "-", "NaN", "inf", "-inf", "1e400", "9" * 400, "0x10", "1,5", "1.5", "1.500,5",
         '"', '"x', "#", "NCD", "-9999", "UP", "DOWN", "2026-02-30", "24:00:00", "23:59:60",
         "31/12/1999", "12:00 PM", "1e-400", "+", "١٢", "=1+1", "a" * 70000,
         "999999999999999999999"]


@contextmanager
def bounded() -> Iterator[None]:
    """Fail where what is inside takes too long or too much memory."""
    def too_long(*_: object) -> None:
        raise TimeoutError("reading hangs")

    earlier = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(PATIENCE_S)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    held = pa.total_allocated_bytes()
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, earlier)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    assert grown < ROOM_MB
    assert pa.total_allocated_bytes() - held < ROOM_MB * 1e6


def try_reading(path: Path, columns: Path | None) -> bool:
    """Read a damaged file as a whole and flight by flight; return whether it was read."""
    whole = attempt(lambda: [read_log(path, columns)], path, columns)
    # A clock that was set anew ends a flight, but not a whole log.
    flights = attempt(lambda: list(read_flights(path, columns, gap_s=1e12)), path, columns)
    assert flights or not whole
    for one in (*whole, *flights):
        assert np.isfinite(one.time).all()
        assert (np.diff(one.time) > 0).all()
        for name, channel in one.channels.items():
            rows = len(one) if channel.rows is None else len(channel.rows)
            assert len(channel.values) == rows, name
            assert channel.rows is None or (np.diff(channel.rows) > 0).all(), name
            assert not np.isinf(channel.values).any(), name
    return bool(whole)


def attempt(read: Callable[[], list[FlightLog]], path: Path, columns: Path | None
            ) -> list[FlightLog]:
    """Read, and return the logs, none where the file was refused."""
    said = ""
    with bounded():
        try:
            return read()
        except Problem as problem:
            said = problem.sentence
    # Whoever reads the sentence must know which file is meant.
    assert str(path) in said or str(columns) in said
    assert "\n" not in said
    return []


def other_bytes(data: bytes, rng: random.Random) -> bytes:
    text = bytearray(data)
    for _ in range(rng.randint(1, 2)):
        place = rng.randrange(len(text))
        kind = rng.randrange(4)
        if kind == 0:
            text[place] = rng.choice([rng.randrange(256), *b"0123456789"])
        elif kind == 1:
            text[place:place] = rng.choice(BYTES)
        elif kind == 2:
            del text[place : place + rng.choice([1, 2, 3, 40, 400])]
            text = text or bytearray(b"\n")
        else:
            text[place:place] = text[place : place + rng.choice([1, 7, 80, 800])]
    return bytes(text)


def other_lines(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    for _ in range(rng.randint(1, 3)):
        place, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        kind = rng.randrange(5)
        if kind == 0:
            lines.insert(place, lines[other])
        elif kind == 1 and len(lines) > 1:
            del lines[place]
        elif kind == 2:
            lines[place], lines[other] = lines[other], lines[place]
        elif kind == 3:
            lines[place : place + 1] = [lines[place][: len(lines[place]) // 2],
                                        lines[place][len(lines[place]) // 2 :]]
        else:
            lines = lines[: max(place, 1)]
    return b"\n".join(lines)


def other_cells(data: bytes, rng: random.Random) -> bytes:
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "latin-1"
    lines = data.decode(encoding).split("\n")
    marks = max(";,\t|", key=data.decode(encoding).count)
    for _ in range(rng.randint(1, 4)):
        place = rng.randrange(len(lines))
        cells = lines[place].split(marks)
        column = rng.randrange(len(cells))
        cells[column] = rng.choice([*CELLS, rng.choice(cells)])
        lines[place] = marks.join(cells)
    return "\n".join(lines).encode(encoding, "replace")


def damaged(case: Case, change: Callable[[bytes, random.Random], bytes], folder: Path) -> int:
    rng = random.Random(f"{case.file} {change.__name__}")
    path = folder / Path(case.file).name
    data = case.path.read_bytes()
    read = 0
    for _ in range(ROUNDS):
        path.write_bytes(change(data, rng))
        try:
            read += try_reading(path, case.columns)
        except BaseException:
            print(f"damaged by {change.__name__}: {path.read_bytes()[:6000]!r}")
            raise
    return read


def test_bytes(tmp_path: Path) -> None:
    read = sum(damaged(case, other_bytes, tmp_path) for case in FILES)
    assert 0.1 < read / (ROUNDS * len(FILES)) < 0.9


def test_lines(tmp_path: Path) -> None:
    assert sum(damaged(case, other_lines, tmp_path) for case in TEXTS) > len(TEXTS)


def test_cells(tmp_path: Path) -> None:
    assert sum(damaged(case, other_cells, tmp_path) for case in TEXTS) > len(TEXTS) / 2


SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.56
[[limit]]
name = "VFE"
quantity = "calibrated_airspeed"
maximum_kt = 240
when = { flap_deg = { above = 1 } }
"""
ROWS = 150
APART = Settings(join_gap_s=0.0, ride_gap_s=0.0, hole_longest_s=0.0)


def swinging(rng: np.random.Generator) -> list[list[str]]:
    """Rows of a flight that swings over its limits and back, in a little noise."""
    t = np.arange(float(ROWS))
    speed = 244 + 12 * np.sin(t / 17) + rng.normal(0, 0.4, ROWS)
    height = 20000 + 1500 * np.sin(t / 40) + rng.normal(0, 4, ROWS)
    heat = -25 - 2 * np.sin(t / 40) + rng.normal(0, 0.1, ROWS)
    flap = np.where((t > 20) & (t < 50), 10, 0)
    return [[f"{a:g}", f"{b:.0f}", f"{c:.1f}", f"{d:.1f}", f"{e}"]
            for a, b, c, d, e in zip(t, height, speed, heat, flap, strict=True)]


def judged(folder: Path, rows: list[list[str]]) -> Analysis:
    path, sheet = folder / "flight.csv", folder / "limits.toml"
    names = "Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC],Flap [deg]"
    path.write_text("\n".join([names, *map(",".join, rows), ""]))
    sheet.write_text(SHEET)
    # Joining makes one exceedance of two, however far from the sample that parts them.
    return analyze(read_log(path), read_limits(sheet), settings=APART)


def over(analysis: Analysis, limit: str) -> Intervals:
    return Intervals.of((one.start_s, one.end_s) for one in analysis.exceedances
                        if one.limit == limit)


def test_a_changed_sample_changes_nothing_beyond_its_neighbours(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    rows = swinging(rng)
    before = judged(tmp_path, rows)
    assert {one.limit for one in before.exceedances} == {"VMO", "MMO", "VFE"}
    changed = 0
    for _ in range(80):
        row, column = int(rng.integers(ROWS)), int(rng.integers(1, 5))
        was = float(rows[row][column])
        cell = str(rng.choice([
            f"{was + rng.normal(0, 3):.1f}", f"{was * rng.uniform(0.9, 1.1):.1f}",
            f"{was * rng.uniform(0.3, 3):.1f}", f"{rng.uniform(-1e5, 1e5):.0f}", "", "NCD", "0",
            "-9999", "1e400"]))
        other = [[*one] for one in rows]
        other[row][column] = cell
        after = judged(tmp_path, other)
        near = Intervals.of([(row - 1 - 1e-9, row + 1 + 1e-9)])
        suspect = any(one.start_s - 1 <= row <= one.end_s + 1 for one in after.suspects)
        for limit in before.limit_names:
            one, two = over(before, limit), over(after, limit)
            changed += one != two
            beyond = (((one | two) - (one & two)) - near).duration
            assert suspect or beyond < 1e-6, (row, column, cell, limit)
    assert changed > 20
