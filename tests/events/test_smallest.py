"""How close it was otherwise, and how much of the time could be judged."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Intervals, analyze
from loganalyze.air import airspeed

NAN = math.nan
KT, FT = 1852 / 3600, 0.3048
VFE = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
       "when": {"flap_deg": {"above": 1}}}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("block", [32, 32_768])
def test_the_smallest_margins_of_all_samples(log, sheet, vmo, mmo, choose_engine, seed, block):
    choose_engine(block=block)
    rng = np.random.default_rng(seed)
    n = 300
    kt = 200 + np.cumsum(rng.normal(0, 1.5, n))
    ft = np.clip(15000 + np.cumsum(rng.normal(0, 60, n)), 0, 30000)
    kt[rng.random(n) < 0.05] = NAN
    # Ten seconds at a time: less may be an outlier.
    flap = np.repeat(np.where(rng.random(8) < 0.4, 10.0, 0.0), 40)[:n]
    flap[:40] = 10.0
    flight = log(np.arange(n) / 4, calibrated_airspeed=kt, pressure_altitude=ft, flap=flap)
    together, of_vmo, of_mmo, of_vfe = analyze(flight, sheet(vmo, mmo, VFE)).smallest
    mach = np.full(n, NAN)
    mach[~np.isnan(kt)] = airspeed.mach_from_cas(kt[~np.isnan(kt)] * KT, ft[~np.isnan(kt)] * FT)
    mmo_kt = airspeed.cas_from_mach(0.5, ft * FT) / KT
    lowest = np.minimum(np.minimum(250, mmo_kt), np.where(flap > 1, 180, np.inf))

    def same(one, margin_kt, by, name):
        i = int(np.nanargmin(by))
        assert one.limit == name
        assert one.margin_kt == pytest.approx(margin_kt[i], abs=1e-6)
        assert one.time_s == i / 4
        assert one.pressure_altitude_ft == pytest.approx(ft[i], abs=1e-6)

    same(together, lowest - kt, lowest - kt, "")
    same(of_vmo, 250 - kt, 250 - kt, "VMO")
    same(of_mmo, mmo_kt - kt, 0.5 - mach, "MMO")
    same(of_vfe, 180 - kt, np.where(flap > 1, 180 - kt, NAN), "VFE")
    assert of_mmo.margin_mach == pytest.approx(float(np.nanmin(0.5 - mach)), abs=1e-12)
    assert math.isnan(of_vmo.margin_mach)


def test_no_instant_to_judge(log, sheet, vmo):
    flight = log(range(3), calibrated_airspeed=[NAN, 200, NAN], pressure_altitude=[0, NAN, 0],
                 flap=0)
    together, of_vmo, of_vfe = analyze(flight, sheet(vmo, VFE)).smallest
    assert math.isnan(together.margin_kt)
    assert of_vmo.margin_kt == pytest.approx(50)
    assert math.isnan(of_vmo.pressure_altitude_ft)
    assert math.isnan(of_vfe.margin_kt)
    assert math.isnan(of_vfe.time_s)


def test_without_any_altitude_the_margin_is_to_the_limits_that_need_none(log, sheet, vmo, mmo):
    flight = log(range(3), calibrated_airspeed=[NAN, 200, NAN], pressure_altitude=NAN)
    together, of_vmo, of_mmo = analyze(flight, sheet(vmo, mmo)).smallest
    assert together.margin_kt == of_vmo.margin_kt == pytest.approx(50)
    assert math.isnan(together.margin_mach)
    assert math.isnan(of_mmo.margin_kt)


def test_time_judged_and_unknown(log, sheet, vmo):
    # 0-1 judged; 1-2 the speed is lost; 2-3.5 judged; a gap to 10; 10-12 judged.
    flight = log([0, 1, 2, 10, 11], 1.0, calibrated_airspeed=[200, NAN, 200, 200, 200],
                 pressure_altitude=5000)
    analysis = analyze(flight, sheet(vmo))
    assert analysis.recorded_s == 12.0
    assert analysis.judged_s == 4.5
    assert analysis.unknown_s == 7.5
    assert analysis.gaps == Intervals.of([(3.5, 10)])
    assert analysis.unknown == Intervals.of([(1, 2), (3.5, 10)])


@pytest.mark.parametrize("seed", range(4))
def test_judged_and_unknown_make_up_what_was_recorded(log, sheet, vmo, mmo, choose_engine, seed):
    choose_engine(block=50)
    rng = np.random.default_rng(seed)
    n = 400
    time = np.cumsum(rng.choice([0.25, 0.26, 0.3, 4.0], n, p=[0.8, 0.1, 0.07, 0.03]))
    kt = np.where(rng.random(n) < 0.1, NAN, rng.uniform(220, 260, n))
    ft = np.where(rng.random(n) < 0.1, NAN, 5000)
    analysis = analyze(log(time, 0.25, calibrated_airspeed=kt, pressure_altitude=ft),
                       sheet(vmo, mmo))
    assert analysis.judged_s + analysis.unknown_s == pytest.approx(analysis.recorded_s)
    assert analysis.unknown.duration == pytest.approx(analysis.unknown_s, abs=1e-6)


def test_a_lone_sample_stands_for_no_time(log, sheet, vmo):
    analysis = analyze(log([0.0], calibrated_airspeed=NAN, pressure_altitude=0), sheet(vmo))
    assert (analysis.recorded_s, analysis.judged_s, analysis.unknown_s) == (0, 0, 0)
    assert len(analysis.unknown) == 0
    assert analysis.columns["state"].tolist() == [2]


def test_each_sheet_is_judged_by_its_own_tables_whatever_came_before(log, sheet):
    flown = log(range(40), calibrated_airspeed=np.linspace(200, 280, 40), pressure_altitude=5000.0)
    sheets = [sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": kt})
              for kt in (220.0, 230.0, 240.0, 250.0, 260.0, 270.0)]
    for page in [*sheets, *reversed(sheets), *sheets]:
        limit = page.limit[0].maximum_kt
        analysis = analyze(flown, page)
        assert analysis.columns["limit_airspeed_kt"] == pytest.approx(np.full(40, limit), abs=1e-3)
        assert analysis.smallest[0].margin_kt == pytest.approx(limit - 280, abs=1e-6)


@pytest.mark.parametrize("table", [[[0, 250], [30000, 200]], None], ids=["table", "a number"])
def test_the_smallest_margin_among_more_samples_than_are_taken_at_once(log, sheet, table):
    # 80,000 samples at one speed: the closest is one in the last part, or one in the first.
    vmo = {"name": "VMO", "quantity": "calibrated_airspeed"}
    limit = vmo | ({"by_pressure_altitude": table} if table else {"maximum_kt": 245.0})
    for closest in (79_000, 1_000):
        kt = np.full(80_000, 230.0)
        kt[closest], kt[40_000] = 230.5, 230.25
        flight = log(np.arange(80_000.0), calibrated_airspeed=kt, pressure_altitude=3000.0)
        _, of_vmo = analyze(flight, sheet(limit)).smallest
        assert of_vmo.time_s == closest
        assert of_vmo.margin_kt == pytest.approx(14.5, abs=1e-9)
