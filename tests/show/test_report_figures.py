"""The pictures of a report: what they show, on hardly anything, in other units."""

import numpy as np
import pytest
from matplotlib.text import Text

import loganalyze
from loganalyze import KMH_METRES, LimitMeasure, Presentation
from loganalyze.show.figures.figure_style import plain_text, png_bytes

from .made import CAUSES, assessment_of

METRIC = Presentation(units=KMH_METRES)


def words(figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def line(axes, i=0):
    return tuple(np.asarray(one) for one in axes.get_lines()[i].get_data())


def test_a_panel_runs_from_the_run_in_to_the_recovery(analysis):
    figure = loganalyze.panel_figure(analysis, 0, assessment_of(analysis))
    speed, margin, altitude = figure.axes
    assert speed.get_xlim() == margin.get_xlim() == altitude.get_xlim() == pytest.approx(
        (4.75, 89.25))
    assert {"run-in", "over VMO", "back under VMO", "limit airspeed", "calibrated airspeed"
            } <= set(words(figure))
    times, values = line(margin)
    assert values.min() == pytest.approx(-5.0, abs=1e-4)
    assert times[values.argmin()] == 50.0
    # The band reaches 1.96 standard uncertainties of 1.2 kt to either side.
    band = margin.collections[0].get_paths()[0].vertices[:, 1]
    assert band.min() == pytest.approx(-5 - 1.96 * 1.2, abs=0.01)


def test_a_panel_says_what_is_unknown_by_a_hatch(judged):
    cas = np.full(120, 230.0)
    cas[50:60] = 250.0
    figure = loganalyze.panel_figure(judged(cas, gap=slice(62, 70)), 0)
    for axes in figure.axes:
        assert "////" in [drawn.get_hatch() for drawn in axes.collections]
    times, values = line(figure.axes[1])
    known = times[~np.isnan(values)]
    assert not ((known > 61) & (known < 70)).any()


def test_a_panel_in_other_units_says_so(analysis):
    figure = loganalyze.panel_figure(analysis, 0, how=METRIC)
    assert figure.axes[0].get_ylabel() == "airspeed [km/h]"
    assert figure.axes[2].get_ylabel() == "altitude [m]"
    _, values = line(figure.axes[1])
    assert values.min() == pytest.approx(-9.26, abs=1e-3)
    with pytest.raises(IndexError):
        loganalyze.panel_figure(analysis, 1)


def test_contributions_are_bars_that_add_up():
    figure = loganalyze.contributions_figure(CAUSES)
    widths = [bar.get_width() for bar in figure.axes[0].patches]
    assert widths == [2.0, 12.5, 7.0, -1.5, 20.0]
    assert sum(widths[:-1]) == pytest.approx(widths[-1])
    said = words(figure)
    assert {"+12.5 kt", "-1.5 kt", "+20.0 kt", "height traded for speed", "took margin away",
            "gave margin back"} <= set(said)
    hatched = [bar.get_width() for bar in figure.axes[0].patches if bar.get_hatch()]
    assert hatched == [-1.5]
    assert "+37.0 km/h" in words(loganalyze.contributions_figure(CAUSES, METRIC))


def test_a_histogram_marks_what_was_over():
    bins = tuple((edge, 60.0 * (edge == -5) + 120.0 * (edge == 10)) for edge in range(-20, 40, 5))
    measure = LimitMeasure("", -5, np.nan, 1, 1, "climb", (), bins, 180, 0)
    axes = loganalyze.histogram_figure(measure).axes[0]
    drawn = {bar.get_x(): bar.get_height() for bar in axes.patches if bar.get_height()}
    assert drawn == {-5.0: 1.0, 10.0: 2.0}
    assert {bar.get_x() for bar in axes.patches if bar.get_hatch() and bar.get_height()} == {-5.0}
    empty = LimitMeasure("", np.nan, np.nan, np.nan, np.nan, "", (), (), 0, 0)
    assert "nothing was judged" in words(loganalyze.histogram_figure(empty))


def test_the_track_breaks_at_a_gap_and_marks_the_crossover(analysis):
    figure = loganalyze.track_figure(analysis)
    track, over = (np.column_stack(line(figure.axes[0], i)) for i in (0, 1))
    # A gap of the log and a stretch without airspeed: three pieces.
    assert np.isnan(track[:, 0]).sum() == 2
    assert np.nanmax(track[:, 0]) == pytest.approx(250.0)
    assert np.nanmin(over[:, 0]) == pytest.approx(250.0)
    assert {"VMO", "limit airspeed", "over a limit"} <= set(words(figure))


@pytest.mark.parametrize("cas", [[250.0], [250.0] * 3, [200.0, 250.0], [np.nan, 250.0]])
def test_hardly_anything_to_draw_is_drawn(judged, cas):
    flight = judged(cas)
    for figure in (loganalyze.panel_figure(flight, 0, assessment_of(flight)),
                   loganalyze.track_figure(flight)):
        assert png_bytes(figure).startswith(b"\x89PNG")
    assert png_bytes(loganalyze.track_figure(judged([np.nan] * 3))).startswith(b"\x89PNG")


def test_no_name_begins_a_formula_or_lacks_a_letter():
    assert plain_text("VMO $x^2$") == r"VMO \$x^2\$"
    assert plain_text("Geschwindigkeit für µ") == "Geschwindigkeit für µ"
    assert plain_text("速度\x00\u202e") == "\N{REPLACEMENT CHARACTER}" * 4


def test_a_panel_shades_the_other_exceedances_too_and_calls_a_gap_a_gap(judged):
    cas = np.full(200, 230.0) + 0.2 * np.sin(np.arange(200.0))
    cas[50:60] = 250.0
    cas[80:90] = 252.0
    analysis = judged(cas, gap=slice(90, 120))
    first, second = analysis.exceedances
    assert second.ended_by == "gap"
    axes = loganalyze.panel_figure(analysis, 1).axes[0]
    shaded = [path.get_extents() for collection in axes.collections
              for path in collection.get_paths()]
    spans = [(span.x0, span.x1) for span in shaded]
    assert any(span == pytest.approx((first.start_s, first.end_s)) for span in spans)
    assert any(span == pytest.approx((second.start_s, second.end_s)) for span in spans)
    said = [text.get_text() for text in axes.texts]
    assert "gap in the recording" in said
    assert not any("back under" in text for text in said)
