"""What is said of a recording's quality where the verdict is: doubts, shares, bounded gaps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loganalyze.record.channels import kind
from loganalyze.text.en.number_format import count, duration, sentence_case
from loganalyze.text.presentation import Presentation
from loganalyze.text.recording_facts import SuspectFacts

DOUBTS: dict[str, str] = {
    "synchronisation lost": "the recording had lost its synchronisation",
    "spike": "one sample, faster out and back than plausible",
    "altitude spike": "one sample of the altitude, faster out and back than plausible",
    "frozen": "the airspeed was frozen while others moved",
    "altitude frozen": "the pressure altitude was frozen while others moved",
    "sources disagree": "two sources of the airspeed disagree",
    "altitude sources disagree": "two sources of the pressure altitude disagree",
    "temperature sources disagree": "two sources of the temperature disagree",
    "stale": "the airspeed was held, then off at one step",
    "altitude stale": "the pressure altitude was held, then off at one step",
    "configuration outlier": "flaps or gear read so for an instant, faster out and back than they "
    "move",
}
"""What each code of doubt about a stretch over a limit means, in plain words."""

NOT_DETERMINED = "Whether a limit was exceeded is not determined"

LISTED = 5
"""How many suspects a verdict lists before it only counts the rest."""


def suspect(facts: SuspectFacts, how: Presentation | None = None) -> str:
    """Return a stretch over a limit that wasn't counted, and why, as a sentence."""
    how = how or Presentation()
    by = how.published_band(facts.excess, facts.quantity)
    when = (f"at {how.instant(facts.time_s)}" if facts.start_s == facts.end_s
            else f"from {how.instant(facts.start_s)} to {how.instant(facts.end_s)}")
    others = ""
    if facts.unconfirmed_by:
        words = [known.words if (known := kind(name)) else name for name in facts.unconfirmed_by]
        others = f", not confirmed by {_listed(list(dict.fromkeys(words)))}"
    elif facts.reason == "spike":
        others = ", and nothing recorded could bear it out"
    return f"Not counted: over {facts.limit} {when} by {by}: {DOUBTS[facts.reason]}{others}."


def in_doubt(found: Sequence[SuspectFacts], how: Presentation | None = None) -> str:
    """Return how many stretches in doubt are over which limits, and by how much, as a clause."""
    one = len(found) == 1
    return (f"{'one stretch is' if one else f'{len(found):,} stretches are'} over "
            f"{doubted_limits(found, how or Presentation())}, and {'its' if one else 'their'} "
            "samples are in doubt")


def doubted_limits(found: Sequence[SuspectFacts], how: Presentation) -> str:
    """Return over which limits samples in doubt are, and by how much: "VMO by up to 25.0 kt"."""
    worst = {facts.limit: facts for facts in sorted(found, key=lambda stretch: stretch.excess)}
    limits = [f"{name} by up to {how.published_band(worst[name].excess, worst[name].quantity)}"
              for name in dict.fromkeys(facts.limit for facts in found)]
    return _listed(limits, "and")


def not_determined(found: Sequence[SuspectFacts], how: Presentation | None = None) -> str:
    """Return the verdict on a flight in which only samples in doubt are over a limit."""
    return f"{NOT_DETERMINED}: {in_doubt(found, how)}."


def nothing_else(judged: str) -> str:
    """Return what follows it; `judged` is what could be judged, as it follows on a verb."""
    return f"Nothing else was over a limit{judged}."


def also_in_doubt(
    found: Sequence[SuspectFacts], exceeded: Sequence[str], how: Presentation | None = None
) -> str:
    """Return the same, as a sentence, of limits that weren't exceeded otherwise; empty for none."""
    others = [facts for facts in found if facts.limit not in exceeded]
    if not others:
        return ""
    names = list(dict.fromkeys(facts.limit for facts in others))
    return f"Whether {_listed(names)} was exceeded is not determined: {in_doubt(others, how)}."


def suspects(found: Sequence[SuspectFacts], how: Presentation | None = None) -> list[str]:
    """Return the suspects of a flight, the greatest few as a sentence each, the rest counted."""
    worst = sorted(range(len(found)), key=lambda i: -found[i].excess)[:LISTED]
    lines = [suspect(found[i], how) for i in sorted(worst)]
    if len(found) > LISTED:
        lines.append(f"{len(found) - LISTED:,} more stretches in doubt are not counted.")
    return lines


def screened(airborne_s: float, screened_s: Mapping[str, float]) -> list[str]:
    """Return what was screened out of the airborne time, as a share of it; nothing for nothing."""
    lost = screened_s.get("", 0.0)
    if not lost > 0 or not airborne_s > 0:
        return []
    reasons = sorted(((time, reason) for reason, time in screened_s.items()
                      if reason and time > 0 and not reason.startswith("temperature")),
                     reverse=True)
    said = "; ".join(f"{reason} {duration(time)}" for time, reason in reasons)
    percent = 100 * lost / airborne_s
    share = f"{percent:.0f}" if percent >= 10 else f"{percent:.2g}"
    return [f"{sentence_case(duration(lost))} of the {duration(airborne_s)} airborne "
            f"({share} %) screened out: {said}."]


def bounded(bounded_s: float, stretches: int) -> list[str]:
    """Return how much of the unknown time can't hide an exceedance; nothing for none."""
    if not bounded_s > 0:
        return []
    return [f"Of this, {duration(bounded_s)} ({count(stretches, 'gap')}) can't hide an exceedance: "
            "too short to reach a limit even at the greatest plausible rate."]


def _listed(words: list[str], last: str = "or") -> str:
    return ", ".join(words[:-1]) + f" {last} {words[-1]}" if len(words) > 1 else words[0]
