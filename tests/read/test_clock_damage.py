"""One damaged cell of a clock, of every kind of clock: no other row's time changes by it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from small_exports import export, lines

from loganalyze import ColumnsFile, FlightLog, Problem, read_flights, read_log
from loganalyze.text.language import reading_text

ROWS = 900
START = datetime(2026, 2, 28, 23, 52, 30)
WEEK_0 = datetime(1980, 1, 6)


def at(row: int) -> datetime:
    return START + timedelta(seconds=row)


def since(instant: datetime) -> float:
    return (instant - datetime(1970, 1, 1)).total_seconds()


def stamp(pattern: str) -> Callable[[int], list[str]]:
    return lambda row: [at(row).strftime(part) for part in pattern.split(";")]


def count(make: Callable[[int], str]) -> Callable[[int], list[str]]:
    return lambda row: [make(row)]


TIME = {"column": "Time"}
CLOCKS: dict[str, tuple[str, Callable[[int], list[str]], dict]] = {
    # name: header, the cells of a row, what the columns file says
    "elapsed": ("Time [s]", count(lambda row: f"{row}"), {}),
    "elapsed, not from zero": ("Time [s]", count(lambda row: f"{row + 5311}"), {}),
    "elapsed ms": ("Time [ms]", count(lambda row: f"{1000 * row}"), {}),
    "minutes": ("Time [min]", count(lambda row: f"{row / 60:.6f}"), {}),
    "hours": ("Time [h]", count(lambda row: f"{row / 3600:.8f}"), {}),
    "epoch s": ("timestamp", count(lambda row: f"{since(at(row)):.0f}"), {}),
    "epoch ms": ("timestamp", count(lambda row: f"{since(at(row)) * 1e3:.0f}"), {}),
    "epoch us": ("timestamp", count(lambda row: f"{since(at(row)) * 1e6:.0f}"), {}),
    "epoch ns": ("timestamp", count(lambda row: f"{since(at(row)):.0f}000000000"), {}),
    "ISO": ("UTC", stamp("%Y-%m-%dT%H:%M:%SZ"), {}),
    "ISO basic": ("UTC", stamp("%Y%m%dT%H%M%SZ"), {}),
    "ISO ordinal": ("UTC", stamp("%Y-%jT%H:%M:%SZ"), {}),
    "month name": ("UTC", stamp("%d-%b-%Y %H:%M:%S"), {}),
    "day first": ("UTC", stamp("%d.%m.%Y %H:%M:%S"), {}),
    "12 hours": ("UTC", stamp("%m/%d/%Y %I:%M:%S %p"), {}),
    "time of day": ("UTC", stamp("%H:%M:%S"), {}),
    "12 hours of no date": ("UTC", stamp("%I:%M:%S %p"), {}),
    "HHMMSS": ("UTC [hhmmss]", stamp("%H%M%S"), {}),
    "HHMMSS of no unit": ("Time", stamp("%H%M%S"), {}),
    "minutes and seconds": ("Time", stamp("%M:%S"), {}),
    "date and time": ("Date;UTC", stamp("%Y-%m-%d;%H:%M:%S"), {}),
    "basic date and time": ("Date;UTC", stamp("%Y%m%d;%H:%M:%S"), {}),
    "hour, minute, second": ("Hour;Minute;Second", stamp("%H;%M;%S"), {}),
    "all parts": ("Year;Month;Day;Hour;Minute;Second", stamp("%Y;%m;%d;%H;%M;%S"), {}),
    "day of the year": ("Day of year;UTC", stamp("%j;%H:%M:%S"), {"clock": {"year": 2026}}),
    "day of no year": ("Day of year;UTC", stamp("%j;%H:%M:%S"), {}),
    "month and day": ("Month;Day;Hour;Minute;Second", stamp("%m;%d;%H;%M;%S"),
                      {"clock": {"year": 2026}}),
    "date and part of the day": (
        "Date;Time", lambda row: [at(row).strftime("%Y-%m-%d"),
                                  f"{since(at(row)) / 86400 % 1:.9f}"], {}),
    "seconds of the day": (
        "UTC", count(lambda row: f"{since(at(row)) % 86400:.0f}"),
        {"columns": {"time": {"column": "UTC", "unit": "s"}}, "clock": {"form": "time of day"}}),
    "serial": ("Time", count(lambda row: f"{since(at(row)) / 86400 + 25569:.9f}"),
               {"clock": {"form": "spreadsheet serial"}, "columns": {"time": TIME}}),
    "satellite week": (
        "Week;TOW", lambda row: [f"{part:.0f}" for part in divmod(
            since(at(row)) - since(WEEK_0), 604800)],
        {"clock": {"form": "satellite week", "leap_seconds": 18},
         "columns": {"week": {"column": "Week"}, "time": {"column": "TOW", "unit": "s"}}}),
    "frames": (
        "FRAME;SF", lambda row: [str((4000 + row) // 4 % 1024), str(row % 4 + 1)],
        {"clock": {"form": "frame counter", "frame_s": 4, "frames": 1024, "subframes": 4},
         "columns": {"frame": {"column": "FRAME"}, "subframe": {"column": "SF"}}}),
    "frames alone": (
        "COUNT", lambda row: [str((4000 + row) % 4096)],
        {"clock": {"form": "frame counter", "frame_s": 1, "frames": 4096},
         "columns": {"frame": {"column": "COUNT"}}}),
}
DAMAGE: dict[str, Callable[[str, np.random.Generator], str]] = {
    "digit": lambda cell, rng: _at_a_digit(cell, rng, lambda old: str((old + rng.integers(1, 10))
                                                                     % 10)),
    "lost": lambda cell, rng: _at_a_digit(cell, rng, lambda old: ""),
    "doubled": lambda cell, rng: _at_a_digit(cell, rng, lambda old: f"{old}{old}"),
    "letter": lambda cell, rng: _at_a_digit(cell, rng, lambda old: "x"),
    "blank": lambda cell, rng: "",
    "cut": lambda cell, rng: cell[: rng.integers(0, len(cell))],
    "zero": lambda cell, rng: "0",
    "minus": lambda cell, rng: f"-{cell}",
    # As one byte these are no UTF-8.
    "byte before": lambda cell, rng: f"\xb1{cell}",
    "byte within": lambda cell, rng: _at_a_digit(cell, rng, lambda old: "\xb1"),
    "byte behind": lambda cell, rng: f"{cell}\xb1",
}


def _at_a_digit(cell: str, rng: np.random.Generator, new: Callable[[int], str]) -> str:
    place = rng.choice([i for i, one in enumerate(cell) if one.isdigit()])
    return cell[:place] + new(int(cell[place])) + cell[place + 1 :]


def rows_of(clock: str) -> tuple[str, list[list[str]], ColumnsFile | None]:
    header, cells, said = CLOCKS[clock]
    return header, [cells(row) for row in range(ROWS)], (
        ColumnsFile.model_validate(said) if said else None)


def read(folder: Path, header: str, cells: list[list[str]], said: ColumnsFile | None
         ) -> Iterator[list[FlightLog]]:
    """Read a log both ways: its airspeed [kt] counts the rows in hundredths from 200 kt on."""
    rows = [f"{';'.join(row)};5000;{200 + i / 100:.2f}" for i, row in enumerate(cells)]
    path = export(folder, lines(f"{header};press_alt_ft;ias_kt", rows).encode("latin-1"))
    yield [read_log(path, said)]
    yield list(read_flights(path, said))


def places(log: FlightLog) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows that were kept, and their times [s]: since 1970 where they are dated."""
    rows = np.rint((log.aligned("indicated_airspeed") * 3600 / 1852 - 200) * 100).astype(int)
    began = 0.0 if log.utc_start is None else log.utc_start.astype(np.int64) * 1e-9
    return rows, began + log.time


