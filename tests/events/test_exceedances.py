"""Exceedances of tiny logs built by hand, the answers written down first."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import FlightLog, Settings, analyze

NAN = math.nan


@pytest.fixture
def found(log, sheet, vmo):
    """Judge calibrated airspeeds at 5000 ft against 250 kt, and such limits as are given."""

    def judge(time, kt, *limits, interval_s=None, settings=None, ft=5000.0, **channels):
        flight = log(time, interval_s, calibrated_airspeed=kt, pressure_altitude=ft, **channels)
        return analyze(flight, sheet(*(limits or (vmo,))), settings=settings).exceedances

    return judge


def times(exceedances):
    return [(one.start_s, one.end_s, one.began_by, one.ended_by) for one in exceedances]


def test_crossings_are_interpolated_on_irregular_stamps(found):
    # Half of 248 to 252 kt from 1 to 3 s, and 6/10 of 256 to 246 kt from 4 to 8 s.
    (one,) = found([0, 1, 3, 4, 8], [240, 248, 252, 256, 246], interval_s=4.0)
    assert (one.start_s, one.end_s) == pytest.approx((2.0, 6.4), abs=1e-12)
    assert (one.duration_s, one.time_over_s) == pytest.approx((4.4, 4.4), abs=1e-12)
    assert (one.began_by, one.ended_by) == ("crossed", "recovered")
    assert (one.worst_time_s, one.worst_excess_kt) == pytest.approx((4.0, 6.0), abs=1e-9)
    assert (one.worst_value, one.limit_value) == pytest.approx((256, 250), abs=1e-9)
    assert one.worst_limit_airspeed_kt == pytest.approx(250, abs=1e-9)
    assert one.worst_limit_pointer_kt == pytest.approx(250, abs=1e-9)
    assert math.isnan(one.worst_excess_mach)
    assert (one.limit, one.quantity, one.flight) == ("VMO", "calibrated_airspeed", 1)


def test_exactly_at_the_limit_is_not_over(found):
    assert found([0, 1, 2, 3], [250, 250, 250, 250]) == ()
    # From exactly at it the crossing is at that sample.
    (one,) = found([0, 1, 2, 3], [249, 250, 252, 250])
    assert (one.start_s, one.end_s) == pytest.approx((1.0, 3.0), abs=1e-9)


def test_the_log_begins_and_ends_over(found):
    (one,) = found([0, 1, 2], [251, 253, 252])
    assert times([one]) == [(0.0, 3.0, "start of log", "end of log")]
    assert one.worst_time_s == 1.0


def test_the_last_sample_alone_is_over(found):
    # It stands for one interval; the limit is crossed at 2/3 of 248 to 251 kt.
    (one,) = found([0, 1, 2], [240, 248, 251])
    assert (one.start_s, one.end_s) == pytest.approx((1 + 2 / 3, 3.0), abs=1e-12)
    assert (one.began_by, one.ended_by) == ("crossed", "end of log")


def test_a_limit_that_begins_and_ceases_to_apply_is_a_step(found):
    vle = {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 200,
           "when": {"gear_down": {"is": True}}}
    (one,) = found([0, 1, 2, 3, 4, 5], [230.0] * 6, vle, gear_down=[0, 0, 1, 1, 0, 0])
    assert times([one]) == [(2.0, 4.0, "limit applied", "limit lifted")]
    assert one.worst_excess_kt == pytest.approx(30, abs=1e-9)


def test_the_condition_step_is_not_interpolated_while_the_speed_crosses(found):
    vle = {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 200,
           "when": {"gear_down": {"is": True}}}
    (one,) = found([0, 1, 2, 3], [190, 210, 210, 190], vle, gear_down=[0, 1, 1, 1])
    assert times([one]) == [(1.0, 2.5, "limit applied", "recovered")]


def test_a_gap_inside(found):
    # A sample stands for 1.5 intervals of 1 s; what came after is not known.
    one, other = found([0, 1, 2, 10, 11], [240, 260, 260, 260, 240], interval_s=1.0)
    assert times([one]) == [(0.5, 3.5, "crossed", "gap")]
    assert times([other]) == [(10.0, 10.5, "gap", "recovered")]
    assert (one.time_over_s, other.time_over_s) == (3.0, 0.5)


def test_a_gap_between_under_and_over_is_not_interpolated(found):
    (one,) = found([0, 1, 10, 11], [240, 240, 260, 260], interval_s=1.0)
    assert times([one]) == [(10.0, 12.0, "gap", "end of log")]
    (one,) = found([0, 1, 10, 11], [260, 260, 240, 240], interval_s=1.0)
    assert times([one]) == [(0.0, 2.5, "start of log", "gap")]


def test_the_speed_is_lost(found):
    one, other = found([0, 1, 2, 3, 4], [240, 260, NAN, 260, 240])
    assert times([one]) == [(0.5, 2.0, "crossed", "channel lost")]
    assert times([other]) == [(3.0, 3.5, "gap", "recovered")]


def test_the_channel_of_a_condition_is_lost(found):
    vle = {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 200,
           "when": {"gear_down": {"is": True}}}
    one, other = found([0, 1, 2, 3], [230.0] * 4, vle, gear_down=[1, NAN, 1, 1])
    assert times([one]) == [(0.0, 1.0, "start of log", "channel lost")]
    assert times([other]) == [(2.0, 4.0, "gap", "end of log")]


def test_near_stretches_are_one(found):
    # Over from 5/6 of 240 to 252 kt until 2/3 of 252 to 249, then from 1/3 until 1/6.
    (one,) = found([0, 1, 2, 3, 4], [240, 252, 249, 252, 240])
    assert (one.start_s, one.end_s) == pytest.approx((5 / 6, 3 + 1 / 6), abs=1e-12)
    assert one.duration_s == pytest.approx(2 + 1 / 3, abs=1e-12)
    assert one.time_over_s == pytest.approx(5 / 3, abs=1e-12)


@pytest.mark.parametrize(("dip", "count"), [(248.001, 1), (248.0, 2), (247.999, 2)])
def test_joined_only_where_the_margin_stayed_under_2_kt(found, dip, count):
    assert len(found([0, 1, 2, 3, 4], [240, 252, dip, 252, 240])) == count


@pytest.mark.parametrize(("dip", "count"), [(0.4961, 1), (0.4959, 2)])
def test_joined_only_where_the_margin_stayed_under_mach_004(log, sheet, mmo, dip, count):
    mach = np.array([0.48, 0.503, dip, 0.503, 0.48])
    flight = log(range(5), calibrated_airspeed=mach * 661.478594435, pressure_altitude=0)
    # At sea level in the standard atmosphere CAS is Mach times the speed of sound.
    assert len(analyze(flight, sheet(mmo)).exceedances) == count


@pytest.mark.parametrize(("rows", "settings", "count"), [
    (4, {}, 1),  # 4 s apart: from half a second after the first stretch to half before the next
    (5, {}, 2),  # exactly 5 s
    (5, {"join_gap_s": 5.001}, 1),
    (4, {"join_gap_s": 4.0}, 2),
    (4, {"join_margin_kt": 1.0}, 2),
])
def test_joined_only_where_less_than_5_s_apart(found, rows, settings, count):
    kt = [249, 251, *[249] * rows, 251, 249]
    assert len(found(range(len(kt)), kt, settings=Settings(**settings))) == count


def test_never_joined_across_what_is_not_known(found):
    assert len(found([0, 1, 2, 3, 4], [249, 251, NAN, 251, 249])) == 2
    assert len(found([0, 1, 2, 3, 4, 5], [249, 251, 249, NAN, 251, 249])) == 2
    assert len(found([0, 1, 2, 4, 5], [249, 251, 249, 251, 249], interval_s=1.0)) == 2


def test_short_exceedances_are_marked_and_not_dropped(found):
    kt = [240, 252, 249, 252, 240]  # over for 5/3 s in all
    (one,) = found(range(5), kt, settings=Settings(minimum_duration_s=1.6))
    assert not one.brief
    (one,) = found(range(5), kt, settings=Settings(minimum_duration_s=1.7))
    assert one.brief


def test_overlapping_exceedances_share_an_episode(found, vmo):
    vd = {"name": "VD", "quantity": "calibrated_airspeed", "maximum_kt": 260}
    exceedances = found(range(12), [240, 255, 265, 255, 240, 240, 240, 240, 240, 265, 240, 240],
                        vmo, vd)
    assert [(one.limit, one.episode) for one in exceedances] == [
        ("VMO", 1), ("VD", 1), ("VMO", 2), ("VD", 2)]


def test_true_airspeed_limits_leave_the_episodes_of_the_others(found, vmo):
    # At sea level on a standard day true and calibrated airspeed are one.
    tas = {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 240}
    kt = [230, 245, 230, 230, 255, 230, 230, 245, 230]
    flights = found(range(9), kt, vmo, tas, ft=0.0, static_air_temperature=15.0)
    assert [(one.limit, one.episode) for one in flights] == [
        ("VT", 2), ("VT", 1), ("VMO", 1), ("VT", 3)]
    (without,) = found(range(9), kt, vmo, tas, ft=0.0)
    assert str(without) == str(flights[2])


def test_a_log_of_one_sample(found, vmo):
    vd = {"name": "VD", "quantity": "calibrated_airspeed", "maximum_kt": 240}
    exceedances = found([0.0], [260.0], vmo, vd)
    assert times(exceedances) == [(0.0, 0.0, "start of log", "end of log")] * 2
    assert [one.episode for one in exceedances] == [1, 1]
    (one,) = found([0.0], [260.0], interval_s=0.5)
    assert one.duration_s == 0.5
    assert found([0.0], [250.0]) == ()


def test_the_worst_instant_is_where_the_margin_is_least(found):
    table = {"name": "VMO", "quantity": "calibrated_airspeed",
             "by_pressure_altitude": [[0, 260], [10000, 200]]}
    # The limit sinks by 6 kt a thousand feet: the slower sample is the further over.
    (one,) = found([0, 10, 20, 30, 40], [230, 241, 242, 238, 230], table,
                   ft=[3000, 4000, 4100, 6000, 4000])
    assert one.worst_time_s == 30.0
    assert (one.worst_value, one.limit_value) == pytest.approx((238, 224), abs=1e-9)
    assert one.worst_pressure_altitude_ft == pytest.approx(6000)


def test_a_climb_meets_the_sinking_limit_without_gaining_a_knot(found, mmo):
    ft = np.arange(20000, 20900, 100.0)
    (one,) = found(range(9), [227.0] * 9, mmo, ft=ft)
    assert (one.began_by, one.ended_by) == ("crossed", "end of log")
    assert one.worst_pressure_altitude_ft == pytest.approx(20800)
    assert one.worst_excess_mach == pytest.approx(one.worst_mach - 0.5, abs=1e-12)


def test_the_start_in_utc(log, sheet, vmo):
    flight = log([0, 1, 2], calibrated_airspeed=[240, 260, 260], pressure_altitude=0)
    dated = FlightLog(flight.time, flight.channels, flight.source,
                      np.datetime64("2031-05-04T10:00:00", "ns"), 1.0)
    (one,) = analyze(dated, sheet(vmo)).exceedances
    assert one.start_utc == np.datetime64("2031-05-04T10:00:00.5", "ns")


def test_nothing_found_is_an_empty_table_with_all_columns(log, sheet, vmo):
    flight = log([0, 1], calibrated_airspeed=240, pressure_altitude=0)
    over = log([0, 1], calibrated_airspeed=260, pressure_altitude=0)
    empty, full = (analyze(one, sheet(vmo)).exceedance_table for one in (flight, over))
    assert (len(empty), len(full)) == (0, 1)
    assert list(empty.columns) == list(full.columns)


def test_how_far_the_edges_may_lie_from_the_truth(found):
    # Over from 5/6 of the first second until 1/6 of the last.
    (one,) = found([0, 1, 2, 4], [240, 252, 252, 240], interval_s=2.0)
    assert one.start_uncertainty_s == pytest.approx(5 / 6, abs=1e-9)
    assert one.end_uncertainty_s == pytest.approx(2 * 5 / 6, abs=1e-9)
    vle = {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 200,
           "when": {"gear_down": {"is": True}}}
    # The gear went down within the second before it was first seen down.
    (one,) = found([0, 1, 2, 3], [230.0] * 4, vle, gear_down=[0, 1, 1, 0])
    assert (one.start_uncertainty_s, one.end_uncertainty_s) == (1.0, 1.0)
    (one,) = found([0, 1, 2], [251, 253, 252])
    assert math.isnan(one.start_uncertainty_s)
    assert math.isnan(one.end_uncertainty_s)
    one, other = found([0, 1, 2, 3, 4], [240, 260, NAN, 260, 240])
    assert math.isnan(one.end_uncertainty_s)
    assert math.isnan(other.start_uncertainty_s)


def test_time_over_two_limits_at_once_counts_once(log, sheet, vmo):
    lower = {"name": "VLO", "quantity": "calibrated_airspeed", "maximum_kt": 240}
    flight = log([0, 1, 2, 3, 4, 5, 6, 7, 8, 9], 1.0, pressure_altitude=5000.0,
                 calibrated_airspeed=[230, 235, 245, 255, 255, 245, 235, 235, 245, 235])
    analysis = analyze(flight, sheet(vmo, lower), settings=Settings(join_gap_s=0, ride_gap_s=0))
    # Over 240 kt from 1.5 to 5.5 s and from 7.5 to 8.5 s; over 250 kt within the first.
    over = [one.over for one in analysis.exceedances]
    assert sorted(span for spans in over for span in spans) == [
        pytest.approx(span) for span in ((1.5, 5.5), (2.5, 4.5), (7.5, 8.5))]
    assert sum(one.time_over_s for one in analysis.exceedances) == pytest.approx(7.0)
    assert analysis.time_over_s == pytest.approx(5.0)


def test_the_touches_of_an_exceedance_add_up_to_its_time_over(found):
    (one,) = found([0, 1, 2, 3, 4, 5, 6], [249, 251, 249, 251, 251, 249, 240])
    assert one.over == (pytest.approx((0.5, 1.5)), pytest.approx((2.5, 4.5)))
    assert sum(end - start for start, end in one.over) == pytest.approx(one.time_over_s)
    assert len(one.over) == one.touches == 2
