"""The command that measures a flight against its schedule, on the sample lesson."""

from __future__ import annotations

import csv
import json
import re
import tomllib
from html import unescape
from pathlib import Path

import jsonschema
import pyarrow.parquet as pq
import pypdf
import pytest

from loganalyze.show.files.result_schemas import schemas
from loganalyze.training import corrections_for, read_schedule, write_corrections

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LESSON = SAMPLES / "lesson"
GIVEN = ("--limits", SAMPLES / "ouzelwing_240.toml", "--schedule", LESSON / "schedule.toml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """What the command writes of the first try, beside the demonstration."""
    from loganalyze.cli import main

    out = tmp_path_factory.mktemp("lesson") / "out"
    with pytest.raises(SystemExit) as ended:
        main([str(one) for one in (
            "training", LESSON / "first_try.csv", *GIVEN, "--against",
            LESSON / "demonstration.csv", "--out", out)])
    assert ended.value.code == 0
    return out


def test_it_prints_the_lesson(run):
    answer = run("training", LESSON / "better_try.csv", *GIVEN)
    assert answer.code == 0
    assert "Climb, airspeed" in answer.out
    assert "190 kt ±5" in answer.out
    assert "Mach .460 +.005/-.015" in answer.out
    assert "no basis for a sanction" in answer.out
    assert len(answer.out.splitlines()) < 40


def test_files_fit_their_schemas_and_agree(folder):
    facts = json.loads((folder / "lesson.json").read_text(encoding="utf-8"))
    jsonschema.validate(facts, schemas()["lesson.schema.json"])
    names = [field["name"] for field in schemas()["segments.schema.json"]["fields"]]
    text = (folder / "segments.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    table = pq.ParquetFile(folder / "segments.parquet").read()
    assert list(rows[0]) == table.column_names == names
    assert len(rows) == len(table) == len(facts["segments"]) == 6
    for row, one in zip(rows, facts["segments"], strict=True):
        assert float(row["mean_error"]) == one["mean"]["value"]
        assert row["grade"] == one["grade"]["name"]
        assert int(row["departures"]) == sum(each["sure"] for each in one["departures"])
    spoiled = {**facts, "segments": [{**facts["segments"][0], "target": "fast"}]}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(spoiled, schemas()["lesson.schema.json"])


def test_what_the_first_try_shows(folder):
    # Flown so by `loganalyze.simulate.lesson_flights`: see sample_logs/README.md.
    facts = json.loads((folder / "lesson.json").read_text(encoding="utf-8"))
    climb, _, _, steep, descent, _ = facts["segments"]
    assert climb["within"]["value"] == pytest.approx(0.8, abs=0.05)
    assert steep["departures"][0]["faster"]
    assert descent["settling_s"]["value"] > 150
    late = {one["kind"]: one["late_s"]["value"] for one in facts["changes"]}
    assert 60 < late["descent"] < 100
    assert {one["kind"] for one in facts["moments"]} == {
        "departure", "margin", "ceiling", "change"}
    margin = next(one for one in facts["moments"] if one["kind"] == "margin")
    assert (margin["name"], margin["cause"]) == ("VMO", "height trade")


def test_paper_is_three_sheets_and_says_the_same(folder):
    pages = pypdf.PdfReader(folder / "lesson.pdf").pages
    assert len(pages) <= 3
    said = " ".join(" ".join(page.extract_text() for page in pages).split())
    for text in ("Flown against briefed", "Worth looking at together", "Beside the demonstration",
                 "15 °C warmer", "no basis for a sanction", "the school's syllabus"):
        assert text in said
    worked = " ".join(page.extract_text() for page in pypdf.PdfReader(folder / "handout.pdf").pages)
    assert "17,689 ft" in worked
    assert "15,251 ft" in worked
    page = (folder / "lesson.html").read_text(encoding="utf-8")
    assert "15,251 ft" in page
    assert "time within tolerance at least 90 %" in page


def test_another_schedule_is_flown_exactly_beside(run, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text('lesson = "slower"\n[descent]\nmach = 0.44\nairspeed_kt = 210\n')
    answer = run("training", LESSON / "better_try.csv", *GIVEN, "--other-schedule", other, "--out",
                 tmp_path / "out")
    assert answer.code == 0
    page = (tmp_path / "out" / "lesson.html").read_text(encoding="utf-8")
    assert "With another schedule" in page
    assert "Schedule &quot;slower&quot;" in page or 'Schedule "slower"' in page
    assert "It changes neither the limit, nor the margin" in page


def test_deidentified_files_tell_neither_log_nor_aircraft(run, tmp_path):
    answer = run("training", LESSON / "better_try.csv", *GIVEN, "--deidentify", "--out",
                 tmp_path / "out")
    assert answer.code == 0
    for name in ("lesson.html", "lesson.json", "segments.csv"):
        text = (tmp_path / "out" / name).read_text(encoding="utf-8")
        assert "better_try" not in text
        assert "Ouzelwing" not in text
        assert "2031-05" not in text


def test_a_first_schedule_can_be_read_and_is_never_replaced(run, tmp_path):
    path = tmp_path / "mine.toml"
    assert run("training", "--new-schedule", path).code == 0
    assert read_schedule(path).climb.airspeed_kt == 190
    assert tomllib.loads(path.read_text(encoding="utf-8"))["grade"][0]["name"] == "as briefed"
    again = run("training", "--new-schedule", path)
    assert again.code == 2
    assert "a schedule is never replaced" in again.err


def test_an_instructors_corrections_are_taken(run, tmp_path):
    import loganalyze as la

    flight, = la.analyze(LESSON / "better_try.csv", SAMPLES / "ouzelwing_240.toml")
    from loganalyze.training import Correction

    added = Correction(action="add", kind="stall", start_s=300.0, end_s=330.0)
    write_corrections(corrections_for(flight, (added,)), tmp_path / "c.toml")
    answer = run("training", LESSON / "better_try.csv", *GIVEN, "--corrections",
                 tmp_path / "c.toml", "--json")
    kinds = [one["kind"] for one in json.loads(answer.out)["exercises"]]
    assert "stall" in kinds


@pytest.mark.parametrize(("options", "says"), [
    ((), "--limits and --schedule"),
    ((*GIVEN, "--flight", "3"), "no flight 3"),
    ((*GIVEN[:3], LESSON / "first_try.csv"), "not valid TOML"),
    ((*GIVEN, "--deidentify", "--clock", "utc"), "exclude each other"),
])
def test_wrong_input_is_said_in_one_sentence(run, options, says):
    answer = run("training", LESSON / "better_try.csv", *options)
    assert answer.code == 2
    assert says in answer.err
    assert "Traceback" not in answer.err


def test_an_earlier_folder_is_replaced_only_when_asked(run, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    for options, says in (((), "exists already"), (("--overwrite",), "holds no lesson.json")):
        answer = run("training", LESSON / "better_try.csv", *GIVEN, "--out", tmp_path / "out",
                     *options)
        assert answer.code == 2
        assert says in answer.err
    assert (tmp_path / "out" / "mine.txt").read_text() == "mine"


def test_a_flight_over_its_limit_is_said_to_be_over(run):
    answer = run("training", SAMPLES / "descent_through_mmo_and_vmo.csv", *GIVEN)
    assert "10.0 kt over VMO" in " ".join(answer.out.split())
    assert "`loganalyze analyze` judges that" in " ".join(answer.out.split())


def test_a_log_without_altitude_is_measured_for_nothing(run, tmp_path):
    log = tmp_path / "flat.csv"
    log.write_text("Time [s],IAS [kt]\n" + "".join(f"{i},200\n" for i in range(200)))
    answer = run("training", log, *GIVEN, "--out", tmp_path / "out")
    assert answer.code == 0
    assert "No part of the flight fits the schedule." in answer.out
    assert "No moment stands out" in answer.out


def test_each_number_on_the_charts_is_explained_beside_them(folder):
    page = unescape((folder / "lesson.html").read_text(encoding="utf-8"))
    beside = page[page.index("On the charts: "):]
    beside = beside[:beside.index("</p>")]
    moments = json.loads((folder / "lesson.json").read_text())["moments"]
    assert len(moments) > 3
    said = re.findall(r"(\d+) at (\d:\d\d:\d\d), ([^;]+)", beside)
    assert [int(number) for number, *_ in said] == list(range(1, len(moments) + 1))
    for moment, (_, when, fact) in zip(moments, said, strict=True):
        hours, minutes, seconds = map(int, when.split(":"))
        assert abs(3600 * hours + 60 * minutes + seconds - moment["time_s"]) <= 0.5
        digits = 0 if moment["unit"] == "s" else 3 if moment["unit"] == "mach" else 1
        assert f"{abs(moment['size']):.{digits}f}".lstrip("0") in fact
        assert {"kt": " kt", "mach": "Mach ", "s": " s "}[moment["unit"]] in fact


def test_times_are_as_fine_as_they_are_measured(folder):
    page = (folder / "lesson.html").read_text(encoding="utf-8")
    text = re.sub(r"<script.*?</script>|<svg.*?</svg>|<[^>]+>", " ", page, flags=re.DOTALL)
    found = text[:text.index("Beside the demonstration")]
    assert re.findall(r"\d:\d\d:\d\d\.\d", found) == []
    assert re.findall(r"\b\d\d+\.\d s\b", found) == []


def test_the_schools_words_are_in_the_record_and_on_the_page_of_progress(run, tmp_path):
    for name in ("first_try", "better_try"):
        run("training", LESSON / f"{name}.csv", *GIVEN, "--trainee", "T7", "--out",
            tmp_path / name)
    record = json.loads((tmp_path / "first_try" / "record.json").read_text())
    jsonschema.validate(record, schemas()["lesson-record.schema.json"])
    grades = {grade["part"]: grade for grade in record["grades"]}
    assert grades["briefed climb, airspeed"]["word"] == "nearly as briefed"
    asked = {each["asked_for"]: each for each in grades["briefed climb, airspeed"]["criteria"]}
    assert asked["least_within_pct"]["outcome"] == "met"
    assert grades["briefed descent, mach"]["word"] == ""
    assert "not met" in [each["outcome"] for each in grades["briefed descent, mach"]["criteria"]]
    run("progress", tmp_path / "first_try" / "record.json", tmp_path / "better_try" / "record.json",
        "--out", tmp_path / "progress")
    page = unescape((tmp_path / "progress" / "progress.html").read_text(encoding="utf-8"))
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    assert "In the school's words" in text
    flown = asked["least_within_pct"]["flown"]
    assert (f"Briefed climb, airspeed nearly as briefed time within tolerance at least 70 %: "
            f"{flown:.0f} %") in text
    assert "Briefed descent, Mach number no rule met" in text
