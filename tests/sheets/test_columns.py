"""The columns file."""

import re
from pathlib import Path

import pytest

from loganalyze import Problem, read_columns
from loganalyze.record.units import UNITS


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
    ('flap = { column = "F", unit = "degg" }',
     'c.toml, [columns], key flap.unit: the unit "degg" isn\'t known; '
     'write "deg" if that is meant.'),
    ('flap = { column = "F", unit = "furlong" }',
     'c.toml, [columns], key flap.unit: the unit "furlong" isn\'t known; write one of '
     f"{', '.join(UNITS)}."),
    ('flap = { column = "F", unit = "kt" }', "c.toml, [columns], key flap.unit: flap can't be "
     'measured in kt; write "deg" or "rad".'),
    ('time = { column = "F", unit = "kt" }', "c.toml, [columns], key time.unit: time can't be "
     'measured in kt; write one of "s", "ms", "us", "ns", "min", "h" or "d", or no unit for '
     "clock times."),
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
        "c.toml: the file is empty; write [columns] and below it such as "
        'pressure_altitude = { column = "HP", unit = "ft" }.')


def test_everything_that_can_be_said(columns):
    read_all = columns("""
        signature = { header = ["GMT", "H"] }
        file = { delimiter = "semicolon", decimal = "comma", thousands = "point", header_line = 3 }
        clock = { form = "frame counter", frame_s = 4, frames = 4096, subframes = 4, year = 2026 }
        long = { time = "T", parameter = "P", value = "V", unit = "U" }
        [columns]
        frame = { column = "FRAME" }
        pressure_altitude = { column = "H", unit = "ft", fine = "G", fine_span = 5000, lag_s = 0.5 }
        pressure_altitude_2 = { column = "H2", unit = "m", wraps_at = 4096, skew_s = -0.25 }
        gear_down = { column = "GEAR", values = { UP = 0, down = true }, missing = ["---", -1] }
        """)
    assert read_all["pressure_altitude"].fine_span == 5000
    assert read_all["pressure_altitude"].lag_s == 0.5
    assert read_all["pressure_altitude_2"].known_unit is UNITS["m"]
    assert read_all["gear_down"].values == {"UP": 0.0, "down": 1.0}
    assert read_all["gear_down"].missing == ("---", -1)
    sheet = read_columns("c.toml")
    assert sheet.signature.matches(["H", " GMT ", "other"])
    assert not sheet.signature.matches(["H"])
    assert (sheet.file.delimiter, sheet.file.thousands) == ("semicolon", "point")
    assert (sheet.clock.form, sheet.clock.frames) == ("frame counter", 4096)
    assert sheet.long.unit == "U"


@pytest.mark.parametrize(("text", "sentence"), [
    ('[file]\ndelimiter = "colon"', 'c.toml, [file], key delimiter: "colon" isn\'t one of its '
     'values; write delimiter = "comma", "semicolon", "tab", "pipe" or "blank".'),
    ('[file]\nthousands = "point"', 'c.toml, [file], key thousands: "point" can\'t be both the '
     'decimal mark and the thousands separator; write such as decimal = "comma", thousands = '
     '"point".'),
    ("[file]\nheader_line = 0", "c.toml, [file], key header_line: header_line = 0 is outside 1 to "
     "400; count the file's lines from 1."),
    ("[clock]\nyear = 26", "c.toml, [clock], key year: year = 26 is outside 1970 to 2099; write a "
     "value in that range."),
    ("[clock]\nframe_s = 0", "c.toml, [clock], key frame_s: frame_s = 0 is outside 0 to 3600; "
     "write the frame's time in seconds."),
    ('[long]\ntime = "T"\nparameter = "P"\nvalue = "P"', 'c.toml, [long], key value: the column '
     '"P" is the parameter already; give each its own column.'),
    ("[signature]\nheader = []", 'c.toml, [signature], key header: the header names no column; '
     'write a list such as ["UTC", "HP", "VC"].'),
    ('[signature]\nheader = "UTC"', 'c.toml, [signature], key header: "UTC" isn\'t a list; '
     'write a list such as ["UTC", "HP", "VC"].'),
    ('[columns]\nflap = { column = "F", fine = "G" }', "c.toml, [columns], key flap: fine and "
     'fine_span belong together; write both, such as fine = "HP FINE", fine_span = 5000.'),
    ('[columns]\nflap = { column = "F", fine = "F", fine_span = 9 }', "c.toml, [columns], key "
     "flap.fine: the fine word's column is the coarse word's; name the column of the fine word."),
    ('[columns]\nflap = { column = "F", values = { up = "0" } }', "c.toml, [columns], key "
     'flap.values.up: "0" is no number; write such as { up = 1 }.'),
    ('[columns]\nflap = { column = "F", values = { up = 0, UP = 1 } }', "c.toml, [columns], key "
     'flap.values: "up" is written twice but for case and blanks; keep one of them.'),
    ('[columns]\nflap = { column = "F", missing = "-" }', "c.toml, [columns], key flap.missing: "
     '"-" isn\'t a list; write a list such as ["---", "-9999"].'),
    ('[columns]\nflap = { column = "F", lag_s = -1 }', "c.toml, [columns], key flap.lag_s: lag_s = "
     "-1 is outside 0 to 60; write it in seconds."),
    ('[columns]\nflap = { column = "F", wraps_at = 0 }', "c.toml, [columns], key flap.wraps_at: "
     "wraps_at = 0 is no span; write a number above 0."),
    ('[columns]\nhour = { column = "F", lag_s = 1 }', "c.toml, [columns], key hour.lag_s: lag_s is "
     "for a channel, and hour is a part of the clock; take it out."),
    ('[columns]\nmach_2 = { column = "F", unit = "kt" }', "c.toml, [columns], key mach_2.unit: "
     'mach_2 can\'t be measured in kt; write "Mach", "1", "%" or "1/1000".'),
])
def test_one_mistake_in_what_is_new(columns, text, sentence):
    with pytest.raises(Problem) as caught:
        columns(text + "\n")
    assert caught.value.sentence == sentence


def test_the_examples_in_the_readme_are_columns_files(columns):
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    blocks = [block for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
              if "[columns]" in block]
    assert len(blocks) >= 2
    for block in blocks:
        assert columns(block)
