"""Recordings of two aircraft are never read as one, and each flight names its file."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner

from loganalyze import Problem, read_flights, read_log
from loganalyze.cli import group

SHEET = """aircraft = "an invented aircraft"
[airspeed]
recorded = "calibrated"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 400
"""


def table(day: int, mark: str = "", hour: int = 8) -> str:
    """Return a flight of 20 minutes as a table, with the registration in a column if given."""
    lines = ["UTC,Pressure Altitude [ft],IAS [kt],SAT [degC]" + (",Registration" if mark else "")]
    for t in range(1200):
        speed = max(0, min(240, 3 * (t - 30))) if t < 900 else max(0, 240 - 2 * (t - 900))
        height = min(8000, max(0, 30 * (t - 100))) if t < 800 else max(0, 8000 - 25 * (t - 800))
        lines.append(f"2026-03-{day:02}T{hour:02}:{t // 60:02}:{t % 60:02}Z,{height},{speed},9"
                     + (f",{mark}" if mark else ""))
    return "\n".join(lines) + "\n"


def put(folder: Path, **texts: str) -> Path:
    folder.mkdir()
    for name, text in texts.items():
        (folder / f"{name.replace('_of_', '-')}.csv").write_text(text)
    return folder


@pytest.mark.parametrize("said", [
    "Registration: {}\n", "Tail,{}\n", "# Aircraft registration = {}\n", "A/C REG: {}\n",
    "Aircraft: an invented commuter, tail {}, serial 7\n"])
def test_registrations_above_the_header(tmp_path: Path, said: str) -> None:
    folder = put(tmp_path / "logs", a=said.format("ZZ-001") + table(1),
                 b=said.format("ZZ-002") + table(2))
    for read in (read_log, lambda path: list(read_flights(path))):
        with pytest.raises(Problem, match=r"b\.csv: it is a log of ZZ-002.* a\.csv one of ZZ-001"):
            read(folder)
    same = put(tmp_path / "same", a=said.format("ZZ-001") + table(1),
               b=said.format("ZZ001") + table(2))
    assert len(list(read_flights(same))) == 2


def test_registrations_in_a_column(tmp_path: Path) -> None:
    folder = put(tmp_path / "logs", a=table(1, "ZZ-001"), b=table(2, "ZZ-002"))
    with pytest.raises(Problem, match=r"b\.csv: it is a log of ZZ-002"):
        read_log(folder)
    folder = put(tmp_path / "same", a=table(1, "ZZ-001"), b=table(2, "ZZ-001"))
    assert len(list(read_flights(folder))) == 2


def test_a_registration_that_changes_far_below(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(table(1, "ZZ-001") + table(2, "ZZ-002").split("\n", 1)[1])
    with pytest.raises(Problem, match=r'line 1202: .* of "ZZ-001", but here of "ZZ-002"'):
        read_log(path)
    with pytest.raises(Problem, match=r'line 1202: .* of "ZZ-001", but here of "ZZ-002"'):
        list(read_flights(path))


def test_registrations_in_the_names_of_files(tmp_path: Path) -> None:
    folder = put(tmp_path / "logs", ZZ_of_ABC_march=table(1), ZZ_of_ABD_march=table(2))
    with pytest.raises(Problem, match=r"ZZ-ABD_march\.csv: it is a log of ZZ-ABD by its name"):
        read_log(folder)
    parts = put(tmp_path / "parts", part_of_001=table(1), part_of_002=table(2))
    assert len(list(read_flights(parts))) == 2


def test_registrations_in_metadata(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    for i, mark in enumerate(("ZZ-001", "ZZ-002")):
        made = pa.table({"Time [s]": [i * 100.0 + t for t in range(50)],
                         "Pressure Altitude [ft]": [8000.0] * 50, "IAS [kt]": [200.0] * 50})
        pq.write_table(made.replace_schema_metadata({"registration": mark}),
                       folder / f"{i}.parquet")
    with pytest.raises(Problem, match="a log of ZZ-002"):
        read_log(folder)


def test_overlapping_flights_are_refused(tmp_path: Path) -> None:
    later = table(1, hour=8).replace("T08:", "T08:").replace(":00Z", ":30Z")
    with pytest.raises(Problem, match=r"begins before .* ends"):
        read_log(put(tmp_path / "logs", a=table(1), b=later))


def test_each_flight_names_its_file(tmp_path: Path) -> None:
    days = {f"day_{day}": table(day) for day in range(1, 4)}
    folder = put(tmp_path / "logs", **days)
    flights = list(read_flights(folder))
    assert [[path.name for path in one.source.flight_files] for one in flights] == [
        [f"{name}.csv"] for name in days]
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET)
    result = CliRunner().invoke(group, ["analyze", str(folder), "--limits", str(sheet), "--out",
                                      str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert "Flight 2, in day_2.csv" in result.output
    summary = json.loads((tmp_path / "out/logs/summary.json").read_text())
    assert [one["files"] for one in summary["flights"]] == [[f"{name}.csv"] for name in days]
    shown = CliRunner().invoke(group, ["inspect", str(folder)])
    assert "day_3.csv" in shown.output


def test_a_flight_in_two_files_names_both(tmp_path: Path) -> None:
    header, *rows = table(1).splitlines(keepends=True)
    folder = put(tmp_path / "logs", a=header + "".join(rows[:600]), b=header + "".join(rows[600:]))
    flight, = read_flights(folder)
    assert [path.name for path in flight.source.flight_files] == ["a.csv", "b.csv"]
    alone = tmp_path / "alone.csv"
    alone.write_text(table(1))
    assert read_log(alone).source.flight_files == ()
