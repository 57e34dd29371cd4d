"""Thresholds of the assessment that are none are refused, at the bounds exactly."""

from __future__ import annotations

import pytest

import loganalyze as la

REFUSED = [
    (la.AssuranceSettings, {"coverage": 0.0}), (la.AssuranceSettings, {"coverage": 1.0}),
    (la.AssuranceSettings, {"near_probability": 0.0}),
    (la.AssuranceSettings, {"near_probability": 0.5}),
    (la.AssuranceSettings, {"near_join_s": -0.1}),
    (la.PhaseSettings, {"step_s": 0.0}), (la.PhaseSettings, {"step_s": -1.0}),
    (la.PhaseSettings, {"cruise_share": 0.0}), (la.PhaseSettings, {"cruise_share": 1.0}),
    (la.MeasureSettings, {"width_kt": 0.0}),
    (la.MeasureSettings, {"lowest_kt": 10.0, "highest_kt": 10.0}),
    (la.MeasureSettings, {"bands_kt": (0.0, 5.0, 5.0)}),
    (la.MeasureSettings, {"bands_mach": (0.0, 0.02, 0.01)})]
ALLOWED = [
    (la.AssuranceSettings, {"coverage": 0.01}), (la.AssuranceSettings, {"coverage": 0.99}),
    (la.AssuranceSettings, {"near_probability": 0.01}),
    (la.AssuranceSettings, {"near_probability": 0.49}),
    (la.AssuranceSettings, {"near_join_s": 0.0}),
    (la.PhaseSettings, {"step_s": 0.5}), (la.PhaseSettings, {"cruise_share": 0.01}),
    (la.PhaseSettings, {"cruise_share": 0.99}), (la.MeasureSettings, {"width_kt": 0.5}),
    (la.MeasureSettings, {"bands_kt": (0.0, 5.0, 10.0)})]


@pytest.mark.parametrize(("settings", "stated"), REFUSED)
def test_what_is_no_threshold_is_refused(settings, stated):
    with pytest.raises(ValueError, match=r"must|rise|rising"):
        settings(**stated)


@pytest.mark.parametrize(("settings", "stated"), ALLOWED)
def test_what_lies_within_the_bounds_is_taken(settings, stated):
    assert all(getattr(settings(**stated), name) == value for name, value in stated.items())
