"""What speaks for and against an exceedance: other channels inside it, and its edges."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import (
    CONFIRMS,
    CONFIRMS_LESS,
    CONTRADICTS,
    NOT_DETERMINABLE,
    PROVEN_OVER,
    Assurance,
    Channel,
    Evidence,
    FlightLog,
    LimitsSheet,
    Reference,
    Source,
    analyze,
    assess_flight,
)
from loganalyze.air import airspeed, atmosphere
from loganalyze.crosscheck.corroboration import capped
from loganalyze.record.channels import kind
from loganalyze.results.evidence import CONTRADICTED, NO_ENTRY, NOT_FLOWN, SHOWS_LESS

KNOT, FOOT = 1852 / 3600, 0.3048
TIGHT = {"limits": 1}
SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "temperature": {"outside_air": "static"},
    "uncertainty": dict.fromkeys(
        ("airspeed", "displayed_airspeed", "static_source", "position_correction"), TIGHT),
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0},
              {"name": "MMO", "quantity": "mach", "maximum": 0.6},
              {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
               "when": {"flap_deg": {"above": 5}}}]})


class Drawn:
    """A recording of a flight in knots and feet, for tests to damage."""

    def __init__(self, hz=1.0, kt=230.0, ft=3000.0, seconds=240.0, **channels):
        self.hz = hz
        self.time = np.arange(round(seconds * hz)) / hz
        random = np.random.default_rng(3)

        def noise(size):
            return random.normal(0, size, len(self.time))

        self.true_kt = np.broadcast_to(kt(self.time) if callable(kt) else kt, self.time.shape)
        height = np.broadcast_to(ft(self.time) if callable(ft) else ft, self.time.shape)
        mach = airspeed.mach_from_cas(self.true_kt * KNOT, height * FOOT)
        warm = atmosphere.temperature(height * FOOT) + 5.0
        self.made = {
            "calibrated_airspeed": np.round((self.true_kt + noise(0.2)) * 4) / 4,
            "pressure_altitude": np.round(height + noise(2.0)),
            "mach": np.round(mach + noise(0.0003), 3),
            "true_airspeed": np.round(airspeed.tas_from_mach(mach, warm) / KNOT + noise(0.3)),
            "static_air_temperature": warm - 273.15, **channels}

    def add(self, name, amount, first_s, seconds=None):
        rows = (self.time >= first_s) & (
            self.time < (first_s + (seconds or 0.5 / self.hz)))
        self.made[name] = self.made[name] + np.where(rows, amount, 0.0)
        return self

    def without(self, *names):
        return self._kept({name: one for name, one in self.made.items() if name not in names})

    def cut(self, first_s, stop_s):
        keep = (self.time < first_s) | (self.time >= stop_s)
        self.time = self.time[keep]
        return self._kept({name: one[keep] for name, one in self.made.items()})

    def _kept(self, made):
        self.made = made
        return self

    def assessed(self):
        channels = {}
        for name, values in self.made.items():
            unit = kind(name).unit
            channels[name] = Channel(values * unit.factor + unit.offset, column=name,
                                     interval_s=1 / self.hz)
        return assess_flight(analyze(FlightLog(
            self.time, channels, Source(Path("made.csv")), interval_s=1 / self.hz), SHEET))

    def one(self):
        (found,) = self.assessed().exceedances
        return found


OTHERS = ("mach", "true_airspeed")


def verdicts(found):
    return {one.channel: one.verdict for one in found.evidence.references}


def dive(time):
    """From 230 kt to 275 at 2 kt/s, and back."""
    return 230 + np.clip((time - 80) * 2, 0, 45) - np.clip((time - 120) * 1.5, 0, 45)


def test_a_stuck_bit_is_contradicted_with_sizes():
    found = Drawn().add("calibrated_airspeed", 64.0, 100, 8).one()
    assert found.evidence.reason == CONTRADICTED
    for sure in (found.displayed, found.flown):
        assert (sure.word, sure.reason) == (NOT_DETERMINABLE, CONTRADICTED)
        assert np.isnan([sure.probability, sure.low, sure.high]).all()
    by_mach, by_true = found.evidence.references
    assert (by_mach.channel, by_true.channel) == OTHERS
    for one in (by_mach, by_true):
        assert one.verdict == CONTRADICTS
        assert one.difference == pytest.approx(64, abs=1.5)
        assert one.allowed < 5
        assert one.excess == pytest.approx(-20, abs=1.5)
        assert one.samples == 8


@pytest.mark.parametrize(("hz", "bit", "seconds"), [(1.0, 64.0, 8), (8.0, 128.0, 8)])
def test_a_stuck_bit_with_nothing_to_compare_it_with(hz, bit, seconds):
    found = Drawn(hz).without(*OTHERS).add("calibrated_airspeed", bit, 100, seconds).one()
    assert found.evidence.references == ()
    assert (found.flown.word, found.flown.reason) == (NOT_DETERMINABLE, NOT_FLOWN)
    into, out = found.evidence.edges
    assert into.step == pytest.approx(bit, abs=1.5)
    assert out.step == pytest.approx(-bit, abs=1.5)
    assert (into.time_s, out.time_s) == (100.0, 100.0 + seconds)
    assert into.allowed < bit / 2


@pytest.mark.parametrize("damage", [
    lambda one: one.add("calibrated_airspeed", 100.0, 0),
    lambda one: one.add("calibrated_airspeed", 100.0, 239),
    lambda one: one.cut(100, 110).add("calibrated_airspeed", 100.0, 110),
    lambda one: one.cut(100, 110).add("calibrated_airspeed", 100.0, 99),
], ids=["first row", "last row", "after a gap", "before a gap"])
def test_a_corrupt_sample_without_a_neighbour_is_not_proven(damage):
    alone = damage(Drawn().without(*OTHERS)).one()
    assert (alone.flown.word, alone.flown.reason) == (NOT_DETERMINABLE, NOT_FLOWN)
    assert alone.evidence.unseen
    compared = damage(Drawn()).one()
    assert (compared.flown.word, compared.flown.reason) == (NOT_DETERMINABLE, CONTRADICTED)


def test_a_lone_sample_between_two_gaps_has_no_entry():
    one = Drawn(kt=235.0).without(*OTHERS).cut(100, 110).add("calibrated_airspeed", 20.0, 110)
    found = one.cut(111, 120).one()
    assert (found.flown.word, found.flown.reason) == (NOT_DETERMINABLE, NO_ENTRY)


def test_a_true_dive_is_confirmed_and_stays_as_sure_as_it_was():
    found = Drawn(kt=dive).one()
    assert verdicts(found) == dict.fromkeys(OTHERS, CONFIRMS)
    assert found.evidence.edges == ()
    assert found.flown.word == PROVEN_OVER
    alone = Drawn(kt=dive).without(*OTHERS).one()
    assert alone.evidence == Evidence()
    assert alone.flown.word == PROVEN_OVER
    assert alone.flown.probability == pytest.approx(found.flown.probability)


@pytest.mark.parametrize("cut", [(0, 105), (104, 240), (100, 112)],
                         ids=["starts over", "ends over", "through a gap"])
def test_what_starts_or_ends_unrecorded_stands_where_its_other_edge_was_flown(cut):
    for found in Drawn(kt=dive).without(*OTHERS).cut(*cut).assessed().exceedances:
        assert found.evidence.reason == ""
        assert found.flown.word == PROVEN_OVER


def test_a_step_that_another_channel_confirms_is_no_doubt():
    # A shear of 40 kt between two samples: the Mach number has it too.
    def shear(time):
        return np.where((time >= 100) & (time < 130), 270.0, 230.0)

    found = Drawn(kt=shear).one()
    assert found.evidence.edges
    assert set(verdicts(found).values()) == {CONFIRMS}
    assert found.flown.word == PROVEN_OVER


def test_damage_within_a_true_exceedance_lowers_what_is_proven_of_its_size():
    found = Drawn(kt=dive).add("calibrated_airspeed", 64.0, 105, 6).one()
    assert found.evidence.reason == SHOWS_LESS
    assert CONFIRMS_LESS in verdicts(found).values()
    assert found.flown.word == PROVEN_OVER
    # Truly over by 25 kt; the damage says 89.
    assert found.flown.low == pytest.approx(25, abs=4)
    assert found.flown.high > 80


def test_a_stuck_bit_of_the_altitude_against_a_mach_limit():
    flight = Drawn(kt=270.0, ft=18000.0).add("pressure_altitude", 4096.0, 100, 8)
    by_limit = {one.limit: told for one, told in zip(
        flight.assessed().analysis.exceedances, flight.assessed().exceedances, strict=True)}
    assert by_limit["MMO"].flown.reason == CONTRADICTED
    assert verdicts(by_limit["MMO"])["mach"] == CONTRADICTS
    # VMO is truly exceeded all along, and feels nothing of the altitude.
    assert by_limit["VMO"].flown.word == PROVEN_OVER
    alone = Drawn(kt=245.0, ft=18000.0).without(*OTHERS).add(
        "pressure_altitude", 8192.0, 100, 8).one()
    assert alone.flown.reason == NOT_FLOWN
    assert {edge.quantity for edge in alone.evidence.edges} == {"pressure altitude"}


def test_a_second_airspeed_does_not_bear_out_the_altitude():
    flight = Drawn(kt=245.0, ft=18000.0).without(*OTHERS)
    flight.made["calibrated_airspeed_2"] = flight.made["calibrated_airspeed"] + 1.0
    found = flight.add("pressure_altitude", 8192.0, 100, 8).one()
    assert verdicts(found) == {"calibrated_airspeed_2": CONFIRMS}
    assert found.flown.reason == NOT_FLOWN


def test_a_vertical_speed_contradicts_a_step_of_the_altitude():
    flight = Drawn(kt=245.0, ft=18000.0).without(*OTHERS)
    flight.made["vertical_speed"] = np.zeros(240)
    found = flight.add("pressure_altitude", 8192.0, 100, 8).one()
    (one,) = found.evidence.references
    assert (one.channel, one.quantity, one.verdict) == (
        "vertical_speed", "pressure altitude", CONTRADICTS)
    assert one.difference == pytest.approx(8192, abs=10)
    assert found.flown.reason == CONTRADICTED


@pytest.mark.parametrize("lost", [slice(0, 95), slice(132, None)], ids=["before", "after"])
def test_the_usual_difference_from_one_side_of_an_exceedance_is_enough(lost):
    """Ground speed has no value of its own: it is compared with what it was beside."""
    flight = Drawn(kt=dive)
    ground = flight.made["true_airspeed"] + 30.0
    ground[lost] = np.nan
    flight.made |= {"ground_speed": ground, "track": np.full(240, 90.0)}
    flight.without(*OTHERS)
    assert verdicts(flight.one()) == {"ground_speed": CONFIRMS}


def test_a_gust_that_the_ground_speed_does_not_see_is_no_contradiction():
    def gust(time):
        return 240 + np.clip((time - 100) * 4, 0, 32) - np.clip((time - 112) * 4, 0, 32)

    flight = Drawn(kt=gust).without(*OTHERS)
    flight.made |= {"ground_speed": np.full(240, 300.0), "track": np.full(240, 90.0)}
    found = flight.one()
    assert found.evidence.reason == ""
    assert found.flown.word == PROVEN_OVER


def test_a_dip_within_a_true_exceedance_leaves_both_its_parts_standing():
    def long_dive(time):
        return 230 + np.clip((time - 40) * 1, 0, 45) - np.clip((time - 180) * 1, 0, 45)

    flight = Drawn(kt=long_dive).without(*OTHERS).add("calibrated_airspeed", -64.0, 120, 6)
    found = flight.assessed().exceedances
    assert len(found) == 2
    assert [one.evidence.reason for one in found] == ["", ""]


@pytest.mark.parametrize("mach", [0.0, 0.36])
def test_a_dead_channel_contradicts_nothing(mach):
    flight = Drawn(kt=lambda time: dive(time) + 3 * np.sin(time / 9)).without(*OTHERS)
    flight.made["mach"] = np.full(240, mach)
    found = flight.one()
    assert found.evidence.references == ()
    assert found.flown.word == PROVEN_OVER


def test_a_flap_that_jumps_further_than_flaps_move():
    angle = np.zeros(240)
    angle[100:110] = 30.0
    found = Drawn(kt=200.0, flap=angle).one()
    assert (found.flown.word, found.flown.reason) == (NOT_DETERMINABLE, NOT_FLOWN)
    (edge,) = found.evidence.edges
    assert (edge.quantity, edge.step) == ("flap", pytest.approx(30.0))
    slow = np.interp(np.arange(240.0), [100, 110, 150, 160], [0, 30, 30, 0])
    assert Drawn(kt=200.0, flap=slow).one().flown.word == PROVEN_OVER


def test_capped_leaves_alone_what_nothing_speaks_against():
    sure = Assurance("as flown", 20.0, 1.0, 0.1, 0.999, 18.0, 22.0, PROVEN_OVER)
    assert capped(sure, Evidence()) is sure
    less = Reference("mach", "airspeed", CONFIRMS_LESS, 12.0, 2.0, 8.0, 5)
    lower = capped(sure, Evidence((less,), reason=SHOWS_LESS))
    assert (lower.low, lower.high, lower.word) == (8.0, 22.0, PROVEN_OVER)


@pytest.mark.parametrize("step_kt", [8.0, 1.0, 0.0])
def test_steps_of_the_airspeed_count_beside_a_finer_channel(step_kt):
    # Level at 248 kt before and after, 256 kt inside; the other channel rises by 2.5 kt alone.
    def flown(time):
        return np.where((time > 100) & (time < 130), 256.0, 248.0)

    made = Drawn(kt=flown).without(*OTHERS)
    shown = flown(made.time)
    shown[:40] -= step_kt * (1 + np.arange(40) // 10)
    made.made["calibrated_airspeed"] = shown if step_kt else shown + 0.01 * np.sin(made.time)
    made.made["calibrated_airspeed_2"] = np.where(shown == 256.0, 253.25, 250.75)
    (found,) = made.one().evidence.references
    assert found.difference == pytest.approx(5.5, abs=0.1)
    assert found.allowed == pytest.approx(step_kt + 0.55, abs=0.1)
    assert (found.verdict == CONTRADICTS) == (step_kt < 5)
