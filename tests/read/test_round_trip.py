"""Whatever dialect, units and clock a flight is written in, it is read back as it was."""

from __future__ import annotations

import datetime
import tempfile
from pathlib import Path

import exporting
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from exporting import CLOCKS, FORMS, GAPS, HEADINGS, LEADS, PACKS, STATES, TAILS, UNITS, Habits
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from loganalyze import FlightLog, Problem, read_flights, read_log

RANGES = {"pressure_altitude": (-300.0, 18000.0), "indicated_airspeed": (0.0, 300.0),
          "static_air_temperature": (190.0, 320.0), "vertical_speed": (-60.0, 60.0),
          "static_pressure": (6000.0, 105000.0), "gear_down": (0.0, 1.0)}
QUICK = settings(max_examples=120, deadline=None, derandomize=True,
                 suppress_health_check=[HealthCheck.too_slow])


@st.composite
def habits(draw: st.DrawFn) -> Habits:
    def one(options: object) -> str:
        return draw(st.sampled_from(list(options)))

    return Habits(
        form=one(FORMS), lead=one(LEADS), end=one(["\n", "\r\n"]), heading=one(HEADINGS),
        tail=one(TAILS), pack=one(PACKS), gap=one(GAPS), states=one(STATES), clock=one(CLOCKS),
        units={channel: one(units) for channel, units in UNITS.items()},
        decimals=draw(st.sampled_from([1, 2, 4])))


@st.composite
def flights(draw: st.DrawFn) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Instants a quarter of a second or some multiple apart, perhaps with a gap, and values."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count = draw(st.integers(4, 40))
    step = draw(st.sampled_from([1, 2, 4, 8, 68]))
    steps = np.full(count - 1, step)
    if draw(st.booleans()):
        steps[rng.integers(count - 1)] += 4 * draw(st.integers(1, 50))
    start = draw(st.datetimes(datetime.datetime(1999, 1, 1), datetime.datetime(2037, 12, 31)))
    quarters = np.concatenate([[0], np.cumsum(steps)])
    at = (np.datetime64(start, "s").astype("datetime64[ns]")
          + quarters * np.timedelta64(250, "ms").astype("timedelta64[ns]"))
    values = {}
    for name in draw(st.sets(st.sampled_from(list(RANGES)), min_size=3)) | {
            "pressure_altitude", "indicated_airspeed"}:
        low, high = RANGES[name]
        numbers = low + (high - low) * rng.random(count)
        values[name] = np.rint(numbers) if name == "gear_down" else numbers
        if draw(st.booleans()):
            values[name][rng.random(count) < 0.2] = np.nan
    return at, dict(sorted(values.items()))


FOUR = np.datetime64("2026-02-28T23:59:59", "ns") + np.arange(4) * np.timedelta64(1, "s")
BLANK_FIRST = {name: np.array([np.nan, 100.0, 101.0, 102.0])
               for name in ("pressure_altitude", "indicated_airspeed")}


def alone(at: np.ndarray) -> bool:
    """Whether the first or the last instant stands alone before or after a gap."""
    steps = np.diff(at)
    return bool(len(steps) > 1 and max(steps[0], steps[-1]) > steps.min())


def read(path: Path, columns: Path | None = None) -> FlightLog:
    """Read a log; leave out what the reader is right to doubt in numbers drawn at random."""
    try:
        log = read_log(path, columns)
    except Problem as problem:
        assume("was misread" not in problem.sentence)
        raise
    counts = next(step.counts for step in log.steps if step.name == "read")
    assume(not any(key.startswith("left out, alone") for key in counts))
    return log


@QUICK
@given(flights(), habits())
@example((FOUR, {"gear_down": np.array([1.0, 0, 0, 0]), **BLANK_FIRST}),
         Habits(states="up down"))
@example((FOUR, {"gear_down": np.array([1.0, 0, 0, 0]), **BLANK_FIRST}),
         Habits(states="up down", clock="month by name"))
