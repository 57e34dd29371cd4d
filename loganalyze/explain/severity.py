"""How serious each exceedance is, by the operator's own rules, and the time beyond each step.

The excess is taken as a straight line between judged samples, on the recorded stamps, so that
the time beyond a step is found as the exceedance's own edges are: crossings interpolated; where
the next sample is missing or the limit ceases to apply, a sample stands for the time to it, at
most 1.5 intervals.

A rule is met with a probability: the whole course of the excess is shifted by the difference of
the estimate of the greatest excess from the greatest reading, which is uncertain by its standard
uncertainty, as flown. All that a rule states holds from some shift on, so that its probability
is that of the shift being at least that. The level stated is the highest that is as likely as
not; so one step of the recorder moves the probability a little, and rarely the level.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.limits import limit_equivalents
from loganalyze.limits.evaluation import OVER, UNDER
from loganalyze.quantities.limited_speed import LimitedAirspeed, LimitedMach
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.results.assessment_results import Assurance, Criterion, Severity
from loganalyze.sheets.severity_rules import LEVELS, SeverityRule

Floats = NDArray[np.float64]

_KT = LimitedAirspeed.suffix
_SLACK_S = 1e-6
"""[s] Noise of interpolated times: a rule of 5 s is met by 4.9999999 s."""


@dataclass(frozen=True, slots=True)
class Graded:
    """What the ladder and the rules say of one exceedance.

    ``ladder_kt``, ``ladder_mach`` : (step, time beyond limit + step [s]) pairs, the second for
    Mach limits only; ``integral_kt_s`` : excess times time, summed [kt s]; ``severity`` : by the
    highest level that is as likely as not, None where none is; ``levels``, ``reached_kt``,
    ``reached_mach``, ``ladder``, ``reached`` : as in `AssessedExceedance`.
    """

    ladder_kt: tuple[tuple[float, float], ...]
    ladder_mach: tuple[tuple[float, float], ...]
    integral_kt_s: float
    severity: Severity | None
    levels: tuple[tuple[str, float], ...] = ()
    reached_kt: tuple[tuple[float, float], ...] = ()
    reached_mach: tuple[tuple[float, float], ...] = ()
    ladder: tuple[tuple[float, float], ...] = ()
    reached: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Course:
    """The excess over one limit from sample to sample, in straight pieces.

    ``duration`` [s], ``first`` and ``last`` : float64[m], the excess at either end of a piece;
    ``peak`` : the greatest excess of any judged sample; ``follows`` : bool[m], whether a piece
    begins where the one before it ends.
    """

    duration: Floats
    first: Floats
    last: Floats
    peak: float
    follows: NDArray[np.bool_]

    def shifted(self, by: float) -> Course:
        """Return the course with the excess greater by so much throughout."""
        return replace(self, first=self.first + by, last=self.last + by, peak=self.peak + by)

    def longest_beyond(self, step: float) -> float:
        """Return the longest uninterrupted time [s] in which the excess was above `step`."""
        first, last = self.first - step, self.last - step
        if not len(first):
            return 0.0
        beyond = self.duration * _share(first, last)
        # A stretch begins where the excess rises through the step, or nothing comes before.
        starts = ~self.follows | (first <= 0)
        starts[0] = True
        return float(np.add.reduceat(beyond, np.flatnonzero(starts)).max())

    def time_beyond(self, step: float) -> float:
        """Return the total time [s] in which the excess was above `step`."""
        return float((self.duration * _share(self.first - step, self.last - step)).sum())

    @property
    def integral(self) -> float:
        """Return the time integral of the excess where it is above zero."""
        share = _share(self.first, self.last)
        low, high = np.minimum(self.first, self.last), np.maximum(self.first, self.last)
        return float((self.duration * share * (np.maximum(low, 0.0) + high.clip(min=0.0)) / 2)
                     .sum())


Courses = Mapping[str, Course]
"""The excess by the suffix of the unit that it is in."""


def _share(first: Floats, last: Floats) -> Floats:
    """The part of each straight piece that lies above zero."""
    low, high = np.minimum(first, last), np.maximum(first, last)
    rise = np.where(high > low, high - low, 1.0)
    return np.where(low >= 0, high > 0, np.clip(high / rise, 0.0, 1.0))


def grade(
    analysis: Analysis, flown: Sequence[Assurance] | None = None
) -> tuple[Graded, ...]:
    """Return the time beyond each step of the ladder and the severity of each exceedance.

    Parameters
    ----------
    analysis : Analysis
        Its sheet's rules and ladder are used.
    flown : sequence of Assurance, optional
        How sure each excess is, as flown; absent: the readings are taken as they are.

    Returns
    -------
    tuple of Graded
        Parallel to ``analysis.exceedances``.
    """
    graded: list[Graded | None] = [None] * len(analysis.exceedances)
    for name in {exceedance.limit for exceedance in analysis.exceedances}:
        chosen = [i for i, exceedance in enumerate(analysis.exceedances)
                  if exceedance.limit == name]
        found = [analysis.exceedances[i] for i in chosen]
        limit = analysis.limit_names.index(name)
        for i, exceedance, courses in zip(
                chosen, found, _courses(analysis, limit, found), strict=True):
            graded[i] = _graded(analysis, exceedance, courses, None if flown is None else flown[i])
    return tuple(severity for severity in graded if severity is not None)


def _courses(
    analysis: Analysis, i: int, found: Sequence[Exceedance]
) -> list[Courses]:
    """The excess of each exceedance of limit `i`, by the suffix of its unit.

    In the limit's own unit, and for a Mach limit in kt CAS, too.
    """
    evaluation, limit = analysis.evaluation, analysis.sheet.limit[i]
    time, state = evaluation.log.time, analysis.columns[f"state_{i}"]
    reach = HELD_INTERVALS * evaluation.log.interval_s if evaluation.log.interval_s > 0 else 0.0
    firsts = np.searchsorted(time, [exceedance.start_s for exceedance in found], side="left")
    lasts = np.searchsorted(time, [exceedance.end_s for exceedance in found], side="left")
    # The sample before, where the limit was crossed after it.
    firsts -= np.array([exceedance.began_by == "crossed" and first > 0
                        and time[first] > exceedance.start_s
                        for exceedance, first in zip(found, firsts.tolist(), strict=True)])
    spans = [np.arange(first, min(last + 1, len(time)))
             for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True)]
    # One call for all rows: a flight along a limit in gusts has thousands of exceedances.
    rows = np.concatenate(spans)
    at = evaluation.air_data_at(rows)
    value = limit_equivalents.published_value(limit, at) - limit_equivalents.published_maximum(
        limit, at
    )
    excesses = {limit.kind.suffix: value}
    if limit.kind.is_speed and limit.kind.suffix != _KT:
        excesses[_KT] = (at.calibrated_airspeed
                         - evaluation.equivalent(limit, at)) / KNOT
    judged = (state[rows] == UNDER) | (state[rows] == OVER)
    stamps = time[rows]
    courses: list[Courses] = []
    start = 0
    for exceedance, span in zip(found, spans, strict=True):
        part = slice(start, start + len(span))
        start += len(span)
        end = exceedance.end_s
        # Bounded gaps count as over the limit.
        bridged = analysis.settings.hole_longest_s if exceedance.bounded_s > 0 else 0.0

        def course(excess: Floats, part: slice = part, end: float = end,
                   bridged: float = bridged) -> Course:
            return _course(stamps[part], excess[part], judged[part], reach, end, bridged)

        courses.append({unit: course(excess) for unit, excess in excesses.items()})
    return courses


def _course(
    time: Floats, excess: Floats, judged: NDArray[np.bool_], reach: float, end: float,
    bridged: float,
) -> Course:
    """Straight pieces between judged samples; else held to the next sample, or `reach` at most.

    Two samples over the limit with none judged between, `bridged` [s] or less apart, are joined.
    """
    peak = float(np.fmax.reduce(excess[judged]))  # NaN where none of them is known
    if bridged:
        known = np.flatnonzero(judged)
        apart = np.append(np.diff(known), 1)
        over = excess[known] > 0
        hole = (apart > 1) & over & np.append(over[1:], False) & (
            np.append(np.diff(time[known]), 0.0) <= bridged)
        gone = np.zeros(len(time), dtype=bool)
        for first, rows in zip(known[hole].tolist(), apart[hole].tolist(), strict=True):
            gone[first + 1 : first + rows] = True
        time, excess, judged = time[~gone], excess[~gone], judged[~gone]
        reach = max(reach, bridged) if hole.any() else reach
    steps = np.append(np.diff(time), max(end - time[-1], 0.0))
    following = np.append(excess[1:], excess[-1])
    joined = np.append(judged[1:] & (steps[:-1] <= reach), False)
    keep = judged & (steps > 0)
    last = np.where(joined, following, excess)
    steps = np.where(joined, steps, np.minimum(steps, reach))
    follows = np.append(False, joined[:-1] & judged[:-1])
    return Course(steps[keep], excess[keep], last[keep], peak, follows[keep])


def _graded(
    analysis: Analysis, exceedance: Exceedance, courses: Courses, flown: Assurance | None
) -> Graded:
    sheet, quantity = analysis.sheet, quantity_of(exceedance.quantity)
    tolerances = {_KT: analysis.settings.tolerance_kt,
                  quantity.suffix: quantity.tolerance(analysis.settings)}
    published, kt = courses[quantity.suffix], courses.get(_KT)
    per = 1.0 if kt is None or kt is published else _per_unit(kt, published)
    u = math.nan if flown is None else math.hypot(flown.common_u, flown.random_u)
    estimate = math.nan if flown is None else flown.excess
    rules = [rule for rule in sheet.severity
             if rule.limits is None or exceedance.limit in rule.limits]

    def met(rule: SeverityRule, shift: float) -> bool:
        # The same error in kt as in Mach, in proportion to the excess itself.
        return _met(rule, quantity.suffix, {
            unit: course.shifted(shift if unit == quantity.suffix else shift * per)
            for unit, course in courses.items()}, tolerances)

    known = math.isfinite(u) and math.isfinite(estimate)
    shares = {rule.name: _probability(rule, met, estimate - published.peak, u) if known
              else float(met(rule, 0.0)) for rule in rules}
    levels = [(level, max((shares[rule.name] for rule in rules
                           if LEVELS.index(rule.level) >= LEVELS.index(level)), default=0.0))
              for level in LEVELS if any(rule.level == level for rule in rules)]
    likely = next(((level, share) for level, share in reversed(levels) if share >= _AS_NOT), None)
    severity = None
    if likely is not None:
        rule = max((rule for rule in rules if rule.level == likely[0]),
                   key=lambda rule: shares[rule.name])
        severity = Severity(likely[0], rule.name, rule.example, likely[1] if known else math.nan,
                            _criteria(rule, quantity.suffix, courses, tolerances))
    ladders = {_KT: sheet.ladder.kt, LimitedMach.suffix: sheet.ladder.mach}
    times, reached = {}, {}
    for unit, course in courses.items():
        steps, scale = ladders.get(unit, quantity.ladder), 1.0 if course is published else per
        times[unit] = tuple(
            # Beyond the limit itself it was for the exceedance's own time over, in any unit.
            (step, course.time_beyond(step - tolerances[unit]) if step > 0
             else exceedance.time_over_s)
            for step in steps)
        reached[unit] = tuple((step, _beyond(estimate * scale - step, u * scale))
                              for step in steps) if known else ()
    own = "" if quantity.is_speed else quantity.suffix
    return Graded(
        times.get(_KT, ()), times.get(LimitedMach.suffix, ()),
        math.nan if kt is None else kt.integral, severity, tuple(levels) if known else (),
        reached.get(_KT, ()), reached.get(LimitedMach.suffix, ()),
        times.get(own, ()), reached.get(own, ()))


_AS_NOT = 0.5
"""A level is stated that is at least as likely as not."""


def _per_unit(kt: Course, own: Course) -> float:
    """How many knots CAS one of the limit's own unit is, as at the peak of the excess."""
    return kt.peak / own.peak if own.peak > 0 else 0.0


