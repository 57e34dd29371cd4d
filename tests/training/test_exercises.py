"""Exercises that are found in a training flight, and an instructor's corrections of them."""

import dataclasses
import importlib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import loganalyze
from loganalyze import Channel, FlightLog, Problem, analyze
from loganalyze.cli import group
from loganalyze.training import (
    Correction,
    corrected,
    corrections_for,
    find_exercises,
    read_corrections,
    write_corrections,
)
from tests.training.exercise_lessons import (
    JET,
    LIGHT,
    START,
    TURBOPROP,
    Trainee,
    calibration,
    edge_shares,
    recorded,
    scored,
)

SAMPLES = Path(__file__).parents[2] / "sample_logs"


@pytest.fixture(scope="module")
def score():
    return scored(30, START + 1000)


def test_scripted_lessons_are_found_again(score):
    assert score.macro() >= 0.95
    assert score.macro(score.close) >= 0.9
    inner, crossings = edge_shares(score)
    assert inner >= 0.95
    assert crossings >= 0.9
    assert score.false_ordinary <= 1
    assert score.ordinary == 6


def test_the_confidence_is_no_more_than_the_share_that_is_right(score):
    bands = [row for row in calibration(score) if row[1] >= 40]
    assert bands
    for _, count, sure, right in bands:
        assert right >= sure - 0.03 - 2 * np.sqrt(sure * (1 - sure) / count)


@pytest.mark.parametrize("seed", [32, 41, 50])
def test_rough_air_on_a_flight_of_the_line_is_no_exercise(seed, monkeypatch):
    # Another script than the lessons': its gusts of up to 4 kt were once named as speed changes.
    monkeypatch.syspath_prepend(str(Path(__file__).parents[1] / "phases"))
    missions = importlib.import_module("missions")
    log, _ = missions.recorded(missions.fly(seed), seed, missions.MORE)
    kinds = {one.kind for one in find_exercises(analyze(log, missions.SHEET)).exercises}
    assert kinds <= {"climb at constant CAS", "descent at constant CAS"}


def test_flaps_that_bring_the_limit_down_are_no_approach_to_it():
    flight, = loganalyze.analyze(SAMPLES / "clean_flight.csv", SAMPLES / "ouzelwing_240.toml")
    assert [one.kind for one in find_exercises(flight).exercises] == [
        "climb at constant CAS", "descent at constant Mach", "descent at constant CAS"]


def lesson(plane, height, flown, seed=5):
    """Fly level, then what is asked for, and record it cleanly at 1 Hz."""
    one = Trainee(plane, np.random.default_rng(seed), 0.0)
    one.h, one.kt, one.wheels, one.away = height, plane.usual, 0.0, True
    one.level(400, height, plane.usual)
    flown(one)
    one.level(400, height, one.kt)
    log = recorded(one.lesson, 11)
    at = np.arange(len(one.lesson.height), dtype=float)
    values = {"pressure_altitude": np.array(one.lesson.height) * 0.3048,
              "calibrated_airspeed": np.array(one.lesson.airspeed) * 1852 / 3600,
              "roll": np.radians(one.lesson.roll),
              "heading": np.radians(one.lesson.heading)}
    return one.lesson, FlightLog(
        at, {name: Channel(some) for name, some in values.items()},
        log.source, interval_s=1.0)


def found_in(plane, height, flown, **more):
    flight, log = lesson(plane, height, flown)
    return flight, find_exercises(analyze(dataclasses.replace(log, **more), plane.sheet))


