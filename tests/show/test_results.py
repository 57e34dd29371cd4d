import csv
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from loganalyze import Problem, assess_flight, write_results
from loganalyze.show.files import results_folder
from loganalyze.show.files.results_folder import folder_for

FILES = ["ceilings.csv", "ceilings.parquet", "contributions.csv", "contributions.parquet",
         "exceedances.csv", "exceedances.parquet", "margin.png", "near.csv", "near.parquet",
         "samples.parquet", "summary.json"]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.CSV.zst", "a.parquet", "a"])
def test_the_folder_is_named_as_the_log(name):
    assert folder_for(Path("logs") / name, Path("out")) == Path("out") / "a"


def test_a_log_named_only_by_its_suffix_keeps_it():
    assert folder_for(Path(".csv"), Path("out")) == Path("out/.csv")


def _of_speeds(value):
    """Return the facts without what only limits in no airspeed or Mach have."""
    if isinstance(value, dict):
        return {name: _of_speeds(one) for name, one in value.items()
                if one is not None or name not in ("margin", "quantity", "unit", "worst_excess")}
    return [_of_speeds(one) for one in value] if isinstance(value, list | tuple) else value


def test_everything_is_written_and_nothing_else(analysis, sheet_path, tmp_path):
    folder = tmp_path / "out" / "flight"
    summary = write_results(analysis, folder, limits=sheet_path)
    assert names(folder) == FILES
    assert names(folder.parent) == ["flight"]
    said = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert said == _of_speeds(asdict(summary))
    assert [one["role"] for one in said["inputs"]] == ["log", "limits"]
    assert said["inputs"][0]["sha256"] == analysis.log.source.sha256
    assert said["flights"][0]["exceedances"][0]["limit"] == "VMO"
    assert said["settings"]["join_gap_s"] == 5.0
    assert str(tmp_path) not in (folder / "summary.json").read_text(encoding="utf-8")


def test_same_inputs_same_bytes(analysis, sheet_path, tmp_path):
    for place in ("one", "two"):
        write_results(analysis, tmp_path / place, limits=sheet_path)
    for name in FILES:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_other_plot_formats_have_no_clock_time_either(analysis, tmp_path, kind):
    for place in ("one", "two"):
        write_results(analysis, tmp_path / place, plot_format=kind)
    first, second = ((tmp_path / place / f"margin.{kind}").read_bytes()
                     for place in ("one", "two"))
    assert first == second
    assert first.startswith(b"%PDF" if kind == "pdf" else b"<?xml")
    assert not (tmp_path / "one" / "margin.png").exists()


def test_several_flights_share_the_tables(judged, tmp_path):
    flights = [judged(np.full(20, 240.0)),
               judged([240.0] * 10 + [255.0] * 10, start=9000.0, flight=2)]
    write_results(iter(flights), tmp_path / "out")
    file = pq.ParquetFile(tmp_path / "out" / "samples.parquet")
    assert file.num_row_groups == 2
    assert file.read(columns=["flight"])["flight"].to_pylist() == [1] * 20 + [2] * 20
    assert names(tmp_path / "out") == sorted([*FILES, "margin-2.png"])
    (found,) = pq.ParquetFile(tmp_path / "out" / "exceedances.parquet").read().to_pylist()
    assert found["flight"] == 2
    said = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert [one["flight"] for one in said["flights"]] == [1, 2]
    assert said["flights"][1]["start_s"] == 9000.0


