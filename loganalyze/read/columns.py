"""Which column is which channel, in which unit, and how that is known.

Nothing is guessed in silence: a name that may mean several channels, two columns for one
channel, or a unit that nothing states, are refused where the verdict depends on them, and
left unread (and said so) where it doesn't.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from loganalyze.problems import Problem
from loganalyze.record.channels import CHANNELS
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.units import UNITS, Unit, find_unit
from loganalyze.sheets.columns import CLOCK_PARTS, ColumnsFile
from loganalyze.sheets.columns import Column as Entry

SPELLINGS: dict[str, str] = {
    "time": "time, elapsed time, elapsed, time elapsed, utc, gmt, utc time, time utc, gmt time, "
            "time gmt, zulu, timestamp, time stamp, datetime, date time, datetime utc, "
            "time since start, seconds, t, epoch, unix time, sample time, record time",
    "date": "date, utc date, date utc, gmt date",
    "pressure_altitude": "pressure altitude, press altitude, press alt, pressure alt, alt press, "
                         "altitude pressure, palt, p alt, alt p, hp, altitude std, alt std, "
                         "std alt, standard altitude, std altitude, altitude 1013, alt 1013, "
                         "altitude 29.92, alt 29.92, altitude qne, alt qne, fl, flight level",
    "indicated_altitude": "indicated altitude, ind alt, ind altitude, baro altitude, baro alt, "
                          "baro corrected altitude, baro corr alt, altitude baro, alt baro, "
                          "barometric altitude, altitude qnh, alt qnh, qnh altitude, "
                          "altitude indicated, alt ind",
    "satellite_altitude": "gps altitude, gps alt, altitude gps, alt gps, gnss altitude, gnss alt, "
                          "geometric altitude, altitude gnss, alt gnss, satellite altitude, "
                          "geo altitude, hae, msl altitude gps",
    "indicated_airspeed": "ias, indicated airspeed, airspeed indicated, indicated air speed, "
                          "ind airspeed, airspeed ind, ind air speed, vi, v ias, kias, "
                          "indicated speed, speed indicated, airspeed ias, ias airspeed",
    "calibrated_airspeed": "cas, calibrated airspeed, airspeed calibrated, calibrated air speed, "
                           "computed airspeed, computed air speed, comp airspeed, "
                           "airspeed computed, vc, vcas, v cas, kcas, cal airspeed, airspeed cal, "
                           "airspeed cas, rectified airspeed",
    "true_airspeed": "tas, true airspeed, airspeed true, true air speed, ktas, v tas, vtas, "
                     "true speed",
    "mach": "mach, mach number, mach no, m no",
    "static_air_temperature": "sat, static air temperature, static air temp, static temperature, "
                              "static temp, temperature static, temp static, t static, "
                              "air temperature static",
    "total_air_temperature": "tat, total air temperature, total air temp, total temperature, "
                             "total temp, temperature total, temp total",
    "outside_air_temperature": "oat, outside air temperature, outside air temp, outside temp, "
                               "outside temperature, outside air t, outdoor air temperature",
    "static_pressure": "static pressure, static press, ps, p static, pressure static",
    "total_pressure": "total pressure, total press, pt, p total, pressure total, pitot pressure",
    "impact_pressure": "impact pressure, impact press, qc, pressure impact, p impact",
    "altimeter_setting": "altimeter setting, qnh, baro setting, altimeter set, baro set, "
                         "barometric setting",
    "ground_speed": "ground speed, gs, groundspeed, speed ground, gps speed, gps ground speed",
    "vertical_speed": "vertical speed, vs, vsi, ivv, v speed, rate of climb, roc, climb rate, "
                      "altitude rate, vertical rate",
    "heading": "heading, hdg, magnetic heading, mag heading, true heading, heading magnetic, "
               "heading true, mag hdg",
    "track": "track, trk, ground track, track true, true track, track angle",
    "pitch": "pitch, pitch angle, pitch attitude, theta",
    "roll": "roll, roll angle, bank, bank angle, roll attitude, phi",
    "load_factor": "load factor, normal acceleration, norm acc, norm accel, vertical acceleration, "
                   "vert accel, nz, vrtg, normac, vertical load factor, g load",
    "latitude": "latitude, lat",
    "longitude": "longitude, lon, long, lng",
    "flap": "flap, flaps, flap angle, flap position, flap surface, flap surface angle, flap pos, "
            "flaps position, flaps angle",
    "flap_lever": "flap lever, flap handle, flap handle position, flap lever position, "
                  "flap selector, flap selected, flap lever angle",
    "slat": "slat, slats, slat angle, slat position",
    "speedbrake": "speedbrake, speed brake, speedbrakes, spoilers, speedbrake angle, "
                  "speed brake position, speedbrake position",
    "gear_down": "gear down, gear down and locked, landing gear down, gear down locked, "
                 "ldg gear dn, gear dn",
    "weight_on_wheels": "weight on wheels, wow, air ground, on ground, ground air, squat switch",
    "overspeed_warning": "overspeed warning, overspeed, vmo mmo warning, overspeed warn, ovspd, "
                         "vmo warning",
    "autopilot": "autopilot, autopilot engaged, ap engaged, ap, ap eng",
    "autothrottle": "autothrottle, autothrottle engaged, at engaged, autothrust, at eng",
    "weight": "weight, gross weight, gw, aircraft weight, mass, aircraft mass, gross mass",
    "fuel": "fuel, fuel quantity, total fuel, fuel on board, fob, fuel qty",
    "torque": "torque, tq, trq, engine torque",
    "fan_speed": "n1, fan speed, engine n1, eng n1",
    "power_lever": "power lever, power lever angle, pla, throttle lever angle, tla",
    "limit_pointer": "vmo, maximum allowable airspeed, max allowable airspeed, barber pole, "
                     "limit pointer, maximum operating speed, vmo mmo, max speed pointer",
}
"""The one table of spellings: words that exports use for each channel."""

AMBIGUOUS: dict[str, tuple[str, ...]] = {
    "altitude, alt, height, baro": ("pressure_altitude", "indicated_altitude",
                                    "satellite_altitude"),
    "airspeed, air speed, speed, spd, aspd, velocity": (
        "indicated_airspeed", "calibrated_airspeed", "true_airspeed"),
    "temperature, temp, air temperature, air temp": (
        "static_air_temperature", "total_air_temperature", "outside_air_temperature"),
}
"""Names that don't say which channel they are."""

