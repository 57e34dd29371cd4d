"""The report as a page, read without a browser: one file, nothing foreign, data to the bit."""

import base64
import gzip
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import loganalyze.show.page.html_page
from loganalyze import KMH_METRES, Presentation, analyze, read_limits, summarise
from loganalyze.record.units import FOOT
from loganalyze.show.page.channel_thinning import thinned
from loganalyze.show.page.chart_data import MORE, PANELS, chart_data
from loganalyze.show.page.column_packing import FOLLOWS, MISSING_CODE, packed
from loganalyze.show.page.html_markup import element, escaped, json_text, raw
from loganalyze.show.page.html_page import report_html
from loganalyze.show.report.report_blocks import Chart, Paragraph, Report, Section, Table
from loganalyze.show.report.report_blocks import Column as Head
from loganalyze.show.report.report_building import flight_report
from loganalyze.text.language import page_labels as said

from .conftest import log_of
from .made import assessment_of

HERE = Path(loganalyze.show.page.__path__[0])


class Elements(HTMLParser):
    """Collects elements with their attributes, and the text of scripts and styles."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.found, self.inside, self.texts = [], "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self.texts.append((tag, dict(attrs), ""))
        self.inside = tag

    def handle_data(self, data):
        if self.inside in ("script", "style"):
            *element, text = self.texts[-1]
            self.texts[-1] = (*element, text + data)

    def handle_endtag(self, tag):
        self.inside = ""

    def named(self, tag):
        return [attributes for name, attributes in self.found if name == tag]


@pytest.fixture
def report(analysis, sheet_path):
    """Return a function that reports on the flight."""

    def make(**how):
        summary = summarise([analysis], limits=sheet_path)
        return flight_report(analysis, summary, assessment=assessment_of(analysis),
                             presentation=Presentation(**how))

    return make


def test_it_is_one_file_that_asks_for_nothing(report):
    page = Elements(report_html(report()))
    assert page.found[0] == ("html", {"lang": "en-GB"})
    for tag, attributes in page.found:
        assert tag not in ("link", "iframe", "object", "embed", "base", "form")
        assert not any(name.startswith("on") or name == "style" for name in attributes)
        for name in ("src", "href", "action", "srcset"):
            if name in attributes:
                assert attributes[name].startswith(("data:image/png;base64,", "#"))
    for _, _, text in page.texts:
        assert "@import" not in text
        assert "url(" not in text


def test_the_policy_names_every_script_and_style_by_its_hash(report):
    page = Elements(report_html(report()))
    policy = next(one["content"] for one in page.named("meta")
                  if one.get("http-equiv") == "Content-Security-Policy")
    rules = {rule.split()[0]: rule.split()[1:] for rule in policy.split("; ")}
    assert rules["default-src"] == ["'none'"]
    assert rules["img-src"] == ["data:"]

    def hashed(text):
        return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"

    styles = [hashed(text) for tag, _, text in page.texts if tag == "style"]
    scripts = [hashed(text) for tag, attributes, text in page.texts
               if tag == "script" and "type" not in attributes]
    assert rules["style-src"] == styles
    assert rules["script-src"] == scripts
    assert len(scripts) == 5


def test_vendored_files_are_the_packages_own():
    for folder, readme in ((HERE / "uplot", "README.txt"),
                           (Path(__file__).parents[1] / "browser", "README.txt")):
        hashes = re.findall(r"^([0-9a-f]{64})  (\S+)$",
                            (folder / readme).read_text(encoding="utf-8"), re.MULTILINE)
        assert hashes
        for digest, name in hashes:
            assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest


def unpacked(text, how, other=None):
    """Undo `packed`, a sample at a time, as the page's script does."""
    kind = np.dtype(f"<{how['kind']}")
    planes = np.frombuffer(gzip.decompress(base64.b64decode(text)), np.uint8)
    words = np.ascontiguousarray(planes.reshape(kind.itemsize, -1).T).view(
        f"<u{kind.itemsize}").ravel()
    if how["kind"] != "f4":
        return np.cumsum(words, dtype=words.dtype).view(kind)
    steps = [(int(word) >> 1) ^ -(int(word) & 1) for word in words]
    values, before = [], np.zeros(1, np.uint32)
    for row, step in enumerate(steps):
        if "decimals" in how:
            before = before + np.uint32(step % 2**32)
            whole = int(before.view(np.int32)[0])
            values.append(np.nan if whole == MISSING_CODE else whole / 10 ** how["decimals"])
            continue
        if "by" in how:
            y, x = float(other[row]), float(values[-1]) if values else np.nan
            past = float(other[row - 1]) if row else np.nan
            with np.errstate(all="ignore"):
                expected = np.array([{
                    "same": y, "less": x - (y - past),
                    "ratio": np.float64(y) * (np.float64(x) / np.float64(past))}[how["by"]]],
                    np.float32)
            if np.isfinite(expected[0]):
                before = expected.view(np.uint32)
        before = before + np.uint32(step % 2**32)
        values.append(before.view(np.float32)[0])
    return np.array(values, np.float32)


