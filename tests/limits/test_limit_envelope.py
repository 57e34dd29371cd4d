"""The limit airspeed against pressure altitude, and where the governing limit changes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Problem, crossovers, limit_envelope
from loganalyze.air import airspeed, atmosphere

FT, KT = 0.3048, 1852 / 3600


@pytest.mark.parametrize(("kt", "mach", "feet"), [
    # Computed in closed form.
    (340, 0.82, 25968.14), (320, 0.80, 27582.20), (350, 0.86, 27089.59), (300, 0.78, 29314.10),
])
def test_the_crossover_of_two_constants(sheet, vmo, mmo, kt, mach, feet):
    vmo["maximum_kt"], mmo["maximum"] = kt, mach
    (crossing,) = crossovers(sheet(vmo, mmo))
    assert crossing.pressure_altitude / FT == pytest.approx(feet, abs=0.005)
    assert crossing.limit_airspeed / KT == pytest.approx(kt, abs=1e-9)
    assert (crossing.below, crossing.above) == ("VMO", "MMO")
    assert crossovers(sheet(mmo, vmo))[0].pressure_altitude == crossing.pressure_altitude


def test_limits_that_never_cross(sheet, vmo, mmo):
    mmo["maximum"] = 0.2  # lower than VMO at every altitude
    assert crossovers(sheet(vmo, mmo)) == ()
    assert crossovers(sheet(vmo)) == ()


def test_a_table_that_crosses_several_times(sheet):
    """A zigzag about 250 kt crosses it halfway between its rows."""
    zigzag = {"name": "VT", "quantity": "calibrated_airspeed", "outside": "hold",
              "by_pressure_altitude": [[5000, 240], [10000, 260], [20000, 240]]}
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}
    found = crossovers(sheet(vmo, zigzag))
    assert [(one.below, one.above) for one in found] == [("VT", "VMO"), ("VMO", "VT")]
    assert [one.pressure_altitude / FT for one in found] == pytest.approx([7500, 15000], abs=1e-6)


def test_a_table_that_ends_is_no_crossing(sheet):
    table = {"name": "VT", "quantity": "calibrated_airspeed",
             "by_pressure_altitude": [[5000, 240], [10000, 240]]}
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}
    assert crossovers(sheet(vmo, table)) == ()


def test_an_indicated_limit_crosses_where_its_calibrated_equivalent_does(sheet, mmo):
    vi = {"name": "VI", "quantity": "indicated_airspeed", "maximum_kt": 245}
    (crossing,) = crossovers(sheet(vi, mmo, recorded="indicated",
                                   position_correction=[[100, 5], [300, 5]]))
    assert crossing.limit_airspeed / KT == pytest.approx(250, abs=1e-7)
    exact = airspeed.crossover_pressure_altitude(250 * KT, 0.5)
    assert crossing.pressure_altitude == pytest.approx(exact, abs=1e-6)


def test_three_limits_in_turn(sheet, mmo):
    ve = {"name": "VE", "quantity": "equivalent_airspeed", "maximum_kt": 230}
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 232}
    found = crossovers(sheet(mmo, ve, vmo))
    assert [(one.below, one.above) for one in found] == [("VE", "VMO"), ("VMO", "MMO")]
    first = found[0].pressure_altitude
    assert airspeed.eas_from_cas(232 * KT, first) / KT == pytest.approx(230, abs=1e-9)


def test_the_envelope_is_the_lowest_limit(sheet, vmo, mmo):
    feet = np.arange(0, 40001, 500.0)
    got = limit_envelope(sheet(vmo, mmo), feet * FT, isa_deviation=10.0)
    by_mach = airspeed.cas_from_mach(0.5, feet * FT)
    np.testing.assert_allclose(got.limit_airspeed, np.minimum(250 * KT, by_mach), rtol=1e-12)
    np.testing.assert_array_equal(got.governing, np.where(by_mach < 250 * KT, 1, 0))
    np.testing.assert_allclose(got.limit_mach, airspeed.mach_from_cas(got.limit_airspeed,
                                                                      feet * FT), rtol=1e-12)
    warm = atmosphere.temperature(feet * FT) + 10
    np.testing.assert_allclose(got.temperature, warm)
    np.testing.assert_allclose(got.true_airspeed, airspeed.tas_from_mach(got.limit_mach, warm))
    assert got.per_limit.shape == (2, len(feet))


def test_the_envelope_takes_conditions_as_declared(sheet, vmo):
    vfe = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
           "when": {"flap_deg": {"above": 1, "up_to": 20}}}
    page = sheet(vmo, vfe)
    assert limit_envelope(page, [0.0]).limit_airspeed[0] / KT == pytest.approx(250)
    out = limit_envelope(page, [0.0], declared={"flap": math.radians(15)})
    assert (out.limit_airspeed[0] / KT, out.governing[0]) == (pytest.approx(180), 1)


def test_a_correction_by_flap_wants_the_flap_declared(sheet, vmo):
    page = sheet(vmo, recorded="indicated", position_correction=[
        {"flap_deg": {"up_to": 1}, "table": [[100, 2], [300, 5]]}])
    with pytest.raises(Problem, match="none was declared"):
        limit_envelope(page, [0.0])
    assert limit_envelope(page, [0.0], declared={"flap": 0.0}).limit_airspeed[0] > 0


def test_outside_its_table_a_limit_is_unknown_or_held(sheet):
    table = {"name": "V", "quantity": "calibrated_airspeed",
             "by_pressure_altitude": [[0, 200], [10000, 250]]}
    feet = np.array([-500.0, 5000, 12000]) * FT
    got = limit_envelope(sheet(table), feet)
    np.testing.assert_allclose(got.limit_airspeed / KT, [np.nan, 225, np.nan])
    assert got.governing.tolist() == [255, 0, 255]
    got = limit_envelope(sheet({**table, "outside": "hold"}), feet)
    np.testing.assert_allclose(got.limit_airspeed / KT, [200, 225, 250])


def test_a_dip_of_more_than_eight_metres_is_found(sheet):
    # Under 250 kt from 18 m to 30 m: of the altitudes 0, 8, 16, ... one lies in it.
    dip = {"name": "VT", "quantity": "calibrated_airspeed", "outside": "hold",
           "by_pressure_altitude": [[metres / FT, kt] for metres, kt in
                                    ((17, 251), (19, 249), (29, 249), (31, 251))]}
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}
    found = crossovers(sheet(vmo, dip), lowest=0.0, highest=100.0)
    assert [one.pressure_altitude for one in found] == pytest.approx([18, 30], abs=1e-6)
    assert crossovers(sheet(vmo, dip), lowest=20.0, highest=28.0) == ()


def test_between_two_tables_there_is_no_crossing(sheet):
    low, high, steep = ({"name": name, "quantity": "calibrated_airspeed",
                         "by_pressure_altitude": [[feet, kt], [feet + 4000, above]]}
                        for name, feet, kt, above in (
                            ("low", 0, 250, 250), ("high", 10000, 240, 240),
                            ("steep", 10000, 250, 230)))
    assert crossovers(sheet(low, high)) == ()
    (one,) = crossovers(sheet(low, high, steep))
    assert (one.below, one.above) == ("high", "steep")
    assert one.pressure_altitude / FT == pytest.approx(12000, abs=1e-6)
    envelope = limit_envelope(sheet(low, high), np.array([2000.0, 7000.0, 12000.0]) * FT)
    assert envelope.governing.tolist() == [0, 255, 1]


def test_where_no_limit_applies_there_is_no_limit_airspeed(sheet):
    vfe = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
           "when": {"flap_deg": {"above": 1}}}
    envelope = limit_envelope(sheet(vfe), [0.0, 3000.0])
    assert envelope.governing.tolist() == [255, 255]
    assert np.isnan([*envelope.limit_airspeed, *envelope.true_airspeed]).all()
    assert envelope.per_limit.shape == (1, 2)


def test_the_envelope_in_air_of_a_stated_temperature(sheet, vmo):
    envelope = limit_envelope(sheet(vmo), [0.0, 3000.0], temperature=260.0)
    assert envelope.temperature.tolist() == [260.0, 260.0]
    mach = airspeed.mach_from_cas(250 * KT, np.array([0.0, 3000.0]))
    np.testing.assert_allclose(envelope.true_airspeed, airspeed.tas_from_mach(mach, 260.0))
    assert limit_envelope(sheet(vmo), [0.0], temperature=[250.0]).temperature.tolist() == [250.0]
