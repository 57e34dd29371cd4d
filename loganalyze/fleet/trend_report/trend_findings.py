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
    for place, phase_tail in enumerate(tails):
        tail = phase_tail.tail
        if tail.refused:
            continue
        peaks: str | Link = f"{tail.peaks:,}"
        if phase_tail.peaks:
            peaks = Link(f"{tail.peaks:,}", tail_anchor(place))
        rows.append(
            (
                phase_tail.phase,
                phase_tail.limit or "–",
                phase_tail.limits_sheet,
                f"{tail.flights:,}",
                peaks,
                how.speed(tail.threshold),
                *(recurrence(basis) for basis in (tail.displayed, tail.flown)),
            )
        )
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
    for detail in sorted(errors, key=lambda error: not error.finding):
        channel = quantity_words.channel(detail.channel)
        rows.append(
            (
                detail.aircraft,
                f"{channel} ({detail.second})" if detail.second else channel,
                detail.way,
                _value(detail.reads_high, detail.unit),
                words.signed_interval(detail.low, detail.high, _digits(detail.unit)),
                "–" if math.isnan(detail.per_year) else _value(detail.per_year, detail.unit),
                f"{len(detail.flights):,}",
                words.probability(detail.probability).removeprefix("p ").removeprefix("= "),
                words.FINDING if detail.finding else "",
            )
        )
    columns = tuple(
        Column(words.COLUMNS[name], name in (
            "reads_high", "interval", "per_year", "flights", "probability"), at == 0)
        for at, name in enumerate(("aircraft", "channel", "way", "reads_high", "interval",
                                   "per_year", "flights", "probability", "finding")))
    sure = [detail for detail in errors if detail.finding]
    by_turns = {
        detail.aircraft for detail in sure if detail.channel == CALIBRATED and detail.way == TURNS
    }
    # Turns show one error, which is that of the calibrated or of the true airspeed: said once.
    findings = tuple(
        words.finding(
            detail.aircraft,
            quantity_words.channel(detail.channel),
            _value(detail.reads_high, detail.unit),
            words.signed_interval(detail.low, detail.high, _digits(detail.unit)),
        )
        for detail in sure
        if detail.way != TURNS or detail.channel == CALIBRATED or detail.aircraft not in by_turns
    )
    blocks: list[Block] = [Paragraph(words.ERRORS)]
    blocks.append(Bullets(findings) if findings else Paragraph(words.NO_FINDING))
    blocks += [Table(words.ERRORS_CAPTION, columns, tuple(rows)),
               Paragraph(words.ERRORS_QUERY, "note")]
    return [Section("errors", words.SECTIONS["errors"], tuple(blocks))]


def _digits(unit: str) -> int:
    return 4 if unit == "1" else 2


def _value(value: float, unit: str) -> str:
    return f"{value:+.{_digits(unit)}f}{'' if unit == '1' else f' {unit}'}"
