"""How serious each exceedance is, by the operator's own rules, and the time beyond each step.

The excess is taken as a straight line between judged samples, on the recorded stamps, so that
the time beyond a step is found as the exceedance's own edges are: crossings interpolated; where
the next sample is missing or the limit ceases to apply, a sample stands for the time to it, at
most 1.5 intervals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.assess.results import Severity
from loganalyze.judge import equivalents
from loganalyze.judge.case import OVER, UNDER
from loganalyze.judge.exceedances import Exceedance
from loganalyze.judge.flight import Analysis
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.sheets.severity import LEVELS, SeverityRule

Floats = NDArray[np.float64]

_SLACK_S = 1e-6
"""[s] Noise of interpolated times: a rule of 5 s is met by 4.9999999 s."""


@dataclass(frozen=True, slots=True)
class Graded:
    """What the ladder and the rules say of one exceedance.

    ``ladder_kt``, ``ladder_mach`` : (step, time beyond limit + step [s]) pairs, the second for
    Mach limits only; ``integral_kt_s`` : excess times time, summed [kt s]; ``severity`` : by the
    highest rule that is met, None where none is.
    """

    ladder_kt: tuple[tuple[float, float], ...]
    ladder_mach: tuple[tuple[float, float], ...]
    integral_kt_s: float
    severity: Severity | None


@dataclass(frozen=True, eq=False)
class Course:
    """The excess over one limit from sample to sample, in straight pieces.

    ``duration`` [s], ``first`` and ``last`` : float64[m], the excess at either end of a piece;
    ``peak`` : the greatest excess of any judged sample.
    """

    duration: Floats
    first: Floats
    last: Floats
    peak: float

    def time_beyond(self, step: float) -> float:
        """Return the time [s] in which the excess was more than `step`."""
        return float((self.duration * _share(self.first - step, self.last - step)).sum())

    @property
    def integral(self) -> float:
        """The part of the excess above zero times the time it lasted, summed."""
        share = _share(self.first, self.last)
        low, high = np.minimum(self.first, self.last), np.maximum(self.first, self.last)
        return float((self.duration * share * (np.maximum(low, 0.0) + high.clip(min=0.0)) / 2)
                     .sum())


def _share(first: Floats, last: Floats) -> Floats:
    """The part of each straight piece that lies above zero."""
    low, high = np.minimum(first, last), np.maximum(first, last)
    rise = np.where(high > low, high - low, 1.0)
    return np.where(low >= 0, (high > 0) * 1.0, np.clip(high / rise, 0.0, 1.0))


def grade(analysis: Analysis) -> tuple[Graded, ...]:
    """Return the time beyond each step of the ladder and the severity of each exceedance.

    Parameters
    ----------
    analysis : Analysis
        Its sheet's rules and ladder are used.

    Returns
    -------
    tuple of Graded
        Parallel to ``analysis.exceedances``.
    """
    graded: list[Graded | None] = [None] * len(analysis.exceedances)
    for name in {one.limit for one in analysis.exceedances}:
        chosen = [i for i, one in enumerate(analysis.exceedances) if one.limit == name]
        found = [analysis.exceedances[i] for i in chosen]
        limit = analysis.limit_names.index(name)
        for i, one, (kt, mach) in zip(chosen, found, _courses(analysis, limit, found),
                                      strict=True):
            graded[i] = _graded(analysis, one, kt, mach)
    return tuple(one for one in graded if one is not None)


def _courses(
    analysis: Analysis, i: int, found: Sequence[Exceedance]
) -> list[tuple[Course, Course | None]]:
    """The excess of each exceedance of limit `i`, in kt and, for a Mach limit, in Mach."""
    case, limit = analysis._case, analysis.sheet.limit[i]
    time, state = case.log.time, analysis.columns[f"state_{i}"]
    reach = HELD_INTERVALS * case.log.interval_s if case.log.interval_s > 0 else 0.0
    firsts = np.searchsorted(time, [one.start_s for one in found], side="left")
    lasts = np.searchsorted(time, [one.end_s for one in found], side="left")
    # The sample before, where the limit was crossed after it.
    firsts -= np.array([one.began_by == "crossed" and first > 0 and time[first] > one.start_s
                        for one, first in zip(found, firsts.tolist(), strict=True)])
    spans = [np.arange(first, min(last + 1, len(time)))
             for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True)]
    # All rows in one call: a limit ridden in gusts has thousands of exceedances.
    rows = np.concatenate(spans)
    at = equivalents.point(case.air, rows)
    value = equivalents.published_value(limit, at) - equivalents.published_maximum(limit, at)
    knots = value
    if limit.is_mach:
        knots = (at.calibrated_airspeed
                 - equivalents.calibrated_equivalent(limit, case.air, at)) / KNOT
    judged = (state[rows] == UNDER) | (state[rows] == OVER)
    stamps = time[rows]
    courses = []
    start = 0
    for one, span in zip(found, spans, strict=True):
        part = slice(start, start + len(span))
        start += len(span)
        end = one.end_s

        def course(excess: Floats, part: slice = part, end: float = end) -> Course:
            return _course(stamps[part], excess[part], judged[part], reach, end)

        courses.append((course(knots), course(value) if limit.is_mach else None))
    return courses


def _course(
    time: Floats, excess: Floats, judged: NDArray[np.bool_], reach: float, end: float
) -> Course:
    """Straight pieces between judged samples; else held to the next sample, or `reach` at most."""
    steps = np.append(np.diff(time), max(end - time[-1], 0.0))
    following = np.append(excess[1:], excess[-1])
    joined = np.append(judged[1:] & (steps[:-1] <= reach), False)
    keep = judged & (steps > 0)
    last = np.where(joined, following, excess)
    steps = np.where(joined, steps, np.minimum(steps, reach))
    return Course(steps[keep], excess[keep], last[keep], float(np.nanmax(excess[judged])))


def _graded(
    analysis: Analysis, one: Exceedance, kt: Course, mach: Course | None
) -> Graded:
    sheet = analysis.sheet
    tolerance = (analysis.settings.tolerance_kt, analysis.settings.tolerance_mach)
    met = [rule for rule in sheet.severity if _met(rule, one, kt, mach, tolerance)]
    worst = max(met, key=lambda rule: LEVELS.index(rule.level), default=None)
    return Graded(
        tuple((step, kt.time_beyond(step + tolerance[0])) for step in sheet.ladder.kt),
        () if mach is None else tuple((step, mach.time_beyond(step + tolerance[1]))
                                      for step in sheet.ladder.mach),
        kt.integral,
        None if worst is None else Severity(worst.level, worst.name, worst.example),
    )


def _met(
    rule: SeverityRule, one: Exceedance, kt: Course, mach: Course | None,
    tolerance: tuple[float, float],
) -> bool:
    """Whether all that a rule states is met."""
    if rule.limits is not None and one.limit not in rule.limits:
        return False
    course, excess, slack = kt, rule.excess_kt, tolerance[0]
    if rule.excess_mach is not None:
        if mach is not None:
            course, excess, slack = mach, rule.excess_mach, tolerance[1]
        elif excess is None:
            return False
    if excess is not None and course.peak < excess - slack:
        return False
    if rule.time_s is not None:
        step = excess - slack if excess else 0.0
        if course.time_beyond(step) < rule.time_s - _SLACK_S:
            return False
    return rule.integral_kt_s is None or kt.integral >= rule.integral_kt_s - _SLACK_S
