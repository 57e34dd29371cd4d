"""The door for tests and extensions: what it makes, and that its assertions can fail."""

from __future__ import annotations

import doctest
from dataclasses import replace

import numpy as np
import pytest

from loganalyze import analyze, testing
from loganalyze.simulate import Recorder, Segment
from loganalyze.testing import assert_same, engine, make_flight, make_log, make_sheet

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}


def test_its_examples_run():
    ran = doctest.testmod(testing)
    assert ran.attempted > 10
    assert not ran.failed


@pytest.fixture
def analysis():
    speeds = 240 + 15 * np.sin(np.arange(400) / 20)
    return analyze(make_log(range(400), calibrated_airspeed=speeds, pressure_altitude=9000),
                   make_sheet(VMO))


def test_an_analysis_is_the_same_as_itself_by_either_engine(analysis):
    assert len(analysis.exceedances) == 4
    for which in ("arrays", "compiled"):
        for block in (None, 37):
            with engine(which, block):
                assert_same(analyze(analysis.log, analysis.sheet), analysis)


def test_a_single_bit_differs(analysis):
    margin = analysis.columns["margin_kt"].copy()
    margin[7] = np.nextafter(margin[7], np.float32(0))
    other = replace(analysis, columns={**analysis.columns, "margin_kt": margin})
    with pytest.raises(AssertionError, match="margin_kt, row 7: "):
        assert_same(analysis, other)


@pytest.mark.parametrize(("change", "said"), [
    ({"exceedances": ()}, "exceedances"), ({"judged_s": 1.0}, "judged_s"),
    ({"screened": {"spike": 1}}, "screened"), ({"columns": {}}, "only one has the columns"),
])
def test_everything_else_that_differs_is_named(analysis, change, said):
    with pytest.raises(AssertionError, match=said):
        assert_same(analysis, replace(analysis, **change))


def test_an_engine_lasts_as_long_as_its_block(analysis):
    with pytest.raises(ValueError, match="inner"), engine("compiled", 10):
        raise ValueError("inner")
    assert_same(analyze(analysis.log, analysis.sheet), analysis)
    with pytest.raises(ValueError, match="gears"), engine("gears"):
        pass


def test_a_flight_of_known_truth_is_judged_as_it_was_flown():
    log, truth = make_flight(Segment(120, 0, 240), Segment(60, -2000, 265), Segment(120, 0, 230),
                             start_altitude_ft=12_000, start_cas_kt=240,
                             recorder=Recorder(rate_hz=2, airspeed_step_kt=0.25), seed=3)
    (one,) = analyze(log, make_sheet(VMO)).exceedances
    ((start, end),) = truth.over(cas_kt=250)
    assert one.start_s == pytest.approx(start, abs=0.6)
    assert one.end_s == pytest.approx(end, abs=0.6)
