"""Where one flight ends and the next begins, on profiles drawn by hand at 1 Hz."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import FT, KT, WAYS, export, in_pieces, lines, parquet

from loganalyze import Problem, read_flights, read_log
from loganalyze.read.flights import flight_splitting
from loganalyze.text.language import reading_text

NAN = np.nan
FIELD = 500.0


def ground(seconds, speed=0.0):
    return np.full(seconds, speed), np.full(seconds, FIELD), np.ones(seconds)


def flight(seconds=1200, cruise=180.0, height=4000.0):
    """Take off at once, climb, cruise and land with a roll of 20 s."""
    up = np.linspace(60, cruise, 120)
    speed = np.concatenate([up, np.full(seconds - 260, cruise), up[::-1], np.linspace(55, 20, 20)])
    rise = np.linspace(0, height, 120)
    profile = np.concatenate([rise, np.full(seconds - 260, height), rise[::-1], np.zeros(20)])
    wheels = np.concatenate([np.zeros(seconds - 20), np.ones(20)])
    return speed, FIELD + profile, wheels


def log_of(folder: Path, *parts, wheels=True, gap=None, blank_below=None, group=None,
           **columns) -> Path:
    speed, altitude, weight = (np.concatenate(each) for each in zip(*parts, strict=True))
    time = np.arange(len(speed), dtype=float)
    if gap is not None:
        time[gap[0]:] += gap[1]
    if blank_below is not None:
        speed = np.where(speed < blank_below, NAN, speed)
    data = {"time_s": time, "press_alt_ft": altitude, "ias_kt": speed}
    if wheels:
        data["weight on wheels"] = weight
    data |= columns
    return parquet(folder, {name: pa.array(values, from_pandas=True)
                            for name, values in data.items()}, rows=group)


def lengths(path, **settings):
    return [(float(log.time[0]), len(log)) for log in read_flights(path, **settings)]


WHEELS = pytest.mark.parametrize("wheels", [True, False], ids=["weight on wheels", "airspeed"])


@WHEELS
def test_a_short_turnaround_is_shared_between_two_flights(wheels, tmp_path):
    path = log_of(tmp_path, ground(300), flight(), ground(600), flight(), ground(300),
                  wheels=wheels)
    first, second = read_flights(path)
    assert (first.time[0], second.time[-1]) == (0, 3599)
    # The ground time from the roll's slow part on, shared in halves.
    assert first.time[-1] + 1 == second.time[0] == pytest.approx(1800, abs=15)
    assert len(first) + len(second) == 3600


@WHEELS
def test_long_ground_running_belongs_to_no_flight_and_is_said(wheels, tmp_path):
    path = log_of(tmp_path, flight(), ground(9000, 12.0), flight(), wheels=wheels)
    first, second = read_flights(path)
    assert len(first) == pytest.approx(1200 + 1800, abs=25)
    assert len(second) == pytest.approx(1200 + 1800, abs=25)
    left = second.steps[0].counts["ground running before, of no flight"]
    assert len(first) + left + len(second) == 11400
    assert reading_text.sentences(second.source.inferred)[-1] == (
        f"{left} rows ({(left - 1) / 60:.0f} min) before the flight that begins at "
        f"{second.time[0]:g} s are ground running, and belong to none.")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("piece", [300, 100_000])
@pytest.mark.parametrize(("after", "said"), [(1500, False), (2400, True), (9000, True)])
def test_ground_running_after_the_last_flight_is_said(after, said, piece, way, tmp_path,
                                                      monkeypatch):
    group = in_pieces(monkeypatch, way, piece)
    path = log_of(tmp_path, flight(), ground(after, 12.0), group=group)
    log, = read_flights(path)
    assert reading_text.sentences(log.source.inferred) == (
        ("The recording runs on for more than 30 min on the ground after this flight: what is "
         "beyond that belongs to no flight, unless another one follows.",) if said else ())


def test_a_stretch_after_a_gap_may_belong_to_no_flight(tmp_path):
    log, = read_flights(log_of(tmp_path, flight(), ground(900), gap=(1300, 7200)))
    assert reading_text.sentences(log.source.inferred) == (
        "A gap of 120 min follows this flight: what comes after it is a stretch of its own, and "
        "belongs to no flight unless one flies in it.",)


@pytest.mark.parametrize("after", [*range(120, 152), 300, 301])
def test_ground_time_of_any_length_ends_one_flight(after, tmp_path):
    assert lengths(log_of(tmp_path, flight(), ground(after), wheels=False)) == [(0, 1200 + after)]


@WHEELS
def test_a_touch_and_go_is_one_flight(wheels, tmp_path):
    path = log_of(tmp_path, flight(), ground(40), flight(), wheels=wheels)
    assert len(lengths(path)) == 1


def test_weight_on_wheels_that_bounces_at_touchdown_ends_one_flight(tmp_path):
    speed, altitude, wheels = flight()
    wheels = wheels.copy()
    wheels[-60:] = 1
    wheels[[-55, -54, -50, -49, -48]] = 0
    path = log_of(tmp_path, (speed, altitude, wheels), ground(600), flight())
    assert len(lengths(path)) == 2


def test_weight_on_wheels_that_flickers_while_taxiing_is_no_flight(tmp_path):
    speed, altitude, wheels = ground(4000, 15.0)
    wheels = wheels.copy()
    wheels[1000:1003] = 0
    path = log_of(tmp_path, flight(), (speed, altitude, wheels), flight())
    assert len(lengths(path)) == 2


@WHEELS
def test_a_rejected_take_off_is_no_flight(wheels, tmp_path):
    rejected = (np.concatenate([np.linspace(0, 110, 20), np.linspace(110, 0, 20)]),
                np.full(40, FIELD), np.ones(40))
    path = log_of(tmp_path, flight(), ground(2000), rejected, ground(2000), flight(), wheels=wheels)
    assert len(lengths(path)) == 2


def test_slow_flight_at_changing_altitude_is_not_on_the_ground(tmp_path):
    slow = (np.full(600, 45.0), FIELD + 2000 + np.linspace(0, 900, 600), np.zeros(600))
    assert len(lengths(log_of(tmp_path, flight(), slow, flight(), wheels=False))) == 1


def test_a_hover_is_flight_where_weight_on_wheels_says_so(tmp_path):
    hover = (np.full(600, 10.0), np.full(600, FIELD + 50), np.zeros(600))
    high = flight()
    assert len(lengths(log_of(tmp_path, high, hover, high))) == 1


def test_a_helicopter_that_rises_and_sinks_while_slow(tmp_path):
    rise = (np.full(60, 10.0), FIELD + np.linspace(0, 600, 60), np.zeros(60))
    sink = (rise[0], rise[1][::-1], rise[2])
    speed, altitude, wheels = flight()
    cruise = (speed, altitude + 600, wheels)
    path = log_of(tmp_path, ground(300), rise, cruise, sink, ground(600), rise, cruise, sink,
                  ground(300), wheels=False)
    found = lengths(path)
    assert [start for start, _ in found] == [0, pytest.approx(300 + 60 + 1200 + 60 + 300, abs=45)]
    assert sum(count for _, count in found) == 2 * (60 + 1200 + 60) + 1200


def test_weight_on_wheels_the_wrong_way_round_is_not_believed(tmp_path):
    parts = [(speed, altitude, 1 - wheels)
             for speed, altitude, wheels in (flight(), ground(1000), flight())]
    assert len(lengths(log_of(tmp_path, *parts))) == 2


def test_airspeed_that_is_not_computed_on_the_ground(tmp_path):
    path = log_of(tmp_path, ground(300), flight(), ground(1000), flight(), wheels=False,
                  blank_below=40)
    assert len(lengths(path)) == 2


def test_an_airspeed_lost_in_cruise_does_not_cut(tmp_path):
    speed, altitude, wheels = flight(3000)
    speed = speed.copy()
    speed[1000:1900] = NAN
    assert len(lengths(log_of(tmp_path, (speed, altitude, wheels), wheels=False))) == 1


def test_a_snippet_around_an_event_is_one_flight(tmp_path):
    assert lengths(log_of(tmp_path, (np.full(20, 250.0), np.full(20, 9000.0), np.zeros(20)))) == [
        (0, 20)]


def test_a_gap_of_hours_cuts_in_the_air_too(tmp_path):
    speed, altitude, wheels = flight()
    path = log_of(tmp_path, (speed[:600], altitude[:600], wheels[:600]),
                  (speed[600:], altitude[600:], wheels[600:]), gap=(600, 7200))
    assert lengths(path) == [(0, 600), (7800, 600)]


def test_a_stretch_on_the_ground_alone_belongs_to_no_flight(tmp_path):
    path = log_of(tmp_path, ground(900), flight(), gap=(900, 7200))
    logs = list(read_flights(path))
    assert [len(log) for log in logs] == [1200]
    assert logs[0].steps[0].counts["ground running before, of no flight"] == 900


def test_a_log_in_which_nothing_flies_is_given_as_it_is(tmp_path):
    path = log_of(tmp_path, ground(900), ground(600), gap=(900, 7200))
    logs = list(read_flights(path))
    assert [len(log) for log in logs] == [900, 600]
    assert reading_text.sentences(logs[1].source.inferred)[-1] == (
        "No flight was found in the stretch that begins at 8100 s: it stays slow and at one "
        "altitude. It was taken as it is.")


def test_a_clock_set_anew_begins_a_flight_whose_times_are_as_recorded(tmp_path):
    speed, altitude, _ = (np.concatenate(each) for each in zip(flight(), flight(), strict=True))
    time = np.concatenate([np.arange(1200.0), np.arange(1200.0) + 3])
    path = parquet(tmp_path, {"time_s": pa.array(time), "press_alt_ft": pa.array(altitude),
                              "ias_kt": pa.array(speed)})
    first, second = read_flights(path)
    assert (first.time[-1], second.time[0], second.time[-1]) == (1199, 3, 1202)
    assert reading_text.sentences(second.source.inferred)[-1] == (
        "The clock fell from 1199 s to 3 s since the file's first sample and ran on: what follows "
        "is a stretch of its own, with the times as recorded; how long the break was isn't known.")
    with pytest.raises(Problem, match="the clock was reset"):
        read_log(path)


def test_flights_from_raw_pressures(tmp_path):
    speed, altitude, _ = (np.concatenate(each) for each in zip(
        flight(), ground(1000), flight(), strict=True))
    static = 1013.25 * (1 - 6.87559e-6 * altitude) ** 5.25588
    impact = 0.5 * 1.225 * (speed * KT) ** 2 / 100
    path = parquet(tmp_path, {
        "time_s": pa.array(np.arange(len(speed), dtype=float)),
        "static pressure hPa": pa.array(static), "total pressure hPa": pa.array(static + impact)})
    assert len(lengths(path)) == 2


@pytest.mark.parametrize("way", WAYS)
def test_pieces_of_any_size_give_the_same_flights(way, tmp_path, monkeypatch):
    parts = (ground(300), flight(), ground(600), flight(), ground(5000), flight())
    whole = lengths(log_of(tmp_path, *parts))
    assert len(whole) == 3
    group = in_pieces(monkeypatch, way, 97)
    assert lengths(log_of(tmp_path, *parts, group=group)) == whole


@WHEELS
@pytest.mark.parametrize("way", WAYS)
def test_a_short_hop_is_a_flight_in_pieces_of_any_size(way, wheels, tmp_path, monkeypatch):
    speed, altitude = np.full(90, 70.0), FIELD + 200 * np.sin(np.linspace(0, np.pi, 90))
    parts = (ground(600), (speed, altitude, np.zeros(90)), ground(600), flight())
    assert len(lengths(log_of(tmp_path, *parts, wheels=wheels))) == 2
    group = in_pieces(monkeypatch, way, 17)
    assert len(lengths(log_of(tmp_path, *parts, wheels=wheels, group=group))) == 2


@pytest.mark.parametrize("rows", [50, 333, 4000])
def test_large_groups_are_read_side_by_side_row_for_row(rows, tmp_path, monkeypatch):
    """A column of a dictionary comes in other batches than the rest do."""
    speed, altitude, _ = (np.concatenate(each) for each in zip(flight(), flight(), strict=True))
    turn = np.arange(len(speed))
    words = np.where(turn % 700 < 300, "down", np.where(turn > 1500, "extended", "up"))
    path = parquet(tmp_path, {
        "time_s": pa.array(turn * 1.0), "gear down": pa.array(words).dictionary_encode(),
        "press_alt_ft": pa.array(altitude / FT), "ias_kt": pa.array(speed / KT)}, rows=600)
    in_pieces(monkeypatch, "batches", rows)
    whole, part = read_log(path), next(read_flights(path))
    assert set(part.channels) == {"gear_down", "pressure_altitude", "indicated_airspeed"}
    assert (part.channels["gear_down"].values == (words != "up")[:len(part)]).all()
    for name, channel in part.channels.items():
        assert channel.values.tobytes() == whole.channels[name].values[:len(part)].tobytes()


@pytest.mark.parametrize("way", WAYS)
def test_a_short_flight_that_is_kept_keeps_only_itself(way, tmp_path, monkeypatch):
    """The arrays that it was collected in held a long one before."""
    long = tuple(np.repeat(part, 8) for part in flight())
    group = in_pieces(monkeypatch, way, 200)
    path = log_of(tmp_path, long, flight(), flight(), gap=(8 * 1200, 9000), group=group)
    first, second = read_flights(path)
    assert (len(first), len(second)) == (8 * 1200, 2 * 1200)
    memory = second.time
    while isinstance(memory.base, np.ndarray):
        memory = memory.base
    assert memory.nbytes == 8 * len(second) * (1 + len(second.channels))


def wild_clock(rng: np.random.Generator, n: int) -> np.ndarray:
    """Stamps with gaps, steps back, jumps ahead, repeats and blanks, close or far apart."""
    steps = np.where(rng.random(n) < 0.02, rng.choice([0.0, -3.0, -200.0, -900.0, 30.0, 400.0], n),
                     1.0)
    time = np.cumsum(steps)
    leaps = rng.random(n) < 0.01
    time[leaps] += rng.choice([1e4, 2000.0, -70.0], leaps.sum())
    time[rng.random(n) < 0.01] = NAN
    return time


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("turn", range(12))
def test_a_wild_clock_is_cut_alike_in_pieces_of_any_size(turn, way, tmp_path, monkeypatch):
    rng = np.random.default_rng(turn)
    time = wild_clock(rng, int(rng.integers(50, 900)))
    found = []
    monkeypatch.setattr("loganalyze.read.files.row_batches.BLOCK", int(rng.integers(5, 60)))
    for rows in (10_000, int(rng.integers(1, 80))):
        with monkeypatch.context() as patch:
            group = in_pieces(patch, way, rows)
            path = parquet(tmp_path, {
                "time_s": pa.array(time, from_pandas=True),
                "press_alt_ft": pa.array(5000 + np.arange(len(time)) % 7.0),
                "ias_kt": pa.array(np.full(len(time), 200.0) + np.arange(len(time)) % 3)},
                rows=group)
            try:
                found.append([(log.time.tolist(), reading_text.sentences(log.source.inferred), {
                    name: channel.values.tolist() for name, channel in log.channels.items()})
                    for log in read_flights(path)])
            except Problem as problem:
                found.append(str(problem))
    assert repr(found[0]) == repr(found[1])


@pytest.mark.parametrize("way", WAYS)
def test_ground_time_is_let_go_of_while_it_runs(way, tmp_path, monkeypatch):
    monkeypatch.setattr(flight_splitting, "FLIGHT_CAPACITY", 4000)
    path = log_of(tmp_path, ground(20_000), flight(), ground(20_000), flight(),
                  group=in_pieces(monkeypatch, way, 500))
    greatest = 0
    add = flight_splitting.FlightSplitter.add

    def watched(self, piece):
        nonlocal greatest
        add(self, piece)
        greatest = max(greatest, len(self._rows))

    monkeypatch.setattr(flight_splitting.FlightSplitter, "add", watched)
    first, second = read_flights(path)
    assert len(first) == pytest.approx(1800 + 1200 + 1800, abs=25)
    assert len(second) == pytest.approx(1800 + 1200, abs=25)
    assert greatest <= 8000


def test_text_exports_are_cut_as_well(tmp_path):
    speed, altitude, _ = (np.concatenate(each) for each in zip(
        flight(), ground(1000), flight(), strict=True))
    rows = [f"{i},{a:.0f},{v:.1f}" for i, (a, v) in enumerate(zip(altitude, speed, strict=True))]
    path = export(tmp_path, lines("time_s,press_alt_ft,ias_kt", rows))
    flights = list(read_flights(path))
    assert len(flights) == 2
    assert flights[1].channels["pressure_altitude"].values.max() == pytest.approx(4500 * FT)
