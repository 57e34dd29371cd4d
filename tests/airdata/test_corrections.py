"""Instrument and position error, and what a static source's error does to the altitude."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loganalyze import analyze

NAN = math.nan
UNDER, OVER, UNKNOWN = 0, 1, 2
FIVE = [[100, 5], [300, 5]]


@pytest.fixture
def taken(log, sheet, vmo):
    """The columns of one instant at 250 kt and FL250."""

    def take(kt=250.0, ft=25000.0, channel="indicated_airspeed", limits=(vmo,), flap=None,
             recorded="indicated", **airspeed):
        channels = {} if flap is None else {"flap": flap}
        flight = log([0.0], 1.0, **{channel: kt}, pressure_altitude=ft, **channels)
        analysis = analyze(flight, sheet(*limits, recorded=recorded, **airspeed))
        return {name: float(column[0]) for name, column in analysis.columns.items()}, {
            one.code for one in analysis.findings}

    return take


def test_a_static_source_error_moves_the_altitude_too(taken):
    # +5 kt at 250 kt and FL250: +269 ft, and Mach .6037 becomes .6185 (computed in closed form;
    # the speed alone would say .6151).
    columns, findings = taken(position_correction=FIVE)
    assert columns["calibrated_airspeed_kt"] == pytest.approx(255, abs=1e-4)
    assert columns["pressure_altitude_ft"] - 25000 == pytest.approx(269, abs=0.5)
    assert columns["mach"] == pytest.approx(0.6185, abs=5e-5)
    assert {"position_correction_applied", "static_source_coupling_applied"} <= findings
    columns, findings = taken()
    assert columns["mach"] == pytest.approx(0.6037, abs=5e-5)
    assert columns["pressure_altitude_ft"] == 25000
    assert "indicated_taken_as_calibrated" in findings


def test_a_corrected_static_source_leaves_the_altitude(taken):
    columns, findings = taken(position_correction=FIVE, static_source_corrected=True)
    assert columns["pressure_altitude_ft"] == 25000
    assert columns["mach"] == pytest.approx(0.6151, abs=5e-5)
    assert "static_source_coupling_applied" not in findings


def test_a_published_altimeter_table_wins_over_the_coupling(taken):
    # 30 ft at 200 kt and 110 ft at 300 kt: 70 ft at 250 kt.
    columns, findings = taken(position_correction=FIVE,
                              altimeter_correction=[[200, 30], [300, 110]])
    assert columns["pressure_altitude_ft"] == pytest.approx(25070, abs=2e-3)
    assert columns["calibrated_airspeed_kt"] == pytest.approx(255, abs=1e-4)
    assert "altimeter_correction_applied" in findings
    assert "static_source_coupling_applied" not in findings


def test_an_instrument_error_does_not_couple(taken):
    columns, findings = taken(instrument_correction=FIVE)
    assert columns["indicated_airspeed_kt"] == pytest.approx(255, abs=1e-4)
    assert columns["calibrated_airspeed_kt"] == pytest.approx(255, abs=1e-4)
    assert columns["pressure_altitude_ft"] == 25000
    assert "instrument_correction_applied" in findings


def test_the_instrument_error_goes_first(taken):
    # 200 + 10 = 210 kt; the position table gives 0 at 200 kt and 5 kt at 220: 2.5 kt at 210.
    columns, _ = taken(kt=200, instrument_correction=[[100, 10], [300, 10]],
                       position_correction=[[100, 0], [200, 0], [220, 5], [300, 5]],
                       static_source_corrected=True)
    assert columns["calibrated_airspeed_kt"] == pytest.approx(212.5, abs=1e-4)


@pytest.mark.parametrize(("flap", "cas"), [(0, 245), (1, 245), (1.2, 253), (20, 253), (30, NAN),
                                           (NAN, NAN), (None, NAN)])
def test_the_position_error_goes_by_flap(taken, flap, cas):
    by_flap = [{"flap_deg": {"up_to": 1}, "table": [[100, -5], [300, -5]]},
               {"flap_deg": {"above": 1, "up_to": 20}, "table": [[100, 3], [300, 3]]}]
    columns, _ = taken(position_correction=by_flap, flap=flap, static_source_corrected=True)
    assert columns["calibrated_airspeed_kt"] == pytest.approx(cas, abs=1e-4, nan_ok=True)
    assert columns["indicated_airspeed_kt"] == 250
    assert columns["state"] == (UNKNOWN if math.isnan(cas) else OVER if cas > 250 else UNDER)


def test_outside_its_table_a_correction_is_unknown(taken):
    vi = {"name": "VI", "quantity": "indicated_airspeed", "maximum_kt": 260}
    columns, findings = taken(kt=310, position_correction=FIVE, limits=(
        {"name": "VC", "quantity": "calibrated_airspeed", "maximum_kt": 260}, vi))
    assert math.isnan(columns["calibrated_airspeed_kt"])
    assert math.isnan(columns["mach"])
    assert (columns["state_0"], columns["state_1"]) == (UNKNOWN, OVER)
    assert "position_correction_applied" in findings


def test_indicated_limits_on_a_calibrated_recording(taken):
    # VMO 250 KIAS is 255 KCAS; 254 KCAS is 249 KIAS.
    vi = {"name": "VI", "quantity": "indicated_airspeed", "maximum_kt": 250}
    for kt, state in ((254, UNDER), (255, UNDER), (255.001, OVER), (256, OVER)):
        columns, findings = taken(kt=kt, channel="calibrated_airspeed", recorded="calibrated",
                                  limits=(vi,), position_correction=FIVE)
        assert columns["state_0"] == state
        assert columns["indicated_airspeed_kt"] == pytest.approx(kt - 5, abs=1e-4)
        assert columns["limit_airspeed_kt"] == pytest.approx(255, abs=1e-4)
        assert columns["limit_pointer_kt"] == pytest.approx(250, abs=1e-4)
        assert columns["pressure_altitude_ft"] == 25000
        assert "indicated_from_tables" in findings
    columns, findings = taken(kt=254, channel="calibrated_airspeed", recorded="calibrated",
                              limits=(vi,))
    assert columns["state_0"] == OVER
    assert "calibrated_taken_as_indicated" in findings


def test_a_calibrated_speed_beside_an_altitude_that_is_said_not_to_be_corrected(taken):
    columns, findings = taken(kt=255, channel="calibrated_airspeed", recorded="calibrated",
                              position_correction=FIVE, static_source_corrected=False)
    assert columns["pressure_altitude_ft"] - 25000 == pytest.approx(269, abs=0.5)
    assert columns["mach"] == pytest.approx(0.6185, abs=5e-5)
    assert "static_source_coupling_applied" in findings


def test_indicated_mach_is_that_of_the_uncorrected_readings(taken):
    mi = {"name": "MI", "quantity": "indicated_mach", "maximum": 0.61}
    mt = {"name": "MT", "quantity": "mach", "maximum": 0.61}
    # Indicated Mach is .6037, the true one .6185.
    columns, _ = taken(position_correction=FIVE, limits=(mi, mt))
    assert (columns["state_0"], columns["state_1"]) == (UNDER, OVER)


@pytest.mark.parametrize("kt", [-9999.0, 9999.0, 0.0, 999.0, NAN])
@pytest.mark.parametrize("ft", [-9999.0, 99999.0, 64000.0, NAN])
def test_corrections_survive_any_reading(taken, kt, ft):
    wide = [[0, 0], [300, 40], [1100, -40]]
    for channel in ("indicated_airspeed", "calibrated_airspeed"):
        for corrected in (None, True, False):
            columns, _ = taken(kt=kt, ft=ft, channel=channel, recorded=channel.split("_")[0],
                               position_correction=wide, static_source_corrected=corrected)
            assert columns["state"] in (UNDER, OVER, UNKNOWN)
            if not 0 <= kt <= 1000:
                assert columns["state"] == UNKNOWN
                assert math.isnan(columns["indicated_airspeed_kt"])


speeds = st.floats(60, 420)
quantities = st.sampled_from(["indicated_airspeed", "calibrated_airspeed", "equivalent_airspeed",
                              "true_airspeed", "mach", "indicated_mach"])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=200)
@given(
    quantity=quantities, kt=speeds, limit=st.floats(80, 380), mach=st.floats(0.2, 0.9),
    ft=st.floats(0, 45000), degc=st.floats(-70, 40), recorded=st.sampled_from(
        ["indicated", "calibrated"]),
    adds=st.lists(st.floats(-9, 9), min_size=4, max_size=4), corrected=st.booleans(),
    tie=st.sampled_from([None, 0.0, 1e-9, -1e-9, 1e-6, -1e-6]),
)
def test_the_margin_never_contradicts_the_published_quantity(
    log, sheet, quantity, kt, limit, mach, ft, degc, recorded, adds, corrected, tie
):
    """The limit as calibrated airspeed lies above the speed just where it isn't over."""
    stated = {"name": "L", "quantity": quantity,
              **({"maximum": mach} if "mach" in quantity else {"maximum_kt": limit})}
    table = [[at, add] for at, add in zip((0, 150, 300, 500), (0, *adds[1:]), strict=True)]
    page = sheet(stated, recorded=recorded, position_correction=table,
                      static_source_corrected=corrected)
    if tie is not None and quantity in ("calibrated_airspeed", "indicated_airspeed"):
        kt = limit * (1 + tie)
    flight = log([0.0], 1.0, **{f"{recorded}_airspeed": kt}, pressure_altitude=ft,
                      static_air_temperature=degc)
    case = analyze(flight, page).evaluation
    at = case.air_data_at(np.array([0]))
    equivalent = case.equivalent(page.limit[0], at)[0]
    speed = at.calibrated_airspeed[0]
    if math.isnan(equivalent - speed):
        return
    published = case.margin(page.limit[0], np.array([0]))[0]
    calibrated = (equivalent - speed) / (1852 / 3600)
    # Within rounding of zero either sign will do; the two never differ beyond it.
    assert published * calibrated >= 0 or min(abs(published), abs(calibrated)) < 1e-9
    state = analyze(flight, page).columns["state_0"][0]
    if state == OVER:
        assert calibrated < 1e-9
    else:
        assert calibrated > -2e-5  # the tolerance of the published quantity, in kt CAS


def test_a_correction_that_a_calibrated_airspeed_leaves_out_is_stated(log, sheet, vmo):
    """Both tables go by indicated airspeed, which such a log doesn't hold."""
    flight = log(range(60), calibrated_airspeed=240.0, pressure_altitude=5000.0)
    codes = {}
    for name, table in (("instrument_correction", [[50, 3], [400, 3]]),
                        ("altimeter_correction", [[50, 120], [400, 120]])):
        found = analyze(flight, sheet(vmo, **{name: table}))
        codes[name] = [one.code for one in found.findings if one.code.startswith(name)]
        assert found.columns["calibrated_airspeed_kt"][0] == pytest.approx(240.0)
        assert found.columns["pressure_altitude_ft"][0] == pytest.approx(5000.0)
    assert codes == {name: [f"{name}_not_for_calibrated"] for name in codes}
