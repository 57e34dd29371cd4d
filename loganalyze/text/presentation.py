"""How facts are put for a reader: for whom, in which units, on which clock, with which names."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, assert_never

import numpy as np

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.decisive_exceedance import Basis
from loganalyze.text.facts import Exceeding
from loganalyze.text.language import number_format, quantity_words

Clock = Literal["elapsed", "utc"]
Reader = Literal["crew", "training", "safety", "maintenance"]
READERS: tuple[Reader, ...] = ("crew", "training", "safety", "maintenance")

TELLS_WHERE = frozenset(("latitude", "longitude"))
TELLS_HOW_FLOWN = frozenset(("overspeed_warning", "autopilot", "autothrottle"))
"""Of no use to maintenance, which is told what the airframe met and nothing about people."""


@dataclass(frozen=True, slots=True)
class Units:
    """The units that speeds and altitudes are put in, as multiples of the knot and the foot."""

    name: str
    speed: str
    per_knot: float
    altitude: str
    per_foot: float

    def edge(self, unit: str) -> tuple[str, float]:
        """Return the unit in which values of a channel's edge unit are put, and its factor."""
        return {
            "kt": (self.speed, self.per_knot),
            "ft": (self.altitude, self.per_foot),
            "ft/min": ("ft/min", 1.0) if self.altitude == "ft" else ("m/s", 0.3048 / 60),
        }.get(unit, (unit, 1.0))


# Exact by definition: 1 kt = 1.852 km/h, 1 ft = 0.3048 m.
KNOTS_FEET = Units("kt-ft", "kt", 1.0, "ft", 1.0)
KMH_METRES = Units("kmh-m", "km/h", 1.852, "m", 0.3048)
UNITS: dict[str, Units] = {units.name: units for units in (KNOTS_FEET, KMH_METRES)}


