"""Post-flight check of recorded flights against their airspeed and Mach limits.

The public names load on first use, so that ``import loganalyze`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from loganalyze.version import __version__ as __version__

if TYPE_CHECKING:
    from loganalyze.events.analysis import Analysis, analyze
    from loganalyze.explain.assessment import AssessSettings, assess_flight
    from loganalyze.limits.evaluate import evaluate
    from loganalyze.limits.limit_envelope import limit_envelope
    from loganalyze.problems import Problem
    from loganalyze.read import read_flights, read_log
    from loganalyze.record.flight_log import FlightLog
    from loganalyze.results.assessment_results import Assessment
    from loganalyze.sheets.evaluation_settings import Settings
    from loganalyze.sheets.limits_sheet import LimitsSheet, read_limits
    from loganalyze.show.figures.contribution_bars import contributions_figure
    from loganalyze.show.figures.envelope_figure import envelope_figure
    from loganalyze.show.figures.envelope_track import track_figure
    from loganalyze.show.figures.exceedance_figure import panel_figure
    from loganalyze.show.figures.margin_figure import margin_figure
    from loganalyze.show.figures.margin_histogram import histogram_figure
    from loganalyze.show.files.report_files import write_reports
    from loganalyze.show.files.results_folder import write_results

_HOMES = {
    "Analysis": "loganalyze.events.analysis",
    "AssessSettings": "loganalyze.explain.assessment",
    "Assessment": "loganalyze.results.assessment_results",
    "FlightLog": "loganalyze.record.flight_log",
    "LimitsSheet": "loganalyze.sheets.limits_sheet",
    "Problem": "loganalyze.problems",
    "Settings": "loganalyze.sheets.evaluation_settings",
    "analyze": "loganalyze.events.analysis",
    "assess_flight": "loganalyze.explain.assessment",
    "contributions_figure": "loganalyze.show.figures.contribution_bars",
    "envelope_figure": "loganalyze.show.figures.envelope_figure",
    "evaluate": "loganalyze.limits.evaluate",
    "histogram_figure": "loganalyze.show.figures.margin_histogram",
    "limit_envelope": "loganalyze.limits.limit_envelope",
    "margin_figure": "loganalyze.show.figures.margin_figure",
    "panel_figure": "loganalyze.show.figures.exceedance_figure",
    "read_flights": "loganalyze.read",
    "read_limits": "loganalyze.sheets.limits_sheet",
    "read_log": "loganalyze.read",
    "track_figure": "loganalyze.show.figures.envelope_track",
    "write_reports": "loganalyze.show.files.report_files",
    "write_results": "loganalyze.show.files.results_folder",
}

__all__ = [
    "Analysis",
    "AssessSettings",
    "Assessment",
    "FlightLog",
    "LimitsSheet",
    "Problem",
    "Settings",
    "analyze",
    "assess_flight",
    "contributions_figure",
    "envelope_figure",
    "evaluate",
    "histogram_figure",
    "limit_envelope",
    "margin_figure",
    "panel_figure",
    "read_flights",
    "read_limits",
    "read_log",
    "track_figure",
    "write_reports",
    "write_results",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
