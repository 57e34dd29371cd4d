"""Cross-checks: what two ways to one quantity differ by, with its sign."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze, assess_flight
from loganalyze.air import airspeed, atmosphere
from loganalyze.crosscheck import wind_triangle
from loganalyze.crosscheck.flight_checks import checks_of
from loganalyze.crosscheck.wind_triangle import TurnSettings, scale_error
from loganalyze.limits import limit_equivalents
from loganalyze.record.units import FOOT, KNOT
from loganalyze.testing import make_log, make_sheet
from loganalyze.text.language import check_text
from tests.crosscheck.turn_coverage import Cell, flown

SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0},
              {"name": "MMO", "quantity": "mach", "maximum": 0.7}]})


def judged(time, **channels):
    """Analyse channels given in SI."""
    time = np.asarray(time, dtype=float)
    kept = {name: Channel(np.array(np.broadcast_to(np.asarray(values, dtype=float), time.shape)))
            for name, values in channels.items()}
    return analyze(FlightLog(time, kept, Source(Path("made.csv")),
                             interval_s=float(np.median(np.diff(time)))), SHEET)


def test_a_channel_whose_uncertainty_is_known_nowhere_is_compared_without_a_verdict():
    # The airspeed is taken from the Mach number: what either is off by isn't known.
    time = np.arange(60.0)
    kept = {"mach": Channel(np.full(60, 0.4)), "true_airspeed": Channel(np.full(60, 130.0)),
            "pressure_altitude": Channel(np.full(60, 3000.0)),
            "static_air_temperature": Channel(np.full(60, 268.0))}
    sheet = SHEET.model_copy(update={"airspeed": SHEET.airspeed.model_copy(
        update={"from_mach": True})})
    flight = analyze(FlightLog(time, kept, Source(Path("made.csv")), interval_s=1.0), sheet)
    checks = checks_of(flight, {"mach_u": np.full(60, math.nan),
                                "true_airspeed_u_kt": np.full(60, math.nan)})
    assert [(one.code, one.consistent, one.values["samples"]) for one in checks] == [
        ("recorded_mach", None, 60), ("recorded_true_airspeed", None, 60)]
    assert all("allowed" not in one.values for one in checks)


def wandering(random, count, size, lasting_s):
    """A first-order autoregressive wind of a standard deviation and a correlation time."""
    keep = np.exp(-1.0 / lasting_s)
    steps = random.normal(0, size, count)
    wind = np.empty(count)
    wind[0] = steps[0]
    for i in range(1, count):
        wind[i] = keep * wind[i - 1] + np.sqrt(1 - keep**2) * steps[i]
    return wind


def turning(legs, speed_error_kt=0.0, warmth_error_k=0.0, variation_deg=0.0, noise_kt=0.0, seed=1,
            wander_kt=0.0, wander_s=60.0):
    """Fly a full turn on each (altitude ft, CAS kt, wind north, wind east [kt]) leg.

    The recorded airspeed and temperature read too high by the given errors.
    """
    random = np.random.default_rng(seed)
    pieces = []
    for altitude_ft, cas_kt, north, east in legs:
        psi = np.radians(np.arange(0, 361, 2.0))
        altitude = np.full(len(psi), altitude_ft * FOOT)
        warm = atmosphere.temperature(altitude) + 4.0
        tas = airspeed.tas_from_cas(cas_kt * KNOT, altitude, warm)
        true = psi + np.radians(variation_deg)
        winds = [wind * KNOT + random.normal(0, noise_kt * KNOT, len(psi))
                 + wandering(random, len(psi), wander_kt * KNOT, wander_s)
                 for wind in (north, east)]
        over_north, over_east = tas * np.cos(true) + winds[0], tas * np.sin(true) + winds[1]
        pieces.append({
            "pressure_altitude": altitude,
            "calibrated_airspeed": np.full(len(psi), (cas_kt + speed_error_kt) * KNOT),
            "static_air_temperature": warm + warmth_error_k,
            "heading": psi % (2 * np.pi),
            "track": np.arctan2(over_east, over_north) % (2 * np.pi),
            "ground_speed": np.hypot(over_north, over_east),
        })
    joined = {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}
    # Half an hour of straight flight between the turns isn't recorded.
    time = np.concatenate([np.arange(181) + 2000.0 * i for i in range(len(legs))])
    return judged(time, **joined)


def test_a_turn_tells_a_true_airspeed_error_from_wind():
    one = scale_error(turning([(10000, 250, 35, -20)], speed_error_kt=5.0))
    assert one.turns == 1
    # 5 kt of 255: dTAS/dV 1.1382 at 250 kt/10,000 ft ISA (computed), a little more 4 K warmer.
    assert one.reads_high_kt == pytest.approx(5 * 1.145, abs=0.05)
    assert one.scale == pytest.approx(-5 / 255, abs=5e-4)
    assert 0 < one.reads_high_u_kt < 0.05
    # The same in knots, at the turn's mean true airspeed as reconstructed.
    assert one.reads_high_u_kt / one.scale_u == pytest.approx(-one.reads_high_kt / one.scale)


def test_variation_is_told_apart_from_scale():
    one = scale_error(turning([(10000, 250, 35, -20)], variation_deg=11.0))
    assert one.heading_offset_deg == pytest.approx(11.0, abs=0.01)
    assert one.reads_high_kt == pytest.approx(0.0, abs=0.01)


def test_no_wind_is_needed_and_none_is_taken_for_an_error():
    for wind in ((0, 0), (60, 0), (0, -90)):
        one = scale_error(turning([(10000, 250, *wind)]))
        assert one.reads_high_kt == pytest.approx(0.0, abs=1e-6)


def test_turns_are_the_same_without_the_columns_of_speeds():
    analysis = turning([(10000, 250, 35, -20), (20000, 220, 10, 5)], speed_error_kt=5.0)
    analysis.log.channels["static_air_temperature"].values[100:130] = np.nan
    analysis = analyze(analysis.log, analysis.sheet)
    assert np.isnan(analysis.columns["true_airspeed_kt"]).sum() == 30
    bare = analyze(analysis.log, analysis.sheet, verdict_only=True)
    assert "true_airspeed_kt" not in bare.columns
    one, other = scale_error(analysis), scale_error(bare)
    assert (one.turns, one.samples, one.scale) == (other.turns, other.samples, other.scale)
    assert one.turns == 3, "half a minute without a temperature parts the first of two"


def test_noise_of_the_heading_neither_parts_a_turn_nor_looks_like_an_airspeed_error():
    """Half a degree in the heading made 40 turns read 1.1 kt too high on average."""
    rng = np.random.default_rng(8)
    found = [flown(Cell(heading_noise_deg=0.5), rng) for _ in range(40)]
    assert sum(one.turns > 1 for one in found) <= 4
    assert abs(np.mean([one.reads_high_kt for one in found])) < 0.45
    within = sum(abs(one.reads_high_kt) <= 1.96 * one.reads_high_u_kt for one in found)
    assert within >= 35


def test_turns_at_one_height_and_speed_are_not_split():
    one = scale_error(turning([(10000, 250, 35, -20), (10000, 250, 10, 5)], speed_error_kt=4.0))
    assert one.condition > 100
    assert np.isnan(one.airspeed_reads_high_kt)


def test_turns_far_apart_in_speed_are_split_where_the_settings_allow_it():
    analysis = turning([(2000, 130, 20, 0), (30000, 280, 70, 30), (12000, 230, 5, 5)],
                       speed_error_kt=4.0, warmth_error_k=3.0)
    one = scale_error(analysis, wind_triangle.TurnSettings(greatest_condition=1e3))
    assert one.condition < 1e3
    assert one.airspeed_reads_high_kt == pytest.approx(4.0, abs=0.1)
    assert one.temperature_reads_high_k == pytest.approx(3.0, abs=0.2)
    strict = scale_error(
        analysis, wind_triangle.TurnSettings(greatest_condition=one.condition * 0.99)
    )
    assert np.isnan(strict.airspeed_reads_high_kt)


def test_two_kelvin_equal_most_of_a_knot():
    # 2 K equal 0.95 kt at 250 kt and 10,000 ft (common practice, no source; and computed).
    analysis = turning([(10000, 250, 0, 0)])
    at = limit_equivalents.air_data_rows(analysis.evaluation.air, np.array([0]))
    standard = np.array([atmosphere.temperature(10000 * FOOT)])
    at = limit_equivalents.AirDataRows(
        at.rows, at.calibrated_airspeed, at.pressure_altitude, at.mach, standard,
        at.indicated_airspeed, at.indicated_altitude)
    by_speed, by_warmth = wind_triangle._sensitivities(at)
    assert by_speed[0] == pytest.approx(1.1382, abs=1e-4)
    assert by_warmth[0] / KNOT == pytest.approx(0.53795, abs=1e-4)
    assert 2 * by_warmth[0] / by_speed[0] / KNOT == pytest.approx(0.95, abs=0.006)


def test_the_stated_uncertainty_covers_what_noise_does():
    errors = []
    for seed in range(40):
        one = scale_error(turning([(15000, 240, 40, 25)], noise_kt=2.0, seed=seed))
        errors.append(one.reads_high_kt / one.reads_high_u_kt)
    # Forty draws of a unit normal: its spread lies within .7 to 1.35 (99 %, chi-squared).
    assert 0.7 < np.std(errors) < 1.35


@pytest.mark.parametrize("turns_flown", [1, 3])
@pytest.mark.parametrize(("wander_kt", "wander_s"), [(2.0, 60.0), (4.0, 120.0), (2.0, 300.0)])
def test_the_stated_uncertainty_covers_a_wind_that_wanders(wander_kt, wander_s, turns_flown):
    """A wind that changes by 2 kt over 60 s: 44 % were within 1.96 u of a constant one's fit."""
    found = [scale_error(turning([(10000, 250, 35, -20)] * turns_flown, noise_kt=0.5, seed=seed,
                                 wander_kt=wander_kt, wander_s=wander_s))
             for seed in range(60)]
    within = sum(abs(one.reads_high_kt) <= 1.96 * one.reads_high_u_kt for one in found)
    # 93 to 97 % of 60, widened by three standard deviations of a binomial count.
    assert within >= 50
    # And it isn't covered by saying nothing: the error's size is that stated.
    assert np.std([one.reads_high_kt for one in found]) > 0.6 * np.mean(
        [one.reads_high_u_kt for one in found])


