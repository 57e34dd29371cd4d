"""What a recorder makes of a flight: samples, noise, steps, gaps and a probe that fails."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loganalyze.simulate.flight import FOOT, KNOT, Truth
from loganalyze.simulate.pressures import Array

FILL_DEGC = -99.75
_FILL_SECONDS = 20.0


@dataclass(frozen=True)
class Recorder:
    """How a flight is recorded.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    altitude_step_ft, airspeed_step_kt, temperature_step_degc : float
        Each value is rounded to a multiple of its step; 0 keeps it whole.
    altitude_noise_ft, airspeed_noise_kt, temperature_noise_degc : float
        Standard deviation of white noise, added before rounding.
    temperature_every : int
        The temperature is written in every so many rows, and left blank between.
    recovery_factor : float
        Share of the ram rise that the temperature probe reads, 0 to 1.
    flap_offset_deg : float
        What the flap channel reads with the flaps up.
    jitter_s : float
        Greatest error of a time stamp's regularity [s]; the stamp itself stays true.
    dropped : float
        Share of the rows that were lost, one at a time.
    gaps : tuple of (start, end)
        Stretches without any row [s].
    probe_dead_from : float
        From here on [s] the probe reads `FILL_DEGC` for 20 s, and then nothing.
    """

    rate_hz: float = 4.0
    altitude_step_ft: float = 0.0
    airspeed_step_kt: float = 0.0
    temperature_step_degc: float = 0.0
    altitude_noise_ft: float = 0.0
    airspeed_noise_kt: float = 0.0
    temperature_noise_degc: float = 0.0
    temperature_every: int = 1
    recovery_factor: float = 0.0
    flap_offset_deg: float = 0.0
    jitter_s: float = 0.0
    dropped: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()
    probe_dead_from: float = np.inf

    def record(self, truth: Truth, seed: int = 0) -> dict[str, Array]:
        """Return the rows, a float64[n] a column; NaN where a cell is blank.

        Columns: ``time_s``, ``pressure_altitude_ft``, ``airspeed_kt``,
        ``outside_air_temperature_degc``, ``flap_deg``, ``gear_down``.
        """
        rng = np.random.default_rng(seed)
        time = truth.time[0] + np.arange(
            int((truth.time[-1] - truth.time[0]) * self.rate_hz) + 1) / self.rate_hz
        size = len(time)
        time[1:-1] += self.jitter_s * (2 * rng.random(size)[1:-1] - 1)
        time = np.round(time, 3)
        seen = truth.at(time)

        altitude = seen.pressure_altitude / FOOT
        altitude += self.altitude_noise_ft * rng.standard_normal(size)
        airspeed = seen.calibrated_airspeed / KNOT
        airspeed += self.airspeed_noise_kt * rng.standard_normal(size)
        probe = seen.static_temperature * (1 + 0.2 * self.recovery_factor * seen.mach**2) - 273.15
        probe += self.temperature_noise_degc * rng.standard_normal(size)
        probe = _stepped(probe, self.temperature_step_degc)
        dead_for = time - self.probe_dead_from
        probe[dead_for >= 0] = FILL_DEGC
        probe[dead_for >= _FILL_SECONDS] = np.nan
        probe[np.arange(size) % self.temperature_every != 0] = np.nan

        kept = rng.random(size) >= self.dropped
        for start, end in self.gaps:
            kept &= (time < start) | (time >= end)
        rows = {
            "time_s": time,
            "pressure_altitude_ft": _stepped(altitude, self.altitude_step_ft),
            "airspeed_kt": _stepped(np.maximum(airspeed, 0.0), self.airspeed_step_kt),
            "outside_air_temperature_degc": probe,
            "flap_deg": seen.flap_deg + self.flap_offset_deg,
            "gear_down": seen.gear_down,
        }
        return {name: values[kept] for name, values in rows.items()}


def _stepped(values: Array, step: float) -> Array:
    return np.round(values / step) * step if step else values


def write_csv(
    rows: Mapping[str, Array],
    path: Path,
    headers: Mapping[str, tuple[str, int]],
    utc_start: np.datetime64 | None = None,
) -> None:
    """Write rows as CSV.

    `headers` gives, for each column to write, its heading and its decimals. With `utc_start`
    the time is written as a UTC date and time, to the millisecond.
    """
    columns = []
    for name, (_, decimals) in headers.items():
        values = rows[name]
        if name == "time_s" and utc_start is not None:
            stamps = utc_start + np.round(values * 1000).astype("timedelta64[ms]")
            columns.append([f"{stamp}Z" for stamp in stamps.astype("datetime64[ms]")])
        else:
            # Adding 0.0 turns negative zero into zero.
            columns.append(["" if v != v else f"{round(v, decimals) + 0.0:.{decimals}f}"
                            for v in values.tolist()])
    lines = [",".join(heading for heading, _ in headers.values())]
    lines += [",".join(cells) for cells in zip(*columns, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
