"""The sections of a report: what each reader gets, in whose units, and what is left out."""

import ast
import math
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text

import loganalyze.show
from loganalyze import (
    KMH_METRES,
    NOT_DETERMINABLE,
    READERS,
    Channel,
    Finding,
    Presentation,
    Step,
    analyze,
    read_limits,
    summarise,
)
from loganalyze.show.report.report_blocks import (
    Bullets,
    Caution,
    ChartLink,
    KeyValues,
    Link,
    Paragraph,
    Section,
    Subheading,
    Table,
)
from loganalyze.show.report.report_building import flight_report
from loganalyze.show.report.sections.finding_sections import PANELS
from loganalyze.show.tables.exceedance_table import EXCEEDANCE_COLUMNS
from loganalyze.text.language import decision_text, report_labels, value_words
from loganalyze.uncertainty.error_budget import budget_of

from .made import assessment_of, assurance, nothing_known


@pytest.fixture
def reported(sheet_path):
    """Return a function that reports on an analysis."""

    def make(analysis, assessment=None, **how):
        summary = summarise([analysis], limits=sheet_path)
        return flight_report(analysis, summary, assessment=assessment,
                             presentation=Presentation(**how))

    return make


def texts_of(section: Section) -> list[str]:
    """Every text of a section that a renderer prints, but those inside pictures."""
    found = [section.title]
    for block in section.blocks:
        match block:
            case Paragraph() | Subheading():
                found.append(block.text)
            case Bullets():
                found += block.items
            case KeyValues():
                found += [part for pair in block.pairs for part in pair]
            case Caution():
                found += [block.title, *block.lines]
            case Table():
                found.append(block.caption)
                found += [column.name for column in block.columns]
                found += [cell.text if isinstance(cell, Link) else cell
                          for row in block.rows for cell in row]
    return found


def all_texts(report) -> list[str]:
    found = [report.title, report.subtitle, report.footer]
    for section in report.sections:
        found += texts_of(section)
    for picture in report.pictures:
        found += [picture.words, picture.caption]
    return found


def drawn_texts(report) -> list[str]:
    """Every text drawn in the report's pictures."""
    return [text.get_text() for picture in report.pictures
            for text in picture.draw().findobj(Text) if text.get_text()]


def section(report, key) -> Section:
    return next(one for one in report.sections if one.key == key)


def test_a_debrief_reads_from_the_verdict_to_the_cautions(analysis, reported):
    report = reported(analysis, assessment_of(analysis))
    assert [one.key for one in report.sections] == [
        "verdict", "found", "glance", "exceedance-1", "warning", "margins", "envelope", "crossover",
        "quality", "method", "cautions"]
    for part in report.sections:
        assert part.blocks
    assert [picture.name for picture in report.pictures] == [
        "overview", "flight", "panel-1", "ruler-1", "contributions-1", "worsening-1",
        "histogram", "track"]


def test_every_reader_gets_the_verdict_first_and_the_cautions(analysis, reported):
    for reader in READERS:
        report = reported(analysis, assessment_of(analysis), reader=reader)
        keys = [one.key for one in report.sections]
        assert keys[:2] == ["verdict", "found"]
        assert {"quality", "method", "cautions"} <= set(keys)
        assert len(set(keys)) == len(keys)
        paper = [one.key for one in report.sections if one.on_paper]
        assert {"verdict", "found", "exceedance-1", "glance", "quality", "method",
                "cautions"} <= set(paper)
        assert "margins" not in paper