def test_a_limit_approach_has_its_smallest_margin_and_how_it_was_recovered():
    def close(one):
        one.change(15000.0, 325.0, 1.0)
        one.level(10, 15000.0, 325.0)
        one.change(15000.0, 260.0, 1.0)

    flight, log = lesson(JET, 15000.0, close)
    warm = {"static_air_temperature": Channel(np.full(len(log), 258.0))}
    found = find_exercises(analyze(
        dataclasses.replace(log, channels={**log.channels, **warm}), JET.sheet))
    one, = found.exercises
    assert one.kind == "limit approach"
    start, end = flight.changes[0][0], flight.changes[1][1]
    assert abs(one.start_s - start) <= 3
    assert abs(one.end_s - end) <= 5
    # VMO 335 kt less 325 kt (to within the approach to the speed), all of it by less thrust.
    assert one.measure("smallest_margin_kt").value == pytest.approx(10.0, abs=0.5)
    assert one.measure("smallest_margin_kt").uncertainty > 0.5
    energy, height = (one.measure(f"recovered_by_{by}_kt").value for by in ("energy", "height"))
    assert energy > 55
    assert abs(height) < 5
    assert one.measure("recovery_rate_kt_s").value == pytest.approx(1.0, abs=0.15)
    cold, = find_exercises(analyze(log, JET.sheet)).exercises
    assert cold.measure("recovered_by_speed_kt").value == pytest.approx(energy + height, abs=1)


def test_a_fast_stretch_that_stays_near_the_limit_is_no_approach_to_it():
    def hurry(one):
        one.change(15000.0, 326.0, 1.0)
        one.level(300, 15000.0, 326.0)
        one.change(15000.0, 260.0, 1.0)

    _, found = found_in(JET, 15000.0, hurry)
    assert found.exercises == ()


def test_a_steep_turn_by_hand():
    def turn(one):
        start = len(one.lesson.height)
        one.level(40, 8000.0, one.kt, 45.0)
        one.level(20, 8000.0, one.kt)
        assert start

    _flight, found = found_in(LIGHT, 8000.0, turn)
    one, = found.exercises
    # The roll changes by 8 deg/s: in over 6 s from 400 s on, out from 440 s to 446 s.
    assert one.kind == "steep turn"
    assert one.start_s == pytest.approx(400, abs=3)
    assert one.end_s == pytest.approx(446, abs=3)
    assert one.measure("bank_deg").value == pytest.approx(45.0, abs=0.1)
    assert one.measure("altitude_error_ft").value == pytest.approx(0.0, abs=0.1)
    # g tan(45 deg) / V: 105 kt CAS is 105 (1 + .016 x 8) kt in the script's air, 9.2 deg/s.
    assert one.measure("turned_deg").value == pytest.approx(9.22 * 36, rel=0.1)


def test_a_single_order_to_slow_down_is_no_exercise():
    def ordered(one):
        one.change(12000.0, 165.0)
        one.level(200, 12000.0, 165.0)
        one.change(12000.0, 190.0)

    _, found = found_in(TURBOPROP, 12000.0, ordered)
    assert found.exercises == ()


def test_what_cannot_be_found_is_said():
    _flight, log = lesson(LIGHT, 8000.0, lambda one: None)
    kept = {name: log.channels[name] for name in ("pressure_altitude", "calibrated_airspeed")}
    found = find_exercises(analyze(dataclasses.replace(log, channels=kept), LIGHT.sheet))
    assert set(found.unsearched) == {("steep turn", "no roll or heading"),
                                     ("circuit", "no ground recorded")}




def test_an_event_marker_is_seen_in_an_exercise():
    def turn(one):
        one.level(40, 8000.0, one.kt, 45.0)

    _flight, log = lesson(LIGHT, 8000.0, turn)
    pressed = np.zeros(len(log))
    pressed[405:408] = 1.0
    marked = dataclasses.replace(log, channels={**log.channels, "event_marker": Channel(pressed)})
    plain, with_mark = (find_exercises(analyze(one, LIGHT.sheet)).of("steep turn")[0]
                        for one in (log, marked))
    assert with_mark.marked
    assert not plain.marked
    assert (with_mark.start_s, with_mark.end_s) == (plain.start_s, plain.end_s)


# -- corrections -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def turned():
    def turns(one):
        for bank in (45.0, -50.0):
            one.level(40, 8000.0, one.kt, bank)
            one.level(60, 8000.0, one.kt)

    _, log = lesson(LIGHT, 8000.0, turns)
    analysis = analyze(log, LIGHT.sheet)
    return analysis, find_exercises(analysis)


