"""The report in a browser: what it shows, reads out and asks for."""

import io
import json
import unicodedata
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pypdf
import pytest

from .conftest import SAMPLES, report_on

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def samples(descent):
    """The columns of samples.parquet."""
    table = pq.ParquetFile(descent / "samples.parquet").read()
    return {name: table[name].to_pylist() for name in table.column_names}


def drawn(seen) -> None:
    """Wait until the page has drawn what it was last asked for: it does so frame by frame."""
    seen.page.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def row_of(seen, samples) -> int:
    """The row at which the read-out stands."""
    drawn(seen)
    instant = float(seen.page.locator(".readout td").first.get_attribute("data-value"))
    (row,) = [i for i, time in enumerate(samples["time_s"]) if time == instant]
    return row


def read_out(seen) -> dict[str, str]:
    """What the read-out shows, by trace."""
    drawn(seen)
    return seen.page.eval_on_selector_all(
        ".readout td[data-trace]",
        "cells => Object.fromEntries(cells.map((cell) => [cell.dataset.trace, "
        "[cell.textContent, cell.dataset.value ?? null]]))")


def check_against(seen, samples) -> int:
    """Hold every value of the read-out to samples.parquet, to the bit; return the row."""
    row = row_of(seen, samples)
    shown = read_out(seen)
    assert {"margin_kt", "calibrated_airspeed_kt", "limit_airspeed_kt", "mach",
            "pressure_altitude_ft", "static_air_temperature_degc"} <= set(shown)
    for name, (text, exact) in shown.items():
        if name in ("state", "governing_limit", "phase"):
            assert text == samples[name][row]
        elif name == "limit_mach":
            assert float(exact) == np.float32(np.float32(samples["mach"][row])
                                              + np.float32(samples["margin_mach"][row]))
        else:
            assert np.float32(float(exact)) == np.float32(samples[name][row])
            digits = text.split()[0].replace(",", "").replace("−", "-")
            assert float(digits) == pytest.approx(samples[name][row], abs=0.51 if name.endswith(
                "_ft") else 0.0051)
    return row


def test_it_opens_without_an_error_and_asks_for_nothing(descent, opened):
    seen = opened(descent / "report.html", offline=True)
    page = seen.page
    page.locator(".more summary").click()
    page.locator(".more-list input").first.check()
    page.get_by_role("button", name="Zoom in").click()
    page.emulate_media(media="print")
    page.wait_for_timeout(200)
    assert seen.errors == []
    assert [url for url in seen.requests if not url.startswith("data:")] == [
        (descent / "report.html").as_uri()]


def test_a_request_or_a_foreign_script_would_be_refused(descent, opened):
    seen = opened(descent / "report.html")
    refused = seen.page.evaluate("""async () => {
        const image = new Image();
        const failed = new Promise((done) => { image.onerror = () => done(true);
                                               image.onload = () => done(false); });
        image.src = "https://example.invalid/x.png";
        const fetched = await fetch("https://example.invalid/").then(() => false, () => true);
        const script = document.createElement("script");
        script.textContent = "window.ran = true";
        document.body.append(script);
        return [await failed, fetched, window.ran === undefined];
    }""")
    assert refused == [True, True, True]
    # The page's own policy stopped them, before any network did.
    assert {why for url, why in seen.failures if "example.invalid" in url} == {"csp"}


def test_the_cursor_reads_what_samples_parquet_holds(descent, opened, samples):
    seen = opened(descent / "report.html")
    rows = set()
    for panel, share in ((0, 0.2), (1, 0.55), (2, 0.9), (4, 0.4)):
        box = seen.page.locator(".u-over").nth(panel).bounding_box()
        seen.page.mouse.move(box["x"] + share * box["width"], box["y"] + 20)
        seen.page.locator(".u-over").nth(panel).scroll_into_view_if_needed()
        box = seen.page.locator(".u-over").nth(panel).bounding_box()
        seen.page.mouse.move(box["x"] + share * box["width"], box["y"] + 30)
        row = check_against(seen, samples)
        assert row == pytest.approx(share * len(samples["time_s"]), abs=15)
        rows.add(row)
    assert len(rows) == 4


def test_the_cursor_moves_by_keyboard(descent, opened, samples):
    seen = opened(descent / "report.html")
    slider = seen.page.get_by_role("slider")
    slider.focus()
    before = row_of(seen, samples)
    for key, by in (("ArrowRight", 1), ("ArrowRight", 1), ("ArrowLeft", -1)):
        slider.press(key)
        before += by
        assert check_against(seen, samples) == before
    seen.page.get_by_role("button", name="Next sample").press("Enter")
    assert check_against(seen, samples) == before + 1
    slider.press("Home")
    assert check_against(seen, samples) == 0
    assert slider.get_attribute("aria-valuetext").startswith("0:00:00.00, margin ")


