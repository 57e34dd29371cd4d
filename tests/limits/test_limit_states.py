"""What is under, over, unknown and not applicable, together and for each limit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Channel, Problem, analyze
from loganalyze.air import airspeed

NAN = math.nan
UNDER, OVER, UNKNOWN, NOT_APPLICABLE = range(4)
VFE = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
       "when": {"flap_deg": {"above": 1, "up_to": 20}}}


def states(analysis, *names):
    return [analysis.columns[name].tolist() for name in names or ("state",)]


def test_over_goes_before_unknown_and_unknown_before_under(log, sheet, vmo):
    flight = log(range(4), calibrated_airspeed=[240, 260, 240, 260], pressure_altitude=5000,
                 flap=[0, 0, NAN, NAN])
    analysis = analyze(flight, sheet(vmo, VFE))
    assert states(analysis, "state_0", "state_1", "state") == [
        [UNDER, OVER, UNDER, OVER],
        [NOT_APPLICABLE, NOT_APPLICABLE, UNKNOWN, UNKNOWN],
        [UNDER, OVER, UNKNOWN, OVER],
    ]


def test_nothing_applies(log, sheet):
    flight = log(range(2), calibrated_airspeed=240, pressure_altitude=5000, flap=[0, 10])
    analysis = analyze(flight, sheet(VFE))
    assert states(analysis) == [[NOT_APPLICABLE, OVER]]
    assert analysis.columns["governing_limit"].tolist() == [255, 0]
    assert np.isnan(analysis.columns["limit_airspeed_kt"]).tolist() == [True, False]


@pytest.mark.parametrize("flap", [{}, {"flap": NAN}])
def test_a_dead_flap_channel_takes_away_vfe_and_never_vmo(log, sheet, vmo, flap):
    kt = [240, 250, 260, 200]
    flight = log(range(4), calibrated_airspeed=kt, pressure_altitude=5000, **flap)
    analysis = analyze(flight, sheet(vmo, VFE))
    assert states(analysis, "state_0", "state_1", "state") == [
        [UNDER, UNDER, OVER, UNDER], [UNKNOWN] * 4, [UNKNOWN, UNKNOWN, OVER, UNKNOWN]]
    assert [one.limit for one in analysis.exceedances] == ["VMO"]
    codes = {one.code for one in analysis.findings}
    assert ("condition_not_recorded" in codes) == (not flap)


@pytest.mark.parametrize("flap", [{}, {"flap": NAN}])
def test_nor_where_the_position_correction_goes_by_flap(log, sheet, flap):
    vmo = {"name": "VMO", "quantity": "indicated_airspeed", "maximum_kt": 250}
    mmo = {"name": "MMO", "quantity": "indicated_mach", "maximum": 0.5}
    stated = sheet(vmo, mmo, recorded="indicated", position_correction=[
        {"flap_deg": {"up_to": 1}, "table": [[100, 2], [300, 5]]}])
    flight = log(range(3), indicated_airspeed=[240, 250, 260], pressure_altitude=5000, **flap)
    analysis = analyze(flight, stated)
    # Both are judged as indicated, which needs no correction.
    assert states(analysis, "state_0", "state_1") == [[UNDER, UNDER, OVER], [UNDER] * 3]
    (one,) = analysis.exceedances
    assert (one.worst_value, one.limit_value) == pytest.approx((260, 250), abs=1e-9)
    assert math.isnan(one.worst_excess_kt)  # nobody knows the calibrated airspeed


def test_a_declared_state(log, sheet, vmo):
    flight = log(range(2), calibrated_airspeed=[170, 190], pressure_altitude=5000)
    # 10 degrees, in radians as inside.
    analysis = analyze(flight, sheet(vmo, VFE), declared={"flap": math.radians(10)})
    assert states(analysis, "state_1", "state") == [[UNDER, OVER]] * 2
    analysis = analyze(flight, sheet(vmo, VFE), declared={"flap": 0.0})
    assert states(analysis, "state_1", "state") == [[NOT_APPLICABLE] * 2, [UNDER] * 2]


def test_a_state_that_is_recorded_cannot_be_declared(log, sheet, vmo):
    flight = log(range(2), calibrated_airspeed=170, pressure_altitude=5000, flap=0)
    with pytest.raises(Problem, match='flap is declared, but the log records it in column "FLAP"'):
        analyze(flight, sheet(vmo, VFE), declared={"flap": 0.0})


def test_without_the_altitude_a_constant_airspeed_limit_is_judged_and_no_other(log, sheet, vmo,
                                                                               mmo):
    vd = {"name": "VD", "quantity": "equivalent_airspeed", "maximum_kt": 280}
    for altitude in ({"pressure_altitude": NAN}, {}):
        flight = log(range(3), calibrated_airspeed=[240, 250, 260], **altitude)
        analysis = analyze(flight, sheet(vmo, mmo, vd))
        assert states(analysis, "state_0", "state_1", "state_2", "state") == [
            [UNDER, UNDER, OVER], [UNKNOWN] * 3, [UNKNOWN] * 3, [UNKNOWN, UNKNOWN, OVER]]
        # The margin is that to the limits that can be judged; the pointer would show MMO, too.
        for name in ("limit_pointer_kt", "margin_mach", "mach"):
            assert np.isnan(analysis.columns[name]).all(), name
        assert analysis.columns["limit_airspeed_kt"].tolist() == [250] * 3
        assert analysis.columns["margin_kt"].tolist() == [10, 0, -10]
        assert analysis.columns["governing_limit"].tolist() == [0] * 3
        (one,) = analysis.exceedances
        assert one.worst_excess_kt == pytest.approx(10, abs=1e-9)
        assert one.worst_limit_airspeed_kt == pytest.approx(250, abs=1e-9)
        assert math.isnan(one.worst_limit_pointer_kt)
        assert analysis.judged_shares == {"VMO": 1.0, "MMO": 0.0, "VD": 0.0}
        assert analysis.unjudged_limits == ("MMO", "VD")
        assert [one.values["limit"] for one in analysis.findings
                if one.code == "limit_needs_altitude"] == ["MMO", "VD"]


def test_without_the_altitude_the_pointer_is_known_if_it_shows_no_mach_limit(log, sheet, vmo, mmo):
    flight = log(range(3), calibrated_airspeed=[240, 250, 260])
    for stated in (sheet(vmo), sheet(vmo, {**mmo, "on_pointer": False})):
        analysis = analyze(flight, stated)
        assert analysis.columns["limit_pointer_kt"].tolist() == [250] * 3


@pytest.mark.parametrize(("limit", "codes"), [
    ({"quantity": "mach", "maximum": 0.5}, ["limit_needs_altitude"]),
    ({"quantity": "indicated_mach", "maximum": 0.5}, ["limit_needs_altitude"]),
    ({"quantity": "equivalent_airspeed", "maximum_kt": 280}, ["limit_needs_altitude"]),
    ({"quantity": "true_airspeed", "maximum_kt": 280}, ["limit_needs_altitude"]),
    ({"quantity": "calibrated_airspeed", "by_pressure_altitude": [[0, 240], [9000, 250]]},
     ["limit_needs_altitude"]),
    ({"quantity": "calibrated_airspeed", "maximum_kt": 280,
      "when": {"pressure_altitude_ft": {"above": 9000}}}, ["limit_needs_altitude"]),
    ({"quantity": "mach", "maximum": 0.5, "when": {"flap_deg": {"above": 1}}},
     ["condition_not_recorded"]),
    ({"quantity": "mach", "maximum": 0.5, "when": {"gear_down": {"is": True}}},
     ["limit_needs_altitude"]),
    ({"quantity": "mach", "maximum": 0.5, "when": {"weight_kg": {"above": 9000}}}, []),
    ({"quantity": "calibrated_airspeed", "maximum_kt": 280}, []),
    ({"quantity": "indicated_airspeed", "maximum_kt": 280}, []),
])
def test_one_finding_for_each_limit_that_lacks_a_channel(log, sheet, vmo, limit, codes):
    flight = log(range(4), calibrated_airspeed=200, gear_down=[0, 0, 1, 1], weight=8000)
    analysis = analyze(flight, sheet(vmo, {"name": "L", **limit}))
    found = [one for one in analysis.findings if one.values.get("limit") == "L"]
    assert [one.code for one in found] == codes
    for one in found:
        assert "pressure_altitude" in one.values["channels"]
        assert analysis.judged_shares["L"] == 0
    assert analysis.judged_shares["VMO"] == 1
    # A limit that is known never to apply needs nothing more.
    assert analysis.outcome == "not exceeded"


@pytest.mark.parametrize("airspeed", [
    {"position_correction": [[60, 2], [300, 4]]},
    {"position_correction": [[60, 2], [300, 4]], "altimeter_correction": [[60, 20], [300, 90]]},
])
@pytest.mark.parametrize("recorded", ["indicated", "calibrated"])
def test_no_altitude_is_corrected_where_there_is_none(log, sheet, vmo, airspeed, recorded):
    flight = log(range(3), **{f"{recorded}_airspeed": [240, 247, 254]})
    if recorded == "calibrated":
        airspeed = {"position_correction": airspeed["position_correction"],
                    "static_source_corrected": False}
    analysis = analyze(flight, sheet(vmo, recorded=recorded, **airspeed))
    codes = {one.code for one in analysis.findings}
    assert not codes & {"static_source_coupling_applied", "altimeter_correction_applied"}
    # Position correction goes by airspeed: 247 kt are 250.56.
    assert states(analysis, "state_0") == [
        [UNDER, OVER if recorded == "indicated" else UNDER, OVER]]


def test_a_declared_altitude_settles_a_condition_on_it(log, sheet, vmo):
    high = {**vmo, "name": "VH", "when": {"pressure_altitude_ft": {"above": 9000}}}
    flight = log(range(3), calibrated_airspeed=[240, 250, 260])
    analysis = analyze(flight, sheet(high), declared={"pressure_altitude": 3000.0})
    assert analysis.judged_shares == {"VH": 1.0}
    assert [one.limit for one in analysis.exceedances] == ["VH"]


@pytest.mark.parametrize("quantity", ["mach", "equivalent_airspeed"])
def test_without_the_altitude_a_sheet_of_mach_limits_gets_no_verdict(log, sheet, mmo, quantity):
    flight = log(range(3), calibrated_airspeed=[240, 250, 260])
    analysis = analyze(flight, sheet(mmo))
    assert analysis.outcome == "not judged"
    assert analysis.judged_s == 0


@pytest.mark.parametrize("fill", [-9999.0, 99999.0, -1e9, math.inf])
def test_fill_values_of_the_altitude_are_unknown_and_never_printed(log, sheet, vmo, mmo, fill):
    flight = log(range(3), calibrated_airspeed=[240, 260, 240], pressure_altitude=[0, fill, 0])
    analysis = analyze(flight, sheet(vmo, mmo))
    assert states(analysis, "state_0", "state_1") == [[UNDER, OVER, UNDER],
                                                      [UNDER, UNKNOWN, UNDER]]
    (one,) = analysis.exceedances
    assert math.isnan(one.worst_pressure_altitude_ft)
    assert math.isnan(one.worst_mach)


def descent(log, **temperature):
    """Down from 26,000 ft, through MMO and then VMO."""
    time = np.arange(0, 240, 0.5)
    ft = 26000 - 75 * time
    kt = 205 + 55 * np.sin(time / 60)
    return log(time, calibrated_airspeed=kt, pressure_altitude=ft, **temperature)


GARBAGE = [np.nan, -9999.0, 9999.0, 1e30, -math.inf]


@pytest.mark.parametrize("kind", [None, {"outside_air": "static"}, {"outside_air": "total"},
                                  {"outside_air": "probe", "recovery_factor": 0.8}])
def test_the_temperature_never_touches_the_verdict(log, sheet, vmo, mmo, kind):
    vd = {"name": "VD", "quantity": "equivalent_airspeed", "maximum_kt": 252}
    tas = {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 290}
    stated = sheet(vmo, mmo, vd, tas, temperature=kind)
    time = np.arange(0, 240, 0.5)
    good = 15 - 1.98 * (26000 - 75 * time) / 1000
    without = analyze(descent(log), stated)
    tables = {}
    for name, values in {"good": good, "cold": good - 30,
                         "bad": np.resize(GARBAGE, len(time)),
                         "dirty": np.where(np.arange(len(time)) % 3, good, 9999.0)}.items():
        channel = "outside_air_temperature" if kind else "static_air_temperature"
        analysis = analyze(descent(log, **{channel: values}), stated)
        # Numbers count those of true airspeed, too: all are numbered by time.
        table = analysis.exceedance_table.drop(columns="number")
        tables[name] = table[table.quantity != "true_airspeed"].to_csv(index=False)
        for column in ("state_0", "state_1", "state_2", "mach", "equivalent_airspeed_kt"):
            np.testing.assert_array_equal(analysis.columns[column], without.columns[column])
    assert {one.limit for one in without.exceedances} == {"VMO", "MMO", "VD"}
    expected = without.exceedance_table.drop(columns="number").to_csv(index=False)
    assert tables == dict.fromkeys(tables, expected)


def test_what_needs_the_temperature_is_absent_without_it(log, sheet, vmo):
    tas = {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 290}
    analysis = analyze(descent(log), sheet(vmo, tas))
    absent = {"true_airspeed_kt", "density_altitude_ft", "isa_deviation_degc",
              "static_air_temperature_degc"}
    assert not absent & set(analysis.columns)
    assert not absent & set(analysis.samples.columns)
    assert set(analysis.columns["state_1"].tolist()) == {UNKNOWN}
    assert "limit_needs_temperature" in {one.code for one in analysis.findings}
    assert analysis.unjudged_limits == ("VT",)
    warm = analyze(descent(log, static_air_temperature=0), sheet(vmo, tas))
    assert absent <= set(warm.columns)
    assert set(warm.columns["state_1"].tolist()) == {UNDER, OVER}


@pytest.mark.parametrize("written_in", [1852 / 3600, 1 / 3.6, 1.0], ids=["kt", "km/h", "m/s"])
@pytest.mark.parametrize("more", [0.0, 2e-5])
def test_whole_knot_limits_logged_exactly_at_them(log, sheet, written_in, more):
    """Every limit from 40 to 600 kt against a speed that stands at each of them in turn."""
    knots = np.arange(40, 601)
    # As a recorder writes it: a decimal number in its own unit.
    decimals = [float(repr(float(kt + more) * 1852 / 3600 / written_in)) for kt in knots]
    flight = log(range(len(knots)), pressure_altitude=0,
                 calibrated_airspeed=Channel(np.array(decimals) * written_in))
    for some in np.array_split(knots, 20):
        limits = [{"name": f"V{kt}", "quantity": "calibrated_airspeed", "maximum_kt": int(kt)}
                  for kt in some]
        analysis = analyze(flight, sheet(*limits), verdict_only=True)
        for i, limit in enumerate(some):
            over = knots >= limit if more else knots > limit
            np.testing.assert_array_equal(
                analysis.columns[f"state_{i}"], np.where(over, OVER, UNDER), err_msg=str(limit))


@pytest.mark.parametrize("written_in", [1852 / 3600, 1 / 3.6, 1.0], ids=["kt", "km/h", "m/s"])
def test_a_flight_at_the_limit_gives_no_exceedance(log, sheet, written_in):
    for limit in range(40, 601, 7):
        decimal = float(repr(limit * 1852 / 3600 / written_in))
        flight = log(range(3), pressure_altitude=0,
                     calibrated_airspeed=Channel(np.full(3, decimal) * written_in))
        stated = sheet({"name": "V", "quantity": "calibrated_airspeed", "maximum_kt": limit})
        assert analyze(flight, stated, verdict_only=True).exceedances == ()


@pytest.mark.parametrize("mach", [0.2, 0.48, 0.5, 0.82, 0.999, 1.3])
@pytest.mark.parametrize("feet", [0.0, 18000.0, 36089.238845144, 41000.0])
def test_mach_limits_logged_exactly_at_them(log, sheet, mach, feet):
    metre = feet * 0.3048
    kt = airspeed.cas_from_mach(mach + np.array([0, 2e-9, 5e-10, -1e-7]), metre) * 3600 / 1852
    flight = log(range(4), calibrated_airspeed=kt, pressure_altitude=feet)
    stated = sheet({"name": "M", "quantity": "mach", "maximum": mach})
    assert states(analyze(flight, stated)) == [[UNDER, OVER, UNDER, UNDER]]
