"""Why the limit pointer moved, and the crossover worked out: in report, handout and terminal."""

import re
from pathlib import Path

import mpmath as mp
import numpy as np
import pypdf
import pytest
from matplotlib.text import Text

import loganalyze
from loganalyze import Presentation, analyze, assess_flight
from loganalyze.air import airspeed, atmosphere
from loganalyze.cli import main
from loganalyze.show.report import report_blocks
from loganalyze.show.report.report_subject import Subject
from loganalyze.show.report.section_registry import makers

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SHEET = SAMPLES / "ouzelwing_240.toml"
FT, KT = 0.3048, 1852 / 3600


@pytest.fixture(scope="module")
def judged():
    flight, = analyze(SAMPLES / "descent_through_mmo_and_vmo.csv", SHEET)
    return assess_flight(flight)


def sections(judged, **how):
    subject = Subject.of(judged.analysis, loganalyze.summarise([judged]), judged,
                         Presentation(**how))
    return {section.key: section for make in makers(subject.how.reader)
            for section in make(subject)}


def of(section, kind):
    return [block for block in section.blocks if isinstance(block, kind)]


def numbers(text: str) -> list[float]:
    return [float(one.replace(",", "")) for one in re.findall(
        r"(?<![\w.])-?(?:\d[\d,]*)?\.?\d+", text)]


def ran(capsys, *arguments) -> tuple[int, str]:
    """Run the command; return its exit code and what it printed."""
    with pytest.raises(SystemExit) as left:
        main([str(argument) for argument in arguments])
    printed = capsys.readouterr()
    return int(left.value.code or 0), printed.out + printed.err


# -- in the numbers of the flight ----------------------------------------------------------------

@pytest.mark.parametrize("reader", ["crew", "safety"])
def test_the_limit_at_constant_mach_is_that_of_the_samples(judged, reader):
    section = sections(judged, reader=reader)["envelope"]
    said = of(section, report_blocks.Paragraph)[0].text
    match = re.search(r"it was ([\d.]+) kt CAS at ([\d,]+) ft \(A\) and ([\d.]+) kt CAS at "
                      r"([\d,]+) ft \(B\)\. The descent of ([\d,]+) ft moved the limit pointer up "
                      r"by ([\d.]+) kt: ([\d.]+) kt for every 1,000 ft", said)
    assert match, said
    first, high, last, low, change, moved, slope = (
        float(one.replace(",", "")) for one in match.groups())
    for speed, height in ((first, high), (last, low)):
        assert speed == pytest.approx(
            airspeed.cas_from_mach(0.49, height * FT) / KT, abs=0.051)
        at = np.abs(judged.analysis.columns["pressure_altitude_ft"] - height).argmin()
        assert speed == pytest.approx(judged.analysis.columns["limit_airspeed_kt"][at], abs=0.051)
    assert change == high - low
    assert moved == pytest.approx(last - first, abs=0.11)
    middle = (high + low) / 2 * FT
    step = np.array([middle - 500 * FT, middle + 500 * FT])
    assert slope == pytest.approx(-np.diff(airspeed.cas_from_mach(0.49, step))[0] / KT, abs=0.051)


def test_each_instant_of_the_table_is_a_sample(judged):
    table = of(sections(judged)["envelope"], report_blocks.Table)[0]
    columns = judged.analysis.columns
    assert [row[1] for row in table.rows] == [
        "start of the run-in", "limit passed", "crossover passed", "worst", "back under"]
    for row in table.rows:
        hours, minutes, seconds = map(float, row[2].split(":"))
        at = int(np.searchsorted(judged.analysis.time, 60 * minutes + seconds - 0.051))
        assert hours == 0
        assert numbers(row[3])[0] == columns["pressure_altitude_ft"][at]
        assert row[4] == judged.analysis.limit_names[columns["governing_limit"][at]]
        assert numbers(row[5])[0] == pytest.approx(columns["limit_airspeed_kt"][at], abs=0.051)
        assert numbers(row[6])[0] == pytest.approx(
            columns["calibrated_airspeed_kt"][at], abs=0.051)
    worst = judged.analysis.exceedances[1]
    assert table.rows[3][2] == Presentation().instant(worst.worst_time_s)


