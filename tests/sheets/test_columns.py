"""The columns file."""

import pytest

from loganalyze.problems import Problem
from loganalyze.record.units import UNITS
from loganalyze.sheets.columns import read_columns


@pytest.fixture
def columns(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def read(text):
        (tmp_path / "c.toml").write_text(text, encoding="utf-8")
        return read_columns("c.toml").columns

    return read


def test_the_form(columns):
    read = columns("""[columns]
        date = { column = "DAY" }
        time = { column = "GMT" }
        pressure_altitude = { column = "H press", unit = "m" }
        calibrated_airspeed = { column = "V [c]", unit = "km/h" }
        static_air_temperature = { column = "T", unit = "degC" }
        de_ice_boots = { column = "BOOTS" }
        flap_left = { column = "FL", unit = "Deg" }
        """)
    assert list(read) == ["date", "time", "pressure_altitude", "calibrated_airspeed",
                          "static_air_temperature", "de_ice_boots", "flap_left"]
    assert read["time"].column == "GMT"
    assert read["time"].unit is None
    assert read["time"].known_unit is None
    assert read["pressure_altitude"].known_unit is UNITS["m"]
    assert read["flap_left"].known_unit is UNITS["deg"]


@pytest.mark.parametrize(("line", "sentence"), [
    ("", 'c.toml, [columns]: no column is named; '
     'write such as pressure_altitude = { column = "HP", unit = "ft" }.'),
    ('time = "GMT"', 'c.toml, [columns], key time: "GMT" stands where a table of keys should; '
     'write { column = "GMT" }.'),
    ("time = 1", "c.toml, [columns], key time: 1 isn't a table of keys; "
     'write it such as time = { column = "HP", unit = "ft" }.'),
    ("column = 1", "c.toml, [columns], key column: 1 isn't a table of keys; "
     'write it such as column = { column = "HP", unit = "ft" }.'),
    ('time = { colunm = "GMT" }',
     "c.toml, [columns], key time.colunm: unknown key; write column if that is meant."),
    ('flap = { unit = "deg" }', 'c.toml, [columns], key flap: the key "column" is missing; '
     'write it such as column = "HP".'),
    ("flap = { column = 3 }", "c.toml, [columns], key flap.column: 3 isn't text; "
     'write it such as column = "HP".'),
    ('flap = { column = "" }', "c.toml, [columns], key flap.column: the text is empty; "
     'write it such as column = "HP".'),
    ('flap = { column = "F", unit = "degs" }',
     'c.toml, [columns], key flap.unit: the unit "degs" isn\'t known; '
     'write "deg" if that is meant.'),
    ('flap = { column = "F", unit = "furlong" }',
     'c.toml, [columns], key flap.unit: the unit "furlong" isn\'t known; write one of '
     f"{', '.join(UNITS)}."),
    ('flap = { column = "F", unit = "kt" }', "c.toml, [columns], key flap.unit: flap can't be "
     'measured in kt; write "deg" or "rad".'),
    ('time = { column = "F", unit = "kt" }', "c.toml, [columns], key time.unit: time can't be "
     'measured in kt; write one of "s", "ms", "us", "ns", "min" or "h", or no unit for clock '
     "times."),
    ('date = { column = "D", unit = "s" }',
     "c.toml, [columns], key date.unit: a date has no unit; take it out."),
    ('flap = { column = "F" }\nslat = { column = "F" }',
     'c.toml, [columns], key slat.column: the column "F" is flap already; '
     "give each channel its own column."),
    ('Flap = { column = "F" }', 'c.toml, [columns], key Flap: "Flap" is no name of a channel; '
     "write lower-case letters, digits and single underscores, such as pressure_altitude."),
    ('pressure_altitud = { column = "F" }', "c.toml, [columns], key pressure_altitud: there is "
     'no channel "pressure_altitud", but one called "pressure_altitude"; write '
     "pressure_altitude, or choose a name that is less like it."),
])
def test_one_mistake(columns, line, sentence):
    with pytest.raises(Problem) as caught:
        columns(f"[columns]\n{line}\n")
    assert caught.value.sentence == sentence


def test_an_empty_file(columns):
    with pytest.raises(Problem) as caught:
        columns("")
    assert caught.value.sentence == (
        'c.toml: the key "columns" is missing; write [columns] and below it '
        'pressure_altitude = { column = "HP", unit = "ft" }.')
