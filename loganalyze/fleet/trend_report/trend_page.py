"""The report of a fleet's trends, in the sections and blocks of any report."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from loganalyze.fleet.statistics.event_rates import EventRate
from loganalyze.fleet.statistics.trend_tables import OF_FLIGHTS, TAG, TrendRow
from loganalyze.fleet.trend_report.trend_answers import TrendAnswers, leading
from loganalyze.fleet.trend_report.trend_figures import (
    aircraft_figure,
    change_figure,
    course_figure,
    margins_figure,
    pictured,
)
from loganalyze.fleet.trend_report.trend_findings import (
    errors_section,
    tail_anchor,
    tails_section,
)
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Column,
    Link,
    Paragraph,
    Picture,
    Report,
    Section,
    Subheading,
    Table,
)
from loganalyze.text.language import number_format, report_labels, verdict_sentences
from loganalyze.text.language import trend_labels as words
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__

MOST_LISTED = 100
"""Flights that are listed behind one number; the store gives all of them."""
CLOSEST = 10
WHOLE = frozenset(("flight", "interval", "as_flown"))
"""Columns whose cells aren't broken into lines."""
MARGINS_ANCHOR, CAPTURED_ANCHOR = "flights-margins", "flights-not-captured"
BELOW_KT = (0.0, 2.0, 5.0, 10.0)


def trend_report(found: TrendAnswers, how: Presentation) -> Report:
    """Return the report of a fleet's trends.

    Parameters
    ----------
    found : TrendAnswers
        As `trend_answers` gave them.
    how : Presentation
        In which units.
    """
    sections = [
        Section("verdict", words.SECTIONS["verdict"], tuple(_verdict(found, how))),
        Section("course", words.SECTIONS["course"], tuple(_course(found))),
        *_change(found),
        Section("margins", words.SECTIONS["margins"], tuple(_margins(found, how))),
        *tails_section(found.tails, how),
    ]
    for dimension in found.dimensions:
        if dimension == "month":
            continue
        rows = found.rows(dimension)
        drawn = [_aircraft_picture(found)] if dimension == "aircraft" and pictured(rows) else []
        sections.append(Section(
            f"by-{_key(dimension)}", words.group_title(dimension),
            (*drawn, _rates(dimension, rows, found.proven))))
    sections += errors_section(found.errors)
    sections.append(Section("outliers", words.SECTIONS["outliers"], (_closest(found, how),),
                            new_page=True))
    sections += [Section("unusual", words.SECTIONS["unusual"], tuple(_unusual(found, how))),
                 Section("captured", words.SECTIONS["captured"], tuple(_captured(found)))]
    sections += _behind(found, how)
    sections += [
        Section("cautions", words.SECTIONS["cautions"], (
            Caution(report_labels.CAUTION_TITLE, tuple(verdict_sentences.CAUTIONS)),)),
        Section("method", words.SECTIONS["method"], (
            Bullets((*words.METHOD, words.tests(found.tests))),)),
    ]
    return Report(words.TITLE, _subtitle(found), tuple(sections),
                  words.FOOTER.format(version=__version__), "")


def _subtitle(found: TrendAnswers) -> str:
    whole = found.trends.whole
    months = sorted(row.group for row in found.rows("month") if row.group[:4].isdigit())
    span = f"{months[0]} – {months[-1]}" if months else words.NO_DATES
    return words.SUBTITLE.format(
        span=span, flights=number_format.count(whole.flights, "flight"),
        aircraft=number_format.count(whole.rate.aircraft, "aircraft", "aircraft"),
        hours=whole.rate.hours)


