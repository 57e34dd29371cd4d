"""The results of an assessment: frozen values, numbers and codes, without sentences.

Unknown numbers are NaN; codes are plain words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from loganalyze import result_views
from loganalyze.events.analysis import Analysis
from loganalyze.record.flight_log import Step
from loganalyze.results.evidence import Evidence
from loganalyze.results.row_columns import RowColumns

if TYPE_CHECKING:
    import pandas as pd

LEFT_OUT = {"left out": True}
"""The metadata of a field that JSON leaves out where it is empty or not known: it is for limits
of quantities that are no speed."""

PROVEN_OVER, OVER_NOT_PROVEN, UNDER_NOT_PROVEN, PROVEN_UNDER, NOT_DETERMINABLE = (
    "proven over", "over but not proven", "under but not proven", "proven under",
    "not determinable")
NOT_DISPLAYED = "not displayed"
"""The reason for no result as displayed: the crew has no display of the quantity."""
OUTCOMES = (PROVEN_OVER, OVER_NOT_PROVEN, UNDER_NOT_PROVEN, PROVEN_UNDER, NOT_DETERMINABLE)
"""The outcomes of the decision rule, see `assess.decision`."""


@dataclass(frozen=True, slots=True)
class Bound:
    """The interval of an excess with the widest tolerances that the rules allow, and its outcome.

    ``low``, ``high`` : in the limit's published quantity, at the coverage of the interval itself.
    """

    low: float
    high: float
    word: str


@dataclass(frozen=True, slots=True)
class Greatest:
    """The single error that an interval owes most to.

    ``code`` : as in `Assessment.tolerances`, or "scatter"; ``share`` : its part of the variance;
    ``supposed`` : a tolerance [its edge unit, as limits] that a sheet might state for it, and
    ``half_width`` : of the interval that this would leave [kt or Mach]; both None where that gains
    little, where the sheet states it, or where the interval has other reasons than errors: a
    prior, a gap, or noise that can't be separated from gusts.
    """

    code: str
    share: float
    supposed: float | None = None
    half_width: float | None = None


@dataclass(frozen=True, slots=True)
class Assurance:
    """How sure an excess is, on one basis, in the limit's published quantity (kt or Mach).

    ``basis`` : "as displayed" or "as flown"; ``excess`` : the peak e of the local fit, positive
    is over; ``common_u`` : u_s, common to flight and source; ``random_u`` : u_r, the fit's own;
    ``probability`` : P(truly over) = Phi(e / sqrt(u_s**2 + u_r**2)) under ``prior``; ``low``,
    ``high`` : the expanded interval of the excess at ``coverage``; ``word`` : one of OUTCOMES;
    ``reason`` : a code, why not determinable (else empty).

    ``excess`` is the estimate of the greatest true excess; ``reading`` is the greatest recorded
    sample's, which holds its noise too. ``at_least`` : what was recorded runs into a gap or an end
    of the log, beyond which it may have been more. ``noise_separated_by`` : a code of
    `airspeed_noise`, what separated noise from gusts; where nothing did, ``if_noise`` is the
    estimate if what may be either is noise, ``excess`` the one if it is real, and the interval
    covers both; else ``if_noise`` is None. ``greatest`` : what it owes most to; ``widest`` : the
    interval's bound, None where the limits sheet states every tolerance.
    """

    basis: str
    excess: float
    common_u: float
    random_u: float
    probability: float
    low: float
    high: float
    word: str
    prior: str = "flat"
    coverage: float = 0.95
    reason: str = ""
    reading: float = float("nan")
    at_least: bool = False
    noise_separated_by: str = ""
    if_noise: float | None = None
    greatest: Greatest | None = None
    widest: Bound | None = None


@dataclass(frozen=True, slots=True)
class MissedPeak:
    """Possible addition to an excess by a peak between two samples, in the limit's quantity.

    ``interpolated`` : by the parabola through the three samples about the worst one; ``bound`` :
    the greatest |acceleration| dt**2 / 8. Faster gusts can't be bounded.
    """

    interpolated: float
    bound: float


@dataclass(frozen=True, slots=True)
class Contributions:
    """Why margin was lost over a stretch of flight, in kt CAS; positive took margin away.

    The stretch is [``start_s``, ``end_s``], ``lost_kt`` what was lost in it. The netted parts
    add up to it with ``remainder_kt``. Without air temperature ``split`` is False and
    ``speed_change_kt`` stands for height trade, energy and air temperature together, which are
    NaN. ``wind_kt`` is the part of the energy that wind brought, NaN unless ground speed, track
    and heading tell it. ``greatest_load_factor`` [g] is reported as text only; not part of the sum.
    """

    start_s: float
    end_s: float
    lost_kt: float
    limit_moved_kt: float
    configuration_kt: float
    height_trade_kt: float
    energy_kt: float
    air_temperature_kt: float
    remainder_kt: float
    gross_height_trade_kt: float
    gross_energy_kt: float
    split: bool = True
    speed_change_kt: float = float("nan")
    wind_kt: float = float("nan")
    greatest_load_factor: float = float("nan")


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing that a severity rule asks for.

    ``key`` : as in the sheet, and its unit with it: "excess_kt", "excess_mach", "excess" (the
    limit's own unit), "time_s" or "integral_kt_s"; ``least`` : so much is asked for; ``value`` :
    so much was recorded.
    """

    key: str
    least: float
    value: float


