"""The follow-up pack: one case for one reader, as a report that page and PDF render."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, Literal

from loganalyze.review.cases.case_rows import CaseIdentity, CaseMaterial
from loganalyze.review.decisions.case_decisions import CaseRecord, FollowUp
from loganalyze.review.outputs.case_figure import case_figure
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.files import report_formats
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Column,
    KeyValues,
    Paragraph,
    Picture,
    Report,
    Section,
    Table,
)
from loganalyze.text.language import desk_codes, desk_labels, report_labels, verdict_sentences
from loganalyze.text.language import pack_words as words
from loganalyze.version import __version__

PackReader = Literal["safety", "crew", "maintenance"]
PackFormat = Literal["html", "pdf"]
ASKS: Mapping[str, tuple[str, ...]] = {
    "safety": ("inspection requested", "crew contact", "sheet fault"),
    "crew": ("crew contact",), "maintenance": ("inspection requested", "sheet fault")}
"""The kinds of follow-up that each reader is asked for, and told of."""


@dataclass(frozen=True)
class CasePack:
    """What a pack is made from; ``identity`` : None unless it is to name whose flight it was.

    ``head`` : of the trail when it was made.
    """

    material: CaseMaterial
    record: CaseRecord
    samples: Mapping[str, Sequence[Any]]
    identity: CaseIdentity | None
    head: str


def case_report(pack: CasePack, reader: PackReader) -> Report:
    """Return the follow-up pack of a case for a reader.

    The crew is told what was recorded, why, and what they are asked; maintenance what the airframe
    met and what is to be inspected, and nothing of how it was flown; the safety office all.
    """
    row = pack.material.exceedance
    sections = [Section("what", words.SECTIONS["what"], tuple(_what(pack)))]
    asked = [follow_up for follow_up in pack.record.follow_ups if follow_up.kind in ASKS[reader]]
    sections.append(Section("asked", words.SECTIONS["asked"], (_asked(asked),)))
    if pack.identity is not None:
        sections.append(Section("identity", words.SECTIONS["identity"], (
            KeyValues(_pairs(words.IDENTITY, vars(pack.identity), unknown=True)),)))
    sections.append(Section("picture", words.SECTIONS["picture"], (_picture(pack),)))
    if reader != "maintenance":
        sections.append(Section("causes", words.SECTIONS["causes"], (_causes(pack),)))
    sections.append(Section("quality", words.SECTIONS["quality"], (KeyValues(_pairs(
        words.SURENESS, {**pack.material.flight, **row, "interval": _interval(row)})),)))
    if reader == "safety":
        sections.append(Section("decision", words.SECTIONS["decision"], tuple(_decision(pack))))
    sections.append(Section("cautions", words.SECTIONS["cautions"], (
        Caution(report_labels.CAUTION_TITLE, tuple(verdict_sentences.CAUTIONS)),)))
    key = pack.material.listed.case_key
    return Report(words.PACK_TITLE, words.case_name(key, str(row["limit"]), reader),
                  tuple(sections), words.FOOTER.format(
                      version=__version__, case=key[:8], head=pack.head[:20]), "")


def rendered(report: Report, form: PackFormat) -> bytes:
    """Return a report as a page or a PDF, by the renderers of every report."""
    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    return report_formats.named(form).make(report, "A4", drawn)


def _what(pack: CasePack) -> Iterator[Block]:
    row, listed = pack.material.exceedance, pack.material.listed
    yield Paragraph(words.EXCEEDED_BY.format(
        excess=_excess(row), limit=row["limit"], duration=row["duration_s"] or 0.0,
        phase=desk_codes.word("phase", row["phase"]) if row["phase"]
        else words.PHASE_UNKNOWN), "lead")
    if pack.material.changes:
        yield Paragraph(words.MOVED)
    yield KeyValues(_pairs(words.FACTS, {
        **row, "excess": _excess(row), "month": listed.month, "aircraft": listed.aircraft}))


def _asked(follow_ups: Sequence[FollowUp]) -> Block:
    if not follow_ups:
        return Paragraph(words.NOTHING_ASKED)
    return Table(
        words.FOLLOW_UPS,
        tuple(map(Column, words.FOLLOW_UP_COLUMNS)),
        tuple(
            (
                desk_codes.word("kind", follow_up.kind),
                follow_up.task,
                follow_up.owner,
                follow_up.due,
                desk_codes.word("state", follow_up.state),
                follow_up.outcome,
            )
            for follow_up in follow_ups
        ),
    )


def _picture(pack: CasePack) -> Block:
    row = pack.material.exceedance
    if not pack.samples:
        return Paragraph(words.NO_SAMPLES)
    began, in_mach = row["flight_start_s"] or 0.0, row["quantity"] == "mach"
    return Picture("case", partial(case_figure, pack.samples, row["start_s"] - began,
                                   row["end_s"] - began, in_mach=in_mach),
                   words.MACH_PICTURE_WORDS if in_mach else words.PICTURE_WORDS,
                   words.PICTURE_CAPTION)


def _causes(pack: CasePack) -> Block:
    known = [cause for cause in pack.material.causes if cause.get("lost_kt") is not None]
    if not known:
        return Paragraph(words.NO_CAUSES)
    return Table(words.CAUSES_CAPTION, (
        Column(words.STRETCH, heads_row=True),
        *(Column(name, numeric=True) for name in words.CAUSES.values())), tuple(
            (words.STRETCHES[case["stretch"]],
             *(desk_labels.lost(case.get(name)) for name in words.CAUSES)) for case in known))


def _decision(pack: CasePack) -> Iterator[Block]:
    record = pack.record
    if record.decision is None:
        yield Paragraph(words.NO_DECISION)
    else:
        yield Paragraph(words.DECIDED.format(
            decision=desk_codes.word("decision", record.decision), person=record.decided_by,
            day=(record.decided_at or "")[:10], reason=record.reason))
    if record.notes:
        yield Bullets(tuple(words.note_line(note.author, note.written_at[:10], note.note)
                            for note in record.notes))


def _excess(row: Mapping[str, Any]) -> str:
    if row.get("worst_excess_mach") is not None:
        return f"{row['worst_excess_mach']:.3f} ({row['worst_excess_kt'] or 0:.1f} kt)"
    if row.get("worst_excess_kt") is not None:
        return f"{row['worst_excess_kt']:.1f} kt"
    if row.get("worst_excess") is not None:
        return f"{row['worst_excess']:.2f} {row.get('unit') or ''}".strip()
    return str(words.UNKNOWN)


def _interval(row: Mapping[str, Any]) -> str | None:
    low, high = row.get("excess_low"), row.get("excess_high")
    if low is None or high is None:
        return None
    return str(desk_labels.interval(low, high, row.get("worst_excess_mach") is not None))


def _pairs(names: Mapping[str, str], values: Mapping[str, Any], *, unknown: bool = False
           ) -> tuple[tuple[str, str], ...]:
    """Return what is known of some values with their names; all of them where `unknown`."""
    found = []
    for name, word in names.items():
        value = values.get(name)
        if value in (None, "") and not unknown:
            continue
        found.append((word, str(desk_labels.value(value, name, values.get("quantity") or ""))))
    return tuple(found)
