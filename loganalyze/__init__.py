"""Post-flight check of recorded flights against their airspeed and Mach limits.

The public names load on first use, so that ``import loganalyze`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from loganalyze.version import __version__ as __version__

if TYPE_CHECKING:
    from loganalyze.assess.flight import AssessSettings, assess_flight
    from loganalyze.assess.results import Assessment
    from loganalyze.judge.envelope import limit_envelope
    from loganalyze.judge.flight import Analysis, analyze
    from loganalyze.judge.settings import Settings
    from loganalyze.problems import Problem
    from loganalyze.read import read_flights, read_log
    from loganalyze.record.log import FlightLog
    from loganalyze.sheets.limits import LimitsSheet, read_limits
    from loganalyze.show.contributions_figure import contributions_figure
    from loganalyze.show.envelope import envelope_figure
    from loganalyze.show.figures import margin_figure
    from loganalyze.show.histogram_figure import histogram_figure
    from loganalyze.show.panel_figure import panel_figure
    from loganalyze.show.reports import write_reports
    from loganalyze.show.results import write_results
    from loganalyze.show.track_figure import track_figure

_HOMES = {
    "Analysis": "loganalyze.judge.flight",
    "AssessSettings": "loganalyze.assess.flight",
    "Assessment": "loganalyze.assess.results",
    "FlightLog": "loganalyze.record.log",
    "LimitsSheet": "loganalyze.sheets.limits",
    "Problem": "loganalyze.problems",
    "Settings": "loganalyze.judge.settings",
    "analyze": "loganalyze.judge.flight",
    "assess_flight": "loganalyze.assess.flight",
    "contributions_figure": "loganalyze.show.contributions_figure",
    "envelope_figure": "loganalyze.show.envelope",
    "histogram_figure": "loganalyze.show.histogram_figure",
    "limit_envelope": "loganalyze.judge.envelope",
    "margin_figure": "loganalyze.show.figures",
    "panel_figure": "loganalyze.show.panel_figure",
    "read_flights": "loganalyze.read",
    "read_limits": "loganalyze.sheets.limits",
    "read_log": "loganalyze.read",
    "track_figure": "loganalyze.show.track_figure",
    "write_reports": "loganalyze.show.reports",
    "write_results": "loganalyze.show.results",
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
