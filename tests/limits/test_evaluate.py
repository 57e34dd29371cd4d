"""The plain reading of the rules, called alone on a few rows."""

import math

import numpy as np
import pandas as pd
import polars
import pyarrow as pa
import pytest

from loganalyze import Problem, analyze, evaluate

VFE = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
       "when": {"flap_deg": {"above": 1, "up_to": 20}}}
TEN = {
    "calibrated_airspeed_kt": [100, 250, 250.001, 260, 170, 181, 181, None, 230, 230],
    "pressure_altitude_ft": [0, 0, 0, 0, 5000, 5000, 5000, 5000, 30000, None],
    "flap_deg": [0, 0, 0, 0, 15, 15, None, 15, 0, 0],
}


def test_no_limit_governs_among_as_many_as_a_sheet_may_hold(sheet):
    limits = [{"name": f"V{k}", "quantity": "calibrated_airspeed", "maximum_kt": 100.0 + k,
               "when": {"gear_down": {"is": True}}} for k in range(255)]
    found = evaluate({"calibrated_airspeed_kt": [150, 150], "gear_down": [0, 1]}, sheet(*limits))
    assert [one if isinstance(one, str) else None for one in found["governing_limit"]] == [
        None, "V0"]


def test_ten_rows(sheet, vmo, mmo):
    found = evaluate(TEN, sheet(vmo, mmo, VFE))
    assert found["state_VMO"].tolist() == [
        "under", "under", "over", "over", "under", "under", "under", "unknown", "under", "under"]
    assert found["state_MMO"].tolist() == [
        "under", "under", "under", "under", "under", "under", "under", "unknown", "over", "unknown"]
    assert found["applies_VFE"].tolist() == [
        "no", "no", "no", "no", "yes", "yes", "unknown", "yes", "no", "no"]
    assert found["state_VFE"].tolist() == ["not applicable"] * 4 + [
        "under", "over", "unknown", "unknown", "not applicable", "not applicable"]
    # The value beside its maximum, whether or not the limit applies.
    assert found["value_VFE"][0] == pytest.approx(100)
    assert (found["maximum_VFE"] == 180).all()
    assert found["margin_VFE"][5] == pytest.approx(-1)
    assert found["governing_limit"].tolist()[:9] == [
        "VMO", "VMO", "VMO", "VMO", "VFE", "VFE", "VMO", "VFE", "MMO"]
    assert found["governing_limit"].isna().tolist() == [False] * 9 + [True]
    assert found["limit_airspeed_kt"][:4].tolist() == [250] * 4
    assert found["margin_kt"][5] == pytest.approx(-1)
    assert math.isnan(found["margin_kt"][9])
    assert found["equivalent_MMO_kt"][8] == pytest.approx(found["limit_airspeed_kt"][8])
    assert found["state"].tolist() == ["under", "under", "over", "over", "under", "over",
                                       "unknown", "unknown", "over", "unknown"]


def test_analyze_gives_the_same(log, sheet, vmo, mmo):
    columns = {name: [math.nan if one is None else one for one in values]
               for name, values in TEN.items()}
    stated = sheet(vmo, mmo, VFE)
    found = evaluate(columns, stated)
    analysis = analyze(
        log(range(10), **{name.rpartition("_")[0]: one for name, one in columns.items()}), stated)
    samples = analysis.samples
    for name in ("state", "state_VMO", "state_MMO", "state_VFE", "governing_limit"):
        assert samples[name].astype(object).where(samples[name].notna(), None).tolist() == (
            found[name].astype(object).where(found[name].notna(), None).tolist()), name
    for name in ("limit_airspeed_kt", "margin_kt", "margin_mach", "limit_pointer_kt"):
        np.testing.assert_array_equal(samples[name], found[name].astype(np.float32), name)


def test_frames_of_any_library_and_a_spike_taken_for_what_it_says(sheet, vmo):
    columns = {"calibrated_airspeed_kt": [240.0, 400.0, 240.0], "gear_down": [True, False, True]}
    frames = [columns, pd.DataFrame(columns), polars.DataFrame(columns), pa.table(columns),
              pd.DataFrame(columns, index=["a", "b", "c"])]
    for frame in frames:
        assert evaluate(frame, sheet(vmo))["state"].tolist() == ["under", "over", "under"]


def test_values_that_no_air_has_leave_a_limit_unknown(sheet, vmo, mmo):
    found = evaluate({"calibrated_airspeed_kt": [-3.0, 260, 260, 260],
                      "pressure_altitude_ft": [20000.0, 120000, -20000, 20000]}, sheet(vmo, mmo))
    assert found["state_VMO"].tolist() == ["under", "over", "over", "over"]
    assert found["state_MMO"].tolist() == ["unknown"] * 3 + ["over"]
    assert found["margin_mach"].isna().tolist() == [True] * 3 + [False]


def test_a_dwell_time_goes_by_the_time(sheet, vmo):
    slow = {**vmo, "when": {"flap_deg": {"above": 1, "dwell_s": 5}}}
    columns = {"calibrated_airspeed_kt": [260] * 3, "flap_deg": [15] * 3}
    assert evaluate(columns, sheet(slow))["applies_VMO"].tolist() == ["no"] * 3
    columns["time_s"] = [10, 14, 16]
    assert evaluate(columns, sheet(slow))["applies_VMO"].tolist() == ["no", "no", "yes"]


@pytest.mark.parametrize(("columns", "words"), [
    ({"calibrated_airspeed": [1.0]}, "without its unit"),
    ({"calibrated_airspeed_kt": ["fast"]}, "other than numbers"),
    ({"calibrated_airspeed_kt": []}, "no rows"),
    ({}, "no rows"),
    ({"pressure_altitude_ft": [1.0]}, "airspeed"),
    ({"calibrated_airspeed_kt": [1, 2], "time_s": [3, 3]}, "doesn't rise"),
    ({"calibrated_airspeed_kt": [1, 2], "pressure_altitude_ft": [1]}, "can't be read"),
    (7, "can't be read"),
])
def test_what_is_refused(columns, words, sheet, vmo):
    with pytest.raises(Problem, match=words):
        evaluate(columns, sheet(vmo))
