"""Where an instructor's corrections of a log's exercises lie."""

from __future__ import annotations

from pathlib import Path

ENDING = ".corrections.toml"
"""What the name of a file of corrections ends with."""


def beside(log: str | Path, flight: int = 1) -> Path:
    """Return where the corrections of a flight of a log lie: beside the log, by its name.

    Examples
    --------
    >>> from loganalyze.training import beside
    >>> beside("flight.csv").name, beside("flight.csv", 2).name
    ('flight.csv.corrections.toml', 'flight.csv.flight-2.corrections.toml')
    """
    log = Path(log)
    number = f".flight-{flight}" if flight > 1 else ""
    return log.with_name(f"{log.name}{number}{ENDING}")