def one_turn(interval_s=1.0, rate_deg_s=2.0, through_deg=360.0, climb_ft=0.0, error_kt=5.0,
             straight_s=60.0, lose=()):
    """Fly a level or climbing turn between two straight legs in 35 kt from the north."""
    lasting = through_deg / rate_deg_s
    time = np.arange(0.0, lasting + 2 * straight_s + 0.5 * interval_s, interval_s)
    time = np.delete(time, [int(one / interval_s) for one in lose])
    share = np.clip((time - straight_s) / lasting, 0.0, 1.0)
    psi = np.radians(20.0 + through_deg * share)
    altitude = (10000.0 + climb_ft * share) * FOOT
    warm = atmosphere.temperature(altitude) + 4.0
    tas = airspeed.tas_from_cas(250 * KNOT, altitude, warm)
    north, east = tas * np.cos(psi) - 35 * KNOT, tas * np.sin(psi)
    return judged(
        time, pressure_altitude=altitude, static_air_temperature=warm, heading=psi % (2 * np.pi),
        calibrated_airspeed=np.full(len(time), (250 + error_kt) * KNOT),
        track=np.arctan2(east, north) % (2 * np.pi), ground_speed=np.hypot(north, east))


@pytest.mark.parametrize(("interval_s", "samples"), [(0.25, 45), (1.0, 45), (4.0, 46), (8.0, 24)])
def test_a_turn_recorded_at_other_intervals(interval_s, samples):
    one = scale_error(one_turn(interval_s))
    assert one.turns == 1
    assert one.reads_high_kt == pytest.approx(5 * 1.145, abs=0.05)
    # The turn of 180 s, its ends included, at most 45 of them evenly.
    assert one.samples == min(samples, 45)