@dataclass(frozen=True, slots=True)
class Presentation:
    """How facts are put.

    ``reader`` : whom the report is for; ``clock`` : "utc" needs ``utc_start``, the instant of
    time 0, and falls back on "elapsed" without it; ``origin_s`` : the flight's first sample [s
    from the log's first], from which elapsed times are counted; ``deidentified`` : no crew, flight
    number, registration, date, file name, nor free text that may hold one.

    Raises ValueError for UTC in a de-identified report: the time of day tells the flight.
    """

    reader: Reader = "safety"
    units: Units = KNOTS_FEET
    clock: Clock = "elapsed"
    deidentified: bool = False
    utc_start: np.datetime64 | None = None
    origin_s: float = 0.0

    def __post_init__(self) -> None:
        if self.deidentified and self.clock == "utc":
            raise ValueError("a de-identified report has no UTC")

    def of_flight(self, start_s: float | None, utc_start: np.datetime64 | None) -> Presentation:
        """Return the same for one flight of a log.

        `start_s` : its first sample [s from the log's first]; `utc_start` : the instant of time 0.
        """
        start = None if self.deidentified else utc_start
        return replace(self, origin_s=start_s or 0.0, utc_start=start)

    def timed(self, start_s: float | None, start_utc: str | None) -> Presentation:
        """Return the same for one flight of a log, from its facts: the first sample in UTC."""
        if start_utc is None or start_s is None:
            return self.of_flight(start_s, None)
        elapsed = np.timedelta64(round(start_s * 1e9), "ns")
        return self.of_flight(start_s, np.datetime64(start_utc.removesuffix("Z"), "ns") - elapsed)

    def hides(self, channel: str) -> bool:
        """Whether a recorded channel is left out: it tells where, or how it was flown."""
        stem = channel.rstrip("23456789").rstrip("_")
        return (self.deidentified and stem in TELLS_WHERE) or (
            self.reader == "maintenance" and stem in TELLS_HOW_FLOWN)

    @property
    def basis(self) -> Basis:
        """What decides for the reader: what the crew saw; for maintenance, what the air did."""
        match self.reader:
            case "maintenance":
                return "flown"
            case "crew" | "training" | "safety":
                return "displayed"
            case _:
                assert_never(self.reader)

    @property
    def in_utc(self) -> bool:
        """Whether instants are put as UTC."""
        match self.clock:
            case "utc":
                return self.utc_start is not None
            case "elapsed":
                return False
            case _:
                assert_never(self.clock)

    def second(self, seconds: float | None) -> str:
        """Return an instant as `instant` does, to the nearest second."""
        if seconds is None or not math.isfinite(seconds):
            return quantity_words.UNKNOWN
        if not self.in_utc:
            return number_format.clock(float(round(seconds - self.origin_s))).removesuffix(".0")
        assert self.utc_start is not None
        at = self.utc_start + np.timedelta64(round(seconds * 1e9) + 500_000_000, "ns")
        return str(np.datetime_as_string(at, unit="s"))[11:19] + "Z"

    def instant(self, seconds: float | None) -> str:
        """Return an instant [s from the log's first sample] on the report's clock."""
        if seconds is None or not math.isfinite(seconds):
            return quantity_words.UNKNOWN
        if not self.in_utc:
            return number_format.clock(seconds - self.origin_s)
        assert self.utc_start is not None
        # To the nearest tenth, as the elapsed clock rounds; cutting digits off would not.
        at = self.utc_start + np.timedelta64(round(seconds * 1e9) + 50_000_000, "ns")
        return str(np.datetime_as_string(at, unit="ms"))[11:21] + "Z"

    def speed(self, knots: float | None, quantity: str = "") -> str:
        """Return a speed, or a difference of speeds, to a tenth: "250.0 kt CAS"."""
        if knots is None or not math.isfinite(knots):
            return quantity_words.UNKNOWN
        value = knots * self.units.per_knot
        digits = f"{value:.1f}" if abs(value) >= 0.05 or value == 0 else f"{value:.2g}"
        letters = quantity_words.SPEED_LETTERS.get(quantity, "")
        return f"{digits} {self.units.speed}{' ' + letters if letters else ''}"

    def step(self, knots: float) -> str:
        """Return a set step of speed, with no more digits than it needs: "5 kt"."""
        return f"{knots * self.units.per_knot:g} {self.units.speed}"

    def own_step(self, step: float, quantity: str) -> str:
        """Return a set step of a quantity that is no speed, with no more digits than needed."""
        other = none_of_a_speed(quantity)
        return f"{step:g} {other.unit.name}" if other else self.step(step)

    def altitude(self, feet: float | None) -> str:
        """Return an altitude in whole feet or metres."""
        if feet is None or not math.isfinite(feet):
            return quantity_words.UNKNOWN
        return f"{feet * self.units.per_foot:,.0f} {self.units.altitude}"

    def published(self, value: float | None, quantity: str) -> str:
        """Return a value [the quantity's unit] in the quantity in which its limit is published."""
        if value is None or not math.isfinite(value):
            return quantity_words.UNKNOWN
        if other := none_of_a_speed(quantity):
            return quantity_words.amount(value, other)
        if quantity in quantity_words.MACH_WORDS:
            return f"{quantity_words.MACH_WORDS[quantity]} {number_format.mach(value)}"
        return self.speed(value, quantity)

    def excess(self, kt: float | None, mach_number: float | None = None) -> str:
        """Return by how much: "6.3 kt", or of a Mach limit "Mach .012 (6.3 kt)"."""
        knots = self.speed(kt) if kt is not None and math.isfinite(kt) else ""
        if mach_number is None or not math.isfinite(mach_number):
            return knots or quantity_words.UNKNOWN
        by_mach = f"Mach {number_format.mach(mach_number)}"
        return f"{by_mach} ({knots})" if knots else by_mach

    def exceeded_by(self, exceeding: Exceeding) -> str:
        """Return by how much a limit was exceeded: "Mach .012 (6.3 kt)", or "0.30 g"."""
        if other := none_of_a_speed(exceeding.quantity):
            return quantity_words.amount(exceeding.worst_excess, other)
        return self.excess(exceeding.worst_excess_kt, exceeding.worst_excess_mach)

    def published_difference(self, value: float, quantity: str) -> str:
        """Return a difference [its unit] in a limit's published quantity, with its sign."""
        if not math.isfinite(value):
            return quantity_words.UNKNOWN
        if other := none_of_a_speed(quantity):
            return quantity_words.amount(value, other, sign=True)
        if quantity in quantity_words.MACH_WORDS:
            return f"Mach {'+' if value > 0 else ''}{number_format.mach(value)}"
        return f"{'+' if value > 0 else ''}{self.speed(value)}"

    def published_band(self, value: float, quantity: str) -> str:
        """Return a width of margin [its unit] in a limit's published quantity."""
        in_knots = quantity not in quantity_words.MACH_WORDS and not none_of_a_speed(quantity)
        return self.speed(value) if in_knots else self.published(value, quantity)
