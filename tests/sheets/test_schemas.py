"""The exported schemas: what they say of a file agrees with what the program says of it."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from loganalyze import ColumnsFile, LimitsSheet, Problem
from loganalyze.sheets.toml_models import read_toml
from loganalyze.show.files.sheet_schemas import FILES, main, schema_of

ROOT = Path(__file__).parents[2]

HEAD = """aircraft = "an invented single"
[airspeed]
recorded = "indicated"
"""
LIMIT = """[[limit]]
name = "VNE"
quantity = "indicated_airspeed"
"""
CONSTANT = LIMIT + "maximum_kt = 190\n"

VALID = [
    HEAD + CONSTANT,
    HEAD + "static_source_corrected = true\n" + CONSTANT + "on_pointer = false\n",
    HEAD + "position_correction = [[60, 2], [200, 5.5]]\n" + CONSTANT,
    HEAD + "instrument_correction = [[60, 2], [200, -5]]\n"
    "altimeter_correction = [[60, 20], [200, 55]]\n" + CONSTANT,
    HEAD + "position_correction = [{ flap_deg = { up_to = 1 }, table = [[60, 2], [200, 5]] }]\n"
    + CONSTANT,
    HEAD + "[temperature]\noutside_air = \"probe\"\nrecovery_factor = 0.75\n" + CONSTANT,
    HEAD + LIMIT + "by_pressure_altitude = [[0, 190], [12000, 170]]\noutside = \"hold\"\n",
    HEAD + CONSTANT + "when = { gear_down = { is = \"down\" }, weight_kg = { from = 900 } }\n",
    HEAD + CONSTANT + "when = { flap_deg = { above = 1, deadband = 0.5, dwell_s = 2 } }\n",
]

INVALID = [
    "",
    HEAD,
    "limit = []\n" + HEAD,
    CONSTANT,
    HEAD + LIMIT,
    HEAD.replace("indicated", "pressure") + CONSTANT,
    HEAD + "static_source_corrected = \"yes\"\n" + CONSTANT,
    HEAD + "position_correction = [[60, 2]]\n" + CONSTANT,
    HEAD + "position_correction = [[60, 2, 1], [90, 3, 1]]\n" + CONSTANT,
    HEAD + "position_correction = [{ flap_deg = { up_to = 1 } }]\n" + CONSTANT,
    HEAD + "[temperature]\noutside_air = \"probe\"\n" + CONSTANT,
    HEAD + "[temperature]\noutside_air = \"probe\"\nrecovery_factor = 0\n" + CONSTANT,
    HEAD + "[temperature]\noutside_air = \"static\"\nrecovery_factor = 0.8\n" + CONSTANT,
    HEAD + CONSTANT + "remark = \"none\"\n",
    HEAD + CONSTANT + "outside = \"hold\"\n",
    HEAD + CONSTANT + "maximum = 0.4\n",
    HEAD + LIMIT + "maximum = 0.4\n",
    HEAD + LIMIT + "maximum_kt = 5\n",
    HEAD + LIMIT + "maximum_kt = \"190\"\n",
    HEAD + LIMIT.replace("indicated_airspeed", "mach") + "maximum_kt = 190\n",
    HEAD + LIMIT.replace("indicated_airspeed", "mach") + "maximum = 19\n",
    HEAD + LIMIT.replace("VNE", "") + "maximum_kt = 190\n",
    HEAD + LIMIT.replace("VNE", " VNE") + "maximum_kt = 190\n",
    HEAD + CONSTANT + "when = {}\n",
    HEAD + CONSTANT + "when = { flap_deg = {} }\n",
    HEAD + CONSTANT + "when = { Flap = { above = 1 } }\n",
    HEAD + CONSTANT + "when = { flap_deg = { above = 1, from = 1 } }\n",
    HEAD + CONSTANT + "when = { gear_down = { is = true, up_to = 1 } }\n",
    HEAD + CONSTANT + "when = { gear_down = { is = true, deadband = 1 } }\n",
    HEAD + CONSTANT + "when = { flap_deg = { above = 1, deadband = -1 } }\n",
]

COLUMNS_VALID = [
    "[columns]\ntime = { column = \"GMT\" }\n",
    "[columns]\ntime = { column = \"GMT\" }\nflap = { column = \"F\", unit = \"deg\" }\n",
    "[file]\ndelimiter = \"tab\"\ndecimal = \"comma\"\nthousands = \"point\"\n",
    "[clock]\nform = \"day first\"\nutc_offset_s = -3600\n",
    "[signature]\nheader = [\"A\"]\n",
    "[columns]\nflap = { column = \"F\", values = { up = 0, down = 20.5, off = false },"
    " missing = [\"x\", 3] }\n",
]

COLUMNS_INVALID = [
    "",
    "[columns]\n",
    "[columns]\ntime = \"GMT\"\n",
    "[columns]\ntime = { unit = \"s\" }\n",
    "[columns]\ntime = { column = \"\" }\n",
    "[columns]\ntime = { column = 4 }\n",
    "[columns]\nFlap = { column = \"F\" }\n",
    "[columns]\nflap = { column = \"F\", factor = 2 }\n",
    "[columns]\nflap = { column = \"F\", lag_s = -2 }\n",
    "[columns]\nflap = { column = \"F\", values = { up = \"x\" } }\n",
    "[file]\ndelimiter = \"x\"\n",
    "[file]\nheader_line = 0\n",
    "[clock]\nframe_s = 0\n",
    "[long]\ntime = \"T\"\n",
    "[signature]\nheader = []\n",
]


def allowed(model, text, path) -> tuple[bool, bool]:
    """Whether the schema and the program take the file."""
    path.write_text(text, encoding="utf-8")
    errors = list(jsonschema.Draft202012Validator(schema_of(model)).iter_errors(
        tomllib.loads(text)))
    try:
        read_toml(path, model)
    except Problem:
        return not errors, False
    return not errors, True


@pytest.mark.parametrize("text", VALID)
def test_valid_limits_sheets(text, tmp_path):
    assert allowed(LimitsSheet, text, tmp_path / "s.toml") == (True, True)


@pytest.mark.parametrize("text", INVALID)
def test_invalid_limits_sheets(text, tmp_path):
    assert allowed(LimitsSheet, text, tmp_path / "s.toml") == (False, False)


@pytest.mark.parametrize("text", COLUMNS_VALID)
def test_valid_columns_files(text, tmp_path):
    assert allowed(ColumnsFile, text, tmp_path / "c.toml") == (True, True)


@pytest.mark.parametrize("text", COLUMNS_INVALID)
def test_invalid_columns_files(text, tmp_path):
    assert allowed(ColumnsFile, text, tmp_path / "c.toml") == (False, False)


@pytest.mark.parametrize("name", FILES)
def test_the_exported_schema_has_not_drifted(name):
    stored = json.loads((ROOT / "schemas" / name).read_text(encoding="utf-8"))
    assert stored == schema_of(FILES[name]), (
        "run python -m loganalyze.show.files.sheet_schemas schemas/ and commit what it wrote")


@pytest.mark.parametrize("name", FILES)
def test_the_schema_is_a_schema(name):
    jsonschema.Draft202012Validator.check_schema(schema_of(FILES[name]))


def test_every_key_has_an_example_that_fits_it():
    def check(schema, root):
        for key, field in schema.get("properties", {}).items():
            assert field["examples"], key
            for example in field["examples"]:
                jsonschema.validate(example, {**field, "$defs": root["$defs"]})
        for inner in schema.get("$defs", {}).values():
            check(inner, root)

    for model in FILES.values():
        check(schema_of(model), schema_of(model))


def test_the_schemas_are_written(tmp_path):
    main(str(tmp_path))
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(FILES)
    for path in tmp_path.iterdir():
        assert path.read_text(encoding="utf-8").endswith("}\n")
        assert json.loads(path.read_text(encoding="utf-8"))["title"] == FILES[path.name].__name__
