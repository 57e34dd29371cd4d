"""Training flights of a fleet: measured as by the command alone, and only where a schedule is."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pyarrow.dataset as pads
import pytest
from click.testing import CliRunner

import loganalyze as la
from loganalyze import Problem
from loganalyze.cli import group
from loganalyze.training import read_record

SAMPLES = Path(__file__).parents[2] / "sample_logs"
FLEET = """
[[aircraft]]
path = ["*"]
{schedule}
[[aircraft.sheet]]
limits = "sheet.toml"
"""


@pytest.fixture
def school(tmp_path):
    (tmp_path / "logs").mkdir()
    for name in ("first_try", "better_try"):
        shutil.copy(SAMPLES / "lesson" / f"{name}.csv", tmp_path / "logs")
    shutil.copy(SAMPLES / "ouzelwing_240.toml", tmp_path / "sheet.toml")
    shutil.copy(SAMPLES / "lesson" / "schedule.toml", tmp_path / "lesson.toml")
    (tmp_path / "fleet.toml").write_text(FLEET.format(schedule='schedule = "lesson.toml"'))
    return tmp_path


def stored(store):
    table = pads.dataset(store / "training", partitioning="hive").to_table().to_pylist()
    source = {one["flight_key"]: Path(one["source"]).stem for one in
              pads.dataset(store / "flights", partitioning="hive").to_table().to_pylist()}
    rows = {}
    for one in table:
        rows.setdefault(source[one["flight_key"]], {})[one["exercise"], one["measure"]] = (
            one["value"], one["uncertainty"], one["count"])
    return rows


def test_the_store_holds_what_the_command_records_of_each_flight(school):
    la.run_fleet([str(school / "logs")], school / "store", fleet=school / "fleet.toml", workers=0)
    found = stored(school / "store")
    assert {*found} == {"first_try", "better_try"}
    for name, rows in found.items():
        ran = CliRunner().invoke(group, [
            "training", str(school / "logs" / f"{name}.csv"), "--limits",
            str(school / "sheet.toml"), "--schedule", str(school / "lesson.toml"), "--trainee",
            "T7", "--out", str(school / name)])
        assert ran.exit_code == 0, ran.output
        alone = read_record(school / name / "record.json").measures
        assert {(one.exercise, one.measure): (one.value, one.uncertainty, one.count)
                for one in alone} == {
            key: (pytest.approx(value, abs=1e-9),
                  None if u is None else pytest.approx(u, abs=1e-9), count)
            for key, (value, u, count) in rows.items()}
    # Another schedule is another judgement of these flights.
    schedule = school / "lesson.toml"
    schedule.write_text(schedule.read_text() + "\n# another edition\n")
    again = la.run_fleet([str(school / "logs")], school / "store", fleet=school / "fleet.toml",
                         workers=0)
    assert again.judged == 2


def test_without_a_schedule_there_are_no_rows_and_verdicts_are_the_same(school):
    la.run_fleet([str(school / "logs")], school / "with", fleet=school / "fleet.toml", workers=0)
    (school / "fleet.toml").write_text(FLEET.format(schedule=""))
    la.run_fleet([str(school / "logs")], school / "without", fleet=school / "fleet.toml", workers=0)
    assert stored(school / "without") == {}
    assert len(stored(school / "with")) == 2
    for name in ("exceedances", "measures"):
        both = [pads.dataset(school / one / name, partitioning="hive").to_table()
                .drop_columns("flight_key").sort_by([("log", "ascending"), (
                    "start_s" if name == "exceedances" else "time_s", "ascending")])
                for one in ("with", "without")]
        assert both[0].equals(both[1])


def test_a_protected_store_and_its_export_hold_nobody(school):
    la.run_fleet([str(school / "logs")], school / "store", fleet=school / "fleet.toml", workers=0,
                 protect=school / "a.key")
    table = pads.dataset(school / "store" / "training", partitioning="hive").to_table()
    assert not any("try" in str(one["log"]) for one in table.to_pylist())
    assert not {"trainee", "by", "instructor"} & {*table.column_names}
    written = la.export_deidentified(school / "store", school / "out", least=2)
    assert "training.csv" not in {path.name for path in written}
    assert "training" not in json.loads((school / "out" / "about.json").read_text())["tables"]


def test_a_schedule_that_is_none_is_refused_before_anything_is_judged(school):
    (school / "lesson.toml").write_text("lesson = 3\n")
    with pytest.raises(Problem, match=r"lesson\.toml"):
        la.run_fleet([str(school / "logs")], school / "store", fleet=school / "fleet.toml",
                     workers=0)


def corrections_of(log, place, **change):
    """Write an instructor's corrections of a log, by the command."""
    sheet = log.parents[1] / "sheet.toml"
    ran = CliRunner().invoke(group, [
        "correct", str(log), "--limits", str(sheet), "--by", "KL", "--corrections", str(place),
        *(part for key, value in change.items() for part in (
            [f"--{key}"] if value is True else [f"--{key}", str(value)]))])
    assert ran.exit_code == 0, ran.output


@pytest.mark.parametrize("beside", [True, False])
def test_an_instructors_corrections_count_and_let_the_log_be_judged_again(school, beside):
    if not beside:
        (school / "fleet.toml").write_text(FLEET.format(
            schedule='schedule = "lesson.toml"\ncorrections = "corrected"'))
    log = school / "logs" / "first_try.csv"
    kept = (log.parent if beside else school / "corrected") / "first_try.csv.corrections.toml"
    kept.parent.mkdir(exist_ok=True)

    def judged():
        report = la.run_fleet([str(log)], school / "store", fleet=school / "fleet.toml",
                              workers=0)
        return report.judged, stored_now(school / "store")

    count, before = judged()
    assert count == 1
    assert judged() == (0, before)
    corrections_of(log, kept, delete=True, exercise=1)
    count, after = judged()
    assert count == 1
    counts = [max(row[2] for (kind, _), row in found.items() if kind == "climb at constant CAS")
              for found in (before, after)]
    assert counts == [2, 1]
    assert judged() == (0, after)
    kept.unlink()
    assert judged() == (0, before)  # the verdict of before is in the store still


def stored_now(store):
    with la.connect_store(store) as found:
        return {(exercise, measure): numbers for exercise, measure, *numbers in found.execute(
            "select exercise, measure, value, uncertainty, count from training").fetchall()}


def test_a_correction_that_fits_nothing_any_more_is_a_problem_until_it_is_mended(school):
    log = school / "logs" / "first_try.csv"
    kept = log.with_name("first_try.csv.corrections.toml")
    corrections_of(log, kept, delete=True, exercise=1)
    whole = kept.read_text()
    kept.write_text(whole.replace('kind = "climb at constant CAS"', 'kind = "stall"'))
    for said in ("none is found there any more", "none is found there any more"):
        report = la.run_fleet([str(log)], school / "store", fleet=school / "fleet.toml",
                              workers=0)
        assert (report.judged, report.problems) == (0, 1)
        (row,) = pads.dataset(school / "store" / "problems").to_table().to_pylist()
        assert said in row["reason"]
    kept.write_text(whole)
    report = la.run_fleet([str(log)], school / "store", fleet=school / "fleet.toml", workers=0)
    assert (report.judged, report.problems) == (1, 0)
