"""The analysis of a flight, from its log and a limits sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze import result_views
from loganalyze.airdata import configuration_transit
from loganalyze.engine import block_evaluation
from loganalyze.engine.block_plan import EvaluatedSamples
from loganalyze.engine.limit_curves import LimitCurves
from loganalyze.events import (
    analysis_findings,
    bounded_gaps,
    ceilings,
    exceedances,
    limits_in_force,
    recording_quality,
    result_frames,
    smallest_margins,
    suspects,
)
from loganalyze.events.ceilings import CeilingMeasure
from loganalyze.events.exceedances import Exceedance
from loganalyze.events.smallest_margins import Smallest
from loganalyze.events.suspects import Suspect
from loganalyze.limits.evaluation import (
    ALTITUDE,
    TEMPERATURE,
    UNKNOWN,
    Evaluation,
)
from loganalyze.problems import Problem
from loganalyze.record import sample_reasons
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog, Step
from loganalyze.record.intervals import HELD_INTERVALS, Intervals
from loganalyze.record.quality_flags import QualityFlag
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet

if TYPE_CHECKING:
    import pandas as pd


Outcome = Literal["exceeded", "not determined", "not exceeded", "not judged"]


@dataclass(frozen=True, eq=False)
class Analysis:
    """The verdict on one flight, with the samples and findings behind it.

    ``columns`` holds the samples' columns by name, float32[n] in the units their names end
    with and uint8[n] codes (states: 0 under, 1 over, 2 unknown, 3 not applicable;
    governing_limit: the limit's index in the sheet, 255 none). ``judged_s`` [s] is the time in
    which every limit was judged that the log has the channels for; ``screened`` : number of
    samples rejected by screening, by reason; ``evaluation`` : values, margins and states of each
    limit, and the air data, at any rows.
    """

    log: FlightLog
    sheet: LimitsSheet
    settings: Settings
    flight: int
    columns: Mapping[str, NDArray[Any]]
    exceedances: tuple[Exceedance, ...]
    findings: tuple[Finding, ...]
    steps: tuple[Step, ...]
    screened: Mapping[str, int]
    judged_s: float
    evaluation: Evaluation
    _questioned: frozenset[int] = frozenset()

    def __repr__(self) -> str:
        over = ", ".join(dict.fromkeys(exceedance.limit for exceedance in self.exceedances))
        return (f"<Analysis of {self.log.source.path.name}, flight {self.flight}, "
                f"{self.sheet.aircraft}: {self.outcome}{f' ({over})' if over else ''}>")

    def _repr_html_(self) -> str:
        """Return the HTML for notebooks: the repr and the picture of the margin."""
        html: str = result_views.view("html", self)
        return html

    @property
    def outcome(self) -> Outcome:
        """The outcome of the verdict.

        "exceeded" : a limit was exceeded; "not determined" : no accepted sample was over a limit,
        but rejected ones were (see `suspects`); "not judged" : no limit could be judged
        at any sample, or each for too little of the airborne time (see `unjudged_limits`);
        "not exceeded" : no limit was exceeded where it could be judged.
        """
        if self.exceedances:
            return "exceeded"
        if self.suspects:
            return "not determined"
        known = self.judged_s > 0 or any(
            smallest.margin == smallest.margin for smallest in self.smallest)
        if not known or len(self.unjudged_limits) == len(self.judged_shares):
            return "not judged"
        return "not exceeded"

    @cached_property
    def judged_shares(self) -> Mapping[str, float]:
        """Share of the airborne time in which each limit could be judged, 0 to 1, by name.

        Unknown time that is `bounded` counts as judged here, since no exceedance fits into it.
        Without a channel that distinguishes flight from ground all recorded time is airborne.
        Limits for which the log lacks the channel of a condition are findings and left out here.
        The share is 0 for limits that lack pressure altitude or air temperature while they applied
        or may have, and for those that apply with flaps, slats or gear at rest
        (`limits_in_force`). Empty without airborne time.
        """
        airborne = self.airborne
        if not airborne.duration > 0:
            return {}
        found = {}
        for i, limit in enumerate(self.sheet.limit):
            lacks = {ALTITUDE, TEMPERATURE} & {*self.evaluation.lacking.get(i, ())}
            if i in self._questioned or (lacks and analysis_findings.is_unknown(self.columns, i)):
                found[limit.name] = 0.0
            elif i not in self.evaluation.lacking:
                unknown = self.gaps | recording_quality.intervals(
                    self.log, self.columns[f"state_{i}"] == UNKNOWN)
                unjudged = ((unknown - self.bounded) & airborne).duration if unknown else 0.0
                found[limit.name] = 1.0 - unjudged / airborne.duration
        return found

    @property
    def unjudged_limits(self) -> tuple[str, ...]:
        """The limits judged for less than ``settings.judged_least_pct`` of the airborne time."""
        least = self.settings.judged_least_pct / 100
        return tuple(name for name, share in self.judged_shares.items() if share < least)

    @property
    def time(self) -> NDArray[np.float64]:
        """Time of each sample [s], from the log's first."""
        return self.log.time

    @property
    def limit_names(self) -> tuple[str, ...]:
        """The names of the sheet's limits, in its order."""
        return tuple(limit.name for limit in self.sheet.limit)

    @property
    def recorded_s(self) -> float:
        """Time from the first sample to the end of the last [s], gaps included."""
        interval = self.log.interval_s if self.log.interval_s > 0 else 0.0
        return float(self.log.time[-1] - self.log.time[0] + interval)

    @property
    def unknown_s(self) -> float:
        """Recorded time without a verdict [s], gaps included."""
        return max(self.recorded_s - self.judged_s, 0.0)

    @cached_property
    def unknown(self) -> Intervals:
        """Intervals without a verdict: no samples, or an unknown limit that could be judged.

        Limits for which the log lacks a channel are findings and don't count here.
        """
        return self.gaps | recording_quality.intervals(
            self.log, self.evaluation.unknown(self.columns, slice(None)))

    @cached_property
    def bounded(self) -> Intervals:
        """The parts of the unknown time in which no limit can have been reached.

        They count as unknown, since no sample lies in them. But even at the greatest plausible
        rates, with the configuration unchanged, every limit was out of reach.
        """
        if not self.unknown:
            return self.unknown
        return bounded_gaps.bounded(self.evaluation, self.columns) & self.unknown

    @cached_property
    def time_over_s(self) -> float:
        """Time [s] over any limit; time over several limits counts once."""
        return Intervals.of(span for exceedance in self.exceedances
                            for span in exceedance.over).duration

    @property
    def bounded_s(self) -> float:
        """Duration [s] of `bounded`."""
        return self.bounded.duration

    @cached_property
    def limit_curves(self) -> LimitCurves:
        """The limits that depend on pressure altitude alone, tabulated against it."""
        return LimitCurves.of(self.evaluation)

    @cached_property
    def quality(self) -> tuple[QualityFlag, ...]:
        """Quality flags of the recording: where each is raised, and where it could be checked."""
        return recording_quality.flags(self.evaluation)

    @cached_property
    def ceilings(self) -> tuple[CeilingMeasure, ...]:
        """The flight measured against the school's or operator's own ceilings."""
        return ceilings.measured(self.evaluation)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Stretches over a limit that aren't counted, since their samples were rejected."""
        return suspects.find(self.evaluation, self.columns)

    @cached_property
    def airborne(self) -> Intervals:
        """The recorded time in which the aircraft wasn't known to be on the ground."""
        return recording_quality.airborne(self.log, self.evaluation.air, self.settings)

    @cached_property
    def screened_s(self) -> Mapping[str, float]:
        """Airborne time [s] rejected by screening, by reason; "" for all reasons together."""
        return recording_quality.screened_time(self.evaluation, self.airborne)

    @cached_property
    def gaps(self) -> Intervals:
        """Intervals without samples: from 1.5 usual intervals after a sample to the next one."""
        time, interval = self.log.time, self.log.interval_s
        if not interval > 0:
            return Intervals.of(())
        return Intervals.of(
            (time[i] + HELD_INTERVALS * interval, time[i + 1]) for i in self.log.breaks)

    @cached_property
    def smallest(self) -> tuple[Smallest, ...]:
        """The smallest margin of all limits together, then of each limit."""
        return smallest_margins.smallest(self.evaluation, self.columns)

    @property
    def samples(self) -> pd.DataFrame:
        """Data frame of one row per sample, as in samples.parquet; states are categories."""
        return result_frames.samples(self.log.time, self.columns, self.limit_names)

    @property
    def exceedance_table(self) -> pd.DataFrame:
        """Data frame of one row per exceedance; all columns also without any."""
        return result_frames.exceedances(self.exceedances)


def analyze(
    log: FlightLog,
    sheet: LimitsSheet,
    *,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
    flight: int = 1,
    verdict_only: bool = False,
) -> Analysis:
    """Judge one flight against a limits sheet.

    Parameters
    ----------
    log : FlightLog
        One flight, from `read_log` or `read_flights`.
    sheet : LimitsSheet
        The aircraft's limits, from `read_limits`.
    settings : Settings, optional
        Thresholds of the evaluation; otherwise the defaults, or what the sheet states.
    declared : mapping of str to float, optional
        States that the recorder doesn't hold, by channel, in SI (a discrete: 0 or 1).
    flight : int
        The flight's number in the log.
    verdict_only : bool
        Leave out the columns that the verdict doesn't need: speeds, temperatures, pointer.

    Returns
    -------
    Analysis
        Without a temperature, true airspeed and density altitude are missing and true airspeed
        limits unknown; nothing else changes.

    Raises
    ------
    Problem
        When the log holds no samples or no airspeed, or a declared state is recorded.
    """
    (analysis,) = analyze_flights((log,), sheet, settings=settings, declared=declared,
                                  first=flight, verdict_only=verdict_only)
    return analysis


def analyze_flights(
    logs: Sequence[FlightLog],
    sheet: LimitsSheet,
    *,
    settings: Settings | None = None,
    declared: Mapping[str, float] | None = None,
    first: int = 1,
    verdict_only: bool = False,
) -> tuple[Analysis, ...]:
    """Judge a batch of flights against one limits sheet, as if each were judged alone.

    Short flights are distributed over both threads. All flights are held in memory, and the
    columns of each for as long as any analysis of the batch is kept.

    Parameters
    ----------
    logs : sequence of FlightLog
        One a flight.
    sheet, settings, declared, verdict_only
        As for `analyze`.
    first : int
        The number of the first flight.

    Returns
    -------
    tuple of Analysis
        One a flight, in their order.

    Raises
    ------
    Problem
        As `analyze` does, for the first flight that can't be judged.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> logs = [la.read_log(f"sample_logs/{name}.csv")
    ...         for name in ("clean_flight", "descent_through_mmo_and_vmo")]
    >>> [analysis.outcome for analysis in la.analyze_flights(logs, sheet)]
    ['not exceeded', 'exceeded']
    """
    settings, declared = settings or Settings(**sheet.screening), declared or {}
    for log in logs:
        _check(log, declared)
    raw = [Evaluation.of(log, sheet, settings, declared) for log in logs]
    found = block_evaluation.evaluate(raw, speeds_wanted=not verdict_only)
    screened = [evaluation.screened(samples.rejected_rows)
                for evaluation, samples in zip(raw, found, strict=True)]
    questioned = [
        limits_in_force.questioned(evaluation, samples.rows_over, math.fsum(samples.judged_s))
        for evaluation, samples in zip(screened, found, strict=True)]
    again = [k for k, findings in enumerate(questioned) if findings]
    without = [raw[k].without([i for i, _ in questioned[k]]) for k in again]
    for k, evaluation, samples in zip(again, without, block_evaluation.evaluate(
            without, speeds_wanted=not verdict_only), strict=True):
        found[k], screened[k] = samples, evaluation.screened(samples.rejected_rows)
    return tuple(
        _analysis(evaluation, samples, asked, flight)
        for flight, (evaluation, samples, asked) in enumerate(
            zip(screened, found, questioned, strict=True), first))


def _check(log: FlightLog, declared: Mapping[str, float]) -> None:
    if not len(log):
        raise Problem("the log holds no samples", str(log.source.path), "choose a log that does")
    for channel in declared:
        if channel in log:
            raise Problem(
                f"{channel} is declared, but the log records it in column "
                f'"{log.channels[channel].column}"',
                str(log.source.path),
                "leave out the declaration",
            )


@lru_cache(maxsize=4)
def _thresholds(settings: Settings) -> Mapping[str, Any]:
    """Return the thresholds by name; the flights of a fleet share them."""
    return asdict(settings)


def _analysis(
    evaluation: Evaluation, found: EvaluatedSamples, questioned: Sequence[tuple[int, Finding]],
    flight: int,
) -> Analysis:
    """Return the analysis of an evaluated flight: exceedances, findings and steps."""
    log, sheet, settings = evaluation.log, evaluation.sheet, evaluation.settings
    over = exceedances.find(evaluation, found.columns, found.rows_over, flight)
    findings = (
        *evaluation.air.findings,
        *configuration_transit.findings(evaluation.cleaned, sheet, evaluation.declared),
        *analysis_findings.lost_temperature(evaluation, found.columns),
        *analysis_findings.lacking_channels(evaluation, found.columns),
        *(finding for _, finding in questioned))
    steps = (
        *log.steps,
        Step(
            "screening", {"reasons": sample_reasons.REASONS}, dict(sorted(found.screened.items()))
        ),
        Step("judgement", _thresholds(settings), {"exceedances": len(over)}),
    )
    return Analysis(log, sheet, settings, flight, found.columns, over, findings, steps,
                    found.screened, math.fsum(found.judged_s), evaluation,
                    frozenset(i for i, _ in questioned))
