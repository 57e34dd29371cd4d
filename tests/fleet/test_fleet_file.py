"""Which limits sheet a log of a fleet is judged by."""

from __future__ import annotations

import pytest

import loganalyze
from loganalyze.problems import Problem
from tests.fleet.conftest import rows, write_log, write_sheet

FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9]+)/"

[[aircraft]]
registration = ["DEMO-1"]
name = "number one"
tags = {{ base = "north" }}
[[aircraft.sheet]]
limits = "old.toml"
[[aircraft.sheet]]
limits = "new.toml"
effective = 2031-02-01

[[aircraft]]
{rule}
[[aircraft.sheet]]
limits = "old.toml"
"""


@pytest.fixture
def judge(tmp_path):
    write_sheet(tmp_path / "old.toml", vmo=245)
    write_sheet(tmp_path / "new.toml", vmo=255)

    def judge(rule: str = 'registration = ["DEMO-2*", "X-*"]'):
        (tmp_path / "fleet.toml").write_text(FLEET.format(rule=rule), encoding="utf-8")
        report = loganalyze.run_fleet([str(tmp_path / "logs")], tmp_path / "store",
                                      fleet=tmp_path / "fleet.toml", workers=0)
        found = {source.rpartition("logs/")[2]: values for source, *values in rows(
            tmp_path / "store", "flights", "source", "aircraft", "limits_sheet", "outcome",
            "tags")}
        return report, found

    return judge


def test_the_sheet_that_held_on_the_day_of_the_flight_counts(judge, tmp_path):
    write_log(tmp_path / "logs/DEMO-1/a.csv", 250, day="2031-01-31")
    write_log(tmp_path / "logs/DEMO-1/b.csv", 250.5, day="2031-02-01")
    write_log(tmp_path / "logs/DEMO-21/c.csv", 251, day="2031-03-01")
    _, found = judge()
    assert found == {
        "DEMO-1/a.csv": ["number one", "old.toml", "exceeded", '{"base": "north"}'],
        "DEMO-1/b.csv": ["number one", "new.toml", "not exceeded", '{"base": "north"}'],
        "DEMO-21/c.csv": ["DEMO-21", "old.toml", "exceeded", "{}"]}


def test_a_registration_in_the_log_is_found_where_the_path_has_none(judge, tmp_path):
    write_log(tmp_path / "logs/a.csv", 250, day="2031-01-31", registration="X-AB1")
    report, found = judge()
    assert found["a.csv"][0] == "X-AB1"
    assert report.problems == 0


def test_a_path_can_name_the_aircraft(judge, tmp_path):
    write_log(tmp_path / "logs/west/a.csv", 250)
    _, found = judge('path = ["*/west/*"]')
    assert found["west/a.csv"][1] == "old.toml"


@pytest.mark.parametrize(("place", "day", "reason"), [
    ("DEMO-7/a.csv", "2031-01-05", "no aircraft of fleet.toml fits"),
    ("DEMO-1/a.csv", "", "has no date"),
])
def test_a_log_that_no_rule_decides_is_a_problem(judge, tmp_path, place, day, reason):
    write_log(tmp_path / "logs" / place, 250, day=day)
    report, found = judge()
    assert (report.problems, found) == (1, {})
    ((said,),) = rows(tmp_path / "store", "problems", "reason")
    assert reason in said


def test_a_new_revision_judges_again_only_what_it_touches(judge, tmp_path):
    write_log(tmp_path / "logs/DEMO-1/a.csv", 250, day="2031-01-31")
    write_log(tmp_path / "logs/DEMO-1/b.csv", 250.5, day="2031-02-01")
    judge()
    write_sheet(tmp_path / "new.toml", vmo=248)
    report, _ = judge()
    assert (report.judged, report.known) == (1, 1)


@pytest.mark.parametrize(("text", "key", "what"), [
    ("aircraft = []", "aircraft", "names no aircraft"),
    ('[[aircraft]]\nregistration = ["A"]\nsheet = []', "sheet", "no limits sheet"),
    ('[[aircraft]]\nsheet = [{ limits = "a.toml" }]', "registration", "which logs are meant"),
    ('[identity]\npath = "("\n[[aircraft]]\npath = ["*"]\nsheet = [{ limits = "a.toml" }]', "path",
     "no regular expression"),
    ('[identity]\npath = "x"\n[[aircraft]]\npath = ["*"]\nsheet = [{ limits = "a.toml" }]', "path",
     "no group"),
    ('[[aircraft]]\npath = ["*"]\nsheet = [{ limits = "a.toml" }, { limits = "b.toml" }]', "sheet",
     "two sheets hold from the beginning"),
])
def test_a_fleet_file_that_decides_nothing_is_refused(tmp_path, text, key, what):
    path = tmp_path / "fleet.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Problem, match=what) as found:
        loganalyze.read_fleet(path)
    assert key in found.value.where


def test_a_sheet_that_is_not_there_ends_the_run(tmp_path):
    path = tmp_path / "fleet.toml"
    path.write_text('[[aircraft]]\npath = ["*"]\nsheet = [{ limits = "none.toml" }]')
    with pytest.raises(Problem, match=r"none\.toml"):
        loganalyze.run_fleet([str(tmp_path)], tmp_path / "store", fleet=path)
    assert not (tmp_path / "store").exists()
