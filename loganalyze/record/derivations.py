"""Which recorded channels give the airspeed and the pressure altitude, in order of preference.

The one table that the reader, the evaluation, the screening and the uncertainty budget share: a
log accepted by one of them is accepted by all of them.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass
from typing import Literal

DerivationKind = Literal["recorded", "pressures", "mach", "setting"]


@dataclass(frozen=True, slots=True)
class Derivation:
    """One way to obtain a quantity from recorded channels.

    ``kind`` : "recorded" (the channel holds the quantity itself), "pressures", "mach" or
    "setting" (an indicated altitude with its altimeter setting); ``channels`` : the channels
    needed; of two pressures, the second is subtracted from the first.
    """

    kind: DerivationKind
    channels: tuple[str, ...]

    def is_recorded(self, log: Container[str]) -> bool:
        """Whether a log, or any container of channel names, holds all the channels needed."""
        return all(channel in log for channel in self.channels)


AIRSPEED: tuple[Derivation, ...] = (
    Derivation("recorded", ("indicated_airspeed",)),
    Derivation("recorded", ("calibrated_airspeed",)),
    Derivation("pressures", ("impact_pressure",)),
    Derivation("pressures", ("total_pressure", "static_pressure")),
    Derivation("mach", ("mach",)),
)
"""Derivations of the airspeed. Where both indicated and calibrated airspeed are recorded, the
limits sheet selects one; the recorded Mach number is used only where the sheet allows it, and
needs a pressure altitude as well."""

ALTITUDE: tuple[Derivation, ...] = (
    Derivation("recorded", ("pressure_altitude",)),
    Derivation("pressures", ("static_pressure",)),
    Derivation("pressures", ("total_pressure", "impact_pressure")),
    Derivation("setting", ("indicated_altitude", "altimeter_setting")),
)
"""Derivations of the pressure altitude."""

AIRSPEEDS: tuple[str, ...] = tuple(
    derivation.channels[0] for derivation in AIRSPEED if derivation.kind == "recorded")
"""The channels that hold a recorded airspeed."""


def of_kind(derivations: Iterable[Derivation], kind: DerivationKind) -> tuple[Derivation, ...]:
    """Return the derivations of one kind, in their order of preference."""
    return tuple(derivation for derivation in derivations if derivation.kind == kind)
