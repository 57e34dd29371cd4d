"""What a page of trends says of the margins' tails and of each aircraft's own errors."""

from __future__ import annotations

import math
from collections.abc import Sequence

from loganalyze.fleet.judging.statistics_rows import TURNS
from loganalyze.fleet.statistics.aircraft_errors import InstrumentError
from loganalyze.fleet.statistics.extreme_values import Recurrence
from loganalyze.fleet.statistics.margin_tails import PhaseTail
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Column,
    Link,
    Paragraph,
    Section,
    Table,
)
from loganalyze.text.language import quantity_words
from loganalyze.text.language import trend_labels as words
from loganalyze.text.presentation import Presentation

CALIBRATED = "calibrated_airspeed"


def tail_anchor(place: int) -> str:
    """Return the anchor of the flights that a tail rests on."""
    return f"flights-tail-{place + 1}"


def tails_section(tails: Sequence[PhaseTail], how: Presentation) -> list[Section]:
    """Return the expected time to an exceedance, by type of aircraft, phase and limit.

    Those without enough peaks are counted together.
    """
    if not tails:
        return []
    rows = []
    for place, one in enumerate(tails):
        tail = one.tail
        if tail.refused:
            continue
        peaks: str | Link = f"{tail.peaks:,}"
        if one.peaks:
            peaks = Link(f"{tail.peaks:,}", tail_anchor(place))
        rows.append((
            one.phase, one.limit or "–", one.limits_sheet, f"{tail.flights:,}", peaks,
            how.speed(tail.threshold),
            *(recurrence(basis) for basis in (tail.displayed, tail.flown))))
    columns = tuple(Column(words.COLUMNS[name], name in ("flights", "peaks", "threshold"), at == 0)
                    for at, name in enumerate(("phase", "limit", "sheet", "flights", "peaks",
                                               "threshold", "displayed", "flown")))
    blocks: list[Block] = [Paragraph(words.TAILS)]
    if rows:
        blocks.append(Table(words.TAILS_CAPTION, columns, tuple(rows)))
    if len(rows) < len(tails):
        blocks.append(Paragraph(words.lacking(len(tails) - len(rows), not rows)))
    return [Section("tails", words.SECTIONS["tails"], tuple(blocks))]


def recurrence(found: Recurrence) -> str:
    """Return the expected number of flights to an exceedance, with its interval, or why not."""
    if found.refused and not math.isfinite(found.flights_low):
        return str(words.REFUSED.get(found.refused, found.refused))
    if found.refused:
        return str(words.longer_than(found.flights_low))
    return str(words.recurrence(found.flights, found.flights_low, found.flights_high))


def errors_section(errors: Sequence[InstrumentError]) -> list[Section]:
    """Return each aircraft's own instrument errors, as findings for those who maintain them."""
    if not errors:
        return []
    rows = []
    for one in sorted(errors, key=lambda error: not error.finding):
        channel = quantity_words.channel(one.channel)
        rows.append((
            one.aircraft, f"{channel} ({one.second})" if one.second else channel, one.way,
            _value(one.reads_high, one.unit),
            words.signed_interval(one.low, one.high, _digits(one.unit)),
            "–" if math.isnan(one.per_year) else _value(one.per_year, one.unit),
            f"{len(one.flights):,}",
            words.probability(one.probability).removeprefix("p ").removeprefix("= "),
            words.FINDING if one.finding else ""))
    columns = tuple(
        Column(words.COLUMNS[name], name in (
            "reads_high", "interval", "per_year", "flights", "probability"), at == 0)
        for at, name in enumerate(("aircraft", "channel", "way", "reads_high", "interval",
                                   "per_year", "flights", "probability", "finding")))
    sure = [one for one in errors if one.finding]
    by_turns = {one.aircraft for one in sure if one.channel == CALIBRATED and one.way == TURNS}
    # Turns show one error, which is that of the calibrated or of the true airspeed: said once.
    findings = tuple(words.finding(
        one.aircraft, quantity_words.channel(one.channel), _value(one.reads_high, one.unit),
        words.signed_interval(one.low, one.high, _digits(one.unit))) for one in sure
        if one.way != TURNS or one.channel == CALIBRATED or one.aircraft not in by_turns)
    blocks: list[Block] = [Paragraph(words.ERRORS)]
    blocks.append(Bullets(findings) if findings else Paragraph(words.NO_FINDING))
    blocks += [Table(words.ERRORS_CAPTION, columns, tuple(rows)),
               Paragraph(words.ERRORS_QUERY, "note")]
    return [Section("errors", words.SECTIONS["errors"], tuple(blocks))]


def _digits(unit: str) -> int:
    return 4 if unit == "1" else 2


def _value(value: float, unit: str) -> str:
    return f"{value:+.{_digits(unit)}f}{'' if unit == '1' else f' {unit}'}"
