"""What a quick reader would get wrong in silence: each is read right, said, or refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import FT, KT, export, lines

from loganalyze import ColumnsFile, FlightLog, Problem, read_log
from loganalyze.sheets.columns_file import Column
from loganalyze.sheets.export_options import ClockHabits, FileHabits
from loganalyze.text.language import reading_text

STAMPS = [f"2026-03-01 10:00:{second:02d}" for second in range(6)]


def log_of(folder: Path, names: str, rows: list[str], chosen: ColumnsFile | None = None
           ) -> FlightLog:
    text = lines(f"{names},Press Alt [ft],CAS [kt]", [
        f"{row},{1000 + 7 * i},{150 + i}" for i, row in enumerate(rows)])
    return read_log(export(folder, text), chosen)


def refusal(folder: Path, names: str, rows: list[str]) -> str:
    with pytest.raises(Problem) as caught:
        log_of(folder, names, rows)
    return caught.value.sentence.removeprefix(f"{folder / 'flight.csv'}: ")


@pytest.mark.parametrize("name", ["Selected IAS [kt]", "IAS selected [kt]", "IAS STATUS",
                                  "IAS flag", "IAS target [kt]", "CAS max [kt]"])
def test_what_was_asked_of_the_autopilot_is_no_airspeed(name: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, f"Time [s],{name}", [f"{i},250" for i in range(6)])
    np.testing.assert_allclose(log.channels["calibrated_airspeed"].values,
                               (150 + np.arange(6)) * KT)
    assert "indicated_airspeed" not in log


@pytest.mark.parametrize(("name", "start"), [
    ("Time (UTC+2)", "2026-03-01T08:00:00"), ("Time [UTC-03:30]", "2026-03-01T13:30:00"),
    ("Time (GMT+10)", "2026-03-01T00:00:00"), ("Time (UTC)", "2026-03-01T10:00:00")])
def test_the_zone_in_a_clocks_name_counts(name: str, start: str, tmp_path: Path) -> None:
    assert log_of(tmp_path, name, STAMPS).utc_start == np.datetime64(start, "ns")


def test_an_offset_in_a_clocks_name_is_said(tmp_path: Path) -> None:
    assert reading_text.sentences(log_of(tmp_path, "Time (UTC-3)", STAMPS).source.inferred) == (
        'The times of "Time (UTC-3)" were taken as 3 h behind UTC, as its name says.',)


def test_local_times_give_no_utc(tmp_path: Path) -> None:
    log = log_of(tmp_path, "Time (local)", STAMPS)
    assert log.utc_start is None
    assert log.time.tolist() == list(range(6))
    assert reading_text.sentences(log.source.inferred) == (
        'The times of "Time (local)" are local, and nothing states their offset from UTC: no UTC '
        "is given. State utc_offset_s under [clock] in a columns file.",)
    told = ColumnsFile(clock=ClockHabits(utc_offset_s=7200.0))
    assert log_of(tmp_path, "Time (local)", STAMPS, told).utc_start == np.datetime64(
        "2026-03-01T08:00:00", "ns")


@pytest.mark.parametrize("date", ["260304", "040326", "050326", "030426"])
def test_a_date_of_six_digits_is_no_date(date: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, "Date,Time", [f"{date},{stamp[11:]}" for stamp in STAMPS])
    assert log.utc_start is None
    assert reading_text.sentences(log.source.inferred) == (
        f'The dates in column "Date" (such as "{date}") were not used: the order of '
        'day, month and year isn\'t known. Say form = "day first" or form = "month first" under '
        "[clock] in a columns file, or export YYYYMMDD.",)


def test_a_year_of_two_digits_between_hyphens(tmp_path: Path) -> None:
    assert refusal(tmp_path, "Time", [f"26-03-14 {stamp[11:]}" for stamp in STAMPS]) == (
        'nothing in column "Time" tells whether "26-03-14 10:00:00" is year first, day first or '
        'month first; export the year in four digits, or say form = "day first" or form = "month '
        'first" under [clock] in a columns file.')


def test_minutes_and_seconds_are_no_hours_and_minutes(tmp_path: Path) -> None:
    log = log_of(tmp_path, "Time", [f"00:{i:02d}" for i in range(6)])
    assert log.interval_s == 1
    assert reading_text.sentences(log.source.inferred) == (
        'The times of "Time" (such as "00:05") were taken as minutes and seconds, since no '
        "recorder samples once a minute.",)
    assert refusal(tmp_path, "Time", [f"00:{i // 8:02d}" for i in range(48)]) == (
        'nothing tells whether "00:00" in the time column "Time" is hours and minutes, or minutes '
        "and seconds; export HH:MM:SS or elapsed seconds, or say under [clock] in a columns file "
        'form = "time of day" if it is hours and minutes, form = "elapsed" if it is minutes and '
        "seconds.")
    eighths = log_of(tmp_path, "Time", [f"00:{i // 8:02d}" for i in range(48)],
                     ColumnsFile(clock=ClockHabits(form="elapsed")))
    assert eighths.interval_s == 0.125
    minutes = [f"10:{i // 60:02d}" for i in range(240)]
    assert log_of(tmp_path, "Time", minutes).interval_s == 1
    told = ColumnsFile(clock=ClockHabits(form="time of day"))
    slow = log_of(tmp_path, "Time", [f"10:{i:02d}" for i in range(6)], told)
    assert slow.interval_s == 60


def test_other_engines_are_no_second_sources_and_tanks_are_not_all_the_fuel(
        tmp_path: Path) -> None:
    names = "Time [s],N1 ENG1 [%],N1 ENG2 [%],Fuel L [kg],Fuel R [kg]"
    log = log_of(tmp_path, names, [f"{i},90,91,300,310" for i in range(6)])
    assert reading_text.sentences(log.source.inferred) == (
        '"N1 ENG1 [%]" was taken as the engine N1, "N1 ENG2 [%]" as that of another engine.',
        'Columns "Fuel L [kg]" and "Fuel R [kg]" may each be the fuel on board: not read.')
    assert "fuel" not in log


def test_serial_dates_state_no_zone(tmp_path: Path) -> None:
    days = [f"{46082 + i / 86400:.9f}" for i in range(6)]
    assert reading_text.sentences(log_of(tmp_path, "Time", days).source.inferred) == (
        'The times of "Time" state no zone: they were taken as UTC.',
        'The numbers of "Time" were taken as spreadsheet serial dates of the 1900 system, from '
        "their size and step.")


def test_a_chosen_column_may_be_called_anything(tmp_path: Path) -> None:
    chosen = ColumnsFile(columns={"calibrated_airspeed": Column(column="IAS selected [kt]")})
    log = log_of(tmp_path, "Time [s],IAS selected [kt]", [f"{i},250" for i in range(6)], chosen)
    assert log.channels["calibrated_airspeed"].column == "IAS selected [kt]"


@pytest.mark.parametrize("heights", [
    ["980", "990", "1.000", "1.010", "1.020", "1.030"],
    ["35.000", "35.010", "35.020", "35.030", "35.040", "35.050"]])
def test_points_that_may_group_thousands(heights: list[str], tmp_path: Path) -> None:
    rows = [f"{i};{height};{250 + i}" for i, height in enumerate(heights)]
    path = export(tmp_path, lines("Time [s];Press Alt [ft];CAS [kt]", rows))
    with pytest.raises(Problem) as caught:
        read_log(path)
    shown = next(height for height in heights if "." in height)
    assert caught.value.sentence == (
        f'{path}: "{shown}" may hold a thousands separator or a decimal point; export the log '
        "without thousands separators, or state decimal and thousands under [file] in a columns "
        "file.")
    grouped = ColumnsFile(file=FileHabits(decimal="comma", thousands="point"))
    np.testing.assert_allclose(read_log(path, grouped).channels["pressure_altitude"].values,
                               [float(height.replace(".", "")) * FT for height in heights])
    plain = ColumnsFile(file=FileHabits(decimal="point"))
    np.testing.assert_allclose(read_log(path, plain).channels["pressure_altitude"].values,
                               [float(height) * FT for height in heights])


@pytest.mark.parametrize("speeds", [
    ["150.125", "150.250", "151.375", "152.000", "153.125", "154.500"],
    ["1.125", "1.5", "2", "2.125", "100", "200.125"],
    ["99", "99.125", "100.125", "0.5", "101", "3.125"]])
def test_points_that_are_decimal_marks(speeds: list[str], tmp_path: Path) -> None:
    rows = [f"{i},{1000 + i},{speed}" for i, speed in enumerate(speeds)]
    log = read_log(export(tmp_path, lines("Time [s],Press Alt [ft],CAS [kt]", rows)))
    np.testing.assert_allclose(log.channels["calibrated_airspeed"].values,
                               [float(speed) * KT for speed in speeds])


def slow_and_fill(fill: float, where: list[slice]) -> np.ndarray:
    speed = 200 + 5 * np.sin(np.arange(300) / 9)
    for part in where:
        speed[part] = fill
    return speed


@pytest.mark.parametrize(("fill", "where", "gone"), [
    (511.9, [slice(100, 120)], 20), (511.9, [slice(100, 104), slice(150, 170)], 24),
    (999.9, [slice(10, 30)], 20), (0.0, [slice(10, 14)], 4),
    (511.9, [slice(100, 101)], 0),  # One sample alone is for the screening.
    (511.9, [slice(100, 200)], 100), (225.0, [slice(100, 120)], 0), (511.9, [slice(290, 300)], 0)])
def test_a_fill_value_within_the_range(fill: float, where: list[slice], gone: int,
                                       tmp_path: Path) -> None:
    speed = slow_and_fill(fill, where)
    log = read_log(export(tmp_path, lines("Time [s],Press Alt [ft],CAS [kt]", [
        f"{i},{1000 + i},{value:.1f}" for i, value in enumerate(speed)])))
    assert np.isnan(log.aligned("calibrated_airspeed")).sum() == gone
    assert reading_text.sentences(log.source.inferred) == ((
        f'"CAS [kt]" stands at {fill:g} kt {gone} times in sequence, reached and left by '
        "steps that no aircraft can make: taken as a fill value and left out.",) if gone else ())


def test_a_steady_cruise_between_two_dropouts_is_no_fill_value(tmp_path: Path) -> None:
    speed = slow_and_fill(225.0, [slice(100, 200)])
    speed[[99, 200]] = 0
    log = read_log(export(tmp_path, lines("Time [s],Press Alt [ft],CAS [kt]", [
        f"{i},{1000 + i},{value:.1f}" for i, value in enumerate(speed)])))
    assert not np.isnan(log.aligned("calibrated_airspeed")).any()


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_names_broken_within_their_quotes(end: str, tmp_path: Path) -> None:
    text = end.join(["Export of a flight", 'Time [s],"Press Alt', '[ft]","CAS', '[kt]",Remark',
                     "0,1000,150,", "1,1010,151,", "2,1020,152,", ""])
    log = read_log(export(tmp_path, text))
    assert log.time.tolist() == [0, 1, 2]
    assert log.channels["pressure_altitude"].column == "Press Alt [ft]"
    np.testing.assert_allclose(log.channels["calibrated_airspeed"].values,
                               [150 * KT, 151 * KT, 152 * KT])
    assert (log.source.dialect["header_line"], log.source.dialect["first_line"]) == (2, 5)
    wrong = export(tmp_path, text.replace("1010", "high"))
    with pytest.raises(Problem, match='line 6: "high" in column "Press Alt'):
        read_log(wrong)
