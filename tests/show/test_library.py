"""What a notebook user types."""

import base64
import io
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure

import loganalyze as la

SAMPLES = Path(__file__).parents[2] / "sample_logs"
DESCENT = SAMPLES / "descent_through_mmo_and_vmo.csv"
SHEET = SAMPLES / "ouzelwing_240.toml"


@pytest.fixture(scope="module")
def assessment():
    return la.assess(DESCENT, SHEET)[0]


def test_five_lines_do_the_main_job():
    log = la.read_log(DESCENT)
    sheet = la.read_limits(SHEET)
    analysis = la.analyze(log, sheet)
    table = analysis.exceedance_table
    figure = la.margin_figure(analysis)

    assert table["limit"].tolist() == ["MMO", "VMO"]
    assert len(analysis.samples) == len(log)
    assert isinstance(figure, Figure)


def test_a_recording_of_two_flights_gives_two_analyses_from_a_path_a_frame_and_a_file(tmp_path):
    frame = pd.read_csv(DESCENT, parse_dates=["UTC"])
    twice = pd.concat([frame, frame.assign(UTC=frame["UTC"] + pd.Timedelta(hours=9))])
    path = tmp_path / "two.csv"
    twice.assign(UTC=twice["UTC"].dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")).to_csv(path, index=False)
    with path.open("rb") as stream:
        found = [la.analyze(given, SHEET) for given in (path, twice, stream)]
    for analyses in found:
        assert [(one.flight, [each.limit for each in one.exceedances]) for one in analyses] == [
            (1, ["MMO", "VMO"]), (2, ["MMO", "VMO"])]
    assert la.analyze(la.read_log(path), SHEET).flight == 1


def test_a_log_takes_no_columns_once_it_is_read():
    with pytest.raises(TypeError, match="read already"):
        la.analyze(la.read_log(DESCENT), SHEET, columns=SAMPLES)
    with pytest.raises(TypeError, match="read already"):
        la.assess(la.read_log(DESCENT), SHEET, columns=SAMPLES)


def test_reprs_are_one_line_with_the_verdict(assessment):
    for result, said in ((assessment, "VMO proven over"),
                         (assessment.analysis, "exceeded (MMO, VMO)")):
        assert said in repr(result)
        assert DESCENT.name in repr(result)
        assert "\n" not in repr(result)
        assert len(repr(result)) < 200


def test_a_notebook_shows_the_picture_of_the_margin(assessment):
    for result in (assessment, assessment.analysis):
        html = result._repr_html_()
        (picture,) = re.findall(r'src="data:image/png;base64,([^"]+)"', html)
        assert base64.b64decode(picture).startswith(b"\x89PNG")
        assert "flight 1, Ouzelwing 240" in html
        assert "<Ana" not in html


def test_tables_are_those_on_disk(assessment, tmp_path):
    la.write_results(assessment, tmp_path / "out")
    for name, table in (("exceedances", assessment.exceedance_table),
                        ("near", assessment.near_table),
                        ("contributions", assessment.contribution_table)):
        disk = pd.read_csv(tmp_path / "out" / f"{name}.csv").drop(
            columns=["log", "aircraft", "limits_sheet"])
        shown = pd.read_csv(io.StringIO(table.to_csv(index=False)))
        assert table.columns.tolist() == disk.columns.tolist()
        text = disk.select_dtypes(exclude="number").columns.drop("start_utc", errors="ignore")
        pd.testing.assert_frame_equal(shown[text], disk[text])
        numbers = disk.select_dtypes("number").columns
        pd.testing.assert_frame_equal(shown[numbers], disk[numbers], check_dtype=False)
    assert len(assessment.contribution_table) == 4
    assert assessment.near_table.empty


def test_measures_and_samples_are_frames(assessment):
    table = assessment.measure_table.set_index("limit")
    assert table.index.tolist() == ["", *assessment.analysis.limit_names]
    assert table.loc["VMO", "smallest_margin_kt"] == pytest.approx(-10.0)
    assert table.loc["VMO", "within_0_s"] < table.loc["VMO", "within_20_s"]
    samples = assessment.samples
    assert len(samples) == len(assessment.analysis.samples)
    assert (samples["margin_u_kt"] > 0).any()
    assert "descent" in samples["phase"].tolist()


def test_the_cells_of_the_example_run(tmp_path):
    script = SAMPLES / "notebook_cells.py"
    assert script.read_text(encoding="utf-8").count("\n# %% ") >= 6
    ran = subprocess.run([sys.executable, str(script), str(tmp_path)], capture_output=True,
                         text=True, cwd=SAMPLES.parent, check=False,
                         env={"PYTHONPATH": str(SAMPLES.parent), "PATH": "/usr/bin:/bin"})
    assert ran.returncode == 0, ran.stderr
    assert "VMO proven over" in ran.stdout
    assert {path.name for path in tmp_path.iterdir()} == {"margin.png", "report.html"}
