"""What is said of a run over a fleet's logs."""

from __future__ import annotations

from collections.abc import Mapping


def progress_line(done: int, logs: int, flights: int, seconds: float) -> str:
    """Return how far a run is, with its rate and the time left."""
    rate = done / seconds if seconds > 0 else 0.0
    left = f", {_duration((logs - done) / rate)} left" if rate > 0 and done < logs else ""
    return f"{done:,} of {logs:,} logs, {flights:,} flights, {rate:.1f} logs/s{left}"


def run_lines(
    *, logs: int, same: int, known: int, judged: int, flights: int, hours: float, problems: int,
    outcomes: Mapping[str, int], unjudged_limits: int, seconds: float, store: str,
) -> list[str]:
    """Return the report of a run, a line each."""
    lines = [
        f"{_count(logs, 'log')} found: {judged:,} judged now, {known:,} judged before, "
        f"{same:,} with the bytes of another, {problems:,} that could not be judged.",
    ]
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


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    if whole < 60:
        return f"{seconds:.0f} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
