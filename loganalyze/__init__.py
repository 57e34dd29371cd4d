"""Post-flight check of recorded flights against their airspeed and Mach limits.

In short: `assess` reads a recording, judges each of its flights and tells how sure the verdict is;
`read_log`, `analyze` and `assess_flight` are its steps. The public names load on first use, so that
``import loganalyze`` costs nothing. Public besides them, and documented where they stand:
`loganalyze.testing`, `loganalyze.air` (physics), `loganalyze.simulate` (flights of known truth),
`loganalyze.problems`, and the vocabulary of the recorder in `loganalyze.record.channels`, `.units`
and `.intervals`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from loganalyze.result_views import connect
from loganalyze.version import __version__ as __version__

if TYPE_CHECKING:
    from loganalyze.air.probes import CorrectionTable
    from loganalyze.airdata.air_data import AirData
    from loganalyze.airdata.condition_states import Recorded
    from loganalyze.airdata.configuration_outliers import CleanedChannels
    from loganalyze.comparison.flight_comparison import ComparedFlight, Comparison, compare
    from loganalyze.events.analysis import Analysis, analyze_flights
    from loganalyze.events.ceilings import AboveCeiling, CeilingMeasure
    from loganalyze.events.exceedances import Exceedance
    from loganalyze.events.recording_analysis import analyze, analyze_each
    from loganalyze.events.smallest_margins import Smallest
    from loganalyze.events.suspects import Suspect
    from loganalyze.explain.assessment import AssessSettings, assess_flight
    from loganalyze.explain.dial_reading import DialReading, dial_reading
    from loganalyze.explain.flight_measures import MeasureSettings
    from loganalyze.explain.overspeed_warning import WarningSettings
    from loganalyze.explain.pointer_movement import (
        AtConstantMach,
        PointerInstant,
        PointerMovement,
        TemperatureCase,
        pointer_movement,
    )
    from loganalyze.explain.recording_assessment import assess
    from loganalyze.explain.time_to_limit import ApproachSettings
    from loganalyze.explain.what_if import WhatIf, WhatIfSettings, WhatWouldHaveHelped, what_if
    from loganalyze.fleet.running.fleet_run import FleetReport, run_fleet
    from loganalyze.fleet.running.worker_pool import Workers
    from loganalyze.fleet.statistics.aircraft_errors import (
        InstrumentError,
        MeanEffect,
        aircraft_errors,
        mean_effect,
    )
    from loganalyze.fleet.statistics.event_rates import (
        EventRate,
        RateChange,
        event_rate,
        rate_change,
    )
    from loganalyze.fleet.statistics.extreme_values import MarginTail, Recurrence, margin_tail
    from loganalyze.fleet.statistics.fleet_priors import FleetPriors, fleet_priors
    from loganalyze.fleet.statistics.margin_tails import PhaseTail, fleet_margin_tails
    from loganalyze.fleet.statistics.outlying_flights import OutlyingFlight, outlying_flights
    from loganalyze.fleet.statistics.trend_tables import (
        TrendRow,
        Trends,
        fleet_trends,
        flights_behind,
    )
    from loganalyze.fleet.store.deidentified_export import export_deidentified
    from loganalyze.fleet.store.retention import Retained, retain
    from loganalyze.fleet.store.store_queries import connect_store
    from loganalyze.fleet.trend_report.trend_files import TrendFiles, write_trends
    from loganalyze.limits.evaluate import evaluate
    from loganalyze.limits.evaluation import Evaluation, LowestLimit
    from loganalyze.limits.limit_envelope import Crossing, Envelope, crossovers, limit_envelope
    from loganalyze.limits.sheet_plausibility import SheetRemark, sheet_remarks
    from loganalyze.phases.phase_definitions import PhaseSettings
    from loganalyze.phases.phase_detection import PHASES, phases_of
    from loganalyze.problems import Problem
    from loganalyze.read import read_flights, read_log
    from loganalyze.read.files.given_data import Frame, LogInput, Stream
    from loganalyze.read.flights.flight_boundaries import CutSettings
    from loganalyze.record.findings import Finding
    from loganalyze.record.flight_log import Channel, FlightLog, Source, Step
    from loganalyze.record.intervals import Intervals
    from loganalyze.record.quality_flags import QualityFlag
    from loganalyze.results.assessment_results import (
        NOT_DETERMINABLE,
        OUTCOMES,
        OVER_NOT_PROVEN,
        PROVEN_OVER,
        PROVEN_UNDER,
        UNDER_NOT_PROVEN,
        AssessedExceedance,
        Assessment,
        Assurance,
        Bound,
        Check,
        Contributions,
        Criterion,
        Greatest,
        LimitMeasure,
        MissedPeak,
        NearMiss,
        PhaseStretch,
        Severity,
        TimeToLimit,
        WarningFinding,
    )
    from loganalyze.results.evidence import (
        CANT_TELL,
        CONFIRMS,
        CONFIRMS_LESS,
        CONTRADICTS,
        Edge,
        Evidence,
        Reference,
    )
    from loganalyze.results.row_columns import RowColumns
    from loganalyze.sheets.columns_file import ColumnsFile, read_columns
    from loganalyze.sheets.evaluation_settings import Settings
    from loganalyze.sheets.fleet_file import FleetFile, read_fleet
    from loganalyze.sheets.limit_conditions import Condition
    from loganalyze.sheets.limits_sheet import Ceiling, Limit, LimitsSheet, read_limits
    from loganalyze.sheets.priors_file import PriorsFile, read_priors
    from loganalyze.show.comparison.comparison_folder import write_comparison
    from loganalyze.show.figures.contribution_bars import contributions_figure
    from loganalyze.show.figures.envelope_figure import envelope_figure
    from loganalyze.show.figures.envelope_track import track_figure
    from loganalyze.show.figures.exceedance_figure import panel_figure
    from loganalyze.show.figures.figure_style import Picture, save_figure
    from loganalyze.show.figures.margin_figure import margin_figure
    from loganalyze.show.figures.margin_histogram import histogram_figure
    from loganalyze.show.figures.speed_ruler import ruler_figure
    from loganalyze.show.files.log_summary import LogSummary, summarise
    from loganalyze.show.files.report_files import ReportOptions, write_reports
    from loganalyze.show.files.results_folder import ResultsFolder, write_results
    from loganalyze.text.facts import (
        AboveFacts,
        AssessmentFacts,
        CeilingFacts,
        ExceedanceFacts,
        FindingFacts,
        FlightFacts,
        InputFacts,
        LimitFacts,
        SmallestFacts,
        Summary,
    )
    from loganalyze.text.presentation import KMH_METRES, READERS, Presentation, Units
    from loganalyze.text.recording_facts import (
        ChannelFacts,
        FlagFacts,
        InferredFacts,
        QualityFacts,
        StepFacts,
        SuspectFacts,
    )
    from loganalyze.uncertainty.exceedance_probability import AssuranceSettings
    from loganalyze.uncertainty.prior_models import Prior, prior_of_margins, priors_of

_NAMES: dict[str, str] = {
    "loganalyze.air.probes": "CorrectionTable",
    "loganalyze.airdata.air_data": "AirData",
    "loganalyze.airdata.condition_states": "Recorded",
    "loganalyze.airdata.configuration_outliers": "CleanedChannels",
    "loganalyze.comparison.flight_comparison": "ComparedFlight Comparison compare",
    "loganalyze.events.analysis": "Analysis analyze_flights",
    "loganalyze.events.ceilings": "AboveCeiling CeilingMeasure",
    "loganalyze.events.exceedances": "Exceedance",
    "loganalyze.events.recording_analysis": "analyze analyze_each",
    "loganalyze.events.smallest_margins": "Smallest",
    "loganalyze.events.suspects": "Suspect",
    "loganalyze.explain.assessment": "AssessSettings assess_flight",
    "loganalyze.explain.dial_reading": "DialReading dial_reading",
    "loganalyze.explain.flight_measures": "MeasureSettings",
    "loganalyze.explain.overspeed_warning": "WarningSettings",
    "loganalyze.explain.pointer_movement": (
        "AtConstantMach PointerInstant PointerMovement TemperatureCase pointer_movement"
    ),
    "loganalyze.explain.recording_assessment": "assess",
    "loganalyze.explain.time_to_limit": "ApproachSettings",
    "loganalyze.explain.what_if": "WhatIf WhatIfSettings WhatWouldHaveHelped what_if",
    "loganalyze.fleet.statistics.aircraft_errors": (
        "InstrumentError MeanEffect aircraft_errors mean_effect"
    ),
    "loganalyze.fleet.statistics.event_rates": "EventRate RateChange event_rate rate_change",
    "loganalyze.fleet.statistics.extreme_values": "MarginTail Recurrence margin_tail",
    "loganalyze.fleet.statistics.fleet_priors": "FleetPriors fleet_priors",
    "loganalyze.fleet.statistics.margin_tails": "PhaseTail fleet_margin_tails",
    "loganalyze.fleet.running.fleet_run": "FleetReport run_fleet",
    "loganalyze.fleet.store.deidentified_export": "export_deidentified",
    "loganalyze.fleet.store.retention": "Retained retain",
    "loganalyze.fleet.store.store_queries": "connect_store",
    "loganalyze.fleet.statistics.outlying_flights": "OutlyingFlight outlying_flights",
    "loganalyze.fleet.statistics.trend_tables": "TrendRow Trends fleet_trends flights_behind",
    "loganalyze.fleet.running.worker_pool": "Workers",
    "loganalyze.fleet.trend_report.trend_files": "TrendFiles write_trends",
    "loganalyze.limits.evaluate": "evaluate",
    "loganalyze.limits.evaluation": "Evaluation LowestLimit",
    "loganalyze.limits.limit_envelope": "Crossing Envelope crossovers limit_envelope",
    "loganalyze.limits.sheet_plausibility": "SheetRemark sheet_remarks",
    "loganalyze.phases.phase_definitions": "PhaseSettings",
    "loganalyze.phases.phase_detection": "PHASES phases_of",
    "loganalyze.problems": "Problem",
    "loganalyze.read": "read_flights read_log",
    "loganalyze.read.files.given_data": "Frame LogInput Stream",
    "loganalyze.read.flights.flight_boundaries": "CutSettings",
    "loganalyze.record.findings": "Finding",
    "loganalyze.record.flight_log": "Channel FlightLog Source Step",
    "loganalyze.record.intervals": "Intervals",
    "loganalyze.record.quality_flags": "QualityFlag",
    "loganalyze.results.assessment_results": (
        "AssessedExceedance Assessment Assurance Bound Check Contributions Criterion Greatest "
        "LimitMeasure MissedPeak NOT_DETERMINABLE NearMiss OUTCOMES OVER_NOT_PROVEN PROVEN_OVER "
        "PROVEN_UNDER PhaseStretch Severity TimeToLimit UNDER_NOT_PROVEN WarningFinding"
    ),
    "loganalyze.results.evidence": (
        "CANT_TELL CONFIRMS CONFIRMS_LESS CONTRADICTS Edge Evidence Reference"
    ),
    "loganalyze.results.row_columns": "RowColumns",
    "loganalyze.sheets.columns_file": "ColumnsFile read_columns",
    "loganalyze.sheets.evaluation_settings": "Settings",
    "loganalyze.sheets.fleet_file": "FleetFile read_fleet",
    "loganalyze.sheets.limit_conditions": "Condition",
    "loganalyze.sheets.limits_sheet": "Ceiling Limit LimitsSheet read_limits",
    "loganalyze.sheets.priors_file": "PriorsFile read_priors",
    "loganalyze.show.comparison.comparison_folder": "write_comparison",
    "loganalyze.show.figures.contribution_bars": "contributions_figure",
    "loganalyze.show.figures.envelope_figure": "envelope_figure",
    "loganalyze.show.figures.envelope_track": "track_figure",
    "loganalyze.show.figures.exceedance_figure": "panel_figure",
    "loganalyze.show.figures.figure_style": "Picture save_figure",
    "loganalyze.show.figures.margin_figure": "margin_figure",
    "loganalyze.show.figures.margin_histogram": "histogram_figure",
    "loganalyze.show.figures.speed_ruler": "ruler_figure",
    "loganalyze.show.files.log_summary": "LogSummary summarise",
    "loganalyze.show.files.report_files": "ReportOptions write_reports",
    "loganalyze.show.files.results_folder": "ResultsFolder write_results",
    "loganalyze.text.facts": (
        "AboveFacts AssessmentFacts CeilingFacts ExceedanceFacts FindingFacts FlightFacts "
        "InputFacts LimitFacts SmallestFacts Summary"
    ),
    "loganalyze.text.presentation": "KMH_METRES Presentation READERS Units",
    "loganalyze.text.recording_facts": (
        "ChannelFacts FlagFacts InferredFacts QualityFacts StepFacts SuspectFacts"
    ),
    "loganalyze.uncertainty.exceedance_probability": "AssuranceSettings",
    "loganalyze.uncertainty.prior_models": "Prior prior_of_margins priors_of",
}
"""The public names of each module, by blanks."""

_HOMES = {name: module for module, names in _NAMES.items() for name in names.split()}

__all__ = [
    "CANT_TELL", "CONFIRMS", "CONFIRMS_LESS", "CONTRADICTS", "KMH_METRES", "NOT_DETERMINABLE",
    "OUTCOMES", "OVER_NOT_PROVEN", "PHASES", "PROVEN_OVER", "PROVEN_UNDER", "READERS",
    "UNDER_NOT_PROVEN", "AboveCeiling", "AboveFacts", "AirData", "Analysis", "ApproachSettings",
    "AssessSettings", "AssessedExceedance", "Assessment", "AssessmentFacts", "Assurance",
    "AssuranceSettings", "AtConstantMach", "Bound", "Ceiling", "CeilingFacts", "CeilingMeasure",
    "Channel", "ChannelFacts", "Check", "CleanedChannels", "ColumnsFile", "ComparedFlight",
    "Comparison", "Condition", "Contributions", "CorrectionTable", "Criterion", "Crossing",
    "CutSettings", "DialReading", "Edge", "Envelope", "Evaluation", "EventRate", "Evidence",
    "Exceedance", "ExceedanceFacts", "Finding", "FindingFacts", "FlagFacts", "FleetFile",
    "FleetPriors", "FleetReport", "FlightFacts", "FlightLog", "Frame", "Greatest", "InferredFacts",
    "InputFacts", "InstrumentError", "Intervals", "Limit", "LimitFacts", "LimitMeasure",
    "LimitsSheet", "LogInput", "LogSummary", "LowestLimit", "MarginTail", "MeanEffect",
    "MeasureSettings", "MissedPeak", "NearMiss", "OutlyingFlight", "PhaseSettings", "PhaseStretch",
    "PhaseTail", "Picture", "PointerInstant", "PointerMovement", "Presentation", "Prior",
    "PriorsFile", "Problem", "QualityFacts", "QualityFlag", "RateChange", "Recorded", "Recurrence",
    "Reference", "ReportOptions", "ResultsFolder", "Retained", "RowColumns", "Settings", "Severity",
    "SheetRemark", "Smallest", "SmallestFacts", "Source", "Step", "StepFacts", "Stream", "Summary",
    "Suspect", "SuspectFacts", "TemperatureCase", "TimeToLimit", "TrendFiles", "TrendRow", "Trends",
    "Units", "WarningFinding", "WarningSettings", "WhatIf", "WhatIfSettings",
    "WhatWouldHaveHelped", "Workers",
    "aircraft_errors", "analyze", "analyze_each", "analyze_flights", "assess", "assess_flight",
    "compare", "connect_store", "contributions_figure", "crossovers", "dial_reading",
    "envelope_figure", "evaluate", "event_rate", "export_deidentified", "fleet_margin_tails",
    "fleet_priors", "fleet_trends", "flights_behind", "histogram_figure", "limit_envelope",
    "margin_figure", "margin_tail", "mean_effect", "outlying_flights", "panel_figure", "phases_of",
    "pointer_movement", "prior_of_margins", "priors_of", "rate_change", "read_columns",
    "read_fleet", "read_flights", "read_limits", "read_log", "read_priors", "retain",
    "ruler_figure", "run_fleet", "save_figure", "sheet_remarks", "summarise", "track_figure",
    "what_if", "write_comparison", "write_reports", "write_results", "write_trends",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])


def _maker(function: str) -> Any:
    def make(*given: Any) -> Any:
        views = import_module("loganalyze.show.notebook.notebook_views")
        return getattr(views, function)(*given)
    return make


for _view in ("html", "measures", "samples", "table"):
    connect(_view, _maker(_view))