@pytest.mark.parametrize(("name", "values"), [
    ("u", np.array([3, 0, 255, 7], np.uint8)),
    ("t", np.array([0.1, 0.2, 0.30000000000000004, 1e300])),
    ("odd", np.array([1.5, np.nan, -0.0, np.inf, 1e-40, 3.25, -np.inf, np.nan], np.float32)),
    ("decimal", np.array([1.25, np.nan, -7.5, 0.0, 20000.75, np.nan], np.float32)),
    ("whole", np.array([-3, np.nan, 70000, np.nan, np.nan, 0], np.float32)),
    ("huge", np.array([3e9, 1e38, -3e9, 0.5], np.float32)),
    ("nothing", np.full(4, np.nan, np.float32)),
])
def test_what_is_packed_comes_back_to_the_bit(name, values):
    texts, recipes = packed({name: values})
    back = unpacked(texts[name], recipes[name])
    assert back.dtype == values.dtype
    assert np.array_equal(back, values, equal_nan=values.dtype.kind == "f")
    if name == "odd":
        assert back.tobytes() == values.tobytes()
    assert ("decimals" in recipes[name]) == (name in ("decimal", "whole", "nothing"))


@pytest.mark.parametrize("name", sorted(FOLLOWS))
def test_a_column_that_follows_another_comes_back_to_the_bit(name):
    rng = np.random.default_rng(6)
    _, of = FOLLOWS[name]
    other = (200 + np.cumsum(rng.normal(0, 0.3, 400))).astype(np.float32)
    values = (0.9 * other + rng.normal(0, 0.01, 400)).astype(np.float32)
    other[[0, 40, 41]], values[[7, 40, 90]] = np.nan, np.nan
    other[200:202], values[300], other[310] = 0, 0, np.inf
    texts, recipes = packed({name: values, of: other})
    assert recipes[name]["of"] == of
    assert unpacked(texts[name], recipes[name], other).tobytes() == values.tobytes()


def test_the_page_holds_every_sample_of_what_it_charts(report, analysis):
    page = Elements(report_html(report()))
    texts = {attributes["id"]: text for _, attributes, text in page.texts if "id" in attributes}
    about = json.loads(texts["chart-about"])
    assert about["rows"] == len(analysis.time)
    for name, how in about["columns"].items():
        values = unpacked(texts[f"column-{name}"], how, analysis.columns.get(how.get("of")))
        if name == "time_s":
            assert values.tobytes() == analysis.time.tobytes()
        elif name in analysis.columns:
            assert values.tobytes() == analysis.columns[name].tobytes()
        elif name == "recorded-flap":
            assert values.tobytes() == np.zeros(len(analysis.time), np.float32).tobytes()
    assert {"margin_kt", "limit_airspeed_kt", "calibrated_airspeed_kt", "mach", "margin_mach",
            "pressure_altitude_ft", "static_air_temperature_degc", "margin_u_kt",
            "recorded-flap"} <= set(about["columns"])
    # A recorded channel that is a column already isn't held twice.
    assert "recorded-pressure_altitude" not in about["columns"]
    assert about["over"] == [[pytest.approx(49.75), pytest.approx(59.25)]]
    assert about["unknown"] == [[100.5, 120.0], [150.0, 160.0]]
    assert about["codes"]["phase"][6] == "climb"


