"""Uncertainty of speeds and margins: hand-worked, against Monte Carlo, and at every sample."""

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.air import airspeed, atmosphere, probes, sensitivity
from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.sensor_tolerances import WIDEST
from loganalyze.simulate import pressures
from loganalyze.uncertainty import propagation
from loganalyze.uncertainty.error_budget import AIRSPEED, ALTITUDE, STATIC
from loganalyze.uncertainty.near_misses import near_misses
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 260.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.62}
NOTHING = {"standard": 0.0}
SILENT = {**dict.fromkeys(
    ("airspeed", "pressure_altitude", "temperature", "static_source", "position_correction",
     "displayed_airspeed", "displayed_altitude"), NOTHING),
    "display_quantum_kt": 0.0, "display_quantum_mach": 0.0, "display_lag_s": 0.0, "skew_s": 0.0,
    "airspeed_resolution_kt": 0.0, "altitude_resolution_ft": 0.0,
    "temperature_resolution_degc": 0.0}
"""A sheet's [uncertainty] in which nothing errs."""


def log_of(time, resolution=None, **channels) -> FlightLog:
    stamps = np.asarray(time, dtype=float)
    kept = {}
    for name, values in channels.items():
        unit = CHANNELS[name].unit
        column = np.broadcast_to(np.asarray(values, dtype=float), stamps.shape)
        kept[name] = Channel(column * unit.factor + unit.offset, interval_s=stamps[1] - stamps[0],
                             resolution=(resolution or {}).get(name, np.nan) * unit.factor)
    return FlightLog(stamps, kept, Source(Path("made.csv")), interval_s=stamps[1] - stamps[0])


def sheet_of(*limits, uncertainty=None, recorded="calibrated", temperature="static", **more):
    stated = {"aircraft": "an invented twin", "airspeed": {"recorded": recorded, **more},
              "temperature": {"outside_air": temperature} | (
                  {"recovery_factor": 0.8} if temperature == "probe" else {}),
              "limit": list(limits)}
    if uncertainty is not None:
        stated["uncertainty"] = {**SILENT, **uncertainty}
    return LimitsSheet.model_validate(stated)


def level(cas, height, sat=-30.0, limits=(VMO, MMO), resolution=None, recorded="calibrated",
          **uncertainty):
    log = log_of(np.arange(5.0), resolution, pressure_altitude=height,
                 static_air_temperature=sat, **{f"{recorded}_airspeed": cas})
    return uncertainty_of(analyze(log, sheet_of(*limits, recorded=recorded,
                                                uncertainty=uncertainty)))


def test_nothing_errs_nothing_is_uncertain():
    for name, column in level(250, 25000).columns.items():
        assert column.tolist() == [0.0] * 5, name


def test_by_hand_at_250_kt_and_25000_ft():
    # Computed in closed form for u = 3 kt, 100 ft, 2 degC: u(M) .00699, u(TAS) 4.48 kt in ISA.
    isa = float(atmosphere.temperature(25000 * FOOT)) - 273.15
    columns = level(250, 25000, isa, airspeed={"standard": 3}, pressure_altitude={"standard": 100},
                    temperature={"standard": 2}).columns
    assert columns["mach_u"][2] == pytest.approx(0.00699, abs=8e-6)
    assert columns["true_airspeed_u_kt"][2] == pytest.approx(4.48, abs=0.008)
    assert columns["calibrated_airspeed_u_kt"][2] == pytest.approx(3)
    # MMO .62 governs; its margin in Mach errs as Mach does.
    assert columns["margin_u_mach"][2] == pytest.approx(0.00699, abs=8e-6)


def test_a_static_source_moves_airspeed_and_altitude_together():
    # Computed in closed form: 1 kt comes with 53 ft, Mach moves .00294, not the .00238 of a root
    # sum of squares; and a margin to a CAS limit moves by the knot alone.
    columns = level(250, 25000, static_source={"standard": 1}).columns
    assert columns["mach_u"][2] == pytest.approx(0.00294, abs=8e-6)
    assert columns["calibrated_airspeed_u_kt"][2] == pytest.approx(1)
    apart = level(250, 25000, airspeed={"standard": 1}, pressure_altitude={"standard": 53}).columns
    assert apart["mach_u"][2] == pytest.approx(0.00238, abs=8e-6)
    low = level(250, 5000, static_source={"standard": 1}).columns
    assert low["margin_u_kt"][2] == pytest.approx(1)