def _beyond(excess: float, u: float) -> float:
    """Probability that an excess of standard uncertainty `u` is truly above 0."""
    return NormalDist().cdf(excess / u) if u > 0 else float(excess >= 0)


def _probability(
    rule: SeverityRule, met: Callable[[SeverityRule, float], bool], shift: float, u: float
) -> float:
    """Probability that a rule is met, where the course's shift is `shift` give or take `u`."""
    if not u > 0:
        return float(met(rule, shift))
    low, high = shift - _WIDEST * u, shift + _WIDEST * u
    if met(rule, low):
        return 1.0
    if not met(rule, high):
        return 0.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if met(rule, middle) else (middle, high)
    return _beyond(shift - (low + high) / 2, u)


_WIDEST, _HALVINGS = 6.0, 16
"""Standard uncertainties within which the shift is looked for, and how often that is halved."""


def _stated(rule: SeverityRule, own: str, courses: Courses) -> tuple[str, float | None] | None:
    """The unit's suffix in which a rule measures the excess, and the excess that it states.

    None where it states one of another kind of limit only.
    """
    stated = {_KT: rule.excess_kt, LimitedMach.suffix: rule.excess_mach}
    if rule.excess is not None:
        stated = {own: rule.excess}
    units = [unit for unit in (own, _KT) if unit in courses]
    unit = next((unit for unit in units if stated.get(unit) is not None), None)
    if unit is None:
        if any(excess is not None for excess in stated.values()):
            return None
        unit = units[-1]
    return unit, stated.get(unit)


