"""Repair of a recorded time to a monotonic one, and detection of gaps and clock resets.

Rows a few places out of order are sorted, rows that share a coarse time stamp are spread over its
width, and rows whose time still doesn't increase are dropped. Each repair is reported as a finding.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clocks.rollover import OUT_OF_PLACE_ROWS
from loganalyze.read.clocks.time_codes import ALONE_S, ALONE_STEPS, normal_interval
from loganalyze.record.findings import Finding

Floats = NDArray[np.float64]

GREATEST_SHARE_ASIDE = 0.1
"""Greatest share of dropped rows; with more, the time column is unusable and the log refused."""
RESET_S = 60.0
"""Time [s] for which a clock must run before and after a step back for it to count as a reset; a
shorter one is an excursion, whose rows are dropped."""
EXCURSION_ROWS = 8
"""Rows within which a time that jumps ahead must return for it to be an excursion, not a gap."""
FEWEST_STAMPS = 8
"""Least number of time stamps from which the usual step is estimated."""
COARSE_SHARE = 0.1
"""Share of repeated time stamps, evenly distributed, from which they are coarse and not faults."""


ALONE = "alone"


@dataclass(frozen=True)
class MonotonicTime:
    """A strictly increasing time.

    ``time`` : float64[m] [s]; ``keep`` : intp[m], the rows it belongs to, in its order, or None for
    all rows unchanged; ``aside`` : number of dropped rows, by reason; ``spread`` : number of rows
    that shared a coarse time stamp; ``findings`` : the repairs.
    """

    time: Floats
    keep: NDArray[np.intp] | None = None
    aside: dict[str, int] = field(default_factory=dict)
    spread: int = 0
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Break:
    """The beginning of a new stretch of time: after a gap, or after a clock reset (``reset``).

    ``row`` : its first row; ``before_s``, ``after_s`` : the times before and at it [s].
    """

    row: int
    reset: bool
    before_s: float
    after_s: float


def make_monotonic(time: Floats, where: str) -> MonotonicTime:
    """Return a strictly increasing time: sort rows, spread coarse stamps, drop the other rows.

    Parameters
    ----------
    time : float64[n]  [s]
        As recorded; NaN where missing.
    where : str
        The file's name, for the error.

    Raises
    ------
    Problem
        When the clock was reset, or when more than a tenth of the rows would be dropped.
    """
    known = np.flatnonzero(np.isfinite(time))
    findings: list[Finding] = []
    aside: dict[str, int] = {}
    stamps, known = _filled(time, known, findings)
    if len(known) < len(time):
        aside["no time"] = len(time) - len(known)
    order, found = _in_order(stamps)
    known, stamps = known[order], stamps[order]
    findings += found
    bad = _excursions(stamps, where)
    bad[bad == 0] = _alone(stamps[bad == 0])
    for code, reason in ((1, "time runs backwards"), (2, "time leaps ahead"), (3, ALONE)):
        count = int((bad == code).sum())
        if count:
            aside[reason] = count
    known, stamps = known[bad == 0], stamps[bad == 0]
    stamps, spread, found = _spread(stamps)
    later = np.concatenate([[True], stamps[1:] > np.maximum.accumulate(stamps)[:-1]]) if len(
        stamps) else stamps > 0
    repeated = int((~later).sum())
    if repeated:
        aside["repeated time"] = repeated
    findings += found
    for reason, count in aside.items():
        findings.append(Finding("rows_left_out", {
            "count": count, "rows": len(time), "reason": reason}))
    faults = {reason: count for reason, count in aside.items() if reason != ALONE}
    if sum(faults.values()) > GREATEST_SHARE_ASIDE * len(time):
        worst = max(faults, key=faults.__getitem__)
        raise _lost(aside[worst], len(time), _fault(worst), where)
    keep = known[later]
    whole = len(keep) == len(time) and bool((keep[1:] > keep[:-1]).all())
    return MonotonicTime(stamps[later], None if whole else keep, aside, spread, tuple(findings))


def _lost(count: int, rows: int, fault: str, where: str) -> Problem:
    mend = "export its stamps again" if fault == _fault("no time") else (
        "cut the log where its clock was reset")
    return Problem(f"the clock can't be followed: {count} of {rows} rows have {fault}", where,
                   f"{mend}, or name another column as time in a columns file")


def _fault(reason: str) -> str:
    return {"no time": "no time", "repeated time": "a time that was there already",
            "time leaps ahead": "a time later than the rows after them"}.get(
        reason, "a time earlier than the rows before them")


def ensure_monotonic(time: Floats, rising: bool, where: str) -> MonotonicTime:
    """Return `make_monotonic` of a time, unchanged where `rising` says that it increases."""
    return MonotonicTime(time) if rising and not _alone(time).any() else make_monotonic(time, where)


def find_break(time: Floats, start: int, latest: float, gap_s: float, final: bool
               ) -> tuple[Break | None, int, float]:
    """Find the next gap or reset of a clock in `time` from row `start` on.

    Returns the break or None, the row to continue from, and the latest valid time before it.
    `latest` [s] : the latest valid time before `start`; `gap_s` [s] : step above which there is a
    gap. Unless `final`, a break that can't be decided without later rows is left to the next call.
    """
    if start >= len(time):
        return None, start, latest
    part = time[start:]
    known = np.flatnonzero(np.isfinite(part))
    stamps = part[known]
    i = 0
    while i < len(stamps):
        steps = np.diff(stamps[i:], prepend=latest if latest > -np.inf else stamps[i])
        odd = np.flatnonzero((steps < 0) | (steps > gap_s))
        if not len(odd):
            return None, len(time), float(stamps[-1])
        at = i + int(odd[0])
        if at:
            latest = float(stamps[at - 1]) if at > i else latest
        row = start + int(known[at])
        if stamps[at] > latest:
            if final and at + 1 == len(stamps):
                return None, len(time), latest  # A single last row shows no gap.
            ahead = stamps[at : at + EXCURSION_ROWS + 1]
            if len(ahead) <= EXCURSION_ROWS and not final:
                return None, row, latest
            back = np.flatnonzero(ahead < ahead[0])
            if np.isfinite(time[:row]).sum() == 1:
                i, latest = at, float(stamps[at])  # Nor does a single first row.
                continue
            if not len(back) or ahead[back[0]] < latest - RESET_S:
                return Break(row, False, latest, float(stamps[at])), row, latest
            i = at + int(back[0])
            continue
        after = stamps[at:]
        caught = np.flatnonzero(after >= latest)
        if not len(caught) or caught[0] > EXCURSION_ROWS:  # Otherwise the time soon catches up.
            if len(after) <= EXCURSION_ROWS and not final:
                return None, row, latest
            held = _before_excursion(time[:row], float(stamps[at]))
            if held is not None:
                i, latest = at, held
                continue
        ran = float(np.max(after[: caught[0]] if len(caught) else after)) - float(after[0])
        if ran >= RESET_S and latest - float(after[0]) >= RESET_S:
            return Break(row, True, latest, float(after[0])), row, latest
        if not len(caught):
            return None, (len(time) if final else row), latest
        i = at + int(caught[0])
    return None, len(time), latest


def _before_excursion(before: Floats, now: float) -> float | None:
    """Return the latest time before a few rows that jumped ahead of `now`, None without any.

    -inf if `before` holds only such rows.
    """
    few = before[-EXCURSION_ROWS - 1 :]
    few = few[np.isfinite(few)]
    held = np.flatnonzero(few <= now)
    if len(held):
        return float(few[held[-1]])
    return -np.inf if len(few) <= EXCURSION_ROWS else None


def _in_order(stamps: Floats) -> tuple[NDArray[np.intp], list[Finding]]:
    """Return the rows sorted by time where they are a few places out of order, and the finding.

    Rows are moved only to places where the steps show that a row is missing. Other rows out of
    order have a damaged time stamp, or the clock was reset.
    """
    rows = np.arange(len(stamps))
    if len(stamps) < FEWEST_STAMPS or (stamps[1:] >= stamps[:-1]).all():
        return rows, []
    step = float(np.median(np.diff(np.sort(stamps))))
    if not step > 0:
        return rows, []
    # Rows that are out of order lie between rows that are later than all before, and earlier
    # than all after.
    in_place = np.concatenate([[-np.inf], np.maximum.accumulate(stamps)[:-1]]) <= stamps
    in_place &= np.minimum.accumulate(stamps[::-1])[::-1] >= stamps
    edges = np.flatnonzero(np.diff(in_place.astype(np.int8), prepend=1, append=1))
    order, moved, farthest = rows.copy(), 0, 0
    for start, stop in edges.reshape(-1, 2).tolist():
        placed = start + np.argsort(stamps[start:stop], kind="stable")
        places = int(np.abs(placed - rows[start:stop]).max())
        steps = np.diff(stamps[np.concatenate([
            rows[max(start - 1, 0) : start], placed, rows[stop : stop + 1]])])
        if places <= OUT_OF_PLACE_ROWS and (np.abs(steps - step) <= 0.5 * step).all():
            order[start:stop] = placed
            moved += int((placed != rows[start:stop]).sum())
            farthest = max(farthest, places)
    if not moved:
        return rows, []
    return order, [Finding("rows_sorted", {"count": moved, "places": farthest})]


def _alone(stamps: Floats) -> NDArray[np.int8]:
    """Return 3 for a single first row before a gap or last row after one, else 0, int8[m]."""
    alone = np.zeros(len(stamps), dtype=np.int8)
    if len(stamps) < FEWEST_STAMPS:
        return alone
    steps = stamps[[1, -1]] - stamps[[0, -2]]
    if not (steps > ALONE_S).any():
        return alone
    far = max(ALONE_S, ALONE_STEPS * abs(normal_interval(stamps)))
    alone[0], alone[-1] = 3 * (steps[0] > far), 3 * (steps[-1] > far)
    return alone


def _filled(time: Floats, known: NDArray[np.intp], findings: list[Finding]
            ) -> tuple[Floats, NDArray[np.intp]]:
    """Interpolate times where only every n-th row has one.

    Returns the times, and the rows that have one.
    """
    if len(known) < 3 or len(known) > (1 - GREATEST_SHARE_ASIDE) * len(time):
        return time[known], known
    gaps, steps = np.diff(known), np.diff(time[known])
    usual = float(np.median(gaps))
    if usual < 2 or (gaps == usual).mean() < 0.8 or not (steps > 0).any():
        return time[known], known
    step = float(np.median(steps[steps > 0])) / usual
    # Only where two time stamps differ by the usual step times their rows.
    whole = np.abs(steps - gaps * step) <= 0.5 * step * usual
    share = np.append(np.where(whole, steps / gaps, np.nan), step)
    rows = np.arange(known[0], min(len(time), known[-1] + int(usual)))
    latest = np.searchsorted(known, rows, side="right") - 1
    place = rows - known[latest]
    stamps = time[known][latest] + np.where(place == 0, 0.0, place * share[latest])
    there = np.isfinite(stamps)
    findings.append(Finding("time_on_some_rows", {"every": int(usual)}))
    return stamps[there], rows[there]


def _excursions(stamps: Floats, where: str) -> NDArray[np.int8]:
    """Return 1 for rows earlier than rows before them, 2 for rows ahead of later ones, else 0."""
    bad = np.zeros(len(stamps), dtype=np.int8)
    falls = np.flatnonzero(stamps[1:] < stamps[:-1])
    if len(falls) > GREATEST_SHARE_ASIDE * len(stamps):
        late = int((stamps[1:] < np.maximum.accumulate(stamps)[:-1]).sum())
        raise _lost(late, len(stamps), _fault(""), where)
    done, step = -1, normal_interval(stamps)
    for fall in falls:
        if fall < done:
            continue
        ahead, behind = _sides(stamps, bad, int(fall))
        if min(_length(stamps, ahead), _length(stamps, behind)) >= RESET_S:
            raise Problem(
                f"the clock was reset: it runs on from {stamps[behind[0]]:g} s after "
                f"{stamps[ahead[-1]]:g} s, both since the first sample, and how long the break "
                "was isn't known", where, "cut the log there, or read it flight by flight")
        if len(ahead) < len(behind) or (
                len(ahead) == len(behind) and _jumped_ahead(stamps, int(ahead[0]), step)):
            bad[ahead] = 2
        else:
            bad[behind] = 1
            done = int(behind[-1])
    return bad


def _jumped_ahead(stamps: Floats, row: int, step: float) -> bool:
    """Whether a row is more than 1.5 times the usual `step` [s] after the row before it."""
    return row > 0 and bool(stamps[row] - stamps[row - 1] > 1.5 * step)


def _length(stamps: Floats, rows: NDArray[np.intp]) -> float:
    part = stamps[rows]
    return float(part.max() - part.min()) if len(part) else 0.0


def _sides(stamps: Floats, bad: NDArray[np.int8], fall: int
           ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the rows ahead of a step back in time and those behind it; either may be wrong.

    The rows ahead precede the step and have later times than the first row after it; those behind
    follow it and have earlier times than the last row before it. The search window is widened until
    the shorter side is complete and the longer one at least as long.
    """
    high, low = stamps[fall], stamps[fall + 1]
    window = 64
    while True:
        first, stop = max(0, fall + 1 - window), min(len(stamps), fall + 1 + window)
        before = np.arange(first, fall + 1)
        before = before[(bad[first : fall + 1] == 0)]
        below = np.flatnonzero(stamps[before] <= low)
        above = np.flatnonzero(stamps[fall + 1 : stop] >= high)
        ahead = before[below[-1] + 1 :] if len(below) else before
        behind = np.arange(fall + 1, fall + 1 + above[0] if len(above) else stop)
        ahead_known = len(below) > 0 or first == 0
        behind_known = len(above) > 0 or stop == len(stamps)
        long = min(_length(stamps, ahead), _length(stamps, behind)) >= RESET_S
        if long or (ahead_known and len(ahead) < len(behind)) or (
                behind_known and len(behind) <= len(ahead)) or (ahead_known and behind_known):
            return ahead, behind
        window *= 4