def test_percent_and_tables_follow_the_reading():
    assert level(200, 5000, airspeed={"limits": 3, "per_cent": True}).columns[
        "margin_u_kt"][0] == pytest.approx(6 / np.sqrt(3), rel=5e-3)
    assert level(75, 5000, airspeed={"limits_table": [[50, 5], [100, 3]]}).columns[
        "margin_u_kt"][0] == pytest.approx(4 / np.sqrt(3), rel=5e-3)


def test_the_recorders_steps():
    found = level(250, 5000, resolution={"calibrated_airspeed": 1.0}, airspeed_resolution_kt=None)
    assert found.columns["margin_u_kt"][0] == pytest.approx(1 / np.sqrt(12))
    model = found.at(0, np.array([2]))
    assert model.flown_random.tolist() == model.displayed_random.tolist()
    assert model.flown_random[0] == pytest.approx(1 / np.sqrt(12))
    assert model.flown_common[0] == 0
    stated = level(250, 5000, resolution={"calibrated_airspeed": 1.0}, airspeed_resolution_kt=2.0)
    assert stated.at(0, np.array([2])).flown_random[0] == pytest.approx(2 / np.sqrt(12))


def test_the_steps_of_recorder_and_display_are_told_apart():
    # The recorder's alone may leave a level on one step; the display's count as displayed.
    found = level(250, 5000, resolution={"calibrated_airspeed": 2.0}, display_quantum_kt=1.0,
                  airspeed_resolution_kt=None, airspeed={"standard": 3})
    model = found.at(0, np.array([2]))
    assert model.rounding[0] == pytest.approx(2 / np.sqrt(12))
    assert model.flown_random[0] == pytest.approx(2 / np.sqrt(12))
    rows = np.array([2])
    inputs = found.inputs_of(0, rows)
    assert found.parts(0, rows, inputs, flown=False)["display_quantum"] == pytest.approx(1 / 12)
    assert "display_quantum" not in found.parts(0, rows, inputs, flown=True)


def test_an_airspeed_from_mach_errs_as_the_mach_number_does():
    # .002 of Mach and steps of .01, at 240 to 250 kt and 25,000 ft.
    mach = airspeed.mach_from_cas(np.linspace(240, 250, 11) * KNOT, 25000 * FOOT)
    log = log_of(np.arange(11.0), {"mach": 0.01}, mach=mach, pressure_altitude=25000)
    stated = {"mach": {"standard": 0.002}, "airspeed": None, "airspeed_resolution_kt": None,
              "pressure_altitude": NOTHING}
    found = uncertainty_of(analyze(log, sheet_of(VMO, MMO, from_mach=True, uncertainty=stated)))
    model = found.at(0, np.array([10]))
    in_kt = 1 / (sensitivity.mach_by_cas(250 * KNOT, 25000 * FOOT) * KNOT)
    assert model.flown_common[0] == pytest.approx(0.002 * in_kt, rel=0.03)
    assert model.flown_random[0] == pytest.approx(0.01 / np.sqrt(12) * in_kt, rel=0.03)


def test_an_airspeed_from_mach_errs_at_each_airspeed_by_the_height_it_was_flown_at():
    # .002 of Mach at 205 kt and 5,000 ft, at 245 kt and 35,000 ft; 15 kt on the ground count not.
    kt = np.repeat([15.0, 205.0, 245.0], 5)
    feet = np.repeat([0.0, 5000.0, 35000.0], 5)
    mach = airspeed.mach_from_cas(kt * KNOT, feet * FOOT)
    log = log_of(np.arange(15.0), mach=mach, pressure_altitude=feet)
    stated = {"mach": {"standard": 0.002}, "airspeed": None, "pressure_altitude": NOTHING}
    found = uncertainty_of(analyze(log, sheet_of(VMO, from_mach=True, uncertainty=stated)))
    in_kt = 0.002 / (sensitivity.mach_by_cas(kt * KNOT, feet * FOOT) * KNOT)
    assert in_kt[12] < 0.7 * in_kt[7]
    for row in (7, 12):
        assert found.at(0, np.array([row])).flown_common[0] == pytest.approx(in_kt[row], rel=0.01)


def test_pressures_err_by_their_own_steps():
    # 10 Pa steps of impact pressure and 20 Pa of static pressure, at 250 kt and 25,000 ft.
    impact = pressures.impact_pressure(250 * KNOT)
    static = pressures.static_pressure(25000 * FOOT)
    log = log_of(np.arange(5.0), {"impact_pressure": 0.1, "static_pressure": 0.2},
                 impact_pressure=impact / 100, static_pressure=static / 100)
    found = uncertainty_of(analyze(log, sheet_of(VMO, MMO, uncertainty={
        "airspeed_resolution_kt": None, "altitude_resolution_ft": None})))
    listed = {code: u for code, _, u in found.tolerances}
    slope = pressures.impact_pressure(251 * KNOT) - impact
    fall = static - pressures.static_pressure(25001 * FOOT)
    assert listed["airspeed_resolution"] == pytest.approx(10 / np.sqrt(12) / slope, rel=0.02)
    assert listed["altitude_resolution"] == pytest.approx(20 / np.sqrt(12) / fall, rel=0.02)


