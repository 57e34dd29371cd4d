"""The logs of a run: files, folders, patterns and addresses."""

from __future__ import annotations

import hashlib
from pathlib import Path

import fsspec
import pytest

from loganalyze.fleet.log_sources import find_logs
from loganalyze.problems import Problem
from tests.fleet.conftest import rows, run, write_log


def test_a_folder_is_searched_through_and_hidden_files_are_left_out(fleet):
    (fleet / ".hidden.csv").write_text("x")
    (fleet / "_work").mkdir()
    (fleet / "_work" / "a.csv").write_text("x")
    names = [log.name for log in find_logs([str(fleet)])]
    assert names == [str(fleet / name) for name in (
        "0.csv", "1.csv", "2.csv", "3.csv", "4.csv", "deep/copy.csv", "letter.csv")]


def test_patterns_and_files_give_each_log_once(fleet):
    names = [log.name for log in find_logs([f"{fleet}/*.csv", str(fleet / "1.csv"),
                                            f"{fleet}/**/copy.csv"])]
    assert len(names) == len(set(names)) == 7


@pytest.mark.parametrize("named", ["{}/nothing.csv", "{}/x*.csv", "{}/empty", "nowhere://x/y"])
def test_what_leads_to_no_log_is_refused(fleet, named):
    (fleet / "empty").mkdir()
    with pytest.raises(Problem):
        find_logs([named.format(fleet)])


def test_an_address_is_fetched_and_judged(fleet, sheet, tmp_path):
    memory = fsspec.filesystem("memory")
    memory.pipe("/bucket/a/0.csv", (fleet / "1.csv").read_bytes())
    memory.pipe("/bucket/_private/1.csv", b"x")
    (log,) = find_logs(["memory://bucket"])
    assert log.sha256() == hashlib.sha256((fleet / "1.csv").read_bytes()).hexdigest()
    with log.local() as path:
        assert Path(path).read_bytes() == (fleet / "1.csv").read_bytes()


def test_an_address_of_files_is_judged_by_workers(fleet, sheet, tmp_path):
    report = run(f"file://{fleet}", tmp_path / "store", sheet)
    assert report.judged == 5
    assert {one.split("://")[0] for (one,) in rows(tmp_path / "store", "flights", "source")} == {
        "file"}


def test_the_key_of_several_files_is_that_of_the_read_log(tmp_path):
    import loganalyze

    write_log(tmp_path / "f" / "1.csv", 220, day="2031-01-01")
    write_log(tmp_path / "f" / "2.csv", 220, day="2031-01-02")
    (log,) = find_logs([str(tmp_path / "f")], folders=True)
    assert log.sha256() == loganalyze.read_log(tmp_path / "f").source.sha256
