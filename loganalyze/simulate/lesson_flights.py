"""Three invented flights of one lesson: a demonstration, a first try and a better one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from loganalyze.simulate.flight import Segment, Truth, Weather, fly
from loganalyze.simulate.recorder import Recorder, write_csv

_HEADERS = {
    "time_s": ("UTC", 0),
    "pressure_altitude_ft": ("Pressure Altitude [ft]", 0),
    "airspeed_kt": ("IAS [kt]", 1),
    "outside_air_temperature_degc": ("OAT [degC]", 1),
    "flap_deg": ("Flap [deg]", 0),
    "gear_down": ("Gear Down", 0),
}
_RECORDER = Recorder(
    rate_hz=1.0, altitude_step_ft=4.0, airspeed_step_kt=0.5, temperature_step_degc=0.5,
    altitude_noise_ft=2.0, airspeed_noise_kt=0.25, temperature_noise_degc=0.1,
    temperature_every=4, recovery_factor=0.85)
_HELD_S = 12.0
"""A hand corrects a speed about so often [s]."""

_TAKEOFF = (
    Segment(15, 0, 0, flap_deg=10, gear_down=True),
    Segment(40, 0, 128, flap_deg=10, gear_down=True),
    Segment(12, 1400, 135, flap_deg=10, gear_down=True),
    Segment(40, 1600, 152, flap_deg=10),
)
_LANDING = (
    Segment(60, -800, 150, flap_deg=10),
    Segment(60, -750, 145, flap_deg=10, gear_down=True),
    Segment(112, -680, 124, flap_deg=35, gear_down=True),
    Segment(10, 0, 110, flap_deg=35, gear_down=True),
    Segment(60, 0, 0, flap_deg=35, gear_down=True),
)
_FREE = 900.0
"""An airspeed [kt] that no Mach number here reaches: the Mach number alone is held."""


@dataclass(frozen=True)
class LessonFlight:
    """One flight of the lesson: its parts, how far a hand strays [kt], and its seed."""

    name: str
    parts: tuple[Segment, ...]
    strays_kt: float
    utc_start: np.datetime64
    seed: int

    def truth(self) -> Truth:
        """Fly it: what the air did."""
        rng = np.random.default_rng(self.seed)
        flown = (*_TAKEOFF, *_by_hand(self.parts, self.strays_kt, rng), *_LANDING)
        return fly(flown, Weather(deviation=6.0, deviation_per_km=-0.4, gust=0.25),
                   start_altitude_ft=380, seed=self.seed)

    def write(self, folder: Path) -> Path:
        """Write the log into `folder` and return its path."""
        path = folder / f"{self.name}.csv"
        write_csv(_RECORDER.record(self.truth(), self.seed), path, _HEADERS, self.utc_start)
        return path


def _by_hand(parts: Iterable[Segment], strays_kt: float, rng: np.random.Generator
             ) -> Iterator[Segment]:
    """Fly each part as a hand does: the speed strays, is seen and corrected."""
    off = 0.0
    for part in parts:
        left = part.seconds
        while left > 0:
            seconds = min(_HELD_S, left)
            off = 0.55 * off + strays_kt * math.sqrt(1.0 - 0.55**2) * float(rng.standard_normal())
            mach = part.mach * (1.0 + off / 230.0) if part.mach < math.inf else math.inf
            yield replace(part, seconds=seconds, cas_kt=part.cas_kt + off, mach=mach)
            left -= seconds


LESSON = (
    LessonFlight("demonstration", (
        Segment(545, 1800, 190),
        Segment(115, 1700, _FREE, mach=0.40),
        Segment(270, 0, _FREE, mach=0.44),
        Segment(203, -1900, _FREE, mach=0.46),
        Segment(345, -1800, 230),
        Segment(60, -900, 172),
    ), 0.8, np.datetime64("2031-05-12T08:10:00", "ms"), 101),
    LessonFlight("first_try", (
        Segment(250, 1800, 190),
        Segment(60, 2300, 176),
        Segment(300, 1600, 193),
        Segment(90, 1500, _FREE, mach=0.405),
        Segment(40, 0, _FREE, mach=0.46),
        Segment(230, 0, _FREE, mach=0.437),
        Segment(110, -1900, _FREE, mach=0.46),
        Segment(150, -2700, _FREE, mach=0.479),
        Segment(75, -2300, 246),
        Segment(110, -1600, 231),
        Segment(60, -600, 214),
        Segment(85, -1700, 231),
        Segment(60, -900, 172),
    ), 2.6, np.datetime64("2031-05-12T10:35:00", "ms"), 102),
    LessonFlight("better_try", (
        Segment(565, 1800, 190),
        Segment(95, 1600, _FREE, mach=0.40),
        Segment(270, 0, _FREE, mach=0.44),
        Segment(215, -1900, _FREE, mach=0.461),
        Segment(25, -1900, 234),
        Segment(310, -1800, 230),
        Segment(60, -900, 172),
    ), 1.6, np.datetime64("2031-05-14T08:05:00", "ms"), 103),
)


def write_lesson(folder: Path) -> list[Path]:
    """Write the lesson's flights into `folder`, made where missing, and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    return [flight.write(folder) for flight in LESSON]
