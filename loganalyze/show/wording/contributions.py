"""Why margin was lost, in one plain sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from loganalyze.show.wording.numbers import duration, knots

if TYPE_CHECKING:
    from loganalyze.assess.results import Contributions

LEAST_KT = 0.5
"""Parts smaller than this [kt] aren't told in the sentence (the numbers keep them)."""
PULLED_G = 1.3
"""From this load factor [g] on it is worth a word."""

PARTS: dict[str, tuple[str, str, str]] = {
    "limit_moved_kt": ("limit moved", "the limit came down by {}", "the limit went up by {}"),
    "configuration_kt": ("configuration", "the configuration lowered the limit by {}",
                         "the configuration raised the limit by {}"),
    "height_trade_kt": ("height trade", "height was turned into {} of speed",
                        "{} of speed were turned into height"),
    "energy_kt": ("energy", "energy gained brought {} of speed",
                  "energy lost took {} of speed away"),
    "air_temperature_kt": ("air temperature", "the change of air temperature took {} of margin",
                           "the change of air temperature gave {} of margin"),
    "speed_change_kt": ("speed change", "the speed rose by {}", "the speed fell by {}"),
}
"""By field: the part's name, and what it did where margin was lost and where it was gained."""


def parts(one: Contributions) -> list[tuple[str, float]]:
    """Return the parts that were told apart, by name, in kt; positive took margin away."""
    fields = [name for name in PARTS if name != "speed_change_kt"]
    if not one.split:
        fields = ["limit_moved_kt", "configuration_kt", "speed_change_kt"]
    return [(PARTS[name][0], getattr(one, name)) for name in fields]


def contributions(one: Contributions | None, speed: Callable[[float], str] = knots) -> str:
    """Return why margin was lost, as a sentence or two; `speed` puts knots in words."""
    if one is None:
        return ("Why it came about can't be told: there is no run-in of airspeed and altitude "
                "without a break.")
    named = [(name, getattr(one, name)) for name in PARTS if abs(getattr(one, name)) >= LEAST_KT]
    named.sort(key=lambda part: -abs(part[1]))
    said = [PARTS[name][1 if kt > 0 else 2].format(speed(abs(kt))) for name, kt in named]
    began = (f"In the {duration(one.end_s - one.start_s)} before, the margin shrank by "
             f"{speed(one.lost_kt)}")
    if one.lost_kt <= 0:
        began = f"In the {duration(one.end_s - one.start_s)} before, the margin hardly changed"
    lines = [f"{began}: {_listed(said)}." if said else f"{began}; no cause stands out."]
    if abs(one.wind_kt) >= LEAST_KT:
        side = "came from" if one.wind_kt > 0 else "were taken by"
        lines.append(f"Of the energy, {speed(abs(one.wind_kt))} {side} a change of wind.")
    if one.greatest_load_factor >= PULLED_G:
        lines.append(f"The load factor reached {one.greatest_load_factor:.2f} g.")
    if not one.split:
        lines.append("Without air temperature the speed's change can't be split further.")
    return " ".join(lines)


def _listed(said: list[str]) -> str:
    if len(said) < 2:
        return "".join(said)
    return ", ".join(said[:-1]) + " and " + said[-1]
