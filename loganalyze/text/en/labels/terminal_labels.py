"""What the terminal says around the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loganalyze.text.en.number_format import count

TAKEN_AS = "Taken as:"
MEASURED = "Measured"
NO_ALTITUDE = ("No column is recognised as the pressure altitude: no Mach number, and only limits "
               "judged that need none. If the log holds one, name it in a columns file.")
STARTER_WRITTEN = ("The columns file to start from is in {}: check it, replace each \"?\", and "
                   "give it with --columns.")
PRIOR = "A probability is that the limit was truly exceeded; {prior}."


HEADING = ("No.", "Limit", "Start", "Span", "Time over", "Worst", "Severity")
"""The heading of the table of exceedances."""
NONE = "-"
"""The cell of a severity that no rule gives."""


def row(cells: Sequence[str]) -> str:
    """Return a row of that table as a sentence, for names too long for a table."""
    limit, *others = cells
    said = (f"{name.lower()} {cell}" for name, cell in zip(HEADING[2:], others, strict=True))
    return f"{limit}: {', '.join(said)}."


def numbered(number: int, level: str, asked: str) -> str:
    """Return what gave one exceedance its severity: "1 medium (about 9 in 10), for 7.5 s ..."."""
    return f"{number} {level}" + (f", {asked}" if asked else "")


def severities(rules: Mapping[str, Sequence[str]], examples: bool) -> str:
    """Return what gave the exceedances their severities, by rule; empty for none."""
    if not rules:
        return ""
    said = "; ".join(f'"{rule}" {"; ".join(reasons)}' for rule, reasons in rules.items())
    return f"Severity by {'example rules' if examples else 'the rules'} of the sheet: {said}."


def assumed(sentences: Sequence[str]) -> str:
    """Return what was assumed, in a line."""
    return f"Assumed: {' '.join(sentences)}"


def judged(log: str, limits: str, aircraft: str) -> str:
    """Return what was judged against what."""
    return f"{log} against {limits} ({aircraft})"


def flight(number: int, files: Sequence[str] = ()) -> str:
    """Return the name of one flight of several, and that of its files where they are several."""
    return f"flight {number}" + (f", in {', '.join(files)}" if files else "")


def title(limit: str, when: str) -> str:
    """Return the title of an exceedance."""
    return f"{limit}, {when}" if when else limit


def pointer(speed: str) -> str:
    """Return where the limit pointer stood at the worst instant."""
    return f"The limit pointer stood at {speed}."


def near(limit: str, instant: str, altitude: str, margin: str, when: str) -> str:
    """Return a stretch that stayed under but may have been over."""
    return (f"Near: {limit}, {margin} under it at {instant}, {altitude}, {when}: may have been "
            "exceeded.")


def fewer_near(number: int) -> str:
    """Return that more stretches near a limit weren't listed."""
    return (f"The other {count(number, 'stretch', 'stretches')} that came near "
            f"{'is' if number == 1 else 'are'} less likely to have been over.")


def thresholds(said: str) -> str:
    """Return the thresholds that the judgement used."""
    return f"Thresholds: {said}"


def phase(start: str, end: str, name: str) -> str:
    """Return one phase of the flight."""
    return f"{start} to {end}  {name}"


def tolerance(sensor: str, size: str, source: str, at_most: str = "") -> str:
    """Return what the uncertainty of one sensor rests on; `at_most` names a bound of it."""
    which = f", {at_most}" if at_most else ""
    return f"{sensor}{which}: standard uncertainty {size} ({source})"
