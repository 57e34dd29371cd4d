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


def _excess(one: WarningFinding, put: Speed) -> str:
    name = "mach" if "excess_mach" in one.values else "kt"
    side = "over" if one.values.get(f"excess_{name}", 0.0) >= 0 else "under"
    size = {f"excess_{name}": abs(one.values.get(f"excess_{name}", float("nan")))}
    return f"{_speed(size, 'excess', put)} {side} {one.limit}"


WARNINGS: dict[str, Callable[[WarningFinding, Speed], str]] = {
    "on time": lambda one, put:
        f"on time: at {_speed(one.values, 'speed', put)}, {_excess(one, put)}",
    "early": lambda one, put:
        f"early: at {_speed(one.values, 'speed', put)}, {_excess(one, put)} and further than "
        f"the tolerance of {_speed(one.values, 'tolerance', put)}",
    "late": lambda one, put:
        f"late, {duration(one.values['late_s'])} after the speed had passed "
        f"{_speed(one.values, 'threshold', put)} by more than the tolerance: at "
        f"{_speed(one.values, 'speed', put)}, {_excess(one, put)}",
    "missing": lambda one, put:
        f"missing for {duration(one.end_s - one.start_s)} while the speed was beyond "
        f"{_speed(one.values, 'threshold', put)} by more than the tolerance, at worst "
        f"{_speed(one.values, 'speed', put)}",
    "spurious": lambda one, put:
        "on without cause" + (
            f": at {_speed(one.values, 'speed', put)}, {_excess(one, put)}, and never nearer "
            f"than the tolerance of {_speed(one.values, 'tolerance', put)}" if one.limit else ""),
    "not determinable": lambda one, put:
        "on, but whether on time isn't known: its onset wasn't recorded, or the speed or the "
        "limit isn't known there",
}
"""What is said of each kind of finding, after "the overspeed warning was"."""


def warning(one: WarningFinding, clock: Callable[[float], str] = clock, speed: Speed = knots
            ) -> str:
    """Return a finding as a sentence; `clock` puts times in words, `speed` knots.

    Raises KeyError for a kind that has no sentence: a test holds that each has one.
    """
    return f"At {clock(one.start_s)} the overspeed warning was {WARNINGS[one.kind](one, speed)}."
