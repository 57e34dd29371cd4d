"""The limits sheet: what it says, and each mistake in one sentence with its mend."""

import pickle
from operator import attrgetter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loganalyze import Condition, Limit, LimitsSheet, Problem, read_limits
from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import DEGREE, FOOT, KNOT
from loganalyze.sheets.limit_conditions import SUFFIXES, channel_and_unit

SHEET = """\
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 238
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.51
[[limit]]
name = "VFE 15"
quantity = "indicated_airspeed"
maximum_kt = 165
when = { flap_deg = { above = 1.5, up_to = 15 } }
"""
WHEN = "{ flap_deg = { above = 1.5, up_to = 15 } }"


@pytest.fixture
def sheet(tmp_path, monkeypatch):
    """Read the sheet above with one piece of it replaced."""
    monkeypatch.chdir(tmp_path)

    def read(old="", new="", text=SHEET) -> LimitsSheet:
        assert old in text
        (tmp_path / "s.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
        return read_limits("s.toml")

    return read


def limit(**keys) -> Limit:
    return Limit.model_validate({"name": "VMO", "quantity": "calibrated_airspeed", **keys})


def test_the_form(sheet):
    read = sheet()
    assert read.aircraft == "an invented twin"
    assert read.airspeed.recorded == "calibrated"
    assert read.airspeed.static_source_corrected is None
    assert read.airspeed.position_tables == ()
    assert read.airspeed.instrument_table is None
    assert read.airspeed.altimeter_table is None
    assert read.temperature.outside_air == "static"
    assert read.temperature.recovery_factor is None
    vmo, mmo, vfe = read.limit
    assert [one.name for one in read.limit] == ["VMO", "MMO", "VFE 15"]
    assert [one.kind.unit.name for one in read.limit] == ["kt", "Mach", "kt"]
    assert [one.on_pointer for one in read.limit] == [True, True, False]
    assert vmo.maximum_at(3000.0) == 238 * KNOT
    assert mmo.maximum_at(3000.0) == 0.51
    assert vmo.nodes_m == []
    assert vmo.conditions == ()
    assert vfe.conditions == (Condition("flap", 1.5 * DEGREE, False, 15 * DEGREE, True),)


def test_a_sheet_needs_no_temperature(sheet):
    assert sheet('[temperature]\noutside_air = "static"\n').temperature is None


def test_the_sheet_is_frozen(sheet):
    with pytest.raises(ValueError, match="frozen"):
        sheet().limit[0].name = "VNE"


def test_sheets_are_equal_by_what_they_say_and_survive_pickling(sheet):
    old, new = RECORDED, RECORDED + "\nposition_correction = [[90, 2], [250, 4]]"
    used, fresh = sheet(old, new), sheet(old, new)
    used.limit[0].maximum_at(0.0)
    assert len(used.limit[2].conditions) == 1
    assert used.airspeed.position_tables[0].correction.at.shape == (2,)
    assert used == fresh
    assert pickle.loads(pickle.dumps(used)) == fresh
    assert used != sheet()


@pytest.mark.parametrize(("keys", "shown"), [
    ({}, True),
    ({"on_pointer": False}, False),
    ({"when": {"gear_down": {"is": True}}}, False),
    ({"when": {"gear_down": {"is": True}}, "on_pointer": True}, True),
])
def test_the_pointer_shows_unconditioned_limits_unless_stated(keys, shown):
    assert limit(maximum_kt=200, **keys).on_pointer is shown


# The maximum over pressure altitude.

def test_table_in_knots_and_feet():
    vmo = limit(by_pressure_altitude=[[0, 240], [10000, 260]])
    assert vmo.nodes_m == [0.0, 3048.0]
    at = vmo.maximum_at(np.array([[0.0, 1524.0], [3048.0, 762.0]]))
    np.testing.assert_allclose(at / KNOT, [[240, 250], [260, 245]], rtol=1e-14)
    assert at.dtype == np.float64


def test_mach_table():
    mmo = limit(quantity="mach", by_pressure_altitude=[[-1000, 0.5], [31000, 0.58]])
    assert mmo.maximum_at(15000 * FOOT) == pytest.approx(0.54, rel=1e-14)


def test_outside_the_table_the_limit_is_unknown_or_held():
    rows = [[5000, 240], [10000, 260]]
    outside = np.array([0.0, 4999.9, 10000.1, 40000.0]) * FOOT
    assert np.isnan(limit(by_pressure_altitude=rows).maximum_at(outside)).all()
    held = limit(by_pressure_altitude=rows, outside="hold").maximum_at(outside)
    np.testing.assert_array_equal(held, np.array([240, 240, 260, 260]) * KNOT)


def test_the_ends_of_a_table_belong_to_it_in_any_number_format():
    vmo = limit(by_pressure_altitude=[[1001, 240], [39333, 260]])
    for logged in (np.float64, np.float32):
        ends = np.array([1001 * FOOT, 39333 * FOOT], dtype=logged)
        np.testing.assert_allclose(vmo.maximum_at(ends) / KNOT, [240, 260], rtol=1e-7)


def test_missing_altitude():
    assert np.isnan(limit(by_pressure_altitude=[[0, 240], [10, 260]]).maximum_at(np.nan))
    assert np.isnan(limit(by_pressure_altitude=[[0, 240], [10, 260]],
                          outside="hold").maximum_at(np.nan))
    assert limit(maximum_kt=240).maximum_at([np.nan]) == [240 * KNOT]


def test_shapes():
    for one in (limit(maximum_kt=240), limit(by_pressure_altitude=[[0, 240], [10, 260]])):
        assert one.maximum_at(1.0).shape == ()
        assert one.maximum_at([]).shape == (0,)
        assert one.maximum_at(np.zeros((2, 3))).shape == (2, 3)


@given(st.lists(st.integers(-15000, 60000), min_size=2, max_size=8, unique=True).map(sorted),
       st.data())
def test_interpolation_between_neighbours(feet, data):
    knots = data.draw(st.lists(st.floats(20, 1200), min_size=len(feet), max_size=len(feet)))
    row = data.draw(st.integers(0, len(feet) - 2))
    share = data.draw(st.floats(0, 1))
    at = feet[row] + share * (feet[row + 1] - feet[row])
    vmo = limit(by_pressure_altitude=[list(pair) for pair in zip(feet, knots, strict=True)])
    expected = knots[row] + share * (knots[row + 1] - knots[row])
    # The edge of a table reaches a millimetre beyond it, and no further.
    assert vmo.maximum_at(at * FOOT) / KNOT == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert np.isnan(vmo.maximum_at(feet[0] * FOOT - 0.002))
    assert np.isnan(vmo.maximum_at(feet[-1] * FOOT + 0.002))


# Conditions.

@pytest.mark.parametrize(("key", "stated", "meant"), [
    ("flap_deg", {"above": 1}, Condition("flap", DEGREE, False, np.inf, False)),
    ("flap_deg", {"from": 1, "below": 9, "deadband": 0.5, "dwell_s": 2},
     Condition("flap", DEGREE, True, 9 * DEGREE, False, 0.5 * DEGREE, 2.0)),
    ("weight_lb", {"up_to": 1000}, Condition("weight", -np.inf, False, 453.59237, True)),
    ("weight_t", {"above": 4}, Condition("weight", 4000.0, False, np.inf, False)),
    ("torque_pct", {"from": 50}, Condition("torque", 0.5, True, np.inf, False)),
    ("static_air_temperature_degc", {"below": -40, "deadband": 1},
     Condition("static_air_temperature", -np.inf, False, 233.15, False, 1.0)),
    ("indicated_airspeed_kmh", {"above": 360},
     Condition("indicated_airspeed", 100.0, False, np.inf, False)),
    ("altimeter_setting_hpa", {"above": 1013},
     Condition("altimeter_setting", 101300.0, False, np.inf, False)),
    ("load_factor_g", {"above": 1.5}, Condition("load_factor", 1.5, False, np.inf, False)),
    ("mach", {"above": 0.4}, Condition("mach", 0.4, False, np.inf, False)),
    ("gear_down", {"is": True}, Condition("gear_down", 1.0, True, 1.0, True)),
    ("gear_down", {"is": "Down"}, Condition("gear_down", 1.0, True, 1.0, True)),
    ("gear_down", {"is": "up"}, Condition("gear_down", 0.0, True, 0.0, True)),
    ("gear_down", {"is": 0, "dwell_s": 3}, Condition("gear_down", 0.0, True, 0.0, True, 0.0, 3.0)),
    ("de_ice_boots", {"is": "on"}, Condition("de_ice_boots", 1.0, True, 1.0, True)),
    ("flap_code", {"is": 3}, Condition("flap_code", 3.0, True, 3.0, True)),
    ("flap_code", {"from": 3, "up_to": 3}, Condition("flap_code", 3.0, True, 3.0, True)),
    ("flap_left_deg", {"above": 1}, Condition("flap_left", DEGREE, False, np.inf, False)),
])
def test_conditions_in_si(key, stated, meant):
    found, = limit(maximum_kt=200, when={key: stated}).conditions
    exact, close = attrgetter("channel", "low_included", "high_included"), attrgetter(
        "low", "high", "deadband", "dwell_s")
    assert exact(found) == exact(meant)
    assert close(found) == pytest.approx(close(meant), rel=1e-15)


def test_every_channel_can_be_named_with_every_unit_of_its_dimension():
    for name, kind in CHANNELS.items():
        if kind.discrete:
            assert channel_and_unit(name) == (name, None)
        for suffix, unit in SUFFIXES.items():
            if unit.dimension == kind.dimension:
                assert channel_and_unit(f"{name}_{suffix}") == (name, unit)


def test_several_conditions():
    found = limit(maximum_kt=200, when={"flap_deg": {"above": 1}, "gear_down": {"is": True}})
    assert [one.channel for one in found.conditions] == ["flap", "gear_down"]


# Corrections.

def test_corrections_in_si(sheet):
    read = sheet('recorded = "calibrated"', """recorded = "indicated"
        static_source_corrected = false
        instrument_correction = [[80, -1], [240, 2]]
        position_correction = [[90, 2], [250, 4]]
        altimeter_correction = [[90, 30], [250, 120]]""").airspeed
    assert read.static_source_corrected is False
    np.testing.assert_allclose(read.instrument_table.at, [80 * KNOT, 240 * KNOT])
    np.testing.assert_allclose(read.instrument_table.add, [-KNOT, 2 * KNOT])
    table, = read.position_tables
    assert table.conditions == ()
    assert table.correction.corrected(170 * KNOT) == pytest.approx(173 * KNOT, rel=1e-14)
    at, add = read.altimeter_table
    np.testing.assert_allclose(at, [90 * KNOT, 250 * KNOT])
    np.testing.assert_allclose(add, [30 * FOOT, 120 * FOOT])


def test_position_correction_by_flap(sheet):
    read = sheet('recorded = "calibrated"', """recorded = "indicated"
        [[airspeed.position_correction]]
        flap_deg = { up_to = 2 }
        table = [[90, 2], [250, 4]]
        [[airspeed.position_correction]]
        flap_deg = { above = 2 }
        table = [[70, -3], [170, 0]]""").airspeed
    clean, flapped = read.position_tables
    assert clean.conditions == (Condition("flap", -np.inf, False, 2 * DEGREE, True),)
    assert flapped.conditions == (Condition("flap", 2 * DEGREE, False, np.inf, False),)
    np.testing.assert_allclose(flapped.correction.add, [-3 * KNOT, 0.0])


def test_a_total_temperature_may_state_its_recovery_factor(sheet):
    read = sheet('"static"', '"total"\nrecovery_factor = 0.98')
    assert read.temperature.recovery_factor == 0.98


# Mistakes: what replaces what in the sheet above, and the sentence.

VMO = 's.toml, limit[1] "VMO"'
MMO = 's.toml, limit[2] "MMO"'
VFE = 's.toml, limit[3] "VFE 15", key when'
TABLE = f"{MMO}, key by_pressure_altitude"
TABLE_FORM = "write it such as by_pressure_altitude = [[0, 245], [8000, 260]]"
KNOTS, MACH = "maximum_kt = 238", "maximum = 0.51"
RECORDED = 'recorded = "calibrated"'
AIRSPEED = "[airspeed]\n" + RECORDED
POSITION = "s.toml, [airspeed], key position_correction"
QUANTITIES = ('write quantity = "indicated_airspeed", "calibrated_airspeed", '
              '"equivalent_airspeed", "true_airspeed", "mach" or "indicated_mach"')


@pytest.mark.parametrize(("old", "new", "sentence"), [
    (KNOTS, "maximun_kt = 238",
     f"{VMO}, key maximun_kt: unknown key; write maximum_kt if that is meant."),
    (KNOTS, KNOTS + "\nwibble = 2",
     f"{VMO}, key wibble: unknown key; take it out, or write one of name, quantity, maximum_kt, "
     "maximum, by_pressure_altitude, outside, when, on_pointer."),
    (KNOTS, 'maximum_kt = "238"',
     f'{VMO}, key maximum_kt: "238" is text, not a number; write it such as maximum_kt = 245.'),
    (KNOTS, "maximum_kt = true",
     f"{VMO}, key maximum_kt: true isn't a number; write it such as maximum_kt = 245."),
    (KNOTS, "maximum_kt = 2024-01-01",
     f"{VMO}, key maximum_kt: 2024-01-01 isn't a number; write it such as maximum_kt = 245."),
    (KNOTS, "maximum_kt = -238",
     f"{VMO}, key maximum_kt: a limit of -238 kt is outside 20 to 1200 kt; "
     "write such as maximum_kt = 245."),
    (KNOTS, "maximum_kt = 1201",
     f"{VMO}, key maximum_kt: a limit of 1201 kt is outside 20 to 1200 kt; "
     "write such as maximum_kt = 245."),
    (KNOTS, "maximum_kt = inf",
     f"{VMO}, key maximum_kt: inf isn't a finite number; write it such as maximum_kt = 245."),
    (KNOTS, "maximum_kt = nan",
     f"{VMO}, key maximum_kt: nan isn't a finite number; write it such as maximum_kt = 245."),
    (KNOTS, "maximum = 238",
     f"{VMO}, key maximum: calibrated_airspeed is an airspeed, and maximum isn't for it; "
     "write maximum_kt, such as maximum_kt = 245."),
    (MACH, "maximum_kt = 238",
     f"{MMO}, key maximum_kt: mach is a Mach number, and maximum_kt isn't for it; "
     "write maximum, such as maximum = 0.48."),
    (MACH, "maximum = 51",
     f"{MMO}, key maximum: a limit of Mach 51 is outside 0.05 to 3; "
     "write such as maximum = 0.48."),
    (MACH, "maximum = -0.5",
     f"{MMO}, key maximum: a limit of Mach -0.5 is outside 0.05 to 3; "
     "write such as maximum = 0.48."),
    (KNOTS, "",
     f"{VMO}: the limit has no maximum; write maximum_kt = 245, or by_pressure_altitude."),
    (MACH, "",
     f"{MMO}: the limit has no maximum; write maximum = 0.48, or by_pressure_altitude."),
    (MACH, MACH + "\nby_pressure_altitude = [[0, 0.5], [9000, 0.4]]",
     f"{TABLE}: maximum and by_pressure_altitude exclude each other; keep one of them."),
    (MACH, MACH + '\noutside = "hold"',
     f"{MMO}, key outside: outside is for a table, and this limit is constant; take it out."),
    (MACH, 'by_pressure_altitude = [[0, 0.5], [9, 0.4]]\noutside = "extrapolate"',
     f'{MMO}, key outside: "extrapolate" isn\'t one of its values; '
     'write outside = "unknown" or "hold".'),
    (MACH, "by_pressure_altitude = 0.5", f"{TABLE}: 0.5 isn't a list; {TABLE_FORM}."),
    (MACH, "by_pressure_altitude = []",
     f"{TABLE}: a table needs at least two rows; write another row, or a constant in the "
     "table's place."),
    (MACH, "by_pressure_altitude = [[0, 0.5]]",
     f"{TABLE}: a table needs at least two rows; write another row, or a constant in the "
     "table's place."),
    (MACH, "by_pressure_altitude = [[0, 0.5], [9000]]",
     f"{TABLE}, row 2: [9000] isn't a row of two numbers; write each row as [first, second]."),
    (MACH, "by_pressure_altitude = [[0, 0.5], 9000]",
     f"{TABLE}, row 2: 9000 isn't a row of two numbers; write each row as [first, second]."),
    (MACH, 'by_pressure_altitude = [[0, 0.5], [9000, "a"]]',
     f'{TABLE}, row 2, value 2: "a" is text, not a number; {TABLE_FORM}.'),
    (MACH, "by_pressure_altitude = [[0, 0.5], [0, 0.4]]",
     f"{TABLE}, row 2: altitude 0 ft doesn't rise above the row before it; "
     "write the rows in order of altitude, each altitude once."),
    (MACH, "by_pressure_altitude = [[9000, 0.5], [0, 0.4]]",
     f"{TABLE}, row 2: altitude 0 ft doesn't rise above the row before it; "
     "write the rows in order of altitude, each altitude once."),
    (MACH, "by_pressure_altitude = [[0, 0.5], [200000, 0.4]]",
     f"{TABLE}, row 2: 200000 ft is outside -16404 to 104987 ft; "
     "write the row's altitude in ft."),
    (MACH, "by_pressure_altitude = [[0, 0.5], [9000, 240]]",
     f"{TABLE}, row 2: a limit of Mach 240 is outside 0.05 to 3; "
     "write each row as [feet, Mach]."),
    (KNOTS, "by_pressure_altitude = [[0, 0.5], [9000, 240]]",
     f"{VMO}, key by_pressure_altitude, row 1: a limit of 0.5 kt is outside 20 to 1200 kt; "
     "write each row as [feet, knots]."),
    ('name = "MMO"', 'name = "vmo"',
     's.toml, limit[2] "vmo", key name: the name "vmo" is given to two limits; '
     "give each limit its own name."),
    ('name = "MMO"', "",
     's.toml, limit[2]: the key "name" is missing; write it such as name = "VMO".'),
    ('name = "MMO"', "name = 5",
     's.toml, limit[2], key name: 5 isn\'t text; write it such as name = "VMO".'),
    ('name = "MMO"', 'name = ""',
     's.toml, limit[2] "", key name: the text is empty; write it such as name = "VMO".'),
    ('name = "MMO"', 'name = "MMO "',
     's.toml, limit[2] "MMO ", key name: "MMO " isn\'t one line without blanks at its ends; '
     'write it such as name = "VMO".'),
    ('aircraft = "an invented twin"', f'aircraft = "{"a" * 201}"',
     "s.toml, key aircraft: the text is longer than 200 characters; "
     'write it such as aircraft = "an invented twin".'),
    ('quantity = "mach"', 'quantity = "IAS"',
     f'{MMO}, key quantity: "IAS" isn\'t one of its values; {QUANTITIES}.'),
    ('quantity = "mach"', "", f'{MMO}: the key "quantity" is missing; {QUANTITIES}.'),
    (KNOTS, KNOTS + '\non_pointer = "no"',
     f'{VMO}, key on_pointer: "no" is text, not true or false; '
     "write it such as on_pointer = true."),
    ('aircraft = "an invented twin"', "",
     's.toml: the key "aircraft" is missing; write it such as aircraft = "an invented twin".'),
    (AIRSPEED, "",
     's.toml: the key "airspeed" is missing; write [airspeed] and below it '
     'recorded = "calibrated".'),
    (AIRSPEED, 'airspeed = "calibrated"',
     's.toml, key airspeed: "calibrated" is text, not a table of keys; write [airspeed] and '
     'below it recorded = "calibrated".'),
    (AIRSPEED, "[speed]\n" + RECORDED,
     "s.toml, [speed]: unknown key; write airspeed if that is meant."),
    (RECORDED, "",
     's.toml, [airspeed]: the key "recorded" is missing; '
     'write recorded = "calibrated" or "indicated".'),
    (RECORDED, 'recored = "calibrated"',
     "s.toml, [airspeed], key recored: unknown key; write recorded if that is meant."),
    (RECORDED, 'recorded = "computed"',
     's.toml, [airspeed], key recorded: "computed" isn\'t one of its values; '
     'write recorded = "calibrated" or "indicated".'),
    (RECORDED, RECORDED + "\nstatic_source_corrected = 1",
     "s.toml, [airspeed], key static_source_corrected: 1 isn't true or false; "
     "write it such as static_source_corrected = true."),
    (RECORDED, RECORDED + "\nposition_correction = 3",
     f"{POSITION}: 3 isn't a list; write it such as position_correction = "
     "[[100, 1], [250, 3]]."),
    (RECORDED, RECORDED + "\nposition_correction = [[100, 1]]",
     f"{POSITION}: a table needs at least two rows; write another row, or a constant in the "
     "table's place."),
    (RECORDED, RECORDED + "\nposition_correction = [[200, 1], [100, 1]]",
     f"{POSITION}, row 2: airspeed 100 kt doesn't rise above the row before it; "
     "write the rows in order of airspeed, each airspeed once."),
    (RECORDED, RECORDED + "\nposition_correction = [[100, 1], [250, 5], [252, 2]]",
     f"{POSITION}, row 3: the corrected airspeed goes from 255 to 254 kt while the indicated "
     "one rises; check what the rows add."),
    (RECORDED, RECORDED + "\nposition_correction = [[0, -1], [250, 5]]",
     f"{POSITION}, row 1: the corrected airspeed is -1 kt, less than 0; "
     "check what the row adds."),
    (RECORDED, RECORDED + "\nposition_correction = [[100, 101], [250, 253]]",
     f"{POSITION}, row 1: a correction of 101 kt is more than 100 kt; "
     "write each row as [indicated airspeed, what to add to it]."),
    (RECORDED, RECORDED + "\ninstrument_correction = [[100, 1], [150, -60]]",
     "s.toml, [airspeed], key instrument_correction, row 2: the corrected airspeed goes from "
     "101 to 90 kt while the indicated one rises; check what the rows add."),
    (RECORDED, RECORDED + "\naltimeter_correction = [[100, 1], [150, -6000]]",
     "s.toml, [airspeed], key altimeter_correction, row 2: a correction of -6000 ft is more "
     "than 5000 ft; write each row as [indicated airspeed, what to add to it]."),
    (RECORDED, RECORDED + "\nposition_correction = [{ flap = { up_to = 9 }, "
     "table = [[100, 1], [150, 2]] }]",
     "s.toml, [airspeed], position_correction[1], key flap: unknown key; "
     "write flap_deg if that is meant."),
    (RECORDED, RECORDED + "\nposition_correction = [{ flap_deg = { up_to = 9 } }]",
     's.toml, [airspeed], position_correction[1]: the key "table" is missing; '
     "write it such as table = [[100, 1], [250, 3]]."),
    (RECORDED, RECORDED + "\nposition_correction = [{ flap_deg = { up_to = 9 }, "
     "table = [[100, 1], [150, 2]] }, { flap_deg = { from = 9 }, table = [[100, 1], [150, 2]] }]",
     "s.toml, [airspeed], position_correction[2]: its flap angles overlap those of "
     "position_correction[1]; give each flap angle one table."),
    (RECORDED, RECORDED + "\nposition_correction = [{ table = [[100, 1], [150, 2]] }, "
     "{ flap_deg = { from = 9 }, table = [[100, 1], [150, 2]] }]",
     "s.toml, [airspeed], position_correction[2]: its flap angles overlap those of "
     "position_correction[1]; give each flap angle one table."),
    ('"static"', '"sat"',
     's.toml, [temperature], key outside_air: "sat" isn\'t one of its values; '
     'write outside_air = "static", "total" or "probe".'),
    ('outside_air = "static"', "recovery_factor = 0.8",
     's.toml, [temperature]: the key "outside_air" is missing; '
     'write outside_air = "static", "total" or "probe".'),
    ('"static"', '"probe"',
     's.toml, [temperature], key recovery_factor: the key "recovery_factor" is missing, and '
     'outside_air = "probe" needs it; write the probe\'s own, such as recovery_factor = 0.8.'),
    ('"static"', '"probe"\nrecovery_factor = 0',
     "s.toml, [temperature], key recovery_factor: recovery_factor = 0 is outside 0 to 1; "
     "write the probe's own, such as recovery_factor = 0.8."),
    ('"static"', '"probe"\nrecovery_factor = 1.01',
     "s.toml, [temperature], key recovery_factor: recovery_factor = 1.01 is outside 0 to 1; "
     "write the probe's own, such as recovery_factor = 0.8."),
    ('"static"', '"static"\nrecovery_factor = 0.8',
     "s.toml, [temperature], key recovery_factor: a static temperature has no recovery_factor; "
     'take it out, or write outside_air = "probe".'),
    (WHEN, "{ }",
     f"{VFE}: the table names no condition; take it out, or write such as "
     "when = { flap_deg = { above = 1 } }."),
    (WHEN, '"flaps"',
     f'{VFE}: "flaps" is text, not a table of keys; write it such as '
     "when = { flap_deg = { above = 1, up_to = 20 } }."),
    (WHEN, "{ flap = { above = 1 } }",
     f"{VFE}.flap: flap is given without its unit; write flap_deg."),
    (WHEN, "{ flap_kt = { above = 1 } }",
     f"{VFE}.flap_kt: flap can't be measured in kt; write flap_deg."),
    (WHEN, "{ flaps_deg = { above = 1 } }",
     f'{VFE}.flaps_deg: there is no channel "flaps", but one called "flap"; write flap_deg, or '
     "choose a name that is less like it."),
    (WHEN, "{ Flap_deg = { above = 1 } }",
     f'{VFE}.Flap_deg: "Flap_deg" is no name of a channel; write lower-case letters, digits and '
     "single underscores, such as flap_deg."),
    (WHEN, "{ flap_deg = 15 }",
     f"{VFE}.flap_deg: 15 isn't a table of keys; write it such as "
     "flap_deg = { above = 1, up_to = 20 }."),
    (WHEN, "{ flap_deg = { } }",
     f"{VFE}.flap_deg: the condition states no range; write such as {{ above = 1, up_to = 20 }}."),
    (WHEN, "{ flap_deg = { abov = 1 } }",
     f"{VFE}.flap_deg.abov: unknown key; write above if that is meant."),
    (WHEN, '{ flap_deg = { above = "1" } }',
     f'{VFE}.flap_deg.above: "1" is text, not a number; write it such as above = 1.'),
    (WHEN, "{ flap_deg = { above = 1, from = 1 } }",
     f'{VFE}.flap_deg: "above" and "from" exclude each other; keep one of them.'),
    (WHEN, "{ flap_deg = { up_to = 1, below = 1 } }",
     f'{VFE}.flap_deg: "up_to" and "below" exclude each other; keep one of them.'),
    (WHEN, "{ flap_deg = { above = 9, up_to = 9 } }",
     f"{VFE}.flap_deg: no value lies in the range above = 9, up_to = 9; write the lower edge as "
     "above or from, the higher as up_to or below."),
    (WHEN, "{ flap_deg = { from = 9, up_to = 8 } }",
     f"{VFE}.flap_deg: no value lies in the range from = 9, up_to = 8; write the lower edge as "
     "above or from, the higher as up_to or below."),
    (WHEN, "{ flap_deg = { is = 9 } }",
     f"{VFE}.flap_deg.is: flap_deg is a quantity, and a quantity is rarely exactly one value; "
     "write a range, such as from = 19 and up_to = 21."),
    (WHEN, "{ gear_down = { is = true, above = 9 } }",
     f'{VFE}.gear_down: "is" and "above" exclude each other; keep one of them.'),
    (WHEN, "{ flap_deg = { above = 1, deadband = -1 } }",
     f"{VFE}.flap_deg.deadband: deadband = -1 is negative; write 0 or more."),
    (WHEN, "{ flap_deg = { above = 1, up_to = 3, deadband = 1 } }",
     f"{VFE}.flap_deg.deadband: deadband = 1 takes in the whole range; "
     "write less than half the range's width."),
    (WHEN, "{ flap_deg = { above = 1, dwell_s = 601 } }",
     f"{VFE}.flap_deg.dwell_s: dwell_s = 601 is outside 0 to 600; write it in seconds."),
    (WHEN, "{ gear_down = { is = true, deadband = 1 } }",
     f"{VFE}.gear_down.deadband: deadband is for a range, and a state has none; take it out."),
    (WHEN, "{ gear_down = { is = true, dwell_s = -1 } }",
     f"{VFE}.gear_down.dwell_s: dwell_s = -1 is outside 0 to 600; write it in seconds."),
    (WHEN, "{ gear_down = { above = 0.5 } }",
     f"{VFE}.gear_down: gear_down is a state, not a quantity; write gear_down = {{ is = true }}."),
    (WHEN, '{ gear_down = { is = "out" } }',
     f'{VFE}.gear_down.is: gear_down can\'t be "out"; write is = true or is = false.'),
    (WHEN, "{ gear_down = { is = 2 } }",
     f"{VFE}.gear_down.is: gear_down can't be 2; write is = true or is = false."),
    (WHEN, "{ gear_down = { is = [1] } }",
     f"{VFE}.gear_down.is: [1] isn't a state; write is = true or is = false."),
    (WHEN, "{ gear_down_deg = { above = 1 } }",
     f"{VFE}.gear_down_deg: gear_down can't be measured in deg; write gear_down."),
    (WHEN, "{ gear_donw = { is = true } }",
     f'{VFE}.gear_donw: there is no channel "gear_donw", but one called "gear_down"; '
     "write gear_down, or choose a name that is less like it."),
])
def test_one_mistake(sheet, old, new, sentence):
    with pytest.raises(Problem) as caught:
        sheet(old, new)
    assert caught.value.sentence == sentence
    assert caught.value.details == ""


HEAD = 'aircraft = "an invented twin"\n[airspeed]\nrecorded = "indicated"\n'


@pytest.mark.parametrize(("text", "sentence"), [
    ("limit = []\n" + HEAD,
     "s.toml, key limit: the sheet holds no limit; write at least one [[limit]]."),
    (HEAD, 's.toml: the key "limit" is missing; write [[limit]] and below it name = "VMO", '
     'quantity = "calibrated_airspeed", maximum_kt = 245.'),
    (HEAD + '[limit]\nname = "VMO"',
     "s.toml, [limit]: one [limit] isn't a list of limits; write [[limit]] with double "
     "brackets."),
    (HEAD + '[[limits]]\nname = "VMO"',
     "s.toml, key limits: unknown key; write limit if that is meant."),
])
def test_limits_given_otherwise(sheet, text, sentence):
    with pytest.raises(Problem) as caught:
        sheet(text=text)
    assert caught.value.sentence == sentence


def test_all_mistakes_are_listed(sheet):
    with pytest.raises(Problem) as caught:
        sheet(text=SHEET.replace(RECORDED, 'recorded = "CAS"')
              .replace(KNOTS, 'maximum_kt = "238"').replace(WHEN, "{ flap = { above = 1 } }"))
    assert caught.value.sentence == (
        's.toml, [airspeed], key recorded: "CAS" isn\'t one of its values; '
        'write recorded = "calibrated" or "indicated".')
    assert caught.value.details.splitlines() == [
        "3 mistakes found:",
        f"  {caught.value.sentence}",
        f'  {VMO}, key maximum_kt: "238" is text, not a number; '
        "write it such as maximum_kt = 245.",
        f"  {VFE}.flap: flap is given without its unit; write flap_deg.",
    ]


def test_an_empty_sheet(sheet):
    with pytest.raises(Problem) as caught:
        sheet(text="")
    assert caught.value.sentence == (
        's.toml: the key "aircraft" is missing; write it such as aircraft = "an invented twin".')
    assert caught.value.details.startswith("3 mistakes found:\n")