def test_the_verdict_is_one_or_two_sentences(analysis, judged, reported):
    lead = section(reported(analysis, assessment_of(analysis)), "verdict").blocks[0]
    assert lead == Paragraph(
        "VMO was exceeded in the descent in the 2 min 50 s that could be judged. Worst: 250.0 kt "
        "CAS, 5.0 kt over VMO, at 5,000 ft, 0:00:50.0. As displayed 3.0 to 7.0 kt over (95 %), "
        "proven over.",
        "lead")
    lead = section(reported(analysis, assessment_of(analysis), reader="maintenance"),
                   "verdict").blocks[0].text
    assert lead.endswith(" As flown 3.0 to 7.0 kt over (95 %), proven over.")

    clean = judged(np.full(60, 200.0))
    lead = section(reported(clean), "verdict").blocks[0].text
    assert lead.startswith("No limit was exceeded in the 1 min 00 s that could be judged. The "
                           "smallest margin was 45.0 kt, at 0:00:00.0 and 5,000 ft.")
    lead = section(reported(clean, assessment_of(clean)), "verdict").blocks[0].text
    assert "One stretch came so near that the reading doesn't prove that the aircraft" in lead

    lead = section(reported(judged([np.nan] * 30)), "verdict").blocks[0].text
    assert lead == "Nothing of the 30.0 s recorded could be judged."


def test_samples_in_doubt_over_a_limit_are_no_clean_report(judged, reported):
    speed = np.full(60, 200.0)
    speed[20] = 270.0
    report = reported(judged(speed))
    lead = section(report, "verdict").blocks[0].text
    assert lead.startswith("Whether a limit was exceeded is not determined: one stretch is over "
                           "VMO by up to 25.0 kt, and its samples are in doubt. Nothing else was ")
    assert any("Only samples in doubt" in one for one in texts_of(section(report, "found")))
    assert not any("No exceedance was found" in one for one in texts_of(section(report, "found")))


def test_what_could_not_be_judged_qualifies_the_verdict(analysis, reported):
    said_there = texts_of(section(reported(analysis), "verdict"))
    assert "29.5 s of 3 min 20 s could not be judged (2 stretches)." in said_there


def test_the_table_says_limit_when_worst_how_long_how_sure_phase_altitude_and_why(
        analysis, reported):
    (table,) = [block for block in section(reported(analysis, assessment_of(analysis)),
                                           "found").blocks if isinstance(block, Table)]
    names = [column.name for column in table.columns]
    row = dict(zip(names, table.rows[0], strict=True))
    assert row == {
        "No.": Link("1", "exceedance-1"), "Limit": "VMO",
        "When": ChartLink("0:00:49.8", "glance", start_s=4.75, end_s=89.25, worst_s=50.0, number=1),
        "Worst": "5.0 kt over", "Span": "9.5 s",
        "Time over": "9.5 s",
        "How sure (as displayed)": "3.0 to 7.0 kt over: proven over (more than 99 %)",
        "Phase": "descent",
        "Pressure altitude": "5,000 ft",
        "Severity": "\N{WHITE DIAMOND CONTAINING BLACK SMALL DIAMOND} medium",
        "Why": "height turned into speed"}
    near = dict(zip(names, table.rows[1], strict=True))
    assert near["No."] == "near"
    assert near["Worst"] == "Mach .003 (1.5 kt) under"
    assert near["How sure (as displayed)"].endswith(": under but not proven (about 2 in 10)")
    priors = "no excess is taken as likelier than another before the flight"
    assert report_labels.PRIORS.format(priors=priors) in texts_of(
        section(reported(analysis, assessment_of(analysis)), "found"))


def test_without_an_assessment_the_report_says_so_and_invents_nothing(analysis, reported):
    report = reported(analysis)
    assert report_labels.NOT_ASSESSED in texts_of(section(report, "verdict"))
    row = next(block for block in section(report, "found").blocks
               if isinstance(block, Table)).rows[0]
    assert row[6:8] == (report_labels.CELL_NOT_ASSESSED,) * 2
    assert report_labels.NO_HISTOGRAM in texts_of(section(report, "margins"))
    assert not any("contributions" in picture.name for picture in report.pictures)


@pytest.mark.parametrize("reader", READERS)
def test_what_is_not_known_is_said_in_words(analysis, reported, reader):
    made = assessment_of(analysis)
    for assessment in (nothing_known(made), replace(
            made, near=(), phases=(), measures=(), warnings=(), checks=(), tolerances=(),
            columns={}, shortest_time_to_limit=None)):
        report = reported(analysis, replace(assessment, analysis=analysis), reader=reader)
        for text in [*all_texts(report), *drawn_texts(report)]:
            assert not re.search(r"\b(nan|None|inf)\b", text), text


