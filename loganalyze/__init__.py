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
    from loganalyze.events.analysis import Analysis, analyze_flights
    from loganalyze.events.ceilings import AboveCeiling, CeilingMeasure
    from loganalyze.events.exceedances import Exceedance
    from loganalyze.events.recording_analysis import analyze, analyze_each
    from loganalyze.events.smallest_margins import Smallest
    from loganalyze.events.suspects import Suspect
    from loganalyze.explain.assessment import AssessSettings, assess_flight
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
    from loganalyze.fleet.fleet_run import FleetReport, run_fleet
    from loganalyze.fleet.store_queries import connect_store
    from loganalyze.limits.evaluate import evaluate
    from loganalyze.limits.evaluation import Evaluation, LowestLimit
    from loganalyze.limits.limit_envelope import Crossing, Envelope, crossovers, limit_envelope
    from loganalyze.phases.phase_definitions import PhaseSettings
    from loganalyze.phases.phase_detection import PHASES
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
    from loganalyze.sheets.columns_file import ColumnsFile, read_columns
    from loganalyze.sheets.evaluation_settings import Settings
    from loganalyze.sheets.fleet_file import FleetFile, read_fleet
    from loganalyze.sheets.limit_conditions import Condition
    from loganalyze.sheets.limits_sheet import Ceiling, Limit, LimitsSheet, read_limits
    from loganalyze.sheets.priors_file import PriorsFile, read_priors
    from loganalyze.show.figures.contribution_bars import contributions_figure
    from loganalyze.show.figures.envelope_figure import envelope_figure
    from loganalyze.show.figures.envelope_track import track_figure
    from loganalyze.show.figures.exceedance_figure import panel_figure
    from loganalyze.show.figures.figure_style import Picture, save_figure
    from loganalyze.show.figures.margin_figure import margin_figure
    from loganalyze.show.figures.margin_histogram import histogram_figure
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

