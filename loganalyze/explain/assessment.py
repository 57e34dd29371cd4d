"""The assessment of a flight: probability, severity, phase, causes and measures."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from loganalyze.crosscheck.corroboration import capped, evidence_of
from loganalyze.crosscheck.flight_checks import checks_of
from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.explain.flight_measures import MeasureSettings, highest, measures_of
from loganalyze.explain.margin_contributions import contributions, worsening
from loganalyze.explain.overspeed_warning import WarningSettings, warnings_of
from loganalyze.explain.severity import grade
from loganalyze.explain.time_to_limit import ApproachSettings, shortest_time_to_limit
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.phases.phase_detection import PHASES, phases_of
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import Step
from loganalyze.results.assessment_results import (
    AssessedExceedance,
    Assessment,
    Contributions,
    LimitMeasure,
    NearMiss,
)
from loganalyze.sheets.sensor_tolerances import WIDEST
from loganalyze.uncertainty.decision_rule import RULE
from loganalyze.uncertainty.error_budget import AIRSPEED, ALTITUDE, TEMPERATURE
from loganalyze.uncertainty.exceedance_probability import AssuranceSettings, assured
from loganalyze.uncertainty.interval_bounds import bounded
from loganalyze.uncertainty.near_misses import near_misses
from loganalyze.uncertainty.prior_models import Prior
from loganalyze.uncertainty.sample_uncertainty import Uncertainty, uncertainty_of

Codes = NDArray[np.uint8]

SUFFIXES = {"kt": "_kt", "ft": "_ft", "degC": "_degc", "hPa": "_hpa", "deg": "_deg", "kg": "_kg",
            "%": "_pct", "g": "_g", "ft/min": "_fpm"}
"""Suffix of a channel's name in the context of an exceedance, by its unit."""

SUCCESSION_S = 30.0
"""Exceedances of one limit less than this apart [s] have one run-in; engineering judgement."""

_KNOWN_OTHERWISE = frozenset((
    "pressure_altitude", "indicated_airspeed", "calibrated_airspeed", "static_pressure",
    "total_pressure", "impact_pressure", "latitude", "longitude"))
"""Channels that the exceedance itself states, or that would identify its place."""


@dataclass(frozen=True, slots=True)
class AssessSettings:
    """Every threshold of the assessment, by part. All are recorded with the results."""

    assurance: AssuranceSettings = field(default_factory=AssuranceSettings)
    phases: PhaseSettings = field(default_factory=PhaseSettings)
    approach: ApproachSettings = field(default_factory=ApproachSettings)
    measures: MeasureSettings = field(default_factory=MeasureSettings)
    warnings: WarningSettings = field(default_factory=WarningSettings)


def assess_flight(
    analysis: Analysis,
    *,
    settings: AssessSettings | None = None,
    priors: Mapping[str, Prior] | None = None,
    explained: bool = True,
) -> Assessment:
    """Assess one flight: how sure, how serious, in which phase, and why.

    Parameters
    ----------
    analysis : Analysis
        The judged flight. Nothing in it changes.
    settings : AssessSettings, optional
        The thresholds.
    priors : mapping of str to Prior, optional
        How often margins occur in the fleet, by limit; a limit without one gets the flat prior.
    explained : bool
        Say also what only a reader of this one flight asks for: why margin was lost where no limit
        was exceeded (before near stretches, and before each limit's smallest margin), how soon a
        limit would have been reached, and the margins' histograms. Without, their ``contributions``
        and ``shortest_time_to_limit`` are None, and each ``histogram`` is empty.

    Returns
    -------
    Assessment
        Its ``exceedances`` run parallel to those of the analysis.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> [exceedance.severity.level for exceedance in la.assess_flight(flight).exceedances]
    ['medium', 'medium']
    """
    settings = settings or AssessSettings()
    uncertainty, widest = uncertainty_of(analysis), uncertainty_of(analysis, WIDEST)
    phases, stretches = phases_of(analysis, settings.phases)
    why = _Why(analysis)
    below = why if explained else None
    near = tuple(_with_causes(near_miss, analysis, phases, below) for near_miss in _with_bounds(
        uncertainty, widest, near_misses(uncertainty, settings.assurance, priors)))
    measures = tuple(
        _explained(measure, below)
        for measure in measures_of(
            analysis, phases, settings.measures, histograms=explained))
    fastest, highest_mach = highest(analysis)
    exceedances = _with_bounds(
        uncertainty, widest, _exceedances(uncertainty, settings, priors, phases, why))
    return Assessment(
        analysis=analysis,
        columns=uncertainty.columns.beside({"phase": phases}),
        exceedances=exceedances,
        near=near,
        phases=stretches,
        measures=measures,
        highest_calibrated_airspeed_kt=fastest,
        highest_mach=highest_mach,
        shortest_time_to_limit=shortest_time_to_limit(analysis, phases, settings.approach)
        if explained else None,
        warnings=warnings_of(analysis, settings.warnings),
        checks=checks_of(analysis, uncertainty.columns, _sensors(uncertainty),
                         [exceedance.evidence for exceedance in exceedances]),
        tolerances=uncertainty.tolerances,
        widest=tuple(tolerance for tolerance in widest.tolerances
                     if tolerance not in uncertainty.tolerances),
        steps=(*analysis.steps, uncertainty.step,
               Step("decision", {"rule": RULE, "coverage": settings.assurance.coverage}),
               *_settings_steps(settings)),
    )


