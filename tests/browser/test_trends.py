"""The page of a fleet's trends in a browser: nothing that assistive technology stumbles over."""

from __future__ import annotations

from pathlib import Path

import pytest

import loganalyze
from loganalyze.simulate import Behaviour, write_fleet

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def trends(tmp_path_factory) -> Path:
    """The page of a small simulated fleet that is flown close to its limits."""
    folder = tmp_path_factory.mktemp("fleet")
    write_fleet(folder, 24, aircraft=3, seed=4, behaviour=Behaviour(margin_kt=3, days=90))
    loganalyze.run_fleet([str(folder / "logs")], folder / "store", fleet=folder / "fleet.toml",
                         workers=0, samples="none")
    return loganalyze.write_trends(
        folder / "store", loganalyze.TrendFiles(page=folder / "trends.html"))[0]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1440])
def test_axe_finds_nothing(trends, opened, scheme, width):
    seen = opened(trends, width=width, color_scheme=scheme, ready=None)
    for summary in seen.page.locator("summary").all():
        summary.click()
    seen.page.evaluate((HERE / "axe.min.js").read_text(encoding="utf-8"))
    found = seen.page.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
    assert [one for one in found if one[0] in ("serious", "critical", "moderate")] == []
    assert seen.page.evaluate(
        "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth")
    assert seen.errors == []
    assert [one for one in seen.requests if not one.startswith(("file:", "data:"))] == []


def test_a_number_of_episodes_opens_its_flights(trends, opened):
    seen = opened(trends, ready=None)
    link = seen.page.locator("a[href^='#flights-whole']").first
    count = int(link.text_content())
    assert count > 0
    link.click()
    keys = seen.page.locator("#behind-whole tbody th")
    assert keys.first.is_visible()
    assert 0 < keys.count() <= count
