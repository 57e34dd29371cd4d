"""``loganalyze compare``: two flights side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from loganalyze.cli.shared_options import (
    FILE,
    Number,
    columns_option,
    declare_option,
    deidentify_option,
    json_option,
    limits_option,
    paper_option,
    parsed_states,
    print_json,
    report_option,
    say,
    states_in_si,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loganalyze.events.analysis import Analysis
    from loganalyze.show.pdf.pdf_sheet import Paper


FORMATS: dict[str, tuple[Literal["html", "pdf"], ...]] = {
    "html": ("html",), "pdf": ("pdf",), "both": ("html", "pdf")}


@click.command("compare")
@click.argument("first", type=FILE, metavar="A")
@click.argument("second", type=FILE, metavar="B")
@limits_option(required=True)
@click.option("--limits-b", type=FILE, metavar="SHEET",
              help="The limits sheet of B, where it is another one.")
@columns_option
@click.option("--by", type=click.Choice(["altitude", "descent", "instant"]),
              help="Align by pressure altitude in the descent (the default), by time from the top "
              "of descent, or by time from --mark-a and --mark-b.")
@click.option("--mark-a", type=Number(), metavar="S",
              help="The instant in A to align from [s from its first sample].")
@click.option("--mark-b", type=Number(), metavar="S", help="The instant in B.")
@click.option("--flight-a", type=click.IntRange(1), default=1, show_default=True, metavar="N",
              help="Which flight of A.")
@click.option("--flight-b", type=click.IntRange(1), default=1, show_default=True, metavar="N",
              help="Which flight of B.")
@click.option("--out", "-o", type=FILE, metavar="DIR",
              help="Write a page, its pictures, a table of the differences and JSON to DIR.")
@report_option("What is written to DIR, a page, a PDF, or both.", "html")
@paper_option("the PDF")
@click.option("--overwrite", is_flag=True, help="Replace an earlier comparison in DIR whole.")
@deidentify_option("Leave registration, date, file names and hashes out of all that is printed and "
                   "written.")
@units_option("what is printed and drawn; table and JSON stay in knots and feet")
@declare_option
@json_option
def command(
    first: Path, second: Path, limits: Path, limits_b: Path | None, columns: Path | None,
    by: str | None, mark_a: float | None, mark_b: float | None, flight_a: int, flight_b: int,
    out: Path | None, report: str, paper: Paper, overwrite: bool, deidentify: bool, units: str,
    declared: tuple[str, ...], as_json: bool,
) -> None:
    """Compare two flights, such as an instructor's demonstration A and a student's descent B.

    Both are judged by themselves; the comparison says where B had less margin than A.
    """
    given = [mark for mark in (mark_a, mark_b) if mark is not None]
    marks = given or None
    if given and by not in (None, "instant"):
        raise click.UsageError("--mark-a and --mark-b go with --by instant.")
    if (given or by == "instant") and len(given) != 2:
        raise click.UsageError("Aligned by an instant, both --mark-a and --mark-b are needed.")
    from loganalyze.comparison.flight_comparison import Alignment, compare
    from loganalyze.text.presentation import UNITS, Presentation

    chosen: dict[str | None, Alignment] = {"altitude": "altitude", "descent": "descent",
                                           "instant": "instant",
                                           None: "instant" if given else "altitude"}
    how = Presentation(units=UNITS[units], deidentified=deidentify)
    found = compare(_judged(first, limits, columns, declared, flight_a),
                    _judged(second, limits_b or limits, columns, declared, flight_b),
                    by=chosen[by], marks=marks)
    if out is not None:
        from loganalyze.show.comparison.comparison_folder import write_comparison

        write_comparison(found, out, how, overwrite=overwrite, paper=paper,
                         formats=FORMATS[report])
    if as_json:
        from loganalyze.show.comparison.comparison_folder import comparison_facts

        print_json(comparison_facts(found, how))
        return
    from loganalyze.show.comparison import comparison_report
    from loganalyze.show.terminal import log_inspection
    from loganalyze.text.language import comparison_words

    for line in comparison_report.sentences(found, how):
        say(line)
    rows = [("", *comparison_words.NAMES, comparison_words.COLUMNS["difference"]),
            *comparison_report.facts(found, how)]
    say("\n".join(["", *log_inspection.table(rows), *(
        ["", *comparison_report.notes(found, how)] if found.notes else [])]))
    if out is not None:
        say(comparison_words.WRITTEN.format(folder=out))


def _judged(log: Path, limits: Path, columns: Path | None, declared: Sequence[str], number: int
            ) -> Analysis:
    from loganalyze.events.analysis import analyze
    from loganalyze.read import read_flights
    from loganalyze.sheets.limits_sheet import read_limits

    sheet = read_limits(limits)
    states = states_in_si(parsed_states(declared), sheet)
    count = 0
    for count, flight in enumerate(read_flights(log, columns), 1):
        if count == number:
            return analyze(flight, sheet, declared=states, flight=number)
    raise Problem(f"the log holds {count} flights, and no flight {number}", str(log),
                  "give a smaller number")
