"""Two flights side by side: aligned as asked, and said to be incomparable where they are."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

import loganalyze as la
from loganalyze.testing import make_log, make_sheet

SAMPLES = Path(__file__).parents[2] / "sample_logs"
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}


def descending(speed=220.0, fpm=2000.0, start=20000.0, rate=1.0, level=60.0, bottom=3000.0,
               sheet=None, name="made.csv", **spoilt):
    """Level, then down at a constant rate to the bottom, at a speed that may change with height."""
    length = level + (start - bottom) / fpm * 60 + 30
    time = np.arange(0, length, 1 / rate)
    altitude = np.clip(start - np.clip(time - level, 0, None) * fpm / 60, bottom, None)
    kt = speed(altitude) if callable(speed) else np.full(len(time), float(speed))
    keep = np.ones(len(time), dtype=bool)
    if "gap" in spoilt:
        keep = (time < spoilt["gap"][0]) | (time > spoilt["gap"][1])
    log = make_log(time[keep], 1 / rate, calibrated_airspeed=kt[keep],
                   pressure_altitude=altitude[keep])
    return la.analyze(log, sheet or make_sheet(VMO))


def test_by_altitude_margins_are_compared_at_the_same_height():
    first = descending(lambda ft: 200 + (20000 - ft) / 1000, fpm=1500)
    second = descending(lambda ft: 215 + (20000 - ft) / 1000, fpm=2500, start=18000)
    found = la.compare(first, second)
    assert found.steps.max() == 17700  # 300 ft below the top, where the descent counts from
    assert found.steps.min() < 3200
    assert found.notes == ()
    known = np.isfinite(found.difference_kt)
    assert known.mean() > 0.98
    np.testing.assert_allclose(found.difference_kt[known], -15, atol=0.05)
    for one in found.flights:
        np.testing.assert_allclose(
            one.values["pressure_altitude_ft"][known], found.steps[known], atol=1)


def test_by_the_top_of_descent_they_are_compared_at_the_same_time_after_it():
    first = descending(200, level=30.0)
    second = descending(210, level=95.0)
    found = la.compare(first, second, by="descent")
    assert found.second.origin_s - found.first.origin_s == pytest.approx(65, abs=1)
    np.testing.assert_allclose(found.first.values["pressure_altitude_ft"],
                               found.second.values["pressure_altitude_ft"], atol=40)
    np.testing.assert_allclose(found.difference_kt[np.isfinite(found.difference_kt)], -10)


def test_from_marked_instants_they_are_compared_before_and_after_them():
    found = la.compare(descending(200), descending(230), by="instant", marks=(100.0, 150.0))
    assert found.steps[0] == -100
    np.testing.assert_allclose(found.first.values["time_s"] - 100, found.steps)
    np.testing.assert_allclose(found.second.values["time_s"] - 150, found.steps)


def test_time_near_the_limit_and_the_smallest_margin_are_those_of_the_part_compared():
    second = descending(lambda ft: np.where(ft > 15000, 252.0, 243.0), fpm=3000)
    found = la.compare(descending(225), second)
    spent = dict(found.second.near_s)
    # From the top of descent, 300 ft down, to 15,000 ft: 4,700 ft at 50 ft/s.
    assert spent[0.0] == pytest.approx(94, abs=3)
    assert spent[10.0] == pytest.approx(found.second.judged_s)
    assert found.second.smallest_kt == pytest.approx(-2)
    assert found.second.governing == "VMO"
    assert found.first.near_s[-1][1] == 0


def test_nothing_is_compared_across_a_gap():
    found = la.compare(descending(200), descending(210, gap=(150, 190)))
    missing = np.isnan(found.difference_kt)
    lost = found.second.values["time_s"][missing]
    assert missing.sum() > 8
    assert ((lost > 149) & (lost < 191)).all()
    assert "gaps" in found.notes


def test_other_rates_and_other_limits_are_said():
    other = make_sheet({**VMO, "maximum_kt": 240})
    found = la.compare(descending(200), descending(200, rate=4.0, sheet=other))
    assert {"other rates", "other limits"} <= set(found.notes)
    np.testing.assert_allclose(found.difference_kt[np.isfinite(found.difference_kt)], -10,
                               atol=1e-3)


def test_a_level_flight_has_no_descent():
    with pytest.raises(la.Problem, match="descended by less than 1,000 ft"):
        la.compare(descending(200), descending(200, start=20000, bottom=19500))


def test_descents_without_an_altitude_in_common_are_refused():
    with pytest.raises(la.Problem, match="no altitude in common"):
        la.compare(descending(200, start=20000, bottom=12000),
                   descending(200, start=9000, bottom=3000))


@pytest.mark.parametrize("marks", [(100.0, 99999.0), (100.0,), None])
def test_marks_that_mark_no_instant_are_refused(marks):
    with pytest.raises(la.Problem):
        la.compare(descending(200), descending(200), by="instant", marks=marks)


def test_a_flight_beside_itself_differs_in_nothing():
    one = descending(lambda ft: 200 + ft / 1000)
    found = la.compare(one, one)
    assert "same recording" in found.notes
    assert np.nanmax(np.abs(found.difference_kt)) == 0


def _samples():
    sheet = la.read_limits(SAMPLES / "ouzelwing_240.toml")
    return [la.analyze(la.read_log(SAMPLES / f"{name}.csv"), sheet)
            for name in ("clean_flight", "descent_through_mmo_and_vmo")]


def test_the_folder_holds_the_same_in_every_form(tmp_path):
    found = la.compare(*_samples())
    la.write_comparison(found, tmp_path / "out")
    text = (tmp_path / "out" / "differences.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    table = pq.ParquetFile(tmp_path / "out" / "differences.parquet").read()
    facts = json.loads((tmp_path / "out" / "comparison.json").read_text())
    assert len(rows) == table.num_rows == facts["steps"] == len(found.steps)
    np.testing.assert_allclose(
        [float(row["margin_difference_kt"]) for row in rows],
        table["margin_difference_kt"].to_numpy())
    np.testing.assert_allclose(table["margin_difference_kt"].to_numpy(), found.difference_kt,
                               atol=1e-4)
    assert facts["b"]["smallest_margin_kt"] == pytest.approx(-10.0, abs=0.05)
    page = (tmp_path / "out" / "comparison.html").read_text(encoding="utf-8")
    assert "A was 4.1 kt under it and B 10.0 kt over" in page
    assert "src=\"http" not in page
    with pytest.raises(la.Problem, match="exists already"):
        la.write_comparison(found, tmp_path / "out")
    la.write_comparison(found, tmp_path / "out", overwrite=True)


def test_a_folder_of_something_else_is_not_replaced(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "thesis.txt").write_text("mine")
    with pytest.raises(la.Problem, match=r"holds no comparison\.json"):
        la.write_comparison(la.compare(*_samples()), tmp_path / "out", overwrite=True)
    assert (tmp_path / "out" / "thesis.txt").read_text() == "mine"
