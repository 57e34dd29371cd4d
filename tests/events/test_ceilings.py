"""A school's or an operator's own ceilings: measured in their own words, never part of a limit."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

import loganalyze as la
from loganalyze.air import airspeed
from loganalyze.testing import engine, make_log, make_sheet

KT, FT = 1852 / 3600, 0.3048
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
SCHOOL = {"name": "descent speed", "set_by": "the school", "quantity": "calibrated_airspeed",
          "maximum_kt": 230}


def _descent():
    """Speed from 220 to 256 kt and back, over two minutes at 2 Hz."""
    time = np.arange(0, 120, 0.5)
    speed = 220 + 36 * np.sin(np.pi * time / 120)
    return la.read_log(pd.DataFrame({
        "time_s": time, "CAS [kt]": speed, "pressure altitude [ft]": 20000 - 25 * time}))


def _told(sheet):
    """All that an assessment of the flight says, as the summary holds it, but the ceilings."""
    analysis = la.analyze(_descent(), sheet)
    summary = la.summarise([la.assess_flight(analysis)]).plain()
    (flight,) = summary["flights"]
    ceilings = flight.pop("ceilings")
    return summary, ceilings, analysis


def test_nothing_of_a_limit_depends_on_a_ceiling():
    for mode in ("arrays", "compiled"):
        with engine(mode):
            without, none, plain = _told(make_sheet(VMO, MMO))
            said, ceilings, beside = _told(make_sheet(VMO, MMO, ceilings=[SCHOOL]))
        assert none == []
        assert len(ceilings) == 1
        assert said == without
        for name, values in plain.columns.items():
            np.testing.assert_array_equal(values, beside.columns[name])


def test_time_worst_and_stretches_above_a_constant_ceiling():
    (found,) = la.analyze(_descent(), make_sheet(VMO, ceilings=[SCHOOL])).ceilings
    (stretch,) = found.stretches
    rises = 120 / np.pi * np.arcsin(10 / 36)
    assert (found.name, found.set_by) == ("descent speed", "the school")
    assert stretch.start_s == pytest.approx(rises, abs=0.01)
    assert stretch.end_s == pytest.approx(120 - rises, abs=0.01)
    assert found.time_above_s == pytest.approx(120 - 2 * rises, abs=0.02)
    assert found.worst == stretch
    assert stretch.most_kt == pytest.approx(26, abs=1e-9)
    assert stretch.worst_time_s == 60
    assert found.measured_s == pytest.approx(120)
    assert found.equivalent_kt.tolist() == [230] * 240


def test_a_ceiling_in_mach_lies_where_its_airspeed_is():
    stated = {"name": "school Mach", "set_by": "the school", "quantity": "mach", "maximum": 0.45}
    flight = _descent()
    (found,) = la.analyze(flight, make_sheet(VMO, ceilings=[stated])).ceilings
    altitude = flight.channels["pressure_altitude"].values
    np.testing.assert_allclose(
        found.equivalent_kt, airspeed.cas_from_mach(0.45, altitude) / KT, rtol=1e-6)
    mach = airspeed.mach_from_cas(flight.channels["calibrated_airspeed"].values, altitude)
    assert found.worst.most == pytest.approx(mach.max() - 0.45, abs=1e-9)


def test_a_ceiling_with_conditions_and_by_altitude():
    stated = {"name": "low", "set_by": "the school", "quantity": "calibrated_airspeed",
              "by_pressure_altitude": [[0, 200], [18500, 240]], "outside": "unknown",
              "when": {"pressure_altitude_ft": {"up_to": 18500}}}
    (found,) = la.analyze(_descent(), make_sheet(VMO, ceilings=[stated])).ceilings
    known = np.isfinite(found.equivalent_kt)
    assert known.sum() == pytest.approx(120, abs=1)
    assert found.measured_s == pytest.approx(60, abs=0.6)
    (stretch,) = found.stretches
    assert stretch.began_by == "limit applied"


def test_a_ceiling_that_lacks_a_channel_is_not_measured():
    stated = {**SCHOOL, "when": {"flap_deg": {"above": 1}}}
    (found,) = la.analyze(_descent(), make_sheet(VMO, ceilings=[stated])).ceilings
    assert found.lacking == ("flap",)
    assert found.stretches == ()
    assert found.measured_s == 0


def test_samples_that_are_screened_out_are_above_no_ceiling():
    flight = _descent()
    speed = flight.channels["calibrated_airspeed"].values / KT
    speed = np.minimum(speed, 229)
    speed[100] = 400
    spiked = make_log(flight.time, calibrated_airspeed=speed, pressure_altitude=15000)
    (found,) = la.analyze(spiked, make_sheet(VMO, ceilings=[SCHOOL])).ceilings
    assert found.stretches == ()
    assert found.unknown_s > 0


@pytest.mark.parametrize(("changes", "says"), [
    ({"on_pointer": True}, "limit pointer shows no ceiling"),
    ({"set_by": None}, "set_by"),
    ({"name": "VMO"}, "given twice"),
])
def test_ceilings_that_no_sheet_may_state(tmp_path, changes, says):
    stated = {key: value for key, value in {**SCHOOL, **changes}.items() if value is not None}
    lines = [f"{key} = {str(value).lower() if value is True else value!r}"
             for key, value in stated.items()]
    sheet = tmp_path / "sheet.toml"
    sheet.write_text("\n".join([
        'aircraft = "an invented twin"', "[airspeed]", 'recorded = "calibrated"', "[[limit]]",
        'name = "VMO"', 'quantity = "calibrated_airspeed"', "maximum_kt = 250", "[[ceiling]]",
        *lines]))
    with pytest.raises(la.Problem, match=says):
        la.read_limits(sheet)


def test_the_facts_hold_what_was_measured():
    analysis = la.analyze(_descent(), make_sheet(VMO, ceilings=[SCHOOL]))
    (flight,) = la.summarise([analysis]).flights
    (found,) = flight.ceilings
    (measured,) = analysis.ceilings
    assert asdict(found.stretches[0])["most_kt"] == pytest.approx(measured.stretches[0].most_kt)
    assert found.time_above_s == pytest.approx(measured.time_above_s)
    assert found.unit == "kt"