def _verdict(found: TrendAnswers, how: Presentation) -> Iterator[Block]:
    trends, whole = found.trends, found.trends.whole
    yield Paragraph(words.lead(found.changes), "lead")
    said = [_margin_course(found, how), words.rate_course(found.rate_rises, found.rate_adjusted)]
    if trends.change is not None and found.action is not None:
        said.append(words.change(found.action.isoformat(), trends.change.ratio,
                                 found.change_adjusted))
    most = [(dimension, row.group, row.rate.events) for dimension in ("limit", "phase", "cause")
            if (row := leading(found.rows(dimension))) is not None]
    if most:
        said.append(words.where(most, whole.rate.events))
    outlying = [aircraft for aircraft in found.aircraft if aircraft.adjusted < 0.05]
    said += [
        words.outlying(aircraft.group, aircraft.times, aircraft.adjusted) for aircraft in outlying
    ]
    if not outlying and "aircraft" in found.dimensions:
        said.append(words.NO_OUTLYING if len(found.aircraft) > 1 else words.ONE_AIRCRAFT)
    rate = whole.rate
    yield Paragraph(words.rate_sentence(
        rate.events, whole.flights, 1000 * rate.rate, 1000 * rate.low, 1000 * rate.high,
        100 * rate.events / whole.flights, whole.judged_share, found.proven))
    yield Bullets(tuple(said))
    yield _rates("whole", [whole], found.proven)
    hidden = _hidden(found)
    notes = [words.left_out(hidden, found.least)] if hidden else []
    notes += [words.undated(trends.undated)] if trends.undated else []
    notes += [words.problems(trends.problems)] if trends.problems else []
    yield from (Paragraph(note, "note") for note in notes)


def _margin_course(found: TrendAnswers, how: Presentation) -> str:
    course = found.course
    if math.isnan(course.per_year_kt):
        return str(words.NO_COURSE)
    return str(words.margin_course(
        _signed(course.per_year_kt, how), _signed(course.low_kt, how),
        _signed(course.high_kt, how), found.course_adjusted))


def _signed(knots: float, how: Presentation) -> str:
    """Return a difference of speeds with its sign, or a dash where it isn't known."""
    if math.isnan(knots):
        return str(words.number(knots))
    return f"{knots * how.units.per_knot:+.1f} {how.units.speed}"


def _hidden(found: TrendAnswers) -> int:
    """Return the most flights that any dimension doesn't show."""
    shown = [sum(row.flights for row in found.rows(dimension)) for dimension in found.by
             if dimension in OF_FLIGHTS or dimension.startswith(TAG)]
    return max((found.trends.whole.flights - count for count in shown), default=0)


def _course(found: TrendAnswers) -> Iterator[Block]:
    rows = found.rows("month")
    if pictured(rows):
        yield Picture("course", partial(course_figure, found), words.COURSE_WORDS,
                      words.COURSE_CAPTION)
    yield _rates("month", rows, found.proven) if rows else Paragraph(words.NO_MONTHS)


def _aircraft_picture(found: TrendAnswers) -> Picture:
    return Picture("aircraft", partial(aircraft_figure, found), words.AIRCRAFT_WORDS,
                   words.COURSE_CAPTION)


def _change(found: TrendAnswers) -> list[Section]:
    change, day = found.trends.change, found.action
    if change is None or day is None:
        return []
    rows = tuple((name, f"{rate.hours:,.1f}", _share(captured), str(rate.events),
                  *_rate_cells(rate))
                 for name, rate, captured in zip(
                     (words.BEFORE, words.AFTER), (change.before, change.after),
                     found.trends.captured, strict=True))
    table = Table(words.rate_caption("whole", found.proven), _columns(
        {"period": False, "hours": True, "captured": True, "episodes": True, "rate": True,
         "interval": True}), rows)
    return [Section("change", words.SECTIONS["change"].format(day=day.isoformat()), (
        Paragraph(words.change(day.isoformat(), change.ratio, found.change_adjusted)),
        Picture("change", partial(change_figure, found), words.CHANGE_WORDS), table))]