def _criteria(
    rule: SeverityRule, own: str, courses: Courses, tolerances: Mapping[str, float]
) -> tuple[Criterion, ...]:
    """Return a rule's criteria with the recorded values."""
    stated = _stated(rule, own, courses)
    if stated is None:
        return ()
    unit, excess = stated
    course, found = courses[unit], []
    if excess is not None:
        key = "excess" if rule.excess is not None else f"excess_{unit}"
        found.append(Criterion(key, excess, course.peak))
    if rule.time_s is not None:
        least = excess - tolerances[unit] if excess else 0.0
        found.append(Criterion("time_s", rule.time_s, _time(rule, course, least)))
    if rule.integral_kt_s is not None and _KT in courses:
        found.append(Criterion("integral_kt_s", rule.integral_kt_s, courses[_KT].integral))
    return tuple(found)


def _time(rule: SeverityRule, course: Course, least: float) -> float:
    """The time [s] beyond an excess, as the rule counts it."""
    match rule.time_counts:
        case "at a stretch":
            return course.longest_beyond(least)
        case "in all":
            return course.time_beyond(least)
        case _:
            assert_never(rule.time_counts)


def _met(
    rule: SeverityRule, own: str, courses: Courses, tolerances: Mapping[str, float]
) -> bool:
    """Whether all that a rule states is met; at least so much, so long.

    `own` : the suffix of the limit's own unit; `courses`, `tolerances` : by suffix.
    """
    stated = _stated(rule, own, courses)
    if stated is None:
        return False
    unit, excess = stated
    course = courses[unit]
    least = excess - tolerances[unit] if excess else 0.0
    if course.peak < least:
        return False
    if rule.time_s is not None and _time(rule, course, least) < rule.time_s - _SLACK_S:
        return False
    if rule.integral_kt_s is None:
        return True
    return _KT in courses and courses[_KT].integral >= rule.integral_kt_s - _SLACK_S
