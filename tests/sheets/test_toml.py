"""The one door for TOML files: what isn't TOML, or isn't a file."""

import contextlib
import os
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loganalyze import ColumnsFile, LimitsSheet, Problem
from loganalyze.sheets.toml_models import LARGEST, read_toml, written


@pytest.fixture
def said(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def refusal(content: bytes) -> str:
        (tmp_path / "s.toml").write_bytes(content)
        with pytest.raises(Problem) as caught:
            read_toml("s.toml", LimitsSheet)
        return caught.value.sentence

    return refusal


@pytest.mark.parametrize(("content", "sentence"), [
    (b"time,ias\n0,120\n", "s.toml, line 1, column 5: not valid TOML (expected '=' after a key "
     'in a key/value pair); write key = value, with text in "quotes" and a point in decimals.'),
    (b"a = 1\nb = 0,48\n", "s.toml, line 2, column 6: not valid TOML (expected newline or end "
     'of document after a statement); write key = value, with text in "quotes" and a point in '
     "decimals."),
    (b"a = 1\na = 2\n", "s.toml, line 2, column 6: not valid TOML (cannot overwrite a value); "
     "write each key and each [table] once."),
    (b'a = "x', "s.toml, at its end: not valid TOML (unterminated string); write key = value, "
     'with text in "quotes" and a point in decimals.'),
    (b'a = 1\nb = "\xff"\n', "s.toml, line 2: the text isn't UTF-8; save the file as UTF-8 text."),
    (b"PAR1" + bytes(40), "s.toml, line 1, column 5: not valid TOML (expected '=' after a key in "
     'a key/value pair); write key = value, with text in "quotes" and a point in decimals.'),
    (b"a" * (LARGEST + 1), "s.toml: over 1 MB, so not a file that someone wrote by hand; check "
     "that it isn't a recording given in the sheet's place."),
    (b"a = " + b"[" * 100_000, "s.toml: the lists in it are nested too deeply; "
     "write rows of two numbers."),
])
def test_what_is_not_toml(said, content, sentence):
    assert said(content) == sentence


def test_a_number_of_too_many_digits(said):
    sentence = said(b"a = " + b"1" * 5000)
    assert sentence.startswith("s.toml: not valid TOML (")
    assert sentence.endswith("; correct the text there.")


def test_a_byte_order_mark_is_no_mistake(tmp_path):
    path = tmp_path / "c.toml"
    path.write_bytes(b'\xef\xbb\xbf[columns]\ntime = { column = "GMT" }\n')
    assert read_toml(path, ColumnsFile).columns["time"].column == "GMT"


def test_no_such_file(tmp_path):
    with pytest.raises(Problem) as caught:
        read_toml(tmp_path / "none.toml", ColumnsFile)
    assert caught.value.sentence == f"{tmp_path / 'none.toml'}: there is no such file; " \
        "check the path."


def test_a_folder(tmp_path):
    with pytest.raises(Problem) as caught:
        read_toml(tmp_path, ColumnsFile)
    assert caught.value.sentence == f"{tmp_path}: this is a folder, not a file; " \
        "name the TOML file in it."


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "s.toml"
    path.write_text("")
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser may read anything
        def refused(*_, **__):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("pathlib.Path.open", refused)
    with pytest.raises(Problem) as caught:
        read_toml(path, ColumnsFile)
    assert caught.value.sentence == f"{path}: no permission to read the file; " \
        "allow reading it, or give another file."


def test_a_path_that_leads_through_a_file(tmp_path):
    (tmp_path / "s.toml").write_text("")
    with pytest.raises(Problem) as caught:
        read_toml(tmp_path / "s.toml" / "t.toml", ColumnsFile)
    assert caught.value.what == "the file can't be read (Not a directory)"


PLAIN = st.one_of(st.booleans(), st.integers(-10**6, 10**6), st.floats(), st.dates(),
                  st.text(st.characters(exclude_categories=["C"]), max_size=6))
KEYS = st.sampled_from([
    "aircraft", "airspeed", "temperature", "limit", "name", "quantity", "maximum", "maximum_kt",
    "by_pressure_altitude", "outside", "when", "on_pointer", "recorded", "position_correction",
    "instrument_correction", "table", "flap_deg", "gear_down", "above", "from", "is", "up_to",
    "columns", "time", "column", "unit", "other"])
ANYTHING = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=3)
                        | st.dictionaries(KEYS, inner, max_size=4), max_leaves=12)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300,
          deadline=None)
@given(st.dictionaries(KEYS, ANYTHING, max_size=5))
def test_any_toml_is_read_or_refused_in_a_sentence(tmp_path, data):
    path = tmp_path / "s.toml"
    path.write_text("".join(f"{key} = {written(value)}\n" for key, value in data.items()),
                    encoding="utf-8")
    assert set(tomllib.loads(path.read_text(encoding="utf-8"))) == set(data)
    for model in (LimitsSheet, ColumnsFile):
        with contextlib.suppress(Problem):
            assert isinstance(read_toml(path, model), model)
