"""A small log and limits sheet on disk, and a way to run the command line in this process."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from loganalyze.cli import main

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


def write_log(path: Path, speeds, *, altitude: float = 5000.0) -> Path:
    rows = [f"{i},{altitude},{speed},4\n" for i, speed in enumerate(speeds)]
    path.write_text("Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC]\n" + "".join(rows))
    return path


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_text(SHEET)
    return path


@pytest.fixture
def fast(tmp_path):
    """A log with one exceedance of VMO by 5 kt."""
    return write_log(tmp_path / "fast.csv", [230] * 20 + [250] * 10 + [230] * 20)


@pytest.fixture
def slow(tmp_path):
    """A log without an exceedance."""
    return write_log(tmp_path / "slow.csv", [200] * 50)


@pytest.fixture
def run(capsys):
    """Return a function that runs the command line and returns code, out and err."""

    def run(*arguments) -> SimpleNamespace:
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            main([str(argument) for argument in arguments])
        streams = capsys.readouterr()
        return SimpleNamespace(code=stopped.value.code, out=streams.out, err=streams.err)

    return run
