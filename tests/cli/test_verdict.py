"""The verdict's headline, for each reader, from a log and a sheet that state no tolerance."""

import json

import pytest

from .conftest import write_log

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "indicated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = 250
"""


def passed(tmp_path, top):
    """A log that goes up to `top` kt and back at 1 kt/s, in steps of a tenth, and a sheet."""
    speeds = [*range(top - 60, top), *range(top, top - 60, -1)]
    log = write_log(tmp_path / "log.csv", [speed + 0.1 * (speed % 3) for speed in speeds],
                    altitude=8000.0)
    log.write_text(log.read_text().replace("CAS [kt]", "IAS [kt]"))
    (tmp_path / "sheet.toml").write_text(SHEET)
    return log, tmp_path / "sheet.toml"


def headline(run, reader, log, sheet):
    done = run("analyze", log, "--limits", sheet, "--for", reader)
    assert done.code == 0, done.err
    return " ".join(done.out.split("\n\n")[1].partition("\n  No.")[0].split())


@pytest.mark.parametrize("reader", ["crew", "safety"])
def test_who_saw_260_at_a_vmo_of_250_reads_proven_over(run, tmp_path, reader):
    said = headline(run, reader, *passed(tmp_path, 260))
    assert "As displayed " in said
    assert " over (95 %), proven over." in said


def test_maintenance_reads_what_the_airframe_met(run, tmp_path):
    assert "As flown " in headline(run, "maintenance", *passed(tmp_path, 260))


def test_what_the_reading_alone_shows_is_not_called_proven(run, tmp_path):
    said = headline(run, "crew", *passed(tmp_path, 251))
    assert "over but not proven" in said
    assert "proven over" not in said


def test_the_rule_and_both_intervals_are_in_the_results(run, tmp_path):
    log, sheet = passed(tmp_path, 260)
    flight = json.loads(run("analyze", log, "--limits", sheet, "--json").out)["flights"][0]
    (rule,) = [step["settings"] for step in flight["steps"] if step["name"] == "decision"]
    assert "JCGM 106:2012, 8.3" in rule["rule"]
    assert rule["coverage"] == 0.95
    (one,) = flight["exceedances"]
    assert one["excess_low_widest"] < one["excess_low"] < one["excess_low_displayed"]
    assert one["assessment_displayed"] == "proven over"
