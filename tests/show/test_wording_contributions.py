"""Why margin was lost, as a person reads it."""

import dataclasses

from loganalyze.assess.results import Contributions
from loganalyze.show.wording.contributions import contributions, parts

NAN = float("nan")
CLIMB = Contributions(
    start_s=10.0, end_s=52.0, lost_kt=21.4, limit_moved_kt=17.8, configuration_kt=0.0,
    height_trade_kt=0.0, energy_kt=4.4, air_temperature_kt=-0.8, remainder_kt=0.0,
    gross_height_trade_kt=-9.0, gross_energy_kt=13.4)


def test_the_largest_cause_comes_first_and_small_ones_are_left_out():
    assert contributions(CLIMB) == (
        "In the 42.0 s before, the margin shrank by 21.4 kt: the limit came down by 17.8 kt, "
        "energy gained brought 4.4 kt of speed and the change of air temperature gave 0.8 kt of "
        "margin.")


def test_wind_and_load_factor_add_a_sentence_each():
    said = contributions(dataclasses.replace(CLIMB, wind_kt=2.0, greatest_load_factor=1.5))
    assert said.endswith(" Of the energy, 2.0 kt came from a change of wind. "
                         "The load factor reached 1.50 g.")


def test_without_temperature_the_parts_are_three():
    one = dataclasses.replace(
        CLIMB, split=False, speed_change_kt=3.6, height_trade_kt=NAN, energy_kt=NAN,
        air_temperature_kt=NAN)
    assert parts(one) == [("limit moved", 17.8), ("configuration", 0.0), ("speed change", 3.6)]
    assert contributions(one) == (
        "In the 42.0 s before, the margin shrank by 21.4 kt: the limit came down by 17.8 kt and "
        "the speed rose by 3.6 kt. Without air temperature the speed's change can't be split "
        "further.")


def test_no_run_in_is_said():
    assert "can't be told" in contributions(None)


def test_a_margin_that_hardly_changed_is_not_said_to_shrink():
    one = dataclasses.replace(CLIMB, lost_kt=-0.1, limit_moved_kt=0.1, energy_kt=-0.2,
                              air_temperature_kt=0.0)
    assert contributions(one) == ("In the 42.0 s before, the margin hardly changed; no cause "
                                  "stands out.")
