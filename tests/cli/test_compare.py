"""The command that lays two flights side by side."""

from __future__ import annotations

import json
from pathlib import Path

import pypdf
import pytest

SAMPLES = Path(__file__).parents[2] / "sample_logs"
A, B = SAMPLES / "clean_flight.csv", SAMPLES / "descent_through_mmo_and_vmo.csv"
SHEET = SAMPLES / "ouzelwing_240.toml"


def test_it_prints_what_differs_and_writes_the_folder(run, tmp_path):
    answer = run("compare", A, B, "--limits", SHEET, "--out", tmp_path / "out")
    assert answer.code == 0
    assert "A was 4.1 kt under it and B 10.0 kt over" in answer.out
    (limits,) = [line for line in answer.out.splitlines() if line.startswith("Limits, in the")]
    assert "not exceeded" in limits
    assert limits.rstrip().endswith("exceeded")
    assert "Time with less than 5 kt" in answer.out
    assert (tmp_path / "out" / "comparison.html").is_file()


def test_the_json_is_that_of_the_folder(run, tmp_path):
    answer = run("compare", A, B, "--limits", SHEET, "--json", "--by", "descent",
                 "--out", tmp_path / "out")
    said = json.loads(answer.out)
    assert said["aligned_by"] == "descent"
    written = json.loads((tmp_path / "out" / "comparison.json").read_text())
    assert {key: written[key] for key in said} == said


@pytest.mark.parametrize(("options", "says"), [
    (("--mark-a", "100"), "both --mark-a and --mark-b"),
    (("--by", "altitude", "--mark-a", "1", "--mark-b", "2"), "--by instant"),
    (("--flight-b", "7"), "no flight 7"),
    (("--mark-a", "1", "--mark-b", "999999"), "outside the flight"),
])
def test_what_cannot_be_compared_is_said_in_one_sentence(run, options, says):
    answer = run("compare", A, B, "--limits", SHEET, *options)
    assert answer.code == 2
    assert says in answer.err
    assert "Traceback" not in answer.err


def test_a_pdf_holds_what_the_page_says(run, tmp_path):
    answer = run("compare", A, B, "--limits", SHEET, "--out", tmp_path / "out", "--report", "both",
                 "--paper", "Letter")
    assert answer.code == 0, answer.err
    assert (tmp_path / "out" / "comparison.html").is_file()
    pdf = pypdf.PdfReader(tmp_path / "out" / "comparison.pdf")
    text = "\n".join(page.extract_text() for page in pdf.pages)
    assert "A was 4.1 kt under it and B 10.0 kt over" in text
    assert round(pdf.pages[0].mediabox.width) == 612
    assert sum(len(page.images) for page in pdf.pages) == 2
