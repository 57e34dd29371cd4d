"""The speed ruler of the page: where its marks stand, its trends, and stepping through a flight."""

import json

import numpy as np
import pyarrow.parquet as pq
import pytest

from .conftest import SAMPLES, report_on
from .test_page import drawn, row_of

GEOMETRY = """() => {
    const svg = document.querySelector(".ruler"), marks = {};
    const numbers = [...svg.querySelectorAll(".number")].map(
        (one) => [Number(one.dataset.value), Number(one.getAttribute("x"))]);
    for (const one of svg.querySelectorAll("[data-mark]")) {
      marks[one.dataset.mark] = one.getBBox().x + one.getBBox().width / 2;
    }
    const ways = {};
    for (const one of svg.querySelectorAll("path.way")) {
      ways[one.getAttribute("class").split(" ")[1]] = Number(one.dataset.from);
    }
    const crew = document.querySelector(".crew");
    return {numbers, marks, ways, data: {...crew.dataset}, wide: Number(svg.getAttribute("width")),
            lines: [...crew.querySelectorAll("p")].slice(1).map((one) => one.textContent)};
}"""


@pytest.fixture(scope="module")
def samples(descent):
    table = pq.ParquetFile(descent / "samples.parquet").read()
    return {name: table[name].to_pylist() for name in table.column_names}


def ruler(seen):
    """The ruler as drawn: marks and the arrows' tails in knots, by its own numbers."""
    drawn(seen)
    found = seen.page.evaluate(GEOMETRY)
    (low, left), *_, (high, right) = found["numbers"]
    scale = (high - low) / (right - left)
    found["marks"] = {name: low + (x - left) * scale for name, x in found["marks"].items()}
    found["ways"] = {name: low + (x - left) * scale for name, x in found["ways"].items()}
    return found


def put_cursor(seen, row: int) -> None:
    seen.page.evaluate("""(row) => {
        const slider = document.querySelector(".cursor input");
        slider.value = row;
        slider.dispatchEvent(new Event("input"));
    }""", row)


@pytest.mark.parametrize("width", [1440, 820, 390])
def test_marks_stand_within_a_tenth_of_a_knot_of_the_samples(descent, opened, samples, width):
    seen = opened(descent / "report.html", width=width)
    rows = range(7, len(samples["time_s"]), 307)
    for row in rows:
        put_cursor(seen, row)
        found = ruler(seen)
        assert found["marks"]["speed"] == pytest.approx(samples["indicated_airspeed_kt"][row],
                                                        abs=0.1)
        assert found["marks"]["pointer"] == pytest.approx(samples["limit_pointer_kt"][row],
                                                          abs=0.1)
        # To the bit in the data; and the ruler is no wider than the page.
        assert np.float32(float(found["data"]["pointer"])) == np.float32(
            samples["limit_pointer_kt"][row])
        assert found["wide"] < width


def test_trends_are_those_of_a_straight_line(descent, opened, samples):
    seen = opened(descent / "report.html")
    time = np.array(samples["time_s"])
    tails = 0
    for row in range(45, len(time), 401):
        put_cursor(seen, row)
        found = ruler(seen)
        window = (time >= time[row] - 10) & (time <= time[row])
        for name, column in (("speed", "indicated_airspeed_kt"), ("pointer", "limit_pointer_kt")):
            values = np.array(samples[column], dtype=float)[window]
            change = 10 * np.polyfit(time[window] - time[row], values, 1)[0]
            assert float(found["data"][f"{name}Trend"]) == pytest.approx(change, abs=1e-4)
            if name in found["ways"]:
                tails += 1
                assert found["ways"][name] == pytest.approx(
                    samples[column][row] - change, abs=0.1)
    assert tails > 5


def test_it_says_what_the_static_picture_says(descent, opened):
    seen = opened(descent / "report.html")
    exceedances = json.loads((descent / "summary.json").read_text())["flights"][0]["exceedances"]
    for number in range(1, len(exceedances) + 1):
        seen.page.get_by_label("Go to").select_option(index=number)
        lines = [line for line in ruler(seen)["lines"] if line]
        words = seen.page.locator(f"#picture-ruler-{number} img").get_attribute("alt")
        assert " ".join(lines) == words


def test_it_steps_by_key_and_button(descent, opened, samples):
    seen = opened(descent / "report.html")
    put_cursor(seen, 1000)
    group = seen.page.get_by_role("group", name="What the crew could see")
    group.focus()
    at = 1000
    for key, rows in (("ArrowRight", 4), ("PageDown", 40), ("ArrowLeft", -4), ("PageUp", -40),
                      ("ArrowRight", 4)):
        group.press(key)
        at += rows
        assert row_of(seen, samples) == at
        assert ruler(seen)["marks"]["pointer"] == pytest.approx(
            samples["limit_pointer_kt"][at], abs=0.1)
    for name, rows in (("1 s on", 4), ("10 s on", 40), ("1 s back", -4), ("10 s back", -40)):
        group.get_by_role("button", name=name, exact=True).click()
        at += rows
        assert row_of(seen, samples) == at
    group.press("End")
    assert row_of(seen, samples) == len(samples["time_s"]) - 1
    group.get_by_role("button", name="10 s on").click()
    assert row_of(seen, samples) == len(samples["time_s"]) - 1
    group.press("Home")
    assert row_of(seen, samples) == 0
    assert "no trend (the recording had not run for 10 s)" in ruler(seen)["lines"][1]
    assert seen.errors == []


def test_no_trend_is_drawn_across_a_gap(gaps, opened):
    seen = opened(gaps / "report.html")
    table = pq.ParquetFile(gaps / "samples.parquet").read()
    time = table["time_s"].to_numpy()
    speed = table["indicated_airspeed_kt"].to_numpy()
    steps = np.diff(time)
    after = int(np.flatnonzero(steps > 3 * np.median(steps))[0]) + 1
    put_cursor(seen, after)
    found = ruler(seen)
    assert "gap" in found["lines"][1] or "not known now" in found["lines"][1]
    assert found["data"]["speedTrend"] == "NaN"
    assert found["ways"] == {}
    unknown = np.flatnonzero(np.isnan(speed))
    if len(unknown):
        put_cursor(seen, int(unknown[0]))
        found = ruler(seen)
        assert "speed" not in found["marks"]
        assert found["lines"][0].startswith("Speed not known")


def test_it_is_there_for_a_reader_in_metric_units(opened, tmp_path):
    from loganalyze import KMH_METRES

    folder = report_on(SAMPLES / "descent_through_mmo_and_vmo.csv", tmp_path / "out",
                       units=KMH_METRES)
    seen = opened(folder / "report.html")
    table = pq.ParquetFile(folder / "samples.parquet").read()
    put_cursor(seen, 2000)
    assert ruler(seen)["marks"]["pointer"] == pytest.approx(
        1.852 * table["limit_pointer_kt"][2000].as_py(), abs=0.2)
    assert "km/h" in ruler(seen)["lines"][0]


def test_without_scripts_the_pictures_of_the_ruler_are_there(descent, opened):
    seen = opened(descent / "report.html", scripts=False)
    for number in (1, 2):
        assert seen.page.locator(f"#picture-ruler-{number} img").is_visible()