def shown_span(seen) -> list[str]:
    return seen.page.locator(".shown").text_content().removeprefix("Shown: ").split(" to ")


def test_dragging_zooms_all_panels_and_a_double_click_shows_it_all(descent, opened, samples):
    seen = opened(descent / "report.html")
    whole = shown_span(seen)
    assert whole == ["0:00:00", "0:17:00"]
    over = seen.page.locator(".u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    seen.page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 40)
    seen.page.mouse.down()
    seen.page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 40, steps=4)
    seen.page.mouse.up()
    assert [part[:4] for part in shown_span(seen)] == ["0:06", "0:08"]
    # The same place of another panel now reads the same stretch.
    second = seen.page.locator(".u-over").nth(1).bounding_box()
    seen.page.mouse.move(second["x"] + 0.5 * second["width"], second["y"] + 40)
    row = check_against(seen, samples)
    assert samples["time_s"][row] == pytest.approx(0.45 * samples["time_s"][-1], abs=2)
    seen.page.mouse.dblclick(box["x"] + 100, box["y"] + 40)
    seen.page.wait_for_timeout(100)
    assert shown_span(seen) == whole


def test_buttons_zoom_and_move(descent, opened):
    seen = opened(descent / "report.html")
    for name, spans in (("Zoom in", 510), ("Zoom in", 255), ("Later", 255), ("Earlier", 255),
                        ("Zoom out", 510), ("Whole flight", 1020)):
        seen.page.get_by_role("button", name=name).click()
        start, end = (sum(float(part) * unit for part, unit in zip(
            text.split(":"), (3600, 60, 1), strict=True)) for text in shown_span(seen))
        assert end - start == pytest.approx(spans, abs=1.5)


def test_it_jumps_to_an_exceedance(descent, opened, samples):
    seen = opened(descent / "report.html")
    worst = json.loads((descent / "summary.json").read_text())["flights"][0]["exceedances"][1]
    seen.page.get_by_label("Go to").select_option(index=2)
    row = check_against(seen, samples)
    assert samples["time_s"][row] == worst["worst_time_s"]
    assert read_out(seen)["state"][0] == "over"
    assert float(read_out(seen)["margin_kt"][1]) == pytest.approx(-worst["worst_excess_kt"],
                                                                  abs=1e-3)
    seen.page.get_by_role("link", name="Show in the chart").first.click()
    start, end = shown_span(seen)
    assert start < "0:04:01" < "0:08:50" < end


def test_any_recorded_channel_can_be_added(descent, opened):
    seen = opened(descent / "report.html")
    panels = seen.page.locator(".panel").count()
    seen.page.locator(".more summary").click()
    seen.page.get_by_label("Flap angle", exact=True).check()
    seen.page.get_by_label("Landing gear down", exact=True).check()
    seen.page.wait_for_timeout(200)
    assert seen.page.locator(".panel").count() == panels + 2
    assert read_out(seen)["recorded-flap"][0] == "1.20 deg"
    assert read_out(seen)["recorded-gear_down"][0] == "no"
    seen.page.get_by_label("Flap angle", exact=True).uncheck()
    assert seen.page.locator(".panel").count() == panels + 1
    assert "recorded-flap" not in read_out(seen)
    assert seen.errors == []


def test_a_gap_is_unknown_and_hatched(gaps, opened):
    seen = opened(gaps / "report.html")
    assert seen.page.locator(".key.hatched").count() > 0
    colours = seen.page.evaluate("""() => {
        const canvas = document.querySelector(".plot canvas"), pen = canvas.getContext("2d");
        const data = pen.getImageData(0, 0, canvas.width, canvas.height).data, found = {};
        for (let i = 0; i < data.length; i += 4) {
          const one = [data[i], data[i + 1], data[i + 2]].join();
          found[one] = (found[one] || 0) + 1;
        }
        return found;
    }""")
    assert colours.get("244,244,244", 0) > 500


def test_thinning_loses_no_peak_and_bridges_no_gap(descent, opened):
    seen = opened(descent / "report.html")
    least, greatest, points, broken, few = seen.page.evaluate("""() => {
        const n = 230400, time = new Float64Array(n), values = new Float32Array(n);
        for (let i = 0; i < n; i++) {
          time[i] = i / 16 + (i >= 100000 ? 300 : 0);
          values[i] = Math.sin(i / 500);
        }
        values[77777] = 9;
        values[150001] = -9;
        values[5] = NaN;
        const [x, y] = thinned(time, [(i) => values[i]], 0, time[n - 1], 800, 1.5 / 16);
        const at = x.findIndex((t) => t > time[99999]);
        const some = thinned(time, [(i) => values[i]], 10, 20, 800, 1.5 / 16);
        const known = y.filter((one) => one !== null);
        return [Math.min(...known), Math.max(...known), x.length,
                y.slice(at - 1, at + 2).includes(null), some[0].length];
    }""")
    assert (least, greatest) == (-9, 9)
    assert points <= 2 * 800 + 60
    assert broken
    assert few == 163


