"""A trainee's progress: intervals that hold, words that are seldom wrong, people protected."""

import csv
import io
import json

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

from loganalyze import Problem
from loganalyze.cli import group
from loganalyze.show.files.result_schemas import schemas
from loganalyze.training import (
    LessonRecord,
    RecordedMeasure,
    directions,
    progress_of,
    read_record,
    trend_of,
)
from tests.training.progress_coverage import Case, held

ERRORS = [260.0, 228.0, 180.0, 149.0, 107.0, 65.0]


def record(trainee, day, error, kind="steep turn", name="altitude_error_ft"):
    return LessonRecord(trainee=trainee, flown=f"2031-05-{day:02}", flight=f"{trainee}{day}",
                        measures=(RecordedMeasure(exercise=kind, measure=name, value=error,
                                                  uncertainty=5.0),))


@pytest.fixture
def better():
    return [record("T7", day, error) for day, error in enumerate(ERRORS, 1)]


def test_without_measurement_error_the_interval_is_that_of_least_squares():
    values = [9.0, 7.0, 8.0, 4.0, 5.0]
    found = trend_of(values, [0.0] * 5)
    at = np.arange(5)
    line = stats.linregress(at, values)
    reach = stats.t.ppf(0.975, 3) * line.stderr
    assert found.per_flight == pytest.approx(line.slope)
    assert (found.low, found.high) == pytest.approx((line.slope - reach, line.slope + reach))
    residual = np.array(values) - line.intercept - line.slope * at
    assert found.flight_sd == pytest.approx(np.sqrt((residual**2).sum() / 3))


def test_what_the_measurement_explains_is_not_how_flights_differ():
    values = [9.0, 7.0, 8.0, 4.0, 5.0]
    residual = trend_of(values, [0.0] * 5).flight_sd
    found = trend_of(values, [1.0] * 5)
    assert found.flight_sd == pytest.approx(np.sqrt(residual**2 - 1.0), rel=1e-4)
    assert trend_of(values, [3.0] * 5).flight_sd == 0.0
    assert found.measurement_sd == 1.0


def test_flights_on_a_line_by_chance_are_no_surer_than_they_were_measured():
    # Three flights to 0.3 kt each: the slope is known to 0.3 / sqrt(2) kt at best.
    found = trend_of([1.0, 2.5, 4.0], [0.3] * 3)
    assert found.high - found.low == pytest.approx(2 * 0.3 / np.sqrt(2))
    assert directions([found] * 30, [-1] * 30) == ("no change shown",) * 30


@pytest.mark.parametrize("flights", [3, 5, 10])
def test_the_interval_holds_the_true_trend(flights):
    found = [held(Case(flights, unequal, 0.0, share), 160, seed=7)
             for unequal, share in ((False, 0.3), (True, 0.7), (True, 2.0))]
    # 480 trainees: one standard error of the share is .01.
    assert np.mean([one.trend for one in found]) == pytest.approx(0.95, abs=0.03)
    assert np.mean([one.level for one in found]) == pytest.approx(0.95, abs=0.03)


@pytest.mark.parametrize("flights", [3, 5, 10])
def test_who_does_not_change_is_seldom_said_to_improve(flights):
    found = [held(Case(flights, unequal, 0.5, share), 80, seed=8)
             for unequal, share in ((False, 0.3), (True, 0.7))]
    assert np.mean([one.improving for one in found]) <= 0.05 + 0.03
    assert np.mean([one.any_improving for one in found]) <= 0.05 + 0.08


def test_the_more_measures_are_looked_at_the_surer_each_must_be():
    found, flat = (trend_of(values, [0.5] * 5) for values in (
        [9.0, 8.4, 6.1, 5.4, 4.2], [5.0, 4.8, 5.1, 5.0, 4.9]))
    assert directions([found], [-1]) == ("improving",)
    assert directions([found], [1]) == ("getting worse",)
    assert directions([found, *[flat] * 39], [-1] * 40)[0] == "no change shown"
    # Measures without a better side aren't tests, and don't count.
    assert directions([found, *[flat] * 39], [-1, *[0] * 39])[0] == "improving"
    # Of two that change, the second is compared with as many as are left.
    one, other = found.p_falling, trend_of([9.0, 8.9, 5.8, 6.3, 4.0], [0.5] * 5)
    assert one <= 0.025 < other.p_falling <= 0.05
    assert directions([found, other], [-1, -1]) == ("improving", "improving")
    assert directions([flat, other], [-1, -1])[1] == "no change shown"
    assert directions([trend_of([9.0, 1.0], [0.5] * 2), found], [-1, 0]) == (
        "too few flights", "no better or worse")


