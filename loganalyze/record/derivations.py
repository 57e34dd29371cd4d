"""Which recorded channels give the airspeed and the pressure altitude, in order of preference.

The one table that the reader, the evaluation, the screening and the uncertainty budget share: a
log that one of them accepts is accepted by all.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Derivation:
    """One way to a quantity.

    ``kind`` : "recorded" (the channel holds the quantity itself), "pressures", "mach" or
    "setting" (an indicated altitude with its altimeter setting); ``channels`` : all that it
    takes, from which another channel of the derivation is subtracted where there are two
    pressures.
    """

    kind: str
    channels: tuple[str, ...]

    def is_recorded(self, log: Container[str]) -> bool:
        """Whether a log (anything that tells if it holds a channel) has all that it takes."""
        return all(channel in log for channel in self.channels)


AIRSPEED: tuple[Derivation, ...] = (
    Derivation("recorded", ("indicated_airspeed",)),
    Derivation("recorded", ("calibrated_airspeed",)),
    Derivation("pressures", ("impact_pressure",)),
    Derivation("pressures", ("total_pressure", "static_pressure")),
    Derivation("mach", ("mach",)),
)
"""Ways to the airspeed. Where both indicated and calibrated airspeed are recorded the limits sheet
says which one counts; the recorded Mach number counts only where the sheet allows it, and needs
a pressure altitude besides."""

ALTITUDE: tuple[Derivation, ...] = (
    Derivation("recorded", ("pressure_altitude",)),
    Derivation("pressures", ("static_pressure",)),
    Derivation("pressures", ("total_pressure", "impact_pressure")),
    Derivation("setting", ("indicated_altitude", "altimeter_setting")),
)
"""Ways to the pressure altitude."""

AIRSPEEDS: tuple[str, ...] = tuple(
    way.channels[0] for way in AIRSPEED if way.kind == "recorded")
"""The channels that hold an airspeed as the recorder kept it."""


def of_kind(ways: Iterable[Derivation], kind: str) -> tuple[Derivation, ...]:
    """Return the ways of one kind, in their order."""
    return tuple(way for way in ways if way.kind == kind)
