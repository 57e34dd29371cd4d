"""A first limits sheet as text, with comments, to be corrected and added to by hand."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

from loganalyze.limits.sheet_plausibility import UNNAMED
from loganalyze.sheets.sensor_tolerances import SUPPOSED, TYPICAL, WIDEST
from loganalyze.sheets.toml_models import written

Recorded = Literal["indicated", "calibrated"]
OutsideAir = Literal["static", "total", "probe"]
Rows = tuple[tuple[float, float], ...]

AT_REST_DEG = 2.0
"""[deg] Flaps up reads less than this, by common practice: no source."""
PAST_DETENT_DEG = 2.0
"""[deg] How far past a flap position its limit reaches: a position seldom reads exactly its own
number. Common practice, no source."""
_COVERAGE = NormalDist().inv_cdf(0.975)
_KT_LIMIT = {"indicated": "indicated_airspeed", "calibrated": "calibrated_airspeed"}


@dataclass(frozen=True)
class FirstLimits:
    """What a first limits sheet is written from; a limit that is absent isn't written.

    ``vmo`` : [kt], or rows of pressure altitude [ft] and VMO [kt]. ``mmo`` : Mach number.
    ``vfe`` : rows of flap position [deg] and VFE [kt], positions rising. ``vle`` : [kt].
    ``published`` says what kind of airspeed the limits are, ``recorded`` what the log's is;
    ``outside_air`` what its outside air temperature is, None where not known.
    """

    aircraft: str = UNNAMED
    vmo: float | Rows | None = None
    mmo: float | None = None
    vfe: Rows = ()
    vle: float | None = None
    published: Recorded = "indicated"
    recorded: Recorded = "indicated"
    outside_air: OutsideAir | None = None
    recovery_factor: float | None = None

    @property
    def any_limit(self) -> bool:
        """Whether there is a limit to write."""
        return self.vmo is not None or self.mmo is not None or bool(self.vfe) or (
            self.vle is not None)


def limits_sheet_text(first: FirstLimits) -> str:
    """Return a limits sheet as TOML with comments.

    Parameters
    ----------
    first : FirstLimits
        The limits, at least one, and what is known of the recording. The numbers aren't
        checked: `loganalyze.read_limits` does that when the sheet is read.

    Returns
    -------
    str
        The text. Tolerances, corrections, severities and what else a sheet may state stand in it
        as comments.
    """
    blocks = [
        _comment("Limits sheet. The approved flight manual prevails: check every number against "
                 "it. `loganalyze sheet check` reads this file and names what looks wrong; "
                 "`loganalyze sheet schema` prints every key, for an editor."),
        f"aircraft = {written(first.aircraft)}",
        _airspeed(first),
        _temperature(first),
        *_limits(first),
        _uncertainty(first),
        _SEVERITY,
        _CEILING,
    ]
    return "\n\n".join(blocks) + "\n"


def _comment(text: str) -> str:
    return "\n".join(textwrap.wrap(text, 98, initial_indent="# ", subsequent_indent="# ",
                                   break_on_hyphens=False))


def _line(code: str, comment: str, width: int = 33) -> str:
    return f"{code:<{width}} # {comment}"


def _airspeed(first: FirstLimits) -> str:
    return "\n".join([
        "[airspeed]",
        _line(f"recorded = {written(first.recorded)}", 'what the log holds: "indicated" or '
              '"calibrated"', 43),
        _line("# position_correction = [[100, 1], [250, 3]]",
              "rows of IAS and kt to add; absent: none is applied", 43),
        _line("# static_source_corrected = true", "the recorded altitude has its correction",
              43),
    ])


def _temperature(first: FirstLimits) -> str:
    what = _comment("The outside air temperature gives true airspeed; VMO and MMO are judged "
                    "without it.")
    stated = '"static", "total", or "probe" with its recovery_factor'
    if first.outside_air is None:
        return "\n".join([what, "# [temperature]",
                          _line('# outside_air = "static"', stated)])
    lines = [what, "[temperature]", _line(f"outside_air = {written(first.outside_air)}", stated)]
    if first.recovery_factor is not None:
        lines.append(_line(f"recovery_factor = {written(first.recovery_factor)}",
                           "the part of the temperature rise that the probe recovers"))
    return "\n".join(lines)


def _limits(first: FirstLimits) -> list[str]:
    kind = _KT_LIMIT[first.published]
    blocks = []
    if first.vmo is not None:
        table = isinstance(first.vmo, tuple)
        blocks.append(_limit("VMO", kind, *(
            [f"by_pressure_altitude = {written(first.vmo)}    # ft, kt; linear between the rows",
             _line('# outside = "hold"', "beyond the rows as at the last; absent: unknown there")]
            if table else [f"maximum_kt = {written(first.vmo)}"])))
    if first.mmo is not None:
        blocks.append(_limit("MMO", "mach", f"maximum = {written(first.mmo)}"))
    blocks += _flap_limits(first, kind)
    if first.vle is not None:
        blocks.append(_limit("VLE", kind, f"maximum_kt = {written(first.vle)}",
                             'when = { gear_down = { is = "down" } }'))
    return blocks


def _flap_limits(first: FirstLimits, kind: str) -> list[str]:
    blocks = []
    edges = _flap_edges([position for position, _ in first.vfe])
    for row, ((position, speed), (low, high)) in enumerate(zip(first.vfe, edges, strict=True)):
        reach = {"above": low} if high is None else {"above": low, "up_to": high}
        when = f"when = {{ flap_deg = {written(reach)} }}"
        blocks.append(_limit(
            f"VFE {written(position)}", kind, f"maximum_kt = {written(speed)}",
            _line(when, "above what flaps up reads: seldom exactly 0", 50) if row == 0 else when))
    return blocks


def _flap_edges(positions: list[float]) -> list[tuple[float, float | None]]:
    """Return above which angle and up to which [deg] each position's limit holds."""
    if not positions:
        return []
    highs = [here + min(PAST_DETENT_DEG, (after - here) / 2)
             for here, after in pairwise(positions)]
    lows = [min(AT_REST_DEG, positions[0] / 2), *highs]
    return list(zip(lows, [*highs, None], strict=True))


