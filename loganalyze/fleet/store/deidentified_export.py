"""A store's tables for others: without what tells whose a flight is, and in no small group."""

from __future__ import annotations

import json
import os
import shutil
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

from loganalyze.fleet.judging.flight_rows import FLIGHTS
from loganalyze.fleet.judging.training_table import TRAINING
from loganalyze.fleet.protection.pseudonyms import pseudonym
from loganalyze.fleet.protection.secret_key import SecretKey, secret_key, throwaway_key
from loganalyze.fleet.store.store_layout import SAMPLES, dataset_names
from loganalyze.fleet.store.store_queries import connect_store
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import texts
from loganalyze.version import __version__

ABOUT = "about.json"
LEFT_BEHIND = frozenset((SAMPLES, TRAINING.name))
"""Datasets that aren't exported: the flights themselves, and how training was flown."""
LEAST_FLIGHTS = 5
"""Flights of one aircraft in one month below which a flight isn't shown with both."""
WORDS = frozenset((
    "outcome", "severity", "smallest_margin_limit", "unjudged_limits", "lacking_limits", "limit",
    "phase", "quantity", "began_by", "ended_by", "assessment", "assessment_displayed",
    "assessment_widest", "confirmed_by", "contradicted_by", "unproven_because", "stretch",
    "severity_rule_kind", "within_s", "way", "channel", "unit"))
"""Columns of words that may be exported: the program's own, and the names of limits. A column of
words that isn't named here stays behind."""
ORDERING = frozenset((
    "flight", "judgement", "flights_in_log", "flight_start_s", "year", "month"))
"""Columns of numbers that stay behind: they place a flight in its log or in time."""
Group = tuple[str | None, str | None]


def export_deidentified(
    store: str | Path,
    folder: str | Path,
    *,
    key_file: str | Path | None = None,
    least: int = LEAST_FLIGHTS,
) -> tuple[Path, ...]:
    """Write a store's tables without what tells whose a flight is.

    Names, tags, hashes, instants, free text and samples stay behind. A flight has a key of this
    export alone, the pseudonym of its aircraft and its month; where fewer than `least` flights
    share both, the aircraft is left out, then the month, and with it as many others as are needed
    so that nothing follows from what is left.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    folder : path-like
        The folder to make; it appears whole or not at all.
    key_file : path-like, optional
        A file with the secret key of the pseudonyms, made where there is none, so that those of
        several exports agree; otherwise the key is one that is kept nowhere.
    least : int
        The smallest group.

    Returns
    -------
    tuple of Path
        Each table as ``.parquet`` and ``.csv``, and ``about.json``.

    Raises
    ------
    Problem
        Where the folder is no store or that to make exists, DuckDB isn't installed, or the store
        holds fewer flights than `least`.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> written = la.export_deidentified("store", "for_others", least=3)
    >>> written[0].name
    'about.json'
    """
    place = Path(folder)
    if place.exists() or place.is_symlink():
        raise Problem("the folder exists already", str(place), "give a new one as --out")
    key = throwaway_key() if key_file is None else secret_key(Path(key_file), make=True)
    with connect_store(store) as db:
        tables: dict[str, pa.Table] = {name: db.sql(f"select * from {name}").to_arrow_table()
                  for name in (FLIGHTS.name, *dataset_names()) if name not in LEFT_BEHIND}
        kinds = db.execute("select kind, count(*) from problems group by 1 order by 1").fetchall()
    flights = tables[FLIGHTS.name]
    if flights.num_rows < least:
        raise Problem(f"the store holds {flights.num_rows} flights, fewer than a group may have "
                      f"({least})", str(store), "judge more, or give a smaller --least")
    whose = _groups(flights, key, least)
    about = {
        "what": "a store's tables without what tells whose a flight is", "version": __version__,
        "least": least, "flights": flights.num_rows,
        "flights_without_aircraft": sum(aircraft is None for aircraft, _ in whose.values()),
        "flights_without_month": sum(month is None for _, month in whose.values()),
        "logs_not_judged": dict(kinds), "tables": sorted(tables)}
    partial = place.with_name(f".{place.name}.partial-{os.getpid()}")
    try:
        partial.mkdir(parents=True)
        names = [ABOUT]
        (partial / ABOUT).write_text(json.dumps(about, indent=2) + "\n", encoding="utf-8")
        for name, table in sorted(tables.items()):
            made = _deidentified(table, key, whose if name == FLIGHTS.name else None)
            pq.write_table(made, partial / f"{name}.parquet", compression="zstd")
            pa.csv.write_csv(made, str(partial / f"{name}.csv"))
            names += [f"{name}.parquet", f"{name}.csv"]
        partial.rename(place)
    except OSError as error:
        raise Problem(f"the tables can't be written ({error.strerror or error})", str(place),
                      "give another --out") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return tuple(place / name for name in names)


