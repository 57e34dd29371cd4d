"""A clock is read by the mass of its cells; where that leaves a doubt, it is asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import export, lines, parquet

from loganalyze import ColumnsFile, FlightLog, Problem, read_flights, read_log
from loganalyze.text.language import reading_text

T = np.arange(600)
"""Ten minutes at 1 Hz."""


def flown(folder: Path, header: str, stamps: list[str], said: dict | None = None,
          rate: float = 1.0) -> Path:
    """Write a climb at 1,500 ft/min that speeds up, with these clock cells, `rate` a second."""
    t = np.arange(len(stamps)) / rate
    rows = [f"{stamp};{altitude:.0f};{speed:.1f}" for stamp, altitude, speed in zip(
        stamps, 3000 + 25 * t, 200 + 40 * np.sin(t / 90), strict=True)]
    return export(folder, lines(f"{header};press_alt_ft;ias_kt", rows))


def read(folder: Path, header: str, stamps: list[str], said: dict | None = None,
         rate: float = 1.0) -> FlightLog:
    """Read that flight as a whole, and flight by flight: which must give the same."""
    columns = ColumnsFile.model_validate(said) if said else None
    path = flown(folder, header, stamps, rate=rate)
    log = read_log(path, columns)
    flight, = read_flights(path, columns)
    np.testing.assert_array_equal(log.time, flight.time)
    return log


def refusal(folder: Path, header: str, stamps: list[str], said: dict | None = None,
            rate: float = 1.0) -> str:
    """Return the sentence with which that flight is refused, both ways."""
    columns = ColumnsFile.model_validate(said) if said else None
    path = flown(folder, header, stamps, rate=rate)
    with pytest.raises(Problem) as whole:
        read_log(path, columns)
    with pytest.raises(Problem) as parted:
        list(read_flights(path, columns))
    assert whole.value.sentence == parted.value.sentence
    return whole.value.sentence


def without(log: FlightLog, row: int) -> None:
    """Check that one row of that flight has gone, with a word, and the others keep their time."""
    kept = np.delete(T, row)
    np.testing.assert_allclose(log.time, kept - kept[0])
    assert any(one.startswith("1 of 600 rows were left out: no time")
               for one in reading_text.sentences(log.source.inferred))


def of_day(seconds: np.ndarray | range, pattern: str = "{:02}:{:02}:{:02}") -> list[str]:
    return [pattern.format(int(t) // 3600, int(t) // 60 % 60, int(t) % 60) for t in seconds]


PARTS = [f"{one:.8f}" for one in 0.4132 + T / 86400]


@pytest.mark.parametrize("stamps", [
    PARTS, [f"{one:.4f}" for one in 0.4132 + T / 86400], [f"{t / 3600:.6f}" for t in T],
    [f"{10.25 + t / 3600:.4f}" for t in T], [f"{t / 60:.4f}" for t in T],
    [f"{t / 15:.3f}" for t in T],
], ids=["part of a day", "four decimals", "hours", "hours of the day", "minutes", "slow minutes"])
def test_days_hours_and_minutes_are_no_seconds(stamps: list[str], tmp_path: Path) -> None:
    said = refusal(tmp_path, "Time", stamps)
    assert 'nothing states what the time column "Time" counts' in said
    assert 'unit = "min"' in said
    assert 'form = "time of day" under [clock]' in said


def test_the_keys_that_the_sentence_names_mend_it(tmp_path: Path) -> None:
    log = read(tmp_path, "Time", PARTS, {"clock": {"form": "time of day"}})
    np.testing.assert_allclose(log.time, T, atol=1e-3)
    log = read(tmp_path, "Time", [f"{t / 60:.6f}" for t in T],
               {"columns": {"time": {"column": "Time", "unit": "min"}}})
    np.testing.assert_allclose(log.time, T, atol=1e-3)
    log = read(tmp_path, "Time", [f"{t / 3600:.8f}" for t in T],
               {"columns": {"time": {"column": "Time", "unit": "h"}}})
    np.testing.assert_allclose(log.time, T, atol=1e-3)


def test_a_part_of_the_day_under_a_name_of_the_wall_clock(tmp_path: Path) -> None:
    log = read(tmp_path, "UTC", PARTS)
    np.testing.assert_allclose(log.time, T, atol=1e-3)
    assert reading_text.sentences(log.source.inferred)[0] == (
        '"UTC" states no unit; its step was taken as a part of the day.')


@pytest.mark.parametrize("row", [0, 10, 300, 599])
@pytest.mark.parametrize("cell", ["4132.5", "-0.4132", "1.41", "0.8132"])
def test_one_damaged_part_of_the_day_beside_a_date(cell: str, row: int, tmp_path: Path) -> None:
    parts = PARTS.copy()
    parts[row] = cell
    log = read(tmp_path, "Date;Time", [f"2026-03-01;{part}" for part in parts])
    assert log.steps[0].counts["kept"] == 599
    assert log.time[-1] - log.time[0] == pytest.approx(598 if row in (0, 599) else 599, abs=0.01)
    assert any("1 of 600 rows were left out" in one
               for one in reading_text.sentences(log.source.inferred))


@pytest.mark.parametrize(("per_second", "rate", "words"), [
    (1e3, 1, "ms"), (1e3, 0.125, "ms"), (1e6, 1, "us"), (1e6, 0.125, "us"), (1e6, 8, "us"),
    (1e6, 16, "us"), (1e9, 1, "ns"), (1e9, 0.125, "ns"), (1e9, 8, "ns"), (1e9, 16, "ns"),
])
def test_large_steps_are_of_the_unit_that_a_recorder_has(
        per_second: float, rate: float, words: str, tmp_path: Path) -> None:
    log = read(tmp_path, "Time", [f"{t / rate * per_second:.0f}" for t in T], rate=rate)
    np.testing.assert_allclose(log.time, T / rate, atol=1e-3)
    assert log.source.dialect["clock"] == f"elapsed {words}"


@pytest.mark.parametrize("step", [60, 125, 15_625, 50_000, 15_625_000, 1e11])
def test_steps_that_may_be_of_two_units_are_asked_for(step: float, tmp_path: Path) -> None:
    assert 'nothing states whether the time column "Time" counts' in refusal(
        tmp_path, "Time", [f"{t * step:.0f}" for t in T])


@pytest.mark.parametrize("row", [0, 7, 300, 599])
@pytest.mark.parametrize("per_second", [1, 10**3, 10**6, 10**9])
def test_one_damaged_epoch(per_second: int, row: int, tmp_path: Path) -> None:
    stamps = [(1772409600 + int(t)) * per_second for t in T]
    stamps[row] += 8 * 10**9 * per_second if per_second < 10**9 else 10**15
    log = read(tmp_path, "timestamp", [str(one) for one in stamps])
    assert log.utc_start is not None
    kept = np.delete(T, row)
    started = (log.utc_start - np.datetime64("2026-03-02T00:00:00", "ns")) / np.timedelta64(1, "s")
    np.testing.assert_allclose(started + log.time, kept, atol=1e-3)
    assert log.steps[0].counts["kept"] == 599


DIGITS = of_day(36000 + T, "{:02}{:02}{:02}")


@pytest.mark.parametrize("cell", ["100099", "106500", "3.5e9", "1000x9", "10:00:09"])
@pytest.mark.parametrize("row", [0, 9, 70, 599])
def test_one_damaged_cell_makes_no_plain_numbers_of_digits(
        cell: str, row: int, tmp_path: Path) -> None:
    stamps = DIGITS.copy()
    stamps[row] = cell
    without(read(tmp_path, "Time", stamps), row)


@pytest.mark.parametrize(("header", "stamps", "rate"), [
    ("Time", of_day(T, "{1:02}:{2:02}"), 1), ("Time", [f"{t // 60}:{t % 60:02}" for t in T], 1),
    ("Time", [f"{t // 120:02}:{t // 2 % 60:02}.{t % 2 * 5}" for t in T], 2),
    ("Time", [f"{t // 120:02}:{t // 2 % 60:02},{t % 2 * 5}" for t in T], 2),
    ("Time [mm:ss]", [f"{t // 480:02}:{t // 8 % 60:02}" for t in T], 8),
    ("Time", [f"{80 + t // 60}:{t % 60:02}" for t in T], 1),
    ("Time", [f"{(59 + t // 60) % 60:02}:{t % 60:02}" for t in T], 1),
], ids=["plain", "one digit", "tenths", "decimal comma", "named", "beyond the hour", "hour wraps"])
def test_minutes_and_seconds(header: str, stamps: list[str], rate: float, tmp_path: Path) -> None:
    log = read(tmp_path, header, stamps, rate=rate)
    np.testing.assert_allclose(log.time, T / rate)
    assert log.source.dialect["clock"] == "minutes and seconds"


def test_a_damaged_minute_takes_one_row_away(tmp_path: Path) -> None:
    stamps = of_day(T, "{1:02}:{2:02}")
    stamps[400] = "06:75"
    without(read(tmp_path, "Time", stamps), 400)


def test_so_many_damaged_minutes_are_a_habit_and_one_is_named(tmp_path: Path) -> None:
    stamps = of_day(T, "{1:02}:{2:02}")
    stamps[400:440:3] = ["06:75"] * 14
    assert 'line 402: "06:75"' in refusal(tmp_path, "Time", stamps)


@pytest.mark.parametrize("start", [86000, 90000, 300000])
def test_elapsed_hours_beyond_a_day(start: int, tmp_path: Path) -> None:
    log = read(tmp_path, "Time", of_day(start + T))
    np.testing.assert_allclose(log.time, T)


@pytest.mark.parametrize("delimiter", ["\t", "|", ";"])
def test_a_decimal_comma_in_the_seconds(delimiter: str, tmp_path: Path) -> None:
    path = flown(tmp_path, "UTC", [f"{cell},{i % 2 * 5}" for i, cell in enumerate(
        of_day(36000 + T / 2))], rate=2)
    path.write_text(path.read_text().replace(";", delimiter))
    np.testing.assert_allclose(read_log(path).time, T / 2)


def test_a_recording_where_only_one_date_is_damaged(tmp_path: Path) -> None:
    stamps = [f"20260301;{cell}" for cell in of_day(36000 + T)]
    stamps[5] = f"20269301;{stamps[5][9:]}"
    log = read(tmp_path, "Date;UTC", stamps)
    assert log.time.tolist() == T.tolist()
    assert log.utc_start == np.datetime64("2026-03-01T10:00:00", "ns")


@pytest.mark.parametrize(("header", "date", "form", "day"), [
    ("Date DDMMYY", "040326", None, "2026-03-04"), ("Date [mmddyy]", "040326", None, "2026-04-03"),
    ("Date [YYMMDD]", "260304", None, "2026-03-04"), ("Date", "040326", "day first", "2026-03-04"),
    ("Date", "040326", "month first", "2026-04-03"), ("Date", "310176", None, "1976-01-31"),
], ids=["day first by name", "month first by name", "year first by name", "day first as said",
        "month first as said", "nothing else"])
def test_dates_of_six_digits(header: str, date: str, form: str | None, day: str,
                             tmp_path: Path) -> None:
    said: dict = {"clock": {"form": form}} if form else {}
    if "DD" in header:
        said["columns"] = {"date": {"column": header}, "time": {"column": "UTC"}}
    log = read(tmp_path, f"{header};UTC", [f"{date};{cell}" for cell in of_day(36000 + T)], said)
    assert log.utc_start == np.datetime64(f"{day}T10:00:00", "ns")
    assert log.time.tolist() == T.tolist()


def test_dates_of_six_digits_over_midnight(tmp_path: Path) -> None:
    stamps = [f"280226;{cell}" for cell in of_day(86340 + T[:60])]
    stamps += [f"010326;{cell}" for cell in of_day(T[60:] - 60)]
    log = read(tmp_path, "Date;UTC", stamps)
    assert log.utc_start == np.datetime64("2026-02-28T23:59:00", "ns")
    assert log.time.tolist() == T.tolist()
    assert reading_text.sentences(log.source.inferred)[0] == (
        'The dates of "Date" were taken as day first: only so do they run on from one day to the '
        "next.")


MIDNIGHT = np.datetime64("2026-03-02T00:00:00", "ns")


def stamped(folder: Path, stamps: pa.Array, rate: float = 1.0) -> Path:
    t = np.arange(len(stamps)) / rate
    return parquet(folder, {"timestamp": stamps, "press_alt_ft": pa.array(3000 + 25 * t),
                            "ias_kt": pa.array(200 + 40 * np.sin(t / 90))})


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("first", [2**62, 2**63 - 700 * 10**9, -(2**62)])
def test_stamps_beyond_the_calendar_are_refused(first: int, unit: str, tmp_path: Path) -> None:
    step = 10**9 if unit == "ns" else 1
    path = stamped(tmp_path, pa.array((first + T * step).tolist(), pa.timestamp(unit)))
    if unit == "ns" and first == 2**62:  # 2116, which is a date.
        assert str(read_log(path).utc_start)[:4] == "2116"
        return
    for way in (lambda: read_log(path), lambda: list(read_flights(path))):
        with pytest.raises(Problem) as caught:
            way()
        assert caught.value.sentence.startswith(f"{path}: the ")


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("stamp", [2**62, 2**63 - 1, -(2**63), 0])
@pytest.mark.parametrize("row", [0, 300, 599])
def test_one_stamp_beyond_the_calendar_is_dropped(row: int, stamp: int, unit: str,
                                                    tmp_path: Path) -> None:
    stamps = ((1772409600 + T) * {"ms": 10**3, "us": 10**6, "ns": 10**9}[unit]).tolist()
    stamps[row] = stamp
    path = stamped(tmp_path, pa.array(stamps, pa.timestamp(unit)))
    for log in (read_log(path), *read_flights(path)):
        assert log.steps[0].counts["kept"] == 599
        assert log.utc_start is not None
        began = (log.utc_start - MIDNIGHT) / np.timedelta64(1, "s")
        np.testing.assert_allclose(began + log.time, np.delete(T, row), atol=1e-6)


@pytest.mark.parametrize("per_second", [1, 10**3, 10**6, 10**9])
@pytest.mark.parametrize("rate", [1.0, 4.0])
def test_epochs_in_short_floats_are_spread_and_their_error_is_said(
        rate: float, per_second: int, tmp_path: Path) -> None:
    t = np.arange(3600 * rate) / rate
    epochs = ((1772409600 + t) * per_second).astype(np.float32)
    path = stamped(tmp_path, pa.array(epochs), rate)
    for log in (read_log(path), *read_flights(path)):
        assert log.utc_start is not None
        began = (log.utc_start - MIDNIGHT) / np.timedelta64(1, "s")
        assert len(log) == len(t)
        assert np.abs(began + log.time - t).max() < 64
        assert abs(np.diff(log.time).mean() * rate - 1) < 0.02
        said, = (one for one in reading_text.sentences(log.source.inferred)
                 if "by their format" in one)
        assert said.startswith('The numbers of "timestamp" are exact to 6')
        assert said.endswith("s alone, by their format: UTC may be wrong by so much.")


def test_elapsed_times_in_short_floats_need_no_word(tmp_path: Path) -> None:
    path = stamped(tmp_path, pa.array(np.float32(50_000) + (T / 16).astype(np.float32)), 16)
    assert not any("by their format" in one
                   for one in reading_text.sentences(read_log(path).source.inferred))
