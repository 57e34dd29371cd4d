"""Several files of one recording, folders of them, and columns files found by signature."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import FT, export, lines, parquet

from loganalyze import FlightLog, Problem, read_flights, read_log
from loganalyze.text.language import reading_text

HEADER = "time_s,press_alt_ft,ias_kt"


def part(folder: Path, name: str, first: int, count: int, header: str = HEADER,
         stamp: str = "{}") -> Path:
    """Write seconds `first` on; the altitude [ft] is the second."""
    folder.mkdir(exist_ok=True)
    rows = [f"{stamp.format(t)},{t},200" for t in range(first, first + count)]
    return export(folder, lines(header, rows), name)


def altitudes(log: FlightLog) -> list[int]:
    return np.rint(log.channels["pressure_altitude"].values / FT).astype(int).tolist()


def test_files_are_read_in_the_order_of_time(tmp_path: Path) -> None:
    paths = [part(tmp_path, "b.csv", 10, 10), part(tmp_path, "a.csv", 40, 5),
             part(tmp_path, "c.csv", 0, 10)]
    log = read_log(paths)
    assert altitudes(log) == [*range(20), *range(40, 45)]
    assert log.time.tolist() == [*range(20), *range(40, 45)]
    assert log.source.dialect["files"] == 3
    assert [one.path for one in log.source.files] == paths
    assert log.source.size == sum(path.stat().st_size for path in paths)
    hashes = "".join(hashlib.sha256(path.read_bytes()).hexdigest() for path in paths)
    assert log.source.sha256 == hashlib.sha256(hashes.encode()).hexdigest()
    assert sum(map(len, read_flights(paths))) == 25


def test_columns_may_stand_in_another_order(tmp_path: Path) -> None:
    first = part(tmp_path, "1.csv", 0, 3)
    second = export(tmp_path, "ias_kt,time_s,press_alt_ft\n200,3,3\n200,4,4\n", "2.csv")
    assert altitudes(read_log([first, second])) == [0, 1, 2, 3, 4]


def test_times_of_day_across_midnight(tmp_path: Path) -> None:
    header = "UTC,press_alt_ft,ias_kt"
    first = part(tmp_path, "1.csv", 50, 10, header, "23:59:{}")
    second = part(tmp_path, "2.csv", 10, 10, header, "00:00:{}")
    assert read_log([first, second]).time.tolist() == [*range(10), *range(20, 30)]


def test_a_folder_of_exports_is_read_by_name_two_before_ten(tmp_path: Path) -> None:
    header = "UTC,press_alt_ft,ias_kt"
    folder = tmp_path / "flight"
    part(folder, "part_10.csv", 30, 5, header, "12:00:{}")
    part(folder, "part_2.csv", 10, 5, header, "12:00:{}")
    (folder / "_SUCCESS").touch()
    (folder / "notes.md").touch()
    assert altitudes(read_log(folder)) == [*range(10, 15), *range(30, 35)]


def test_a_parquet_dataset(tmp_path: Path) -> None:
    folder = tmp_path / "flight.parquet"
    for leg in (2, 1):
        (folder / f"leg={leg}").mkdir(parents=True)
        time = np.arange(5.0) + 5 * leg
        parquet(folder / f"leg={leg}", {"time_s": pa.array(time), "press_alt_ft": pa.array(time),
                                        "ias_kt": pa.array(time)}, "part-0.parquet")
    log = read_log(folder)
    assert altitudes(log) == list(range(5, 15))
    assert log.source.path == folder


@pytest.mark.parametrize(("parts", "said"), [
    (((0, 10, HEADER), (8, 10, HEADER)), "{}/2.csv: it begins before 1.csv ends; give each stretch "
     "of time once, and files whose clock runs on, or has a date."),
    (((0, 10, HEADER), (0, 10, HEADER)), "{}/2.csv: it begins before 1.csv ends; give each stretch "
     "of time once, and files whose clock runs on, or has a date."),
    (((0, 10, HEADER), (10, 10, HEADER.replace("kt", "mph"))), "{}/2.csv: its columns aren't those "
     "of 1.csv; give files of one export in one folder."),
])
def test_files_that_do_not_belong_together(parts: tuple[tuple[int, int, str], ...], said: str,
                                           tmp_path: Path) -> None:
    paths = [part(tmp_path, f"{i}.csv", *one) for i, one in enumerate(parts, 1)]
    with pytest.raises(Problem) as caught:
        read_log(paths)
    assert caught.value.sentence == said.format(tmp_path)
    with pytest.raises(Problem):
        list(read_flights(paths))


CLOCKS = pytest.mark.parametrize(("header", "stamp"), [
    ("Date,UTC,press_alt_ft,ias_kt", "2026-03-01,10:00:{:02d}"),
    ("Hour,Minute,Second,press_alt_ft,ias_kt", "10,0,{}"),
    ("UTC,press_alt_ft,ias_kt", "10:00:{:02d}")])


@CLOCKS
def test_files_whose_clock_is_made_of_several_columns(
        header: str, stamp: str, tmp_path: Path) -> None:
    paths = [part(tmp_path, "a.csv", 0, 10, header, stamp),
             part(tmp_path, "b.csv", 12, 10, header, stamp)]
    assert read_log(paths).time.tolist() == [*range(10), *range(12, 22)]
    late = part(tmp_path, "c.csv", 20, 10, header, stamp)
    with pytest.raises(Problem, match=r"c\.csv: it begins before b\.csv ends"):
        read_log([*paths, late])


def test_files_with_dates_of_their_own_are_put_in_order(tmp_path: Path) -> None:
    header, stamp = "Date,UTC,press_alt_ft,ias_kt", "2026-03-01,10:00:{:02d}"
    log = read_log([part(tmp_path, "a.csv", 30, 10, header, stamp),
                    part(tmp_path, "b.csv", 10, 10, header, stamp)])
    assert altitudes(log) == [*range(10, 20), *range(30, 40)]
    assert log.utc_start == np.datetime64("2026-03-01T10:00:10", "ns")


def test_files_that_each_state_their_units(tmp_path: Path) -> None:
    names = "Time,Press Alt,CAS,SAT\n"
    first = export(tmp_path, names + "s,ft,kt,degC\n0,1000,200,5\n1,1000,200,5\n", "1.csv")
    second = export(tmp_path, names + "s,m,km/h,K\n2,304.8,370.4,278.15\n3,304.8,370.4,278.15\n",
                    "2.csv")
    for paths in ([first, second], [second, first]):
        log = read_log(paths)
        for channel, value in (("pressure_altitude", 1000 * FT),
                               ("calibrated_airspeed", 200 * 1852 / 3600),
                               ("static_air_temperature", 278.15)):
            np.testing.assert_allclose(log.channels[channel].values, [value] * 4)
    wrong = export(tmp_path, names + "ms,ft,kt,degC\n4000,1000,200,5\n5000,1000,200,5\n", "3.csv")
    with pytest.raises(Problem, match=r"3\.csv: its columns aren't those of 1\.csv"):
        read_log([first, wrong])


def test_a_file_named_twice(tmp_path: Path) -> None:
    path = part(tmp_path, "1.csv", 0, 3)
    with pytest.raises(Problem, match="it is named twice; name each file once"):
        read_log([path, path])
    with pytest.raises(Problem, match="no log is named"):
        read_log([])


FAMILY = """[signature]
header = ["{}", "HP"]
[file]
decimal = "comma"
thousands = "point"
[columns]
time = {{ column = "CLK", unit = "s" }}
pressure_altitude = {{ column = "HP", unit = "{}" }}
indicated_airspeed = {{ column = "VI", unit = "kt" }}
"""


def test_the_columns_file_of_the_family_is_found(tmp_path: Path) -> None:
    folder = tmp_path / "families"
    folder.mkdir()
    (folder / "feet.toml").write_text(FAMILY.format("VI", "ft"))
    (folder / "metres.toml").write_text(FAMILY.format("VX", "m"))
    # Without the habits that the columns file states, this export would be refused.
    path = export(tmp_path, "CLK;HP;VI\n0;1.000,5;200\n1;1.000,5;200\n")
    log = read_log(path, folder)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values, 1000.5 * FT)
    assert reading_text.sentences(log.source.inferred)[0] == (
        "Of the columns files in families, feet.toml was taken: its signature fits.")
    (folder / "metres.toml").write_text(FAMILY.format("CLK", "m"))
    with pytest.raises(Problem, match=r"feet\.toml and metres\.toml in .* are both for this log"):
        read_log(path, folder)
    with pytest.raises(Problem, match=r"none of the 2 columns files in .* is for this log's"):
        read_log(part(tmp_path, "other.csv", 0, 3), folder)


def test_a_folder_without_columns_files(tmp_path: Path) -> None:
    path = part(tmp_path / "log", "1.csv", 0, 3)
    with pytest.raises(Problem, match=r"no columns file \(\.toml\) is in this folder"):
        read_log(path, tmp_path)