def test_corrections_are_kept_and_applied_again(turned, tmp_path):
    analysis, found = turned
    first, second = found.exercises
    made = (
        Correction(action="delete", kind="steep turn", start_s=first.start_s, end_s=first.end_s),
        Correction(action="change", kind="steep turn", start_s=second.start_s - 4.0,
                   end_s=second.end_s + 3.0, new_end_s=second.end_s + 10.0, note='"late"'),
        Correction(action="add", kind="stall", start_s=100.0, end_s=150.0))
    write_corrections(corrections_for(analysis, made), tmp_path / "lesson.toml")
    kept = read_corrections(tmp_path / "lesson.toml")
    assert kept.correction == made
    again = corrected(find_exercises(analysis), kept, analysis)
    assert again.log == "same"
    assert again.unapplied == ()
    assert [(one.kind, one.origin, one.confidence) for one in again.findings.exercises] == [
        ("stall", "added", 1.0), ("steep turn", "corrected", 1.0)]
    changed = again.findings.exercises[1]
    assert (changed.start_s, changed.end_s) == (second.start_s, second.end_s + 10.0)
    assert changed.measure("bank_deg").value == pytest.approx(50.0, abs=0.5)
    assert changed.measure("duration_s").value == pytest.approx(changed.duration_s)


def test_a_correction_without_its_exercise_is_listed(turned):
    analysis, found = turned
    stale = Correction(action="delete", kind="stall", start_s=10.0, end_s=60.0)
    again = corrected(found, corrections_for(analysis, (stale,)), analysis)
    assert again.findings == found
    assert again.unapplied == (stale,)


def test_a_changed_log_is_said_and_another_one_is_refused(turned):
    analysis, found = turned
    kept = corrections_for(analysis)
    rewritten = kept.model_copy(update={"sha256": "0" * 64})
    assert corrected(found, rewritten, analysis).log == "rewritten"
    other = rewritten.model_copy(update={"duration_s": kept.duration_s + 60.0})
    with pytest.raises(Problem, match=r"lesson\.toml: the corrections are of another recording"):
        corrected(found, other, analysis, "lesson.toml")
    with pytest.raises(Problem, match="of flight 2"):
        corrected(found, kept.model_copy(update={"flight": 2}), analysis)


@pytest.mark.parametrize(("line", "said"), [
    ('action = "change"', "nothing is changed"),
    ('action = "delete"\nnew_kind = "stall"', "goes with change only"),
    ('action = "mend"', "action"),
])
def test_a_correction_that_says_nothing_is_refused(turned, tmp_path, line, said):
    path = tmp_path / "lesson.toml"
    write_corrections(corrections_for(turned[0]), path)
    path.write_text(path.read_text() + '[[correction]]\nkind = "steep turn"\nstart_s = 1.0\n'
                    f"end_s = 2.0\n{line}\n")
    with pytest.raises(Problem, match=said):
        read_corrections(path)


def test_a_write_that_fails_leaves_the_earlier_file(turned, tmp_path, monkeypatch):
    path = tmp_path / "lesson.toml"
    write_corrections(corrections_for(turned[0]), path)
    before = path.read_bytes()

    def full(self, target):
        raise OSError("no space left on device")

    monkeypatch.setattr(Path, "replace", full)
    added = Correction(action="add", kind="stall", start_s=1.0, end_s=2.0)
    with pytest.raises(OSError, match="no space"):
        write_corrections(corrections_for(turned[0], (added,)), path)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == [
        "lesson.toml"]


def test_the_command_says_which_corrections_it_could_not_apply(tmp_path):
    log = SAMPLES / "lesson" / "better_try.csv"
    flight, = loganalyze.analyze(log, SAMPLES / "ouzelwing_240.toml")
    stale = Correction(action="delete", kind="stall", start_s=10.0, end_s=60.0)
    kept = corrections_for(flight, (stale,)).model_copy(update={"sha256": "0" * 64})
    write_corrections(kept, tmp_path / "corrections.toml")
    ran = CliRunner().invoke(group, [
        "training", str(log), "--limits", str(SAMPLES / "ouzelwing_240.toml"), "--schedule",
        str(SAMPLES / "lesson" / "schedule.toml"), "--corrections",
        str(tmp_path / "corrections.toml"), "--json"])
    assert ran.exit_code == 0, ran.output
    assert "The recording's bytes have changed since it was corrected" in ran.stderr
    assert "no stall is found any more at 10 to 60 s" in ran.stderr