@pytest.mark.parametrize("straight_s", [60.3, 60.6])
def test_a_turn_that_begins_between_two_samples(straight_s):
    """Its first and last step are smaller than the others: no parabola fits them."""
    one = scale_error(one_turn(through_deg=180.0, straight_s=straight_s))
    assert one.reads_high_kt == pytest.approx(5 * 1.145, abs=0.05)


@pytest.mark.parametrize("interval_s", [0.25, 1.0, 4.0])
@pytest.mark.parametrize(("more", "counts"), [
    ({"climb_ft": 990.0}, True), ({"climb_ft": 1010.0}, False), ({"climb_ft": -1010.0}, False),
    ({"through_deg": 64.0}, True), ({"through_deg": 56.0}, False),
    ({"rate_deg_s": 0.55}, True), ({"rate_deg_s": 0.45}, False)])
def test_what_counts_as_a_turn_at_any_interval(interval_s, more, counts):
    found = scale_error(one_turn(interval_s, **more))
    assert (found is not None) == counts


def test_a_lost_sample_parts_a_turn_and_an_uneven_one_does_not():
    # 80 degrees; without the sample in its middle neither half goes through 60.
    assert scale_error(one_turn(through_deg=80.0)) is not None
    assert scale_error(one_turn(through_deg=80.0, lose=(80,))) is None
    assert scale_error(one_turn(4.0, through_deg=80.0, lose=(80,))) is None


