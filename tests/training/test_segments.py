"""How parts of a flight were flown against a schedule: each measure worked by hand."""

import math

import numpy as np
import pytest

import loganalyze as la
from loganalyze.air.airspeed import cas_from_mach
from loganalyze.testing import make_log
from loganalyze.training import Schedule, assess_lesson, with_school_ceilings
from tests.training.change_truth import change
from tests.training.measure_truth import SHEET, compared, shares

TARGET = 200.0
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 230}
GENERIC = la.LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": [VMO]})


def lesson_of(errors, *, hz=1.0, sheet=SHEET, target=TARGET, altitude=12000.0, **stated):
    """Measure errors [kt] about a briefed speed, held from the log's first sample on."""
    errors = np.asarray(errors, dtype=float)
    log = make_log(np.arange(len(errors)) / hz, calibrated_airspeed=target + errors,
                   pressure_altitude=altitude, briefed_part=1.0)
    schedule = Schedule.model_validate({
        "lesson": "by hand",
        "tolerance": {"configuration": stated.pop("tolerance", {"within_kt": 5})},
        "speed": [{"name": "held", "airspeed_kt": target,
                   "when": {"briefed_part": {"from": 0.5}}}], **stated})
    return assess_lesson(la.assess_flight(la.analyze(log, sheet)), schedule)


def segment_of(errors, **stated):
    segment, = lesson_of(errors, **stated).segments
    return segment


def test_mean_rms_share_and_departures():
    # 100 s at 0, 60 s at +8, 140 s at -2: mean (480 - 280)/300, mean square (3840 + 560)/300.
    segment = segment_of(np.repeat([0.0, 8.0, -2.0], [100, 60, 140]))
    assert segment.settled == "no change"
    assert segment.mean.value == pytest.approx(200 / 300, abs=0.01)
    assert segment.rms.value == pytest.approx(math.sqrt(4400 / 300), rel=0.02)
    assert segment.within.value == pytest.approx(0.8, abs=0.01)
    assert segment.largest.value == pytest.approx(8, rel=0.08)
    departure, = segment.departures
    assert departure.sure
    assert departure.faster
    assert departure.seconds == pytest.approx(60, abs=2.5)
    assert departure.furthest == pytest.approx(3, abs=0.4)
    assert (departure.start_s, departure.end_s) == pytest.approx((100, 160), abs=2)


@pytest.mark.parametrize(("tolerance", "within"), [
    ({"faster_kt": 5}, 0.8), ({"slower_kt": 5}, 1.0),
    ({"slower_kt": 1, "faster_kt": 10}, 160 / 300)])
def test_one_sided_tolerances(tolerance, within):
    segment = segment_of(np.repeat([0.0, 8.0, -2.0], [100, 60, 140]), tolerance=tolerance)
    assert segment.within.value == pytest.approx(within, abs=0.015)


def test_settling_and_overshoot():
    # From -30 in a straight line to +4 at 68 s, back to 0 at 88 s: within 5 kt for good at 50 s.
    errors = np.interp(np.arange(400.0), [0, 68, 88, 400], [-30, 4, 0, 0])
    segment = segment_of(errors)
    assert segment.settled == "settled"
    assert segment.step == pytest.approx(30, abs=0.5)
    assert segment.settling_s.value == pytest.approx(50, abs=1)
    assert segment.overshoot.value == pytest.approx(4, abs=0.5)
    # What came before doesn't count: triangles of 5 and 4 kt on 18 and 20 s of 350 s.
    assert segment.counted_s == pytest.approx(350, abs=1.5)
    assert segment.within.value == pytest.approx(1, abs=0.01)
    assert segment.mean.value == pytest.approx((-5 * 10 / 2 + 4 * 28 / 2) / 350, abs=0.02)


def test_a_speed_that_never_settles_is_measured_whole():
    segment = segment_of(np.full(300, -20.0))
    assert segment.settled == "not settled"
    assert math.isnan(segment.settling_s.value)
    assert segment.counted_s == pytest.approx(300, abs=1)
    assert segment.within.value == pytest.approx(0, abs=0.001)


def test_unsteadiness_of_a_sine():
    # A sine of 3 kt and 40 s: sqrt(2) * 3 * sin(pi * 8 / 40) from 8 s to 8 s.
    time = np.arange(600.0)
    segment = segment_of(3 * np.sin(2 * np.pi * time / 40), tolerance={"within_kt": 10})
    assert segment.lag_s == 8
    assert segment.unsteadiness.value == pytest.approx(
        math.sqrt(2) * 3 * math.sin(math.pi / 5), rel=0.02)


