"""The verdict on which a decision rests, and what of it a later judgement changed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

VERDICT_COLUMNS = (
    "flight", "number", "limit", "quantity", "start_s", "end_s", "flight_start_s", "duration_s",
    "time_over_s", "worst_time_s", "worst_excess_kt", "worst_excess_mach",
    "worst_pressure_altitude_ft", "worst_value", "limit_value", "phase", "severity",
    "severity_probability", "severity_rule", "assessment", "probability", "excess_low",
    "excess_high", "confirmed_by", "contradicted_by", "unproven_because", "limits_sheet",
    "judgement_key", "present",
)
"""What a decision keeps of the verdict that it was made on; columns of `exceedances`, the
judgement key of `flights`, and whether there is such an exceedance at all."""

PRINTED: dict[str, float] = {
    "start_s": 0.1, "end_s": 0.1, "duration_s": 0.1, "worst_excess_kt": 0.1,
    "worst_excess_mach": 0.001, "limit_value": 0.001, "probability": 0.01, "excess_low": 0.01,
    "excess_high": 0.01,
}
"""Numbers whose change counts, and from which change on: as they are printed."""
WORDS = ("severity", "assessment", "phase", "unproven_because", "limits_sheet")
"""Words whose change counts."""


@dataclass(frozen=True)
class VerdictChange:
    """One thing that a later judgement says otherwise.

    ``name`` : a column of VERDICT_COLUMNS; ``before``, ``now`` : None where there is no value.
    """

    name: str
    before: float | str | None
    now: float | str | None


def verdict_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a decision keeps of a case's row; NaN becomes None."""
    return {name: _plain(row.get(name)) for name in VERDICT_COLUMNS}


def verdict_changes(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[VerdictChange, ...]:
    """Return what of a verdict changed between two judgements; nothing where it was the same one.

    Numbers count as changed from the step on in which they are printed.
    """
    if before.get("judgement_key") == now.get("judgement_key"):
        return ()
    there, still = before.get("present", True), now.get("present", True)
    if there != still:
        return (VerdictChange("present", *("yes" if known else "no" for known in (there, still))),)
    if not still:
        return ()
    found = []
    for name, step in PRINTED.items():
        old, new = _plain(before.get(name)), _plain(now.get(name))
        if (old is None) != (new is None) or (
                old is not None and new is not None and abs(old - new) >= step):
            found.append(VerdictChange(name, old, new))
    for name in WORDS:
        if (before.get(name) or "") != (now.get(name) or ""):
            found.append(VerdictChange(name, before.get(name) or None, now.get(name) or None))
    return tuple(found)


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