@lru_cache(maxsize=4)
def _settings_steps(settings: AssessSettings) -> tuple[Step, ...]:
    """Return the steps that record the thresholds."""
    return tuple(Step(name, asdict(getattr(settings, name)))
                 for name in ("assurance", "phases", "approach", "measures", "warnings"))


@dataclass(frozen=True, eq=False)
class _Why:
    """Contributions to the loss of margin before instants of one flight.

    The stretch explained never extends across an earlier exceedance.
    """

    analysis: Analysis

    @cached_property
    def ends(self) -> list[float]:
        """Ends [s] of the exceedances of speed limits, ascending; there may be thousands."""
        return sorted(exceedance.end_s for exceedance in self.analysis.exceedances
                      if quantity_of(exceedance.quantity).is_speed)

    def at(self, time_s: float, limit: str) -> Contributions | None:
        """Return the contributions before an instant; `limit` "" : to the limit airspeed."""
        if np.isnan(time_s):
            return None
        analysis = self.analysis
        earlier = bisect_right(self.ends, time_s)
        return contributions(
            analysis, row_at(analysis, time_s),
            analysis.limit_names.index(limit) if limit else None,
            self.ends[earlier - 1] if earlier else -np.inf)

    @cached_property
    def run_ins(self) -> tuple[Contributions | None, ...]:
        """Return the contributions before each exceedance's first crossing of its limit.

        Exceedances of one limit less than SUCCESSION_S apart share those of the first of them.
        """
        run_ins: list[Contributions | None] = []
        last: dict[str, tuple[float, Contributions | None]] = {}
        for exceedance in self.analysis.exceedances:
            end, run_in = last.get(exceedance.limit, (-np.inf, None))
            if exceedance.start_s - end >= SUCCESSION_S:
                run_in = self.at(self.crossing(exceedance), exceedance.limit)
            run_ins.append(run_in)
            last[exceedance.limit] = max(end, exceedance.end_s), run_in
        return tuple(run_ins)

    def crossing(self, exceedance: Exceedance) -> float:
        """Return the time of the first sample over the limit."""
        return min(float(self.analysis.time[row_at(self.analysis, exceedance.start_s)]),
                   exceedance.worst_time_s)

    def worsening(self, exceedance: Exceedance) -> Contributions | None:
        """Return the contributions to the excess from the first sample over to the worst one."""
        analysis = self.analysis
        return worsening(analysis, row_at(analysis, self.crossing(exceedance)),
                         row_at(analysis, exceedance.worst_time_s),
                         analysis.limit_names.index(exceedance.limit))


def row_at(analysis: Analysis, time_s: float) -> int:
    """Return the row of the sample at a time [s] reported by the analysis."""
    row = int(np.searchsorted(analysis.time, time_s))
    return min(row, len(analysis.time) - 1)


