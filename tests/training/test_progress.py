"""A trainee's progress: intervals that hold, words that are seldom wrong, people protected."""

import csv
import io
import json

import jsonschema
import numpy as np
import pypdf
import pytest
from click.testing import CliRunner
from matplotlib.text import Text
from scipy import stats

from loganalyze import Problem
from loganalyze.cli import group
from loganalyze.show.files.result_schemas import schemas
from loganalyze.show.progress import progress_report
from loganalyze.show.progress.progress_figure import progress_figure
from loganalyze.show.progress.progress_folder import write_progress
from loganalyze.training import (
    LessonRecord,
    RecordedMeasure,
    directions,
    progress_of,
    read_record,
    trend_of,
)
from tests.training.progress_coverage import CONDITIONS, held, trainees

ALIKE = {-0.5: 0.65, 0.0: 1.0, 0.4: 0.012, 0.7: 0.012, 0.85: 0.02, 0.93: 0.27, 0.97: 0.4}
"""Weights of each correlation from flight to flight, as the program states them."""
SECOND = [9.0, 8.9, 6.2, 6.4, 4.1]
ERRORS = [260.0, 228.0, 180.0, 149.0, 107.0, 65.0]


def record(trainee, day, error, kind="steep turn", name="altitude_error_ft"):
    return LessonRecord(trainee=trainee, flown=f"2031-05-{day:02}", flight=f"{trainee}{day}",
                        measures=(RecordedMeasure(exercise=kind, measure=name, value=error,
                                                  uncertainty=5.0),))


def pdf_text(path):
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


@pytest.fixture
def better():
    return [record("T7", day, error) for day, error in enumerate(ERRORS, 1)]


def by_wide_priors(values, errors):
    """The change's weights, means and deviations, of a pair at a time: mean and change are given
    wide normal distributions and updated by the flights, with no least squares in it.
    """
    y, s = np.array(values), np.array(errors)
    n = len(y)
    x = np.column_stack([np.ones(n), np.arange(n) - (n - 1) / 2])
    left = stats.linregress(x[:, 1], y)
    residual = np.sqrt(((y - left.intercept - left.slope * x[:, 1])**2).sum() / (n - 2))
    wide = np.diag([2e4, 2e4])
    rows = []
    for alike, weight in ALIKE.items():
        for t in max(residual, np.sqrt((s**2).mean())) * np.geomspace(0.02, 30, 28):
            flights = t**2 * np.array([[float(alike)**abs(i - j) for i in range(n)]
                                       for j in range(n)]) + np.diag(s**2)
            whole = flights + x @ wide @ x.T
            gain = wide @ x.T @ np.linalg.inv(whole)
            rows.append((np.log(weight) + 0.37 * np.log(t**2 / (t**2 + (s**2).mean()))
                         - 0.5 * np.linalg.slogdet(whole)[1]
                         - 0.5 * y @ np.linalg.solve(whole, y),
                         (gain @ y)[1], np.sqrt((wide - gain @ x @ wide)[1, 1])))
    likely, means, sds = np.array(rows).T
    weights = np.exp(likely - likely.max())
    return weights / weights.sum(), means, sds


@pytest.mark.parametrize(("values", "errors"), [
    ([9.0, 7.0, 8.0, 4.0, 5.0], [0.5, 0.2, 0.9, 0.4, 0.3]),
    ([3.0, 3.4, 2.9, 3.8, 3.1, 4.2, 3.6], [0.2] * 7)])
def test_the_interval_is_that_of_every_scatter_and_correlation_by_its_weight(values, errors):
    weights, means, sds = by_wide_priors(values, errors)
    found = trend_of(values, errors)
    assert found.per_flight == pytest.approx(weights @ means, abs=2e-3)
    for end, share in ((found.low, 0.0125), (found.high, 0.9875)):
        assert weights @ stats.norm.cdf(end, means, sds) == pytest.approx(share, rel=0.03)
    assert found.p_rising == pytest.approx(
        min(1.0, 2 * weights @ stats.norm.cdf(0.0, means, sds)), rel=0.01)


