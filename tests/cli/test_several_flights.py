"""A log of several flights: each on its own clock, in every form of the results."""

from __future__ import annotations

import csv
import json
import re

import pypdf
import pytest

from .conftest import SHEET

DAY_S = 86400


@pytest.fixture
def two_flights(tmp_path):
    """Two flights of 50 s, a day apart; the second is over VMO from about 20 s on."""
    speeds = [200.0] * 50, [230.0] * 20 + [250.0] * 10 + [230.0] * 20
    rows = [(start + i, speed) for start, some in zip((0, DAY_S), speeds, strict=True)
            for i, speed in enumerate(some)]
    path = tmp_path / "week.csv"
    path.write_text("Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC]\n" + "".join(
        f"{time},{5000 + 10 * (time % 3)},{speed + 0.1 * (time % 2)},4\n" for time, speed in rows))
    sheet = tmp_path / "limits.toml"
    sheet.write_text(SHEET)
    return path, sheet


def text_of(path) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def test_times_count_from_each_flights_own_start(run, two_flights, tmp_path):
    log, sheet = two_flights
    done = run("analyze", log, "--limits", sheet, "--out", tmp_path / "out", "--report", "both",
               "--plot-format", "svg")
    assert done.code == 0, done.err
    folder = tmp_path / "out" / "week"
    (row,) = csv.DictReader((folder / "exceedances.csv").read_text().splitlines())
    assert float(row["start_s"]) == pytest.approx(DAY_S + 19.7, abs=0.3)
    assert float(row["flight_start_s"]) == DAY_S
    flight = json.loads((folder / "summary.json").read_text())["flights"][1]
    texts = {
        "terminal": done.out, "quiet": run("analyze", "-q", log, "--limits", sheet).out,
        "verdict": flight["verdict"],
        "page": (folder / "report-2.html").read_text(encoding="utf-8"),
        "paper": text_of(folder / "report-2.pdf"),
        "picture": re.sub(r"<path.*?/>", "", (folder / "margin-2.svg").read_text(), flags=re.S),
    }
    for form, text in texts.items():
        assert not re.search(r"\b2[34]:\d\d:\d\d", text), form
    for form in texts:
        assert "0:00:2" in texts[form], form
    about = json.loads(re.search(r'id="chart-about">(.*?)</script>', texts["page"])[1])
    assert about["origin"] == DAY_S


def rows_of(page: str) -> list[list[str]]:
    body = page[page.index("<tbody"):page.index("</tbody>")]
    return [[re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
            for row in body.split("</tr>")[:-1]]


def test_an_index_leads_to_each_flight(run, two_flights, tmp_path):
    log, sheet = two_flights
    done = run("analyze", log, "--limits", sheet, "--out", tmp_path / "out", "--report", "html")
    assert done.code == 0, done.err
    folder = tmp_path / "out" / "week"
    page = (folder / "index.html").read_text(encoding="utf-8")
    first, second = rows_of(page)
    assert first[0] == "flight 1"
    assert first[2].startswith("No limit was exceeded in ")
    assert second[2].startswith("VMO was exceeded. Worst: ")
    assert second[3] == "VMO, 5.1 kt over"
    for href in re.findall(r'href="([^"#]+)"', page):
        assert (folder / href).is_file()
    assert re.findall(r'href="([^"#]+)"', page) == ["report.html", "report-2.html"]
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert not (tmp_path / "out" / "index.html").exists()


def test_a_run_over_several_logs_has_an_index_of_all(run, two_flights, tmp_path):
    log, sheet = two_flights
    other, broken = tmp_path / "a b#1.csv", tmp_path / "broken.csv"
    other.write_text("\n".join(log.read_text().splitlines()[:51]))
    broken.write_text("nothing\n")
    arguments = ("analyze", log, broken, other, "--limits", sheet, "--out", tmp_path / "out",
                 "--report", "html")
    run(*arguments)
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert [row[0] for row in rows_of(page)] == ["week.csv", "week.csv", "broken.csv", "a b#1.csv"]
    assert "could not be judged" in rows_of(page)[2][3]
    assert re.findall(r'href="([^"#]+)"', page) == [
        "week/report.html", "week/report-2.html", "a%20b%231/report.html"]
    run(*arguments, "--skip-existing")
    again = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert rows_of(again)[0][3] == "not judged again: results of an earlier run"
    (tmp_path / "out" / "index.html").write_text("<p>a page of another kind</p>")
    refused = run(*arguments, "--overwrite")
    assert refused.code == 2
    assert "isn't an index of flights" in refused.err.replace("isn&#x27;t", "isn't")


def test_the_index_of_a_deidentified_run_names_nothing(run, two_flights, tmp_path):
    log, sheet = two_flights
    run("analyze", log, "--limits", sheet, "--out", tmp_path / "out", "--report", "html",
        "--deidentify")
    page = (tmp_path / "out" / "debrief" / "index.html").read_text(encoding="utf-8")
    assert "week" not in page
    assert "invented" not in page
    assert [row[1] for row in rows_of(page)] == ["", ""]