def _exceedances(
    uncertainty: Uncertainty, settings: AssessSettings, priors: Mapping[str, Prior] | None,
    phases: Codes, why: _Why,
) -> tuple[AssessedExceedance, ...]:
    analysis = uncertainty.analysis
    context = _Context(analysis)
    found = []
    certain = assured(uncertainty, settings.assurance, priors)
    for index, (exceedance, sure, graded, evidence) in enumerate(zip(
            analysis.exceedances, certain, grade(analysis, [sure.flown for sure in certain]),
            evidence_of(analysis), strict=True)):
        row = row_at(analysis, exceedance.worst_time_s)
        found.append(AssessedExceedance(
            number=index + 1,
            phase=PHASES[phases[row]],
            displayed=capped(sure.displayed, evidence),
            flown=capped(sure.flown, evidence),
            missed_peak=sure.missed_peak,
            severity=graded.severity,
            ladder_kt=graded.ladder_kt,
            ladder_mach=graded.ladder_mach,
            ladder=graded.ladder,
            contributions=why.run_ins[index],
            crossing_s=why.crossing(exceedance),
            worsening=why.worsening(exceedance),
            context=context.at(row),
            evidence=evidence,
            severity_levels=graded.levels,
            ladder_probability_kt=graded.reached_kt,
            ladder_probability_mach=graded.reached_mach,
            ladder_probability=graded.reached,
        ))
    return tuple(found)


Assured = TypeVar("Assured", AssessedExceedance, NearMiss)


def _with_bounds(
    uncertainty: Uncertainty, widest: Uncertainty, found: tuple[Assured, ...]
) -> tuple[Assured, ...]:
    """Add to each its dominating error and the widest bounds of its intervals."""
    analysis = uncertainty.analysis
    at = []
    for assessed in found:
        event = (analysis.exceedances[assessed.number - 1]
                 if isinstance(assessed, AssessedExceedance) else assessed)
        time_s = event.time_s if isinstance(event, NearMiss) else event.worst_time_s
        at.append((analysis.limit_names.index(event.limit), row_at(analysis, time_s)))
    pairs = bounded(uncertainty, widest, at,
                    [(assessed.displayed, assessed.flown) for assessed in found])
    return tuple(replace(assessed, displayed=displayed, flown=flown)
                 for assessed, (displayed, flown) in zip(found, pairs, strict=True))


def _with_causes(
    near_miss: NearMiss, analysis: Analysis, phases: Codes, why: _Why | None
) -> NearMiss:
    return replace(near_miss, phase=PHASES[phases[row_at(analysis, near_miss.time_s)]],
                   contributions=why.at(near_miss.time_s, near_miss.limit) if why else None)


def _explained(measure: LimitMeasure, why: _Why | None) -> LimitMeasure:
    if why is None or np.isnan(measure.time_s):
        return measure
    return replace(measure, contributions=why.at(measure.time_s, measure.limit))


class _Context:
    """The other channels at an instant; each is aligned to the rows once."""

    def __init__(self, analysis: Analysis) -> None:
        self.log = analysis.log
        self.channels = tuple(name for name in self.log.channels if name not in _KNOWN_OTHERWISE)
        self.aligned: dict[str, NDArray[np.float64]] = {}

    def at(self, row: int) -> dict[str, float]:
        """Return the channels at one row in their edge units, by suffixed name."""
        context = {}
        for name in self.channels:
            known = kind(name)
            if known is None:
                continue
            if name not in self.aligned:
                self.aligned[name] = self.log.aligned(name)
            value = (float(self.aligned[name][row]) - known.unit.offset) / known.unit.factor
            context[name + SUFFIXES.get(known.unit.name, "")] = value
        return context


def _sensors(uncertainty: Uncertainty) -> dict[str, float]:
    """Standard uncertainty of one source of a channel, in its edge unit."""
    by_code = {code: u for code, _, u in uncertainty.tolerances}
    named = {AIRSPEED: ("indicated_airspeed", "calibrated_airspeed"),
             ALTITUDE: ("pressure_altitude",),
             TEMPERATURE: ("static_air_temperature", "total_air_temperature",
                           "outside_air_temperature")}
    return {name: by_code[code] for code, names in named.items() if code in by_code
            for name in names}
