"""The page of a trainee's progress in a browser."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from loganalyze.cli import group
from loganalyze.training import LessonRecord, RecordedMeasure

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("progress")
    for day, error in enumerate([260.0, 228.0, 180.0, 149.0, 107.0, 65.0], 1):
        measures = tuple(RecordedMeasure(exercise=kind, measure=name, value=error, uncertainty=8.0)
                         for kind, name in (("steep turn", "altitude_error_ft"),
                                            ("stall", "altitude_lost_ft"),
                                            ("circuit", "duration_s")))
        one = LessonRecord(trainee="T7", flown=f"2031-05-{day:02}", flight=str(day),
                           measures=measures)
        (folder / f"{day}.json").write_text(one.model_dump_json())
    ran = CliRunner().invoke(group, ["progress", str(folder), "--out", str(folder / "out")])
    assert ran.exit_code == 0, ran.output
    return folder / "out" / "progress.html"


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (380, "dark")])
def test_axe_finds_nothing_serious(page, browser, width, scheme):
    seen = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    seen.goto(page.as_uri())
    assert seen.evaluate(
        "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth")
    seen.evaluate((HERE / "axe.min.js").read_text(encoding="utf-8"))
    found = seen.evaluate("""async () => (await axe.run()).violations.map(
        (one) => [one.impact, one.id, one.nodes.map((node) => node.html.slice(0, 120))])""")
    seen.close()
    assert [one for one in found if one[0] in ("serious", "critical", "moderate")] == []
