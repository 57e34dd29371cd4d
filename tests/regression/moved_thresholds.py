"""Results with every threshold of the assessment moved both ways, one at a time."""

from __future__ import annotations

from dataclasses import fields, replace

import loganalyze as la

FACTORS = (0.6, 0.9, 1.15, 2.0)


def phases_by_threshold(analysis: la.Analysis) -> dict[str, dict[str, str]]:
    """The phases with each threshold times each factor, where that changes them.

    As the number of stretches, the sum of their starts, and how much longer each phase lasts.
    """
    usual = la.PhaseSettings()
    plain = la.phases_of(analysis)[1]
    before = _lengths(plain)
    found: dict[str, dict[str, str]] = {}
    for one in fields(la.PhaseSettings):
        value = getattr(usual, one.name)
        if isinstance(value, tuple):
            continue
        for factor in FACTORS:
            changed = type(value)(value * factor)
            if one.name == "cruise_share" and changed >= 1:
                continue
            phases = la.phases_of(analysis, replace(usual, **{one.name: changed}))[1]
            if phases != plain:
                after = _lengths(phases)
                longer = {name: after.get(name, 0.0) - before.get(name, 0.0)
                          for name in sorted({*before, *after})}
                found.setdefault(one.name, {})[f"{factor:g}"] = (
                    f"{len(phases)}, {sum(phase.start_s for phase in phases):.8g}: " + ", ".join(
                        f"{name} {by:+.6g}" for name, by in longer.items() if abs(by) > 1e-6))
    return found


def _lengths(phases: tuple[la.PhaseStretch, ...]) -> dict[str, float]:
    lengths: dict[str, float] = {}
    for one in phases:
        lengths[one.phase] = lengths.get(one.phase, 0.0) + one.end_s - one.start_s
    return lengths
