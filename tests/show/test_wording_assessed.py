"""Phases, severities, warnings and measures, as a person reads them."""

import math

import pytest

from loganalyze import (
    PHASES,
    Criterion,
    LimitMeasure,
    Presentation,
    Severity,
    TimeToLimit,
    WarningFinding,
)
from loganalyze.explain.overspeed_warning import KINDS
from loganalyze.sheets.severity_rules import LEVELS as SHEET_LEVELS
from loganalyze.text.language import measure_text, phase_labels, severity_text, warning_text
from loganalyze.text.presentation import UNITS

NAN = math.nan


def test_every_phase_has_its_words():
    assert tuple(phase_labels.WHILE) == PHASES
    assert phase_labels.while_in("climb") == "in the climb"


def test_every_level_has_its_word():
    assert tuple(severity_text.LEVELS) == SHEET_LEVELS


def test_a_severity_says_whose_rule_it_is():
    assert severity_text.severity(Severity("high", "over by 10 kt", False)) == (
        'Severity high, by the rule "over by 10 kt".')
    rated = Severity("medium", "60 kt s", True, 0.91, (
        Criterion("excess_kt", 5.0, 7.25), Criterion("integral_kt_s", 60.0, 1020.4)))
    assert severity_text.severity(rated, True, "calibrated_airspeed") == (
        'Severity medium (about 9 in 10), by the rule "60 kt s": 7.2 kt over (5 kt or more), '
        "excess times time 1,020 kt s (60 kt s or more).")
    metric = severity_text.severity(rated, True, "calibrated_airspeed",
                                    Presentation(units=UNITS["kmh-m"]))
    assert "13.4 km/h over (9.26 km/h or more)" in metric
    assert "1,890 km/h s (111 km/h s or more)" in metric
    by_mach = Severity("low", "any", False, 0.7, (Criterion("excess_mach", 0.01, 0.0123),
                                                  Criterion("time_s", 5.0, 7.5)))
    assert severity_text.reason(by_mach, "mach") == (
        'by the rule "any": Mach .012 over (Mach .010 or more), for 7.5 s (5.0 s or more)')
    assert severity_text.severity(None).startswith("No severity")
    assert severity_text.severity(None, rules=False) == (
        "The limits sheet states no rules of severity.")


def test_the_ladder():
    assert severity_text.ladder([(0, 9.5), (5, 2.0), (10, 0.0)], [(0.01, 0.0)]) == (
        "Over for 9.5 s, by more than 5 kt for 2.0 s; never by more than 10 kt or Mach .010.")
    assert severity_text.ladder([(5, 0.0)]) == "Never over by more than 5 kt."
    assert severity_text.ladder([]) == "No steps of excess are set."


KT = {"speed_kt": 252.0, "limit_kt": 250.0, "threshold_kt": 256.0, "excess_kt": 2.0,
      "tolerance_kt": 3.0}
MACH = {"speed_mach": 0.485, "limit_mach": 0.5, "threshold_mach": 0.51, "excess_mach": -0.015,
        "tolerance_mach": 0.007}


def test_every_kind_of_warning_has_its_sentence():
    assert set(warning_text.WARNINGS) == set(KINDS)
    for kind in KINDS:
        for values in (KT, MACH):
            said = warning_text.warning(WarningFinding(
                kind, "VMO", 10, 15, {**values, "late_s": 4.0}))
            assert said.startswith("At 0:00:10.0 the overspeed warning was ")
            assert said.endswith(".")
            assert "nan" not in said


@pytest.mark.parametrize(("one", "said"), [
    (WarningFinding("on time", "VMO", 61, 70, KT),
     "At 0:01:01.0 the overspeed warning was on time: at 252.0 kt, 2.0 kt over VMO."),
    (WarningFinding("early", "MMO", 10, 15, MACH),
     "At 0:00:10.0 the overspeed warning was early: at Mach .485, Mach .015 under MMO and further "
     "than the tolerance of Mach .007."),
    (WarningFinding("late", "VMO", 10, 15, {**KT, "speed_kt": 263.0, "excess_kt": 13.0,
                                            "late_s": 4.0}),
     "At 0:00:10.0 the overspeed warning was late, 4.0 s after the speed had passed 256.0 kt by "
     "more than the tolerance: at 263.0 kt, 13.0 kt over VMO."),
    (WarningFinding("missing", "VMO", 10, 15, {**KT, "speed_kt": 263.0}),
     "At 0:00:10.0 the overspeed warning was missing for 5.0 s while the speed was beyond "
     "256.0 kt by more than the tolerance, at worst 263.0 kt."),
    (WarningFinding("spurious", "", 10, 15, {}),
     "At 0:00:10.0 the overspeed warning was on without cause."),
])
def test_what_is_said_of_a_warning(one, said):
    assert warning_text.warning(one) == said


def test_measures():
    one = LimitMeasure("MMO", 4.25, 0.0093, 3661.25, 21500.0, "climb",
                       ((0.0, 0.0), (0.01, 12.0)), (), 600.0, 30.0)
    assert measure_text.smallest(one) == (
        "Closest to MMO: 4.2 kt (Mach .009) under, in the climb, at 21,500 ft, at 1:01:01.2.")
    assert measure_text.within(one, quantity="mach") == (
        "Of 10 min 00 s judged against MMO: never over it, 12.0 s less than Mach .010 under it; "
        "30.0 s not judged.")
    together = LimitMeasure("", -2.0, NAN, 5.0, NAN, "unknown", ((0.0, 3.0), (5.0, 9.0)), (),
                            600.0, 0.0)
    assert measure_text.smallest(together) == (
        "Closest to whichever limit applied: 2.0 kt over, in an unknown phase, at 0:00:05.0.")
    assert measure_text.within(together) == (
        "Of 10 min 00 s judged against whichever limit applied: 3.0 s over it, 9.0 s less than "
        "5 kt under it.")
    wide = LimitMeasure("VMO", 50.0, NAN, 5.0, NAN, "climb", ((0.0, 0.0), (20.0, 0.0)), (), 60.0,
                        0.0)
    assert measure_text.within(wide) == (
        "Of 1 min 00 s judged against VMO: never less than 20 kt under it.")
    nothing = LimitMeasure("VFE", NAN, NAN, NAN, NAN, "unknown", (), (), 0.0, 0.0)
    assert measure_text.smallest(nothing) == "VFE never applied."
    unjudged = LimitMeasure("VFE", NAN, NAN, NAN, NAN, "unknown", (), (), 0.0, 12.0)
    assert measure_text.smallest(unjudged) == "No margin to VFE could be judged."
    assert measure_text.within(nothing) == "VFE never applied."


def test_time_to_limit():
    assert measure_text.time_to_limit(TimeToLimit("VMO", 12.0, 600.0, 14.4, 1.2, "descent")) == (
        "Shortest time to VMO: 12.0 s, in the descent at 0:10:00.0, with 14.4 kt left and closing "
        "at 1.20 kt/s.")
    assert "within a minute" in measure_text.time_to_limit(None)
