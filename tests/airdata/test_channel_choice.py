"""Airspeed and pressure altitude from whatever was recorded, in the order that is stated.

Pressures follow from the air engine's own relations, which are held to published values
elsewhere: 250 kt and 25,000 ft are q_c = p0 [(1 + 0.2 (250/661.478594)^2)^3.5 - 1] and 37,600.9 Pa.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Problem, analyze

P0, A0_KT = 101325.0, 661.478594435
IMPACT = P0 / 100 * ((1 + 0.2 * (250 / A0_KT) ** 2) ** 3.5 - 1)  # hPa
STATIC = 376.008903
MACH = 0.603684526
OVER, UNDER, UNKNOWN = 1, 0, 2


@pytest.fixture
def judged(log, sheet, vmo, mmo):
    def judge(airspeed=None, **channels):
        airspeed = airspeed or {"recorded": "indicated"}
        return analyze(log([0.0, 1.0], 1.0, **channels), sheet(vmo, mmo, **airspeed))

    return judge


def codes(analysis):
    return [one.code for one in analysis.findings]


def columns(analysis, *names):
    return tuple(float(analysis.columns[name][0]) for name in names)


@pytest.mark.parametrize("pressures", [
    {"static_pressure": STATIC, "impact_pressure": IMPACT},
    {"static_pressure": STATIC, "total_pressure": STATIC + IMPACT},
    {"total_pressure": STATIC + IMPACT, "impact_pressure": IMPACT},
])
def test_the_engine_works_from_pressures(judged, pressures):
    analysis = judged(**pressures)
    assert columns(analysis, "calibrated_airspeed_kt", "pressure_altitude_ft", "mach") == (
        pytest.approx((250, 25000, MACH), rel=1e-6))
    assert codes(analysis)[:2] == ["altitude_from_pressures", "airspeed_from_pressures"]
    assert "pressures_taken_as_corrected" in codes(analysis)
    assert "indicated_taken_as_calibrated" not in codes(analysis)


def test_a_recorded_airspeed_comes_before_pressures(judged):
    analysis = judged(indicated_airspeed=200.0, pressure_altitude=10000.0, mach=0.9,
                      true_airspeed=500.0, limit_pointer=100.0, static_pressure=STATIC,
                      impact_pressure=IMPACT, indicated_altitude=3000.0, altimeter_setting=1013.25)
    assert columns(analysis, "calibrated_airspeed_kt", "pressure_altitude_ft") == (200, 10000)
    assert not {"altitude_from_pressures", "airspeed_from_pressures"} & set(codes(analysis))
    assert analysis.evaluation.air.airspeed_sources == ("indicated_airspeed",)


def test_impact_pressure_comes_before_the_difference(judged):
    analysis = judged(static_pressure=STATIC, impact_pressure=IMPACT, total_pressure=STATIC + 2)
    assert columns(analysis, "calibrated_airspeed_kt") == pytest.approx((250,), rel=1e-6)


def test_an_impact_pressure_alone_gives_the_airspeed_limit_its_verdict(judged):
    analysis = judged(impact_pressure=IMPACT * 1.1)
    assert analysis.columns["state_0"].tolist() == [OVER, OVER]
    assert analysis.columns["state_1"].tolist() == [UNKNOWN, UNKNOWN]
    assert "no_pressure_altitude" in codes(analysis)


def test_position_but_not_instrument_correction_is_for_pressures(judged):
    stated = {"recorded": "indicated", "position_correction": [[100, 5], [300, 5]],
              "instrument_correction": [[100, 9], [300, 9]], "static_source_corrected": True}
    analysis = judged(stated, static_pressure=STATIC, impact_pressure=IMPACT)
    assert columns(analysis, "calibrated_airspeed_kt") == pytest.approx((255,), rel=1e-6)
    assert {"position_correction_applied", "instrument_correction_not_for_pressures"} <= set(
        codes(analysis))


def test_a_probe_at_rest_is_no_fault_and_garbage_is_unknown(judged):
    analysis = judged(static_pressure=[1013.25, 1013.25], impact_pressure=[-1.0, 0.0])
    assert analysis.columns["calibrated_airspeed_kt"].tolist() == [0, 0]
    analysis = judged(static_pressure=[0.0, 9999.0], impact_pressure=[-50.0, 99999.0])
    assert analysis.columns["state"].tolist() == [UNKNOWN, UNKNOWN]


@pytest.mark.parametrize(("setting", "height"), [(1013.25, 25000.0), (1000.0, 25363.8)])
def test_indicated_altitude_with_its_setting(judged, setting, height):
    # 1000 hPa stand at 110.89 m, 363.8 ft, in the standard atmosphere (ISO 2533).
    analysis = judged(indicated_airspeed=250.0, indicated_altitude=25000.0,
                      altimeter_setting=setting)
    assert columns(analysis, "pressure_altitude_ft")[0] == pytest.approx(height, abs=1.0)
    assert "altitude_from_indicated" in codes(analysis)


def test_indicated_altitude_without_a_setting_is_no_pressure_altitude(judged):
    analysis = judged(indicated_airspeed=240.0, indicated_altitude=25000.0)
    assert analysis.columns["state_1"].tolist() == [UNKNOWN, UNKNOWN]
    assert analysis.columns["state_0"].tolist() == [UNDER, UNDER]
    assert "indicated_altitude_without_setting" in codes(analysis)
    analysis = judged(indicated_airspeed=240.0, indicated_altitude=25000.0,
                      altimeter_setting=[500.0, math.nan])
    assert np.isnan(analysis.columns["pressure_altitude_ft"]).all()


def test_recorded_mach_only_where_the_sheet_says_so(judged):
    with pytest.raises(Problem, match="from_mach = true"):
        judged(mach=MACH, pressure_altitude=25000.0)
    stated = {"recorded": "indicated", "from_mach": True}
    analysis = judged(stated, mach=[MACH, math.nan], pressure_altitude=25000.0)
    assert columns(analysis, "calibrated_airspeed_kt") == pytest.approx((250,), rel=1e-6)
    assert analysis.columns["state_1"].tolist() == [OVER, UNKNOWN]
    assert "airspeed_from_mach" in codes(analysis)
    with pytest.raises(Problem, match="neither"):
        judged(stated, mach=MACH)
    for garbage in ([MACH, 40.0], [MACH, -0.5]):
        analysis = judged(stated, mach=garbage, pressure_altitude=25000.0)
        assert analysis.columns["state"].tolist() == [OVER, UNKNOWN]
        assert np.isnan(analysis.columns["calibrated_airspeed_kt"][1])
    analysis = judged(stated, mach=0.9, indicated_airspeed=200.0, pressure_altitude=25000.0)
    assert columns(analysis, "calibrated_airspeed_kt") == (200,)
