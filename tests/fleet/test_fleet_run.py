"""A fleet judged into a store: what is in it, what is judged again, and what isn't."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
import pytest

import loganalyze
from loganalyze.cli import main
from loganalyze.problems import Problem
from tests.fleet.conftest import agree, contents, rows, run, write_log, write_sheet


def test_a_run_reports_what_it_found(fleet, sheet, tmp_path):
    report = run(fleet, tmp_path / "store", sheet)
    assert (report.logs, report.same, report.judged, report.problems) == (7, 1, 5, 1)
    assert report.outcomes == {"exceeded": 2, "not exceeded": 3}
    assert report.flights == 5
    agree(tmp_path / "store")


def test_the_store_is_partitioned_by_the_month_of_the_flight(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    assert sorted((year, month) for year, month in rows(
        tmp_path / "store", "flights", "year", "month")) == [
            (0, 0), (2031, 1), (2031, 1), (2031, 2), (2031, 3)]


def test_rows_are_those_of_the_single_flight_command(fleet, sheet, tmp_path):
    """The same verdict to the bit: each row of exceedances, near ones and causes."""
    run(fleet, tmp_path / "store", sheet)
    with pytest.raises(SystemExit):
        main(["analyze", *map(str, sorted(fleet.glob("?.csv"))), "--limits", str(sheet), "--out",
              str(tmp_path / "out"), "-q"])
    for name in ("exceedances", "near", "contributions"):
        single = [pq.ParquetFile(path).read() for path in sorted(
            (tmp_path / "out").glob(f"*/{name}.parquet"))]
        columns = single[0].column_names
        expected = sorted((row for table in single for row in zip(
            *(table[column].to_pylist() for column in columns), strict=True)), key=repr)
        assert rows(tmp_path / "store", name, *columns) == expected
    assert rows(tmp_path / "store", "exceedances", "limit") == [("VMO",), ("VMO",)]


def test_a_bad_log_is_a_row_with_its_reason(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    ((source, reason, kind),) = rows(tmp_path / "store", "problems", "source", "reason", "kind")
    assert source == str(fleet / "letter.csv")
    assert reason.startswith(source)
    assert kind == "wrong input"


def test_a_second_run_judges_nothing_and_changes_nothing(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    before = contents(tmp_path / "store")
    report = run(fleet, tmp_path / "store", sheet)
    assert (report.judged, report.known, report.same, report.problems) == (0, 5, 1, 1)
    assert contents(tmp_path / "store") == before


def test_a_new_log_alone_is_judged(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    write_log(fleet / "new.csv", 260, day="2031-03-09")
    report = run(fleet, tmp_path / "store", sheet)
    assert (report.judged, report.known) == (1, 5)
    agree(tmp_path / "store")


def test_a_mended_log_leaves_the_problems(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    write_log(fleet / "letter.csv", 220)
    run(fleet, tmp_path / "store", sheet)
    assert rows(tmp_path / "store", "problems", "source") == []
    agree(tmp_path / "store")


def test_a_changed_sheet_judges_again_and_keeps_both_verdicts(fleet, sheet, tmp_path):
    store = tmp_path / "store"
    run(fleet, store, sheet)
    write_sheet(sheet, vmo=255)
    report = run(fleet, store, sheet)
    assert report.judged == 5
    assert len(rows(store, "flights", "flight_key")) == 10
    agree(store)
    with loganalyze.connect_store(store) as db:
        assert db.execute("select outcome, count(*) from flights group by 1").fetchall() == [
            ("not exceeded", 5)]
        assert db.execute("select count(*) from exceedances").fetchall() == [(0,)]
        assert db.execute("select count(*) from all_exceedances").fetchall() == [(2,)]


def test_a_sheet_put_back_makes_its_verdict_count_again(fleet, sheet, tmp_path):
    store = tmp_path / "store"

    def exceeded() -> int:
        with loganalyze.connect_store(store) as db:
            found = db.execute("select count(*) from flights where outcome = 'exceeded'").fetchall()
            assert db.execute("select count(*) from flights").fetchall() == [(5,)]
        return found[0][0]

    run(fleet, store, sheet)
    write_sheet(sheet, vmo=255)
    run(fleet, store, sheet)
    write_sheet(sheet, vmo=245)
    report = run(fleet, store, sheet)
    assert (report.judged, report.known, exceeded()) == (0, 5, 2)
    write_sheet(sheet, vmo=255)
    run(fleet, store, sheet)
    assert exceeded() == 0
    write_sheet(sheet, vmo=225)
    run(fleet, store, sheet)
    assert exceeded() == 5


def test_other_thresholds_are_another_judgement(fleet, sheet, tmp_path):
    run(fleet, tmp_path / "store", sheet)
    report = run(fleet, tmp_path / "store", sheet, thresholds={"minimum_duration_s": 5.0})
    assert report.judged == 5


@pytest.mark.parametrize(("samples", "more"), [("none", False), ("around", True), ("all", True)])
def test_samples_are_kept_as_asked(fleet, sheet, tmp_path, samples, more):
    run(fleet, tmp_path / "store", sheet, samples=samples)
    kept = rows(tmp_path / "store", "samples", "flight_key", "time_s")
    expected = {"none": 0, "around": 2 * 60, "all": 5 * 60}[samples]
    assert bool(kept) is more
    assert len(kept) == expected


def test_several_files_of_a_folder_are_one_recording(sheet, tmp_path):
    whole = write_log(tmp_path / "whole.csv", 250, day="2031-01-05")
    lines = whole.read_text().splitlines(keepends=True)
    for number, part in enumerate((lines[1:31], lines[31:])):
        (tmp_path / "logs" / "flight").mkdir(parents=True, exist_ok=True)
        (tmp_path / "logs" / "flight" / f"part{number}.csv").write_text(lines[0] + "".join(part))
    report = run(tmp_path / "logs", tmp_path / "store", sheet, folders=True)
    assert (report.logs, report.judged, report.samples) == (1, 1, 60)


def test_another_folder_is_no_store(fleet, sheet, tmp_path):
    with pytest.raises(Problem, match=r"holds no store\.json"):
        run(fleet, fleet, sheet)
    assert (fleet / "notes.md").exists()


def test_queries_need_a_store(tmp_path):
    with pytest.raises(Problem, match="no store"):
        loganalyze.connect_store(tmp_path / "nowhere")


def test_either_limits_or_fleet(fleet, tmp_path):
    with pytest.raises(ValueError, match="either"):
        loganalyze.run_fleet([str(fleet)], tmp_path / "store")


def test_a_run_never_loads_pandas(sheet, tmp_path):
    """It takes as long to load as a dozen flights do, and forty megabytes of each worker."""
    log = pacsv.read_csv(write_log(tmp_path / "a.csv", 255, day="2031-01-07"))
    log = log.set_column(0, log.column_names[0], [
        (np.datetime64("2031-01-07T10:00", "ms") + np.arange(len(log)) * 1000)])
    (tmp_path / "logs").mkdir()
    pq.write_table(log, tmp_path / "logs" / "a.parquet")
    done = subprocess.run([sys.executable, "-c", (
        "import sys\n"
        "import loganalyze as la\n"
        f"report = la.run_fleet([{str(tmp_path / 'logs')!r}], {str(tmp_path / 'store')!r}, "
        f"limits={str(sheet)!r}, workers=0)\n"
        "print(report.outcomes, 'pandas' in sys.modules)")],
        capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[0] == "{'exceeded': 1} False"
