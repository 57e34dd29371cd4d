"""A priors file from the flights of a store: how often margins occur in this fleet, by limit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loganalyze.fleet.store.store_queries import connect_store
from loganalyze.problems import Problem
from loganalyze.sheets.priors_file import PriorRow, PriorsFile
from loganalyze.text.language import fleet_sentences
from loganalyze.uncertainty.prior_models import prior_of_margins

LEAST_FLIGHTS = 30
"""Flights below which a limit gets no prior."""


@dataclass(frozen=True)
class FleetPriors:
    """The priors of a fleet, and of which limits there are none.

    ``file`` : what to write; ``flights`` : by limit, how many its prior rests on; ``left_out`` :
    limits with too few flights, or of a quantity that is no speed, and how many flights they had.
    """

    file: PriorsFile
    flights: dict[str, int]
    left_out: dict[str, int]


def fleet_priors(store: str | Path, sheet: str = "") -> FleetPriors:
    """Make priors from the smallest margins of a fleet's flights, freed of their measurement error.

    Of each flight the smallest margin to each limit counts, with its uncertainty as displayed: a
    crew flies by what it is shown, so that the instrument's own error adds to what is flown
    whatever the fleet's habits are; only what was recorded otherwise than displayed is taken out.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    sheet : str
        The limits sheet (its file name) of the flights that count; needed where the store's were
        judged by several.

    Returns
    -------
    FleetPriors
        A mixture of three normals for each limit of 30 flights or more.

    Raises
    ------
    Problem
        Where the folder is no store, its flights were judged by several sheets and none is named,
        or no limit has enough flights.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> la.fleet_priors("store")
    Traceback (most recent call last):
    loganalyze.problems.Problem: store: no limit has the margins of 30 flights; judge more flights.
    """
    with connect_store(store) as db:
        sheets = [name for (name,) in db.execute(
            "select distinct limits_sheet from flights order by 1").fetchall()]
        rows = db.execute("""
            select "limit", smallest_margin_kt, smallest_margin_mach, margin_displayed_u_kt,
                   margin_u_kt, margin_u_mach
            from measures
            where "limit" is not null and limits_sheet = ?
            order by "limit", flight_key""", [sheet or (sheets[0] if sheets else "")]).fetchall()
    if sheet and sheet not in sheets:
        raise Problem(f"no flight was judged by {sheet}", str(store),
                      f"name one of {', '.join(sheets)}")
    if not sheet and len(sheets) > 1:
        raise Problem(f"its flights were judged by {len(sheets)} limits sheets", str(store),
                      f"name one with --sheet: {', '.join(sheets)}")
    found: list[PriorRow] = []
    flights, left_out = {}, {}
    for limit in dict.fromkeys(row[0] for row in rows):
        knots, mach, shown, flown, flown_mach = np.array(
            [row[1:] for row in rows if row[0] == limit], np.float64).T
        of_mach = bool(np.isfinite(mach).any())
        # As displayed the uncertainty is known in kt; in Mach it is in the same ratio.
        margins, u = (mach, flown_mach * shown / flown) if of_mach else (knots, shown)
        number = int((np.isfinite(margins) & (u > 0)).sum())
        if number < LEAST_FLIGHTS:
            left_out[limit] = number
            continue
        flights[limit] = number
        words = fleet_sentences.prior_source(number)
        prior = prior_of_margins(words, margins, u)
        found.append(PriorRow(limit=limit, source=words, displayed=True, normals=tuple(
            (float(f"{weight:.6g}"), float(f"{-mean:.6g}"), float(f"{deviation:.6g}"))
            for weight, mean, deviation in prior.normals)))
    if not found:
        raise Problem(f"no limit has the margins of {LEAST_FLIGHTS} flights", str(store),
                      "judge more flights")
    return FleetPriors(PriorsFile(prior=tuple(found)), flights, left_out)
