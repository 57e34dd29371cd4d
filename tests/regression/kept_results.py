"""The results of a recorded flight as plain numbers and words, and how two sets of them differ.

What is kept of a family of flights is one table: fields by name, nested, each with one value where
all flights of the family agree in it; else with one a flight, or with the usual one and those of
the flights that differ. NaN, None and what is empty is left out, so that a field which appears or
vanishes is a difference too. Columns of samples, and histograms, are kept as their number of values
and a sum weighted by place.
"""

from __future__ import annotations

import json
import math
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import loganalyze as la
from loganalyze.record.channels import kind
from loganalyze.record.intervals import Intervals
from loganalyze.testing import engine
from tests.regression.moved_thresholds import phases_by_threshold

SUFFIXES = {"kt": "_kt", "ft": "_ft", "degC": "_degc", "hPa": "_hpa", "deg": "_deg", "kg": "_kg",
            "g": "_g", "ft/min": "_fpm", "%": "_pct"}
KEPT = Path(__file__).with_name("kept")
RELATIVE, ABSOLUTE = 1e-8, 1e-8
"""Tolerances of a comparison. Other versions of the libraries, and the compiled loops, differ by
some 1e-12; the least squares of peaks and plateaus magnify that."""
SINGLE = 2e-7
"""The relative tolerance of what is summed over columns of float32."""

CONSTANT = frozenset(("basis", "quantity"))
"""Fields that are the same in all results."""

HOW_TO_JUDGE = """
What is kept shows that results have changed, not which are right. For each field above:
1. Was it meant to change? Say from which rule or formula, and work out one value by hand or by
   another route (`tests/outside`, a published table, loganalyze.evaluate on a few rows).
2. If it wasn't meant: the change of the program is wrong, or reached further than thought.
3. Where all is meant, write the results anew, `python -m tests.regression --write FAMILY`, read
   the difference of the files field by field, and say in the commit why each kind of field changed.
A change of speed alone changes nothing here beyond the tolerance."""


@dataclass(frozen=True)
class Flight:
    """A recorded flight of known content, and what it is held against.

    ``also`` : further results to keep, of "what if", "pointer", "dial", "curves", "plain",
    "sheet", "verdict", "frames", "thresholds of phases", "phases alone";
    ``leave`` : results that say little about the family, such as "near" or "assessed.ladder_kt":
    of all of them one number is kept that changes with any part;
    ``block`` : how many rows are evaluated at a time, None for the usual;
    ``is_assessed`` : whether it is assessed too, which takes ten times as long;
    ``condensed`` : results of which a number each is kept.
    """

    log: la.FlightLog
    sheet: la.LimitsSheet
    settings: la.Settings | None = None
    declared: Mapping[str, float] | None = None
    priors: Mapping[str, Any] | None = None
    also: tuple[str, ...] = ()
    leave: tuple[str, ...] = field(default=("quality", "tolerances"))
    block: int | None = None
    is_assessed: bool = True
    condensed: tuple[str, ...] = ()


Facts = dict[str, Any]

WHY = ("assessed.contributions", "assessed.worsening", "assessed.context")
LADDERS = ("assessed.ladder_kt", "assessed.ladder_mach", "assessed.ladder_probability_kt",
           "assessed.ladder_probability_mach")
HOW_SURE = ("assessed.displayed", "assessed.missed_peak", "assessed.severity",
            "assessed.severity_levels")
"""Parts of an assessed exceedance that a family may leave out."""


