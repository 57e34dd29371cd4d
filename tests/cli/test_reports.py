"""``analyze --report``: which files, for whom, and whole or not at all."""

import re

import pytest

from loganalyze.cli import group
from loganalyze.show.files import report_formats
from loganalyze.show.files.report_formats import ReportFormat

from .conftest import write_log


def page_of(folder) -> str:
    return (folder / "report.html").read_text(encoding="utf-8")


def test_a_page_a_pdf_or_both(run, fast, sheet, tmp_path):
    for wanted, files in (("html", {"report.html"}), ("pdf", {"report.pdf"}),
                          ("both", {"report.html", "report.pdf"})):
        done = run("analyze", fast, "--limits", sheet, "--out", tmp_path / wanted, "--report",
                   wanted)
        assert done.code == 0
        folder = tmp_path / wanted / "fast"
        assert {path.name for path in folder.glob("report*")} == files
        assert (folder / "samples.parquet").exists()
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert page_of(folder).startswith("<!doctype html>")


def test_no_report_unless_asked_for(run, fast, sheet, tmp_path):
    assert run("analyze", fast, "--limits", sheet, "--out", tmp_path / "out").code == 0
    assert list((tmp_path / "out" / "fast").glob("report*")) == []


def test_reader_units_and_de_identification_reach_the_report(run, fast, sheet, tmp_path):
    assert run("analyze", fast, "--limits", sheet, "--out", tmp_path / "out", "--report", "html",
               "--for", "crew", "--units", "kmh-m", "--deidentify").code == 0
    page = page_of(tmp_path / "out" / "debrief")
    assert "<h1>Flight debrief: airspeed and Mach limits</h1>" in page
    assert re.search(r"9\.3 km/h over", page)
    for hidden in ("fast.csv", "an invented twin", "limits.toml"):
        assert hidden not in page


@pytest.mark.parametrize(("options", "sentence"), [
    (["--report", "html"], "--report needs --out"),
    (["--report", "html", "--out", "X", "--deidentify", "--clock", "utc"], "exclude each other"),
    (["--report", "odt", "--out", "X"], "is not one of"),
    (["--report", "html", "--out", "X", "--for", "passengers"], "is not one of"),
])
def test_options_that_make_no_sense_are_refused(run, fast, sheet, options, sentence):
    done = run("analyze", fast, "--limits", sheet, *options)
    assert done.code == 2
    assert sentence in done.err
    assert "Traceback" not in done.err


def test_each_flight_of_a_log_has_its_own(run, sheet, tmp_path):
    log = write_log(tmp_path / "two.csv", [200] * 30)
    with log.open("a") as stream:
        stream.writelines(f"{t},5000,250,4\n" for t in range(9000, 9030))
    assert run("analyze", log, "--limits", sheet, "--declare", "flap_deg=0", "--out",
               tmp_path / "out", "--report", "html").code == 0
    folder = tmp_path / "out" / "two"
    assert sorted(path.name for path in folder.glob("report*")) == ["report-2.html",
                                                                   "report.html"]
    assert "No limit was exceeded" in page_of(folder)
    second = (folder / "report-2.html").read_text(encoding="utf-8")
    assert "VMO was exceeded" in second
    assert "flight 2 of the log" in second


def test_a_report_that_fails_leaves_nothing_behind(run, fast, sheet, tmp_path):
    def full(*_):
        raise OSError(28, "No space left on device")

    failing = ReportFormat("failing", full)
    report_formats.register(failing)
    try:
        done = run("analyze", fast, "--limits", sheet, "--out", tmp_path / "out", "--report",
                   "failing")
    finally:
        report_formats.withdraw(failing)
    assert done.code == 2
    assert "No space left on device" in done.err
    assert list((tmp_path / "out").iterdir()) == []


def test_the_help_says_that_de_identify_holds_for_all_that_is_written():
    command = group.get_command(None, "analyze")
    (option,) = [one for one in command.params if one.name == "deidentify"]
    assert "all that is written" in option.help
