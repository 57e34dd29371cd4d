"""A lesson's page in a browser: nothing serious to those who can't see it, and it fits a phone."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest

from loganalyze import analyze, assess_flight, read_limits, read_log
from loganalyze.show.lesson.lesson_folder import write_lesson
from loganalyze.training import assess_lesson, read_schedule, with_school_ceilings

from .conftest import SAMPLES

AXE = Path(__file__).parent / "axe.min.js"


@pytest.fixture(scope="module")
def page_of(tmp_path_factory, browser):
    """A function that opens the page of the first try, beside the demonstration."""
    schedule = read_schedule(SAMPLES / "lesson" / "schedule.toml")
    sheet = with_school_ceilings(read_limits(SAMPLES / "ouzelwing_240.toml"), schedule)
    shown, tried = (assess_lesson(assess_flight(analyze(read_log(
        SAMPLES / "lesson" / f"{name}.csv"), sheet)), schedule)
        for name in ("demonstration", "first_try"))
    folder = tmp_path_factory.mktemp("lesson") / "out"
    write_lesson(tried, folder, demonstration=shown)
    opened = []

    def go(**context):
        made = browser.new_context(**context)
        opened.append(made)
        page = made.new_page()
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda said: errors.append(said.text)
                if said.type in ("error", "warning") else None)
        page.goto((folder / "lesson.html").as_uri())
        return page, errors

    yield go
    for one in opened:
        one.close()


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 380)])
def test_axe_finds_nothing_with_all_unfolded(page_of, scheme, width):
    page, errors = page_of(color_scheme=scheme, viewport={"width": width, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.evaluate(
        "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
    assert found == []
    assert errors == []


def test_the_page_prints_what_it_shows(page_of):
    page, _ = page_of()
    pdf = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4")))
    text = " ".join(" ".join(one.extract_text() for one in pdf.pages).split())
    assert "Worth looking at together" in text
    assert "no basis for a sanction" in text
    assert sum(len(one.images) for one in pdf.pages) >= 2
