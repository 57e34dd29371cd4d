"""The compiled loops give what the plain ones give, to the bit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loganalyze import Settings, analyze
from loganalyze.air import atmosphere
from loganalyze.engine import block_evaluation, block_kernels, kernel_loading, limit_curves
from loganalyze.engine.flight_batch import FlightBatch
from loganalyze.record.channels import CHANNELS
from loganalyze.screening import sample_checks
from loganalyze.testing import engine

LIMITS = [
    {"name": "VMO", "quantity": "calibrated_airspeed",
     "by_pressure_altitude": [[0, 245], [8000, 260], [20000, 255]]},
    {"name": "MMO", "quantity": "mach", "maximum": 0.6},
    {"name": "VD", "quantity": "equivalent_airspeed", "maximum_kt": 300, "on_pointer": False},
    {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
     "when": {"flap_deg": {"above": 1, "up_to": 20}}},
    {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 200,
     "when": {"gear_down": {"is": 1}}},
]


def flown(log, rows, rng, **changed):
    """A flight from standstill to beyond Mach 1 and 20 km, with dirt on every channel."""
    share = np.linspace(0, 1, rows)
    channels = {
        "calibrated_airspeed": np.interp(share, [0, 0.1, 0.5, 0.8, 1], [0, 150, 250, 640, 20])
        + rng.normal(0, 0.3, rows),
        "pressure_altitude": np.interp(share, [0, 0.2, 0.6, 1], [-900, 12000, 65000, 0])
        + rng.normal(0, 3, rows),
        "flap": np.where(share < 0.15, 15.0, 0.0),
        # All four of what applies with flaps and gear, inside one block.
        "gear_down": np.where((share > 0.9) | (np.abs(share - 0.15) < 0.02), 1.0, 0.0),
    }
    for values in channels.values():
        values[rng.random(rows) < 0.01] = math.nan
    for name, fill in (("calibrated_airspeed", 999.0), ("pressure_altitude", -9999.0)):
        channels[name][rng.random(rows) < 0.002] = fill
    cold = 288.15 - 0.0065 * 0.3048 * channels["pressure_altitude"] + rng.normal(0, 1, rows)
    channels["static_air_temperature"] = np.clip(cold, 240.0, 330.0) - 273.15
    return log(np.arange(rows) * 0.25, **(channels | changed))


@pytest.mark.parametrize("verdict_only", [False, True], ids=["columns", "verdict"])
@pytest.mark.parametrize("recorded", ["static", "total", "none"])
def test_the_same_bytes_compiled_or_not(recorded, verdict_only, log, sheet, monkeypatch):
    rng = np.random.default_rng(5)
    monkeypatch.setattr(block_evaluation, "BLOCK", 5000)
    monkeypatch.setattr(block_evaluation, "COMPILED_BLOCK", 5000)
    flight = flown(log, 23_000, rng)
    if recorded != "static":
        channels = dict(flight.channels)
        felt = channels.pop("static_air_temperature")
        if recorded == "total":
            channels["total_air_temperature"] = felt
        flight = type(flight)(flight.time, channels, flight.source, interval_s=0.25)
    limits = sheet(*LIMITS, temperature={"outside_air": "total", "recovery_factor": 0.9})
    found = []
    assert kernel_loading.load() is not None  # else both are the plain loops
    for enough in (math.inf, 0):
        monkeypatch.setattr(kernel_loading, "ENOUGH", enough)
        found.append(analyze(flight, limits, verdict_only=verdict_only))
    plain, compiled = found
    assert set(np.unique(plain.columns["state"])) == {0, 1, 2}
    for name, column in plain.columns.items():
        assert column.tobytes() == compiled.columns[name].tobytes(), name
    assert repr(plain.exceedances) == repr(compiled.exceedances)
    assert plain.judged_s == compiled.judged_s
    assert plain.screened == compiled.screened
    if recorded == "static" and not verdict_only:
        # The ends of the tables were met.
        assert np.nanmax(plain.columns["mach"]) > 1
        assert np.nanmax(plain.columns["density_altitude_ft"]) > 65_000


@pytest.mark.parametrize("verdict_only", [False, True], ids=["columns", "verdict"])
def test_the_same_bytes_without_an_altitude(verdict_only, log, sheet, monkeypatch):
    monkeypatch.setattr(block_evaluation, "BLOCK", 5000)
    monkeypatch.setattr(block_evaluation, "COMPILED_BLOCK", 5000)
    flight = flown(log, 23_000, np.random.default_rng(6))
    channels = dict(flight.channels)
    del channels["pressure_altitude"]
    flight = replace(flight, channels=channels)
    limits = sheet(*LIMITS, {"name": "VNE", "quantity": "calibrated_airspeed", "maximum_kt": 400})
    found = []
    for enough in (math.inf, 0):
        monkeypatch.setattr(kernel_loading, "ENOUGH", enough)
        found.append(analyze(flight, limits, verdict_only=verdict_only))
    plain, compiled = found
    assert {one.limit for one in plain.exceedances} == {"VLE", "VNE"}
    assert np.isfinite(plain.columns["margin_kt"]).any()
    for name, column in plain.columns.items():
        assert column.tobytes() == compiled.columns[name].tobytes(), name
    assert repr(plain.exceedances) == repr(compiled.exceedances)
    assert plain.judged_s == compiled.judged_s > 0


def test_the_compiled_look_finds_what_the_plain_one_finds():
    rng = np.random.default_rng(8)
    compiled = kernel_loading.load()
    kinds, n_fast_steps = set(), 0
    for turn in range(400):
        n = int(rng.integers(1, 3000 if turn % 10 == 0 else 60))
        time = np.cumsum(rng.choice([0.25, 0.25, 0.25, 5.0, 1e-3], n))
        speed, altitude = 100 + rng.normal(0, 1, n), 5000 + rng.normal(0, 20, n)
        heat = 250 + rng.normal(0, 1, n)
        for values, dirt in ((speed, [math.nan, 1e6, -1e6, math.inf, 0, 200, 160]),
                             (altitude, [math.nan, 1e6, -1e5, math.inf, 5300, 5040, 9000]),
                             (heat, [math.nan, 0, 1000])):
            here = rng.random(n) < rng.choice([0, 0.02, 0.2])
            values[here] = rng.choice(dirt, here.sum())
        screen = sample_checks.Screen(
            time, speed, altitude, heat if turn % 3 else None, Settings(), 0.25,
            corroborated=(lambda row: row % 3 == 0) if turn % 2 else None)
        low = int(rng.integers(0, n))
        high = int(rng.integers(low + 1, n + 1))
        twin = replace(screen, fast_steps={bound: [] for bound in screen.fast_steps})
        with np.errstate(invalid="ignore"):
            plain = screen.local(low, high)
            found = block_kernels.with_compiled_checks(twin, compiled).local_checks(low, high)
        for bound, rows in screen.fast_steps.items():
            fast_steps = np.concatenate([[], *rows])
            n_fast_steps += len(fast_steps)
            assert fast_steps.tolist() == np.concatenate([[], *twin.fast_steps[bound]]).tolist()
        nothing = np.zeros(high - low, dtype=np.uint16)
        plain, found = (nothing if bits is None else bits for bits in (plain, found))
        assert (plain == found).all()
        kinds |= set(np.unique(plain).tolist())
    assert len(kinds) > 10
    assert n_fast_steps > 1000


def test_loaded_for_enough_samples_at_once(monkeypatch):
    monkeypatch.setattr(kernel_loading, "ENOUGH", 1000)
    assert kernel_loading.for_samples(999) is None
    assert kernel_loading.for_samples(999) is None  # however many were evaluated before
    assert kernel_loading.for_samples(1000) is kernel_loading.load()


def test_loaded_at_once_where_enough_is_likely(monkeypatch):
    monkeypatch.setattr(kernel_loading, "ENOUGH", 1000)
    assert kernel_loading.for_samples(10, likely=999) is None
    assert kernel_loading.for_samples(10, likely=1000) is kernel_loading.load()


def test_without_the_compiler_the_plain_way_serves(monkeypatch):
    def missing(name):
        raise ImportError(name)

    kernel_loading.load.cache_clear()
    monkeypatch.setattr(kernel_loading, "import_module", missing)
    assert kernel_loading.load() is None
    kernel_loading.load.cache_clear()


@pytest.mark.parametrize("enough", [0, math.inf], ids=["compiled", "plain"])
@pytest.mark.parametrize("position", [False, True], ids=["", "position error"])
@pytest.mark.parametrize("hot", [False, True], ids=["", "true airspeed limit"])
def test_every_row_of_every_column_is_written(enough, position, hot, log, sheet, monkeypatch):
    # The columns' memory was used before: what isn't written would be left from another flight.
    marker, columns = np.float32(7e29), block_evaluation._columns

    def marked(names, limits, n, governing):
        made = columns(names, limits, n, governing)
        for name, column in made.items():
            column[:] = marker if name in names else 77
        return made

    monkeypatch.setattr(kernel_loading, "ENOUGH", enough)
    monkeypatch.setattr(block_evaluation, "_columns", marked)
    flight = flown(log, 9_000, np.random.default_rng(2))
    limits = [*LIMITS, {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 400}]
    stated = {"position_correction": [[60, 2], [300, 6]]} if position else {}
    if position:
        channels = dict(flight.channels)
        channels["indicated_airspeed"] = channels.pop("calibrated_airspeed")
        flight = type(flight)(flight.time, channels, flight.source, interval_s=0.25)
    page = sheet(*(limits if hot else LIMITS), temperature={"outside_air": "static"},
                 recorded="indicated" if position else "calibrated", **stated)
    for verdict_only in (False, True):
        analysis = analyze(flight, page, verdict_only=verdict_only)
        for name, column in analysis.columns.items():
            assert not (column == (77 if column.dtype == np.uint8 else marker)).any(), name


def test_blocks_never_cross_a_flight():
    batch = FlightBatch.of([5, 0, 2])
    assert (len(batch), batch.rows) == (3, 7)
    assert list(batch.blocks(2)) == [(0, 0, 2), (0, 2, 4), (0, 4, 5), (2, 0, 2)]
    assert [batch.rows_of(k) for k in range(3)] == [slice(0, 5), slice(5, 5), slice(5, 7)]
    assert FlightBatch.of([]).rows == 0


def test_the_tables_cells_end_on_the_layers_boundaries_and_span_what_is_plausible():
    """A cell with a boundary inside it would be a poor fit; the table ends on the upper one."""
    start, step, count = limit_curves.START, limit_curves.STEP, limit_curves.COUNT
    first, second = (layer.top for layer in atmosphere.LAYERS[:2])
    assert (first - start) % step == 0
    assert start + step * count == second
    lowest, highest = CHANNELS["pressure_altitude"].bounds
    assert start <= lowest
    assert start + step * count >= highest


@pytest.mark.parametrize("which", ["arrays", "compiled"])
def test_many_configurations_in_one_block_keep_their_own_limits(log, sheet, which):
    """A limit a flap angle, 40 of them: by hand, 300 kt less 2 kt a degree."""
    limits = [{"name": f"VFE {angle}", "quantity": "calibrated_airspeed",
               "maximum_kt": 300 - 2 * angle,
               "when": {"flap_deg": {"above": angle - 0.5, "up_to": angle + 0.5}}}
              for angle in range(40)]
    flap = np.repeat(np.arange(40.0), 10)
    flight = log(np.arange(400.0), calibrated_airspeed=150.0, pressure_altitude=5000.0, flap=flap)
    with engine(which):
        found = analyze(flight, sheet(*limits)).columns["limit_airspeed_kt"]
    known = ~np.isnan(found)
    assert known.sum() > 300
    np.testing.assert_allclose(found[known], 300 - 2 * flap[known], rtol=1e-6)