def test_near_ones_are_a_table_and_every_row_says_what_it_comes_from(judged, sheet_path, tmp_path):
    flight = judged([244.5] * 60)
    write_results(assess_flight(flight), tmp_path / "out", limits=sheet_path)
    (row,) = csv.DictReader((tmp_path / "out" / "near.csv").read_text().splitlines())
    (same,) = pq.ParquetFile(tmp_path / "out" / "near.parquet").read().to_pylist()
    assert (row["limit"], float(row["margin_kt"])) == ("VMO", pytest.approx(0.5, abs=1e-4))
    assert 0 < float(row["probability"]) == same["probability"] < 0.5
    for name in ("samples", "exceedances", "near", "contributions"):
        table = pq.ParquetFile(tmp_path / "out" / f"{name}.parquet").read()
        assert table.column_names[-3:] == ["log", "aircraft", "limits_sheet"]
    assert (row["aircraft"], row["limits_sheet"]) == ("an invented twin", sheet_path.name)
    assert row["log"] == flight.log.source.path.name


def test_an_existing_folder_is_refused(analysis, tmp_path):
    write_results(analysis, tmp_path / "out")
    before = (tmp_path / "out" / "summary.json").stat().st_mtime_ns
    with pytest.raises(Problem, match=r"exists already.*--overwrite"):
        write_results(analysis, tmp_path / "out")
    assert (tmp_path / "out" / "summary.json").stat().st_mtime_ns == before


def test_overwriting_replaces_it_whole(analysis, tmp_path):
    write_results(analysis, tmp_path / "out", plot_format="svg")
    (tmp_path / "out" / "old.txt").write_text("old")
    write_results(analysis, tmp_path / "out", overwrite=True)
    assert names(tmp_path / "out") == FILES
    assert not [name for name in names(tmp_path) if name.startswith(".out")]


def test_a_folder_of_something_else_is_never_replaced(analysis, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letters.txt").write_text("dear")
    with pytest.raises(Problem, match=r"holds no summary\.json"):
        write_results(analysis, tmp_path / "out", overwrite=True)
    assert names(tmp_path / "out") == ["letters.txt"]


def test_a_file_in_its_place_is_refused(analysis, tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(Problem, match="not a folder"):
        write_results(analysis, tmp_path / "out", overwrite=True)
    assert (tmp_path / "out").read_text() == "a file"


@pytest.mark.parametrize("name", ["sample_writer", "margin_figure", "sample_table"])
def test_when_writing_fails_nothing_has_changed(analysis, tmp_path, monkeypatch, name):
    write_results(analysis, tmp_path / "out")
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    everything = names(tmp_path)

    def fail(*_, **__):
        raise RuntimeError("in the middle")

    monkeypatch.setattr(results_folder, name, fail)
    with pytest.raises(RuntimeError):
        write_results(analysis, tmp_path / "out", overwrite=True)
    with pytest.raises(RuntimeError):
        write_results(analysis, tmp_path / "new")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
    assert names(tmp_path) == everything


def test_the_old_folder_comes_back_when_the_new_one_cannot_take_its_place(
    analysis, tmp_path, monkeypatch
):
    write_results(analysis, tmp_path / "out")
    before = (tmp_path / "out" / "summary.json").read_bytes()
    rename = Path.rename

    def fail(self, target):
        if ".partial" in self.name:
            raise OSError(28, "No space left on device")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fail)
    with pytest.raises(Problem, match="No space left"):
        write_results(analysis, tmp_path / "out", overwrite=True)
    assert (tmp_path / "out" / "summary.json").read_bytes() == before
    assert not [name for name in names(tmp_path) if name.startswith(".out")]


def test_no_flight_is_a_problem_and_leaves_nothing(tmp_path):
    with pytest.raises(Problem, match="no flight"):
        write_results(iter(()), tmp_path / "out")
    assert names(tmp_path) == []


def test_without_temperature_the_exceedances_are_the_same_bytes(judged, tmp_path):
    cas = [240.0] * 30 + [250.0] * 20 + [240.0] * 30
    write_results(judged(cas), tmp_path / "with")
    write_results(judged(cas, temperature=False), tmp_path / "without")
    for name in ("exceedances.csv", "exceedances.parquet"):
        assert (tmp_path / "with" / name).read_bytes() == (tmp_path / "without" / name).read_bytes()