def test_temperature_moves_true_airspeed_and_never_the_limit(judged):
    table = of(sections(judged)["envelope"], report_blocks.Table)[1]
    height = numbers(table.caption)[0] * FT
    standard = float(atmosphere.temperature(height))
    days = [numbers(row[1])[0] + 273.15 - standard for row in table.rows]
    assert days[:3] == pytest.approx([-10, 0, 10], abs=0.051)
    at = int(np.abs(judged.analysis.columns["pressure_altitude_ft"] * FT - height).argmin())
    recorded = judged.analysis.columns["static_air_temperature_degc"]
    assert numbers(table.rows[3][1])[0] in np.round(recorded[max(at - 800, 0):at + 800], 1)
    for row, off in zip(table.rows, days, strict=True):
        sound, true = numbers(row[2])[0], numbers(row[3])[0]
        # Written again: a = sqrt(gamma R T), TAS = M a.
        exact = float(mp.sqrt(mp.mpf("1.4") * mp.mpf("287.05287") * (standard + off))) / KT
        assert sound == pytest.approx(exact, abs=0.12)
        assert true == pytest.approx(0.49 * exact, abs=0.12)
        assert row[4] == ".490"
    assert len({row[5] for row in table.rows}) == 1
    assert len({row[3] for row in table.rows}) == 4


def test_without_temperature_the_flights_own_day_is_left_out(tmp_path):
    lines = (SAMPLES / "descent_through_mmo_and_vmo.csv").read_text().splitlines()
    place = lines[0].split(",").index("OAT [degC]")
    log = tmp_path / "log.csv"
    log.write_text("\n".join(",".join(
        cell for i, cell in enumerate(line.split(",")) if i != place) for line in lines) + "\n")
    flight, = analyze(log, SHEET)
    section = sections(assess_flight(flight))["envelope"]
    tables = of(section, report_blocks.Table)
    assert [row[0] for row in tables[1].rows] == [
        "10 degC colder than standard", "standard", "10 degC warmer than standard"]
    assert any("not listed" in one.text for one in of(section, report_blocks.Paragraph))


def test_a_sheet_without_mach_says_why_the_pointer_stood_still(judged, tmp_path):
    sheet = tmp_path / "limits.toml"
    text = SHEET.read_text()
    start = text.index('[[limit]]\nname = "MMO"')
    after = text.index('[[limit]]\nname = "VFE 10"')
    sheet.write_text(text[:start] + text[after:text.index("[[severity]]")])
    flight, = analyze(SAMPLES / "descent_through_mmo_and_vmo.csv", sheet)
    found = sections(assess_flight(flight))
    said = " ".join(one.text for one in of(found["envelope"], report_blocks.Paragraph))
    assert "no limit in Mach" in said
    assert "stood still" in said
    assert "crossover" not in found


@pytest.mark.parametrize("log", ["clean_flight.csv", "climb_into_the_limit.csv",
                                 "gaps_and_dead_probe.csv"])
@pytest.mark.parametrize("units", [Presentation().units, loganalyze.KMH_METRES])
def test_other_flights_have_it_too(log, units):
    flight, = analyze(SAMPLES / log, SHEET)
    assessed = assess_flight(flight)
    section = sections(assessed, units=units)["envelope"]
    table = of(section, report_blocks.Table)[0]
    assert len(table.rows) >= 2
    assert of(section, report_blocks.Picture)[0].draw().axes
    worst = [row for row in table.rows if row[1] in ("worst", "closest to a limit")]
    at = flight.exceedances[0].worst_time_s if flight.exceedances else flight.smallest[0].time_s
    assert [row[2] for row in worst] == [Presentation().instant(at)]


def test_the_picture_marks_what_the_table_lists(judged):
    section = sections(judged)["envelope"]
    axes = of(section, report_blocks.Picture)[0].draw().axes[0]
    letters = {text.get_text(): text.xy for text in axes.texts if len(text.get_text()) == 1}
    rows = of(section, report_blocks.Table)[0].rows
    assert sorted(letters) == [row[0] for row in rows]
    for row in rows:
        speed, limit = numbers(row[6])[0], numbers(row[5])[0]
        assert letters[row[0]] == pytest.approx((max(speed, limit), numbers(row[3])[0]), abs=0.06)


# -- the handout ---------------------------------------------------------------------------------

def value(expression: str) -> mp.mpf:
    """Work out a printed right side: powers, products, quotients, ln and brackets."""
    text = expression.replace("\N{MINUS SIGN}", "-").replace("\N{MULTIPLICATION SIGN}", "*")
    text = text.replace("[", "(").replace("]", ")").replace("^", "**").replace(",", "")
    text = re.sub(r"(\d) (?=[\d(])", r"\1 * ", re.sub(r"([\d)])\s*\(", r"\1 * (", text))
    text = re.sub(r"(?<![\w.])(\d+\.?\d*)", r"mp.mpf('\1')", text)
    return eval(text, {"mp": mp, "ln": mp.log})


@pytest.mark.parametrize(("cas", "mach"), [
    (255, 0.49), (250, 0.48), (320, 0.82), (160, 0.95), (60, 0.8), (170, 1.4), (700, 1.2)])
