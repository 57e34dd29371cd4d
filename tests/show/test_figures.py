import matplotlib as mpl
import numpy as np
import pytest

from loganalyze import envelope_figure, limit_envelope, margin_figure, read_limits, save_figure
from loganalyze.record.units import FOOT


def words(axes) -> list[str]:
    return [text.get_text() for text in axes.texts if text.get_text()]


def test_three_panels_over_one_time_axis(analysis):
    figure = margin_figure(analysis)
    margin, speed, altitude = figure.axes
    assert margin.get_xlim() == speed.get_xlim() == altitude.get_xlim() == (0.0, 199.0)
    assert margin.get_ylabel().startswith("margin [kt CAS]")
    assert speed.get_ylabel() == "airspeed [kt CAS]"
    assert altitude.get_ylabel() == "pressure altitude [ft]"
    assert "VMO" in words(speed)
    assert "1" in words(margin)
    assert any("crossover VMO/MMO" in text for text in words(altitude))
    said = [text.get_text() for text in figure.texts]
    assert any("an invented twin" in text for text in said)
    assert any("VMO exceeded by 5.0 kt" in text for text in said)


def test_lines_break_where_nothing_is_known(analysis):
    margin = figure_line(margin_figure(analysis).axes[0])
    time, values = margin
    known = time[~np.isnan(values)]
    assert not ((known > 99) & (known < 120)).any()
    assert not ((known >= 150) & (known < 160)).any()
    assert np.nanmin(values) == pytest.approx(-5.0, abs=1e-4)


def figure_line(axes):
    line = axes.get_lines()[0]
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def test_unknown_is_hatched_and_over_is_shaded(analysis):
    for axes in margin_figure(analysis).axes:
        hatched, shaded = axes.collections
        assert hatched.get_hatch() == "////"
        spans = [path.get_extents() for path in hatched.get_paths()]
        assert [(span.x0, span.x1) for span in spans] == [(100.5, 120.0), (150.0, 160.0)]
        assert shaded.get_hatch() is None
        (span,) = [path.get_extents() for path in shaded.get_paths()]
        assert (span.x0, span.x1) == pytest.approx((49.75, 59.25))


def test_a_flight_without_trouble_has_no_marks(judged):
    figure = margin_figure(judged(np.full(60, 200.0)))
    assert all(not axes.collections for axes in figure.axes)
    assert figure.axes[0].get_legend() is None
    assert any(text.get_text().startswith("Closest: 45.0 kt") for text in figure.texts)


def test_many_exceedances_are_marked_and_the_worst_numbered(judged):
    cas = 230.0 + 0.2 * np.sin(np.arange(2000.0))  # no sensor stands still
    for i in range(20):
        cas[50 + 90 * i : 60 + 90 * i] = 246.0 + i
    figure = margin_figure(judged(cas))
    # The greatest come last: a picture, a table and a heading number alike, by time.
    assert [text for text in words(figure.axes[0]) if text.isdigit()] == [
        str(i + 1) for i in range(20 - 8, 20)]
    said = [text.get_text() for text in figure.texts]
    assert "The 8 worst carry their numbers." in " ".join(said)  # wrapped
    assert any(text.startswith("13  VMO exceeded by 13.") for text in said)
    assert len(figure.axes[0].collections[0].get_paths()) == 20


@pytest.mark.parametrize("cas", [[np.nan] * 30, [200.0], [200.0, np.nan], [250.0] * 3,
                                 [245.0] * 3])
def test_hardly_anything_to_draw_is_drawn(judged, cas, tmp_path):
    save_figure(margin_figure(judged(cas)), tmp_path / "margin.png")
    assert (tmp_path / "margin.png").stat().st_size > 5000


def test_a_notebook_shows_it_without_pyplot(analysis):
    before = dict(mpl.rcParams)
    picture = margin_figure(analysis)._repr_png_()
    assert picture.startswith(b"\x89PNG")
    assert dict(mpl.rcParams) == before


def test_the_envelope_names_each_limit_where_it_governs(sheet_path, tmp_path):
    sheet = read_limits(sheet_path)
    envelope = limit_envelope(sheet, np.linspace(0, 30000, 301) * FOOT, isa_deviation=10.0)
    figure = envelope_figure(envelope, sheet)
    said = words(figure.axes[0])
    assert {"VMO", "MMO"} <= set(said)
    assert "VFE 20" not in said
    (crossing,) = [text for text in said if text.startswith("crossover VMO/MMO")]
    feet = float(crossing.split(", ", 1)[1].removesuffix(" ft").replace(",", ""))
    # Computed in closed form: delta = q_c/p0 at 245 kt over q_c/p at Mach .48.
    cas = (1 + 0.2 * (245 / 661.478594435) ** 2) ** 3.5 - 1
    delta = cas / ((1 + 0.2 * 0.48**2) ** 3.5 - 1)
    assert feet == pytest.approx((1 - delta ** (1 / 5.25587981271)) / 6.87558563248e-6, abs=1.0)
    assert "true airspeed at ISA +10 degC" in [text.get_text() for text in figure.texts]
    save_figure(figure, tmp_path / "envelope.svg")
    assert (tmp_path / "envelope.svg").stat().st_size > 5000