def test_what_varies_from_sample_to_sample_is_not_common():
    model = level(250, 5000, airspeed={"standard": 1, "varies": "sample"},
                  static_source={"standard": 2}).at(0, np.array([0]))
    assert (model.flown_random[0], model.flown_common[0]) == pytest.approx((1, 2))


def climbing(limits=(VMO, MMO), cas=230.0, feet_a_second=40.0, gaining=0.0, **uncertainty):
    time = np.arange(0.0, 20.0, 0.5)
    log = log_of(time, calibrated_airspeed=cas + gaining * time,
                 pressure_altitude=24000 + feet_a_second * time)
    return uncertainty_of(analyze(log, sheet_of(*limits, uncertainty=uncertainty)))


def test_skew_errs_by_the_rate_of_climb():
    # Half a second late at most in a climb of 40 ft/s: 20 ft either way, rectangular.
    skewed = climbing(skew_s=0.5).columns["mach_u"]
    stated = climbing(pressure_altitude={"limits": 20}).columns["mach_u"]
    assert skewed == pytest.approx(stated, rel=1e-4)
    # Where the sheet says nothing it may be up to one sample.
    assert climbing(skew_s=None).columns["mach_u"] == pytest.approx(stated, rel=1e-4)
    model = climbing(skew_s=0.5).at(1, np.array([20]))
    assert model.flown_common[0] == pytest.approx(skewed[20], rel=1e-3)


@pytest.mark.parametrize("lag_s", [0.5, 1.0])
def test_the_display_lags_by_the_rate_of_closing(lag_s):
    # Closing at 1 kt/s, up to half a second late: half a knot either way.
    columns = climbing((VMO,), feet_a_second=0.0, gaining=1.0, display_lag_s=lag_s).columns
    assert columns["margin_displayed_u_kt"] == pytest.approx(lag_s / np.sqrt(3), rel=1e-4)
    assert columns["margin_u_kt"].tolist() == [0.0] * 40


@pytest.mark.parametrize("block", [8, 32768])
def test_a_limit_that_begins_to_apply_is_no_closing_to_lag_behind(block, monkeypatch):
    # VFE takes 80 kt off the margin at once; the display has nothing to catch up with but 1 kt/s.
    monkeypatch.setattr(propagation, "BLOCK", block)
    time = np.arange(0.0, 40.0, 0.5)
    vfe = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
           "when": {"flap_deg": {"above": 2, "up_to": 20}}}
    log = log_of(time, calibrated_airspeed=170.0 - time, pressure_altitude=3000.0,
                 flap=np.where((time > 10) & (time < 25), 15.0, 0.0))
    found = uncertainty_of(analyze(log, sheet_of(VMO, vfe, uncertainty={"display_lag_s": 0.5})))
    assert found.columns["margin_displayed_u_kt"] == pytest.approx(0.5 / np.sqrt(3), rel=1e-4)
    exact = found._exactly(np.arange(80), found.analysis.columns["governing_limit"])
    assert exact["margin_displayed_u_kt"] == pytest.approx(0.5 / np.sqrt(3), rel=1e-4)


def test_a_sample_alone_has_no_rate_and_needs_none_without_skew_and_lag():
    time = np.array([0.0, 1, 2, 60, 120, 121, 122])
    cas, height = np.full(7, 250.0), np.full(7, 25000.0)
    cas[[2, 4]] = height[[2, 4]] = np.nan
    for skew in (0.0, 0.5):
        log = log_of(time, calibrated_airspeed=cas, pressure_altitude=height)
        columns = uncertainty_of(analyze(log, sheet_of(VMO, MMO, uncertainty={
            "airspeed": {"standard": 1}, "skew_s": skew}))).columns
        assert np.isfinite(columns["mach_u"][3]) == (skew == 0.0)
        assert np.isnan(columns["mach_u"][2])


