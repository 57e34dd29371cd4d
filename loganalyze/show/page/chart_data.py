"""The data of the page's charts: every sample, in a form that packs well.

What was judged is exact to the bit. A recorded channel is kept to a tenth of its own quantization
step or finer, and where the step isn't known to a four-thousandth of its range: no chart shows
more, and digits beyond it are the conversion's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.explain.dial_reading import (
    DIALS,
    LEAST_SAMPLES,
    WINDOW_S,
    dial_basis,
    pointer_limits,
)
from loganalyze.limits.evaluation import STATES
from loganalyze.phases.phase_definitions import PHASES
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.show.figures.speed_ruler import EDGE, LABELLED, NARROWEST
from loganalyze.show.figures.time_axis import COVERAGE_FACTOR_95
from loganalyze.show.page.channel_thinning import thinned
from loganalyze.show.page.column_packing import packed
from loganalyze.show.page.html_markup import json_text
from loganalyze.show.report.report_blocks import Chart
from loganalyze.text.language import ceiling_sentences, ruler_words, value_words
from loganalyze.text.language import page_labels as labels
from loganalyze.text.presentation import Presentation

PANELS: tuple[tuple[str, int, tuple[tuple[str, str], ...]], ...] = (
    ("margin", 190, (("margin_kt", "main"),)),
    ("speed", 220, (("limit_airspeed_kt", "limit"), ("limit_pointer_kt", "pointer"),
                    ("calibrated_airspeed_kt", "main"), ("indicated_airspeed_kt", "second"))),
    ("mach", 150, (("limit_mach", "limit"), ("mach", "main"))),
    ("altitude", 150, (("pressure_altitude_ft", "main"),)),
    ("temperature", 130, (("static_air_temperature_degc", "main"),)),
)
"""Panels from top to bottom: key, height [px], and traces with the styles of their lines."""

MORE = ("equivalent_airspeed_kt", "true_airspeed_kt", "density_altitude_ft", "isa_deviation_degc")

RANGE_STEPS = 400
"""Into so many steps a channel's range is divided where its own step isn't known; a tenth of one
is kept."""

MOST_COLUMNS_BYTES = 2_000_000
"""Of all columns of a chart, packed."""

_DIGITS = {"_kt": 2, "_ft": 0, "_degc": 2, "mach": 4}


def chart_data(chart: Chart, most_bytes: int = MOST_COLUMNS_BYTES) -> tuple[str, dict[str, str]]:
    """Return the data of a chart: a description as JSON, and each packed column by name.

    Recorded channels are thinned where all columns would take more than `most_bytes`.
    """
    analysis, how = chart.analysis, chart.presentation
    columns: dict[str, NDArray[Any]] = {"time_s": analysis.time}
    columns |= {name: values for name, values in analysis.columns.items()
                if name in labels.TRACES or name in ("state", "governing_limit")}
    ceilings = {f"ceiling_{i}_kt": measure for i, measure in enumerate(analysis.ceilings)
                if not np.isnan(measure.equivalent_kt).all()}
    columns |= {name: measure.equivalent_kt for name, measure in ceilings.items()}
    if chart.assessment is not None:
        columns |= {name: chart.assessment.columns[name]
                    for name in ("margin_u_kt", "phase") if name in chart.assessment.columns}
    # What is a column already is shown as that.
    recorded = {name: channel for name, channel in _recorded(analysis.log, how)
                if not any(np.array_equal(channel[0], values, equal_nan=True)
                           for values in columns.values() if values.dtype == np.float32)}
    texts, recipes = packed(columns)
    continuous = {name: values for name, (values, said) in recorded.items()
                  if not said["discrete"]}
    columns |= {name: values for name, (values, _) in recorded.items()}
    others = packed({name: columns[name] for name in recorded if name not in continuous})
    kept = thinned(continuous, analysis.time, _close(chart),
                   most_bytes - sum(map(len, (*texts.values(), *others[0].values()))))
    texts |= others[0] | dict(kept.texts)
    recipes |= others[1] | dict(kept.recipes)
    start = _second_of_day(how)
    about = {
        "rows": len(analysis.time),
        "interval": float(analysis.log.interval_s) if analysis.log.interval_s > 0 else 0.0,
        "utc": start,
        "origin": how.origin_s,
        "columns": recipes,
        "traces": {name: _trace(name, how) for name in (*labels.TRACES,)
                   if name in columns or (name == "limit_mach" and "margin_mach" in columns)}
        | {name: {"label": ceiling_sentences.name(measure.name), "unit": how.units.speed,
                  "factor": how.units.per_knot, "digits": 2} for name, measure in ceilings.items()}
        | {name: described for name, (_, described) in recorded.items()},
        "panels": [
            {"title": labels.PANELS[key], "height": height,
             "traces": [trace for trace in traces if _wanted(trace[0], columns)]
             + [(name, "ceiling" if name == "ceiling_0_kt" else "ceiling2")
                for name in ceilings if key == "speed"],
             "band": "margin_u_kt" if key == "margin" and "margin_u_kt" in columns else None,
             "zero": key == "margin",
             "cap": 80.0 if key == "margin" else None}
            for key, height, traces in PANELS
            if any(_wanted(name, columns) for name, _ in traces)],
        "more": [name for name in (*MORE, *recorded) if name in columns],
        "codes": {"state": [labels.STATES[code] for code in STATES],
                  "governing_limit": list(analysis.limit_names)}
        | ({"phase": [value_words.phase(code) for code in PHASES]} if "phase" in columns else {}),
        "coverage": COVERAGE_FACTOR_95,
        "over": [[exceedance.start_s, exceedance.end_s] for exceedance in analysis.exceedances],
        "unknown": np.round(analysis.unknown.edges, 6).tolist(),
        "jumps": [
            {"label": f"{i + 1}: {facts.limit}, {how.instant(facts.start_s)}",
             "start": facts.start_s, "end": facts.end_s, "worst": facts.worst_time_s,
             "speed": quantity_of(facts.quantity).is_speed}
            for i, facts in enumerate(analysis.exceedances)],
        "ruler": _ruler(analysis, how),
        "words": labels.CONTROLS,
        "thinned": labels.thinned(
            [recorded[name][1]["label"] for name in recorded if name in kept.names],
            kept.samples * analysis.log.interval_s, kept.beside_s) if kept.names else "",
    }
    return json_text(about), texts


def _close(chart: Chart) -> list[tuple[float, float]]:
    """Return the stretches [s] that were over a limit, or near one."""
    near = chart.assessment.near if chart.assessment is not None else ()
    return [*((exceedance.start_s, exceedance.end_s) for exceedance in chart.analysis.exceedances),
            *((near_miss.start_s, near_miss.end_s) for near_miss in near)]


def _ruler(analysis: Analysis, how: Presentation) -> dict[str, Any]:
    """Describe the ruler that shows at the cursor what the airspeed indicator showed."""
    basis = dial_basis(analysis)
    speed, pointer = DIALS[basis]
    return {
        "speed": speed, "pointer": pointer, "letters": ruler_words.LETTERS[basis],
        "calibrated": basis == "calibrated", "shown": list(pointer_limits(analysis)),
        "unit": how.units.speed, "factor": how.units.per_knot, "window": WINDOW_S,
        "least": LEAST_SAMPLES, "held": HELD_INTERVALS, "narrowest": NARROWEST,
        "labelled": LABELLED, "edge": EDGE, "words": ruler_words.PAGE, "why": ruler_words.WHY,
    }


def _wanted(name: str, columns: dict[str, NDArray[Any]]) -> bool:
    """Whether a trace is there, and not the same as the one that it would cover."""
    if name == "limit_mach":
        return "margin_mach" in columns and not np.isnan(columns["margin_mach"]).all()
    twin = {"limit_pointer_kt": "limit_airspeed_kt",
            "indicated_airspeed_kt": "calibrated_airspeed_kt"}.get(name)
    if name not in columns or np.isnan(columns[name]).all():
        return False
    return twin is None or not np.array_equal(columns[name], columns[twin], equal_nan=True)


def _trace(name: str, how: Presentation) -> dict[str, Any]:
    """Describe a trace: its words, the unit it is put in, and the factor to that unit."""
    units = how.units
    unit, factor = {"_kt": (units.speed, units.per_knot), "_ft": (units.altitude, units.per_foot),
                    "degc": ("degC", 1.0)}.get(name[-3:] if name[-3:] in ("_kt", "_ft")
                                               else name[-4:], ("", 1.0))
    digits = next((digits for end, digits in _DIGITS.items() if name.endswith(end)), 2)
    return {"label": labels.TRACES[name], "unit": unit, "factor": factor, "digits": digits}


def _recorded(log: FlightLog, how: Presentation
              ) -> Iterator[tuple[str, tuple[NDArray[np.float32], dict[str, Any]]]]:
    """Give the recorded channels in the units of the trade, a slow one held as the log does."""
    for name in log.channels:
        known = kind(name)
        if known is None or how.hides(name):
            continue
        values = (log.aligned(name) - known.unit.offset) / known.unit.factor
        unit, factor = how.units.edge(known.unit.name)
        step = log.channels[name].resolution / known.unit.factor
        yield f"recorded-{name}", (_without_idle_digits(values, step), {
            "label": value_words.channel_words(name), "unit": "" if known.discrete else unit,
            "factor": factor, "digits": 0 if known.discrete else 2, "discrete": known.discrete})


def _without_idle_digits(values: NDArray[np.float64], step: float) -> NDArray[np.float32]:
    """Return values as float32, rounded to as many decimals as their quantization step has.

    `step` : in their unit, NaN or 0 where it isn't known.
    """
    known = values[np.isfinite(values)]
    if not step > 0:
        step = float(np.ptp(known)) / RANGE_STEPS if known.size else 0.0
    if not step > 0:
        return values.astype(np.float32)
    decimals = math.ceil(-math.log10(step)) + 1
    # Adding 0.0 turns negative zero into zero.
    return (np.round(values, max(decimals, 0)) + 0.0).astype(np.float32)


def _second_of_day(how: Presentation) -> float | None:
    """Return the UTC second of the day at time 0, where instants are put as UTC."""
    if not how.in_utc:
        return None
    assert how.utc_start is not None
    return float((how.utc_start - how.utc_start.astype("datetime64[D]"))
                 / np.timedelta64(1, "ns")) / 1e9