def _spread(stamps: Floats) -> tuple[Floats, int, list[Finding]]:
    """Spread rows that share a time stamp evenly over its width, if the whole log has such rows."""
    changes = np.flatnonzero(stamps[1:] != stamps[:-1]) + 1
    if not len(changes):
        return stamps, 0, []
    starts = np.concatenate([[0], changes])
    counts = np.diff(starts, append=len(stamps))
    # The first and last stamps may have fewer rows.
    inner = counts[1:-1] if len(counts) > 2 else counts[counts.argmax():][:1]
    typical = int(np.median(inner))
    if not _coarse(inner):
        return stamps, 0, []
    widths = np.diff(stamps[starts])
    width = float(np.median(widths[widths > 0])) if (widths > 0).any() else 0.0
    before = np.concatenate([[np.inf], widths])
    after = np.concatenate([widths, [np.inf]])
    # A short run at the start of a stretch lacks its first rows, one at the end its last. Within
    # a stretch the rows are spread evenly over the width of the stamp.
    opens, closes = before > 1.5 * width, after > 1.5 * width
    share = np.where(opens | closes, np.maximum(counts, typical), counts)
    lead = np.where(opens & ~closes, share - counts, 0)
    place = np.arange(len(stamps)) - np.repeat(starts - lead, counts)
    spread = stamps + width * place / np.repeat(share, counts)
    rows = f"{typical}" if (inner == typical).mean() >= 0.8 else (
        f"{len(stamps) / len(starts):.{2 if len(stamps) < 100 * len(starts) else 3}g}")
    return spread, int(len(stamps) - len(starts)), [
        Finding("rows_share_stamps", {"rows": rows, "width_s": width})]


def _coarse(counts: NDArray[np.intp]) -> bool:
    """Whether rows share time stamps throughout, without outliers in their number."""
    repeats = counts >= 2
    if np.median(counts) >= 2 and repeats.mean() >= 0.8:
        return True
    if repeats.mean() < COARSE_SHARE or len(counts) < 20 or counts.max() > counts.mean() + 2:
        return False
    shared = np.flatnonzero(repeats)
    usual = len(counts) / len(shared)
    return bool((np.diff(shared, prepend=-1, append=len(counts)) <= 2 * usual + 1).all())

