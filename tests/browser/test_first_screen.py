"""The first screen, and moving through a report: by key, button, wheel, finger and address."""

import json

import pytest

from .conftest import SAMPLES, report_on
from .test_page import HERE, drawn, read_out, row_of, samples, shown_span

assert samples is not None  # A fixture.

VIEW = """() => {
    const box = (one) => {
        const {top, bottom, left, right} = document.querySelector(one).getBoundingClientRect();
        return {top: top + scrollY, bottom: bottom + scrollY, left, right};
    };
    return {lead: box(".lead"), overview: box("#picture-overview img"), rows: box("#found tbody"),
            nav: box("nav"), main: box("main")};
}"""


def seconds(text: str) -> float:
    return sum(float(part) * unit for part, unit in zip(
        text.split(":"), (3600, 60, 1), strict=True))


def span(seen) -> tuple[float, float]:
    drawn(seen)
    start, end = map(seconds, shown_span(seen))
    return start, end


@pytest.fixture(scope="module")
def facts(descent):
    return json.loads((descent / "summary.json").read_text())["flights"][0]["exceedances"]


def test_verdict_picture_and_table_stand_above_the_fold(descent, opened):
    seen = opened(descent / "report.html", width=1440, height=900)
    at = seen.page.evaluate(VIEW)
    assert at["lead"]["bottom"] < at["overview"]["top"] < at["overview"]["bottom"] < (
        at["rows"]["top"])
    assert at["rows"]["bottom"] <= 900
    # Contents stand beside what they are of, not above it.
    assert at["nav"]["right"] <= at["main"]["left"]
    assert at["main"]["top"] < 80


def test_on_a_phone_they_stand_within_two_screens(descent, opened):
    seen = opened(descent / "report.html", width=390, height=844, reduced_motion="reduce")
    at = seen.page.evaluate(VIEW)
    assert at["rows"]["bottom"] <= 2 * 844
    assert at["overview"]["bottom"] <= 844
    assert at["nav"]["top"] > at["main"]["bottom"] - 1
    seen.page.get_by_role("link", name="Contents").click()
    assert seen.page.evaluate("document.querySelector('nav').getBoundingClientRect().top") < 844


def test_pictures_are_as_wide_as_a_phone_and_grow_on_request(descent, opened):
    seen = opened(descent / "report.html", width=390, height=844)
    widths = seen.page.eval_on_selector_all(
        "#exceedance-1 figure img", "all => all.map((one) => one.getBoundingClientRect().width)")
    assert all(350 < one <= 390 for one in widths)
    figure = seen.page.locator("#picture-panel-1")
    figure.get_by_role("button", name="Enlarge the picture").click()
    assert figure.locator("img").evaluate("one => one.getBoundingClientRect().width") > 600
    assert seen.page.evaluate(
        "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth")
    figure.get_by_role("button", name="Fit the picture").click()
    assert figure.locator("img").evaluate("one => one.getBoundingClientRect().width") <= 390


def test_method_is_folded_and_prints(descent, opened):
    seen = opened(descent / "report.html")
    hidden = seen.page.locator("#method h3").first
    assert not hidden.is_visible()
    seen.page.locator("nav a[href='#method']").click()
    assert hidden.is_visible()


def test_rows_sort_by_each_column(descent, opened, facts):
    seen = opened(descent / "report.html")

    def order() -> list[str]:
        return seen.page.locator("#found tbody tr th").all_text_contents()

    assert order() == ["1", "2"]
    head = seen.page.locator("#found thead")
    head.get_by_role("button", name="Span").click()
    longest = sorted((1, 2), key=lambda i: facts[i - 1]["duration_s"])
    assert order() == list(map(str, longest))
    head.get_by_role("button", name="Span").click()
    assert order() == list(map(str, longest[::-1]))
    assert seen.page.locator("#found th[aria-sort='descending']").text_content() == "Span"
    head.get_by_role("button", name="No.").click()
    assert order() == ["1", "2"]


