"""What is said of a limits sheet: what it holds, and what in it is worth a second look."""

from __future__ import annotations

from collections.abc import Mapping

from loganalyze.limits.sheet_plausibility import SheetRemark
from loganalyze.quantities.quantity_registry import is_in_mach, quantity_names, quantity_of
from loganalyze.sheets.limits_sheet import Limit, LimitsSheet
from loganalyze.sheets.toml_models import written
from loganalyze.text.en import quantity_words
from loganalyze.text.en.number_format import count

REMARKS: Mapping[str, str] = {
    "aircraft_unnamed": "the aircraft has no name yet: write it behind the key \"aircraft\".",
    "no_mach_limit": "no limit without conditions is a Mach number: nothing is judged against "
                     "Mach.",
    "no_airspeed_limit": "no limit without conditions is an airspeed: below the crossover nothing "
                         "holds the aircraft back.",
    "example_rules": "{count:.0f} of the severity rules are marked as examples: set the operator's "
                     "own.",
    "unusual_kt": "{limit} is {kt:g} kt: check the unit and the number.",
    "unusual_mach": "{limit} is Mach {mach:g}: check the number.",
    "table_ends": "the table of {limit} covers {low_ft:,.0f} to {high_ft:,.0f} ft pressure "
                  "altitude; beyond it the limit is unknown and the flight not judged, unless the "
                  "sheet says outside = \"hold\".",
    "flaps_at_rest": "{limit} holds from a flap angle of {low_deg:g} deg on: flaps up seldom reads "
                     "exactly 0, so that it would be in force in cruise; write such as above = 2.",
    "gear_up": "{limit} holds while the gear is up: check the state.",
    "never_lowest": "{limit} is nowhere lower than {other}: it never sets the limit.",
    "unusual_crossover": "{limit} and {other} cross at {altitude_ft:,.0f} ft pressure altitude: "
                         "check both numbers.",
    "flap_gap": "between {low_deg:g} and {high_deg:g} deg of flap neither {limit} nor {other} "
                "holds.",
    "flap_limit_rises": "{limit} is greater than {other}, with the flaps further out.",
}
"""A sentence for each code of a SheetRemark."""


def sheet_remark(remark: SheetRemark) -> str:
    """Return a remark on a sheet as a sentence."""
    said = _sentence(remark.code).format(limit=remark.limit, **remark.values)
    return said[:1].upper() + said[1:] if not remark.limit else said


def _sentence(code: str) -> str:
    kinds = map(quantity_of, quantity_names())
    units = {f"unusual_{kind.suffix}":
             f"{{limit}} is {{{kind.suffix}:g}} {kind.unit.name}: check the number."
             for kind in kinds}
    return REMARKS[code] if code in REMARKS else units[code]


def sheet_contents(sheet: LimitsSheet) -> list[str]:
    """Return what a sheet holds: its aircraft, then a line a limit."""
    widest = max(len(limit.name) for limit in sheet.limit)
    return [f"{sheet.aircraft}: {count(len(sheet.limit), 'limit')}.",
            *(f"  {limit.name:{widest}}  {_limit(limit)}" for limit in sheet.limit)]


def _unit(limit: Limit) -> str:
    """The unit behind a number, with a blank; nothing for Mach, which the quantity names."""
    return "" if is_in_mach(limit.quantity) else f" {limit.kind.unit.name}"


def _limit(limit: Limit) -> str:
    quantity = quantity_words.quantity(limit.quantity)
    if limit.by_pressure_altitude:
        unit = _unit(limit)
        values = [value for _, value in limit.by_pressure_altitude]
        maximum = f"{min(values):g} to {max(values):g}{unit} by pressure altitude"
    else:
        maximum = f"{limit.constant:g}{_unit(limit)}"
    when = ", ".join(
        f"{channel} {written(stated.model_dump(exclude_unset=True, by_alias=True))}"
        for channel, stated in limit.when.items())
    return f"{quantity} {maximum}" + (f", when {when}" if when else "")
