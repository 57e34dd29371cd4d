"""A fleet of any size with known truth: aircraft, months, routes, behaviour, faults, bad files.

All invented. The same size and seed give the same bytes.
"""

from __future__ import annotations

import csv
import math
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np

from loganalyze.simulate import pressures
from loganalyze.simulate.flight import FOOT, KNOT, Truth
from loganalyze.simulate.ground_track import ground_rows
from loganalyze.simulate.pressures import Array
from loganalyze.simulate.recorder import Recorder, write_csv
from loganalyze.simulate.samples import MMO, VMO_KT

HEADERS = {
    "time_s": ("UTC", 3),
    "pressure_altitude_ft": ("Pressure Altitude [ft]", 0),
    "airspeed_kt": ("IAS [kt]", 2),
    "outside_air_temperature_degc": ("OAT [degC]", 2),
    "flap_deg": ("Flap [deg]", 1),
    "gear_down": ("Gear Down", 0),
    "heading_deg": ("Heading [deg]", 1),
    "track_deg": ("Track [deg]", 1),
    "ground_speed_kt": ("Ground Speed [kt]", 1),
}
FIRST_DAY = np.datetime64("2031-01-01", "D")
RATE_HZ = 1.0
FAULTS = ("", "spikes", "stuck airspeed", "gap", "not a log", "cut off")


SHEET = f"""# The invented twin of the simulated fleet.
aircraft = "an invented twin turboprop"

[airspeed]
recorded = "indicated"

[temperature]
outside_air = "probe"
recovery_factor = 0.85

[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = {VMO_KT:g}

[[limit]]
name = "MMO"
quantity = "mach"
maximum = {MMO:g}

[[limit]]
name = "VFE 10"
quantity = "indicated_airspeed"
maximum_kt = 175
when = {{ flap_deg = {{ above = 2, up_to = 13 }} }}
"""
FLEET = """# Whose a log is stands in its path.
[identity]
path = "/(?P<registration>DEMO-[0-9]+)/"

[[aircraft]]
registration = ["DEMO-*"]
[[aircraft.sheet]]
limits = "twin.toml"
"""


@dataclass(frozen=True)
class Behaviour:
    """How a simulated fleet is flown.

    ``margin_kt``, ``scatter_kt`` : mean and standard deviation of the margin to VMO that a crew
    leaves in the descent [kt]; ``drift_kt`` : change of that mean in a year [kt]; ``action_day`` :
    days after the first from which something is done, which adds ``effect_kt`` to the mean;
    ``bias_kt`` : standard deviation of the error of the aircraft's airspeed indications [kt];
    ``faults``, ``bad_files`` : share of logs with a recorder's fault, and of files that are none.
    """

    margin_kt: float = 9.0
    scatter_kt: float = 6.0
    drift_kt: float = -3.0
    action_day: int = 240
    effect_kt: float = 5.0
    bias_kt: float = 1.5
    faults: float = 0.03
    bad_files: float = 0.01
    days: int = 365


@dataclass(frozen=True)
class FlownFlight:
    """What is true of one simulated flight.

    ``bias_kt`` : how much the airspeed of its aircraft reads too high [kt]; ``over_s`` : time truly
    over VMO or MMO [s]; ``peak_kt`` : greatest true excess over VMO [kt], negative where it stayed
    under; ``fault`` : one of `FAULTS`.
    """

    file: str
    registration: str
    day: int
    bias_kt: float
    over_s: float
    peak_kt: float
    fault: str