def results_of(flight: Flight) -> Facts:
    """Return the results of a flight, nested by name."""
    with engine(block=flight.block):
        analysis = la.analyze(flight.log, flight.sheet, settings=flight.settings,
                              declared=flight.declared)
    (analysis,) = analysis if isinstance(analysis, tuple) else (analysis,)
    facts = {
        "outcome": analysis.outcome, "judged_s": analysis.judged_s,
        "time_over_s": analysis.time_over_s, "bounded_s": analysis.bounded_s,
        "judged_shares": analysis.judged_shares, "unjudged": analysis.unjudged_limits,
        "screened": analysis.screened, "screened_s": analysis.screened_s,
        "unknown": analysis.unknown, "gaps": analysis.gaps, "airborne": analysis.airborne,
        "exceedances": analysis.exceedances, "suspects": analysis.suspects,
        "ceilings": analysis.ceilings, "findings": analysis.findings,
        "smallest": analysis.smallest, "quality": [
            flag for flag in analysis.quality if len(flag.raised.edges) or flag.values],
        "columns": {name: _sums(column) for name, column in analysis.columns.items()},
        **(_assessed(flight, analysis) if flight.is_assessed else {}),
        **{name: _OF_ANALYSIS[name](analysis) for name in flight.also if name in _OF_ANALYSIS},
    }
    kept = {name: plain for name, value in facts.items() if (plain := _plain(value)) is not None}
    left = {name: kept.pop(name) for name in flight.leave if name in kept}
    for number, one in enumerate(kept.get("assessed", ())):
        for name in flight.leave:
            part = name.removeprefix("assessed.")
            if part != name and part in one:
                left[f"{number} {part}"] = one.pop(part)
    short = {name: condensed(kept[name]) for name in flight.condensed if name in kept}
    return kept | short | ({"left": condensed(left)} if left else {})


def _assessed(flight: Flight, analysis: la.Analysis) -> dict[str, Any]:
    assessment = la.assess_flight(analysis, priors=flight.priors)
    return {
        "assessed": assessment.exceedances, "near": assessment.near,
        "phases": [f"{one.phase} {one.start_s:.9g} {one.end_s:.9g}" for one in assessment.phases],
        "measures": assessment.measures,
        "highest": (assessment.highest_calibrated_airspeed_kt, assessment.highest_mach),
        "time_to_limit": assessment.shortest_time_to_limit,
        "warnings": assessment.warnings, "checks": assessment.checks,
        "tolerances": [(f"{code}: {source}", u) for code, source, u in (
            *assessment.tolerances, *assessment.widest)],
        "uncertainty": {name: _sums(column) for name, column in assessment.columns.items()},
        **{name: _ALSO[name](analysis, assessment) for name in flight.also if name in _ALSO},
    }


def condensed(value: Any) -> list[float]:
    """Return how many numbers and words nested results hold, and a sum that any of them changes.

    Each is weighted by its own place, from 1 to 2; of a number its logarithm counts, so that a
    small one counts beside a large one.
    """
    count, total = 0, 0.0
    for path, one in _leaves(value, ""):
        number = (_share(f" {one}") if isinstance(one, str)
                  else math.copysign(math.log1p(abs(one)), one))
        count, total = count + 1, total + (1.0 + _share(path)) * number
    return [count, total]


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict | list):
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        for name, one in pairs:
            yield from _leaves(one, f"{path}.{name}")
    elif value is not None:
        yield path, value


def _share(text: str) -> float:
    """Return a number from 0 to 1 that is a text's own."""
    return zlib.crc32(text.encode()) / 2.0**32


def _what_if(analysis: la.Analysis, assessment: la.Assessment) -> list[Any]:
    return [la.what_if(analysis, one.number) for one in assessment.exceedances[:2]]


def _pointer(analysis: la.Analysis, assessment: la.Assessment) -> Any:
    return la.pointer_movement(analysis, assessment, 0 if analysis.exceedances else None)


def _dial(analysis: la.Analysis, assessment: la.Assessment) -> list[Any]:
    return [la.dial_reading(analysis, one.worst_time_s) for one in analysis.exceedances[:2]]


def _curves(analysis: la.Analysis) -> Any:
    heights = np.arange(-500.0, 13000.0, 375.0)
    sheet, declared = analysis.sheet, dict(analysis.evaluation.declared)
    if any(table.flap_deg is not None for table in sheet.airspeed.position_tables):
        declared = {"flap": 0.0, **declared}
    envelope = la.limit_envelope(sheet, heights, isa_deviation=4.0, declared=declared)
    return {"crossings": la.crossovers(sheet, declared=declared), "envelope": envelope}


def _sheet(analysis: la.Analysis) -> Any:
    return la.sheet_remarks(analysis.sheet)


def _verdict(analysis: la.Analysis) -> Any:
    """The same flight judged for the verdict alone, and as the second of two in one call."""
    alone = {"settings": analysis.settings, "declared": analysis.evaluation.declared}
    quick = la.analyze(analysis.log, analysis.sheet, verdict_only=True, **alone)
    other = replace(analysis.log, time=analysis.log.time + 1000.0)
    last = la.analyze_flights([other, analysis.log], analysis.sheet, **alone)[1]
    return [{"outcome": one.outcome, "over": one.exceedances, "judged_s": one.judged_s,
             "margin": _sums(one.columns["margin_kt"]), "screened": one.screened}
            for one in (quick, last)]