def _margins(found: TrendAnswers, how: Presentation) -> Iterator[Block]:
    margins = found.margins.known_kt
    if not len(margins):
        yield Paragraph(words.NO_MARGIN)
        return
    yield Paragraph(_margin_course(found, how))
    yield Picture("margins", partial(margins_figure, found, how), words.MARGINS_WORDS)
    rows: list[tuple[str | Link, ...]] = []
    low, high = found.margins.low_kt, found.margins.high_kt
    for below in BELOW_KT:
        count = int((margins < below).sum())
        rows.append((
            how.step(below), Link(f"{count:,}", MARGINS_ANCHOR) if count else "0",
            f"{100 * count / len(margins):.2f} %", f"{int((high < below).sum()):,}",
            f"{int((low < below).sum()):,}"))
    yield Table(words.MARGINS_CAPTION, _columns(
        {"below": False, "recorded": True, "share": True, "surely": True, "possibly": True}),
        tuple(rows))
    yield Bullets(tuple(words.QUANTILES.format(
        share=f"{100 * share:g} %", margin=how.speed(float(np.quantile(margins, share))))
        for share in (0.01, 0.05, 0.5)))


def _rates(dimension: str, rows: Sequence[TrendRow], proven: bool) -> Table:
    """Return rates as a table; the number of episodes leads to the flights behind it."""
    columns = {"group": False, "flights": True, "captured": True, "hours": True, "judged": True,
               "episodes": True, "rate": True, "interval": True, "per_100": True}
    made = []
    for place, row in enumerate(rows):
        rate = row.rate
        episodes: str | Link = f"{rate.events:,}"
        if row.with_events:
            episodes = Link(f"{rate.events:,}", _anchor(dimension, place))
        captured = _share(row.captured)
        per_100 = 100 * rate.events / row.flights if row.flights else math.nan
        made.append((
            row.group or words.WHOLE, f"{row.flights:,}",
            Link(captured, CAPTURED_ANCHOR) if row.captured < 1 else captured,
            f"{rate.hours:,.1f}", _share(row.judged_share), episodes, *_rate_cells(rate),
            words.number(per_100)))
    return Table(words.rate_caption(dimension, proven), _columns(
        columns, words.group_name(dimension)), tuple(made))


def _share(value: float) -> str:
    """Return a share in percent, never rounded to all or nothing; a dash where not known."""
    if math.isnan(value):
        return "–"
    text = f"{100 * value:.0f} %"
    return f"{100 * value:.1f} %" if text in ("0 %", "100 %") and 0 < value < 1 else text


def _rate_cells(rate: EventRate) -> tuple[str, str]:
    return (words.number(1000 * rate.rate), words.interval(1000 * rate.low, 1000 * rate.high))


def _columns(numeric: Mapping[str, bool], group: str = "") -> tuple[Column, ...]:
    return tuple(Column(words.COLUMNS.get(name, group), is_number, heads_row=place == 0,
                        whole=name in WHOLE)
                 for place, (name, is_number) in enumerate(numeric.items()))


def _closest(found: TrendAnswers, how: Presentation) -> Block:
    places = range(min(CLOSEST, len(found.margins.known_kt)))
    if not places:
        return Paragraph(words.NO_MARGIN)
    return _flights_table(words.OUTLIERS_CAPTION, list(places), found, how)


def _unusual(found: TrendAnswers, how: Presentation) -> Iterator[Block]:
    """Return the flights that came far closer than flights of their type and phase usually do."""
    yield Paragraph(words.UNUSUAL)
    if not found.unusual:
        yield Paragraph(words.NO_UNUSUAL)
        return
    listed = found.unusual[:MOST_LISTED]
    yield Table(
        words.unusual(len(found.unusual), len(listed)),
        _columns(
            {
                "flight": False,
                "phase": False,
                "sheet": False,
                "margin": True,
                "usual": True,
                "score": True,
                "flights": True,
            }
        ),
        tuple(
            (
                outlying_flight.flight_key,
                outlying_flight.phase,
                outlying_flight.limits_sheet,
                _signed(outlying_flight.margin_kt, how),
                _signed(outlying_flight.usual_kt, how),
                f"{outlying_flight.score:.1f}",
                f"{outlying_flight.flights:,}",
            )
            for outlying_flight in listed
        ),
    )


