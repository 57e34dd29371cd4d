"""Clocks that several columns make, or that count otherwise: hand-made, through the front door."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import WAYS, export, in_pieces, lines, parquet

from loganalyze import ColumnsFile, FlightLog, Problem, read_flights, read_log
from loganalyze.text.language import reading_text


def timed(folder: Path, header: str, stamps: list[str], said: dict | None = None) -> FlightLog:
    """Read a log of these clock cells, before an altitude and an airspeed."""
    rows = [f"{stamp};1000;{200 + i % 7}" for i, stamp in enumerate(stamps)]
    path = export(folder, lines(f"{header};press_alt_ft;ias_kt", rows))
    return read_log(path, ColumnsFile.model_validate(said) if said else None)


def at(text: str) -> np.datetime64:
    return np.datetime64(text, "ns")


CASES = {
    # name: header, cells, columns file, times, the first instant
    "a date over a leap day": (
        "date;utc", ["2028-02-28;23:59:59", "2028-02-29;00:00:00", "2028-02-29;23:59:59",
                     "2028-03-01;00:00:00"], None, [0, 1, 86400, 86401], "2028-02-28T23:59:59"),
    "a date that turns two rows late": (
        "date;utc", ["2026-12-31;23:59:58", "2026-12-31;23:59:59", "2026-12-31;00:00:00",
                     "2026-12-31;00:00:01", "2027-01-01;00:00:02", "2027-01-01;00:02:00"],
        None, [0, 1, 2, 3, 4, 122], "2026-12-31T23:59:58"),
    "a date in the first row alone": (
        "date;utc", ["2026-02-28;23:59:59", ";00:00:00", ";00:00:01"], None, [0, 1, 2],
        "2026-02-28T23:59:59"),
    "a date that skips days": (
        "date;utc", ["2026-02-27;10:00:00", "2026-03-02;10:00:01"], None, [0, 3 * 86400 + 1],
        "2026-02-27T10:00:00"),
    "a month's first day, day first by progress alone": (
        "date;utc", ["03/04/2026;23:59:59", "04/04/2026;00:00:00"], None, [0, 1],
        "2026-04-03T23:59:59"),
    "a month's first day, month first by progress alone": (
        "date;utc", ["03/04/2026;23:59:59", "03/05/2026;00:00:00"], None, [0, 1],
        "2026-03-04T23:59:59"),
    "a stamp that is day first as it could not be else": (
        "utc", ["12.06.2026 10:00:00", "12.06.2026 10:00:01", "13.06.2026 10:00:00"], None,
        [0, 1, 86400], "2026-06-12T10:00:00"),
    "short years": ("date;utc", ["28/02/26;23:59:59", "01/03/26;00:00:00"], None, [0, 1],
                    "2026-02-28T23:59:59"),
    "an offset in hours": ("date;time;utc offset", [
        "2026-03-01;01:00:00;1.5", "2026-03-01;01:00:01;1.5"], None, [0, 1],
        "2026-02-28T23:30:00"),
    "an offset without a colon": ("date;time;utc offset", [
        "2026-02-28;18:00:00;-0530", "2026-02-28;18:00:01;-0530"], None, [0, 1],
        "2026-02-28T23:30:00"),
    "fractions of seconds in their own column": (
        "hour;minute;second", ["23;59;59.50", "23;59;59.75", "0;0;0.00"], None,
        [0, 0.25, 0.5], None),
    "minutes that turn late": (
        "hour;minute;second", ["10;4;58", "10;4;59", "10;4;0", "10;5;1", "10;5;30"], None,
        [0, 1, 2, 3, 32], None),
    "hours in the first row of a frame alone": (
        "hour;minute;second", ["10;59;58", ";;59", ";;0", ";;1", "11;0;2"], None,
        [0, 1, 2, 3, 4], None),
    "two digits of the year": (
        "year;month;day;hour;minute;second", ["26;12;31;23;59;59", "27;1;1;0;0;0"], None, [0, 1],
        "2026-12-31T23:59:59"),
    "the day of the year without a year": (
        "day of year;utc", ["365;23:59:59", "1;00:00:00"], None, [0, 1], None),
    "the day of the year before the time": (
        "utc", ["059:23:59:59", "060:00:00:00", "060:00:00:01"], {"clock": {"year": 2026}},
        [0, 1, 2], "2026-02-28T23:59:59"),
    "the day of a leap year": (
        "day of year;utc", ["060;23:59:59", "061;00:00:00"], {"clock": {"year": 2028}}, [0, 1],
        "2028-02-29T23:59:59"),
    "seconds of the day under a name of its own": (
        "utc", ["86398.5", "86399", "86399.5", "0", "0.5"], None, [0, 0.5, 1, 1.5, 2], None),
    "elapsed seconds that fall at midnight": (
        "time_s", ["86398", "86399", "0", "1"], None, [0, 1, 2, 3], None),
    "seconds of the week that fall at its end": (
        "time_s", ["604798", "604799", "0", "1"], None, [0, 1, 2, 3], None),
    "serial dates": (
        "Time", [f"{46081.5 + i / 86400:.9f}" for i in range(5)], None, [0, 1, 2, 3, 4],
        "2026-02-28T12:00:00"),
    "serial dates of the 1904 system": (
        "Time", [f"{44619.5 + i / 86400:.9f}" for i in range(5)],
        {"clock": {"form": "spreadsheet serial 1904"}, "columns": {"time": {"column": "Time"}}},
        [0, 1, 2, 3, 4], "2026-02-28T12:00:00"),
    "serial dates beside the time": (
        "date;utc", ["46081;23:59:59", "46082;00:00:00"], None, [0, 1], "2026-02-28T23:59:59"),
    "digits that pass a minute": (
        "time", ["95958", "95959", "100000", "100001"], None, [0, 1, 2, 3], None),
    "digits of tenths": (
        "time", ["95959.8", "95959.9", "100000.0", "100000.1"], None, [0, 0.1, 0.2, 0.3], None),
    "a ten-bit week in a stated year": (
        "week;time [s]", ["359;604799", "360;0"], {"clock": {"year": 2026}, "columns": {
            "week": {"column": "week"}, "time": {"column": "time [s]"}}}, [0, 1],
        "2026-02-28T23:59:41"),
    "twelve hours": ("utc", ["2026-02-28 11:59:59 PM", "2026-03-01 12:00:00 AM"], None, [0, 1],
                     "2026-02-28T23:59:59"),
    "subframes of an unstated frame": (
        "frame;subframe", ["10;3", "10;4", "11;1", "11;2"], None, [0, 1, 2, 3], None),
}


@pytest.mark.parametrize("name", CASES)
def test_times(name: str, tmp_path: Path) -> None:
    header, stamps, said, times, start = CASES[name]
    log = timed(tmp_path, header, stamps, said)
    np.testing.assert_allclose(log.time, times, atol=2e-4)
    if start is None:
        assert log.utc_start is None
    else:
        assert log.utc_start is not None
        assert abs((log.utc_start - at(start)) / np.timedelta64(1, "ms")) < 0.2


SAID = {
    "a month's first day, day first by progress alone":
        'The dates of "date" were taken as day first: only so do they run on from one day to the '
        "next.",
    "a stamp that is day first as it could not be else":
        'The dates of "utc" were taken as day first: "13.06.2026" can be nothing else.',
    "elapsed seconds that fall at midnight":
        "The time fell from 86399 to 0 s: taken as midnight.",
    "seconds of the week that fall at its end":
        "The time fell from 604799 to 0 s: taken as the end of a week.",
    "serial dates": 'The numbers of "Time" were taken as spreadsheet serial dates of the 1900 '
                    "system, from their size and step.",
    "digits that pass a minute": 'The numbers of "time" were taken as HHMMSS, as they pass from '
                                 "59 to 100.",
    "a ten-bit week in a stated year":
        "Satellite time was taken as 18 s ahead of UTC, from the leap seconds announced up to "
        "2017-01-01.",
    "an offset in hours": "",
    "subframes of an unstated frame":
        "Frames were taken as 4 s of 4 subframes, as flight data recorders write them.",
}


@pytest.mark.parametrize("name", SAID)
def test_what_was_taken_for_what_is_said(name: str, tmp_path: Path) -> None:
    header, stamps, said, _, _ = CASES[name]
    log = timed(tmp_path, header, stamps, said)
    said_of_time = [one for one in reading_text.sentences(log.source.inferred)
                    if "state no zone" not in one]
    if SAID[name]:
        assert any(SAID[name].startswith(one[:40]) for one in said_of_time)
    assert said_of_time[:1] == ([SAID[name]] if SAID[name] else said_of_time[:1]) or (
        '"13.06.2026 10:00:00"' in said_of_time[0])


REFUSED = {
    "day or month": (
        "date;utc", ["03/04/2026;10:00:00", "03/04/2026;10:00:01"], None,
        'nothing in column "date" tells whether "03/04/2026" is day first or month first'),
    "neither day nor month first": (
        "date;utc", ["13/14/2026;10:00:00", "13/14/2026;10:00:01"], None,
        '"13/14/2026" in'),
    "months and days of no year": (
        "month;day;hour;minute;second", ["2;28;10;0;0", "2;28;10;0;1"], None,
        'columns "month" and "day" state the month and the day, but nothing states the year'),
    "HHMMSS or seconds": (
        "utc", ["10205", "10206", "10207"], None, "may be HHMMSS or seconds of the day"),
    "a lone frame counter": (
        "frame", ["10", "11", "12"], None, 'nothing states how long a frame of column "frame"'),
    "too many subframes": (
        "frame;subframe", ["10;1", "10;9"], None, "which isn't a part of 4 subframes"),
    "an offset that is none": (
        "date;time;utc offset", ["2026-03-01;01:00:00;soon"], None,
        '"soon" in column "utc offset" is no offset from UTC'),
    "the thirtieth of February": (
        "date;utc", ["2026-02-28;10:00:00", "2026-02-30;10:00:01"], None, '"2026-02-30" in'),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_makes_no_clock_is_refused(name: str, tmp_path: Path) -> None:
    header, stamps, said, sentence = REFUSED[name]
    with pytest.raises(Problem) as caught:
        timed(tmp_path, header, stamps, said)
    assert sentence in caught.value.sentence


def test_a_week_that_may_have_started_again_gives_no_date(tmp_path: Path) -> None:
    log = timed(tmp_path, "week;time [s]", ["359;604799", "360;0"], {"columns": {
        "week": {"column": "week"}, "time": {"column": "time [s]"}}})
    assert log.time.tolist() == [0, 1]
    assert log.utc_start is None
    assert reading_text.sentences(log.source.inferred)[0] == (
        "The satellite week 359 may have started again since 1980: the log's date isn't known.")


def test_the_order_of_dates_is_found_far_down_the_file(tmp_path: Path) -> None:
    stamps = [f"03/04/2026;{i // 3600:02}:{i // 60 % 60:02}:{i % 60:02}" for i in range(3000)]
    stamps += [f"15/04/2026;{i // 3600:02}:{i // 60 % 60:02}:{i % 60:02}" for i in range(10)]
    log = timed(tmp_path, "date;utc", stamps)
    assert log.utc_start == at("2026-04-03T00:00:00")
    assert log.time[3000] == 12 * 86400


def test_dates_and_times_of_a_parquet_file(tmp_path: Path) -> None:
    days = [datetime.date(2026, 2, 28), datetime.date(2026, 3, 1)]
    path = parquet(tmp_path, {
        "date": pa.array(days, pa.date32()), "utc": pa.array([86399, 0], pa.time32("s")),
        "press_alt_ft": pa.array([0.0, 0]), "ias_kt": pa.array([200.0, 200])})
    log = read_log(path)
    assert log.time.tolist() == [0, 1]
    assert log.utc_start == at("2026-02-28T23:59:59")


@pytest.mark.parametrize("way", WAYS)
def test_flights_of_a_clock_of_parts_in_small_pieces(way: str, tmp_path: Path,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = np.arange(86000, 87000)
    path = parquet(tmp_path, {
        "hour": pa.array((seconds // 3600 % 24).tolist()),
        "minute": pa.array((seconds // 60 % 60).tolist()),
        "second": pa.array((seconds % 60).tolist()),
        "press_alt_ft": pa.array(np.zeros(1000).tolist()),
        "ias_kt": pa.array(np.full(1000, 200.0).tolist())},
        rows=in_pieces(monkeypatch, way, 37))
    flight, = read_flights(path)
    assert flight.time.tolist() == list(range(1000))
