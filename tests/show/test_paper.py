"""The report on paper, read back with another library."""

import io
import re

import pypdf
import pytest
from PIL import Image

from loganalyze import Picture as Figure
from loganalyze.show.files import report_formats
from loganalyze.show.report.report_blocks import (
    Bullets,
    Caution,
    Column,
    KeyValues,
    Link,
    Paragraph,
    Picture,
    Report,
    Section,
    Stretch,
    Subheading,
    Table,
)

HASH = "0123456789abcdef" * 4


def report_pdf(report, paper="A4", drawn=None):
    return report_formats.named("pdf").make(report, paper, drawn)


def png_of(figure):
    """A PNG of few colours without transparency, as a report's pictures are."""
    stream, small = io.BytesIO(), io.BytesIO()
    figure.savefig(stream, format="png", dpi=160)
    Image.open(stream).convert("RGB").quantize(32).save(small, "png")
    return small.getvalue()


def drawing():
    figure = Figure(figsize=(7, 4))
    figure.add_subplot().plot([0, 1], [0, 1])
    return figure


FIGURE = Picture("rise", drawing, "a line that rises", "A line, rising.")


def made(*sections, **others):
    return Report(**{"title": "Debrief", "subtitle": "an invented twin", "sections": sections,
                     "footer": "made.csv", "log_sha256": HASH} | others)


def pages_of(report, paper="A4", **others):
    return pypdf.PdfReader(io.BytesIO(report_pdf(report, paper, **others)))


def text_of(pdf):
    return "\n".join(page.extract_text() for page in pdf.pages)


EVERYTHING = Section("all", "All there is", (
    Subheading("A heading inside"),
    Paragraph("What is read first.", "lead"), Paragraph("Running text."),
    Paragraph("Small print.", "note"), Bullets(("One thing.", "Another thing.")),
    KeyValues((("rate", "4 Hz"), ("limits", "sheet.toml"))),
    Table("Rows of words.", (Column("limit", heads_row=True), Column("excess", numeric=True)),
          (("VMO", "4.2 kt"), (Link("MMO", "end"), "1.0 kt"))),
    Caution("Mind", ("A flag is not proof.", "Its absence is no clearance.")),
    FIGURE, Stretch(0.0, 1.0)))
END = Section("end", "The end", (Paragraph("Done."),), new_page=True)


def test_every_block_is_printed_as_text_that_can_be_selected():
    text = text_of(pages_of(made(EVERYTHING, END)))
    for words in ("A heading inside", "What is read first.", "Running text.", "Small print.",
                  "One thing.", "rate", "4 Hz", "Rows of words.", "VMO", "4.2 kt", "MMO", "Mind",
                  "A flag is not proof.", "A line, rising.", "Done."):
        assert words in text


def test_bookmarks_lead_to_the_sections():
    pdf = pages_of(made(EVERYTHING, END))
    assert [(one.title, pdf.get_destination_page_number(one)) for one in pdf.outline] == [
        ("All there is", 0), ("The end", 1)]


def test_each_page_carries_its_number_and_the_whole_hash():
    pdf = pages_of(made(EVERYTHING, END))
    for number, page in enumerate(pdf.pages, 1):
        text = page.extract_text()
        assert f"page {number} of 2" in text
        assert HASH in text
        assert "made.csv" in text


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_both_papers_have_their_size(paper, size):
    box = pages_of(made(END), paper).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_another_paper_is_refused():
    with pytest.raises(ValueError, match="A4, Letter"):
        report_pdf(made(END), "A3")


def test_what_is_not_for_paper_is_left_out():
    hidden = Section("screen", "On the screen", (Paragraph("Not here."),), on_paper=False)
    text = text_of(pages_of(made(hidden, END)))
    assert "Not here." not in text
    assert "Done." in text


def test_the_same_report_gives_the_same_bytes():
    assert report_pdf(made(EVERYTHING, END)) == report_pdf(made(EVERYTHING, END))


def test_all_fonts_are_in_the_file():
    pdf = pages_of(made(EVERYTHING, END))
    fonts = {name: font.get_object() for page in pdf.pages
             for name, font in page["/Resources"]["/Font"].items()}
    assert fonts
    for font in fonts.values():
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor


def test_a_picture_drawn_before_is_not_drawn_again():
    png = png_of(drawing())

    def never():
        raise AssertionError("drawn twice")

    section = Section("p", "Picture", (Picture("rise", never, "words"),))
    pdf = pages_of(made(section), drawn=lambda picture: png)
    assert len(pdf.pages[0].images) == 1


def test_a_long_table_repeats_its_headings_and_keeps_every_row():
    rows = tuple((f"limit {chr(65 + i % 26)}", f"{i}.0 kt") for i in range(150))
    table = Table("", (Column("limit", heads_row=True), Column("excess", numeric=True)), rows)
    pdf = pages_of(made(Section("t", "Long", (table,))))
    assert len(pdf.pages) > 2
    for page in pdf.pages:
        assert "excess" in page.extract_text()
    found = [int(number) for number in re.findall(r"(\d+)\.0 kt", text_of(pdf))]
    assert found == list(range(150))


def test_a_heading_is_not_left_alone_at_the_foot_of_a_page():
    filler = Section("f", "Filler", tuple(Paragraph("Words.") for _ in range(38)))
    pdf = pages_of(made(filler, Section("n", "Next one", (Paragraph("Its text."),))))
    for page in pdf.pages:
        text = page.extract_text()
        assert ("Next one" in text) == ("Its text." in text)


@pytest.mark.parametrize("hostile", [
    "<script>alert(1)</script>", "**bold** __under__ --strike--", "a\x00b\x1b[31m\u202e",
    "\N{CJK UNIFIED IDEOGRAPH-98DB}\N{AIRPLANE}\N{GRINNING FACE}", "x" * 400, "{nb}",
    "(\\) Tj ET", ""])
def test_hostile_text_neither_runs_nor_breaks_the_page(hostile):
    table = Table(hostile, (Column(hostile or "c"),), ((hostile,),))
    pdf = pages_of(made(
        Section("h", hostile or "t", (Paragraph(hostile), Bullets((hostile,)), table,
                                      KeyValues(((hostile, hostile),)))),
        subtitle=hostile, footer=hostile))
    assert "/JavaScript" not in str(pdf.trailer["/Root"])
    if hostile.startswith(("<script", "**")):
        assert hostile in text_of(pdf)
