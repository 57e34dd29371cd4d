"""The crossover of a limits sheet worked step by step: a section of a report, and a handout."""

from __future__ import annotations

from loganalyze.air.airspeed import cas_from_mach
from loganalyze.air.crossover import CrossoverSteps
from loganalyze.limits.limit_envelope import Crossing, closed_form
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.show.report.report_blocks import Block, Paragraph, Report, Section, Steps
from loganalyze.text.language import crossover_words as words
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__


def crossover_section(sheet: LimitsSheet, crossing: Crossing, how: Presentation) -> Section:
    """Return one crossing of a sheet worked out, or why it has no closed form."""
    named = {"below": crossing.below, "above": crossing.above}
    steps = closed_form(sheet, crossing)
    blocks: list[Block] = [Paragraph(words.INTRODUCTION.format(**named))]
    if steps is None:
        blocks.append(Paragraph(words.no_steps(
            crossing.below, crossing.above, crossing.pressure_altitude, how)))
    else:
        blocks += worked_blocks(steps, crossing.below, crossing.above, how)
    return Section("crossover", words.TITLE.format(**named), tuple(blocks), new_page=True,
                   folded=True)


def worked_blocks(steps: CrossoverSteps, below: str, above: str, how: Presentation
                  ) -> list[Block]:
    """Return the steps from an airspeed and a Mach limit to their crossover, with a check."""
    named = {"below": below, "above": above}
    back = float(cas_from_mach(steps.mach, steps.pressure_altitude))
    return [
        Paragraph(words.GIVEN.format(cas=how.speed(steps.cas / KNOT), mach=f"{steps.mach:g}",
                                     **named)),
        Steps(words.worked_steps(steps, below, above, how)),
        Paragraph(words.CHECK.format(
            mach=f"{steps.mach:g}", altitude=how.altitude(steps.pressure_altitude / FOOT),
            cas=how.speed(back / KNOT), **named)),
        Paragraph(words.NOT_IN_IT),
        Paragraph(words.ROUNDING, "note"),
    ]


def crossover_handout(sheet: LimitsSheet, crossings: tuple[Crossing, ...], how: Presentation
                      ) -> Report:
    """Return a handout on the crossovers of a sheet, a page each."""
    sections = tuple(crossover_section(sheet, crossing, how) for crossing in crossings)
    return Report(
        title=words.HANDOUT_TITLE, subtitle=sheet.aircraft, sections=sections or (
            Section("none", words.HANDOUT_TITLE, (Paragraph(words.NONE),)),),
        footer=words.HANDOUT_FOOTER.format(version=__version__), log_sha256="")
