"""Every clock becomes elapsed seconds; nothing is sorted in silence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import export, lines

from loganalyze import FlightLog, Problem, read_log
from loganalyze.text.language import reading_text

START = np.datetime64("2026-03-01T23:59:58.500", "ns")


def clocked(folder: Path, header: str, stamps: list[str]) -> FlightLog:
    """Read a log of these stamps; the airspeed [kt] counts its rows."""
    rows = [f"{stamp};1000;{i}" for i, stamp in enumerate(stamps)]
    return read_log(export(folder, lines(f"{header};press_alt_ft;ias_kt", rows)))


def speeds(log: FlightLog) -> list[int]:
    """Return the rows of the file that were kept."""
    return np.rint(log.channels["indicated_airspeed"].values / (1852 / 3600)).astype(int).tolist()


CLOCKS = [
    # header, stamps half a second apart, dated, clock in words
    ("time_s", ["5", "5.5", "6"], False, "elapsed s"),
    ("time [ms]", ["5000", "5500", "6000"], False, "elapsed ms"),
    ("elapsed (min)", ["0", "0.0083333333333", "0.0166666666667"], False, "elapsed min"),
    ("time", ["0", "0.5", "1"], False, "elapsed s"),
    ("utc", ["2026-03-01T23:59:58.500Z", "2026-03-01T23:59:59.000Z", "2026-03-01T23:59:59.500Z"],
     True, "ISO stamps"),
    ("utc", ["2026-03-01 23:59:58.5", "2026-03-01 23:59:59", "2026-03-01 23:59:59.5"], True,
     "ISO stamps"),
    ("utc", ["20260301T235958.500Z", "20260301T235959.000Z", "20260301T235959.500Z"], True,
     "ISO stamps"),
    ("time", ["2026-03-02T01:29:58.5+01:30", "2026-03-02T01:29:59.0+01:30",
              "2026-03-02T01:29:59.5+01:30"], True, "ISO stamps"),
    ("time", ["2026-03-01T18:59:58.5-0500", "2026-03-01T18:59:59.0-0500",
              "2026-03-01T18:59:59.5-0500"], True, "ISO stamps"),
    ("time", ["2026/03/01 23:59:58.50 UTC", "2026/03/01 23:59:59.00 UTC",
              "2026/03/01 23:59:59.50 UTC"], True, "ISO stamps"),
    ("epoch", ["1772409598.5", "1772409599", "1772409599.5"], True, "s since 1970"),
    ("epoch", ["1772409598500", "1772409599000", "1772409599500"], True, "ms since 1970"),
    ("epoch", ["1772409598500000", "1772409599000000", "1772409599500000"], True, "us since 1970"),
    ("epoch", ["1772409598500000000", "1772409599000000000", "1772409599500000000"], True,
     "ns since 1970"),
    ("timestamp [s]", ["1772409598.5", "1772409599", "1772409599.5"], True, "s since 1970"),
    ("UTC", ["23:59:58.5", "23:59:59.0", "23:59:59.5"], False, "time of day"),
    ("time [hh:mm:ss]", ["9:59:59.5", "10:00:00.0", "10:00:00.5"], False, "time of day"),
]


@pytest.mark.parametrize(("header", "stamps", "dated", "words"), CLOCKS)
def test_clocks(header: str, stamps: list[str], dated: bool, words: str, tmp_path: Path) -> None:
    log = clocked(tmp_path, header, stamps)
    np.testing.assert_allclose(log.time, [0, 0.5, 1], atol=1e-9)
    assert log.utc_start == (START if dated else None)
    assert log.source.dialect["clock"] == words
    assert log.interval_s == pytest.approx(0.5)


def test_stamps_are_exact_to_the_nanosecond(tmp_path: Path) -> None:
    log = clocked(tmp_path, "epoch", [str(1772409598_000000001 + i) for i in range(3)])
    np.testing.assert_allclose(log.time, [0, 1e-9, 2e-9], rtol=1e-12)


def test_what_the_clock_does_not_state_is_said(tmp_path: Path) -> None:
    log = clocked(tmp_path, "time", ["2026-03-01 10:00:00", "2026-03-01 10:00:01"])
    assert reading_text.sentences(log.source.inferred) == (
        'The times of "time" state no zone: they were taken as UTC.',)
    log = clocked(tmp_path, "time", ["0", "0.25"])
    assert reading_text.sentences(log.source.inferred) == (
        '"time" states no unit; its step of 0.25 was taken as seconds, since no recorder samples '
        "every few milliseconds or faster.",)
    log = clocked(tmp_path, "time", ["0", "1000"])
    assert reading_text.sentences(log.source.inferred) == (
        '"time" states no unit; its step of 1000 was taken as milliseconds, since no recorder '
        "samples so slowly.",)


def test_midnight(tmp_path: Path) -> None:
    log = clocked(tmp_path, "utc", ["23:59:58", "23:59:59", "00:00:00", "00:00:01"])
    assert log.time.tolist() == [0, 1, 2, 3]


def test_a_date_beside_the_time_of_day(tmp_path: Path) -> None:
    rows = ["2026-03-01,23:59:59,0,100", "2026-03-02,00:00:00,0,100"]
    log = read_log(export(tmp_path, lines("date,utc,press_alt_ft,ias_kt", rows)))
    assert log.utc_start == np.datetime64("2026-03-01T23:59:59", "ns")
    assert log.time.tolist() == [0, 1]


def test_coarse_stamps_are_spread_evenly(tmp_path: Path) -> None:
    stamps = ["10:00:00"] * 3 + ["10:00:01"] * 4 + ["10:00:02"] * 4 + ["10:00:03"] * 2
    log = clocked(tmp_path, "utc", stamps)
    np.testing.assert_allclose(log.time, 0.25 * np.arange(13))
    assert log.interval_s == 0.25
    assert speeds(log) == list(range(13))
    assert reading_text.sentences(log.source.inferred) == (
        "Some 4 rows share each time stamp (1 s): spread evenly over it.",)
    assert log.steps[0].counts["spread over a coarse stamp"] == 9


def test_coarse_stamps_do_not_spread_into_a_gap(tmp_path: Path) -> None:
    stamps = [f"10:00:0{i}" for i in range(4) for _ in range(2)]
    stamps += [f"10:05:0{i}" for i in range(3) for _ in range(2)]
    log = clocked(tmp_path, "utc", stamps)
    np.testing.assert_allclose(log.time, np.r_[np.arange(8) / 2, 300 + np.arange(6) / 2])


def test_repeated_and_backward_rows_are_dropped_and_counted(tmp_path: Path) -> None:
    stamps = [str(i) for i in range(50)]
    stamps[10] = "9"
    stamps[20] = "12"
    stamps[30] = ""
    log = clocked(tmp_path, "time_s", stamps)
    assert speeds(log) == [i for i in range(50) if i not in (10, 20, 30)]
    assert (np.diff(log.time) > 0).all()
    assert dict(log.steps[0].counts) == {
        "rows": 50, "kept": 47, "left out, no time": 1, "left out, time runs backwards": 1,
        "left out, repeated time": 1}
    assert reading_text.sentences(log.source.inferred) == (
        "1 of 50 rows were left out: no time.",
        "1 of 50 rows were left out: time runs backwards.",
        "1 of 50 rows were left out: repeated time.")


def test_a_clock_reset_is_refused(tmp_path: Path) -> None:
    stamps = [str(i) for i in range(30)] + [str(i) for i in range(20)]
    with pytest.raises(Problem) as caught:
        clocked(tmp_path, "time_s", stamps)
    assert caught.value.sentence == (
        f"{tmp_path / 'flight.csv'}: the clock can't be followed: 20 of 50 rows have a time "
        "earlier than the rows before them; cut the log where its clock was reset, or name "
        "another column as time in a columns file.")


def test_one_sample(tmp_path: Path) -> None:
    log = clocked(tmp_path, "time_s", ["7"])
    assert log.time.tolist() == [0]
    assert np.isnan(log.interval_s)
    assert len(log.channels["indicated_airspeed"].values) == 1


def test_a_slow_log_is_not_a_row_of_gaps(tmp_path: Path) -> None:
    log = clocked(tmp_path, "time_s", [str(17 * i) for i in range(10)])
    assert log.interval_s == 17


@pytest.mark.parametrize("stamp", ["2026-02-30T25:00:00Z", "2026-13-01T10:00:00Z", "yesterday",
                                   "10:61:00"])
def test_a_stamp_that_is_none_is_refused(stamp: str, tmp_path: Path) -> None:
    good = "10:00:00" if ":61" in stamp else "2026-03-01T10:00:00Z"
    stamps = [f"{good[:-1]}{i}" if good[-1] == "0" else good.replace("00Z", f"0{i}Z")
              for i in range(9)]
    stamps[5] = stamp
    with pytest.raises(Problem) as caught:
        clocked(tmp_path, "utc", stamps)
    assert f'"{stamp}" in the time column "utc" isn\'t a time that is known' in (
        caught.value.sentence)


def test_a_stamp_that_lost_its_date_is_refused(tmp_path: Path) -> None:
    stamps = [f"2026-03-01 10:00:0{i}" for i in range(9)]
    stamps[5] = "10:00:05"
    with pytest.raises(Problem) as caught:
        clocked(tmp_path, "utc", stamps)
    assert caught.value.sentence == (
        f'{tmp_path / "flight.csv"}, line 7: "10:00:05" in the time column "utc" isn\'t a time '
        "that is known; mend the line, or leave the cell blank.")