def test_a_change_moves_the_interval_and_nothing_else():
    still, moved = (trend_of(np.array([3.0, 3.4, 2.9, 3.8, 3.1]) + slope * np.arange(5), [0.2] * 5)
                    for slope in (0.0, -7.0))
    assert (moved.low, moved.high) == pytest.approx((still.low - 7, still.high - 7))
    assert moved.flight_sd == pytest.approx(still.flight_sd, rel=1e-3)


def test_the_mean_is_of_these_flights_and_as_uncertain_as_they_were_measured():
    found = trend_of([9.0, 7.0, 8.0, 4.0], [3.0, 4.0, 0.0, 0.0])
    assert found.level == 7.0
    assert found.level_high - found.level == pytest.approx(1.96 * 5 / 4, rel=1e-3)
    assert np.isnan(trend_of([9.0, 7.0], [1.0, np.nan]).level_low)
    assert trend_of([9.0], [1.0]).level_low == pytest.approx(7.04, abs=1e-2)
    assert trend_of([], []).flights == 0


def test_what_the_measurement_explains_is_not_how_flights_differ():
    values = [9.0, 7.0, 8.0, 4.0, 5.0]
    residual = trend_of(values, [0.0] * 5).flight_sd
    line = stats.linregress(np.arange(5), values)
    left = np.array(values) - line.intercept - line.slope * np.arange(5)
    assert residual == pytest.approx(np.sqrt((left**2).sum() / 3), rel=1e-4)
    found = trend_of(values, [1.0] * 5)
    assert found.flight_sd == pytest.approx(np.sqrt(residual**2 - 1.0), rel=1e-4)
    assert trend_of(values, [3.0] * 5).flight_sd == 0.0
    assert found.measurement_sd == 1.0


def test_flights_on_a_line_by_chance_are_no_surer_than_they_were_measured():
    # Four flights to 0.3 kt each: the change is known to 0.3 / sqrt(5) kt at best.
    found = trend_of([1.0, 2.5, 4.0, 5.5], [0.3] * 4)
    assert found.high - found.low > 2 * 1.96 * 0.3 / np.sqrt(5)
    exact = trend_of([1.0, 2.5, 4.0, 5.5], [0.0] * 4)
    assert np.isnan(exact.low)
    assert directions([exact], [-1]) == ("no change shown",)


def test_three_flights_are_too_few_to_say():
    found = trend_of([9.0, 5.0, 1.0], [0.1] * 3)
    assert np.isnan([found.per_flight, found.low, found.p_rising]).all()
    assert directions([found], [-1]) == ("too few flights",)


@pytest.mark.parametrize("flights", [4, 10, 20])
def test_intervals_hold_whether_flights_are_alike_or_not(flights):
    cells = [held(condition, flights, alike, 40, seed=7)
             for condition in CONDITIONS[::2] for alike in (0.0, 0.8)]
    # 240 trainees: three standard errors of a share of .95 are .04.
    assert np.mean([one.trend for one in cells]) >= 0.95 - 0.04
    assert np.mean([one.level for one in cells]) == pytest.approx(0.95, abs=0.04)
    assert np.mean([one.improving for one in cells]) <= 0.05


def test_many_flights_of_a_trainee_who_changes_show_it():
    # A tenth of how much flights differ, each flight: small, and seen of thirty.
    found = [one.found for one in trainees(CONDITIONS[0], 30, 0.0, 20, 3, changing=False)]
    assert sum(one.high - 0.1 < 0 for one in found) >= 15
    assert sum(one.high - 0.005 < 0 for one in found) <= 5