_HOMES = {
    "AboveCeiling": "loganalyze.events.ceilings",
    "AboveFacts": "loganalyze.text.facts",
    "AirData": "loganalyze.airdata.air_data",
    "Analysis": "loganalyze.events.analysis",
    "ApproachSettings": "loganalyze.explain.time_to_limit",
    "AssessSettings": "loganalyze.explain.assessment",
    "AssessedExceedance": "loganalyze.results.assessment_results",
    "Assessment": "loganalyze.results.assessment_results",
    "AssessmentFacts": "loganalyze.text.facts",
    "Assurance": "loganalyze.results.assessment_results",
    "AssuranceSettings": "loganalyze.uncertainty.exceedance_probability",
    "AtConstantMach": "loganalyze.explain.pointer_movement",
    "Bound": "loganalyze.results.assessment_results",
    "CANT_TELL": "loganalyze.results.evidence",
    "CONFIRMS": "loganalyze.results.evidence",
    "CONFIRMS_LESS": "loganalyze.results.evidence",
    "CONTRADICTS": "loganalyze.results.evidence",
    "Ceiling": "loganalyze.sheets.limits_sheet",
    "CeilingFacts": "loganalyze.text.facts",
    "CeilingMeasure": "loganalyze.events.ceilings",
    "Channel": "loganalyze.record.flight_log",
    "ChannelFacts": "loganalyze.text.recording_facts",
    "Check": "loganalyze.results.assessment_results",
    "ColumnsFile": "loganalyze.sheets.columns_file",
    "Condition": "loganalyze.sheets.limit_conditions",
    "Criterion": "loganalyze.results.assessment_results",
    "Contributions": "loganalyze.results.assessment_results",
    "CorrectionTable": "loganalyze.air.probes",
    "Crossing": "loganalyze.limits.limit_envelope",
    "CutSettings": "loganalyze.read.flights.flight_boundaries",
    "Edge": "loganalyze.results.evidence",
    "Envelope": "loganalyze.limits.limit_envelope",
    "Evaluation": "loganalyze.limits.evaluation",
    "Evidence": "loganalyze.results.evidence",
    "Exceedance": "loganalyze.events.exceedances",
    "ExceedanceFacts": "loganalyze.text.facts",
    "Finding": "loganalyze.record.findings",
    "FindingFacts": "loganalyze.text.facts",
    "FlagFacts": "loganalyze.text.recording_facts",
    "FleetFile": "loganalyze.sheets.fleet_file",
    "FleetReport": "loganalyze.fleet.fleet_run",
    "FlightFacts": "loganalyze.text.facts",
    "FlightLog": "loganalyze.record.flight_log",
    "Frame": "loganalyze.read.files.given_data",
    "Greatest": "loganalyze.results.assessment_results",
    "InferredFacts": "loganalyze.text.recording_facts",
    "InputFacts": "loganalyze.text.facts",
    "Intervals": "loganalyze.record.intervals",
    "KMH_METRES": "loganalyze.text.presentation",
    "Limit": "loganalyze.sheets.limits_sheet",
    "LimitFacts": "loganalyze.text.facts",
    "LimitMeasure": "loganalyze.results.assessment_results",
    "LimitsSheet": "loganalyze.sheets.limits_sheet",
    "LogInput": "loganalyze.read.files.given_data",
    "LogSummary": "loganalyze.show.files.log_summary",
    "LowestLimit": "loganalyze.limits.evaluation",
    "MeasureSettings": "loganalyze.explain.flight_measures",
    "MissedPeak": "loganalyze.results.assessment_results",
    "NOT_DETERMINABLE": "loganalyze.results.assessment_results",
    "NearMiss": "loganalyze.results.assessment_results",
    "OUTCOMES": "loganalyze.results.assessment_results",
    "OVER_NOT_PROVEN": "loganalyze.results.assessment_results",
    "PHASES": "loganalyze.phases.phase_detection",
    "PROVEN_OVER": "loganalyze.results.assessment_results",
    "PROVEN_UNDER": "loganalyze.results.assessment_results",
    "PhaseSettings": "loganalyze.phases.phase_definitions",
    "PhaseStretch": "loganalyze.results.assessment_results",
    "Picture": "loganalyze.show.figures.figure_style",
    "PointerInstant": "loganalyze.explain.pointer_movement",
    "PointerMovement": "loganalyze.explain.pointer_movement",
    "Presentation": "loganalyze.text.presentation",
    "Prior": "loganalyze.uncertainty.prior_models",
    "PriorsFile": "loganalyze.sheets.priors_file",
    "Problem": "loganalyze.problems",
    "QualityFacts": "loganalyze.text.recording_facts",
    "QualityFlag": "loganalyze.record.quality_flags",
    "READERS": "loganalyze.text.presentation",
    "Recorded": "loganalyze.airdata.condition_states",
    "Reference": "loganalyze.results.evidence",
    "ReportOptions": "loganalyze.show.files.report_files",
    "ResultsFolder": "loganalyze.show.files.results_folder",
    "Settings": "loganalyze.sheets.evaluation_settings",
    "Severity": "loganalyze.results.assessment_results",
    "Smallest": "loganalyze.events.smallest_margins",
    "SmallestFacts": "loganalyze.text.facts",
    "Source": "loganalyze.record.flight_log",
    "Step": "loganalyze.record.flight_log",
    "StepFacts": "loganalyze.text.recording_facts",
    "Stream": "loganalyze.read.files.given_data",
    "Summary": "loganalyze.text.facts",
    "Suspect": "loganalyze.events.suspects",
    "SuspectFacts": "loganalyze.text.recording_facts",
    "TemperatureCase": "loganalyze.explain.pointer_movement",
    "TimeToLimit": "loganalyze.results.assessment_results",
    "UNDER_NOT_PROVEN": "loganalyze.results.assessment_results",
    "Units": "loganalyze.text.presentation",
    "WarningFinding": "loganalyze.results.assessment_results",
    "WarningSettings": "loganalyze.explain.overspeed_warning",
    "analyze": "loganalyze.events.recording_analysis",
    "analyze_each": "loganalyze.events.recording_analysis",
    "analyze_flights": "loganalyze.events.analysis",
    "assess": "loganalyze.explain.recording_assessment",
    "assess_flight": "loganalyze.explain.assessment",
    "connect_store": "loganalyze.fleet.store_queries",
    "contributions_figure": "loganalyze.show.figures.contribution_bars",
    "crossovers": "loganalyze.limits.limit_envelope",
    "envelope_figure": "loganalyze.show.figures.envelope_figure",
    "evaluate": "loganalyze.limits.evaluate",
    "histogram_figure": "loganalyze.show.figures.margin_histogram",
    "limit_envelope": "loganalyze.limits.limit_envelope",
    "margin_figure": "loganalyze.show.figures.margin_figure",
    "panel_figure": "loganalyze.show.figures.exceedance_figure",
    "pointer_movement": "loganalyze.explain.pointer_movement",
    "prior_of_margins": "loganalyze.uncertainty.prior_models",
    "priors_of": "loganalyze.uncertainty.prior_models",
    "read_columns": "loganalyze.sheets.columns_file",
    "read_fleet": "loganalyze.sheets.fleet_file",
    "read_flights": "loganalyze.read",
    "read_limits": "loganalyze.sheets.limits_sheet",
    "read_log": "loganalyze.read",
    "read_priors": "loganalyze.sheets.priors_file",
    "run_fleet": "loganalyze.fleet.fleet_run",
    "save_figure": "loganalyze.show.figures.figure_style",
    "summarise": "loganalyze.show.files.log_summary",
    "track_figure": "loganalyze.show.figures.envelope_track",
    "write_reports": "loganalyze.show.files.report_files",
    "write_results": "loganalyze.show.files.results_folder",

}

