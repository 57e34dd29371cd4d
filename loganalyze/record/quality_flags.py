"""What is wrong with a recording, and where that could be told at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from loganalyze.record.intervals import Intervals


@dataclass(frozen=True, eq=False)
class QualityFlag:
    """One kind of doubt about one channel.

    ``name`` : a code ("missing", "frozen", ...), made a sentence where results are shown;
    ``channel`` : the channel's name, empty for the recording as a whole; ``covered`` : where it
    could be judged; ``raised`` : where it is true (inside ``covered``); ``set_aside`` : whether
    no verdict rests on the raised samples; ``values`` : what else was found, by name (SI).
    """

    name: str
    channel: str
    covered: Intervals
    raised: Intervals
    set_aside: bool = True
    values: Mapping[str, Any] = field(default_factory=dict)