def test_every_row_leads_to_the_chart_with_the_cursor_on_the_worst(descent, opened, samples,
                                                                    facts):
    seen = opened(descent / "report.html", reduced_motion="reduce")
    for number, one in enumerate(facts, start=1):
        seen.page.locator(f"#found tbody tr:nth-child({number}) td a").click()
        assert samples["time_s"][row_of(seen, samples)] == one["worst_time_s"]
        start, end = span(seen)
        assert start < one["start_s"] < one["end_s"] < end + 1
        assert seen.page.evaluate("location.hash") == f"#exceedance={number}"
        top = seen.page.locator("#chart").evaluate("one => one.getBoundingClientRect().top")
        assert -5 < top < 300
    assert seen.errors == []


def test_an_address_opens_an_exceedance_or_a_view(descent, opened, samples, facts):
    seen = opened(descent / "report.html")
    link = seen.page.get_by_role("link", name="Link to this view")
    seen.page.get_by_role("button", name="Next exceedance").click()
    seen.page.get_by_role("button", name="Zoom in").click()
    before, row = span(seen), row_of(seen, samples)
    view = link.get_attribute("href")
    assert view.startswith("#view=")
    path = descent / "report.html"
    other = opened(path)
    other.page.goto(path.as_uri() + view)
    other.page.reload()
    other.page.wait_for_selector("#chart[data-ready]")
    assert span(other) == pytest.approx(before, abs=1)
    assert row_of(other, samples) == row
    other.page.goto(path.as_uri() + "#exceedance=2")
    assert samples["time_s"][row_of(other, samples)] == facts[1]["worst_time_s"]
    # What leads nowhere does nothing.
    for wrong in ("#exceedance=9", "#view=a,b,c", "#view=1"):
        other.page.goto(path.as_uri() + wrong)
        assert samples["time_s"][row_of(other, samples)] == facts[1]["worst_time_s"]
    assert other.errors == []


def test_previous_and_next_by_button_and_key(descent, opened, samples, facts):
    seen = opened(descent / "report.html")

    def at() -> float:
        return samples["time_s"][row_of(seen, samples)]

    first, second = (one["worst_time_s"] for one in facts)
    seen.page.get_by_role("slider").press("Home")
    seen.page.get_by_role("button", name="Next exceedance").click()
    assert at() == first
    seen.page.get_by_role("button", name="Next exceedance").click()
    assert at() == second
    seen.page.get_by_role("button", name="Previous exceedance").click()
    assert at() == first
    seen.page.keyboard.press("n")
    assert at() == second
    seen.page.keyboard.press("p")
    assert at() == first
    # A key pressed elsewhere does nothing.
    seen.page.locator("#main").focus()
    seen.page.keyboard.press("n")
    assert at() == first


def test_the_wheel_zooms_about_the_mouse(descent, opened):
    seen = opened(descent / "report.html")
    over = seen.page.locator(".u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    seen.page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 40)
    seen.page.keyboard.down("Control")
    seen.page.mouse.wheel(0, -200)
    seen.page.keyboard.up("Control")
    seen.page.wait_for_timeout(100)
    start, end = span(seen)
    assert end - start == pytest.approx(1019.75 * 2.718281828 ** -0.4, abs=3)
    assert start + 0.25 * (end - start) == pytest.approx(0.25 * 1019.75, abs=3)
    seen.page.keyboard.down("Shift")
    seen.page.mouse.wheel(0, 100)
    seen.page.keyboard.up("Shift")
    seen.page.wait_for_timeout(100)
    assert span(seen)[0] > start
    # Without a key the wheel scrolls the page.
    before, top = span(seen), seen.page.evaluate("scrollY")
    seen.page.mouse.wheel(0, 150)
    seen.page.wait_for_timeout(300)
    assert span(seen) == before
    assert seen.page.evaluate("scrollY") > top


def test_two_fingers_zoom_and_one_reads(descent, opened, samples):
    seen = opened(descent / "report.html", width=390, height=844, has_touch=True, is_mobile=True)
    over = seen.page.locator(".u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    session = seen.page.context.new_cdp_session(seen.page)

    def touch(kind: str, *shares: float) -> None:
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [
            {"x": box["x"] + share * box["width"], "y": box["y"] + 60, "id": i}
            for i, share in enumerate(shares)]})

    touch("touchStart", 0.4, 0.6)
    for spread in (0.15, 0.2, 0.25, 0.3):
        touch("touchMove", 0.5 - spread, 0.5 + spread)
    touch("touchEnd")
    start, end = span(seen)
    assert end - start == pytest.approx(1019.75 / 3, rel=0.05)
    assert (start + end) / 2 == pytest.approx(510, abs=8)
    touch("touchStart", 0.2)
    touch("touchMove", 0.4)
    touch("touchMove", 0.8)
    touch("touchEnd")
    assert samples["time_s"][row_of(seen, samples)] == pytest.approx(
        start + 0.8 * (end - start), abs=3)
    assert span(seen) == (start, end)
    assert seen.page.locator(".with-finger").is_visible()
    assert not seen.page.locator(".with-mouse").is_visible()


