"""What the crew could see: the ruler of speed, its marks and its trends."""

import math
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

import loganalyze
from loganalyze import Channel, FlightLog, LimitsSheet, Presentation, Source

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SHEET = SAMPLES / "ouzelwing_240.toml"
KT = 1852 / 3600


@pytest.fixture(scope="module")
def descent():
    flight, = loganalyze.analyze(SAMPLES / "descent_through_mmo_and_vmo.csv", SHEET)
    return flight


@pytest.fixture(scope="module")
def samples(descent, tmp_path_factory):
    folder = tmp_path_factory.mktemp("ruler") / "out"
    loganalyze.write_results(descent, folder)
    return pq.read_table(folder / "samples.parquet")


def flown(speeds_kt, step=0.5, stamps=None):
    """Return the analysis of a flight at 5,000 ft with these indicated airspeeds."""
    time = np.arange(len(speeds_kt)) * step if stamps is None else np.asarray(stamps, dtype=float)
    speeds = np.asarray(speeds_kt, dtype=float) * KT
    log = FlightLog(time, {
        "indicated_airspeed": Channel(speeds, None, step),
        "pressure_altitude": Channel(np.full(len(speeds), 5000 * 0.3048), None, step),
        "flap": Channel(np.zeros(len(speeds)), None, step),
        "gear_down": Channel(np.zeros(len(speeds)), None, step),
    }, Source(Path("made.csv")), interval_s=step)
    return loganalyze.analyze(log, loganalyze.read_limits(SHEET))


def marks(figure) -> dict[str, float]:
    """Return where the marks of speed and pointer stand, by their triangles."""
    shapes = {"v": "speed", "^": "pointer"}
    return {shapes[line.get_marker()]: float(line.get_xdata()[0])
            for line in figure.axes[0].lines if line.get_marker() in shapes}


@pytest.mark.parametrize("units", [Presentation().units, loganalyze.KMH_METRES])
def test_the_marks_stand_where_the_samples_say(descent, samples, units):
    time = samples["time_s"].to_numpy()
    for row in range(0, len(time), 173):
        shown = loganalyze.dial_reading(descent, time[row])
        found = marks(loganalyze.ruler_figure(shown, Presentation(units=units)))
        for name, column in (("speed", "indicated_airspeed_kt"), ("pointer", "limit_pointer_kt")):
            assert found[name] / units.per_knot == pytest.approx(samples[column][row].as_py(),
                                                                 abs=0.1)


def test_the_ruler_holds_all_that_is_marked(descent):
    for at in np.arange(0.0, 1000.0, 37.0):
        axes = loganalyze.ruler_figure(loganalyze.dial_reading(descent, at)).axes[0]
        left, right = axes.get_xlim()
        for line in axes.lines:
            assert left <= min(line.get_xdata()) <= max(line.get_xdata()) <= right
        numbers = [float(text.get_text()) for text in axes.texts
                   if text.get_text().replace(".", "").isdigit()]
        assert numbers[1] - numbers[0] == 10
        for text in axes.texts:
            if text.get_text() in map(str, range(400)):
                assert text.xy[0] == float(text.get_text())


def test_the_trend_is_that_of_a_straight_line_through_ten_seconds(descent, samples):
    time = samples["time_s"].to_numpy()
    for row in range(60, len(time), 211):
        shown = loganalyze.dial_reading(descent, time[row])
        window = (time >= time[row] - 10) & (time <= time[row])
        assert window.sum() == 41
        for got, column in ((shown.speed_trend_kt, "indicated_airspeed_kt"),
                            (shown.pointer_trend_kt, "limit_pointer_kt")):
            values = samples[column].to_numpy().astype(float)[window]
            slope = np.polyfit(time[window] - time[row], values, 1)[0]
            assert got == pytest.approx(10 * slope, abs=1e-4)


def test_a_steady_change_is_its_own_trend():
    shown = loganalyze.dial_reading(flown(200 + 0.5 * np.arange(60)), 25.0)
    assert shown.speed_trend_kt == pytest.approx(10.0, abs=1e-4)
    assert shown.pointer_trend_kt == pytest.approx(0.0, abs=1e-6)
    assert shown.speed_kt == pytest.approx(225.0)


def test_no_trend_reaches_across_a_gap_or_an_unknown_sample():
    speeds = np.full(80, 220.0)
    speeds[30] = np.nan
    flight = flown(speeds)
    reasons = [loganalyze.dial_reading(flight, at).speed_no_trend for at in
               (5.0, 14.5, 15.0, 25.0, 25.5)]
    assert reasons == ["start", "", "unknown", "gap", ""]
    time = np.concatenate([np.arange(40) * 0.5, 30 + np.arange(40) * 0.5])
    flight = flown(np.full(80, 220.0), stamps=time)
    for at, reason in ((19.5, ""), (30.0, "gap"), (39.0, "gap"), (39.5, "")):
        shown = loganalyze.dial_reading(flight, at)
        assert shown.speed_no_trend == reason
        assert math.isnan(shown.speed_trend_kt) == bool(reason)


def test_a_slow_recording_has_no_trend():
    shown = loganalyze.dial_reading(flown(np.full(40, 220.0), step=8.0), 160.0)
    assert shown.speed_no_trend == "slow"
    figure = loganalyze.ruler_figure(shown)
    assert "no trend (recorded too slowly)" in " ".join(
        text.get_text() for text in figure.texts)
    # Nothing but the marks: no arrow and no ring.
    assert not [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    assert set(marks(figure)) == {"speed", "pointer"}


def test_what_is_not_known_is_not_drawn_and_said():
    speeds = np.full(80, 220.0)
    speeds[30] = np.nan
    figure = loganalyze.ruler_figure(loganalyze.dial_reading(flown(speeds), 15.0))
    assert set(marks(figure)) == {"pointer"}
    said = " ".join(text.get_text() for text in figure.texts)
    assert "Speed not known, limit pointer 255.0 kt." in said
    assert "over" not in said


def test_a_limit_that_the_pointer_does_not_show_is_named():
    flight = flown(np.full(60, 180.0))
    log = flight.log
    channels = {**log.channels, "flap": Channel(np.full(60, np.radians(20.0)), None, 0.5)}
    lowered = loganalyze.analyze(FlightLog(log.time, channels, log.source, interval_s=0.5),
                                 loganalyze.read_limits(SHEET))
    shown = loganalyze.dial_reading(lowered, 20.0)
    assert (shown.unseen, shown.pointer_kt) == ("VFE 35", 255.0)
    said = " ".join(text.get_text() for text in loganalyze.ruler_figure(shown).texts)
    assert "VFE 35 was the lowest limit, and the pointer doesn't show it." in said


def test_with_a_correction_the_ruler_is_of_indicated_airspeed(tmp_path):
    sheet = tmp_path / "limits.toml"
    sheet.write_text(SHEET.read_text().replace(
        "[temperature]", "position_correction = [[100, 2], [300, 6]]\n\n[temperature]"))
    assert isinstance(loganalyze.read_limits(sheet), LimitsSheet)
    flight, = loganalyze.analyze(SAMPLES / "descent_through_mmo_and_vmo.csv", sheet)
    shown = loganalyze.dial_reading(flight, 480.0)
    row = int(np.abs(flight.time - 480.0).argmin())
    assert shown.basis == "indicated"
    assert shown.speed_kt == flight.columns["indicated_airspeed_kt"][row]
    assert abs(shown.speed_kt - flight.columns["calibrated_airspeed_kt"][row]) > 4
    assert shown.pointer_kt == flight.columns["limit_pointer_kt"][row]