NAMED_UNITS = {"kias": "kt", "kcas": "kt", "ktas": "kt", "fl": "FL", "flightlevel": "FL",
               "seconds": "s"}
"""Names that state their unit by themselves."""

SOURCES = frozenset(("1", "2", "3", "l", "r", "lh", "rh", "left", "right", "capt", "captain", "fo",
                     "adc", "adc1", "adc2"))
"""Words at a name's end that tell one source of a channel from another."""

AIRSPEEDS = ("indicated_airspeed", "calibrated_airspeed")
TEMPERATURES = ("static_air_temperature", "total_air_temperature", "outside_air_temperature")
ESSENTIAL = frozenset(("time", "pressure_altitude", *AIRSPEEDS, *TEMPERATURES))
"""Channels whose doubt is refused rather than left out."""
UNITLESS = frozenset(("time", "date", "mach"))


@dataclass(frozen=True)
class Header:
    """A column as the file names it, with the unit that a units row or metadata states."""

    name: str
    unit: str = ""
    unit_from: str = ""


@dataclass(frozen=True)
class Column:
    """A recognised column: ``unit`` is None where nothing states it.

    ``channel`` : the channel, a part of the clock (`sheets.columns.CLOCK_PARTS`), or `X.fine` for
    the fine word of channel X, that has its own column; ``lag_s``, ``skew_s`` [s], ``fine_span``
    and ``wraps_at`` [SI] as the columns file states them (0: not stated); ``timed`` : whether it
    states lag or skew at all; ``values`` : what its words mean, in the unit; ``missing`` : its
    cells that stand for no value.
    """

    channel: str
    index: int
    name: str
    unit: Unit | None
    recorded_unit: str
    known_by: str
    lag_s: float = 0.0
    skew_s: float = 0.0
    fine_span: float = 0.0
    wraps_at: float = 0.0
    timed: bool = False
    values: Mapping[str, float] = field(default_factory=dict)
    missing: tuple[str | float, ...] = ()


