"""The whole of one flight: from a log and a limits sheet to an analysis."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import air_data, configuration_transit
from loganalyze.engine import block_evaluation
from loganalyze.events import (
    bounded_gaps,
    exceedances,
    joining,
    limits_in_force,
    recording_quality,
    result_frames,
    suspects,
)
from loganalyze.events.exceedances import Exceedance
from loganalyze.events.suspects import Suspect
from loganalyze.limits import limit_equivalents, limit_states
from loganalyze.limits.evaluation import (
    ALTITUDE,
    OVER,
    TEMPERATURE,
    UNDER,
    UNKNOWN,
    Case,
    Judged,
    prepare,
)
from loganalyze.problems import Problem
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record import sample_reasons
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog, Step
from loganalyze.record.intervals import HELD_INTERVALS, Intervals
from loganalyze.record.quality_flags import QualityFlag
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening import sample_checks
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import LimitsSheet

if TYPE_CHECKING:
    import pandas as pd


Outcome = Literal["exceeded", "not determined", "not exceeded", "not judged"]


@dataclass(frozen=True, slots=True)
class Smallest:
    """The smallest margin to one limit (`limit` empty: to the lowest limit that applied).

    ``margin_kt`` in kt CAS, ``margin_mach`` in Mach (for one airspeed limit: NaN); negative is
    over. ``margin`` is in the limit's own unit, kt CAS for all limits together; it alone is known
    of a limit that isn't one of a speed. NaN throughout when there was no instant to judge.
    """

    limit: str
    margin_kt: float
    margin_mach: float
    time_s: float
    pressure_altitude_ft: float
    limit_airspeed_kt: float
    margin: float


@dataclass(frozen=True, eq=False)
class Analysis:
    """What became of one flight.

    ``columns`` holds the samples' columns by name, float32[n] in the units their names end
    with and uint8[n] codes (states: 0 under, 1 over, 2 unknown, 3 not applicable;
    governing_limit: the limit's index in the sheet, 255 none). ``judged_s`` [s] is the time in
    which every limit was judged that the log has the channels for; ``screened`` counts the
    samples set aside, by reason.
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
    _case: Case
    _questioned: frozenset[int] = frozenset()

    @property
    def outcome(self) -> Outcome:
        """What the verdict comes to.

        "exceeded" : a limit was; "not determined" : none of what counts was over a limit, but
        samples that are in doubt were (see `suspects`); "not judged" : no limit could be judged
        at any sample, or each for too little of the airborne time (see `unjudged_limits`);
        "not exceeded" : no limit was exceeded where it could be judged.
        """
        if self.exceedances:
            return "exceeded"
        if self.suspects:
            return "not determined"
        known = self.judged_s > 0 or any(one.margin == one.margin for one in self.smallest)
        if not known or len(self.unjudged_limits) == len(self.judged_shares):
            return "not judged"
        return "not exceeded"

    @cached_property
    def judged_shares(self) -> Mapping[str, float]:
        """Share of the airborne time in which each limit could be judged, 0 to 1, by name.

        Unknown time that is `bounded` counts as judged here: it can hide no exceedance. Without
        a channel that tells flight from ground all recorded time is airborne. Limits for which
        the log lacks the channel of a condition are findings and aren't among them; one that lacks
        the pressure altitude or the air temperature at a time when it applied, or may have, has
        0, and so has one that is asked about, since it is in force where no aircraft flies so.
        Empty without airborne time.
        """
        airborne, interval = self.airborne, max(self.log.interval_s, 0.0)
        if not airborne.duration > 0:
            return {}
        found = {}
        for i, limit in enumerate(self.sheet.limit):
            lacks = {ALTITUDE, TEMPERATURE} & {*self._case.lacking.get(i, ())}
            if i in self._questioned or (lacks and _is_unknown(self.columns, i)):
                found[limit.name] = 0.0
            elif i not in self._case.lacking:
                unknown = self.gaps | Intervals.from_mask(
                    self.columns[f"state_{i}"] == UNKNOWN, self.log.time, interval)
                unjudged = ((unknown - self.bounded) & airborne).duration
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
        if not len(self.log):
            return 0.0
        interval = self.log.interval_s if self.log.interval_s > 0 else 0.0
        return float(self.log.time[-1] - self.log.time[0] + interval)

    @property
    def unknown_s(self) -> float:
        """Time that couldn't be judged [s], gaps included."""
        return max(self.recorded_s - self.judged_s, 0.0)

    @cached_property
    def unknown(self) -> Intervals:
        """When a verdict was missing: no samples, or a limit unknown that could be judged.

        Limits for which the log lacks a channel altogether are findings, not stretches.
        """
        return self.gaps | Intervals.from_mask(
            limit_states.unknown_mask(self._case, self.columns, slice(None)), self.log.time,
            # A lone sample has no interval, and stands for no time.
            self.log.interval_s if self.log.interval_s > 0 else 0.0,
        )

    @cached_property
    def bounded(self) -> Intervals:
        """The parts of the unknown time in which no limit can have been reached.

        They aren't judged: no sample shows them. But even at the greatest plausible rates, and
        with the configuration as it was, every limit stayed out of reach.
        """
        return bounded_gaps.bounded(self._case, self.columns) & self.unknown

    @property
    def bounded_s(self) -> float:
        """Time [s] of the unknown that is bounded."""
        return self.bounded.duration

    @cached_property
    def quality(self) -> tuple[QualityFlag, ...]:
        """What is wrong with the recording, where, and where that could be told at all."""
        return recording_quality.flags(self._case)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Stretches over a limit that aren't counted, since their samples are in doubt."""
        return suspects.find(self._case, self.columns)

    @cached_property
    def airborne(self) -> Intervals:
        """The recorded time in which the aircraft wasn't known to be on the ground."""
        return recording_quality.airborne(self.log, self._case.air, self.settings)

    @cached_property
    def screened_s(self) -> Mapping[str, float]:
        """Airborne time [s] that was screened out, by reason; "" for all that count together."""
        return recording_quality.screened_time(self._case, self.airborne)

    @cached_property
    def gaps(self) -> Intervals:
        """When no sample stands for the time: from 1.5 intervals after a sample to the next."""
        time, interval = self.log.time, self.log.interval_s
        if len(time) < 2 or not interval > 0:
            return Intervals.of(())
        wide = np.flatnonzero(np.diff(time) > HELD_INTERVALS * interval)
        return Intervals.of((time[i] + HELD_INTERVALS * interval, time[i + 1]) for i in wide)

    @cached_property
    def smallest(self) -> tuple[Smallest, ...]:
        """The smallest margin of all limits together, then of each limit."""
        together = self.columns["margin_kt"]
        rows = np.flatnonzero(~np.isnan(together))
        best = rows[[int(together[rows].argmin())]] if len(rows) else rows
        return (self._smallest("", best), *(
            self._smallest(limit.name, self._closest(i)) for i, limit in enumerate(self.sheet.limit)
        ))

    def _closest(self, i: int) -> NDArray[np.intp]:
        state = self.columns[f"state_{i}"]
        rows = np.flatnonzero((state == UNDER) | (state == OVER))
        best, least = rows[:0], np.inf
        for some in np.array_split(rows, max(1, len(rows) // block_evaluation.BLOCK)):
            margin = joining.margin(self._case, self.sheet.limit[i], some)
            if len(some) and np.nanmin(margin) < least:
                least = float(np.nanmin(margin))
                best = some[[int(np.nanargmin(margin))]]
        return best

    def _smallest(self, name: str, row: NDArray[np.intp]) -> Smallest:
        nothing = float("nan")
        if not len(row):
            return Smallest(name, nothing, nothing, nothing, nothing, nothing, nothing)
        at = limit_equivalents.point(self._case.air, row)
        limit_airspeed = float(exceedances.lowest_limits(self._case, at)[0][0])
        margin_kt = (limit_airspeed - float(at.calibrated_airspeed[0])) / KNOT
        margin, margin_mach = margin_kt, nothing
        if name:
            limit = self.sheet.limit[self.limit_names.index(name)]
            limit_airspeed = float(
                limit_equivalents.calibrated_equivalent(limit, self._case.air, at)[0]
            )
            margin_kt = (limit_airspeed - float(at.calibrated_airspeed[0])) / KNOT
            margin = float(joining.margin(self._case, limit, row)[0])
            if limit.kind.suffix == LimitedMach.suffix:
                margin_mach = margin
        else:
            there = mach_at_cas(np.array([limit_airspeed]), at.pressure_altitude)
            margin_mach = float(there[0] - at.mach[0])
        return Smallest(name, margin_kt, margin_mach, float(self.log.time[row[0]]),
                        float(at.pressure_altitude[0]) / FOOT, limit_airspeed / KNOT, margin)

    @property
    def samples(self) -> pd.DataFrame:
        """A row a sample, as in samples.parquet; states and governing limit as categories."""
        return result_frames.samples(self.log.time, self.columns, self.limit_names)

    @property
    def exceedance_table(self) -> pd.DataFrame:
        """A row an exceedance; no rows when there was none."""
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
        One flight, as `read_log` or `read_flights` gave it.
    sheet : LimitsSheet
        The aircraft's limits, as `read_limits` gave it.
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
        A missing temperature takes away true airspeed, density altitude and the verdict on true
        airspeed limits; nothing else.

    Raises
    ------
    Problem
        When the log holds no samples or no airspeed, or a declared state is recorded.
    """
    settings = settings or Settings(**sheet.screening)
    declared = declared or {}
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
    air = air_data.recover(log, sheet, declared)
    case = prepare(log, air, sheet, settings, declared, not verdict_only)
    judged = block_evaluation.judge(case)
    case = replace(case, air=replace(air, rejected=judged.rejected_rows))
    questioned = limits_in_force.questioned(case, judged.rows_over)
    if questioned:
        without = limits_in_force.without(case, tuple(i for i, _ in questioned))
        judged = block_evaluation.judge(replace(without, air=air))
        case = replace(without, air=replace(air, rejected=judged.rejected_rows))
    by_limit = [judged.columns[f"state_{i}"] for i in range(len(sheet.limit))]
    found = exceedances.find(case, by_limit, judged.rows_over, flight)
    findings = [*air.findings, *configuration_transit.findings(log, sheet, declared),
                *_lost_temperature(case, judged), *_unjudged(case, judged),
                *(finding for _, finding in questioned)]
    steps = (
        *log.steps,
        Step(
            "screening", {"reasons": sample_reasons.REASONS}, dict(sorted(judged.screened.items()))
        ),
        Step("judgement", asdict(settings), {"exceedances": len(found)}),
    )
    return Analysis(log, sheet, settings, flight, judged.columns, found, tuple(findings), steps,
                    judged.screened, math.fsum(judged.known_s), case,
                    frozenset(i for i, _ in questioned))


def _lost_temperature(case: Case, judged: Judged) -> list[Finding]:
    """Say since when, and for how long, the probe gave nothing to rely on."""
    if case.air.temperature is None or "static_air_temperature_degc" not in judged.columns:
        return []
    lost = np.isnan(judged.columns["static_air_temperature_degc"])
    # Without a Mach number the reading can't be reduced, but the probe is none the worse.
    lost &= ~np.isnan(judged.columns["mach"])
    if not lost.any():
        return []
    hold = sample_checks.held(case.log.time, case.log.interval_s)
    first, last = np.flatnonzero(lost)[[0, -1]]
    return [Finding("temperature_lost", {
        "lost_s": float(hold[lost].sum()),
        "first_s": float(case.log.time[first]),
        "last_s": float(case.log.time[last]),
    })]


def _unjudged(case: Case, judged: Judged) -> list[Finding]:
    """Return one finding for each limit that lacks a channel at a time when it may have applied."""
    findings = []
    for i, lacks in sorted(case.lacking.items()):
        if not lacks or not _is_unknown(judged.columns, i):
            continue
        own = {*case.sheet.limit[i].kind.channels}
        limit = {"limit": case.sheet.limit[i].name}
        channels = {**limit, "channels": list(lacks)}
        if not {*lacks} <= {ALTITUDE, TEMPERATURE, *own}:
            findings.append(Finding("condition_not_recorded", channels))
        elif own & {*lacks}:
            findings.append(Finding("limit_needs_channel", channels))
        elif ALTITUDE in lacks:
            findings.append(Finding("limit_needs_altitude", channels))
        else:
            findings.append(Finding("limit_needs_temperature", limit))
    return findings


def _is_unknown(columns: Mapping[str, NDArray[Any]], limit: int) -> bool:
    """Whether a limit's state is unknown at any sample."""
    return bool((columns[f"state_{limit}"] == UNKNOWN).any())
