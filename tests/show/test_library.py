"""What a notebook user types."""

from pathlib import Path

from matplotlib.figure import Figure

import loganalyze as la

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def test_five_lines_do_the_main_job():
    log = la.read_log(SAMPLES / "descent_through_mmo_and_vmo.csv")
    sheet = la.read_limits(SAMPLES / "ouzelwing_240.toml")
    analysis = la.analyze(log, sheet)
    table = analysis.exceedance_table
    figure = la.margin_figure(analysis)

    assert table["limit"].tolist() == ["MMO", "VMO"]
    assert len(analysis.samples) == len(log)
    assert isinstance(figure, Figure)
