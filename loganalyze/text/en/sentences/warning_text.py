"""How the recorded overspeed warning behaved: a sentence for each kind of finding."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from loganalyze.text.en.number_format import clock, duration, knots, mach

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import WarningFinding

RULE = ("The latest that an overspeed warning may sound is by default VMO + 6 kt or MMO + 0.01 "
        "(14 CFR 25.1303(c)(1)); the limits sheet can set others.")


Speed = Callable[[float], str]


def _speed(values: Mapping[str, float], name: str, put: Speed) -> str:
    if f"{name}_mach" in values:
        return f"Mach {mach(values[f'{name}_mach'])}"
    value = values.get(f"{name}_kt")
    return "an unknown speed" if value is None else put(value)


def _excess(finding: WarningFinding, put: Speed) -> str:
    name = "mach" if "excess_mach" in finding.values else "kt"
    side = "over" if finding.values.get(f"excess_{name}", 0.0) >= 0 else "under"
    size = {f"excess_{name}": abs(finding.values.get(f"excess_{name}", float("nan")))}
    return f"{_speed(size, 'excess', put)} {side} {finding.limit}"


WARNINGS: dict[str, Callable[[WarningFinding, Speed], str]] = {
    "on time": lambda finding, put:
        f"on time: at {_speed(finding.values, 'speed', put)}, {_excess(finding, put)}",
    "early": lambda finding, put:
        f"early: at {_speed(finding.values, 'speed', put)}, {_excess(finding, put)} and further "
        f"than the tolerance of {_speed(finding.values, 'tolerance', put)}",
    "late": lambda finding, put:
        f"late, {duration(finding.values['late_s'])} after the speed had passed "
        f"{_speed(finding.values, 'threshold', put)} by more than the tolerance: at "
        f"{_speed(finding.values, 'speed', put)}, {_excess(finding, put)}",
    "missing": lambda finding, put:
        f"missing for {duration(finding.end_s - finding.start_s)} while the speed was beyond "
        f"{_speed(finding.values, 'threshold', put)} by more than the tolerance, at worst "
        f"{_speed(finding.values, 'speed', put)}",
    "spurious": lambda finding, put:
        "on without cause" + (
            f": at {_speed(finding.values, 'speed', put)}, {_excess(finding, put)}, and never "
            f"nearer than the tolerance of {_speed(finding.values, 'tolerance', put)}"
            if finding.limit else ""),
    "not determinable": lambda finding, put:
        "on, but whether on time isn't known: its onset wasn't recorded, or the speed or the "
        "limit isn't known there",
}
"""What is said of each kind of finding, after "the overspeed warning was"."""


def warning(finding: WarningFinding, clock: Callable[[float], str] = clock, speed: Speed = knots
            ) -> str:
    """Return a finding as a sentence; `clock` puts times in words, `speed` knots.

    Raises KeyError for a kind that has no sentence: a test holds that each has finding.
    """
    what = WARNINGS[finding.kind](finding, speed)
    return f"At {clock(finding.start_s)} the overspeed warning was {what}."