def test_turns_to_either_side_are_two():
    left, right = one_turn(through_deg=-90.0, rate_deg_s=-2.0), one_turn(through_deg=90.0)
    assert scale_error(left).turns == scale_error(right).turns == 1
    assert scale_error(left).reads_high_kt == pytest.approx(
        scale_error(right).reads_high_kt, abs=0.05)


def test_without_track_or_without_a_turn_nothing_is_estimated():
    time = np.arange(0, 100.0)
    straight = {"pressure_altitude": 3000.0, "calibrated_airspeed": 100.0,
                "static_air_temperature": 270.0, "ground_speed": 120.0, "heading": 1.0}
    assert scale_error(judged(time, **straight)) is None
    assert scale_error(judged(time, **straight, track=1.0)) is None


def test_a_recorded_mach_number_is_compared_with_its_sign():
    time = np.arange(0, 100.0)
    altitude, speed = 7000.0, 130.0
    mach = float(airspeed.mach_from_cas(speed, altitude))
    analysis = judged(time, pressure_altitude=altitude, calibrated_airspeed=speed,
                      mach=mach + 0.004)
    u = {"mach_u": np.full(len(time), 0.003, dtype=np.float32)}
    (one,) = checks_of(analysis, u)
    assert (one.code, one.consistent) == ("recorded_mach", True)
    assert one.values["median_difference"] == pytest.approx(0.004, abs=1e-6)
    assert one.values["allowed"] == pytest.approx(0.006)
    (tight,) = checks_of(analysis, {"mach_u": u["mach_u"] / 2})
    assert tight.consistent is False
    (open_,) = checks_of(analysis, {})
    assert open_.consistent is None


def test_a_channel_that_contradicts_an_exceedance_is_not_consistent():
    # 64 kt for 8 s of an hour: by its median the recorded Mach number is consistent.
    time = np.arange(0, 3600.0)
    speed = np.full(len(time), 130.0)
    mach = airspeed.mach_from_cas(speed, 3000.0)
    speed[2000:2008] += 64 * KNOT
    analysis = judged(time, pressure_altitude=3000.0, calibrated_airspeed=speed, mach=mach)
    (one,) = assess_flight(analysis).checks
    assert abs(one.values["median_difference"]) < 1e-6
    assert (one.consistent, one.values["contradicted"]) == (False, 1)
    assert check_text.check(one).endswith("it contradicts 1 exceedance, as is said there.")
    with_none = checks_of(analysis, assess_flight(analysis).columns)
    assert with_none[0].consistent


def test_a_recorded_limit_pointer_is_compared_with_the_reconstructed_one():
    time = np.arange(0, 100.0)
    analysis = judged(time, pressure_altitude=3000.0, calibrated_airspeed=120.0,
                      limit_pointer=297.0 * KNOT)
    (one,) = checks_of(analysis, {"margin_u_kt": np.full(len(time), 2.0)})
    assert one.values["median_difference"] == pytest.approx(-3.0, abs=1e-4)
    assert one.consistent


def test_two_sources_are_compared_in_edge_units():
    time = np.arange(0, 100.0)
    analysis = judged(time, pressure_altitude=3000.0, pressure_altitude_2=3000.0 - 100 * FOOT,
                      calibrated_airspeed=120.0)
    (one,) = checks_of(analysis, {}, {"pressure_altitude": 50.0})
    assert one.values["median_difference"] == pytest.approx(100.0)
    assert one.consistent
    (wide,) = checks_of(analysis, {}, {"pressure_altitude": 30.0})
    assert wide.consistent is False