def _frames(analysis: la.Analysis) -> Any:
    found = {"samples": analysis.samples, "exceedances": analysis.exceedance_table}
    return {**{name: {column: str(frame[column].dtype) for column in frame}
               for name, frame in found.items()},
            "rows": [len(frame) for frame in found.values()],
            "first": [str(value) for value in analysis.samples.iloc[0]],
            "text": repr(analysis), "times": (analysis.recorded_s, analysis.unknown_s)}


def _evaluated(analysis: la.Analysis) -> Any:
    frame = la.evaluate(frame_of(analysis.log), analysis.sheet, settings=analysis.settings)
    return {name: _sums(frame[name].to_numpy()) if frame[name].dtype.kind == "f"
            else dict(sorted(Counter(frame[name].dropna()).items())) for name in frame.columns}


def _phases(analysis: la.Analysis) -> list[str]:
    return [f"{one.phase} {one.start_s:.9g} {one.end_s:.9g}" for one in la.phases_of(analysis)[1]]


def frame_of(log: la.FlightLog) -> dict[str, Any]:
    """Return a log's columns as `loganalyze.evaluate` takes them, each at every row."""
    columns = {"time_s": log.time}
    for name in log.channels:
        known = kind(name)
        suffix = "" if known is None or known.discrete or known.unit.name == "1" else (
            SUFFIXES[known.unit.name])
        columns[name + suffix] = log.aligned(name) if known is None else (
            log.aligned(name) - known.unit.offset) / known.unit.factor
    return columns


_ALSO = {"what if": _what_if, "pointer": _pointer, "dial": _dial}
_OF_ANALYSIS = {"curves": _curves, "plain": _evaluated, "sheet": _sheet, "verdict": _verdict,
                "frames": _frames, "thresholds of phases": phases_by_threshold,
                "phases alone": _phases}


def _sums(column: Any) -> list[float] | None:
    """How many values there are, and their sum weighted by place from 1 to 2."""
    values = np.asarray(column, dtype=np.float64).ravel()
    known = ~np.isnan(values)
    if not known.any():
        return None
    place = 1.0 + np.arange(len(values)) / max(len(values), 1)
    return [int(known.sum()), float((values[known] * place[known]).sum())]


def _plain(value: Any) -> Any:
    """Return a result as nested dictionaries and lists of numbers and words; None if empty."""
    match value:
        case None:
            return None
        case bool() | np.bool_():
            return bool(value)
        case int() | np.integer():
            return int(value)
        case float() | np.floating():
            return None if math.isnan(value) else _finite(float(value))
        case str():
            return value or None
        case np.datetime64():
            return str(value)
        case Intervals():
            return _plain(value.edges.ravel().tolist())
        case np.ndarray():
            return _plain(_sums(value)) if value.dtype.kind in "fiub" else _plain(value.tolist())
        case Mapping():
            return {str(key): plain for key, one in value.items()
                    if (plain := _plain(one)) is not None} or None
    if is_dataclass(value):
        stated = {one.name: getattr(value, one.name) for one in fields(value)
                  if not _is_default(getattr(value, one.name), one.default)}
        return _plain({name: one for name, one in stated.items() if name not in CONSTANT})
    items = list(value)
    pairs = all(isinstance(one, tuple) and len(one) == 2 for one in items)
    if pairs and len(items) > 12 and not isinstance(items[0][0], str):  # a histogram
        return _plain(_sums([second for _, second in items]))
    return [_plain(one) for one in items] or None


def _is_default(value: Any, default: Any) -> bool:
    return isinstance(value, bool | int | float | str) and type(value) is type(default) and (
        value == default)


def _finite(value: float) -> float | str:
    """Return a number as JSON may hold it; what is zero but for rounding is zero."""
    if not math.isfinite(value):
        return str(value)
    return value if abs(value) > ABSOLUTE / 10 else 0.0


