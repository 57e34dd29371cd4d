"""The pages without a chart, in a browser: the index of a log's flights, and two side by side."""

from __future__ import annotations

from pathlib import Path

import pytest

import loganalyze
from loganalyze import cli

from .conftest import SAMPLES

HERE = Path(__file__).parent
SHEET = SAMPLES / "ouzelwing_240.toml"


@pytest.fixture(scope="module")
def index(tmp_path_factory) -> Path:
    """The index of a log of three flights, of which the second exceeds VMO."""
    folder = tmp_path_factory.mktemp("several")
    rows = ["UTC,Pressure Altitude [ft],CAS [kt],OAT [degC]\n"]
    for hour, fastest in ((8, 240), (11, 268), (14, 230)):
        for i in range(300):
            speed = fastest - 0.2 * abs(i - 150) + 0.1 * (i % 3)
            rows.append(f"2031-03-05T{hour:02d}:{i // 60:02d}:{i % 60:02d}Z,{5000 + 3 * i},"
                        f"{speed:.1f},5\n")
    log = folder / "a_day_of_three_flights_with_a_long_name.csv"
    log.write_text("".join(rows))
    with pytest.raises(SystemExit) as done:
        cli.main(["analyze", str(log), "--limits", str(SHEET), "--out", str(folder / "out"),
                  "--report", "html"])
    assert done.value.code in (0, 3)
    found, = (folder / "out").rglob("index.html")
    return found


@pytest.fixture(scope="module")
def comparison(tmp_path_factory) -> Path:
    """The page of a clean flight and one with two exceedances."""
    sheet = loganalyze.read_limits(SHEET)
    flights = [loganalyze.analyze(loganalyze.read_log(SAMPLES / f"{name}.csv"), sheet)
               for name in ("clean_flight", "descent_through_mmo_and_vmo")]
    folder = tmp_path_factory.mktemp("comparison") / "out"
    return loganalyze.write_comparison(loganalyze.compare(*flights), folder)[0]


@pytest.fixture(params=["index", "comparison"])
def page(request) -> Path:
    return request.getfixturevalue(request.param)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_nothing_runs_over_the_edge(page, opened, scheme):
    seen = opened(page, color_scheme=scheme, ready="main")
    axe = (HERE / "axe.min.js").read_text(encoding="utf-8")
    for width in (1440, 820, 390):
        seen.page.set_viewport_size({"width": width, "height": 900})
        seen.page.evaluate(axe)
        found = seen.page.evaluate("""async () => (await axe.run()).violations.map(
            (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
        assert found == [], width
        assert seen.page.evaluate(
            "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth"), width
    assert seen.errors == []
    assert [url for url in seen.requests if not url.startswith(("file:", "data:"))] == []


@pytest.mark.parametrize("context", [{"forced_colors": "active"}, {"reduced_motion": "reduce"}])
def test_forced_colours_and_reduced_motion_change_no_word(page, opened, context):
    plain = opened(page, ready="main").page.inner_text("main")
    seen = opened(page, ready="main", **context)
    assert seen.page.inner_text("main") == plain
    for row in seen.page.locator("main table tbody tr").all():
        assert row.is_visible()
    assert seen.errors == []


def test_each_flight_of_the_index_leads_to_its_page(index, opened):
    seen = opened(index, ready="main")
    links = seen.page.locator("main table a").all()
    assert len(links) == 3
    places = [link.evaluate("one => one.href") for link in links]
    for i, place in enumerate(places, 1):
        seen.page.goto(place)
        assert seen.page.locator("h1").is_visible()
        assert (f"flight {i}" in seen.page.inner_text("header")) or i == 1
        assert ("VMO was exceeded" in seen.page.inner_text("#verdict")) == (i == 2)
    assert seen.errors == []
    assert seen.failures == []


def test_no_link_of_a_page_leads_nowhere(page, opened):
    seen = opened(page, ready="main")
    lost = seen.page.evaluate("""() => [...document.querySelectorAll('a[href^="#"]')].filter(
        (one) => !document.getElementById(one.hash.slice(1))).map((one) => one.hash)""")
    assert lost == []
    assert seen.page.locator("nav a").count() >= 1


def test_the_index_breaks_neither_a_flight_nor_a_date(index, opened):
    seen = opened(index, width=390, ready="main")
    lines = seen.page.eval_on_selector_all(
        "main .whole",
        "cells => cells.map((one) => { const range = document.createRange();"
        " range.selectNodeContents(one); return new Set([...range.getClientRects()].map("
        "(box) => Math.round(box.top / 4))).size; })")
    assert lines == [1] * 6  # the number and the date of each of three flights


def test_the_pictures_of_a_comparison_fill_a_phone(comparison, opened):
    seen = opened(comparison, width=390, ready="main")
    widths = seen.page.eval_on_selector_all(
        "main img", "all => all.map((one) => one.getBoundingClientRect().width)")
    assert len(widths) == 2
    assert all(330 <= width <= 390 for width in widths)