def write_fleet(folder: Path, flights: int, *, aircraft: int = 8,
                behaviour: Behaviour | None = None, seed: int = 1) -> list[FlownFlight]:
    """Write the logs of a simulated fleet, its sheets, and ``truth.csv`` with what is true of each.

    Parameters
    ----------
    folder : Path
        Made where missing; a folder for each aircraft in ``logs``, and ``fleet.toml`` with
        ``twin.toml`` to judge them by.
    flights, aircraft : int
        How many, 1 or more.
    behaviour : Behaviour, optional
        How they are flown.
    seed : int
        Of everything random.

    Returns
    -------
    list of FlownFlight
        In the order of the days.
    """
    how = behaviour or Behaviour()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "twin.toml").write_text(SHEET, encoding="utf-8")
    (folder / "fleet.toml").write_text(FLEET, encoding="utf-8")
    rng = np.random.default_rng(seed)
    biases = how.bias_kt * rng.standard_normal(aircraft)
    days = np.sort(rng.integers(0, how.days, flights))
    flown = []
    for number, day in enumerate(days.tolist()):
        which = int(rng.integers(aircraft))
        registration = f"DEMO-{which + 1:02d}"
        path = folder / "logs" / registration / f"{number:06d}.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        flown.append(_flight(path, registration, day, float(biases[which]), how, rng))
    with (folder / "truth.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([field.name for field in fields(FlownFlight)])
        writer.writerows(astuple(flight) for flight in flown)
    return flown


def _flight(path: Path, registration: str, day: int, bias: float, how: Behaviour,
            rng: np.random.Generator) -> FlownFlight:
    mean = (how.margin_kt + how.drift_kt * day / 365
            + (how.effect_kt if day >= how.action_day else 0.0))
    # What the crew holds is what its instrument shows: the true speed lies lower by its error.
    margin = mean + how.scatter_kt * float(rng.standard_normal()) + bias
    truth = fly_descent(margin, day, rng)
    fault = ""
    if rng.random() < how.bad_files:
        fault = str(rng.choice(FAULTS[4:]))
    elif rng.random() < how.faults:
        fault = str(rng.choice(FAULTS[1:4]))
    recorder = Recorder(
        rate_hz=RATE_HZ, altitude_step_ft=4.0, temperature_step_degc=0.25,
        altitude_noise_ft=2.0, airspeed_noise_kt=0.15, temperature_noise_degc=0.1,
        recovery_factor=0.85, flap_offset_deg=1.2,
        gaps=((900.0, 1100.0),) if fault == "gap" else ())
    rows = recorder.record(truth, int(rng.integers(1 << 31)))
    # Rounded once, with its error: an error would itself be rounded otherwise.
    airspeed = rows["airspeed_kt"]
    rows["airspeed_kt"] = np.round(np.where(airspeed > 40, airspeed + bias, airspeed) * 4) / 4
    _damage(rows["airspeed_kt"], fault, rng)
    rows |= ground_rows(truth, rows["time_s"], rng.spawn(1)[0])
    start = FIRST_DAY + np.timedelta64(day, "D") + np.timedelta64(
        int(rng.integers(5 * 3600, 20 * 3600)), "s")
    write_csv(rows, path, HEADERS, start.astype("datetime64[ms]"))
    if fault == "not a log":
        path.write_text("the download failed\n", encoding="utf-8")
    elif fault == "cut off":
        path.write_bytes(path.read_bytes()[:40])
    over = np.concatenate([truth.over(cas_kt=VMO_KT), truth.over(mach=MMO)])
    peak = float((truth.calibrated_airspeed / KNOT).max()) - VMO_KT
    return FlownFlight(path.name, registration, day, round(bias, 3),
                       round(_union(over), 2), round(peak, 2), fault)


def fly_descent(margin: float, day: int, rng: np.random.Generator,
                more_level_s: float = 0.0) -> Truth:
    """Return a flight whose descent leaves so much margin to VMO.

    Parameters
    ----------
    margin : float
        Between the limit and the speed held in the descent [kt].
    day : int
        Of the year, for the season's temperature.
    rng : numpy.random.Generator
        Of everything random.
    more_level_s : float
        Time in level flight [s] beyond the 8 to 25 minutes that are drawn.
    """
    top = float(rng.uniform(13_000, 23_000))
    level = float(rng.uniform(500, 1500)) + more_level_s
    climb, descent = top / 1500 * 60, top / 1700 * 60
    times = np.cumsum([0, 40, climb, level, descent * 0.15, descent * 0.5, descent * 0.35, 240, 90])
    altitude = np.interp(np.arange(times[-1]), times, [
        300, 300, top, top, top * 0.85, top * 0.3, 2500, 300, 300])
    speed = VMO_KT - margin
    airspeed = np.interp(np.arange(times[-1]), times, [
        0, 125, 200, 205, speed - 3, speed, 200, 125, 0])
    time = np.arange(len(altitude), dtype=np.float64)
    altitude, airspeed = _smoothed(altitude, 25), _smoothed(airspeed, 15)
    gust = _smoothed(rng.standard_normal(len(time)), 6)
    airspeed = airspeed + 0.6 * gust / max(float(gust.std()), 1e-9) * np.clip(airspeed / 200, 0, 1)
    static = pressures.static_pressure(altitude * FOOT)
    impact = np.minimum(pressures.impact_pressure(np.maximum(airspeed, 0.0) * KNOT),
                        float(pressures.impact_ratio(MMO - 0.004)) * static)
    season = 9.0 * math.cos(2 * math.pi * (day - 200) / 365)
    temperature = pressures.standard_temperature(altitude * FOOT) + season
    low = altitude < 2400
    flap = _smoothed(np.where(low & (airspeed < 160), 10.0, 0.0), 8)
    return Truth(time, static, impact, temperature, np.where(flap < 0.05, 0.0, flap),
                 (altitude < 1500).astype(np.float64) * (airspeed < 170))


def _smoothed(values: Array, seconds: int) -> Array:
    """Return a moving mean; the ends are held."""
    wide = np.pad(values, seconds, mode="edge")
    return np.convolve(wide, np.ones(2 * seconds + 1) / (2 * seconds + 1), "valid")


def _damage(airspeed: Array, fault: str, rng: np.random.Generator) -> None:
    place = int(rng.integers(len(airspeed) // 4, len(airspeed) // 2))
    if fault == "spikes":
        airspeed[place:place + 400:40] += 64.0
    elif fault == "stuck airspeed":
        airspeed[place:place + 600] = airspeed[place]


def _union(stretches: Array) -> float:
    """Return the time [s] that stretches cover, overlaps once."""
    total, reached = 0.0, -math.inf
    for start, end in sorted(stretches.tolist()):
        total += max(0.0, end - max(start, reached))
        reached = max(reached, end)
    return total