def test_text(flight: tuple[np.ndarray, dict[str, np.ndarray]], how: Habits) -> None:
    at, values = flight
    # One frame beyond a gap may as well be damaged: it is left out, as a test of its own says.
    assume(how.clock != "frames" or not alone(at))
    with tempfile.TemporaryDirectory() as folder:
        written = exporting.export(Path(folder), at, values, how)
        log = read(written.path, written.columns)
        exporting.check(log, written, at, values)
        whole = list(read_flights(written.path, written.columns))
        assert len(whole) == 1
        exporting.check(whole[0], written, at, values)


NUMBERS = [pa.float64(), pa.float32(), pa.decimal128(12, 3), pa.int32()]
STAMPS = [pa.timestamp("ns", "UTC"), pa.timestamp("us", "-07:00"), pa.timestamp("ms", "UTC"),
          pa.timestamp("us")]


@QUICK
@given(flights(), st.lists(st.sampled_from(NUMBERS), min_size=6, max_size=6),
       st.sampled_from(STAMPS), st.integers(1, 50), st.booleans())
def test_parquet(flight: tuple[np.ndarray, dict[str, np.ndarray]], kinds: list[pa.DataType],
                 stamp: pa.DataType, group: int, coded: bool) -> None:
    at, values = flight
    per_tick = {"ns": 1, "us": 1000, "ms": 10**6}[stamp.unit]
    arrays = {"Time UTC": pa.array(at.astype(np.int64) // per_tick).cast(stamp)}
    quanta = {}
    for (name, numbers), kind in zip(values.items(), kinds, strict=False):
        unit = next(iter(UNITS[name]))
        factor, offset = UNITS[name][unit]
        decimals = 0 if pa.types.is_integer(kind) else 3
        rounded = np.round((numbers - offset) / factor, decimals)
        array = pa.array(rounded, from_pandas=True)
        array = pa.array([None if one is None else f"{one:.3f}" for one in array.to_pylist()]).cast(
            kind) if pa.types.is_decimal(kind) else array.cast(kind)
        heading = exporting.NAMES[name] + (f" [{unit}]" if unit else "")
        arrays[heading] = array.dictionary_encode() if coded else array
        quanta[name] = 0.0 if not unit else factor * 10.0**-decimals + 1e-6 * np.nanmax(
            np.abs([*numbers[~np.isnan(numbers)], 0]))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "flight.parquet"
        pq.write_table(pa.table(arrays), path, row_group_size=group)
        written = exporting.Written(path, None, quanta, CLOCKS["epoch ms"])
        exporting.check(read(path), written, at, values)


@QUICK
@given(flights(), habits(), st.sampled_from(["elapsed s", "ISO extended", "epoch ms"]))
@example((np.array(["2026-02-28T23:59:59", "2026-03-01T00:00:00"], "datetime64[ns]"),
          {"pressure_altitude": np.array([0.0, 1.0]),
           "indicated_airspeed": np.array([100.0, 101.0])}), Habits(), "elapsed s")
def test_what_reads_without_a_unit_is_refused(
        flight: tuple[np.ndarray, dict[str, np.ndarray]], how: Habits, clock: str) -> None:
    """An airspeed that states no unit is never read as one, whatever the dialect."""
    at, values = flight
    with tempfile.TemporaryDirectory() as folder:
        bare = Habits(how.form, how.lead, how.end, "brackets", how.tail, how.pack, how.gap,
                      how.states, clock, {}, how.decimals)
        written = exporting.export(Path(folder), at, values, bare)
        if how.pack == "none":
            _, _, encoding, _ = FORMS[how.form]
            text = written.path.read_bytes().decode(encoding)
            written.path.write_bytes(text.replace("IAS [kt]", "IAS").encode(encoding))
            with pytest.raises(Problem, match='nothing states the unit of column "IAS"'):
                read_log(written.path)