def test_two_findings_are_kept_apart():
    found = level(250, 5000, displayed_airspeed={"standard": 1}, display_quantum_kt=1.0,
                  airspeed={"standard": 2}, static_source={"standard": 1})
    model = found.at(0, np.array([0]))
    assert model.displayed[0] == pytest.approx(np.sqrt(1 + 1 / 12))
    # The recorder may be the one of the two that is off; the display's steps are no air data.
    assert model.flown[0] == pytest.approx(np.sqrt(1 + 4 + 1))
    columns = found.columns
    assert columns["margin_displayed_u_kt"][0] == pytest.approx(np.sqrt(1 + 1 / 12))
    assert columns["margin_u_kt"][0] == pytest.approx(np.sqrt(6))


def test_as_flown_is_never_surer_by_default():
    # At rates that are flown: the display's lag, which only the crew meets, grows with the rate.
    rows = 2400
    log = log_of(np.arange(float(rows)), calibrated_airspeed=np.linspace(60, 300, rows),
                 pressure_altitude=np.linspace(1000, 39000, rows), static_air_temperature=-30.0)
    columns = uncertainty_of(analyze(log, sheet_of(VMO, MMO))).columns
    inside = slice(1, -1)
    assert (columns["margin_u_kt"] > columns["margin_displayed_u_kt"])[inside].all()


def test_a_limit_published_as_indicated_does_not_feel_the_position_error():
    indicated = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 255.0}
    found = level(250, 5000, limits=(indicated, VMO), position_correction={"standard": 3},
                  static_source={"standard": 1}, airspeed={"standard": 2})
    assert found.at(0, np.array([0])).flown[0] == pytest.approx(np.sqrt(5))
    assert found.at(1, np.array([0])).flown[0] == pytest.approx(np.sqrt(14))
    # The indicated limit governs.
    assert found.columns["margin_u_kt"][0] == pytest.approx(np.sqrt(5))
    assert found.columns["calibrated_airspeed_u_kt"][0] == pytest.approx(np.sqrt(14))


def test_a_margin_to_a_true_airspeed_limit_in_knots_and_in_mach():
    limit = {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 380.0}
    height, kelvin = 25000 * FOOT, 243.15
    tas, mach = (np.array([function(cas * KNOT) for cas in (249.9, 250.1)]) for function in (
        lambda cas: airspeed.tas_from_cas(cas, height, kelvin),
        lambda cas: airspeed.mach_from_cas(cas, height)))
    tas_per_kt, mach_per_kt = float(np.diff(tas)[0] / KNOT / 0.2), float(np.diff(mach)[0] / 0.2)
    # 3 kt of CAS are 3 kt of margin; 4 K move the speed by TAS / 2T each.
    for stated, in_kt in (({"airspeed": {"standard": 3}}, 3.0),
                          ({"temperature": {"standard": 4}},
                           4 * tas.mean() / KNOT / 2 / kelvin / tas_per_kt)):
        columns = level(250, 25000, limits=(limit,), **stated).columns
        assert columns["margin_u_kt"][2] == pytest.approx(in_kt, rel=2e-3)
        assert columns["margin_u_mach"][2] == pytest.approx(in_kt * mach_per_kt, rel=2e-3)
        assert columns["margin_displayed_u_kt"][2] == pytest.approx(0.0, abs=1e-6)
    shown = level(250, 25000, limits=(limit,), displayed_airspeed={"standard": 2}).columns
    assert shown["margin_displayed_u_kt"][2] == pytest.approx(2.0, rel=2e-3)


def test_an_altitude_corrected_by_its_own_means_does_not_move_with_the_position_error():
    log = log_of(np.arange(5.0), calibrated_airspeed=250, pressure_altitude=25000)
    stated = {"position_correction": {"standard": 1}}
    together = uncertainty_of(analyze(log, sheet_of(MMO, uncertainty=stated)))
    apart = uncertainty_of(analyze(log, sheet_of(MMO, uncertainty=stated,
                                                 static_source_corrected=True)))
    assert together.columns["mach_u"][0] == pytest.approx(0.00294, abs=8e-6)
    assert apart.columns["mach_u"][0] == pytest.approx(0.002295, abs=8e-6)


def test_without_a_correction_the_position_error_itself_counts():
    log = log_of(np.arange(5.0), indicated_airspeed=250, pressure_altitude=5000)
    given = [[50, 1], [400, 2]]
    bare = uncertainty_of(analyze(log, sheet_of(VMO, recorded="indicated")))
    tabled = uncertainty_of(analyze(log, sheet_of(VMO, recorded="indicated",
                                                  position_correction=given)))
    widest = uncertainty_of(analyze(log, sheet_of(VMO, recorded="indicated")), WIDEST)
    sizes = [{code: u for code, _, u in one.tolerances}["position_correction"]
             for one in (widest, bare, tabled)]
    assert sizes == pytest.approx([7.5 / np.sqrt(3), 3.4 / np.sqrt(3), 1 / np.sqrt(3)])
    assert "25.1323(c)" in next(s for code, s, _ in widest.tolerances
                                if code == "position_correction")


