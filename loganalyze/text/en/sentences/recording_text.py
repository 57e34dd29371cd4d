"""What is said of a recording: a sentence for each flag of its quality."""

from __future__ import annotations

from loganalyze.record.channels import kind
from loganalyze.record.quality_flags import QualityFlag
from loganalyze.text.en.number_format import count, duration, sentence_case
from loganalyze.text.en.value_words import channel_words
from loganalyze.text.presentation import Presentation

FLAGS: dict[str, str] = {
    "missing": "no value",
    "out of range": "outside the plausible range",
    "faster than plausible": "out and at once back, faster than plausible",
    "frozen": "frozen while others moved",
    "stale": "held, then off at one step",
    "ceased to flicker": "without its noise while the aircraft climbed or changed speed (frozen, "
                         "calm air or a coarse step: the log doesn't show which)",
    "sources disagree": "two sources disagree",
    "implausible step": "a step that no aircraft makes",
    "clamped": "at rest at its lowest value, which may hide a lower one",
    "quantised": "recorded in steps",
    "synchronisation lost": "several channels corrupt at once, synchronisation lost",
    "on the ground": "on the ground",
}
"""What each code of a flag means, in plain words."""


def flag(quality: QualityFlag, how: Presentation | None = None) -> str:
    """Return what a flag found as a sentence, empty where it found nothing."""
    how = how or Presentation()
    subject = channel_words(quality.channel) if quality.channel else ""
    if quality.name == "quantised":
        return _steps(subject, quality, how) if quality.values.get("step", 0) > 0 else ""
    if not len(quality.raised):
        return ""
    what = FLAGS[quality.name]
    times = len(quality.raised)
    said = f"{subject}: {what}" if subject else sentence_case(what)
    said += f" for {duration(quality.raised.duration)} of {duration(quality.covered.duration)}, "
    said += f"{count(times, 'stretch', 'stretches')} from " if times > 1 else "from "
    said += how.instant(float(quality.raised.edges[0, 0]))
    if quality.values.get("witnesses"):
        said += f" (shown by {_listed(quality.values['witnesses'])})"
    if "greatest" in quality.values:
        said += (f" (by {in_edge_unit(quality.values['greatest'], quality.channel, how)} at most, "
                 f"{in_edge_unit(quality.values['mean'], quality.channel, how)} on average)")
    return said + (": screened out." if quality.screened_out else ".")


def _steps(subject: str, quality: QualityFlag, how: Presentation) -> str:
    step = in_edge_unit(quality.values["step"], quality.channel, how)
    recorder = quality.values.get("recorder", "not determinable")
    if recorder == "not determinable":
        return f"{subject}: recorded in steps of {step}; whether rounded or cut off isn't known."
    return (f"{subject}: recorded in steps of {step}; the recorder {recorder}, as shown by "
            f"{_listed((quality.values['by'],))}.")


def in_edge_unit(difference: float, channel: str, how: Presentation) -> str:
    """Return a difference [SI] in the unit in which the channel is shown."""
    known = kind(channel)
    if known is None:
        return f"{difference:.3g}"
    unit, factor = how.units.edge(known.unit.name)
    return f"{difference / known.unit.factor * factor:.4g}{'' if unit == '1' else f' {unit}'}"


def _listed(names: tuple[str, ...]) -> str:
    words = [known.words if (known := kind(name)) else name for name in names]
    return ", ".join(words[:-1]) + f" and {words[-1]}" if len(words) > 1 else words[0]