@dataclass(frozen=True, slots=True)
class Severity:
    """A severity by the operator's rules: ``level`` low, medium or high; ``rule`` : its name.

    ``probability`` : that a rule of this level or a higher one is truly met, as flown; NaN where
    the uncertainty isn't known, and the level is then that of the readings; ``criteria`` : all
    that the rule asks for.
    """

    level: str
    rule: str
    example: bool
    probability: float = float("nan")
    criteria: tuple[Criterion, ...] = ()


@dataclass(frozen=True, slots=True)
class AssessedExceedance:
    """What is known of one exceedance beyond its edges; `number` from 1, in the order of time.

    ``severity_levels`` : (level, probability that a rule of it or of a higher level is truly met,
    as flown) pairs, for the levels that the sheet has rules of; ``ladder_probability_kt`` and
    ``ladder_probability_mach`` : (step, probability that limit + step was truly reached).
    ``ladder_kt``, ``ladder_mach`` : (step, time spent beyond limit + step [s]) pairs; the second
    for Mach limits only. For a limit that is none of a speed ``ladder`` and ``ladder_probability``
    stand for both, with steps in its own unit.
    ``crossing_s`` : time of the first sample over the limit; ``contributions`` : what took the
    aircraft to the limit, a run-in that ends at that sample, or at the first sample over of the
    first of several exceedances of this limit in quick succession; ``worsening`` : what made it
    worse, from that sample to the worst one, None where they are the same or nothing unbroken
    lies between. ``context`` : recorded channels at the worst instant, in edge units by suffixed
    name (``pitch_deg``, ``autopilot``, ``weight_kg``, ...).
    """

    number: int
    phase: str
    displayed: Assurance
    flown: Assurance
    missed_peak: MissedPeak
    severity: Severity | None
    ladder_kt: tuple[tuple[float, float], ...]
    ladder_mach: tuple[tuple[float, float], ...]
    contributions: Contributions | None
    crossing_s: float
    worsening: Contributions | None
    context: Mapping[str, float] = field(default_factory=dict)
    evidence: Evidence = field(default_factory=Evidence)
    severity_levels: tuple[tuple[str, float], ...] = ()
    ladder_probability_kt: tuple[tuple[float, float], ...] = ()
    ladder_probability_mach: tuple[tuple[float, float], ...] = ()
    ladder: tuple[tuple[float, float], ...] = field(default=(), metadata=LEFT_OUT)
    ladder_probability: tuple[tuple[float, float], ...] = field(default=(), metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class NearMiss:
    """A stretch that stayed under one limit but may have been over.

    ``margin`` : the smallest margin, in the limit's published quantity.
    """

    limit: str
    start_s: float
    end_s: float
    time_s: float
    margin: float
    margin_kt: float
    pressure_altitude_ft: float
    phase: str
    displayed: Assurance
    flown: Assurance
    contributions: Contributions | None


@dataclass(frozen=True, slots=True)
class PhaseStretch:
    """One phase of flight, from ``start_s`` to ``end_s`` [s]."""

    phase: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class LimitMeasure:
    """The all-flights measurement of one limit (``limit`` empty: all together).

    ``within_s`` : (band, time with less margin than the band [s]) pairs, bands in kt CAS, or in
    the limit's own unit for Mach limits and those of a quantity that is no speed, of which
    ``smallest_margin`` alone is known; ``histogram`` : (lower edge of margin [kt], time [s])
    pairs; ``contributions`` : what took the margin to its smallest in the two minutes before it.
    """

    limit: str
    smallest_margin_kt: float
    smallest_margin_mach: float
    time_s: float
    pressure_altitude_ft: float
    phase: str
    within_s: tuple[tuple[float, float], ...]
    histogram: tuple[tuple[float, float], ...]
    judged_s: float
    unknown_s: float
    contributions: Contributions | None = None
    smallest_margin: float = field(default=float("nan"), metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class TimeToLimit:
    """The flight's shortest time to a limit: margin over its rate of closing, and when."""

    limit: str
    seconds: float
    time_s: float
    margin_kt: float
    closing_kt_s: float
    phase: str


@dataclass(frozen=True, slots=True)
class WarningFinding:
    """How the recorded overspeed warning behaved.

    ``kind`` : "on time", "early", "late", "missing", "spurious" or "not determinable"; ``limit`` :
    the limit it is about, if one; ``values`` : limit, threshold and speed at onset (where missing:
    at the worst), by name.
    """

    kind: str
    limit: str
    start_s: float
    end_s: float
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Check:
    """One cross-check between two ways to the same quantity.

    ``code`` : what was compared; ``values`` : size and sign of the difference, its spread, the
    samples compared, by name with unit suffix; ``consistent`` : within what uncertainty allows,
    None where it isn't known.
    """

    code: str
    consistent: bool | None
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Assessment:
    """An analysis, and what follows from it.

    ``columns`` : by name, over the log's rows: ``phase`` uint8[n] (index into
    ``phases.PHASES``), float32[n] standard uncertainties as flown ``margin_u_kt``,
    ``margin_u_mach``, ``mach_u``, ``calibrated_airspeed_u_kt``, ``true_airspeed_u_kt``, and as
    displayed ``margin_displayed_u_kt``; all but the phase are computed when one is first read.
    ``exceedances`` runs parallel to the analysis's.
    """

    analysis: Analysis
    columns: RowColumns
    exceedances: tuple[AssessedExceedance, ...]
    near: tuple[NearMiss, ...]
    phases: tuple[PhaseStretch, ...]
    measures: tuple[LimitMeasure, ...]
    highest_calibrated_airspeed_kt: float
    highest_mach: float
    shortest_time_to_limit: TimeToLimit | None
    warnings: tuple[WarningFinding, ...]
    checks: tuple[Check, ...]
    tolerances: tuple[tuple[str, str, float], ...]
    """Inputs of the uncertainty: (sensor, source, standard uncertainty in the sensor's unit)."""
    widest: tuple[tuple[str, str, float], ...] = ()
    """The same at the widest tolerances that the rules allow, of those that differ."""
    steps: tuple[Step, ...] = ()

    def __repr__(self) -> str:
        said = ", ".join(f"{judged.limit} {assessed.flown.word}" for judged, assessed in zip(
            self.analysis.exceedances, self.exceedances, strict=True))
        return (f"<Assessment of {self.analysis.log.source.path.name}, flight "
                f"{self.analysis.flight}, {self.analysis.sheet.aircraft}: "
                f"{said or self.analysis.outcome}; near: {len(self.near)}>")

    def _repr_html_(self) -> str:
        """Return the HTML for notebooks: the repr and the picture of the margin."""
        html: str = result_views.view("html", self)
        return html

    @property
    def samples(self) -> pd.DataFrame:
        """A row a sample, as `Analysis.samples`, with the phase and the uncertainties."""
        frame: pd.DataFrame = result_views.view("samples", self)
        return frame

    @property
    def exceedance_table(self) -> pd.DataFrame:
        """A row an exceedance, in the columns of ``exceedances.csv``."""
        return self._table("exceedances")

    @property
    def near_table(self) -> pd.DataFrame:
        """A row a stretch that may have been over, in the columns of ``near.csv``."""
        return self._table("near")

    @property
    def contribution_table(self) -> pd.DataFrame:
        """Two rows an exceedance: why, in the columns of ``contributions.csv``."""
        return self._table("contributions")

    @property
    def measure_table(self) -> pd.DataFrame:
        """A row a limit, the first of all together: smallest margins, time close to the limit."""
        frame: pd.DataFrame = result_views.view("measures", self)
        return frame

    def _table(self, name: str) -> pd.DataFrame:
        frame: pd.DataFrame = result_views.view("table", self, name)
        return frame
