"""The sample logs: four flights of an invented operator's invented twin turboprop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loganalyze.simulate.flight import Segment, Truth, Weather, fly
from loganalyze.simulate.recorder import Recorder, write_csv

VMO_KT = 255.0
MMO = 0.49

_HEADERS = {
    "time_s": ("UTC", 3),
    "pressure_altitude_ft": ("Pressure Altitude [ft]", 0),
    "airspeed_kt": ("IAS [kt]", 2),
    "outside_air_temperature_degc": ("OAT [degC]", 2),
    "flap_deg": ("Flap [deg]", 1),
    "gear_down": ("Gear Down", 0),
}
_ELAPSED = {**_HEADERS, "time_s": ("Time [s]", 3)}

_RECORDER = Recorder(
    rate_hz=4.0,
    altitude_step_ft=4.0,
    airspeed_step_kt=0.25,
    temperature_step_degc=0.25,
    altitude_noise_ft=2.0,
    airspeed_noise_kt=0.1,
    temperature_noise_degc=0.1,
    temperature_every=4,
    recovery_factor=0.85,
    flap_offset_deg=1.2,
)

_TAKEOFF = (
    Segment(20, 0, 0, flap_deg=10, gear_down=True),
    Segment(40, 0, 128, flap_deg=10, gear_down=True),
    Segment(12, 1400, 135, flap_deg=10, gear_down=True),
    Segment(40, 1600, 150, flap_deg=10),
)
_APPROACH = (
    Segment(50, -500, 168),
    Segment(60, -800, 160, flap_deg=10),
    Segment(60, -750, 145, flap_deg=10, gear_down=True),
    Segment(100, -680, 124, flap_deg=35, gear_down=True),
    Segment(10, 0, 110, flap_deg=35, gear_down=True),
    Segment(70, 0, 0, flap_deg=35, gear_down=True),
)


@dataclass(frozen=True)
class Sample:
    """One sample log: how it is flown and how it is recorded."""

    name: str
    flight: Callable[[], Truth]
    recorder: Recorder
    utc_start: np.datetime64 | None
    seed: int

    def truth(self) -> Truth:
        """Fly it: what the air did."""
        return self.flight()

    def write(self, folder: Path) -> Path:
        """Write the log into `folder` and return its path."""
        path = folder / f"{self.name}.csv"
        headers = _ELAPSED if self.utc_start is None else _HEADERS
        write_csv(self.recorder.record(self.truth(), self.seed), path, headers, self.utc_start)
        return path


def _clean() -> Truth:
    return fly(
        (
            *_TAKEOFF,
            Segment(600, 1750, 190),
            Segment(120, 1100, 190),
            Segment(420, 0, 225, mach=0.478),
            Segment(600, -1690, 241, mach=0.479),
            Segment(60, -600, 190),
            *_APPROACH,
        ),
        Weather(deviation=8.0, deviation_per_km=-1.0, gust=0.45),
        start_altitude_ft=430,
        seed=11,
    )


def _descent() -> Truth:
    return fly(
        (
            Segment(180, 0, 205),
            Segment(60, -1500, 300, mach=0.489),
            Segment(80, -2300, 300, mach=0.497),
            Segment(190, -2300, 300, mach=0.502),
            Segment(110, -2100, 261.5),
            Segment(40, -800, 243),
            Segment(240, -1500, 232),
            Segment(120, 0, 210),
        ),
        Weather(deviation=11.0, deviation_per_km=0.4, gust=0.35),
        start_altitude_ft=23500,
        start_cas_kt=205,
        seed=23,
    )


def _climb() -> Truth:
    return fly(
        (
            *_TAKEOFF,
            Segment(630, 1800, 221),
            Segment(50, 900, 221),
            Segment(240, 0, 212, mach=0.475),
        ),
        Weather(deviation=-6.0, deviation_per_km=-0.5, gust=0.2),
        start_altitude_ft=210,
        seed=37,
    )


def _gaps() -> Truth:
    return fly(
        (
            Segment(180, 0, 232),
            Segment(120, 0, 246),
            Segment(120, -300, 251),
            Segment(90, -1800, 262),
            Segment(90, -1500, 261),
            Segment(60, -500, 236),
            Segment(180, -1200, 228),
            Segment(60, -1200, 258),
            Segment(60, -800, 214),
            Segment(120, 0, 210),
        ),
        Weather(deviation=3.0, deviation_per_km=0.0, gust=0.6),
        start_altitude_ft=12600,
        start_cas_kt=232,
        seed=41,
    )


SAMPLES = (
    Sample("clean_flight", _clean, _RECORDER, np.datetime64("2031-03-04T16:05:00", "ms"), 1),
    Sample("descent_through_mmo_and_vmo", _descent, _RECORDER,
           np.datetime64("2031-03-05T07:41:30", "ms"), 2),
    Sample("climb_into_the_limit", _climb, _RECORDER,
           np.datetime64("2031-03-05T10:12:00", "ms"), 3),
    Sample("gaps_and_dead_probe", _gaps, Recorder(
        rate_hz=2.0,
        altitude_step_ft=4.0,
        airspeed_step_kt=0.5,
        temperature_step_degc=0.25,
        altitude_noise_ft=3.0,
        airspeed_noise_kt=0.15,
        temperature_noise_degc=0.1,
        recovery_factor=0.85,
        flap_offset_deg=1.2,
        jitter_s=0.03,
        gaps=((225.0, 262.0), (505.0, 548.0)),
        probe_dead_from=310.0,
    ), None, 4),
)


def write_samples(folder: Path) -> list[Path]:
    """Write every sample log into `folder`, made where missing, and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    return [sample.write(folder) for sample in SAMPLES]