def test_the_same_report_gives_the_same_bytes(report):
    assert report_html(report()) == report_html(report())


def test_units_and_clock_of_the_chart(report, analysis):
    def about(**how):
        chart = next(block for part in report(**how).sections for block in part.blocks
                     if isinstance(block, Chart))
        return json.loads(chart_data(chart)[0])

    plain = about()
    assert plain["utc"] is None
    assert plain["traces"]["margin_kt"]["unit"] == "kt"
    metric = about(units=KMH_METRES, clock="utc")
    assert metric["utc"] == 7 * 3600 + 8 * 60 + 9
    assert metric["traces"]["margin_kt"]["unit"] == "km/h"
    assert metric["traces"]["margin_kt"]["factor"] == 1.852
    assert metric["traces"]["pressure_altitude_ft"]["factor"] == 0.3048
    assert about(deidentified=True)["utc"] is None


def test_a_page_that_is_de_identified_says_no_name_anywhere(report, analysis):
    page = report_html(report(deidentified=True))
    for secret in ("flight.csv", "an invented twin", "2031", "07:08", "limits.toml",
                   "PRESSURE_ALTITUDE", '"TIME"'):
        assert secret not in page


def test_hostile_text_is_text(analysis):
    bad = "<img src=x onerror=alert(1)>\"'&</script><!--\x00\u202e"
    hostile = Report(bad, bad, (Section("a", bad, (
        Paragraph(bad), Table(bad, (Head(bad, heads_row=True),), ((bad,),)))),), bad, bad)
    text = report_html(hostile)
    page = Elements(text)
    assert page.named("img") == []
    assert page.named("script") == []
    assert "\x00" not in text
    assert "\u202e" not in text
    assert "\\u202e" in text
    assert escaped("a\tb\nc") == "a\tb\nc"


def test_elements_escape_what_they_are_given():
    assert element("p", "a < b", element("b", "&"), title='"', hidden=True, id=None) == (
        '<p title="&quot;" hidden>a &lt; b<b>&amp;</b></p>')
    assert element("img", src="x", alt="") == '<img src="x" alt="">'
    with pytest.raises(ValueError, match="must not end it"):
        raw("script", "var x = '</SCRIPT>'")
    assert json.loads(json_text({"a": "</script>\u2028&"})) == {"a": "</script>\u2028&"}
    assert "<" not in json_text("</script>")


def test_a_flight_without_a_second_sample_has_a_picture_and_no_chart(judged, sheet_path):
    one = judged([200.0])
    page = Elements(report_html(flight_report(one, summarise([one], limits=sheet_path))))
    assert page.named("script") == []
    assert len(page.named("img")) >= 2


def test_every_trace_and_panel_has_words():
    assert {key for key, _, _ in PANELS} == set(said.PANELS)
    traces = {name for _, _, traces in PANELS for name, _ in traces} | set(MORE)
    assert traces <= set(said.TRACES)
    used = set(re.findall(r"words\.(\w+)", (HERE / "chart.js").read_text(encoding="utf-8")))
    keys = set(re.findall(r'button\("(\w+)"', (HERE / "chart.js").read_text(encoding="utf-8")))
    codes = {"state", "governing_limit", "phase"}
    assert used | keys | codes == set(said.CONTROLS)


