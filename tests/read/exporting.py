"""Writes a flight as an export in any dialect, set of units and clock, for the reading tests.

Written apart from the reader: what each clock means is spelled out here once more.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze import FlightLog

Array = NDArray[np.float64]
Instants = NDArray[np.datetime64]
DAY_NS = 86400 * 10**9
NUMBER = re.compile(r"[+-]?\d+\.?\d*(e[+-]\d+)?")

UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "pressure_altitude": {"ft": (0.3048, 0), "m": (1, 0), "FL": (30.48, 0)},
    "indicated_airspeed": {"kt": (1852 / 3600, 0), "km/h": (1 / 3.6, 0), "m/s": (1, 0),
                           "mph": (0.44704, 0)},
    "static_air_temperature": {"degC": (1, 273.15), "degF": (5 / 9, 459.67 * 5 / 9), "K": (1, 0)},
    "vertical_speed": {"ft/min": (0.3048 / 60, 0), "m/s": (1, 0)},
    "static_pressure": {"hPa": (100, 0), "mbar": (100, 0), "inHg": (3386.389, 0), "Pa": (1, 0),
                        "psi": (6894.757293168361, 0)},
    "gear_down": {"": (1, 0)},
}
"""The units that a channel is exported in: SI is the number times a factor plus an offset."""
NAMES = {"pressure_altitude": "Pressure Altitude", "indicated_airspeed": "IAS",
         "static_air_temperature": "SAT", "vertical_speed": "Vertical Speed",
         "static_pressure": "Static Pressure", "gear_down": "Gear Down"}
STATES = {"0 1": ("0", "1"), "up down": ("UP", "DOWN"), "false true": ("FALSE", "TRUE")}
FORMS: dict[str, tuple[str, str, str, bool]] = {
    # delimiter, decimal mark, encoding, quoted
    "comma": (",", ".", "utf-8", False),
    "comma, mark": (",", ".", "utf-8-sig", False),
    "comma, Latin-1": (",", ".", "latin-1", False),
    "comma, quoted": (",", ".", "utf-8", True),
    "comma, decimal comma, quoted": (",", ",", "utf-8", True),
    "semicolon": (";", ".", "utf-8", False),
    "semicolon, decimal comma": (";", ",", "utf-8", False),
    "semicolon, decimal comma, Latin-1": (";", ",", "latin-1", False),
    "tab": ("\t", ".", "utf-8", False),
    "tab, UTF-16": ("\t", ".", "utf-16", False),
    "tab, decimal comma, UTF-16": ("\t", ",", "utf-16", False),
    "pipe": ("|", ".", "utf-8", False),
    "pipe, decimal comma, quoted": ("|", ",", "latin-1", True),
}
BLANK_FORMS: dict[str, tuple[str, str, str, bool]] = {
    "white space": (" ", ".", "utf-8", False),
    "white space, decimal comma": (" ", ",", "latin-1", False),
    "two blanks": ("  ", ".", "utf-8", False),
    "fixed width": ("  ", ".", "utf-8", False),
    "fixed width, to the right": (" ", ".", "utf-8", False),
    "fixed width, decimal comma": ("  ", ",", "utf-8", False),
}
"""Tables whose cells blanks hold apart: nothing stands in the place of a value that is missing."""
LEADS = {
    "none": "", "prose": "Invented replay, station 2\nTail ZZ-001, 25 h recorder\n\n",
    "comments": "# invented decoder 3.1\n# a line a sample\n",
    "pairs": "Operator;Invented Air\nTail;ZZ-001\n",
}
TAILS = ("none", "delimiter", "cut line", "blank lines")
HEADINGS = ("brackets", "suffix", "units row", "columns file")
PACKS = ("none", "gz", "zst")
GAPS = ("", "NCD", "---", "n/a")


@dataclass(frozen=True)
class Habits:
    """One way of exporting; the fields are keys of the tables above."""

    form: str = "comma"
    lead: str = "none"
    end: str = "\n"
    heading: str = "brackets"
    tail: str = "none"
    pack: str = "none"
    gap: str = ""
    states: str = "0 1"
    clock: str = "elapsed s"
    units: dict[str, str] = field(default_factory=dict)
    decimals: int = 4


@dataclass(frozen=True)
class Clock:
    """The columns of a clock, and what a columns file must say of it."""

    columns: Callable[[Instants], dict[str, list[str]]]
    told: str = ""
    dated: bool = True
    resolution_s: float = 1e-3
    named: tuple[tuple[str, str, str], ...] = ()
    """For the columns file: part of the clock, column, unit."""


def _stamps(pattern: str, ahead_s: int = 0) -> Callable[[Instants], list[str]]:
    def stamps(at: Instants) -> list[str]:
        shown = []
        for one in (at + np.timedelta64(ahead_s, "s")).astype("datetime64[us]").tolist():
            shown.append(one.strftime(pattern.replace("%L", f"{one.microsecond // 1000:03}")))
        return shown
    return stamps


def _parts(**patterns: str) -> Callable[[Instants], dict[str, list[str]]]:
    return lambda at: {name.replace("_", " "): _stamps(pattern)(at)
                       for name, pattern in patterns.items()}


def _elapsed(per_second: float, decimals: int) -> Callable[[Instants], list[str]]:
    def elapsed(at: Instants) -> list[str]:
        return [f"{ns / 1e9 * per_second:.{decimals}f}"
                for ns in (at - at[0]).astype(np.int64).tolist()]
    return elapsed


def _epoch(ns_each: int) -> Callable[[Instants], dict[str, list[str]]]:
    def epoch(at: Instants) -> dict[str, list[str]]:
        ticks = at.astype("datetime64[ns]").astype(np.int64).tolist()
        return {"timestamp": [f"{ns / 1e9:.3f}" if ns_each == 10**9 else str(ns // ns_each)
                              for ns in ticks]}
    return epoch


def _serial(at: Instants) -> dict[str, list[str]]:
    since = (at - np.datetime64("1899-12-30", "ns")).astype(np.int64).tolist()
    return {"Time": [f"{ns // DAY_NS}.{round(ns % DAY_NS / DAY_NS * 10**9):09}" for ns in since]}


def _satellite(at: Instants) -> dict[str, list[str]]:
    since = (at - np.datetime64("1980-01-06", "ns")).astype(np.int64) + 18 * 10**9
    week = 7 * DAY_NS
    return {"GPS Week": [str(ns // week) for ns in since.tolist()],
            "GPS TOW": [f"{ns % week / 1e9:.3f}" for ns in since.tolist()]}


def _frames(at: Instants) -> dict[str, list[str]]:
    """Quarter-second subframes, four to a frame of 1 s; the frames are counted to 256."""
    quarters = (1000 + np.rint((at - at[0]).astype(np.int64) / 0.25e9)).astype(int).tolist()
    return {"FRAME": [str(one // 4 % 256) for one in quarters],
            "SUBFRAME": [str(one % 4 + 1) for one in quarters]}


def _day_fraction(at: Instants) -> dict[str, list[str]]:
    since = (at - at.astype("datetime64[D]")).astype("timedelta64[ns]").astype(np.int64).tolist()
    return {"Date": _stamps("%Y-%m-%d")(at), "Time": [f"{ns / DAY_NS:.9f}" for ns in since]}


def _two_numbers(at: Instants) -> dict[str, list[str]]:
    """Minutes and seconds since 7 min 30 s before the first row, beyond the hour."""
    since = ((at - at[0]).astype(np.int64) // 10**6 + 450_000).tolist()
    return {"Elapsed": [f"{ms // 60_000:02}:{ms % 60_000 / 1e3:06.3f}" for ms in since]}


def _long_hours(at: Instants) -> dict[str, list[str]]:
    """Hours, minutes and seconds since the day before, so that they pass 24:00:00."""
    since = ((at - at[0]).astype(np.int64) // 10**6 + 86_390_000).tolist()
    return {"Elapsed": [f"{ms // 3_600_000}:{ms // 60_000 % 60:02}:{ms % 60_000 / 1e3:06.3f}"
                        for ms in since]}


def _epoch_float(at: Instants) -> dict[str, list[str]]:
    ticks = at.astype("datetime64[ns]").astype(np.int64).tolist()
    return {"timestamp": [f"{ns / 1e9:.12e}" for ns in ticks]}


def _offset_parts(at: Instants) -> dict[str, list[str]]:
    return {"Date": _stamps("%Y-%m-%d", -12600)(at), "Time": _stamps("%H:%M:%S.%L", -12600)(at),
            "UTC Offset": ["-03:30"] * len(at)}


CLOCKS: dict[str, Clock] = {
    "elapsed s": Clock(lambda at: {"Time [s]": _elapsed(1, 3)(at)}, dated=False),
    "elapsed ms": Clock(lambda at: {"Time [ms]": _elapsed(1e3, 0)(at)}, dated=False),
    "elapsed min": Clock(lambda at: {"Time [min]": _elapsed(1 / 60, 6)(at)}, dated=False),
    "ISO extended": Clock(_parts(UTC="%Y-%m-%dT%H:%M:%S.%LZ")),
    "ISO basic": Clock(_parts(UTC="%Y%m%dT%H%M%S.%LZ")),
    "ISO with offset": Clock(lambda at: {
        "Time": [f"{stamp}+02:00" for stamp in _stamps("%Y-%m-%d %H:%M:%S.%L", 7200)(at)]}),
    "ISO ordinal": Clock(_parts(UTC="%Y-%jT%H:%M:%S.%LZ")),
    "date and time": Clock(_parts(Date="%Y-%m-%d", UTC="%H:%M:%S.%L")),
    "date, time, offset": Clock(_offset_parts),
    "parts": Clock(_parts(Year="%Y", Month="%m", Day="%d", Hour="%H", Minute="%M",
                          Second="%S.%L")),
    "day of year": Clock(_parts(Year="%Y", Day_of_year="%j", UTC="%H:%M:%S.%L")),
    "day first": Clock(_parts(Date="%d/%m/%Y", UTC="%H:%M:%S.%L"), '[clock]\nform = "day first"'),
    "month first": Clock(_parts(Date="%m/%d/%Y", UTC="%H:%M:%S.%L"),
                         '[clock]\nform = "month first"'),
    "month by name": Clock(_parts(UTC="%d-%b-%Y %H:%M:%S.%L")),
    "time of day": Clock(_parts(UTC="%H:%M:%S.%L"), dated=False),
    "serial": Clock(_serial, '[clock]\nform = "spreadsheet serial"', resolution_s=2e-4,
                    named=(("time", "Time", ""),)),
    "satellite week": Clock(_satellite, '[clock]\nform = "satellite week"\nleap_seconds = 18',
                            named=(("week", "GPS Week", ""), ("time", "GPS TOW", "s"))),
    "frames": Clock(_frames, '[clock]\nform = "frame counter"\nframe_s = 1\nframes = 256\n'
                    "subframes = 4", dated=False,
                    named=(("frame", "FRAME", ""), ("subframe", "SUBFRAME", ""))),
    "epoch s": Clock(_epoch(10**9)),
    "epoch ms": Clock(_epoch(10**6)),
    "epoch us": Clock(_epoch(10**3)),
    "epoch ns": Clock(_epoch(1)),
    "epoch with an exponent": Clock(_epoch_float),
    "HHMMSS": Clock(lambda at: {"UTC [hhmmss]": _stamps("%H%M%S.%L")(at)}, dated=False),
    "HHMMSS, as stated": Clock(lambda at: {"Time": _stamps("%H%M%S.%L")(at)},
                               '[clock]\nform = "hhmmss"', dated=False),
    "minutes and seconds": Clock(_two_numbers, dated=False),
    "part of the day and date": Clock(_day_fraction, resolution_s=2e-4),
    "elapsed hours beyond 24": Clock(_long_hours, dated=False),
}


@dataclass(frozen=True)
class Written:
    """A written export, the columns file that it needs, and its quanta in SI."""

    path: Path
    columns: Path | None
    quanta: dict[str, float]
    clock: Clock


def export(folder: Path, at: Instants, values: dict[str, Array], how: Habits) -> Written:
    """Write `values` (SI, NaN where missing) at the instants `at`."""
    clock = CLOCKS[how.clock]
    columns = {_joined(name, how): cells for name, cells in clock.columns(at).items()}
    units = [""] * len(columns)
    told = [_told(part, _joined(column, how), unit) for part, column, unit in clock.named]
    quanta = {}
    for channel, numbers in values.items():
        unit = how.units.get(channel, next(iter(UNITS[channel])))
        factor, offset = UNITS[channel][unit]
        quanta[channel] = factor * 10.0**-how.decimals if unit else 0.0
        name = _joined(_headed(NAMES[channel], unit, how, "latin-1" in form_of(how)[2]), how)
        columns[name] = _cells(numbers, factor, offset, unit, how)
        units.append(unit)
        if how.heading == "columns file" and unit:
            told.append(_told(channel, name, unit))
    path = _put(folder, list(columns), units, list(columns.values()), how)
    sheet = folder / "columns.toml"
    text = "\n".join([clock.told, *(["[columns]", *told] if told else []), ""])
    sheet.write_text(text)
    return Written(path, sheet if text.strip() else None, quanta, clock)


def _joined(name: str, how: Habits) -> str:
    """Return a name as a form writes it in which a single blank parts the columns."""
    return name.replace(" ", "_") if how.form.startswith("white space") else name


def form_of(how: Habits) -> tuple[str, str, str, bool]:
    """Return the delimiter, decimal mark, encoding and quoting of a form."""
    return (FORMS | BLANK_FORMS)[how.form]


def _told(channel: str, column: str, unit: str) -> str:
    stated = f', unit = "{unit}"' if unit else ""
    return f'{channel} = {{ column = "{column}"{stated} }}'


def _headed(name: str, unit: str, how: Habits, degrees: bool) -> str:
    if how.heading == "brackets" and unit:
        return f"{name} [{'°C' if degrees and unit == 'degC' else unit}]"
    if how.heading == "suffix" and unit:
        return f"{name}_{unit.replace('/', '_')}".lower().replace(" ", "_")
    return name if how.heading != "columns file" or not unit else "".join(
        word[0] for word in name.split()) + "X1"


def _cells(numbers: Array, factor: float, offset: float, unit: str, how: Habits) -> list[str]:
    if not unit:
        off, on = STATES[how.states]
        return [how.gap if np.isnan(one) else on if one else off for one in numbers]
    return [how.gap if np.isnan(one) else f"{one + 0.0:.{how.decimals}f}"
            for one in np.round((numbers - offset) / factor, how.decimals)]


def _put(folder: Path, names: list[str], units: list[str], columns: list[list[str]],
         how: Habits) -> Path:
    delimiter, decimal, encoding, quoted = form_of(how)
    blank = how.form in BLANK_FORMS
    units = [unit or "-" for unit in units] if blank else units
    sides = {"to the right": str.rjust}.get(how.form.partition(", ")[2], str.ljust)
    widths = [max(map(len, [name, unit, *column]))
              for name, unit, column in zip(names, units, columns, strict=True)]

    def line(cells: list[str], numeric: bool = True) -> str:
        if decimal == "," and numeric:
            cells = [cell.replace(".", ",") if NUMBER.fullmatch(cell) else cell for cell in cells]
        if quoted:
            cells = [f'"{cell}"' for cell in cells]
        if how.form.startswith("fixed"):
            cells = [sides(cell, width) for cell, width in zip(cells, widths, strict=True)]
        return delimiter.join(cells) + (delimiter if how.tail == "delimiter" else "")

    head = [line(names, False)]
    if how.heading == "units row":
        head.append(line([*units], False))
    lines = [*head, *(line(list(row)) for row in zip(*columns, strict=True))]
    text = LEADS[how.lead].replace("\n", how.end).replace(";", ": " if blank else delimiter)
    text += how.end.join([*lines, ""])
    if how.tail == "cut line":
        text += columns[0][-1]
    if how.tail == "blank lines":
        text += how.end * 3
    path = folder / f"flight.csv{'' if how.pack == 'none' else '.' + how.pack}"
    path.write_bytes(packed(text.encode(encoding), how))
    return path


def packed(data: bytes, how: Habits) -> bytes:
    """Compress a file's bytes as the habits say."""
    if how.pack == "gz":
        return gzip.compress(data, 1)
    return pa.compress(data, "zstd", asbytes=True) if how.pack == "zst" else data