@pytest.mark.parametrize("hz", [4.0, 1.0, 0.25])
def test_noise_is_neither_roughness_nor_a_departure(hz):
    noise = np.random.default_rng(4).standard_normal(round(600 * hz))
    segment = segment_of(noise, hz=hz, tolerance={"within_kt": 2})
    assert segment.unsteadiness.value <= 2.5 * segment.unsteadiness.u
    assert not segment.sure_departures
    assert segment.rms.value < 0.5 * np.sqrt(np.mean(noise**2))


def test_a_departure_within_the_uncertainty_counts_against_nobody():
    # .9 kt beyond the edge: the display may have shown less than the generic recorder kept.
    errors = np.repeat([0.0, 5.9, 0.0, 18.0, 0.0], [100, 60, 100, 60, 100])
    exact, generic = segment_of(errors), segment_of(errors, sheet=GENERIC)
    assert [one.sure for one in exact.departures] == [True, True]
    assert generic.common_u > 0.6
    assert [one.sure for one in generic.departures] == [False, True]
    assert generic.in_doubt == pytest.approx(60 / 420, abs=0.02)
    assert generic.sure_outside == pytest.approx(60 / 420, abs=0.02)
    assert generic.longest is not None
    assert generic.longest.start_s > 250


def test_mach_has_no_generic_tolerance_so_that_nothing_is_held_against_it():
    altitude = 24000.0
    time = np.arange(600.0)
    mach = np.where(time < 300, 0.45, 0.47)
    cas = cas_from_mach(mach, altitude * 0.3048) * 3600 / 1852
    log = make_log(time, calibrated_airspeed=cas, pressure_altitude=altitude)
    schedule = Schedule.model_validate({"lesson": "cruise", "cruise": {"mach": 0.45}})
    segment, = assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule).segments
    assert (segment.unit, segment.target) == ("mach", 0.45)
    assert segment.mean.value == pytest.approx(0.01, abs=2e-4)
    assert segment.largest.value == pytest.approx(0.02, rel=0.1)
    assert math.isnan(segment.within.value)
    assert segment.departures == ()
    assert segment.tolerance_source == ""


def test_the_margin_kept():
    # VMO 230: 30 kt at 200, 18 kt for 60 of 300 s.
    errors = np.repeat([0.0, 12.0, 0.0], [120, 60, 120])
    segment = segment_of(errors, sheet=GENERIC, near_kt=20)
    margin, = segment.margins
    assert (margin.limit, margin.in_mach) == ("VMO", False)
    assert margin.smallest_kt == pytest.approx(18)
    assert margin.smallest == pytest.approx(18)
    assert 120 <= margin.time_s < 180
    assert margin.near_share == pytest.approx(0.2, abs=0.01)


def test_a_grade_shows_its_parts_and_doubt_counts_for_the_trainee():
    errors = np.repeat([0.0, 8.0, -2.0], [100, 60, 140])
    rules = [{"name": "tight", "least_within_pct": 95, "longest_outside_s": 10},
             {"name": "as briefed", "least_within_pct": 75, "furthest_outside_kt": 5}]
    grade = segment_of(errors, grade=rules).grade
    assert grade.name == "as briefed"
    (first, tight), (second, fair) = grade.tried
    assert (first, second) == ("tight", "as briefed")
    assert [(one.key, one.code) for one in tight] == [
        ("least_within_pct", "not met"), ("longest_outside_s", "not met")]
    assert [(one.key, one.asked, one.code) for one in fair] == [
        ("least_within_pct", 75, "met"), ("furthest_outside_kt", 5, "met")]
    assert fair[0].flown == pytest.approx(80, abs=1)
    assert segment_of(errors).grade is None
    # 80 % flown, 81 asked; but 5.5 kt may well have been 5.
    errors = np.repeat([0.0, 5.5, -2.0], [100, 60, 140])
    near = segment_of(errors, sheet=GENERIC, grade=[{"name": "near", "least_within_pct": 81}]).grade
    assert near.tried[0][1][0].code == "in doubt"
    assert near.name == "near"