def check(clock: str, kind: str, part: int, row: int, rng: np.random.Generator,
          folder: Path) -> str:
    """Damage one cell; return "refused", "said" or "unchanged"."""
    return check_all(clock, [(kind, part, row)], rng, folder)


def check_all(clock: str, damaged: list[tuple[str, int, int]], rng: np.random.Generator,
              folder: Path) -> str:
    """Damage some cells, each a kind, a column and a row; return as `check`."""
    header, cells, said = rows_of(clock)
    whole = next(iter(read(folder, header, cells, said)))[0]
    _, truth = places(whole)
    about = clock
    for kind, part, row in damaged:
        part %= len(cells[row])
        cells[row][part] = DAMAGE[kind](cells[row][part], rng)
        about += f", row {row}: {';'.join(cells[row])}"
    outcome = "unchanged"
    ways = read(folder, header, cells, said)
    for _ in range(2):
        try:
            logs = next(ways)
        except Problem:
            return "refused"
        assert len(logs) == 1, about
        log = logs[0]
        rows, times = places(log)
        off = times - truth[rows]
        if whole.utc_start is None or log.utc_start is None:
            off = off - np.median(off)  # Counted from another first row.
        # A row that is damaged itself may keep a time near its own.
        own = np.isin(rows, [row for _, _, row in damaged])
        assert np.abs(off[~own]).max() <= 2, f"{about}: {np.abs(off[~own]).max()} s off"
        assert np.abs(off).max() <= 8, f"{about}: {np.abs(off).max()} s off"
        assert len(rows) >= ROWS - 12 * len(damaged), f"{about}: {ROWS - len(rows)} rows lost"
        if len(rows) < ROWS:
            assert any("left out" in one
                       for one in reading_text.sentences(log.source.inferred)), about
            outcome = "said"
        if whole.utc_start is not None and log.utc_start is None:
            assert any("UTC" in one or "date" in one
                       for one in reading_text.sentences(log.source.inferred)), about
    return outcome


SPOTS = (0, 1, 2, 29, 30, 89, 390, 449, 450, 451, 509, 510, 600, ROWS - 2, ROWS - 1)
"""Rows at the ends, beside a minute, midnight (row 450) and the hour, and far from all."""


@pytest.mark.parametrize("clock", CLOCKS)
def test_one_damaged_cell_moves_no_other_row(clock: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(sum(clock.encode()))
    for kind in DAMAGE:
        row = int(rng.choice(SPOTS) if rng.random() < 0.7 else rng.integers(ROWS))
        check(clock, kind, int(rng.integers(6)), row, rng, tmp_path)


@pytest.mark.parametrize("kind", [kind for kind in DAMAGE if kind.startswith("byte")])
@pytest.mark.parametrize("clock", CLOCKS)
def test_a_byte_that_is_no_text_is_a_damaged_cell(clock: str, kind: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    for part in range(len(rows_of(clock)[1][0])):
        as_a_letter = check(clock, "letter", part, 640, rng, tmp_path)
        assert check(clock, kind, part, 640, rng, tmp_path) == as_a_letter


@pytest.mark.parametrize("clock", CLOCKS)
def test_one_damaged_cell_in_a_hundred_moves_no_other_row(clock: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(100 + sum(clock.encode()))
    for kind in ("digit", "blank"):
        rows = rng.choice(ROWS, ROWS // 100, replace=False)
        check_all(clock, [(kind, int(rng.integers(6)), int(row)) for row in rows], rng, tmp_path)
