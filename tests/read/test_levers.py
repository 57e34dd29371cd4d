"""A lever or surface that stands, steps and stands again is no fill value, however fast."""

import numpy as np
import pytest

from loganalyze import read_log
from loganalyze.text.language import reading_text


@pytest.mark.parametrize("heading", ["Flap [deg]", "Flap Lever [deg]", "Speedbrake [deg]",
                                     "Slat [deg]", "Power Lever [deg]"])
def test_steps_there_and_back_are_kept(tmp_path, heading):
    time = np.arange(600) / 4
    stood = np.repeat([0.0, 15.0] * 4, [90, 41, 130, 77, 25, 112, 68, 57])
    path = tmp_path / "flight.csv"
    path.write_text(f"Time [s],Pressure Altitude [ft],CAS [kt],{heading}\n" + "".join(
        f"{t:.2f},{5000 + 4 * t % 7:.0f},{200 + 4 * t % 5:.0f},{value:g}\n"
        for t, value in zip(time, stood, strict=True)))
    log = read_log(path)
    (name,) = set(log.channels) - {"pressure_altitude", "calibrated_airspeed"}
    np.testing.assert_allclose(np.degrees(log.aligned(name)), stood)
    assert not any("fill" in sentence for sentence in reading_text.sentences(log.source.inferred))