NOISY = {
    "pitch": (3, 0.4, 1), "roll": (0, 1, 1), "heading": (90, 1, 1), "torque": (0.7, 0.01, 3),
    "ground_speed": (150, 1, 1), "vertical_speed": (5, 1, 1), "load_factor": (1, 0.05, 3),
    "total_air_temperature": (280, 0.3, 2), "latitude": (0.8, 1e-5, 9),
    "longitude": (0.1, 1e-5, 9), "track": (90, 1, 1), "power_lever": (1, 0.1, 2)}
"""Middle, spread and decimals of channels that are noisy in each sample's last digit."""
MORE_NOISY = dict.fromkeys((
    "indicated_altitude", "satellite_altitude", "altimeter_setting", "flap_lever", "slat",
    "speedbrake", "fuel", "fan_speed", *(f"{name}_{i}" for i in (2, 3) for name in (
        "pitch", "roll", "heading", "torque", "ground_speed", "vertical_speed", "track",
        "load_factor", "power_lever", "fan_speed", "latitude", "longitude"))), (2.0, 0.7, 7))


@pytest.mark.parametrize("noisy", [NOISY, NOISY | MORE_NOISY], ids=["16 channels", "48 channels"])
def test_two_hours_at_four_hertz_take_less_than_three_megabytes(tmp_path, sheet_path, noisy):
    rng = np.random.default_rng(4)
    speeds = 222 + 21 * np.sin(np.arange(28_800) / 900) + np.cumsum(rng.normal(0, 0.3, 28_800)) % 4
    log = log_of(tmp_path, speeds.round(1))
    channels = {name: replace(channel, interval_s=0.25) for name, channel in log.channels.items()}
    # Every one of them noisy in each sample's last digit, as the trade's recorders write them.
    for name, (middle, spread, digits) in noisy.items():
        channels[name] = replace(channels["flap"], values=rng.normal(middle, spread, 28_800).round(
            digits))
    level = channels["pressure_altitude"]
    channels["pressure_altitude"] = replace(level, values=level.values + FOOT * np.cumsum(
        rng.normal(0, 3, 28_800)).round())
    long = analyze(replace(log, time=log.time / 4, channels=channels, interval_s=0.25),
                   read_limits(sheet_path))
    report = flight_report(long, summarise([long], limits=sheet_path),
                           assessment=assessment_of(long))
    text = report_html(report)
    assert len(text.encode()) < 3e6
    assert len(long.log.channels) == len(noisy) + 4
    about = json.loads(re.search(r'id="chart-about">(.*?)</script>', text)[1])
    assert ("To keep this page small" in about["thinned"]) == (len(noisy) > 20)


def test_what_is_thinned_keeps_every_peak_and_all_that_is_near_an_exceedance():
    rng = np.random.default_rng(8)
    time = np.arange(28_800) / 4
    values = {"torque": rng.normal(50, 3, 28_800).round(3).astype(np.float32),
              "pitch": (rng.integers(0, 3, 28_800)).astype(np.float32)}
    values["torque"][100:140] = np.nan
    assert thinned(values, time, [], 10**7).names == ()
    found = thinned(values, time, [(3000.0, 3010.0)], 60_000)
    assert found.names == ("torque",)
    np.testing.assert_array_equal(found.channels["pitch"], values["pitch"])
    before, after = values["torque"], found.channels["torque"]
    close = (time >= 3000 - found.beside_s) & (time <= 3010 + found.beside_s)
    np.testing.assert_array_equal(after[close], before[close])
    np.testing.assert_array_equal(np.isnan(after), np.isnan(before))
    for start in range(0, 28_800, found.samples):
        part = slice(start, start + found.samples)
        if np.isfinite(before[part]).any():
            assert np.nanmin(after[part]) == np.nanmin(before[part])
            assert np.nanmax(after[part]) == np.nanmax(before[part])
    assert len(np.unique(after)) < len(np.unique(before))
    # All the flight near an exceedance: rather steps there, too, than a page that is too large.
    assert thinned(values, time, [(0.0, 7200.0)], 60_000).beside_s == 0