def _limit(name: str, quantity: str, *lines: str) -> str:
    return "\n".join(["[[limit]]", f"name = {written(name)}", f"quantity = {written(quantity)}",
                      *lines])


def _uncertainty(first: FirstLimits) -> str:
    speed = first.vmo[0][1] if isinstance(first.vmo, tuple) else first.vmo or 200.0
    lines = [
        _comment("Tolerances: what the air data computer's calibration, the recorder's and the "
                 "maintenance manual state. Unstated ones count as typical, and a wider interval "
                 "stands beside it for the widest that the rules allow. Behind each line: what it "
                 f"adds to the half-width of the 95 % interval at {written(speed)} kt, as it "
                 "stands here, typical and widest (root of the sum of squares)."),
        "# [uncertainty]",
    ]
    for key, generic, unit, at in (
            ("airspeed", "airspeed", "kt", speed),
            ("displayed_airspeed", "displayed_airspeed", "kt", speed),
            ("position_correction", "uncorrected_position", "kt", speed),
            ("static_source", "static_source", "kt", speed),
            ("pressure_altitude", "pressure_altitude", "ft", 20000.0)):
        here = SUPPOSED[key] / 3**0.5
        widths = [_COVERAGE * u for u in (here, float(TYPICAL[generic].standard_at(at)),
                                          float(WIDEST[generic].standard_at(at)))]
        digits = 1 if unit == "kt" else 0
        said = ", ".join(f"{width:.{digits}f}" for width in widths)
        where = "" if unit == "kt" else ", at 20,000 ft"
        lines.append(_line(f"# {key} = {{ limits = {written(SUPPOSED[key])} }}",
                           f"+- {unit}; adds {said} {unit}{where}", 43))
    return "\n".join(lines)


_SEVERITY = "\n".join([
    _comment("How serious an exceedance is, the operator says; the highest rule that is met "
             "counts. Two lines to show the form:"),
    '# [[severity]]',
    '# name = "over by 10 kt or Mach .02 for 5 s"',
    '# level = "high"                  # or "medium", "low"',
    '# excess_kt = 10',
    '# excess_mach = 0.02',
    '# time_s = 5',
])

_CEILING = "\n".join([
    _comment("A ceiling of the school's or the operator's own: drawn and measured apart, in its "
             "own words. It is no limit, and no verdict, severity or exit code knows of it:"),
    '# [[ceiling]]',
    '# name = "descent speed"',
    '# set_by = "the school"',
    '# quantity = "indicated_airspeed"',
    '# maximum_kt = 220              # or by_pressure_altitude, maximum, when, as for a limit',
])