def test_each_printed_step_follows_from_its_printed_numbers(capsys, cas, mach):
    """A reader with a calculator gets the printed result, to its last digit or so."""
    code, output = ran(capsys, "crossover", "--cas", cas, "--mach", mach, "--steps")
    assert not {"VMO", "MMO"} & set(re.findall(r"\w+", output))  # they are bare numbers
    assert code == 0, output
    lines = [line.strip() for line in output.splitlines()]
    worked = [line for line in lines if re.search(r"\d .*= [\d,.]+(?: Pa| m|$)", line)
              and line.startswith(("qc", "p =", "h ="))]
    assert len(worked) == 4, worked
    with mp.workdps(30):
        first = worked[0].split(" = ")
        assert value(first[1]) == pytest.approx(float(first[2]), abs=6e-7)
        second = worked[1].split(" = ")
        assert value(second[1]) == pytest.approx(numbers(second[2])[0], rel=2e-5)
        third = worked[2].split(", so ")[0].split(" = ")
        pressure = numbers(third[2].removesuffix(" Pa"))[0]
        assert value(third[1]) == pytest.approx(pressure, rel=2e-5)
        assert numbers(worked[2].split("p / p0 = ")[1])[0] == pytest.approx(
            pressure / 101325, abs=2e-6)
        fourth = worked[3].split(" = ")
        metres = numbers(fourth[2].removesuffix(" m"))[0]
        assert float(value(fourth[1])) == pytest.approx(metres, abs=1.0)
        feet = numbers(fourth[3])[0]
    exact = airspeed.crossover_pressure_altitude(cas * KT, mach)
    assert metres == pytest.approx(exact, abs=0.051)
    assert feet == pytest.approx(exact / FT, abs=0.51)
    assert "NACA Report 1135 (1953), eq. " + ("44" if mach <= 1 else "100") in output
    assert "ISO 2533:1975" in output


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_handout_is_one_page_and_says_what_the_report_says(judged, capsys, tmp_path, paper):
    out = tmp_path / "handout.pdf"
    code, output = ran(capsys, "crossover", "--limits", SHEET, "--steps", "--handout", out,
                       "--paper", paper)
    assert code == 0, output
    pdf = pypdf.PdfReader(out)
    assert len(pdf.pages) == 1
    text = " ".join(pdf.pages[0].extract_text().split())
    steps = of(sections(judged, reader="crew")["crossover"], report_blocks.Steps)[0].steps
    assert len(steps) == 4
    for step in steps:
        result = step.numbers.rpartition(" = ")[2]
        assert result in text
        assert result in output
        assert step.source in text
    assert "SHA-256" not in text


def test_the_crews_paper_holds_the_steps_on_one_page(judged, tmp_path):
    options = loganalyze.ReportOptions(("pdf",), Presentation(reader="crew"))
    path, = loganalyze.write_reports(tmp_path, judged, loganalyze.summarise([judged]), options)
    pdf = pypdf.PdfReader(path)
    pages = [page.extract_text() for page in pdf.pages]
    first, = [i for i, text in enumerate(pages) if "worked step by step" in text]
    assert "Check, with the full formulas" in pages[first]


def test_limits_that_cross_in_no_closed_form_say_so(capsys, tmp_path):
    sheet = tmp_path / "limits.toml"
    sheet.write_text(SHEET.read_text().replace(
        'quantity = "calibrated_airspeed"\nmaximum_kt = 255',
        'quantity = "equivalent_airspeed"\nmaximum_kt = 250'))
    code, output = ran(capsys, "crossover", "--limits", sheet, "--steps")
    assert code == 0, output
    assert "no closed form" in output
    assert "NACA" not in output


def test_steps_and_json_exclude_each_other(capsys):
    speeds = ("crossover", "--cas", 250, "--mach", 0.5)
    assert ran(capsys, *speeds, "--steps", "--json")[0] == 2
    code, output = ran(capsys, *speeds, "--handout", "x.pdf")
    assert code == 2
    assert "--limits" in output


def test_letters_in_the_pictures_of_the_lesson_are_eight_points_in_print(judged):
    """On A4 a picture is shrunk to the width between the margins, 176 mm."""
    found = sections(judged, reader="crew")
    pictures = [*of(found["verdict"], report_blocks.Picture),
                *of(found["envelope"], report_blocks.Picture),
                *(one for one in of(found["exceedance-1"], report_blocks.Picture)
                  if one.name == "ruler-1")]
    assert len(pictures) == 3
    for picture in pictures:
        figure = picture.draw()
        shrunk = min(1.0, 176 / 25.4 / figure.get_figwidth())
        sizes = [text.get_fontsize() * shrunk for text in figure.findobj(Text)
                 if text.get_text() and text.get_visible()]
        assert min(sizes) >= 8, picture.name
