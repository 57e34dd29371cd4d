"""A short invented flight with one exceedance, a gap and a stretch without airspeed."""

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Analysis, Channel, Finding, FlightLog, Source, analyze, read_limits
from loganalyze.record.units import FOOT, KNOT

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 245
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.48
[[limit]]
name = "VFE 20"
quantity = "indicated_airspeed"
maximum_kt = 180
when = { flap_deg = { above = 1, up_to = 20 } }
"""


def log_of(
    folder: Path, cas_kt: np.ndarray, *, altitude_ft: float = 5000.0, start: float = 0.0,
    temperature: bool = True, dated: bool = True, gap: slice | None = None,
) -> FlightLog:
    """A 1 Hz log at one altitude with the given speeds."""
    path = folder / "flight.csv"
    if not path.exists():
        path.write_text("the bytes of an invented log\n")
    state = path.stat()
    time = start + np.arange(len(cas_kt), dtype=np.float64)
    keep = np.ones(len(time), dtype=bool)
    if gap is not None:
        keep[gap] = False
    values = {
        "pressure_altitude": np.full(len(time), altitude_ft * FOOT),
        "calibrated_airspeed": cas_kt * KNOT,
        "flap": np.zeros(len(time)),
    }
    if temperature:
        values["static_air_temperature"] = np.full(len(time), 280.0)
    channels = {
        name: Channel(array[keep], interval_s=1.0, column=name.upper(), known_by="name")
        for name, array in values.items()
    }
    source = Source(path, state.st_size, state.st_mtime_ns, {"format": "CSV"}, (
        Finding("zone_not_stated", {"columns": ["TIME"]}),))
    utc = np.datetime64("2031-05-06T07:08:09", "ns") if dated else None
    return FlightLog(time[keep], channels, source, utc, 1.0)


@pytest.fixture
def sheet_path(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text(SHEET)
    return path


@pytest.fixture
def judged(tmp_path, sheet_path):
    """Return a function that judges given speeds [kt]."""

    def judge(cas_kt, *, flight: int = 1, **how) -> Analysis:
        log = log_of(tmp_path, np.asarray(cas_kt, dtype=np.float64), **how)
        return analyze(log, read_limits(sheet_path), flight=flight)

    return judge


@pytest.fixture
def analysis(judged) -> Analysis:
    """A flight of 200 s: 10 s at 250 kt from 50 s on, a gap from 100 to 120 s, no airspeed from
    150 to 160 s."""
    cas = np.full(200, 230.0)
    cas[50:60] = 250.0
    cas[150:160] = np.nan
    return judged(cas, gap=slice(100, 120))