def unpacked(data: bytes, how: Habits) -> bytes:
    """Undo `packed`."""
    if how.pack == "gz":
        return gzip.decompress(data)
    if how.pack == "zst":
        return pa.input_stream(pa.BufferReader(data), compression="zstd").read()
    return data


def check(log: FlightLog, written: Written, at: Instants, values: dict[str, Array]) -> None:
    """Hold what was read to what was written, within half a quantum."""
    since = (at - at[0]).astype("timedelta64[ns]").astype(np.int64) / 1e9
    if written.clock.dated:
        assert log.utc_start is not None
        start = (log.utc_start - at[0]) / np.timedelta64(1, "ns") * 1e-9
        assert np.abs(start + log.time - since).max() <= written.clock.resolution_s
    else:
        assert log.utc_start is None
    assert len(log) == len(at)
    assert np.abs(log.time - since).max() <= written.clock.resolution_s
    assert set(log.channels) == set(values)
    for name, wanted in values.items():
        channel = log.channels[name]
        rows = np.arange(len(at)) if channel.rows is None else channel.rows
        assert np.array_equal(np.isnan(channel.values), np.isnan(wanted[rows])), name
        off = np.abs(channel.values - wanted[rows])
        assert not (off > 0.51 * written.quanta[name] + 1e-9).any(), name
        # A row at which a slow channel wasn't recorded held nothing that is lost.
        assert np.isnan(np.delete(wanted, rows)).all(), name
