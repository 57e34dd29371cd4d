"""Every threshold of the judgement, in one place, with its default and the reason for it."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class Settings:
    """Thresholds of the judgement. All are printed with the results."""

    tolerance_kt: float = 1e-5
    """A speed is over its limit by more than this [kt]: below it lies the noise of converting
    units, far below it any recorder's resolution."""
    tolerance_mach: float = 1e-9
    """The same for Mach limits."""
    join_gap_s: float = 5.0
    """Stretches over one limit are one exceedance when less than this apart [s] ..."""
    join_margin_kt: float = 2.0
    """... and the margin between them stayed below this [kt], for airspeed limits, or ..."""
    join_margin_mach: float = 0.004
    """... below this, for Mach limits: a limit ridden in gusts is one event, not twenty."""
    minimum_duration_s: float = 0.0
    """Exceedances with less time over the limit than this [s] are marked brief, not dropped."""

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) >= 0.0:
                raise ValueError(f"{field.name} must not be negative")
