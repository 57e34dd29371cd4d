"""The pages printed from the browser: no heading alone at the foot of a page, none half empty."""

from __future__ import annotations

import io
import unicodedata

import pypdf
import pytest

from .test_index_and_comparison import comparison, index  # noqa: F401

FOOT_PT = 44.0
"""The margin at the foot of a page [pt], where its number stands."""
LEAST_FILLED = 0.5
"""A page's lowest line stands in its lower half, but on the last one and before a forced break."""


def flat(text: str) -> str:
    return "".join(unicodedata.normalize("NFKC", text).split()).casefold()


def headings_of(seen) -> set[str]:
    """What must not stand last on a page: headings, captions of tables, and their columns."""
    found = seen.page.eval_on_selector_all(
        "h1, h2, h3, caption, thead tr", "all => all.map((one) => one.textContent)")
    return {flat(text) for text in found if text.strip()}


def heights(page) -> tuple[list[float], list[float]]:
    """Where each line of text stands, and the lower edge of each picture, from below [pt]."""
    lines, pictures = [], []

    def text(said, cm, tm, font, size):
        at = tm[5] * cm[3] + cm[5]
        if said.strip() and at > FOOT_PT:
            lines.append(at)

    def before(operator, operands, cm, tm):
        if operator == b"Do":
            pictures.append(min(cm[5], cm[5] + cm[3]))

    page.extract_text(visitor_text=text, visitor_operand_before=before)
    return lines, pictures


def lowest(page) -> float:
    """The lowest line of text or edge of a picture, as a share of the page from above."""
    lines, pictures = heights(page)
    return 1 - min([*lines, *pictures]) / float(page.mediabox.height)


def ends_in_a_heading(page, headings) -> str:
    """The last words of a page where they are a heading's with no picture below, else nothing."""
    lines, pictures = heights(page)
    if pictures and min(pictures) < min(lines):
        return ""
    text = flat(page.extract_text())
    return next((one for one in headings if text.endswith(one) and len(one) > 3), "")


@pytest.mark.parametrize(("which", "paper"), [
    ("descent", "A4"), ("index", "A4"), ("comparison", "A4"), ("comparison", "Letter")])
def test_no_heading_ends_a_page_and_no_page_is_half_empty(which, paper, request, opened):
    made = request.getfixturevalue(which)
    flight = made.is_dir()
    seen = opened(made / "report.html" if flight else made,
                  ready="#chart[data-ready]" if flight else "main", color_scheme="light")
    headings = headings_of(seen)
    pdf = pypdf.PdfReader(io.BytesIO(seen.page.pdf(format=paper)))
    assert len(pdf.pages) >= (4 if flight else 1)
    forced = flat(seen.page.inner_text("#glance h2")) if flight else "no page is forced"
    for i, page in enumerate(pdf.pages[:-1]):
        assert ends_in_a_heading(page, headings) == "", f"page {i + 1}"
        if not flat(pdf.pages[i + 1].extract_text()).startswith(forced):
            assert lowest(page) >= LEAST_FILLED, f"page {i + 1}"


def test_the_check_finds_an_orphaned_heading_and_a_half_empty_page(opened, tmp_path):
    page = tmp_path / "bad.html"
    page.write_text("<!doctype html><html lang=en><title>x</title><main><p>Words.</p>"
                    "<h2 style='break-after: page'>A heading</h2><p>More.</p></main>")
    seen = opened(page, ready="main")
    first = pypdf.PdfReader(io.BytesIO(seen.page.pdf(format="A4"))).pages[0]
    assert ends_in_a_heading(first, headings_of(seen)) == "aheading"
    assert lowest(first) < LEAST_FILLED