__all__ = [
    "CANT_TELL",
    "CONFIRMS",
    "CONFIRMS_LESS",
    "CONTRADICTS",
    "KMH_METRES",
    "NOT_DETERMINABLE",
    "OUTCOMES",
    "OVER_NOT_PROVEN",
    "PHASES",
    "PROVEN_OVER",
    "PROVEN_UNDER",
    "READERS",
    "UNDER_NOT_PROVEN",
    "AboveCeiling",
    "AboveFacts",
    "AirData",
    "Analysis",
    "ApproachSettings",
    "AssessSettings",
    "AssessedExceedance",
    "Assessment",
    "AssessmentFacts",
    "Assurance",
    "AssuranceSettings",
    "AtConstantMach",
    "Bound",
    "Ceiling",
    "CeilingFacts",
    "CeilingMeasure",
    "Channel",
    "ChannelFacts",
    "Check",
    "ColumnsFile",
    "Condition",
    "Contributions",
    "CorrectionTable",
    "Criterion",
    "Crossing",
    "CutSettings",
    "Edge",
    "Envelope",
    "Evaluation",
    "Evidence",
    "Exceedance",
    "ExceedanceFacts",
    "Finding",
    "FindingFacts",
    "FlagFacts",
    "FleetFile",
    "FleetReport",
    "FlightFacts",
    "FlightLog",
    "Frame",
    "Greatest",
    "InferredFacts",
    "InputFacts",
    "Intervals",
    "Limit",
    "LimitFacts",
    "LimitMeasure",
    "LimitsSheet",
    "LogInput",
    "LogSummary",
    "LowestLimit",
    "MeasureSettings",
    "MissedPeak",
    "NearMiss",
    "PhaseSettings",
    "PhaseStretch",
    "Picture",
    "PointerInstant",
    "PointerMovement",
    "Presentation",
    "Prior",
    "PriorsFile",
    "Problem",
    "QualityFacts",
    "QualityFlag",
    "Recorded",
    "Reference",
    "ReportOptions",
    "ResultsFolder",
    "Settings",
    "Severity",
    "Smallest",
    "SmallestFacts",
    "Source",
    "Step",
    "StepFacts",
    "Stream",
    "Summary",
    "Suspect",
    "SuspectFacts",
    "TemperatureCase",
    "TimeToLimit",
    "Units",
    "WarningFinding",
    "WarningSettings",
    "analyze",
    "analyze_each",
    "analyze_flights",
    "assess",
    "assess_flight",
    "connect_store",
    "contributions_figure",
    "crossovers",
    "envelope_figure",
    "evaluate",
    "histogram_figure",
    "limit_envelope",
    "margin_figure",
    "panel_figure",
    "pointer_movement",
    "prior_of_margins",
    "priors_of",
    "read_columns",
    "read_fleet",
    "read_flights",
    "read_limits",
    "read_log",
    "read_priors",
    "run_fleet",
    "save_figure",
    "summarise",
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


def _maker(function: str) -> Any:
    def make(*given: Any) -> Any:
        views = import_module("loganalyze.show.notebook.notebook_views")
        return getattr(views, function)(*given)
    return make


for _view in ("html", "measures", "samples", "table"):
    connect(_view, _maker(_view))