def test_an_exceedance_says_how_it_ended_and_what_was_displayed(analysis, reported):
    said_there = texts_of(section(reported(analysis, assessment_of(analysis), reader="crew"),
                                  "exceedance-1"))
    pairs = dict(pairwise(said_there))
    assert pairs["Limit pointer"] == "245.0 kt IAS"
    assert pairs["Speed as flown"] == "250.0 kt CAS"
    # The log records calibrated airspeed, and no table leads back to what was displayed.
    assert pairs["Speed as displayed, at the worst"] == "not known"
    assert pairs["Autopilot engaged"] == "yes"
    assert pairs["Overspeed warning"] == "no"
    assert any(text.startswith("Back under VMO at ") for text in said_there)
    assert any("the descent added 12.5 kt" in text for text in said_there)


def test_maintenance_gets_the_ladder_and_both_sources_and_nothing_about_people(
        analysis, reported):
    report = reported(analysis, assessment_of(analysis), reader="maintenance")
    there = [*texts_of(section(report, "worst")), *texts_of(section(report, "exceedance-1"))]
    pairs = dict(pairwise(there))
    assert pairs["Worst excess"] == "VMO, 5.0 kt over"
    assert pairs["Its interval"] == "3.0 to 7.0 kt over (95 %)"
    assert pairs["5.0 kt"] == "3.0 s"
    assert pairs["Indicated airspeed, source 2"] == "251.0 kt"
    assert pairs["Gross weight"] == "8,123 kg"
    assert pairs["Normal load factor"] == "1.12 g"
    for text in all_texts(report):
        assert not re.search("autopilot|overspeed|Why margin|Back under", text, re.IGNORECASE)


def test_how_the_warning_behaved_is_told_in_the_reports_units(analysis, reported):
    assert report_labels.NO_WARNING in texts_of(section(reported(analysis), "warning"))
    on = replace(analysis.log.channels["flap"], values=np.zeros(len(analysis.time)))
    warned = replace(analysis, log=replace(
        analysis.log, channels={**analysis.log.channels, "overspeed_warning": on}))
    report = reported(warned, assessment_of(warned), units=KMH_METRES)
    (told,) = [text for text in texts_of(section(report, "warning")) if text.startswith("At ")]
    assert told == (
        "At 0:00:52.0 the overspeed warning was late, 2.5 s after the speed had passed 464.9 km/h "
        "by more than the tolerance: at 462.1 km/h, 8.3 km/h over VMO.")
    assert section(report, "warning").on_paper


def test_what_maintenance_needs_and_the_log_lacks_is_named(analysis, reported):
    there = texts_of(section(reported(analysis, reader="maintenance"), "exceedance-1"))
    pairs = dict(pairwise(there))
    assert pairs["Normal load factor"] == pairs["Gross weight"] == "not recorded"
    assert report_labels.ONE_SOURCE in there


@pytest.mark.parametrize("reader", READERS)
def test_kilometres_an_hour_and_metres_throughout(analysis, reported, reader):
    report = reported(analysis, assessment_of(analysis), reader=reader, units=KMH_METRES)
    texts = [*all_texts(report), *drawn_texts(report)]
    # What the file calls its own columns and how its unit was known stays as it is.
    own = {
        text
        for block in section(report, "quality").blocks
        if isinstance(block, Table) and block.caption == report_labels.CHANNELS_CAPTION
        for row in block.rows
        for text in row
    }
    for text in texts:
        if text not in own:
            assert not re.search(r"\d ?(kt|ft|KIAS|KCAS)\b|\[(kt|ft)", text), text
    assert "9.3 km/h over" in texts
    assert "1,524 m" in texts


def test_utc_where_the_log_has_a_date(analysis, judged, reported):
    there = texts_of(section(reported(analysis, clock="utc"), "found"))
    assert "07:08:58.8Z" in there
    assert "Times are UTC; the flight's first sample is at 2031-05-06 07:08:09." in there

    undated = judged([200.0, 250.0, 200.0], dated=False)
    report = reported(undated, clock="utc")
    assert report_labels.NO_DATE in texts_of(section(report, "verdict"))
    assert report_labels.TIMES_ELAPSED in texts_of(section(report, "found"))