def test_turns_are_a_check_too():
    analysis = turning([(10000, 250, 35, -20)], speed_error_kt=5.0)
    u = {"true_airspeed_u_kt": np.full(len(analysis.time), 2.0)}
    (one,) = checks_of(analysis, u)
    assert (one.code, one.consistent) == ("turns", False)
    assert one.values["reads_high_kt"] > 5
    assert "airspeed_reads_high_kt" not in one.values


@pytest.mark.parametrize(("samples", "tells"), [(5, False), (9, False), (10, True)])
def test_a_few_samples_tell_nothing(samples, tells):
    analysis = judged(np.arange(samples), pressure_altitude=3000.0, calibrated_airspeed=120.0,
                      mach=0.4)
    (one,) = checks_of(analysis, {"mach_u": np.full(samples, 0.003)})
    assert (one.consistent is not None) == tells
    assert one.values["samples"] == samples


# Which turns count, and their fit by generalized least squares with whole covariance matrices and
# scipy's Student distribution.

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}


def turned(through_deg=180.0, rate_deg_s=2.0, climb_ft=0.0, hz=1.0, turns=1, noise_kt=0.0, seed=1,
           high_kt=5.0, straight_s=60.0, missing=()):
    """Turns at 240 kt and 10,000 ft, in a wind of 30 kt, with straight flight before and after."""
    rng = np.random.default_rng(seed)
    one = round(through_deg / rate_deg_s * hz)
    straight = round(straight_s * hz)
    moved = np.concatenate([np.zeros(straight), *[np.concatenate([
        np.full(one, rate_deg_s / hz), np.zeros(straight)])] * turns])
    heading = np.radians(20 + np.cumsum(moved))
    n = len(heading)
    time = np.arange(n) / hz
    climbed = climb_ft * np.cumsum(moved) / (through_deg * turns)
    ft = 10000 + climbed
    warm = atmosphere.temperature(ft * FOOT)
    tas = airspeed.tas_from_cas(np.full(n, 240 * KNOT), ft * FOOT, warm) / KNOT
    north = tas * np.cos(heading) + 30 + rng.normal(0, noise_kt, n)
    east = tas * np.sin(heading) - 10 + rng.normal(0, noise_kt, n)
    channels = {
        "calibrated_airspeed": 240 + high_kt, "pressure_altitude": ft,
        "static_air_temperature": warm - 273.15, "heading": np.degrees(heading) % 360,
        "track": np.degrees(np.arctan2(east, north)) % 360, "ground_speed": np.hypot(north, east)}
    return analyze(make_log(time, 1 / hz, **{name: values for name, values in channels.items()
                                             if name not in missing}), make_sheet(VMO))


@pytest.mark.parametrize(("flown", "counts"), [
    ({"through_deg": 58.0}, False), ({"through_deg": 64.0}, True),
    ({"rate_deg_s": 0.45, "through_deg": 90.0}, False),
    ({"rate_deg_s": 0.55, "through_deg": 90.0}, True),
    ({"rate_deg_s": -0.55, "through_deg": -90.0}, True),
    ({"climb_ft": 980.0}, True), ({"climb_ft": 1030.0}, False), ({"climb_ft": -1030.0}, False),
    ({"rate_deg_s": 0.45, "through_deg": 90.0, "hz": 4.0}, False),
    ({"rate_deg_s": 0.55, "through_deg": 90.0, "hz": 4.0}, True),
    ({"missing": ("ground_speed",)}, False), ({"missing": ("track",)}, False),
    ({"missing": ("heading",)}, False), ({"missing": ("static_air_temperature",)}, False),
])
def test_which_turns_count(flown, counts):
    found = scale_error(turned(**flown))
    assert (found is not None) == counts
    if found is not None:
        assert found.turns == 1
        assert found.reads_high_kt == pytest.approx(5 * 1.14, abs=0.1)


@pytest.mark.parametrize(("flown", "samples"), [
    ({}, 45), ({"hz": 4.0}, 45), ({"through_deg": 64.0}, 33),
    ({"through_deg": 64.0, "hz": 4.0}, 33), ({"turns": 3}, 135)])
def test_samples_are_a_second_apart_and_at_most_45_a_turn(flown, samples):
    found = scale_error(turned(**flown))
    assert found.samples == pytest.approx(samples, abs=1)
    assert found.turns == flown.get("turns", 1)