def _captured(found: TrendAnswers) -> Iterator[Block]:
    """Return what was read and not judged: logs by kind of problem, and flights by their keys."""
    trends = found.trends
    yield Subheading(words.CAPTURED_HEADING, CAPTURED_ANCHOR)
    yield Paragraph(words.captured(trends.whole.captured, len(trends.lost), trends.problems))
    if trends.problem_kinds:
        yield Table(words.PROBLEMS_CAPTION, _columns({"kind": False, "logs": True}), tuple(
            (words.PROBLEM_KINDS.get(kind, kind), f"{count:,}")
            for kind, count in trends.problem_kinds.items()))
    if trends.lost:
        yield Bullets(trends.lost[:MOST_LISTED])
    yield Paragraph(words.CAPTURED_QUERY, "note")


def _behind(found: TrendAnswers, how: Presentation) -> list[Section]:
    """Return the flights behind the rates of each dimension, folded."""
    order = {key: place for place, key in enumerate(found.margins.flight_key.tolist())}
    sections = []
    for dimension in ("whole", *found.dimensions):
        rows = [found.trends.whole] if dimension == "whole" else found.rows(dimension)
        blocks: list[Block] = []
        for place, row in enumerate(rows):
            if not row.with_events:
                continue
            listed = sorted(order[key] for key in row.with_events if key in order)[:MOST_LISTED]
            caption = words.behind(words.group_name(dimension), row.group, len(row.with_events),
                                   len(listed))
            blocks += [Subheading(row.group or words.ALL_FLIGHTS, _anchor(dimension, place)),
                       _flights_table(caption, listed, found, how)]
        blocks.append(Paragraph(words.query(dimension), "note"))
        sections.append(Section(
            f"behind-{_key(dimension)}", words.BEHIND.format(
                name=words.group_title(dimension).lower()), tuple(blocks), on_paper=False,
            folded=True))
    near = list(range(min(int((found.margins.known_kt < BELOW_KT[-1]).sum()), MOST_LISTED)))
    if near:
        sections.append(Section("behind-margins", words.BEHIND.format(name=words.BEHIND_MARGINS), (
            Subheading(words.BEHIND_MARGINS, MARGINS_ANCHOR),
            _flights_table(words.OUTLIERS_CAPTION, near, found, how)), on_paper=False, folded=True))
    peaks: list[Block] = []
    for place, tail in enumerate(found.tails):
        listed = sorted(order[key] for key in tail.peaks if key in order)[:MOST_LISTED]
        if listed:
            name = ", ".join(part for part in (tail.phase, tail.limit, tail.limits_sheet) if part)
            peaks += [Subheading(name, tail_anchor(place)),
                      _flights_table(words.peaks(name, len(tail.peaks), len(listed)), listed, found,
                                     how)]
    if peaks:
        sections.append(Section("behind-tails", words.BEHIND.format(name=words.BEHIND_TAILS),
                                tuple(peaks), on_paper=False, folded=True))
    return sections


def _flights_table(caption: str, places: Sequence[int], found: TrendAnswers, how: Presentation,
                   ) -> Table:
    """Return flights by their keys alone: whose they are stands in the store, for those who may
    open it, and small groups stay hidden."""
    margins = found.margins
    rows = tuple((
        str(margins.flight_key[place]), _signed(float(margins.margin_kt[place]), how),
        _span(float(margins.low_kt[place]), float(margins.high_kt[place]), how),
        str(margins.limit[place]), how.altitude(float(margins.altitude_ft[place])),
        str(margins.severity[place])) for place in places)
    return Table(caption, _columns({"flight": False, "margin": True, "as_flown": True,
                                    "limit": False, "altitude": True, "severity": False}), rows)


def _span(low: float, high: float, how: Presentation) -> str:
    """Return an interval of a difference of speeds, or a dash where it isn't known."""
    return str(words.signed_interval(low * how.units.per_knot, high * how.units.per_knot))


def _anchor(dimension: str, place: int) -> str:
    return f"flights-{_key(dimension)}-{place + 1}"


def _key(dimension: str) -> str:
    """Return a dimension as it stands in an anchor."""
    return "".join(letter if letter.isalnum() else "-" for letter in dimension)
