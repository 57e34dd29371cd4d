"""Why margin was lost, as a person reads it."""

import dataclasses

import pytest

from loganalyze import AssessedExceedance, Contributions, ExceedanceFacts, Presentation
from loganalyze.text.language import contribution_text as causes

NAN = float("nan")
CLIMB = Contributions(
    start_s=10.0, end_s=52.0, lost_kt=21.4, limit_moved_kt=17.8, configuration_kt=0.0,
    height_trade_kt=0.0, energy_kt=4.4, air_temperature_kt=-0.8, remainder_kt=0.0,
    gross_height_trade_kt=-9.0, gross_energy_kt=13.4)
DIVE = dataclasses.replace(CLIMB, start_s=52.0, end_s=80.0, lost_kt=9.0, limit_moved_kt=0.0,
                           height_trade_kt=9.0, energy_kt=0.0, air_temperature_kt=0.0)
HOW = Presentation()


def exceedance(**other):
    values = dict.fromkeys(one.name for one in dataclasses.fields(ExceedanceFacts))
    return ExceedanceFacts(**{**values, "limit": "MMO", "start_s": 51.6, "end_s": 90.0,
                              "worst_time_s": 80.0, "began_by": "crossed",
                              "ended_by": "recovered", **other})


def explained(run_in, worse=None, crossing_s=80.0, **other):
    told = AssessedExceedance(0, "climb", None, None, None, None, (), (), run_in,
                              crossing_s=crossing_s, worsening=worse)
    return causes.explained(exceedance(**other), told, HOW)


def test_the_largest_cause_comes_first_and_small_ones_are_left_out():
    assert explained(CLIMB) == [
        "In the 41.6 s before MMO was passed, the limit fell 17.8 kt; a gain of energy added 4.4 "
        "kt; the change of air temperature gave back 0.8 kt: 21.4 kt of margin lost."]


def test_a_limit_that_rose_too_little_is_said_to_have_risen_only_so_much():
    one = dataclasses.replace(CLIMB, start_s=0.0, end_s=60.5, lost_kt=2.2, limit_moved_kt=-10.6,
                              height_trade_kt=12.8, energy_kt=0.0, air_temperature_kt=0.0)
    assert explained(one, start_s=60.0) == [
        "In the 1 min 00 s before MMO was passed, the descent added 12.8 kt; the limit rose only "
        "10.6 kt: 2.2 kt of margin lost."]


def test_what_made_it_worse_is_told_apart_with_its_instants():
    assert explained(CLIMB, DIVE, crossing_s=52.0)[1] == (
        "From the first sample over to the worst, 28.0 s later, the descent added 9.0 kt: 9.0 kt "
        "further over.")
    after_a_gap = dataclasses.replace(DIVE, start_s=60.0)
    assert "From 0:01:00.0 to the worst, 20.0 s later, " in explained(
        CLIMB, after_a_gap, crossing_s=52.0)[1]
    assert explained(CLIMB, None, crossing_s=52.0)[1] == causes.NO_WORSENING


def test_a_limit_that_was_crossed_before_says_when_first():
    assert "In the 42.0 s before MMO was first passed, at 0:00:52.0, " in explained(
        CLIMB, start_s=75.0)[0]


def test_a_limit_that_began_to_apply_is_not_said_to_be_crossed():
    assert "In the 41.6 s before MMO came into force, " in explained(
        CLIMB, began_by="limit applied")[0]
    assert explained(None, began_by="limit applied") == [
        "MMO came into force while the aircraft was faster."]


def test_wind_and_load_factor_add_a_sentence_each():
    said = explained(dataclasses.replace(CLIMB, wind_kt=2.0, greatest_load_factor=1.5))[0]
    assert said.endswith(" Of the energy, 2.0 kt came from a change of wind. "
                         "The load factor reached 1.50 g.")


def test_without_temperature_the_parts_are_three():
    one = dataclasses.replace(
        CLIMB, split=False, speed_change_kt=3.6, height_trade_kt=NAN, energy_kt=NAN,
        air_temperature_kt=NAN)
    assert causes.parts(one) == [
        ("limit moved", 17.8), ("configuration", 0.0), ("speed change", 3.6)]
    assert explained(one)[0].endswith(
        "the limit fell 17.8 kt; the speed rose 3.6 kt: 21.4 kt of margin lost. The change of "
        "speed can't be split further: that takes both air temperature and pressure altitude.")


def test_that_the_speed_is_not_split_is_said_once():
    one, other = (dataclasses.replace(some, split=False, speed_change_kt=3.6, height_trade_kt=NAN,
                                      energy_kt=NAN, air_temperature_kt=NAN)
                  for some in (CLIMB, DIVE))
    assert " ".join(explained(one, other, crossing_s=52.0)).count(causes.UNSPLIT) == 1


def test_no_run_in_is_said():
    assert explained(None) == [causes.NO_RUN_IN]
    assert explained(dataclasses.replace(CLIMB, lost_kt=NAN)) == [causes.NO_RUN_IN]


def test_a_margin_that_hardly_changed_is_not_said_to_shrink():
    one = dataclasses.replace(CLIMB, lost_kt=-0.1, limit_moved_kt=0.1, energy_kt=-0.2,
                              air_temperature_kt=0.0)
    assert explained(one)[0].endswith("the margin hardly changed: no cause stands out.")


@pytest.mark.parametrize(("end_s", "said"), [
    (120.0, "Back under MMO, still over VMO, at 0:01:30.0, 10.0 s after the worst: the "
            "calibrated airspeed fell 4.0 kt and the aircraft climbed 500 ft."),
    (90.0, "Back under MMO at 0:01:30.0, 10.0 s after the worst: the calibrated airspeed "
           "fell 4.0 kt and the aircraft climbed 500 ft.")])
def test_no_recovery_is_claimed_while_another_limit_is_exceeded(end_s, said):
    one = exceedance()
    still = causes.still_over(one, [one, exceedance(limit="VMO", start_s=70.0, end_s=end_s)])
    assert causes.recovery(one, still, -4.0, 500.0, 0.0, HOW) == said
