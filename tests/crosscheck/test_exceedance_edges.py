"""How great a step into an excess may be before no aircraft flies it, computed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import analyze, assess_flight
from loganalyze.record.channels import kind
from loganalyze.testing import make_log, make_sheet

G_KT_S = 9.80665 / (1852 / 3600)  # what one g along the path gains in a second [kt]
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.7}
VFE = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
       "when": {"flap_deg": {"above": 5}}}


def assessed(kt, ft=5000.0, interval_s=1.0, limits=(VMO,), time=None, **channels):
    time = interval_s * np.arange(len(kt)) if time is None else time
    log = make_log(time, interval_s, calibrated_airspeed=kt, pressure_altitude=ft, **channels)
    return assess_flight(analyze(log, make_sheet(*limits))).exceedances


def stepped(step, rows=80, held=60, start=240.0):
    """Level at 240 kt, a step, held for a while, and slowly back."""
    top = start + step
    return np.concatenate([np.full(rows, start), np.full(held, top),
                           np.arange(top, start, -0.5), np.full(rows, start)])


# A gust of 15 kt in a second, by the cube root of the time in less; wind that changes by 4 kt/s;
# thrust less drag of .4 g; and the weight's part along the path, as steep as it was.
LEVEL = {0.25: 15 * 0.25 ** (1 / 3) + (4 + 0.4 * G_KT_S) * 0.25,
         1.0: 15 + 4 + 0.4 * G_KT_S, 2.0: 15 + 2 * (4 + 0.4 * G_KT_S)}


@pytest.mark.parametrize(("interval_s", "allowed"), LEVEL.items())
def test_a_step_in_level_flight(interval_s, allowed):
    def edges(step):
        kt = stepped(step, held=round(60 / interval_s))
        return assessed(kt, interval_s=interval_s)[0].evidence.edges

    assert edges(allowed - 0.1) == ()
    (edge,) = edges(allowed + 0.1)
    assert (edge.quantity, edge.time_s, edge.seconds) == ("airspeed", 80 * interval_s, interval_s)
    assert edge.step == pytest.approx(allowed + 0.1)
    assert edge.allowed == pytest.approx(allowed)


def test_a_step_out_of_an_excess_is_one_downwards():
    kt = stepped(30.0)[::-1]
    (edge,) = assessed(kt)[0].evidence.edges
    assert edge.step == pytest.approx(-30.0)
    assert edge.time_s == len(kt) - 80
    assert edge.allowed == pytest.approx(LEVEL[1.0])


def test_the_weight_helps_in_a_descent():
    """30 m down in a second at some 137 m/s (267 kt): a slope of 30 / 137 of the weight more."""
    def edges(step, fallen_ft):
        kt = stepped(step)
        return assessed(kt, np.where(np.arange(len(kt)) < 80, 5000.0, 5000.0 - fallen_ft)
                        )[0].evidence.edges

    def allowed(step):
        return LEVEL[1.0] + 30 / ((240 + step) * 1852 / 3600) * G_KT_S

    assert edges(30.5, 30 / 0.3048) == ()
    (edge,) = edges(31.2, 30 / 0.3048)
    assert 30.5 < edge.allowed < 31.2
    assert edge.allowed == pytest.approx(allowed(31.2))
    # However far down, no more than straight down.
    assert edges(37.0, 590.0) == ()


def test_the_ground_speed_shows_what_was_gained():
    step = 24.0
    kt = stepped(step)
    still = np.full(len(kt), 250.0)
    (edge,) = assessed(kt, ground_speed=still)[0].evidence.edges
    assert edge.allowed == pytest.approx(19.0)  # the gust and the wind alone
    gained = np.where(np.arange(len(kt)) < 80, 250.0, 253.0)
    assert assessed(kt, ground_speed=gained)[0].evidence.edges[0].allowed == pytest.approx(22.0)
    more = np.where(np.arange(len(kt)) < 80, 250.0, 280.0)
    assert assessed(kt, ground_speed=more)[0].evidence.edges == ()
    unknown = np.where(np.arange(len(kt)) == 80, np.nan, 250.0)
    assert assessed(kt, ground_speed=unknown)[0].evidence.edges == ()


@pytest.mark.parametrize(("seconds", "doubted"), [(20, True), (30, True), (40, False)])
def test_a_short_square_excess_needs_gentler_sides(seconds, doubted):
    """Steps of 14 kt in a second are flown, but not both in and out within half a minute."""
    kt = np.concatenate([np.full(80, 240.0), np.full(seconds, 254.0), np.full(80, 240.0)])
    edges = assessed(kt)[0].evidence.edges
    assert [round(one.step) for one in edges] == ([14, -14] if doubted else [])
    assert all(one.allowed == pytest.approx(11.0) for one in edges)


@pytest.mark.parametrize(("step", "doubted"), [(10.9, False), (11.1, True)])
def test_gentle_is_three_knots_and_eight_a_second(step, doubted):
    kt = np.concatenate([np.full(80, 240.0), np.full(20, 240 + step), np.full(80, 240.0)])
    assert bool(assessed(kt)[0].evidence.edges) == doubted


@pytest.mark.parametrize(("step", "doubted"), [(10.0, False), (11.0, True)])
def test_in_rough_air_five_times_the_usual_step_is_gentle(step, doubted):
    """Steps of 2.6 kt all along: 13 kt are usual there, and both sides are by 2.6 kt steeper."""
    rough = np.where(np.arange(181) % 2, -1.3, 1.3)
    kt = np.concatenate([np.full(80, 242.0), np.full(21, 242.0 + step), np.full(80, 242.0)])
    edges = [edge for one in assessed(kt + rough) for edge in one.evidence.edges]
    assert bool(edges) == doubted
    assert all(edge.allowed == pytest.approx(13.0) for edge in edges)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("interval_s", [0.5, 1.0])
def test_a_step_of_the_altitude(interval_s, way):
    """300 ft/s and 100 ft for the static port."""
    allowed = 100 + 300 * interval_s
    n = 200
    for more, found in ((-5.0, False), (5.0, True)):
        ft = np.where((np.arange(n) >= 80) & (np.arange(n) < 100), 30000.0 + way * (
            allowed + more), 30000.0)
        kt = np.interp(np.arange(n), [0, 40, 75, 120, 160, n], [250, 250, 285, 285, 250, 250])
        edges = [edge for one in assessed(kt, ft, interval_s, limits=(MMO,))
                 for edge in one.evidence.edges if edge.quantity == "pressure altitude"]
        assert bool(edges) == found
        for edge in edges:
            assert abs(edge.step) == pytest.approx(allowed + more)
            assert (edge.allowed, edge.seconds) == (pytest.approx(allowed), interval_s)


@pytest.mark.parametrize("interval_s", [0.5, 2.0])
def test_a_flap_that_moves_faster_than_flaps_do(interval_s):
    rate = kind("flap").greatest_rate
    for more, found in ((-0.2, False), (0.2, True)):
        angle = np.zeros(60)
        angle[30:] = 2.0 + rate * interval_s + more
        one = assessed(np.full(60, 200.0), interval_s=interval_s, limits=(VFE,), flap=angle)[0]
        assert bool(one.evidence.edges) == found
        for edge in one.evidence.edges:
            assert (edge.quantity, edge.time_s) == ("flap", 30 * interval_s)
            assert edge.allowed == pytest.approx(2.0 + rate * interval_s)


def unseen(*where, held=20, start=240.0):
    """An excess of 5 kt with gaps of 20 s at some of its ends: "before", "after"."""
    time = np.arange(80.0 + held + 80)
    kt = np.full(len(time), start)
    kt[80 : 80 + held] = 255.0
    time[80:] += 20.0 if "before" in where else 0.0
    time[80 + held :] += 20.0 if "after" in where else 0.0
    return assessed(kt, time=time)[0].evidence.unseen


def test_what_is_short_and_begins_or_ends_unrecorded_is_unseen():
    assert unseen("before", "after", start=246.0)
    assert not unseen("before", "after", held=40, start=246.0)
    # One end that was recorded, and flown gently, is enough; a step of more than 11 kt isn't.
    assert not unseen("before", start=246.0)
    assert not unseen("after", start=246.0)
    assert unseen("before", start=243.0)
    assert unseen("after", start=243.0)
    assert not unseen(start=243.0)


def test_a_recording_that_is_over_from_end_to_end_stands_with_five_samples():
    assert assessed(np.full(4, 255.0))[0].evidence.unseen
    assert not assessed(np.full(5, 255.0))[0].evidence.unseen