def test_de_identified_means_no_name_file_date_or_column(analysis, reported):
    channels = {name: replace(channel, column=f"D-EXYZ {name}") for name, channel in
                analysis.log.channels.items()}
    channels["latitude"] = Channel(np.full(len(analysis.time), 0.9), interval_s=1.0)
    inferred = (Finding("fill_values", {"column": "D-EXYZ ias", "count": 2}),
                Finding("only_order", {"column": "Date", "order": "day first",
                                       "cell": "06/05/2031"}),
                Finding("columns_file_chosen", {"folder": "fleet", "file": "D-EXYZ.toml"}))
    steps = (Step("read", {}, {'fill values in "D-EXYZ ias"': 2}),)
    log = replace(analysis.log, channels=channels, steps=steps,
                  source=replace(analysis.log.source, inferred=inferred))
    named = replace(analysis, log=log,
                    sheet=analysis.sheet.model_copy(update={"aircraft": "invented, D-EXYZ"}))
    for reader in READERS:
        report = reported(named, assessment_of(named), reader=reader, deidentified=True)
        said_there = " ".join([*all_texts(report), *drawn_texts(report)])
        for secret in ("D-EXYZ", "flight.csv", "limits.toml", "2031", "07:08", '"TIME"'):
            assert secret not in said_there
        # How the file was interpreted is kept, without the names.
        for kept in ("2 fill values in (not named) were", "were taken as day first",
                     "The columns file whose signature fits was taken."):
            assert kept in said_there
        assert report_labels.DEIDENTIFIED in texts_of(section(report, "verdict"))
        assert report.log_sha256 in report.footer


def test_a_time_of_day_tells_the_flight():
    with pytest.raises(ValueError, match="no UTC"):
        Presentation(clock="utc", deidentified=True)


def test_of_many_exceedances_the_worst_get_a_panel(judged, reported):
    # The speed never rests on one value, so that nothing of it is taken for frozen.
    cas = 228.0 + np.arange(2000) % 3
    for i in range(20):
        cas[50 + 90 * i : 60 + 90 * i] += 16.0 + i
    many = judged(cas)
    assert len(many.exceedances) == 20
    report = reported(many)
    keys = [one.key for one in report.sections if one.key.startswith("exceedance-")]
    assert keys == [f"exceedance-{i + 1}" for i in range(20 - PANELS, 20)]
    assert ("A panel is drawn for the 8 worst exceedances, proven ones first; the table lists "
            "all 20.") in texts_of(section(report, keys[0]))
    table = next(block for block in section(report, "found").blocks if isinstance(block, Table))
    assert len(table.rows) == 20
    assert [isinstance(row[0], Link) for row in table.rows] == [False] * 12 + [True] * 8


def test_links_lead_to_sections_that_are_there(analysis, reported):
    for reader in READERS:
        report = reported(analysis, assessment_of(analysis), reader=reader)
        keys = {one.key for one in report.sections}
        links = {cell.key for part in report.sections for block in part.blocks
                 if isinstance(block, Table) for row in block.rows for cell in row
                 if isinstance(cell, Link)}
        assert links <= keys


def test_the_flight_must_be_in_the_summary(analysis, judged, sheet_path):
    summary = summarise([analysis], limits=sheet_path)
    with pytest.raises(ValueError, match="no flight 2"):
        flight_report(replace(analysis, flight=2), summary)
    other = judged([200.0] * 5)
    with pytest.raises(ValueError, match="of another analysis"):
        flight_report(analysis, summary, assessment=assessment_of(other))


def test_every_way_to_begin_and_end_has_words():
    choices = {column.name: column.choices for column in EXCEEDANCE_COLUMNS}
    assert set(report_labels.BEGAN) == set(choices["began_by"])
    assert set(report_labels.ENDED) == set(choices["ended_by"])


