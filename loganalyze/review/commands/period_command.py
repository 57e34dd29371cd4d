"""The periodic safety report, written by a command."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from loganalyze.problems import Problem
from loganalyze.review.access.permissions import OWNER
from loganalyze.review.application.desk_forms import PeriodQuery
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.commands.desk_server import machine_person, open_decisions
from loganalyze.review.decisions.trail_entries import Actor
from loganalyze.review.outputs.case_report import PackFormat, rendered
from loganalyze.review.outputs.period_report import period_report


def period_by_command(
    store: Path, database: str | None, since: str, until: str, action: date | None,
    files: Mapping[PackFormat, Path | None],
) -> tuple[dict[str, Any], list[Path]]:
    """Write the periodic report of some months.

    Parameters
    ----------
    store : Path
        The folder of the store.
    database : str or None
        The URL of the database of decisions, None for the one in the store's folder.
    since, until : str
        Months as "2031-01", blank for no bound.
    action : date or None
        The day of an action whose effect is to be measured.
    files : mapping
        Where to write it, by format.

    Returns
    -------
    tuple of dict and list of Path
        Its numbers, and the files written.

    Raises
    ------
    Problem
        For what is no month, and a store or database that can't be used.
    """
    try:
        wanted = PeriodQuery(since=since, until=until, action=action)
    except ValidationError:
        raise Problem("this is no month", "--since, --until", "write it as 2031-01") from None
    desk = ReviewDesk(store, open_decisions(store, database))
    try:
        found = desk.period(Actor(machine_person(), OWNER), wanted)
        report = period_report(found)
        written = []
        for form, place in files.items():
            if place is not None:
                place.write_bytes(rendered(report, form))
                written.append(place)
        return found.counts(), written
    finally:
        desk.close()
