"""The key of a case, and how a case is found again after its log was judged anew."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

KEY_DIGITS = 20
"""Hexadecimal digits of a key: 80 bits."""


@dataclass(frozen=True, slots=True)
class Span:
    """One limit exceeded once in one log, under its key; times [s] from the log's first sample."""

    key: str
    log_sha256: str
    limit: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Matched:
    """What became of cases that somebody has dealt with.

    ``keys`` : by the own key of an exceedance that counts now, the key of the case it continues;
    ``split`` : by its own key, the case that another exceedance continues and that it overlaps;
    ``merged`` : by the key of a case without an exceedance, the case that holds its time now.
    """

    keys: dict[str, str]
    split: dict[str, str]
    merged: dict[str, str]


def own_key(log_sha256: str, limit: str, start_s: float) -> str:
    """Return the key of an exceedance that starts at `start_s`; `CaseIndex` does so in SQL."""
    text = f"{log_sha256}|{limit}|{round(start_s * 1000)}"
    return hashlib.sha256(text.encode()).hexdigest()[:KEY_DIGITS]


def match_cases(known: Iterable[Span], current: Iterable[Span]) -> Matched:
    """Return which exceedance of the present judgement continues which known case.

    Of one log and limit, the pair that shares the most time is matched first, then the next, each
    case and each exceedance once; at equal shares the earlier one. Spans that share no time but
    start at the same millisecond are the same.

    Parameters
    ----------
    known : iterable of Span
        Cases that somebody has dealt with, under the keys they keep.
    current : iterable of Span
        The exceedances of the same logs that count now, under their own keys.
    """
    cases: dict[tuple[str, str], list[Span]] = defaultdict(list)
    for span in known:
        cases[span.log_sha256, span.limit].append(span)
    pairs = []
    for now in current:
        for case in cases.get((now.log_sha256, now.limit), ()):
            shared = min(now.end_s, case.end_s) - max(now.start_s, case.start_s)
            if shared > 0 or now.key == case.key:
                pairs.append((-shared, case.start_s, now.start_s, case.key, now.key))
    found = Matched({}, {}, {})
    taken: dict[str, str] = {}
    for _, _, _, case_key, now_key in sorted(pairs):
        if case_key not in taken and now_key not in found.keys:
            found.keys[now_key] = case_key
            taken[case_key] = now_key
    for _, _, _, case_key, now_key in sorted(pairs):
        if now_key not in found.keys:
            found.split.setdefault(now_key, case_key)
        elif case_key not in taken:
            found.merged.setdefault(case_key, found.keys[now_key])
    return found