def _rounded(value: Any) -> Any:
    """Return nested results with numbers as they are written."""
    if isinstance(value, dict):
        return {name: _rounded(one) for name, one in value.items()}
    if isinstance(value, list):
        return [_rounded(one) for one in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def merged(variants: Mapping[str, Facts]) -> Facts:
    """Return one table of the flights of a family."""
    return {"flights": list(variants),
            "results": _merged([_rounded(facts) for facts in variants.values()])}


def _merged(values: list[Any]) -> Any:
    """One value where all agree, nested tables merged, else one value a flight.

    That is {"each": values}, or {"usual": value, "but": {place of a flight: value}}.
    """
    tables = [_by_name(value) for value in values]
    if any(table is not None for table in tables) and all(
            table is not None or value is None
            for table, value in zip(tables, values, strict=True)):
        filled = [table or {} for table in tables]
        names = sorted({name: None for table in filled for name in table}, key=_order)
        return {name: _merged([table.get(name) for table in filled]) for name in names}
    texts = [json.dumps(value) for value in values]
    usual, count = Counter(texts).most_common(1)[0]
    if count == len(values):
        return values[0]
    if 2 * count < len(values):
        return {"each": values}
    return {"usual": json.loads(usual), "but": {
        str(place): value for place, (value, text) in enumerate(zip(values, texts, strict=True), 1)
        if text != usual}}


def _order(name: str) -> tuple[int, str]:
    return (int(name) if name.isdecimal() else -1, name)


def _by_name(value: Any) -> dict[str, Any] | None:
    """A table's fields, or a list's that holds tables, by their place from 1."""
    if isinstance(value, dict):
        return value
    if isinstance(value, list) and any(isinstance(one, dict) for one in value):
        return {str(place): one for place, one in enumerate(value, 1)}
    return None


def text_of(table: Facts) -> str:
    """Return a family's table as JSON text: a line a field, lists on a line."""
    return "{\n" + ",\n".join(_lines(table, 1)) + "\n}\n"


def _lines(table: Facts, depth: int) -> Iterator[str]:
    for name, value in table.items():
        start = f"{' ' * depth}{json.dumps(name)}: "
        if isinstance(value, dict) and not {"each", "usual"} & {*value}:
            inner = ",\n".join(_lines(value, depth + 1))
            yield f"{start}{{\n{inner}\n{' ' * depth}}}" if inner else f"{start}{{}}"
        else:
            yield start + json.dumps(value)


def differences(kept: Facts, found: Mapping[str, Facts]) -> list[str]:
    """Name each field in which flights' results differ from those kept, with both values."""
    if kept["flights"] != list(found):
        return [f"flights: kept {kept['flights']}, now {list(found)}"]
    return [f"{flight}: {path}: kept {_said(before)}, now {_said(after)}"
            for i, (flight, facts) in enumerate(found.items())
            for path, before, after in differing(
                _of(kept["results"], i), _of(_merged([facts]), 0))]


def _of(value: Any, i: int) -> Any:
    """The i-th flight's own value in a family's table."""
    if isinstance(value, dict):
        if "each" in value:
            return value["each"][i]
        if "usual" in value:
            return value["but"].get(str(i + 1), value["usual"])
        own = {name: one for name, part in value.items() if (one := _of(part, i)) is not None}
        return own or None
    return value


def differing(before: Any, after: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield the path of each field of nested results that differs, with both values."""
    if isinstance(before, dict) or isinstance(after, dict):
        if not isinstance(before or {}, dict) or not isinstance(after or {}, dict):
            yield path, before, after
            return
        first, second = before or {}, after or {}
        for name in sorted({*first, *second}, key=_order):
            yield from differing(first.get(name), second.get(name),
                                  f"{path}.{name}" if path else name)
        return
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for place, (one, other) in enumerate(zip(before, after, strict=True), 1):
            yield from differing(one, other, f"{path}[{place}]")
        return
    if not _same(before, after, path):
        yield path, before, after


def _same(before: Any, after: Any, path: str) -> bool:
    if isinstance(before, bool) or isinstance(after, bool) or not (
            isinstance(before, int | float) and isinstance(after, int | float)):
        return bool(before == after)
    relative = SINGLE if path.startswith(("columns", "uncertainty")) else RELATIVE
    return math.isclose(before, after, rel_tol=relative, abs_tol=ABSOLUTE)


def _said(value: Any) -> str:
    return "nothing" if value is None else json.dumps(value)