def test_phases_stand_under_the_time_axis(descent, opened, samples):
    seen = opened(descent / "report.html")
    drawn(seen)
    phases = [name for i, name in enumerate(samples["phase"])
              if i == 0 or name != samples["phase"][i - 1]]
    parts = seen.page.locator(".phases span")
    assert [one.get_attribute("title") for one in parts.all()] == phases
    over = seen.page.locator(".u-over").first.bounding_box()
    change = next(i for i, name in enumerate(samples["phase"]) if name != phases[0])
    edge = parts.nth(1).bounding_box()["x"]
    share = samples["time_s"][change] / samples["time_s"][-1]
    assert edge == pytest.approx(over["x"] + share * over["width"], abs=2)
    seen.page.get_by_role("button", name="Next exceedance").click()
    drawn(seen)
    row = row_of(seen, samples)
    assert samples["phase"][row] in [one.get_attribute("title") for one in parts.all()]


def test_what_was_over_has_an_edge_besides_the_tint(descent, opened, facts):
    seen = opened(descent / "report.html")
    drawn(seen)
    found = seen.page.evaluate("""() => {
        const canvas = document.querySelectorAll(".plot canvas")[1], pen = canvas.getContext("2d");
        const over = document.querySelectorAll(".u-over")[1];
        // At the top, where no trace runs.
        const y = over.offsetTop + 3, row = pen.getImageData(0, y, canvas.width, 1);
        const dark = [];
        for (let x = 0; x < canvas.width; x++) {
          if (row.data.slice(4 * x, 4 * x + 4).join() === "163,71,0,255") dark.push(x);
        }
        return {dark, left: over.offsetLeft, wide: over.clientWidth};
    }""")
    for one in facts:
        for edge in (one["start_s"], one["end_s"]):
            x = found["left"] + edge / 1019.75 * found["wide"]
            assert min(abs(x - dark) for dark in found["dark"]) < 2


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1440, 820, 390])
def test_axe_finds_nothing_where_all_is_unfolded(descent, opened, scheme, width):
    seen = opened(descent / "report.html", color_scheme=scheme, width=width)
    seen.page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    seen.page.evaluate((HERE / "axe.min.js").read_text(encoding="utf-8"))
    found = seen.page.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
    assert found == []


@pytest.mark.parametrize("context", [{"forced_colors": "active"}, {"reduced_motion": "reduce"}])
def test_it_runs_with_forced_colours_and_reduced_motion(descent, opened, context, samples):
    seen = opened(descent / "report.html", **context)
    seen.page.get_by_role("button", name="Next exceedance").click()
    assert read_out(seen)["state"][0] == "over"
    assert seen.page.locator(".ruler").is_visible()
    assert seen.errors == []


def test_a_clean_flight_has_no_exceedance_to_go_to(opened, tmp_path):
    folder = report_on(SAMPLES / "clean_flight.csv", tmp_path / "out")
    seen = opened(folder / "report.html", width=1440, height=900)
    assert seen.page.get_by_role("button", name="Next exceedance").count() == 0
    assert seen.page.locator("#picture-overview img").is_visible()
    assert seen.errors == []