def test_everything_the_uncertainty_rests_on_has_words(analysis):
    budget = budget_of(analysis.log, analysis.sheet, analysis.evaluation.air)
    listed = budget.listed(
        {"airspeed": 200.0, "static": 200.0, "altitude": 5e3, "temperature": 5.0})
    assert {code for code, _, _ in listed} <= set(report_labels.TOLERANCES)
    for code in report_labels.TOLERANCES:
        words, size = value_words.tolerance(code, 1.25, Presentation())
        assert words[0].isupper()
        assert re.search(r"\d", size)
        assert value_words.tolerance(code, math.nan, Presentation())[1] == "not known"


def test_a_probability_never_claims_certainty():
    some = (1.0, 0.991, 0.97, 0.93, 0.88, 0.5, 0.06, 0.05, 0.0, math.nan)
    assert [decision_text.probability(p) for p in some] == [
        "more than 99 %", "more than 99 %", "more than 95 %", "about 9 in 10", "about 9 in 10",
        "about 5 in 10", "about 1 in 10", "less than 5 %", "less than 1 %", "not known"]


def test_a_limit_that_began_to_apply_is_why(judged, reported, tmp_path, sheet_path):
    slow = judged(np.full(60, 200.0))
    flap = np.zeros(60)
    flap[30:] = 15.0 * math.pi / 180
    log = replace(slow.log, channels={
        **slow.log.channels, "flap": replace(slow.log.channels["flap"], values=flap)})
    early = analyze(log, read_limits(sheet_path))
    (one,) = early.exceedances
    assert one.began_by == "limit applied"
    report = reported(early, assessment_of(early))
    table = next(block for block in section(report, "found").blocks if isinstance(block, Table))
    assert table.rows[0][-1] == "the limit began to apply"
    assert any("It began when the limit came into force." in text
               for text in texts_of(section(report, "exceedance-1")))


def test_the_sentence_of_an_assurance_gives_its_reason():
    for reason in report_labels.REASONS:
        one = replace(assurance("as flown", -1.0, NOT_DETERMINABLE), reason=reason)
        assert decision_text.with_reason(one).startswith("not determinable: ")


def test_dates_and_speeds_of_a_presentation():
    how = Presentation(clock="utc", utc_start=np.datetime64("2031-01-01T23:59:59.96", "ns"))
    assert how.instant(0.0) == "00:00:00.0Z"
    assert how.instant(math.nan) == how.instant(None) == "not known"
    assert how.speed(100.0, "true_airspeed") == "100.0 kt TAS"
    assert Presentation(units=KMH_METRES).speed(100.0) == "185.2 km/h"
    assert Presentation(units=KMH_METRES).altitude(10_000.0) == "3,048 m"
    assert how.published(0.482, "mach") == "Mach .482"
    assert how.published_difference(-0.004, "mach") == "Mach -.004"
    assert how.speed(0.0004) == "0.0004 kt"


SHOW = Path(loganalyze.show.__path__[0])


@pytest.mark.parametrize("path", [
    path for path in sorted(SHOW.rglob("*.py"))
    # What the tables' columns are is part of their schema; outcomes are codes.
    if path.relative_to(SHOW).parts[0] in ("report", "page", "pdf", "figures", "terminal")],
    ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_no_words_stand_outside_the_wording(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    # What is raised is for programmers; docstrings aren't printed; matplotlib has its own words.
    told = {id(part) for node in ast.walk(tree) if isinstance(node, ast.Raise)
            for part in ast.walk(node)}
    told |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    sentence = re.compile(r"[a-z]{3,} [a-z\[]{2,}|[a-z]{3,} \[")
    found = [node.value for node in ast.walk(tree)
             if isinstance(node, ast.Constant) and isinstance(node.value, str)
             and id(node) not in told and sentence.search(node.value)]
    allowed = re.compile(r"(axes fraction|offset points|(lower|upper) (left|center)|light dark|"
                         r"not judged|<!doctype html>\n|"
                         r"default-src 'none'; img-src data:; style-src )")
    assert [text for text in found if not allowed.fullmatch(text)] == []