def _groups(flights: pa.Table, key: SecretKey, least: int) -> dict[str, Group]:
    """Return aircraft and month of each flight, by its key, as far as they may be shown."""
    given: dict[str, Group] = {}
    for flight, registration, aircraft, year, month in zip(*(
            flights[name].to_pylist() for name in
            ("flight_key", "registration", "aircraft", "year", "month")), strict=True):
        name = registration or aircraft
        given[flight] = (pseudonym(key, "aircraft", name) if name else None,
                         f"{year:04d}-{month:02d}" if year else None)
    return grouped(given, least)


def grouped(given: dict[str, Group], least: int) -> dict[str, Group]:
    """Return groups of which none is smaller than `least`, nor follows from what is left.

    Parameters
    ----------
    given : dict
        Aircraft and month by flight; None where not known.
    least : int
        The smallest group.

    Returns
    -------
    dict
        The same flights. Within a month the small groups lose their aircraft; while those without
        one are themselves fewer than `least`, the next smallest joins them. A month that is too
        small as a whole loses its name, and so does the next smallest while the flights without
        one are too few.
    """
    found = dict(given)
    months = Counter(month for _, month in found.values())
    hidden = {month for month, count in months.items() if month is None or count < least}
    while 0 < sum(months[month] for month in hidden) < least and len(hidden) < len(months):
        hidden.add(min((month for month in months if month not in hidden),
                       key=lambda month: (months[month], month or "")))
    found = {flight: (aircraft, None if month in hidden else month)
             for flight, (aircraft, month) in found.items()}
    for month in {month for _, month in found.values()}:
        inside = Counter(aircraft for aircraft, of in found.values() if of == month)
        small = {aircraft for aircraft, count in inside.items()
                 if aircraft is None or count < least}
        while 0 < sum(inside[aircraft_name] for aircraft_name in small) < least and len(
            small
        ) < len(inside):
            small.add(min((aircraft_name for aircraft_name in inside if aircraft_name not in small),
                          key=lambda one: (inside[one], one or "")))
        for flight, (aircraft, of) in found.items():
            if of == month and aircraft in small:
                found[flight] = (None, month)
    return found


def _deidentified(table: pa.Table, key: SecretKey, whose: dict[str, Group] | None) -> pa.Table:
    """Return a table as it may be given away, its rows in the order of its pseudonyms."""
    flights: Sequence[str] = table["flight_key"].to_pylist()
    columns: dict[str, Any] = {
        "flight_key": texts([key.digest("flight", flight)[:24] for flight in flights])}
    if whose is not None:
        for place, name in enumerate(("aircraft", "month")):
            columns[name] = texts([whose[flight][place] for flight in flights])
    for field in table.schema:
        words = pa.types.is_string(field.type) and field.name in WORDS
        numbers = (pa.types.is_integer(field.type) or pa.types.is_floating(field.type)
                   or pa.types.is_boolean(field.type)) and field.name not in ORDERING
        if words or numbers:
            columns[field.name] = table[field.name]
    made = pa.table(columns)
    return made.take(pc.sort_indices(made, [("flight_key", "ascending")]))
