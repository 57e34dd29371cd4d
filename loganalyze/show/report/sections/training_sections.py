"""Sections for training: a school's own ceilings, and what would have helped."""

from __future__ import annotations

from loganalyze.explain.what_if import WhatIfSettings, WhatWouldHaveHelped
from loganalyze.explain.what_if import what_if as explained
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.show.report.report_blocks import Block, Bullets, Column, Paragraph, Section, Table
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.language import ceiling_sentences as words
from loganalyze.text.language import value_words, what_if_words

STRETCHES_SHOWN = 12
WHAT_IF_SHOWN = 4
"""How many exceedances are asked about, the worst first."""
LESS_STEEP_FOR_S = WhatIfSettings().less_steep_for_s


def ceilings(subject: Subject) -> tuple[Section, ...]:
    """Make the section on the sheet's own ceilings; none where it states none."""
    found, how = subject.facts.ceilings, subject.how
    if not found:
        return ()
    blocks: list[Block] = [Bullets(tuple(words.ceiling(ceiling, how) for ceiling in found))]
    stretches = [(ceiling, stretch) for ceiling in found for stretch in ceiling.stretches]
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
            ceiling.name, how.instant(stretch.start_s), how.instant(stretch.end_s),
            value_words.length(stretch.time_above_s), words.most(stretch, ceiling, how),
            how.instant(stretch.worst_time_s), how.altitude(stretch.worst_pressure_altitude_ft),
            how.published(stretch.value, ceiling.quantity),
            how.published(stretch.ceiling_value, ceiling.quantity)) for ceiling, stretch in shown)))
    blocks.append(Paragraph(words.NOTE, "note"))
    return (Section("ceilings", words.title(found, how), tuple(blocks)),)


def what_if(subject: Subject) -> tuple[Section, ...]:
    """Make the section on what would have helped, for exceedances of speeds that have a panel."""
    found = subject.facts.exceedances
    shown = sorted(i for i in subject.worst_first[:WHAT_IF_SHOWN]
                   if not none_of_a_speed(found[i].quantity))
    if not shown:
        return ()
    blocks: list[Block] = []
    for i in shown:
        blocks += _helped(explained(subject.analysis, i + 1), subject)
    blocks.append(Paragraph(what_if_words.NOTE, "note"))
    return (Section("what-if", what_if_words.TITLE, tuple(blocks)),)


def _helped(found: WhatWouldHaveHelped, subject: Subject) -> list[Block]:
    how, said = subject.how, what_if_words
    reasons = list(dict.fromkeys(answer.refusal for answer in found.answers))
    if len(reasons) == 1 and reasons[0]:
        return [Paragraph(said.all_refused(found.number, found.limit, reasons[0]))]
    rows: list[tuple[str, ...]] = [
        (said.AS_FLOWN, said.one_result(found.as_flown_kt, found.limit, how), "", "")]
    for kind in ("earlier", "shallower"):
        answers = [answer for answer in found.answers if answer.change == kind]
        if len({answer.refusal for answer in answers}) == 1 and answers[0].refusal:
            rows.append((said.group(kind), said.refused(answers[0].refusal), "", ""))
            continue
        for answer in answers:
            change = said.change(kind, answer.amount, LESS_STEEP_FOR_S,
                                 found.onset_s == found.onset_s, how)
            if answer.refusal:
                rows.append((change, said.refused(answer.refusal), "", ""))
                continue
            rows.append((change, said.result(answer.low_kt, answer.high_kt, found.limit, how),
                         said.gain(found.as_flown_kt, answer.low_kt, answer.high_kt, how),
                         how.instant(answer.from_s)))
    columns = tuple(Column(said.COLUMNS[key], heads_row=key == "change")
                    for key in ("change", "result", "gain", "from"))
    return [
        Table(said.CAPTION.format(number=found.number, limit=found.limit), columns, tuple(rows))
    ]
