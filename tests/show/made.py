"""A hand-made assessment, so that reports can be held to known words and numbers."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from loganalyze import (
    PROVEN_OVER,
    UNDER_NOT_PROVEN,
    Analysis,
    AssessedExceedance,
    Assessment,
    Assurance,
    Check,
    Contributions,
    LimitMeasure,
    MissedPeak,
    NearMiss,
    PhaseStretch,
    Severity,
    TimeToLimit,
    WarningFinding,
)


def assurance(basis: str, excess: float, word: str = PROVEN_OVER, probability: float = 0.9996
              ) -> Assurance:
    """An excess with an interval of 2 about it."""
    return Assurance(basis, excess, 1.0, 0.2, probability, excess - 2, excess + 2, word)


CAUSES = Contributions(40.0, 50.0, 20.0, 2.0, 0.0, 12.5, 7.0, -1.5, 0.0, 14.0, 8.0,
                       greatest_load_factor=1.4)

FURTHER = replace(CAUSES, start_s=50.0, end_s=54.0, lost_kt=3.0, height_trade_kt=-4.5)

CONTEXT = {"autopilot": 1.0, "overspeed_warning": 0.0, "weight_kg": 8123.0, "pitch_deg": -3.2,
           "load_factor_g": 1.12, "indicated_airspeed_2_kt": 251.0}


def assessment_of(analysis: Analysis) -> Assessment:
    """An assessment of any analysis, with something in every part."""
    rows = len(analysis.time)
    exceedances = tuple(
        AssessedExceedance(
            i + 1, "descent", assurance("as displayed", one.worst_excess_kt),
            assurance("as flown", one.worst_excess_kt), MissedPeak(0.1, 0.25),
            Severity("medium", "a rule", True), ((0.0, one.time_over_s), (5.0, 3.0)), (), CAUSES,
            50.0, FURTHER, CONTEXT)
        for i, one in enumerate(analysis.exceedances))
    near = NearMiss("MMO", 20.0, 24.0, 22.0, 0.003, 1.5, 5000.0, "climb",
                    assurance("as displayed", -0.003, UNDER_NOT_PROVEN, 0.2),
                    assurance("as flown", -0.003, UNDER_NOT_PROVEN, 0.2), None)
    bins = tuple((float(edge), 10.0) for edge in range(-6, 20, 2))
    measures = tuple(
        LimitMeasure(one.limit, one.margin_kt, one.margin_mach, one.time_s,
                     one.pressure_altitude_ft, "descent", ((5.0, 12.0), (10.0, 30.0)), bins,
                     170.0, 30.0, CAUSES)
        for one in analysis.smallest)
    return Assessment(
        analysis,
        {"margin_u_kt": np.full(rows, 1.2, np.float32),
         "phase": (np.arange(rows) * 3 // rows + 6).astype(np.uint8)},
        exceedances, (near,),
        (PhaseStretch("climb", 0.0, 60.0), PhaseStretch("descent", 60.0, 200.0)),
        measures, 250.0, 0.41, TimeToLimit("VMO", 12.5, 45.0, 10.0, 0.8, "descent"),
        (WarningFinding("late", "VMO", 52.0, 58.0, {
            "speed_kt": 249.5, "limit_kt": 245.0, "threshold_kt": 251.0, "excess_kt": 4.5,
            "tolerance_kt": 3.0, "late_s": 2.5}),),
        (Check("two_sources", True, {"channel": "indicated_airspeed", "samples": 190,
                                     "median_difference": 0.4, "spread": 0.2, "allowed": 3.0}),),
        (("airspeed", "the limits sheet", 0.8),))


def nothing_known(value: Any) -> Any:
    """The same with every number NaN, codes and words kept."""
    if isinstance(value, float):
        return math.nan
    if isinstance(value, tuple):
        return tuple(nothing_known(one) for one in value)
    if isinstance(value, dict):
        return {key: nothing_known(one) for key, one in value.items()}
    if isinstance(value, np.ndarray):
        return np.full_like(value, np.nan) if value.dtype.kind == "f" else value
    if is_dataclass(value) and not isinstance(value, Analysis) and not isinstance(value, type):
        return replace(value, **{field.name: nothing_known(getattr(value, field.name))
                                 for field in fields(value)})
    return value