def test_the_more_measures_are_looked_at_the_surer_each_must_be():
    found, flat = (trend_of(values, [0.5] * 5) for values in (
        [9.0, 8.4, 6.1, 5.4, 4.2], [5.0, 4.8, 5.1, 5.0, 4.9]))
    assert directions([found], [-1]) == ("improving",)
    assert directions([found], [1]) == ("getting worse",)
    assert directions([found, *[flat] * 39], [-1] * 40)[0] == "no change shown"
    # Measures without a better side aren't tests, and don't count.
    assert directions([found, *[flat] * 39], [-1, *[0] * 39])[0] == "improving"
    # Of two that change, the second is compared with as many as are left.
    one, other = found.p_falling, trend_of(SECOND, [0.5] * 5)
    assert one <= 0.0125 < other.p_falling <= 0.025
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
    assert (out / "progress.pdf") in written
    for path in written:
        text = (pdf_text(path) if path.suffix == ".pdf"
                else path.read_text(encoding="utf-8"))
        assert not any(f"C{i}" in text.split('data:')[0] for i in range(8)), path.name
        assert "T7" in text
    facts = json.loads((out / "progress.json").read_text())
    jsonschema.validate(facts, schemas()["progress.schema.json"])
    row, = csv.DictReader(io.StringIO((out / "progress.csv").read_text()))
    assert row["direction"] == "improving"
    assert float(row["course_low"]) == pytest.approx(117.5)
    again = CliRunner().invoke(group, ["progress", str(out / "records"), "--json"])
    assert json.loads(again.output)["measures"][0]["values"] == ERRORS


def test_what_is_said_of_a_change_fits_its_interval():
    # Three measures: alone the first would be shown, among so many it isn't, and that is said.
    values = [9.0, 8.9, 6.2, 6.4, 4.1]
    names = ["altitude_error_ft", "speed_error_kt", "bank_sd_deg"]
    records = [LessonRecord(trainee="T7", flight=str(i), measures=tuple(
        RecordedMeasure(exercise="steep turn", measure=name, uncertainty=0.5,
                        value=value if name == names[0] else 5.0 + 0.3 * (-1)**i)
        for name in names)) for i, value in enumerate(values)]
    found = progress_of(records)
    trend = found.measures[0].trend
    assert trend.high < 0
    assert found.measures[0].direction == "no change shown"
    _, (heads, *rows) = progress_report.rows(found, "steep turn")
    said = [row[heads.index("What that says")] for row in rows]
    assert said[0] == "no change shown: chance does as much in one of so many measures"
    assert "would show from about" in said[1]


def test_the_paper_holds_what_the_page_says_and_no_letter_below_8_pt(better, tmp_path):
    made = [LessonRecord(trainee="T7", flown=one.flown, flight=one.flight, measures=(
        *one.measures, *(RecordedMeasure(exercise=kind, measure=name, value=5.0 + i, uncertainty=1)
                         for kind in ("circuit", "briefed climb, airspeed", "briefed climb, mach")
                         for name in ("rms_error_kt", "settling_s"))))
        for i, one in enumerate(better)]
    found = progress_of(made)
    write_progress(found, tmp_path / "out")
    sizes = []
    for page in pypdf.PdfReader(tmp_path / "out" / "progress.pdf").pages:
        page.extract_text(visitor_text=lambda text, matrix, at, font, size: sizes.append(
            (size * abs(matrix[3] or 1) * abs(at[3] or 1), text)))
    assert min(size for size, text in sizes if text.strip()) >= 8
    paper = " ".join(pdf_text(tmp_path / "out" / "progress.pdf").split())
    for said in ("Largest departure from the altitude at entry", "improving",
                 "Briefed climb, airspeed", "Briefed climb, Mach number",
                 "Every figure is of the flights, not of the person"):
        assert said in paper
    # A picture of the paper's width, in which no letter is set smaller.
    figure = progress_figure(found)
    letters = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text().strip()]
    assert min(letters) >= 8
    assert figure.get_figwidth() <= 6.9


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
    assert "it takes four" in ran.output
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
