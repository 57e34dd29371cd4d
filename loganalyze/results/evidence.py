"""Evidence about an exceedance from other channels and from its edges.

Unknown numbers are NaN; codes are plain words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Verdict = Literal["confirms", "confirms less", "contradicts", "can't tell"]
"""Verdicts of a reference channel on an exceedance."""
CONFIRMS: Final = "confirms"
CONFIRMS_LESS: Final = "confirms less"
CONTRADICTS: Final = "contradicts"
CANT_TELL: Final = "can't tell"

CONTRADICTED, NOT_FLOWN, NO_ENTRY, SHOWS_LESS = (
    "contradicted by other channels", "edge that no aircraft flies", "no entry recorded",
    "other channels show less")
"""Reasons why an exceedance, or the size of its excess, isn't proven."""


Compared = Literal["airspeed", "pressure altitude"]
"""Which judged quantity another channel speaks of."""
Stepping = Literal["airspeed", "pressure altitude", "flap", "slat"]
"""What may step faster than it is flown or moved at an edge of an exceedance."""


@dataclass(frozen=True, slots=True)
class Reference:
    """What one other recorded channel says of an exceedance, about its worst sample.

    ``channel`` : its name; ``quantity`` : "airspeed" or "pressure altitude", whose judged value it
    is compared with; ``verdict`` : CONFIRMS, CONFIRMS_LESS (over the limit, by less than stated),
    CONTRADICTS or CANT_TELL; ``difference`` : how much more the judged quantity reads than this
    channel says [kt CAS or ft], their usual difference nearby taken off; ``allowed`` : what noise,
    steps, lag and drift between them may make of it; ``excess`` : the excess as this channel has
    it, in the limit's published quantity; ``samples`` : so many were compared.
    """

    channel: str
    quantity: Compared
    verdict: Verdict
    difference: float
    allowed: float
    excess: float
    samples: int


@dataclass(frozen=True, slots=True)
class Edge:
    """A step into or out of an exceedance that is faster than an aircraft or a gust.

    ``quantity`` : "airspeed" [kt], "pressure altitude" [ft], "flap" or "slat" [deg]; ``time_s`` :
    the sample after the step; ``step`` : its size, with its sign; ``allowed`` : the greatest that
    could be flown in that time, ``seconds``.
    """

    quantity: Stepping
    time_s: float
    step: float
    allowed: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the recording shows of an exceedance besides the judged samples themselves.

    ``references`` : what other channels say; ``edges`` : steps that no aircraft flies; ``unseen`` :
    whether it is too short, with no entry or exit recorded, to stand by itself; ``reason`` : a
    code, why the exceedance can't be called proven (empty: nothing speaks against it).
    """

    references: tuple[Reference, ...] = ()
    edges: tuple[Edge, ...] = ()
    unseen: bool = False
    reason: str = ""