def test_every_tolerance_is_listed_with_its_source():
    found = level(250, 25000, resolution={"calibrated_airspeed": 0.25},
                  airspeed={"limits": 3, "source": "calibration"}, airspeed_resolution_kt=None,
                  instrument_correction={"standard": 0.5}, display_lag_s=None, skew_s=None)
    listed = {code: (source, u) for code, source, u in found.tolerances}
    assert listed["airspeed"] == ("calibration", pytest.approx(3 / np.sqrt(3)))
    assert listed["airspeed_resolution"][1] == pytest.approx(0.25 / np.sqrt(12))
    assert listed["instrument_correction"] == ("the limits sheet", pytest.approx(0.5))
    assert listed["skew"] == ("one sampling interval", pytest.approx(1 / np.sqrt(3)))
    assert listed["display_quantum"][1] == pytest.approx(
        found.budget.quantum_kt / np.sqrt(12))
    assert listed["display_lag"] == ("common practice, no source", pytest.approx(0.5 / np.sqrt(3)))
    assert {"altitude_resolution", "pressure_altitude", "temperature", "static_source",
            "position_correction", "displayed_airspeed", "displayed_altitude", "skew",
            "display_quantum", "display_quantum_mach"} <= set(listed)
    assert found.step.settings["airspeed"] == "calibration"


def test_an_altimeter_correction_errs_as_the_altitude_does():
    stated = level(250, 25000, altimeter_correction={"standard": 60})
    assert ("altimeter_correction", "the limits sheet", 60.0) in stated.tolerances
    same = level(250, 25000, pressure_altitude={"standard": 60}).columns
    assert stated.columns["mach_u"] == pytest.approx(same["mach_u"], rel=1e-6)
    assert stated.columns["mach_u"][0] > 0


LIMITS = [
    VMO, {"name": "by height", "quantity": "calibrated_airspeed",
          "by_pressure_altitude": [[0, 250], [40000, 210]]},
    {"name": "VD", "quantity": "equivalent_airspeed", "maximum_kt": 230.0},
    {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 380.0}, MMO,
    {"name": "MMO by height", "quantity": "mach",
     "by_pressure_altitude": [[0, 0.4], [40000, 0.8]]},
    {"name": "VI", "quantity": "indicated_airspeed", "maximum_kt": 255.0},
    {"name": "MI", "quantity": "indicated_mach", "maximum": 0.6},
]


def value_and_maximum(limit, speed, height, kelvin):
    """A limit's published value and maximum at CAS [m/s], height [m] and temperature [K]."""
    mach = pressures.mach_of(pressures.impact_pressure(speed) / pressures.static_pressure(height))
    tas = mach * pressures.sound_speed(kelvin)
    sigma = (pressures.static_pressure(height) / pressures.SEA_LEVEL_PRESSURE
             * pressures.SEA_LEVEL_TEMPERATURE / pressures.standard_temperature(height))
    eas = mach * pressures.sound_speed(pressures.standard_temperature(height)) * np.sqrt(sigma)
    value = {"calibrated_airspeed": speed / KNOT, "indicated_airspeed": speed / KNOT,
             "equivalent_airspeed": eas / KNOT, "true_airspeed": tas / KNOT,
             "mach": mach, "indicated_mach": mach}[limit["quantity"]]
    if "by_pressure_altitude" in limit:
        at, maximum = np.array(limit["by_pressure_altitude"]).T
        return value, np.interp(height / FOOT, at, maximum)
    return value, limit.get("maximum_kt", limit.get("maximum"))


@pytest.mark.parametrize("limit", LIMITS, ids=lambda one: one["name"])
@pytest.mark.parametrize(("cas", "height", "sat"), [
    (110, 3000, 12), (250, 10000, -2), (250, 25000, -30), (280, 35500, -52), (240, 39000, -60)])
