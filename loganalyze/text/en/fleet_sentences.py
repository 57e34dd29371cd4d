"""What is said of a run over a fleet's logs, and of its trends."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from loganalyze.text.en.number_format import rate


def progress_line(done: int, logs: int, flights: int, seconds: float) -> str:
    """Return how far a run is, with its rate and the time left."""
    rate = done / seconds if seconds > 0 else 0.0
    left = f", {_duration((logs - done) / rate)} left" if rate > 0 and done < logs else ""
    return f"{done:,} of {logs:,} logs, {flights:,} flights, {rate:.1f} logs/s{left}"


def run_lines(
    *, logs: int, same: int, known: int, judged: int, expired: int, flights: int, hours: float,
    problems: int, outcomes: Mapping[str, int], unjudged_limits: int, seconds: float, store: str,
) -> list[str]:
    """Return the report of a run, a line each."""
    lines = [
        f"{_count(logs, 'log')} found: {judged:,} judged now, {known:,} judged before, "
        f"{same:,} with the bytes of another, {problems:,} that could not be judged.",
    ]
    if expired:
        lines.append(f"{_count(expired, 'log')} not judged again: deleted before for their age.")
    if judged:
        found = ", ".join(f"{count:,} {outcome}" for outcome, count in sorted(outcomes.items()))
        lines.append(f"{_count(flights, 'flight')} judged now, {hours:,.1f} recorded hours: "
                     f"{found}.")
        if unjudged_limits:
            lines.append(f"In {_count(unjudged_limits, 'flight')} a limit was judged for too "
                         "little of the time.")
    if problems:
        lines.append(f"Why a log could not be judged stands in {store}/problems.")
    lines.append(f"Store: {store} ({_duration(seconds)})")
    return lines


def retained_line(identities: int, flights: int, store: str) -> str:
    """Return what was deleted for its age."""
    return (f"Deleted from {store}: {_count(identities, 'identity', plural='identities')} and "
            f"{_count(flights, 'flight')}, with all that was found in them.")


def exported_line(flights: int, without_aircraft: int, without_month: int, folder: str) -> str:
    """Return what was written for others."""
    return (f"{folder}: {_count(flights, 'flight')}; so that no group is too small, "
            f"{without_aircraft:,} without their aircraft and {without_month:,} without their "
            "month.")


def prior_source(flights: int) -> str:
    """Return where a prior comes from."""
    return f"margins of {_count(flights, 'flight')}"


def prior_lines(flights: Mapping[str, int], left_out: Mapping[str, int], path: str) -> list[str]:
    """Return what was written to a priors file, and what it lacks, a line each."""
    lines = [f"Priors of {', '.join(f'{limit} ({number:,})' for limit, number in flights.items())}"
             f" (flights) written to {path}."]
    if left_out:
        lines.append("Too few flights with a known margin: " + ", ".join(
            f"{limit} ({number:,})" for limit, number in left_out.items()) + ".")
    lines.append("Use them on this fleet's flights only: analyze --priors.")
    return lines


def _count(number: int, what: str, same: bool = False, plural: str = "") -> str:
    return f"{number:,} {what if number == 1 or same else plural or f'{what}s'}"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    if whole < 60:
        return f"{seconds:.0f} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


_OF = {"month": "Month", "aircraft": "Aircraft", "limit": "Limit", "phase": "Phase of flight",
       "severity": "Severity", "cause": "Main cause"}


def _span(row: Mapping[str, Any], own: str) -> str:
    return f"{rate(row[f'per_1000_h_{own}low'])} to {rate(row[f'per_1000_h_{own}high'])}"


def trend_lines(
    rows: Sequence[Mapping[str, Any]], *, logs: int, problems: int, undated: int, proven: bool,
    per_year: float, change: tuple[float, float] | None, day: str,
) -> list[str]:
    """Return the rates of a fleet as a table, with what is to be known of them."""
    whole, *others = rows
    what = "Episodes with a proven exceedance" if proven else "Episodes with an exceedance"
    lines = [
        f"{what}: {whole['episodes']:,} in {_count(whole['flights'], 'flight')} and "
        f"{whole['hours']:,.1f} judged hours of "
        f"{_count(whole['aircraft'], 'aircraft', same=True)}.",
        f"Per 1,000 hours {rate(whole['per_1000_h'])}, 95 % interval {_span(whole, '')} for "
        f"aircraft like these, {_span(whole, 'own_')} for these themselves; per 100 flights "
        f"{rate(whole['per_100_flights'])}.",
        f"Judged: {100 * whole['judged_share']:.1f} % of the recorded time, and {logs:,} of "
        f"{_count(logs + problems, 'log')}.",
        "Change with time, aircraft by aircraft: " + (
            "none that chance can't explain" if per_year >= 0.05 else "more than chance explains")
        + f" (p = {per_year:.3f}, adjusted for the number of tests).",
    ]
    if undated:
        lines.append(f"{_count(undated, 'flight')} without a date can't be placed in time.")
    if change is not None:
        ratio, probability = change
        times = f"{ratio:.2f} times" if math.isfinite(ratio) else "in no known ratio to"
        word = "more than chance explains" if probability < 0.05 else "chance can explain that"
        lines.append(f"From {day} on the rate is {times} the one before ({word}, "
                     f"p = {probability:.3f}, adjusted for the number of tests).")
    width = max([len(str(row["group"])) for row in others] + [16])
    seen = ""
    for row in others:
        if row["dimension"] != seen:
            seen = row["dimension"]
            name = _OF.get(seen, seen.removeprefix("tag:"))
            lines += ["", f"{name:<{width}}  {'flights':>9} {'hours':>10} {'judged':>7} "
                      f"{'captured':>8} {'episodes':>8} {'per 1,000 h':>11}  {'95 % interval':<17}"]
        span = _span(row, "")
        share, caught = row["judged_share"], row["captured"]
        lines.append(
            f"{row['group']:<{width}}  {row['flights']:>9,} {row['hours']:>10,.1f} "
            f"{'' if share != share else f'{100 * share:.0f} %':>7} "
            f"{'' if caught != caught else f'{100 * caught:.0f} %':>8} {row['episodes']:>8,} "
            f"{rate(row['per_1000_h']):>11}  {span:<17}".rstrip())
    return lines


def tail_lines(tails: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the expected time to an exceedance by type and phase, or why there is none.

    Types and phases without a tail are counted together.
    """
    lines = []
    lacking = sum(tail["refused"] == "too few peaks" for tail in tails)
    for tail in tails:
        if tail["refused"] == "too few peaks":
            continue
        towards = f" to {tail['limit']}" if tail["limit"] else ""
        start = (f"{tail['limits_sheet']}, {tail['phase']}{towards} "
                 f"({_count(tail['flights'], 'flight')}, the closest {tail['peaks']:,}): ")
        if tail["refused"]:
            lines.append(start + f"no exceedance to be expected within {tail['low']:,.0f} h; how "
                         "long it takes these flights are too few to say.")
        else:
            high = (f"{tail['high']:,.0f} h" if math.isfinite(tail["high"])
                    else "more than five times what was flown")
            lines.append(start + f"an exceedance every {tail['hours']:,.0f} h (95 % interval "
                         f"{tail['low']:,.0f} h to {high}).")
    if lines:
        lines = ["", "Time from one flight over a limit to the next, from the closest margins:",
                 *lines]
    if lacking:
        lines += ["", f"For {_count(lacking, 'phase')} of flight and limit there are too few "
                  "flights to say how long it takes to an exceedance (50 among the closest are "
                  "needed)."]
    return lines


def instrument_lines(errors: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return aircraft's own instrument errors as a table, the findings first."""
    if not errors:
        return ["No aircraft has enough flights that show its instruments' errors."]
    found = sum(bool(error["finding"]) for error in errors)
    lines = [
        f"{_count(found, 'finding')} among {_count(len(errors), 'error')} looked at. None was "
        "applied to any flight; have the instruments checked.", "",
        f"{'aircraft':<14} {'channel':<24} {'shown by':<24} {'flights':>7}  "
        f"{'reads high by':<16} {'95 % interval':<20} change a year"]
    for error in sorted(errors, key=lambda each: not each["finding"]):
        by = f"{error['way']}, {error['second']}" if error["second"] else error["way"]
        year = error["per_year"]
        lines.append(
            f"{error['aircraft']:<14} {error['channel'].replace('_', ' '):<24} {by:<24} "
            f"{len(error['flights']):>7,}  {error['reads_high']:+.3g} {error['unit']:<8} "
            f"{error['low']:+.3g} to {error['high']:+.3g}"
            + (f"   {year:+.3g} ({error['per_year_low']:+.3g} to {error['per_year_high']:+.3g})"
               if year == year else "") + ("   FINDING" if error["finding"] else ""))
    return lines