def test_flights_are_put_in_the_order_of_time(better):
    found = progress_of(reversed(better))
    assert found.dated
    assert found.measures[0].values == tuple(ERRORS)
    assert found.measures[0].direction == "improving"
    undated = [one.model_copy(update={"flown": ""}) for one in better]
    assert not progress_of(undated).dated


def others(count):
    return [record(f"C{i}", 1, 100.0 + 10 * i) for i in range(count)]


def test_the_course_is_shown_only_where_enough_flew_it(better):
    few = progress_of([*better, *others(7)], "T7")
    assert np.isnan(few.measures[0].course_low)
    enough = progress_of([*better, *others(8)], "T7").measures[0]
    # The others' means are 100, 110 ... 170: a quarter and three quarters of the way.
    assert (enough.course_low, enough.course_high) == pytest.approx((117.5, 152.5))
    # Eight trainees, of which one has not flown this exercise.
    away = [*others(7), record("C9", 1, 3.0, "stall", "altitude_lost_ft")]
    assert np.isnan(progress_of([*better, *away], "T7").measures[0].course_low)
    with pytest.raises(Problem, match="too few for their range to protect them"):
        progress_of(better, least_others=4)


def test_nothing_of_the_others_but_the_range_leaves_the_command(better, tmp_path):
    files = []
    for i, one in enumerate([*better, *others(8)]):
        files.append(tmp_path / f"{i}.json")
        files[-1].write_text(one.model_dump_json())
    out = tmp_path / "out"
    ran = CliRunner().invoke(group, ["progress", *map(str, files), "--trainee", "T7", "--out",
                                     str(out)])
    assert ran.exit_code == 0, ran.output
    assert "improving" in ran.output
    written = [path for path in out.rglob("*") if path.is_file()]
    assert {path.name for path in written} >= {"progress.html", "progress.csv", "progress.json"}
    for path in written:
        text = path.read_text(encoding="utf-8")
        assert not any(f"C{i}" in text.split('data:')[0] for i in range(8)), path.name
        assert "T7" in text
    facts = json.loads((out / "progress.json").read_text())
    jsonschema.validate(facts, schemas()["progress.schema.json"])
    row, = csv.DictReader(io.StringIO((out / "progress.csv").read_text()))
    assert row["direction"] == "improving"
    assert float(row["course_low"]) == pytest.approx(117.5)
    again = CliRunner().invoke(group, ["progress", str(out / "records"), "--json"])
    assert json.loads(again.output)["measures"][0]["values"] == ERRORS


def test_a_lesson_s_flights_are_measured_against_what_was_briefed():
    lesson = "sample_logs/lesson"
    ran = CliRunner().invoke(group, [
        "progress", *(f"{lesson}/{name}.csv" for name in ("first_try", "better_try")), "--limits",
        "sample_logs/ouzelwing_240.toml", "--schedule", f"{lesson}/schedule.toml", "--trainee",
        "T7", "--json"])
    assert ran.exit_code == 0, ran.output
    rows = {(one["exercise"], one["measure"]): one for one in json.loads(ran.output)["measures"]}
    first, better = rows["briefed climb, airspeed", "rms_error_kt"]["values"]
    assert better < first
    assert {one["direction"] for one in rows.values()} == {"too few flights",
                                                         "no better or worse"}


def test_a_log_needs_its_limits_and_a_pseudonym(tmp_path):
    ran = CliRunner().invoke(group, ["progress", "sample_logs/clean_flight.csv"])
    assert isinstance(ran.exception, Problem)
    assert "--trainee and --limits" in str(ran.exception)
    given = ["progress", "sample_logs/clean_flight.csv", "--limits",
             "sample_logs/ouzelwing_240.toml", "--trainee"]
    ran = CliRunner().invoke(group, [*given, "T7"])
    assert ran.exit_code == 0, ran.output
    assert "three flights" in ran.output
    refused = CliRunner().invoke(group, [*given, "Ann Other"]).exception
    assert "is no pseudonym" in str(refused)


@pytest.mark.parametrize(("text", "said"), [
    ("{", "invalid json"), ('{"trainee": "T7"}', "flight: field required"),
    ('{"trainee": "T 7", "flight": "a", "measures": []}', "trainee"),
])
def test_what_is_no_record_is_refused(tmp_path, text, said):
    path = tmp_path / "lesson.json"
    path.write_text(text)
    with pytest.raises(Problem, match=said):
        read_record(path)


def test_a_flight_given_twice_and_a_stranger_are_refused(better):
    with pytest.raises(Problem, match="given twice"):
        progress_of([*better, better[0]])
    with pytest.raises(Problem, match="no record is of this trainee"):
        progress_of(better, "T8")
    with pytest.raises(Problem, match="several trainees"):
        progress_of([*better, *others(1)])
