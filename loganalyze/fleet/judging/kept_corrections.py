"""An instructor's corrections of a fleet's logs: which files they are, and that they count."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from loganalyze.fleet.judging.log_sources import LogSource
from loganalyze.problems import Problem
from loganalyze.sheets.lesson.corrections_place import ENDING, beside


def correction_file(source: LogSource, flight: int, folder: Path | None) -> Path | None:
    """Return where the corrections of a flight of a log lie; None where there can be none.

    Parameters
    ----------
    source : LogSource
    flight : int
        Its number in the log, from 1.
    folder : Path or None
        Where the fleet file says that they lie, by the log's name; otherwise beside the log. Of
        what is fetched from elsewhere nothing lies beside it.
    """
    if folder is not None:
        return folder / beside(_name(source), flight).name
    return None if source.remote else beside(_name(source), flight)


def corrections_digest(source: LogSource, folders: Iterable[Path | None]) -> str:
    """Return the SHA-256 over all corrections of a log in some folders, "" where there are none.

    Parameters
    ----------
    source : LogSource
    folders : iterable of Path or None
        As `correction_file` takes one.

    Raises
    ------
    Problem
        For a file that can't be read.
    """
    digest = hashlib.sha256()
    found = False
    for folder in folders:
        first = correction_file(source, 1, folder)
        if first is None or not first.parent.is_dir():
            continue
        listed = _names(str(first.parent), first.parent.stat().st_mtime_ns)
        for name in listed.get(first.name.removesuffix(ENDING), ()):
            try:
                content = (first.parent / name).read_bytes()
            except OSError as error:
                raise Problem(f"it can't be read ({error.strerror})", str(first.parent / name),
                              "check the path") from None
            found = True
            digest.update(f"{name}\0{hashlib.sha256(content).hexdigest()}\0".encode())
    return digest.hexdigest() if found else ""


@lru_cache(maxsize=256)
def _names(folder: str, changed_ns: int) -> dict[str, list[str]]:
    """Return the names of a folder's corrections by their log's name; once for each state of it,
    since a folder of many logs is asked for each of them."""
    found: dict[str, list[str]] = {}
    for name in sorted(path.name for path in Path(folder).iterdir()):
        if name.endswith(ENDING):
            found.setdefault(_OF_FLIGHT.sub("", name.removesuffix(ENDING)), []).append(name)
    return found


_OF_FLIGHT = re.compile(r"\.flight-\d+$")


def _name(source: LogSource) -> Path:
    """Return a log's own path, without the last / of an address of a folder."""
    return Path(source.name.rstrip("/"))
