"""The quantization step of a channel is that of its plausible values, whatever is damaged."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from loganalyze import read_log
from loganalyze.record.units import KNOT

HEADER = "Time [s],Pressure Altitude [ft],IAS [kt],SAT [degC]\n"


def log_of(folder: Path, speeds: list[object], heat: list[object]) -> Path:
    path = folder / "flight.csv"
    path.write_text(HEADER + "".join(
        f"{i},{5000 + i % 3},{speed},{degrees}\n"
        for i, (speed, degrees) in enumerate(zip(speeds, heat, strict=True))))
    return path


@pytest.mark.parametrize("damaged", ["1e160", "-1e200", "123456", "-5e9"])
def test_one_absurd_cell_sets_no_step(damaged, tmp_path):
    speeds: list[object] = [200 + i % 5 * 0.5 for i in range(60)]
    heat: list[object] = [4.0] * 60
    speeds[30] = heat[31] = damaged
    log = read_log(log_of(tmp_path, speeds, heat))
    assert log.channels["indicated_airspeed"].resolution == pytest.approx(0.5 * KNOT)
    # One plausible value tells no step.
    assert math.isnan(log.channels["static_air_temperature"].resolution)


def test_the_same_without_damage(tmp_path):
    log = read_log(log_of(tmp_path, [200 + i % 5 * 0.5 for i in range(60)],
                          [4 + i % 2 * 0.25 for i in range(60)]))
    assert log.channels["indicated_airspeed"].resolution == pytest.approx(0.5 * KNOT)
    assert log.channels["static_air_temperature"].resolution == pytest.approx(0.25)