def test_against_monte_carlo(limit, cas, height, sat):
    # JCGM 101:2008, 7: 40,000 draws of each input through relations written apart from the
    # engine's, a static source's error in the static pressure itself; u within 3 %.
    stated = {"airspeed": {"limits": 2, "per_cent": True}, "pressure_altitude": {"standard": 60},
              "temperature": {"limits": 2}, "static_source": {"standard": 1.5}}
    model = level(cas, height, sat, limits=(limit,), **stated).at(0, np.array([2]))
    rng = np.random.default_rng(1019)
    draws = 40_000
    speed = cas * KNOT * (1 + 0.02 * rng.uniform(-1, 1, draws))
    high = height * FOOT + rng.normal(0, 60 * FOOT, draws)
    moved = speed + rng.normal(0, 1.5 * KNOT, draws)
    wrong = pressures.impact_pressure(moved) - pressures.impact_pressure(speed)
    high = pressures.pressure_altitude(pressures.static_pressure(high) - wrong)
    kelvin = sat + 273.15 + rng.uniform(-2, 2, draws)
    value, maximum = value_and_maximum(limit, moved, high, kelvin)
    assert model.flown[0] == pytest.approx(np.std(maximum - value), rel=0.03)


def flown_about(rng, n=4000):
    """A log of all heights and speeds, slow, supersonic and missing samples among them."""
    height = np.interp(np.arange(n), [0, n // 3, n // 2, n - 1], [-500, 41000, 41000, 800])
    cas = np.interp(np.arange(n), [0, n // 8, n // 3, n // 2, 0.7 * n, n - 1],
                    [0, 150, 240, 330, 300, 90])
    cas[rng.random(n) < 0.01] = np.nan
    height[rng.random(n) < 0.01] = np.nan
    sat = 15 - 0.00198 * np.nan_to_num(height) + 5
    return log_of(np.arange(n) / 4, {"calibrated_airspeed": 0.25, "pressure_altitude": 4},
                  calibrated_airspeed=cas, pressure_altitude=height, static_air_temperature=sat)


def test_at_every_sample_as_exact_as_said():
    log = flown_about(np.random.default_rng(3))
    bend = {"name": "VB", "quantity": "calibrated_airspeed",
            "by_pressure_altitude": [[0, 240], [9000, 290]], "outside": "hold"}
    for limits in ((VMO, MMO), LIMITS, (bend, MMO)):
        found = uncertainty_of(analyze(log, sheet_of(*limits)))
        rows = np.arange(len(log))
        exact = found._exactly(rows, found.analysis.columns["governing_limit"])
        height = np.nan_to_num(found.analysis.columns["pressure_altitude_ft"])
        speed = found.analysis.columns["calibrated_airspeed_kt"]
        # Off the bends of the limit's and of the airspeed tolerance's tables.
        plain = (abs(height - 9000) > 30) & (speed >= 40) & (abs(speed - 99.5) > 1)
        for name, column in found.columns.items():
            assert np.isnan(column).tolist() == np.isnan(exact[name]).tolist(), name
            assert column[plain] == pytest.approx(exact[name][plain], rel=0.005, nan_ok=True), name
        of = {"margin_u_kt": "margin_kt", "margin_u_mach": "margin_mach", "mach_u": "mach",
              "true_airspeed_u_kt": "true_airspeed_kt",
              "calibrated_airspeed_u_kt": "calibrated_airspeed_kt",
              "margin_displayed_u_kt": "margin_kt"}
        for name, quantity in of.items():
            missing = np.isnan(found.analysis.columns[quantity])
            assert missing.any()
            assert np.isnan(found.columns[name])[missing].all(), name
            # A known value with nothing known beside it has no rate; there are few of those.
            assert np.isnan(found.columns[name])[~missing].mean() < 0.001, name


def test_no_shortcut_at_a_samples_edge():
    # The same flight in one log or with others before it: block edges leave no trace.
    log = flown_about(np.random.default_rng(5), 40_000)
    whole = uncertainty_of(analyze(log, sheet_of(VMO, MMO))).columns
    cut = slice(7000, 39_000)
    part = FlightLog(log.time[cut], {
        name: Channel(channel.values[cut], interval_s=0.25, resolution=channel.resolution)
        for name, channel in log.channels.items()}, log.source, interval_s=0.25)
    alone = uncertainty_of(analyze(part, sheet_of(VMO, MMO))).columns
    inside = slice(10, -10)
    for name, column in alone.items():
        assert column[inside] == pytest.approx(whole[name][cut][inside], rel=1e-5, nan_ok=True)


def test_a_missing_altitude_leaves_an_airspeed_limits_uncertainty():
    log = log_of(np.arange(5.0), calibrated_airspeed=250)
    model = uncertainty_of(analyze(log, sheet_of(VMO, MMO, uncertainty={
        "airspeed": {"standard": 1}, "static_source": {"standard": 1}})))
    assert model.at(0, np.array([2])).flown[0] == pytest.approx(np.sqrt(2))
    assert np.isnan(model.at(1, np.array([2])).flown[0])


def test_a_probe_that_feels_a_part_of_the_rise():
    log = log_of(np.arange(5.0), calibrated_airspeed=280, pressure_altitude=30000,
                 outside_air_temperature=-20)
    columns = uncertainty_of(analyze(log, sheet_of(VMO, temperature="probe", uncertainty={
        "temperature": {"standard": 1}, "airspeed": {"standard": 2}}))).columns
    rng = np.random.default_rng(8)
    speed = (280 + rng.normal(0, 2, 40_000)) * KNOT
    mach = airspeed.mach_from_cas(speed, 30000 * FOOT)
    static = probes.static_temperature(253.15 + rng.normal(0, 1, 40_000), mach, 0.8)
    spread = np.std(airspeed.tas_from_mach(mach, static)) / KNOT
    assert columns["true_airspeed_u_kt"][2] == pytest.approx(spread, rel=0.02)


def test_an_analysis_of_the_verdict_alone_has_no_columns():
    log = log_of(np.arange(5.0), calibrated_airspeed=250, pressure_altitude=5000)
    found = uncertainty_of(analyze(log, sheet_of(VMO), verdict_only=True))
    with pytest.raises(ValueError, match="verdict alone"):
        found.columns  # noqa: B018
    assert found.at(0, np.array([0])).flown[0] > 0


def test_the_budget_sums_what_it_is_asked_for():
    budget = level(250, 5000, airspeed={"standard": 3}, displayed_airspeed={"standard": 4},
                   static_source={"standard": 5, "varies": "sample"}).budget
    at = np.array([250.0])
    assert budget.variance(AIRSPEED, at, flown=True)[0] == 25
    assert budget.variance(AIRSPEED, at, flown=False)[0] == 16
    assert budget.variance(STATIC, at, flown=True, common=True)[0] == 0
    assert budget.variance(STATIC, at, flown=True, common=False)[0] == 25
    assert budget.variance(ALTITUDE, at, flown=True)[0] == 0
    # Where a limit is published as indicated the position error isn't felt; else it is.
    budget = level(250, 5000, airspeed={"standard": 3}, position_correction={"standard": 4}).budget
    felt = sum(budget.variance(moves, at, flown=True)[0] for moves in (AIRSPEED, STATIC))
    spared = sum(budget.variance(moves, at, flown=True, indicated=True)[0]
                 for moves in (AIRSPEED, STATIC))
    assert (felt, spared) == (25, 9)


def test_the_static_source_is_the_probes_own_relation():
    by = sensitivity.altitude_by_static_source(250 * KNOT, 25000 * FOOT)
    wrong = pressures.impact_pressure(251 * KNOT) - pressures.impact_pressure(249 * KNOT)
    here = pressures.static_pressure(25000 * FOOT)
    moved = pressures.pressure_altitude(here - wrong / 2) - pressures.pressure_altitude(
        here + wrong / 2)
    assert by == pytest.approx(moved / (2 * KNOT), rel=1e-4)


def test_a_rate_from_two_samples_between_losses():
    """Nothing is known a second to either side: the neighbour alone tells the rate of closing."""
    time = np.arange(0.0, 20.0, 0.25)
    cas = 240.0 + time
    cas[:40] = cas[42:] = np.nan
    log = log_of(time, calibrated_airspeed=cas, pressure_altitude=24000.0)
    found = uncertainty_of(analyze(log, sheet_of(VMO, uncertainty={"display_lag_s": 0.5})))
    assert found.columns["margin_displayed_u_kt"][40:42] == pytest.approx(
        0.5 / np.sqrt(3), rel=1e-4)


def test_beside_lost_samples_of_a_long_log_the_uncertainty_is_known():
    # In the middle of three blocks, where the rates of the rows about a gap are looked up.
    count = 3 * propagation.BLOCK
    kt = np.full(count, 240.0)
    kt[count // 2 : count // 2 + 3] = np.nan
    # The rate at the last row of the block.
    kt[2 * propagation.BLOCK - 1 + propagation.reach(0.25)] = np.nan
    log = log_of(np.arange(count) / 4, calibrated_airspeed=kt, pressure_altitude=np.linspace(
        5000, 25000, count))
    columns = uncertainty_of(analyze(log, sheet_of(VMO, MMO, uncertainty={
        "airspeed": {"standard": 1}, "skew_s": 0.5, "display_lag_s": 0.5}))).columns
    for name in ("margin_u_kt", "margin_displayed_u_kt", "mach_u"):
        assert np.isnan(columns[name]).sum() == 4
        assert (np.diff(columns[name][~np.isnan(kt)]) < 0.01).all()


VFE = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 200.0,
       "when": {"flap_deg": {"above": 10}}}
BY_ALTITUDE = {"name": "VMO table", "quantity": "calibrated_airspeed",
               "by_pressure_altitude": [[0, 240], [15000, 262], [40000, 230]]}
VTAS = {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 340.0}


def random_flight(seed):
    """A flight near its limits, with gusts, gaps, spikes, lost channels and moving flaps."""
    rng = np.random.default_rng(seed)
    count, interval = int(rng.integers(3, 6000)), float(rng.choice([0.125, 0.25, 1.0, 4.0]))
    time = np.arange(count) * interval
    knots = np.interp(time, np.sort(rng.uniform(0, time[-1] + 1, 9)), rng.uniform(20, 275, 9))
    knots = knots + rng.normal(0, rng.choice([0.1, 1.0]), count)
    feet = np.interp(time, np.sort(rng.uniform(0, time[-1] + 1, 7)), rng.uniform(-500, 42000, 7))
    flap = np.where(rng.random(count // 200 + 1) < 0.2, 15.0, 0.0)[np.arange(count) // 200]
    heat = 15.0 - 0.00198 * feet + rng.normal(0, 0.2, count)
    for values in (knots, feet, heat, flap):
        for start in rng.integers(0, count, rng.integers(0, 4)):
            values[start : start + rng.integers(1, 40)] = np.nan
    if seed % 5 == 0:
        knots[rng.integers(0, count, 3)] = 640.0  # supersonic high up
    kept = rng.random(count) > 0.001
    log = log_of(time[kept], {"pressure_altitude": 4.0, "calibrated_airspeed": 0.25},
                 pressure_altitude=np.round(feet / 4)[kept] * 4,
                 calibrated_airspeed=np.round(knots * 4)[kept] / 4,
                 static_air_temperature=heat[kept], flap=flap[kept])
    limits = [(VMO, MMO), (VMO, MMO, VFE), (BY_ALTITUDE, VFE), (BY_ALTITUDE, MMO, VTAS)][seed % 4]
    uncertainty = [None, {"static_source": {"standard": 2}, "skew_s": 1.0, "display_lag_s": 1.5},
                   {"airspeed": {"standard": 1, "per_cent": True}, "display_quantum_kt": 5.0}][
                       seed % 3]
    return analyze(log, sheet_of(*limits, uncertainty=uncertainty))


@pytest.mark.parametrize("seed", range(16))
def test_at_some_rows_the_columns_are_those_of_all_rows_to_the_bit(seed):
    found = uncertainty_of(random_flight(seed))
    count = len(found.analysis.log)
    rows = np.random.default_rng(seed).choice(count, count // 3)
    some = [found.columns.at(rows), found.columns.at(rows[:0])]
    assert list(some[0]) == list(found.columns)
    for name, values in found.columns.items():
        assert some[0][name].tobytes() == values[rows].tobytes()
        assert some[1][name].dtype == np.float32
    again = found.columns.at(rows)
    assert all(again[name].tobytes() == values.tobytes() for name, values in some[0].items())


@pytest.mark.parametrize("seed", range(24))
def test_no_margin_is_less_certain_than_its_bound(seed):
    found = uncertainty_of(random_flight(seed))
    analysis = found.analysis
    bounds = propagation.greatest(analysis, found.budget)
    of_rows = np.repeat(bounds, propagation.SCANNED, axis=1)[:, : len(analysis.log)]
    governing = analysis.columns["governing_limit"]
    rows = np.flatnonzero(governing < len(bounds))
    for name in ("margin_u_kt", "margin_displayed_u_kt"):
        assert not (found.columns[name][rows] > of_rows[governing[rows], rows]).any()
    # And what is computed exactly, of each limit whether it governs or not.
    for i, (flown, _, shown) in enumerate(found.in_kt(range(len(bounds)), rows)):
        assert not (np.fmax(flown, shown) > 1.02 * of_rows[i, rows]).any()


@pytest.mark.parametrize("seed", range(24))
def test_bounds_hide_no_near_stretch(seed, monkeypatch):
    analysis = random_flight(seed)
    found = near_misses(uncertainty_of(analysis))
    monkeypatch.setattr(propagation, "greatest", lambda analysis, budget: np.full(
        (len(analysis.sheet.limit), -(-len(analysis.log) // propagation.SCANNED)), np.inf))
    assert repr(found) == repr(near_misses(uncertainty_of(analysis)))