def test_parts_of_a_climb_and_the_crossover():
    # 1500 ft/min from 5,000 ft: 10,000 ft at 200 s; the crossover at its own altitude.
    time = np.arange(900.0)
    altitude = 5000 + 25.0 * time
    schedule = Schedule.model_validate({"lesson": "climb", "climb": {
        "airspeed_kt": 190, "mach": 0.40, "lower_airspeed_kt": 170, "lower_below_ft": 10000}})
    crossover = schedule.climb.crossover_ft
    cas = np.where(altitude < 10000, 170.0, np.minimum(
        190.0, cas_from_mach(0.40, altitude * 0.3048) * 3600 / 1852))
    log = make_log(time, calibrated_airspeed=cas, pressure_altitude=altitude)
    lesson = assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule)
    assert [(one.kind, one.part, one.target) for one in lesson.segments] == [
        ("climb", "lower airspeed", 170), ("climb", "airspeed", 190), ("climb", "mach", 0.40)]
    assert lesson.segments[1].start_s == pytest.approx(200, abs=2)
    due = (crossover - 5000) / 25
    assert lesson.segments[2].start_s == pytest.approx(due, abs=2)
    found, = lesson.changes
    assert found.due_s == pytest.approx(due, abs=1)
    assert found.code == "made"
    assert abs(found.late_s.value) < 3
    assert found.late_ft.value == pytest.approx(25 * found.late_s.value, abs=2)


def test_what_was_not_flown_and_not_recorded_is_said():
    log = make_log(np.arange(300.0), calibrated_airspeed=200.0, pressure_altitude=9000.0)
    schedule = Schedule.model_validate({
        "lesson": "x", "climb": {"airspeed_kt": 190}, "speed": [
            {"name": "flaps 10", "airspeed_kt": 150, "when": {"flap_deg": {"above": 2}}}]})
    lesson = assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule)
    assert lesson.segments == ()
    assert lesson.unflown == ("climb",)
    assert lesson.lacking == ("flaps 10",)


def test_a_gap_is_no_time_flown():
    errors = np.repeat([0.0, 8.0, 0.0], [100, 60, 140])
    time = np.arange(300.0)
    kept = (time < 110) | (time >= 150)
    log = make_log(time[kept], calibrated_airspeed=200 + errors[kept], pressure_altitude=9000.0,
                   briefed_part=1.0)
    schedule = Schedule.model_validate({
        "lesson": "x", "tolerance": {"configuration": {"within_kt": 5}}, "speed": [
            {"name": "held", "airspeed_kt": 200, "when": {"briefed_part": {"from": 0.5}}}]})
    segment, = assess_lesson(la.assess_flight(la.analyze(log, SHEET)), schedule).segments
    assert segment.counted_s == pytest.approx(260, abs=2)
    assert segment.within.value == pytest.approx(240 / 260, abs=0.02)


def test_school_ceilings_are_added_and_a_taken_name_is_refused():
    ceiling = {"name": "descent speed", "set_by": "the school",
               "quantity": "calibrated_airspeed", "maximum_kt": 215}
    schedule = Schedule.model_validate(
        {"lesson": "x", "cruise": {"airspeed_kt": 200}, "ceiling": [ceiling]})
    sheet = with_school_ceilings(GENERIC, schedule)
    assert [one.name for one in sheet.ceiling] == ["descent speed"]
    with pytest.raises(la.Problem, match="descent speed"):
        with_school_ceilings(sheet, schedule)


def test_simulated_pilots_are_measured_to_their_truth():
    # A sample of `python -m tests.training.measure_truth`.
    for name, rows in compared(range(1000, 1020)).items():
        share, off = shares(rows)
        assert share >= 0.85, name
        assert abs(off) <= 0.08, name


def test_simulated_changes_are_found():
    # A sample of `python -m tests.training.change_truth`.
    for number in range(1000, 1006):
        late, found = change(number)
        assert found is not None
        assert found.code == "made"
        assert found.probability > 0.9
        assert abs(found.late_s.value - late) <= max(5.0, 3.0 * found.late_s.u), number


def test_a_speed_that_is_held_on_is_no_change_of_speed():
    # These wander by up to 2 kt; the last two were called changes when each instant was tried for
    # its best fit, and that was held against none.
    for number in (1001, 3, 10):
        _, found = change(number, made=False)
        assert found is not None
        assert found.code == "not made"
        assert found.probability < 0.1
