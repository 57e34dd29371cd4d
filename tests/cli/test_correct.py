"""The command that keeps an instructor's corrections, and that they survive a second analysis."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from loganalyze.cli import group
from loganalyze.show.files.result_schemas import schemas
from loganalyze.training import EXERCISE_KINDS

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LIMITS = ("--limits", SAMPLES / "ouzelwing_240.toml")
BRIEFED = (*LIMITS, "--schedule", SAMPLES / "lesson" / "schedule.toml")


@pytest.fixture
def log(tmp_path):
    shutil.copy(SAMPLES / "lesson" / "first_try.csv", tmp_path / "flight.csv")
    return tmp_path / "flight.csv"


def listed(answer):
    """The exercises that were printed, by number."""
    rows = [line for line in answer.out.splitlines() if line[:1].isdigit()]
    return {int(line.split()[0]): line for line in rows}


def test_the_kinds_of_the_option_are_those_of_the_library():
    command = group.get_command(None, "correct")
    kind = next(one for one in command.params if one.name == "kind")
    assert tuple(kind.type.choices) == EXERCISE_KINDS


def test_corrections_are_listed_by_whom_and_when_and_survive(run, log, tmp_path):
    before = listed(run("correct", log, *LIMITS))
    assert "Climb at constant CAS (99 %)" in before[1]
    assert not (tmp_path / "flight.csv.corrections.toml").exists()

    run("correct", log, *LIMITS, "--exercise", 1, "--kind", "level acceleration", "--start", 130,
        "--by", "KL", "--note", "with full power")
    run("correct", log, *LIMITS, "--exercise", 4, "--delete", "--by", "KL")
    last = run("correct", log, *LIMITS, "--kind", "stall", "--start", 1700, "--end", 1760,
               "--by", "MN")
    after = listed(last)
    assert "Level acceleration (corrected by the instructor KL, " in after[1]
    assert "130.0 s" in after[1]
    assert "Stall (added by the instructor MN, " in after[len(after)]
    assert "Taken out: demonstration of the limit pointer at 805 to 865 s (the instructor KL" \
        in last.out
    kept = tomllib.loads((tmp_path / "flight.csv.corrections.toml").read_text())
    assert [one["action"] for one in kept["correction"]] == ["change", "delete", "add"]
    assert kept["correction"][0]["note"] == "with full power"

    # The lesson takes them from beside the log, and says so; its page and tables show them.
    answer = run("training", log, *BRIEFED, "--out", tmp_path / "out")
    assert "3 corrections of the exercises, from" in answer.err
    page = (tmp_path / "out" / "lesson.html").read_text()
    assert "Level acceleration (corrected by the instructor KL, " in page
    assert "Taken out: demonstration of the limit pointer" in page
    table = pq.ParquetFile(tmp_path / "out" / "exercises.parquet").read().to_pylist()
    assert [(one["kind"], one["origin"], one["by"]) for one in (table[0], table[-1])] == [
        ("level acceleration", "corrected", "KL"), ("stall", "added", "MN")]
    assert table[0]["start_s"] == 130.0
    facts = json.loads((tmp_path / "out" / "lesson.json").read_text())
    assert [one["kind"] for one in facts["deleted"]] == ["limit approach"]
    # Analysed again over the same folder, they are there still.
    run("training", log, *BRIEFED, "--out", tmp_path / "out", "--overwrite")
    again = pq.ParquetFile(tmp_path / "out" / "exercises.parquet").read().to_pylist()
    assert again == table
    # De-identified, nobody is named who corrected.
    hidden = run("training", log, *BRIEFED, "--deidentify", "--json")
    assert "KL" not in hidden.out

    undone = run("correct", log, *LIMITS, "--undo")
    assert "Stall" not in undone.out
    assert len(listed(undone)) == len(before) - 1


@pytest.mark.parametrize(("given", "said"), [
    (("--exercise", 1, "--kind", "stall"), "Say who corrects"),
    (("--exercise", 99, "--delete", "--by", "KL"), "there is no exercise 99: the flight has 8"),
    (("--exercise", 1, "--kind", "climb at constant CAS", "--by", "KL"),
     "exercise 1 is that already"),
    (("--exercise", 1, "--end", 100, "--by", "KL"), "from 126 to 100 s is no exercise"),
    (("--exercise", 1, "--start", 9999, "--by", "KL"), "9999 s is outside the flight"),
    (("--exercise", 1, "--delete", "--kind", "stall", "--by", "KL"), "both deleted and changed"),
    (("--kind", "stall", "--by", "KL"), "it isn't said which exercise is meant"),
    (("--kind", "climb at constant CAS", "--start", 130, "--end", 350, "--by", "KL"),
     "there is a climb at constant CAS at 126 to 355 s already"),
    (("--exercise", 1, "--delete", "--by", " "), "nobody is named who corrects"),
    (("--exercise", 1, "--delete", "--by", "K" * 41), "the correction isn't one"),
    (("--kind", "loop", "--by", "KL"), "Invalid value for '--kind'"),
    (("--undo",), "there is no correction to take back"),
    (("--undo", "--exercise", 1), "--undo goes alone"),
    (("--flight", 2), "the log holds 1 flights, and no flight 2"),
])
def test_nonsense_is_refused_with_a_sentence_and_keeps_nothing(run, log, given, said):
    answer = run("correct", log, *LIMITS, *given)
    assert answer.code == 2
    assert said in " ".join(answer.err.split())
    assert not log.with_name("flight.csv.corrections.toml").exists()


def test_corrections_of_another_flight_beside_the_log_are_refused(run, log):
    run("correct", log, *LIMITS, "--exercise", 1, "--delete", "--by", "KL")
    shutil.copy(SAMPLES / "clean_flight.csv", log)
    for command in (("correct", log, *LIMITS), ("training", log, *BRIEFED)):
        answer = run(*command)
        assert answer.code == 2
        assert "the corrections are of another recording" in answer.err


def test_a_correction_written_by_hand_outside_the_flight_is_refused(run, log):
    run("correct", log, *LIMITS, "--exercise", 1, "--delete", "--by", "KL")
    file = log.with_name("flight.csv.corrections.toml")
    file.write_text(file.read_text() + '\n[[correction]]\naction = "add"\nkind = "stall"\n'
                    "start_s = 50000\nend_s = 50060\n")
    answer = run("training", log, *BRIEFED)
    assert answer.code == 2
    assert "a correction is of 50000 to 50060 s, and the flight is from 0 to 2028 s" in answer.err


def test_progress_reads_the_records_that_lessons_write(run, tmp_path):
    for name in ("first_try", "better_try"):
        answer = run("training", SAMPLES / "lesson" / f"{name}.csv", *BRIEFED, "--trainee", "T7",
                     "--out", tmp_path / "lessons" / name)
        assert answer.code == 0, answer.err
    by_record = json.loads(run("progress", tmp_path / "lessons", "--json").out)
    by_log = json.loads(run(
        "progress", *(SAMPLES / "lesson" / f"{name}.csv" for name in ("first_try", "better_try")),
        *BRIEFED, "--trainee", "T7", "--json").out)
    assert by_record == by_log
    assert by_record["trainee"] == "T7"
    refused = run("training", SAMPLES / "lesson" / "first_try.csv", *BRIEFED, "--trainee", "T7",
                  "--deidentify", "--out", tmp_path / "none")
    assert (refused.code, "exclude each other" in refused.err) == (2, True)
    alone = run("training", SAMPLES / "lesson" / "first_try.csv", *BRIEFED, "--trainee", "T7")
    assert "--trainee goes with --out" in alone.err


def test_a_lesson_s_tables_fit_their_schemas_and_its_facts(run, tmp_path):
    run("training", SAMPLES / "lesson" / "first_try.csv", *BRIEFED, "--out", tmp_path / "out")
    facts = json.loads((tmp_path / "out" / "lesson.json").read_text())
    for name in ("exercises", "exercise_measures", "moments"):
        table = pq.ParquetFile(tmp_path / "out" / f"{name}.parquet").read()
        stated = schemas()[f"{name}.schema.json"]["fields"]
        assert table.column_names == [one["name"] for one in stated]
        text = (tmp_path / "out" / f"{name}.csv").read_text().splitlines()
        assert text[0].split(",") == table.column_names
        assert len(text) == 1 + len(table)
        for one in stated:
            column = table.column(one["name"])
            if one.get("constraints", {}).get("required"):
                assert column.null_count == 0, one["name"]
            if "enum" in one.get("constraints", {}):
                assert set(column.to_pylist()) <= {*one["constraints"]["enum"]}
    moments = pq.ParquetFile(tmp_path / "out" / "moments.parquet").read().to_pylist()
    assert [one["time_s"] for one in moments] == [one["time_s"] for one in facts["moments"]]
    assert [one["segment"] - 1 for one in moments if one["segment"]] == [
        one["segment"] for one in facts["moments"] if one["segment"] is not None]
    measures = pq.ParquetFile(tmp_path / "out" / "exercise_measures.parquet").read().to_pylist()
    assert len(measures) == sum(len(one["measures"]) for one in facts["exercises"])
