"""What the gallery's writers share: rows of the one flight, stamps, text, files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from gallery.climb import START, Array, truth

HERE = Path(__file__).parent
T = np.arange(40.0)
Spec = tuple[str, str, Callable[[Array], Array], int]
"""Name of the column, channel, conversion from the edge unit, decimals."""


def same(values: Array) -> Array:
    return values


def by(factor: float, offset: float = 0.0) -> Callable[[Array], Array]:
    return lambda values: values * factor + offset


M = by(0.3048)
KMH = by(1.852)
MPS = by(1852 / 3600)
KELVIN = by(1, 273.15)
FAHRENHEIT = by(1.8, 32)
INHG = by(100 / 3386.389)
PSI = by(100 / 6894.757293168361)

PLAIN: list[Spec] = [
    ("Pressure Altitude [ft]", "pressure_altitude", same, 0),
    ("IAS [kt]", "indicated_airspeed", same, 1),
    ("SAT [degC]", "static_air_temperature", same, 1),
    ("Heading [deg]", "heading", same, 1),
    ("Flap Angle [deg]", "flap", same, 1),
    ("Gear Down", "gear_down", same, 0),
]
FEW = PLAIN[:3]
BARE = ["Time [s]"]


def numbers(values: Array, decimals: int) -> list[str]:
    return [f"{round(value, decimals) + 0.0:.{decimals}f}" for value in values]


def grid(t: Array, clock: dict[str, list[str]], spec: Sequence[Spec]) -> list[list[str]]:
    """Return a header and rows: the clock's columns, then the channels'."""
    columns = {**clock, **{name: numbers(convert(truth(channel, t)), decimals)
                           for name, channel, convert, decimals in spec}}
    return [list(columns), *map(list, zip(*columns.values(), strict=True))]


def elapsed(t: Array = T) -> dict[str, list[str]]:
    return {"Time [s]": [f"{one:g}" for one in t]}


def instants(t: Array = T) -> list[np.datetime64]:
    return [START + np.timedelta64(round(one * 1e9), "ns") for one in t]


def stamps(pattern: str, t: Array = T, ahead_s: int = 0) -> list[str]:
    """Return stamps by a strftime pattern, `ahead_s` ahead of UTC; %L is milliseconds."""
    shown = []
    for one in instants(t):
        local = one + np.timedelta64(ahead_s, "s")
        whole = local.astype("datetime64[us]").item()
        shown.append(whole.strftime(pattern.replace("%L", f"{whole.microsecond // 1000:03}")))
    return shown


def text(rows: Sequence[Sequence[str]], delimiter: str = ",", decimal: str = ".",
         quote: bool = False, end: str = "\n") -> str:
    def cell(value: str) -> str:
        if decimal == "," and value[-1:].isdigit() and value.count(".") == 1:
            value = value.replace(".", ",")
        return f'"{value}"' if quote or delimiter in value else value

    return "".join(delimiter.join(map(cell, row)) + end for row in rows)


def put(name: str, content: str | bytes, columns: str = "") -> None:
    path = HERE / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    if columns:
        (HERE / (name.split(".")[0] + ".toml")).write_text(columns)


def plain() -> list[list[str]]:
    return grid(T, elapsed(), PLAIN)


def few(clock: dict[str, list[str]], t: Array = T) -> list[list[str]]:
    return grid(t, clock, FEW)
