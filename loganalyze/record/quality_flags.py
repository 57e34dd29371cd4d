"""Quality problems of a recording, and the stretches in which each could be checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from loganalyze.record.intervals import Intervals

FLAG_CODES = (
    "missing", "out of range", "faster than plausible", "frozen", "stale", "ceased to flicker",
    "sources disagree", "implausible step", "clamped", "quantised", "synchronisation lost",
    "on the ground")
"""Every ``name`` that a flag may have."""


@dataclass(frozen=True, eq=False)
class QualityFlag:
    """One quality problem of one channel.

    ``name`` : one of `FLAG_CODES`, turned into a sentence by `text`;
    ``channel`` : the channel's name, empty for the recording as a whole; ``covered`` : where
    the check could be made; ``raised`` : where the problem was found (inside ``covered``);
    ``screened_out`` : whether the raised samples are excluded from the evaluation;
    ``values`` : further results of the check, by name (SI).
    """

    name: str
    channel: str
    covered: Intervals
    raised: Intervals
    screened_out: bool = True
    values: Mapping[str, Any] = field(default_factory=dict)