def test_a_turn_ends_at_a_gap_and_where_it_goes_the_other_way():
    there = turned(through_deg=100.0, turns=1, straight_s=0.0, high_kt=5.0)
    assert scale_error(there).turns == 1
    log = there.log
    parted = np.asarray(log.time) + np.where(np.arange(len(log)) >= 25, 5.0, 0.0)
    channels = {name: log.aligned(name) for name in log.channels}
    units = {"pressure_altitude": FOOT, "calibrated_airspeed": KNOT, "ground_speed": KNOT}
    kept = {name: values / units.get(name, 1.0) for name, values in channels.items()}
    kept |= {name: np.degrees(kept[name]) for name in ("heading", "track")}
    kept["static_air_temperature"] = kept["static_air_temperature"] - 273.15
    cut = analyze(make_log(parted, 1.0, **kept), make_sheet(VMO))
    assert scale_error(cut) is None  # two halves of 50 deg


GRID = [(0.0, 1.0), *((share, lasting) for share in (0.4, 0.8, 0.95, 0.99)
                      for lasting in (8.0, 25.0, 80.0, 250.0))]


@pytest.mark.parametrize(("turns", "noise_kt"), [(1, 1.0), (2, 3.0)])
def test_the_fit_by_whole_covariance_matrices(turns, noise_kt):
    """Each pair of the grid by itself, weighed by its restricted likelihood."""
    settings = TurnSettings(most_samples=18)
    analysis = turned(turns=turns, noise_kt=noise_kt)
    found = scale_error(analysis, settings)
    log = analysis.log
    first = [np.unique(np.linspace(59 + k * 150, 59 + k * 150 + 90, 18).round().astype(int))
             for k in range(turns)]
    rows, which = np.concatenate(first), np.repeat(np.arange(turns), 18)
    assert found.samples == len(rows)
    at = analysis.evaluation.air_data_at(rows)
    tas = airspeed.tas_from_mach(at.mach, at.temperature)
    psi = log.aligned("heading")[rows] + np.radians(found.heading_offset_deg)
    ground = log.aligned("ground_speed")[rows]
    track = log.aligned("track")[rows]
    own = np.eye(turns)[which]
    zero = np.zeros_like(own)
    design = np.block([
        [(tas * np.cos(psi))[:, None], (-tas * np.sin(psi))[:, None], own, zero],
        [(tas * np.sin(psi))[:, None], (tas * np.cos(psi))[:, None], zero, own]])
    wanted = np.concatenate([ground * np.cos(track) - tas * np.cos(psi),
                             ground * np.sin(track) - tas * np.sin(psi)])
    free = len(wanted) - design.shape[1]
    logs, means, spreads, freedoms = [], [], [], []
    apart = np.abs(np.subtract.outer(log.time[rows], log.time[rows]))
    together = np.equal.outer(which, which)
    for share, lasting in GRID:
        of_one = ((1 - share) * np.eye(len(rows)) + share * np.exp(-apart / lasting)) * together
        inverse = np.linalg.inv(np.kron(np.eye(2), of_one))
        normal = design.T @ inverse @ design
        fit = np.linalg.solve(normal, design.T @ inverse @ wanted)
        rest = wanted - design @ fit
        left = rest @ inverse @ rest
        logs.append(-np.linalg.slogdet(of_one)[1] - np.linalg.slogdet(normal)[1] / 2
                    - free / 2 * math.log(left))
        means.append(fit[0])
        spreads.append(math.sqrt(np.linalg.inv(normal)[0, 0] * left / (free - 2)))
        freedoms.append(np.inf if share == 0 else 2 * turns * (1 + 90 / lasting))
    weights = np.array([0.5, *[0.5 / 16] * 16]) * np.exp(np.array(logs) - max(logs))
    weights /= weights.sum()
    scale = weights @ means
    assert found.scale == pytest.approx(scale, rel=1e-4, abs=1e-9)

    def outside(half):
        inside = [stats.t.cdf((half - (mean - scale)) / u, df)
                  - stats.t.cdf((-half - (mean - scale)) / u, df)
                  for mean, u, df in zip(means, spreads, freedoms, strict=True)]
        return weights @ inside - 0.95

    half = optimize.brentq(outside, 0, 20 * max(spreads))
    assert found.scale_u == pytest.approx(half / 1.96, rel=0.01)
    assert found.reads_high_kt == pytest.approx(-scale * tas.mean() / KNOT, rel=1e-4)
