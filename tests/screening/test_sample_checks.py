"""Samples that no verdict may rest on."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Channel, analyze

NAN = math.nan
UNDER, OVER, UNKNOWN = 0, 1, 2
ALTITUDE = "pressure altitude"


@pytest.fixture
def judged(log, sheet, vmo):
    def judge(kt, ft=5000.0, time=None, **channels):
        flight = log(range(len(kt)) if time is None else time, calibrated_airspeed=kt,
                     pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo))

    return judge


def test_a_clean_log_has_nothing_against_it(judged):
    assert judged([200, 210, 220, 230]).screened == {}


@pytest.mark.parametrize("fill", [NAN, -9999, 9999, 1000.1, -0.1, math.inf])
def test_missing_or_implausible_airspeed_is_unknown(judged, fill):
    analysis = judged([200, fill, fill, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNKNOWN, UNKNOWN, UNDER]
    reason = "missing" if math.isnan(fill) else "outside its plausible range"
    assert analysis.screened == {f"airspeed {reason}": 2}


def test_missing_temperature_is_counted_and_takes_nothing_away(judged):
    analysis = judged([200, 200, 200], static_air_temperature=[0, NAN, 500])
    assert analysis.columns["state"].tolist() == [UNDER] * 3
    assert analysis.screened == {"temperature missing": 1,
                                 "temperature outside its plausible range": 1}
    assert np.isnan(analysis.columns["true_airspeed_kt"]).tolist() == [False, True, True]


@pytest.mark.parametrize("jump", [60, -60])
def test_one_sample_out_and_at_once_back_is_a_spike(judged, jump):
    analysis = judged([200, 200, 200 + jump, 200, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNDER, UNKNOWN, UNDER, UNDER]
    assert analysis.screened == {"airspeed spike faster than plausible": 1}
    assert np.isnan(analysis.columns["calibrated_airspeed_kt"]).tolist() == [
        False, False, True, False, False]
    assert analysis.exceedances == ()


def test_a_step_of_two_samples_is_none(judged):
    analysis = judged([200, 200, 260, 260, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNDER, OVER, OVER, UNDER]
    assert analysis.screened == {}


def test_a_spike_is_faster_than_plausible(judged):
    # 40 kt/s over 1 s, and 2 kt for the noise; over 2 s twice the rate is allowed.
    assert judged([200, 241.9, 200]).screened == {}
    assert judged([200, 242.1, 200]).columns["state"].tolist() == [UNDER, UNKNOWN, UNDER]
    assert judged([200, 270, 200], time=[0, 2, 4]).screened == {}


@pytest.mark.parametrize("interval_s", [0.25, 2.0])
def test_how_fast_a_spike_is_goes_by_the_interval(judged, interval_s):
    time = interval_s * np.arange(60)
    for kt, ft, reason in ((1.0, 0.0, "airspeed"), (0.0, 1.0, ALTITUDE)):
        # 40 kt/s and 2 kt, 600 ft/s and 30 m; below these and at least 15 kt, 250 ft.
        least = max(40 * interval_s + 2, 15) if kt else 600 * interval_s + 98.43
        for share, expected in ((0.98, 0), (1.02, 1)):
            speed, altitude = np.full(60, 200.0), np.full(60, 5000.0)
            speed[30] += kt * share * least
            altitude[30] += ft * share * least
            screened = judged(speed, altitude, time=time).screened
            assert sum(screened.values()) == expected, (reason, screened)
            assert not screened or list(screened) == [f"{reason} spike faster than plausible"]


def test_a_spike_of_the_altitude(judged):
    # 600 ft/s, and 30 m for the noise. A constant CAS limit is judged all the same.
    analysis = judged([200] * 5, ft=[5000, 5000, 5720, 5000, 5000])
    assert analysis.screened == {f"{ALTITUDE} spike faster than plausible": 1}
    assert analysis.columns["state"].tolist() == [UNDER] * 5
    assert np.isnan(analysis.columns["mach"]).tolist() == [False, False, True, False, False]
    assert judged([200] * 5, ft=[5000, 5000, 5690, 5000, 5000]).screened == {}


def test_a_fill_value_beside_it_makes_no_good_sample_a_spike(judged):
    analysis = judged([200, -9999, 200, -9999, 260, -9999])
    assert analysis.columns["state"].tolist() == [UNDER, UNKNOWN, UNDER, UNKNOWN, OVER, UNKNOWN]
    assert analysis.screened == {"airspeed outside its plausible range": 3}


def test_the_ends_of_the_log_are_no_spikes(judged):
    assert judged([260, 200, 200, 260]).screened == {}
    assert judged([200]).screened == {}


@pytest.mark.parametrize("row", [62, 63, 64, 65, 127, 128])
def test_spikes_and_steps_across_the_boundary_of_blocks(judged, choose_engine, row):
    choose_engine(block=64)
    kt = np.full(200, 200.0)
    kt[row] = 270
    assert np.flatnonzero(judged(kt).columns["state"]).tolist() == [row]
    assert judged(kt).screened == {"airspeed spike faster than plausible": 1}
    kt[row + 1] = 270
    assert np.flatnonzero(judged(kt).columns["state"] == OVER).tolist() == [row, row + 1]
    assert judged(kt).screened == {}
    kt[row - 1 : row + 2] = [200, NAN, 200]
    assert np.flatnonzero(judged(kt).columns["state"] == UNKNOWN).tolist() == [row]


# What is fast may be noise, a coarse step or a gust.

def test_a_sharp_gust_at_a_high_rate_is_no_spike(judged):
    # 12 kt in an eighth of a second, and back: faster than 40 kt/s, and less than 15 kt.
    kt = np.full(160, 245.0)
    kt[20::20] = 257.0
    analysis = judged(kt, time=np.arange(160) / 8)
    assert analysis.screened == {}
    assert (analysis.columns["state"] == OVER).sum() == 7
    kt[20::20] = 262.0
    assert judged(kt, time=np.arange(160) / 8).screened == {
        "airspeed spike faster than plausible": 7}


@pytest.mark.parametrize("seed", range(4))
def test_noise_is_no_spike_and_no_excursion_and_hides_none(judged, seed):
    """Three steps of 2 kt and of 100 ft, at 8 Hz: every other sample is off by 40 kt/s."""
    rng = np.random.default_rng(seed)
    kt = 2 * np.round((275 + rng.normal(0, 6, 2400)) / 2)
    ft = 100 * np.round((5000 + rng.normal(0, 300, 2400)) / 100)
    analysis = judged(kt, ft, time=np.arange(2400) / 8)
    assert sum(analysis.screened.values()) <= 2
    assert (analysis.columns["state"] == OVER).sum() >= (kt > 250).sum() - 2
    kt[1200] += 120
    assert judged(kt, ft, time=np.arange(2400) / 8).columns["state"][1200] == UNKNOWN


def test_an_altitude_in_coarse_steps_is_no_spike(judged):
    ft = np.full(400, 5000.0)
    ft[7::40] = 5200.0
    assert judged(np.full(400, 200.0), ft, time=np.arange(400) / 8).screened == {}


# Spikes that other channels bear out are flown, not recorded wrongly.

GUST = [200, 200, 260, 200, 200, 200, 200, 200]
FLAT = [200] * 8


@pytest.mark.parametrize(("bears_out", "channels"), [
    (True, {"calibrated_airspeed_2": [198, 198, 255, 198, 198, 198, 198, 198]}),
    (True, {"calibrated_airspeed_2": [198, 198, 229, 198, 198, 198, 198, 198]}),
    (False, {"calibrated_airspeed_2": [198, 198, 225, 198, 198, 198, 198, 198]}),
    (False, {"calibrated_airspeed_2": FLAT}),
    (False, {"calibrated_airspeed_2": [198, 198, 140, 198, 198, 198, 198, 198]}),
    (True, {"indicated_airspeed": GUST}),
    (True, {"mach": [0.33, 0.33, 0.43, 0.33, 0.33, 0.33, 0.33, 0.33]}),
    (False, {"mach": 0.33}),
    (True, {"true_airspeed": [220, 220, 285, 220, 220, 220, 220, 220]}),
    (False, {"true_airspeed": 220}),
    (True, {"load_factor": [1, 1, 1.4, 1, 1, 1, 1, 1]}),
    (True, {"load_factor": [1, 1, 1, 0.6, 1, 1, 1, 1]}),
    (False, {"load_factor": [1, 1, 1.2, 1, 1, 1, 1.5, 1]}),
    (True, {"pitch": [2, 2, 6, 2, 2, 2, 2, 2]}),
    (False, {"pitch": 2}),
    (False, {"heading": [90, 90, 120, 90, 90, 90, 90, 90]}),
    (False, {}),
])
def test_what_bears_out_a_gust(judged, bears_out, channels):
    analysis = judged(GUST, **channels)
    expected = [UNDER, UNDER, OVER if bears_out else UNKNOWN, *[UNDER] * 5]
    assert analysis.columns["state"].tolist() == expected
    assert len(analysis.exceedances) == bears_out


def test_a_gust_departs_from_the_twelve_seconds_about_it(judged):
    """The load factor lies .4 g off the mean of its nearer neighbours, .2 g off that of all."""
    kt = [200.0] * 8 + [260.0] + [200.0] * 8
    load = np.ones(17)
    load[7:10] = [1.2, 1.4, 1.2]
    for rough, counts in (([2, 3, 4], 0), ([0, 1], 1), ([12, 13], 0), ([14, 15, 16], 1)):
        beside = load.copy()
        # Nine neighbours count: from 6 s before to less than 6 s after, without the second about.
        beside[rough] = 1.6 if counts or len(rough) == 3 else 1.9
        assert len(judged(kt, load_factor=beside).exceedances) == counts, rough


def test_a_slow_reference_channel_confirms_only_what_it_sampled(judged, log):
    rows = np.arange(0, 8, 4, dtype=np.int32)
    slow = Channel(np.array([0.33, 0.33]), rows, 4.0)
    assert judged(GUST, mach=slow).screened == {"airspeed spike faster than plausible": 1}


# Two sources.

def test_two_sources_disagree(judged):
    # More than 10 kt apart, that being more than 6 %, from row 2 to 8: six seconds.
    first = np.full(12, 150.0)
    second = np.array([150, 150, 161, 161, 161, 161, 161, 161, 161, 150, 150, 150.0])
    analysis = judged(first, calibrated_airspeed_2=second)
    assert analysis.screened == {"airspeed sources disagree": 7}
    assert analysis.columns["state"].tolist() == [UNDER] * 2 + [UNKNOWN] * 7 + [UNDER] * 3
    assert judged(first, calibrated_airspeed_2=np.minimum(second, 159.9)).screened == {}
    # At 240 kt they may be 14.4 kt apart.
    assert judged(first + 90, calibrated_airspeed_2=second + 90).screened == {}
    assert judged(first + 90, calibrated_airspeed_2=second + 94).screened == {
        "airspeed sources disagree": 7}


@pytest.mark.parametrize(("step_s", "disagreeing"), [(1.5, 7), (1.6, 0)])
def test_a_disagreement_ends_at_a_gap(judged, step_s, disagreeing):
    time = np.arange(12.0)
    time[6:] += step_s - 1.0
    second = np.where((np.arange(12) > 1) & (np.arange(12) < 9), 161.0, 150.0)
    screened = judged([150.0] * 12, time=time, calibrated_airspeed_2=second).screened
    assert screened.get("airspeed sources disagree", 0) == disagreeing


def test_a_short_disagreement_is_skew(judged):
    second = np.array([150, 150, 161, 161, 161, 161, 161, 150, 150.0])
    assert judged([150.0] * 9, calibrated_airspeed_2=second).screened == {}
    lost = np.array([150, 150, 161, 161, 161, NAN, 161, 161, 161.0])
    assert judged([150.0] * 9, calibrated_airspeed_2=lost).screened == {}


def test_disagreeing_altitudes_and_temperatures(judged):
    analysis = judged([200.0] * 9, pressure_altitude_2=5401.0, static_air_temperature=5.0,
                      static_air_temperature_2=12.0)
    assert analysis.screened == {f"{ALTITUDE} sources disagree": 9,
                                 "temperature sources disagree": 9}
    assert analysis.columns["state"].tolist() == [UNDER] * 9
    assert np.isnan(analysis.columns["mach"]).all()
    analysis = judged([200.0] * 9, pressure_altitude_2=5399.0, static_air_temperature=5.0,
                      static_air_temperature_2=10.0)
    assert analysis.screened == {}
    assert not np.isnan(analysis.columns["true_airspeed_kt"]).any()


# Lost synchronisation.

def test_two_corrupt_instants_put_their_frame_in_doubt(judged):
    # Rows 10 and 12 are garbage in speed and altitude; a frame of 4 s with both of them holds
    # no row before 8 and none after 14.
    kt, ft = np.full(24, 200.0), np.full(24, 5000.0)
    kt[[10, 12]], ft[[10, 12]] = 1500.0, 90000.0
    kt[11] = 262.0
    analysis = judged(kt, ft)
    unknown = np.flatnonzero(analysis.columns["state"] == UNKNOWN)
    assert unknown.tolist() == [8, 9, 10, 11, 12, 13, 14]
    assert analysis.screened["synchronisation lost"] == 7
    assert analysis.exceedances == ()


def test_other_channels_show_it_too(judged):
    kt, pitch = np.full(24, 200.0), np.full(24, 2.0)
    kt[[10, 12]], pitch[[10, 12]] = 1500.0, 120.0
    assert judged(kt, pitch=pitch).screened["synchronisation lost"] == 7
    # A temperature doesn't: a probe that fails takes no verdict away.
    heat = np.where(pitch > 90, 500.0, 10.0)
    assert "synchronisation lost" not in judged(kt, static_air_temperature=heat).screened


def test_one_corrupt_instant_is_no_loss_of_synchronisation(judged):
    kt, ft = np.full(24, 200.0), np.full(24, 5000.0)
    kt[10], ft[10] = 1500.0, 90000.0
    assert np.flatnonzero(judged(kt, ft).columns["state"]).tolist() == [10]
    kt[15], ft[15] = 1500.0, 90000.0  # more than a frame later
    assert np.flatnonzero(judged(kt, ft).columns["state"]).tolist() == [10, 15]


@pytest.mark.parametrize("row", [61, 62, 63, 64, 65, 66, 67])
def test_a_frame_across_the_boundary_of_blocks(judged, choose_engine, row):
    choose_engine(block=64)
    kt, ft = np.full(200, 200.0), np.full(200, 5000.0)
    kt[[row, row + 1]], ft[[row, row + 1]] = 1500.0, 90000.0
    assert np.flatnonzero(judged(kt, ft).columns["state"]).tolist() == list(
        range(row - 3, row + 5))