@dataclass(frozen=True)
class _Reading:
    """What a name alone says."""

    channel: str
    unit: str
    unit_from: str
    spelling: str


def _key(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "", name.casefold())


_BY_KEY = {_key(word): channel for channel, words in SPELLINGS.items() for word in words.split(",")}
_DOUBTFUL = {_key(word): channels for words, channels in AMBIGUOUS.items()
             for word in words.split(",")}
_BRACKETS = re.compile(r"^(.*?)[\[({<]([^\])}>]*)[\])}>](.*)$")
_WORDS = re.compile(r"[\s_.:\-,]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


def read_name(name: str) -> _Reading | None:
    """Return what a column's name says, or None. ``channel`` is empty for an ambiguous name."""
    bracketed = _BRACKETS.match(name)
    if bracketed:
        before, inside, after = bracketed.groups()
        if find_unit(inside) is not None:
            return _read_words(f"{before} {after}", inside, "the brackets in its name")
        return (_read_words(f"{before} {inside} {after}", "", "")
                or _read_words(f"{before} {after}", inside, "the brackets in its name"))
    return _read_words(name, "", "")


def _read_words(text: str, unit: str, unit_from: str) -> _Reading | None:
    words = [word for word in _WORDS.split(_CAMEL.sub(" ", text.strip())) if word]
    while words:
        key = _key("".join(words))
        if (key in _BY_KEY or key in _DOUBTFUL) and _key(words[-1]):
            if not unit and key in NAMED_UNITS:
                unit, unit_from = NAMED_UNITS[key], "its name"
            return _Reading(_BY_KEY.get(key, ""), unit, unit_from, key)
        if len(words) > 1 and words[-1].casefold() in SOURCES:
            words = words[:-1]
            continue
        taken = 0 if unit else _unit_words(words)
        if not taken:
            return None
        unit, unit_from = _joined_unit(words[-taken:], text), "the end of its name"
        words = words[:-taken]
    return None


def _joined_unit(words: Sequence[str], text: str) -> str:
    """Return the unit that `words` make, as written at the end of `text` if it stands there."""
    known = [joined for joined in ("".join(words), " ".join(words), "/".join(words))
             if find_unit(joined) is not None]
    return next((joined for joined in known if text.endswith(joined)), known[-1] if known else "")


def _unit_words(words: Sequence[str]) -> int:
    for count in (2, 1):
        if len(words) > count and not words[-1].isdigit() and _joined_unit(words[-count:], ""):
            return count
    return 0


def recognise(
    headers: Sequence[Header], chosen: ColumnsFile | None, where: str
) -> tuple[list[Column], list[str]]:
    """Return the recognised columns, and a sentence for each one left in doubt.

    The columns file `chosen` wins over what the names say. Raises Problem where a column it
    names is missing, or where the time, the pressure altitude, an airspeed or a temperature
    is missing, ambiguous or recorded twice.
    """
    found: dict[str, Column] = {}
    if chosen is not None:
        for channel, entry in chosen.columns.items():
            found |= _told(channel, entry, headers, where)
    taken = {column.index for column in found.values()}
    named: dict[str, list[Column]] = {}
    doubtful: list[tuple[Header, tuple[str, ...]]] = []
    notes: list[str] = []
    for index, header in enumerate(headers):
        reading = read_name(header.name) if index not in taken else None
        if reading is None or _bare_symbol(header, reading):
            continue
        if not reading.channel:
            doubtful.append((header, _DOUBTFUL[reading.spelling]))
            continue
        if reading.channel not in found:
            column = _named(reading, index, header, where, notes)
            if column is not None:
                named.setdefault(reading.channel, []).append(column)
    for channel, columns in named.items():
        if len(columns) == 1:
            found[channel] = columns[0]
            continue
        names = " and ".join(f'"{column.name}"' for column in columns)
        if channel in ESSENTIAL:
            raise Problem(f"columns {names} may each be the {_words(channel)}", where,
                          "choose one in a columns file", _start(headers, found, channel))
        notes.append(f"Columns {names} may each be the {_words(channel)}: not read.")
    _demand(headers, found, doubtful, chosen is None, where)
    return sorted(found.values(), key=lambda column: column.index), notes


def _bare_symbol(header: Header, reading: _Reading) -> bool:
    """Whether a short symbol (T, HP, VS) lacks the unit that would tell what it stands for."""
    kind = CHANNELS.get(reading.channel)
    if len(reading.spelling) > 2 or not reading.channel or (kind is not None and kind.discrete):
        return False
    unit = find_unit(header.unit or reading.unit)
    return unit is None or unit.dimension != (kind.dimension if kind else "time")


def refuse_unit(column: Column, headers: Sequence[Header], found: Mapping[str, Column],
                where: str) -> Problem:
    """Return the Problem of a column whose unit nothing states."""
    return Problem(f'nothing states the unit of column "{column.name}" ({_words(column.channel)})',
                   where, "state it in a columns file", _start(headers, found, ""))


def _told(channel: str, entry: Entry, headers: Sequence[Header], where: str) -> dict[str, Column]:
    """Return what the columns file says of a channel: its column, and that of its fine word."""
    column = _chosen(channel, entry.column, entry.unit, headers, where)
    factor = column.unit.factor if column.unit else 1.0
    column = replace(
        column, lag_s=entry.lag_s, skew_s=entry.skew_s,
        timed=bool({"lag_s", "skew_s"} & entry.model_fields_set),
        fine_span=(entry.fine_span or 0.0) * factor, wraps_at=(entry.wraps_at or 0.0) * factor,
        values={word.strip().casefold(): code for word, code in entry.values.items()},
        missing=entry.missing)
    if entry.fine is None:
        return {channel: column}
    unit = entry.unit or column.recorded_unit or None
    fine = _chosen(channel, entry.fine, unit, headers, where)
    return {channel: column, f"{channel}.fine": replace(fine, channel=f"{channel}.fine")}


def _chosen(channel: str, name: str, unit: str | None, headers: Sequence[Header],
            where: str) -> Column:
    matches = [i for i, header in enumerate(headers) if header.name == name.strip()]
    if not matches:
        matches = [i for i, header in enumerate(headers)
                   if header.name.casefold() == name.strip().casefold()]
    if not matches:
        raise Problem(f'the columns file names "{name}" for {channel}, but no column is called so',
                      where, "name one of the columns found", _listed(headers))
    if len(matches) > 1:
        raise Problem(f'{len(matches)} columns are called "{name}"', where,
                      "export the log with a name of its own for each column", _listed(headers))
    header = headers[matches[0]]
    reading = read_name(header.name)
    stated, stated_by = unit, "the columns file"
    if stated is None and header.unit:
        stated, stated_by = header.unit, header.unit_from
    if stated is None and reading is not None and reading.unit:
        stated, stated_by = reading.unit, reading.unit_from
    return _column(channel, matches[0], header.name, stated or "", "named in the columns file",
                   stated_by, where)


def _named(reading: _Reading, index: int, header: Header, where: str,
           notes: list[str]) -> Column | None:
    stated, stated_by = reading.unit, reading.unit_from
    if header.unit:
        if stated and find_unit(stated) != find_unit(header.unit):
            raise Problem(f'column "{header.name}" states the unit "{stated}" in its name and '
                          f'"{header.unit}" in {header.unit_from}', where,
                          "state the right one in a columns file")
        stated, stated_by = header.unit, header.unit_from
    try:
        column = _column(reading.channel, index, header.name, stated, "recognised by its name",
                         stated_by, where)
    except Problem as problem:
        if reading.channel in ESSENTIAL:
            raise
        notes.append(f'Column "{header.name}" was not read: {problem.what}.')
        return None
    if column.unit is None and reading.channel not in ESSENTIAL | UNITLESS:
        notes.append(f'Column "{header.name}" ({_words(reading.channel)}) states no unit: '
                     "not read.")
        return None
    return column


def _column(channel: str, index: int, name: str, stated: str, known_by: str, unit_by: str,
            where: str) -> Column:
    kind = channel_kind(channel.removesuffix(".fine"))
    dimension = "time" if channel == "time" else kind.dimension if kind else ""
    unit = find_unit(stated, dimension) if stated else None
    if stated and unit is None and channel not in CLOCK_PARTS:
        raise Problem(f'the unit "{stated}" of column "{name}" isn\'t known', where,
                      "state the unit in a columns file as one of " + ", ".join(
                          name for name, unit in UNITS.items()
                          if dimension in ("", unit.dimension)))
    if unit is not None:
        expected = dimension or unit.dimension
        free = channel in CLOCK_PARTS[1:] or (kind is not None and kind.discrete)
        if unit.dimension != expected and not free:
            raise Problem(f'column "{name}" states the unit "{stated}", which isn\'t one of '
                          f"{expected}, so it can't be the {_words(channel)}", where,
                          "say what it is in a columns file")
        known_by += f", unit from {unit_by}"
    elif kind is not None and (kind.discrete or channel == "mach"):
        unit = kind.unit
    return Column(channel, index, name, unit, stated, known_by)


def _demand(headers: Sequence[Header], found: Mapping[str, Column],
            doubtful: Sequence[tuple[Header, tuple[str, ...]]], strict: bool, where: str) -> None:
    """Raise Problem for what the verdict needs and the file doesn't say without doubt."""
    needs: list[tuple[str, tuple[str, ...]]] = [
        ("time", ("time",)),
        ("pressure altitude", ("pressure_altitude",)),
        ("indicated or calibrated airspeed", AIRSPEEDS),
    ]
    if strict:
        needs.append(("temperature", TEMPERATURES))
    for words, channels in needs:
        if any(channel in found for channel in channels):
            continue
        for header, candidates in doubtful:
            if set(channels) & set(candidates):
                may_be = ", ".join(map(_words, candidates[:-1])) + f" or {_words(candidates[-1])}"
                raise Problem(f'column "{header.name}" may be {may_be}', where,
                              "say which in a columns file", _start(headers, found, channels[0]))
        if channels is not TEMPERATURES:
            raise Problem(f"no column is recognised as the {words}", where,
                          "name it in a columns file", _start(headers, found, channels[0]))


def _words(channel: str) -> str:
    kind = CHANNELS.get(channel)
    return kind.words if kind else channel.replace("_", " ")


def _listed(headers: Sequence[Header]) -> str:
    return "columns found: " + ", ".join(json.dumps(header.name, ensure_ascii=False)
                                         for header in headers)


def _start(headers: Sequence[Header], found: Mapping[str, Column], missing: str) -> str:
    """Return the columns found and a columns file to start from."""
    speeds = [name for name in AIRSPEEDS if name in found or name == missing] or [AIRSPEEDS[0]]
    temperatures = [name for name in TEMPERATURES if name in found]
    wanted = ["time", "pressure_altitude", *speeds, *temperatures]
    if missing and missing not in wanted:
        wanted.append(missing)
    lines = [_listed(headers), "a columns file to start from:", "[columns]"]
    for channel in wanted:
        column = None if channel == missing else found.get(channel)
        name = json.dumps(column.name, ensure_ascii=False) if column else '"?"'
        kind = CHANNELS.get(channel)
        unit = column.unit.name if column and column.unit else kind.unit.name if kind else ""
        stated = f', unit = "{unit}"' if unit and channel not in UNITLESS else ""
        sure = column is not None and (column.unit is not None or channel == "time")
        check = "" if sure else "   # check"
        lines.append(f"{channel} = {{ column = {name}{stated} }}{check}")
    return "\n".join(lines)
