"""The logs of a run: files, folders, patterns and addresses."""

from __future__ import annotations

import hashlib

import fsspec
import pytest

import loganalyze
from loganalyze.problems import Problem
from tests.fleet.conftest import rows, run, write_log


def sources(store) -> list[str]:
    return [source for name in ("flights", "problems") for (source,) in rows(
        store, name, "source")]


def test_a_folder_is_searched_through_and_hidden_files_are_left_out(fleet, sheet, tmp_path):
    (fleet / ".hidden.csv").write_text("x")
    (fleet / "_work").mkdir()
    (fleet / "_work" / "a.csv").write_text("x")
    run(fleet, tmp_path / "store", sheet)
    assert sources(tmp_path / "store") == [str(fleet / name) for name in (
        "0.csv", "1.csv", "2.csv", "3.csv", "4.csv", "letter.csv")]


def test_patterns_and_files_give_each_log_once(fleet, sheet, tmp_path):
    named = [f"{fleet}/*.csv", str(fleet / "1.csv"), f"{fleet}/**/copy.csv"]
    report = loganalyze.run_fleet(named, tmp_path / "store", limits=sheet, workers=0)
    assert (report.logs, report.same) == (7, 1)


@pytest.mark.parametrize("named", ["{}/nothing.csv", "{}/x*.csv", "{}/empty", "nowhere://x/y"])
def test_what_leads_to_no_log_is_refused(fleet, sheet, tmp_path, named):
    (fleet / "empty").mkdir()
    with pytest.raises(Problem):
        run(named.format(fleet), tmp_path / "store", sheet)
    assert not (tmp_path / "store").exists()


def test_logs_of_another_filesystem_are_fetched_and_judged(fleet, sheet, tmp_path):
    memory = fsspec.filesystem("memory")
    memory.pipe("/bucket/a/0.csv", (fleet / "1.csv").read_bytes())
    memory.pipe("/bucket/_private/1.csv", b"x")
    report = run("memory://bucket", tmp_path / "store", sheet)
    assert (report.logs, report.outcomes) == (1, {"exceeded": 1})
    assert rows(tmp_path / "store", "flights", "source", "log_sha256") == [(
        "memory:///bucket/a/0.csv", hashlib.sha256((fleet / "1.csv").read_bytes()).hexdigest())]


def test_addresses_of_files_are_judged(fleet, sheet, tmp_path):
    report = run(f"file://{fleet}", tmp_path / "store", sheet)
    assert report.judged == 5
    assert {source.split("://")[0] for source in sources(tmp_path / "store")} == {"file"}


def test_the_key_of_several_files_is_that_of_the_read_log(sheet, tmp_path):
    write_log(tmp_path / "f" / "1.csv", 220, day="2031-01-01")
    write_log(tmp_path / "f" / "2.csv", 220, day="2031-01-02")
    run(tmp_path / "f", tmp_path / "store", sheet, folders=True)
    assert {key for (key,) in rows(tmp_path / "store", "flights", "log_sha256")} == {
        loganalyze.read_log(tmp_path / "f").source.sha256}
