"""What a flight teaches beyond its limits: beside the ceilings that a school sets itself."""

from __future__ import annotations

from loganalyze.show.report.report_blocks import Block, Bullets, Column, Paragraph, Section, Table
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.language import ceiling_sentences as words
from loganalyze.text.language import report_sentences

STRETCHES_SHOWN = 12


def ceilings(subject: Subject) -> tuple[Section, ...]:
    """Make the section on the sheet's own ceilings; none where it states none."""
    found, how = subject.facts.ceilings, subject.how
    if not found:
        return ()
    blocks: list[Block] = [Bullets(tuple(words.ceiling(one, how) for one in found))]
    stretches = [(one, stretch) for one in found for stretch in one.stretches]
    # Of ceilings in different units the order is each one's own: the farthest of each first.
    ranked = sorted(stretches, key=lambda pair: sorted(
        pair[0].stretches, key=lambda each: -each.most).index(pair[1]))
    shown = sorted(ranked[:STRETCHES_SHOWN], key=lambda pair: pair[1].start_s)
    if shown:
        caption = words.STRETCHES_CAPTION if len(shown) == len(stretches) else (
            words.WORST_CAPTION.format(shown=len(shown), all=len(stretches)))
        columns = tuple(
            Column(words.COLUMNS[key], key in ("time", "most", "altitude", "value", "stated"),
                   key == "ceiling")
            for key in ("ceiling", "from", "to", "time", "most", "when", "altitude", "value",
                        "stated"))
        blocks.append(Table(caption, columns, tuple((
            one.name, how.instant(stretch.start_s), how.instant(stretch.end_s),
            report_sentences.length(stretch.time_above_s), words.most(stretch, one, how),
            how.instant(stretch.worst_time_s), how.altitude(stretch.worst_pressure_altitude_ft),
            how.published(stretch.value, one.quantity),
            how.published(stretch.ceiling_value, one.quantity)) for one, stretch in shown)))
    blocks.append(Paragraph(words.NOTE, "note"))
    return (Section("ceilings", words.title(found, how), tuple(blocks)),)
