"""Airspeeds that are briefed as indicated."""

import numpy as np
import pytest

import loganalyze as la
from loganalyze.testing import make_log
from loganalyze.text.language import lesson_words
from loganalyze.text.presentation import Presentation
from loganalyze.training import Schedule, assess_lesson, calibrated

BRIEFED = Schedule.model_validate({
    "lesson": "x", "airspeeds": "indicated", "climb": {"airspeed_kt": 190},
    "cruise": {"airspeed_kt": 200}})


def lesson_of(channel, cas, **airspeed):
    sheet = la.LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"static_source_corrected": True, **airspeed},
        "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 255}]})
    time = np.arange(700.0)
    log = make_log(time, **{channel: cas}, pressure_altitude=np.minimum(3000 + 25 * time, 17000))
    return assess_lesson(la.assess_flight(la.analyze(log, sheet)), BRIEFED)


def test_the_sheet_s_correction_makes_a_briefed_ias_a_cas():
    # 1 kt is added at 100 kt and 3 kt at 250 kt: 1 + 2 * 90 / 150 = 2.2 kt at 190 kt.
    lesson = lesson_of("calibrated_airspeed", 192.2, recorded="calibrated",
                       position_correction=[[100, 1], [250, 3]])
    climb = lesson.segments[0]
    assert climb.target == pytest.approx(192.2, abs=0.01)
    assert climb.mean.value == pytest.approx(0.0, abs=0.01)
    assert [(one.indicated_kt, round(one.calibrated_kt, 2)) for one in lesson.converted] == [
        (190, 192.2), (200, 202.33)]
    said = " ".join(lesson_words.sources(lesson, Presentation()))
    assert "190 kt IAS 192.2 kt" in said
    assert calibrated(lesson, BRIEFED).climb == lesson.schedule.climb


def test_the_recorded_instrument_s_own_correction_counts_too():
    # 2 kt for the instrument; then at 192 kt 1 + 2 * 92 / 150 = 2.23 kt for the position.
    lesson = lesson_of("indicated_airspeed", 190.0, recorded="indicated",
                       instrument_correction=[[100, 2], [250, 2]],
                       position_correction=[[100, 1], [250, 3]])
    climb = lesson.segments[0]
    assert climb.target == pytest.approx(194.23, abs=0.01)
    assert climb.mean.value == pytest.approx(0.0, abs=0.01)


def test_without_a_correction_it_is_said():
    lesson = lesson_of("calibrated_airspeed", 190.0, recorded="calibrated")
    assert lesson.segments[0].target == 190
    assert "states no correction" in " ".join(lesson_words.sources(lesson, Presentation()))


def test_a_speed_outside_the_table_is_refused():
    with pytest.raises(la.Problem, match="don't reach 190 kt"):
        lesson_of("calibrated_airspeed", 150.0, recorded="calibrated",
                  position_correction=[[100, 1], [180, 3]])