def test_without_scripts_there_are_pictures(descent, opened):
    seen = opened(descent / "report.html", scripts=False)
    assert seen.page.locator("#chart figure img").is_visible()
    assert seen.page.locator("h1").is_visible()
    for image in seen.page.locator("img").all():
        assert image.get_attribute("alt")


def test_it_prints_pictures_and_no_controls(descent, opened):
    seen = opened(descent / "report.html")
    for paper in ("A4", "Letter"):
        pdf = pypdf.PdfReader(io.BytesIO(seen.page.pdf(format=paper)))
        text = unicodedata.normalize("NFKC", "\n".join(
            page.extract_text() for page in pdf.pages))
        assert "MMO and VMO were exceeded" in text
        assert "Not for use in flight" in text
        assert "Zoom in" not in text
        assert 4 <= len(pdf.pages) <= 14
        assert sum(len(page.images) for page in pdf.pages) >= 6


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 380])
def test_axe_finds_nothing_serious(gaps, opened, scheme, width):
    seen = opened(gaps / "report.html", color_scheme=scheme, width=width)
    seen.page.locator(".more summary").click()
    seen.page.evaluate((HERE / "axe.min.js").read_text(encoding="utf-8"))
    found = seen.page.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
    assert [one for one in found if one[0] in ("serious", "critical", "moderate")] == []


def test_it_fits_a_phone_and_follows_the_dark(descent, opened):
    seen = opened(descent / "report.html", width=360, color_scheme="dark")
    assert seen.page.evaluate(
        "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth")
    assert seen.page.evaluate("getComputedStyle(document.body).backgroundColor") == (
        "rgb(20, 23, 27)")
    seen.page.emulate_media(color_scheme="light")
    assert seen.page.evaluate("getComputedStyle(document.body).backgroundColor") == (
        "rgb(255, 255, 255)")
    assert seen.errors == []


def test_the_first_tab_stop_skips_to_the_report(descent, opened):
    seen = opened(descent / "report.html")
    seen.page.keyboard.press("Tab")
    assert seen.page.evaluate("document.activeElement.className") == "skip"
    seen.page.keyboard.press("Enter")
    assert seen.page.evaluate("document.activeElement.id") == "main"


BAD = "<img src=x onerror=alert(1)>"


def test_hostile_names_neither_run_nor_break_the_page(opened, tmp_path):
    rows = (SAMPLES / "descent_through_mmo_and_vmo.csv").read_text(encoding="utf-8").splitlines()
    speed = "IAS </script><script>alert(2)</script> [kt]"
    header = rows[0].replace("IAS [kt]", speed)
    assert header != rows[0]
    log = tmp_path / f"{BAD}&amp;'\u202egnp.csv"
    log.write_text("\n".join([header, *rows[1:2001]]) + "\n", encoding="utf-8")
    columns = tmp_path / "columns.toml"
    columns.write_text(f'[columns]\nindicated_airspeed = {{ column = {json.dumps(speed)}, '
                       'unit = "kt" }\n', encoding="utf-8")
    sheet = tmp_path / "limits.toml"
    sheet.write_text((SAMPLES / "ouzelwing_240.toml").read_text(encoding="utf-8").replace(
        '"Ouzelwing 240, an invented twin turboprop"',
        "'</title></style><script>alert(3)</script> $x^2$'").replace(
        '"MMO"', "'\"><svg onload=alert(4)> MMO $'"), encoding="utf-8")
    folder = report_on(log, tmp_path / "out", sheet, columns)
    seen = opened(folder / "report.html")
    page = seen.page
    page.get_by_label("Go to").select_option(index=1)
    page.locator(".more summary").click()
    for box in page.locator(".more-list input").all():
        box.check()
    page.wait_for_timeout(300)
    assert seen.dialogs == []
    assert seen.errors == []
    assert page.locator("svg:not(.ruler), img:not([src^='data:image/png;base64,'])").count() == 0
    assert page.evaluate("document.querySelectorAll('script:not([type])').length") == 5
    assert page.title().endswith("'\\u202egnp.csv · 2031-03-05")
    assert f"</title></style><script>alert(3)</script> $x^2$ · {BAD}" in page.title()
    assert page.locator("section").count() == page.locator("nav li").count()
    assert speed in page.locator("#quality").text_content()
    assert '"><svg onload=alert(4)> MMO $' in page.locator("#found").text_content()
