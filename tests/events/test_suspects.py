"""What would be over but for doubt: listed, with the reason, and not an exceedance."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import Settings, analyze


@pytest.fixture
def judged(log, sheet, vmo, mmo):
    def judge(kt, ft=5000.0, **channels):
        flight = log(range(len(kt)), calibrated_airspeed=kt, pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo, mmo))

    return judge


def listed(analysis):
    return [(one.limit, one.start_s, one.end_s, one.time_s, round(one.excess, 4), one.reason,
             one.unconfirmed_by) for one in analysis.suspects]


def test_one_sample_too_fast_and_at_once_back(judged):
    analysis = judged([200, 200, 270, 200, 200, 200, 200, 200])
    assert analysis.exceedances == ()
    assert listed(analysis) == [("VMO", 2, 2, 2, 20.0, "spike", ())]


def test_what_did_not_bear_it_out_is_named(judged):
    analysis = judged([200, 200, 270, 200, 200, 200, 200, 200], mach=0.33, load_factor=1.0,
                      calibrated_airspeed_2=200.0, heading=90.0)
    assert listed(analysis) == [("VMO", 2, 2, 2, 20.0, "spike",
                                 ("calibrated_airspeed_2", "mach", "load_factor"))]


def test_a_spike_under_the_limit_is_none(judged):
    analysis = judged([150, 150, 240, 150, 150])
    assert analysis.screened == {"airspeed spike faster than plausible": 1}
    assert analysis.suspects == ()


def test_a_slower_excursion_of_one_sample_may_be_a_gust_and_counts(judged):
    # 225 to 262 kt and back within a second each: less than 40 kt/s.
    analysis = judged([225, 225, 262, 225, 225])
    (one,) = analysis.exceedances
    assert analysis.suspects == ()
    # The crossings lie between the samples: 25/37 after the first, and 12/37 after the second.
    assert (one.start_s, one.end_s) == pytest.approx((1 + 25 / 37, 2 + 12 / 37), abs=1e-9)
    assert (one.start_uncertainty_s, one.end_uncertainty_s) == pytest.approx(
        (25 / 37, 25 / 37), abs=1e-9)


def test_a_corroborated_excursion_counts(judged):
    analysis = judged([200, 200, 270, 200, 200, 200], mach=[0.33, 0.33, 0.45, 0.33, 0.33, 0.33])
    assert len(analysis.exceedances) == 1
    assert analysis.suspects == ()


def test_a_step_that_stays_counts(judged):
    assert len(judged([200, 200, 270, 270, 200, 200]).exceedances) == 1


def test_an_altitude_spike_over_the_mach_limit(judged):
    # Mach .5 is 250 kt CAS at 14,600 ft or so: 200 kt is over it only where the spike says.
    ft = np.full(8, 12000.0)
    ft[3] = 40000.0
    analysis = judged([200.0] * 8, ft)
    assert analysis.exceedances == ()
    ((limit, start, end, _, excess, reason, by),) = listed(analysis)
    assert (limit, start, end, reason, by) == ("MMO", 3, 3, "altitude spike", ())
    # .6884: CAS 200 kt at 40,000 ft, less .5.
    assert excess == pytest.approx(0.1884 - 0.0112, abs=0.02)


def test_missing_and_impossible_values_are_no_suspects(judged):
    analysis = judged([200, np.nan, 200, 1500, 200, -9999, 200])
    assert analysis.suspects == ()


def test_stretches_of_doubt(judged):
    # The judged source is over for eight seconds, the other nowhere near.
    kt = np.full(20, 200.0)
    kt[6:14] = [240, 255, 262, 264, 262, 258, 255, 240]
    analysis = judged(kt, calibrated_airspeed_2=200.0)
    assert analysis.exceedances == ()
    assert listed(analysis) == [("VMO", 7, 12, 9, 14.0, "sources disagree",
                                 ("calibrated_airspeed_2",))]
    assert analysis.screened == {"airspeed sources disagree": 8}


def test_a_frozen_airspeed_over_the_limit(judged):
    kt = np.concatenate([np.linspace(240, 255, 20), np.full(60, 255.0), np.full(5, 200.0)])
    mach = np.concatenate([np.linspace(240, 255, 20), np.linspace(255, 200, 60),
                           np.full(5, 200.0)]) / 661.48 / 0.9123
    analysis = judged(kt, mach=mach)
    ((limit, start, end, _, excess, reason, by),) = listed(analysis)
    assert (limit, start, end, excess, reason, by) == ("VMO", 19, 79, 5.0, "frozen", ("mach",))
    # What came before was recorded while it moved.
    (one,) = analysis.exceedances
    assert one.ended_by == "channel lost"


def test_only_the_limit_that_lost_its_verdict_has_suspects(judged):
    # The altitude is in doubt, the airspeed isn't: VMO has its exceedance, MMO its suspect.
    ft = np.full(8, 5000.0)
    ft[3] = 40000.0
    analysis = judged([260.0] * 8, ft)
    assert [one.limit for one in analysis.exceedances] == ["VMO"]
    assert [one.limit for one in analysis.suspects] == ["MMO"]


@pytest.mark.parametrize("samples", [2, 4, 12])
def test_an_excursion_of_several_samples_that_no_aircraft_flies_is_suspect(log, sheet, samples):
    rng = np.random.default_rng(samples)
    time = np.arange(400) / 4
    kt = 200 + 2 * np.sin(time / 7)
    kt[200 : 200 + samples] = rng.uniform(470, 495, samples)
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
    analysis = analyze(log(time, calibrated_airspeed=kt, pressure_altitude=9000.0), sheet(vmo))
    assert analysis.exceedances == ()
    assert [one.limit for one in analysis.suspects] == ["VMO"]
    assert analysis.screened["airspeed spike faster than plausible"] == samples


@pytest.mark.parametrize("every", [8, 20])
def test_the_stretch_between_two_corrupt_samples_is_no_excursion(log, sheet, every):
    kt = 255.0 + np.arange(400) % 2
    kt[20::every] = 400.0
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
    analysis = analyze(log(np.arange(400) / 4, calibrated_airspeed=kt, pressure_altitude=9000.0),
                       sheet(vmo))
    assert analysis.screened == {"airspeed spike faster than plausible": (kt == 400).sum()}
    assert (analysis.columns["state"] == 1).tolist() == (kt < 400).tolist()


def test_an_excursion_that_another_source_bears_out_counts(log, sheet):
    time = np.arange(400) / 4
    kt = np.full(400, 200.0) + 2 * np.sin(time / 7)
    kt[200:206] = 272.0 + np.arange(6) / 10
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
    flown = log(time, calibrated_airspeed=kt, calibrated_airspeed_2=kt - 1.0,
                pressure_altitude=9000.0)
    assert len(analyze(flown, sheet(vmo)).exceedances) == 1


def test_a_step_that_does_not_come_back_is_no_excursion(log, sheet):
    time = np.arange(400) / 4
    kt = np.where(time < 50, 200.0, 272.0) + 2 * np.sin(time / 7)
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
    assert len(analyze(log(time, calibrated_airspeed=kt, pressure_altitude=9000.0),
                       sheet(vmo)).exceedances) == 1


@pytest.mark.parametrize("engine", ["compiled", "arrays"])
def test_an_excursion_is_found_wherever_the_blocks_end(engine, log, sheet, choose_engine):
    choose_engine(engine, block=32)
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
    time = np.arange(150) / 4
    for start in (1, *range(55, 100), 145):
        for name, value, reason in (("calibrated_airspeed", 480.0, "airspeed"),
                                    ("pressure_altitude", 31000.0, "pressure altitude")):
            channels = {"calibrated_airspeed": 240 + 2 * np.sin(time),
                        "pressure_altitude": 9000 + 20 * np.sin(time)}
            channels[name][start : start + 4] = value
            analysis = analyze(log(time, **channels), sheet(vmo))
            assert analysis.exceedances == ()
            assert analysis.screened == {f"{reason} spike faster than plausible": 4}
            assert np.isnan(analysis.columns["margin_kt"][start : start + 4]).all()
            assert np.isnan(analysis.columns["margin_kt"]).sum() == 4


@pytest.mark.parametrize("which", ["compiled", "arrays"])
def test_an_excursion_is_found_though_no_block_holds_both_its_ends(
        which, log, sheet, vmo, choose_engine):
    """Blocks of 32 samples look a frame further on either side: 3 samples of 4 Hz here."""
    choose_engine(which, block=32)
    time = np.arange(150) / 4
    kt = 240 + 2 * np.sin(time)
    kt[57:73] = 480.0
    analysis = analyze(log(time, calibrated_airspeed=kt, pressure_altitude=9000.0), sheet(vmo),
                       settings=Settings(lost_frame_s=0.5))
    assert analysis.exceedances == ()
    assert analysis.screened == {"airspeed spike faster than plausible": 16}


def test_a_frame_without_synchronisation_over_the_limit_is_suspect(log, sheet, vmo):
    """Two instants at which airspeed and altitude are impossible put 4 s about them in doubt."""
    kt, ft = np.full(40, 260.0), np.full(40, 9000.0)
    kt[[20, 22]], ft[[20, 22]] = 1500.0, 90000.0
    analysis = analyze(log(range(40), calibrated_airspeed=kt, pressure_altitude=ft), sheet(vmo))
    assert {one[5:] for one in listed(analysis)} == {("synchronisation lost", ())}
    assert [one[1:3] for one in listed(analysis)] == [(18.0, 19.0), (21.0, 21.0), (23.0, 24.0)]


def test_the_worst_sample_of_a_doubted_stretch_gives_its_reason(log, sheet, vmo):
    """The judged source is over for 20 s, most of all at 30 s, and the other nowhere near."""
    kt = np.full(60, 240.0)
    kt[20:40] = 262.0
    kt[30] = 264.0
    analysis = analyze(log(range(60), calibrated_airspeed=kt, pressure_altitude=9000.0,
                           calibrated_airspeed_2=240.0), sheet(vmo))
    assert listed(analysis) == [("VMO", 20, 39, 30, 14.0, "sources disagree",
                                 ("calibrated_airspeed_2",))]


@pytest.mark.parametrize(("step_s", "stretches"), [(1.5, 1), (1.6, 2)])
def test_a_gap_parts_two_stretches_of_doubt(log, sheet, vmo, step_s, stretches):
    time = np.arange(20.0)
    time[10:] += step_s - 1.0
    second = np.where((np.arange(20) > 2) & (np.arange(20) < 17), 300.0, 264.0)
    flight = log(time, calibrated_airspeed=264.0, calibrated_airspeed_2=second,
                 pressure_altitude=5000.0)
    assert len(analyze(flight, sheet(vmo)).suspects) == stretches


VFE = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
       "when": {"flap_deg": {"above": 1, "up_to": 20}}}


def flaps_out_once(log, airspeed_kt):
    """A minute at one airspeed; one sample of the flaps is out."""
    flap = np.zeros(60)
    flap[30] = 15.0
    return log(np.arange(60.0), calibrated_airspeed=airspeed_kt, pressure_altitude=5000.0,
               flap=flap)


@pytest.mark.parametrize("over_kt", [0.5, 4.0])
def test_an_outlier_of_the_flaps_at_a_speed_just_over_their_limit_is_suspect(
        log, sheet, vmo, over_kt):
    flight = flaps_out_once(log, 180.0 + over_kt)
    (one,) = analyze(flight, sheet(vmo, VFE)).suspects
    assert (one.limit, one.time_s, one.excess) == ("VFE", 30.0, pytest.approx(over_kt))


@pytest.mark.parametrize(("over_kt", "count"), [(0.0, 0), (1.0, 0), (3.0, 1)])
def test_what_is_within_the_tolerance_is_no_suspect(log, sheet, vmo, over_kt, count):
    flight = flaps_out_once(log, 180.0 + over_kt)
    found = analyze(flight, sheet(vmo, VFE), settings=Settings(tolerance_kt=2.0)).suspects
    assert len(found) == count
