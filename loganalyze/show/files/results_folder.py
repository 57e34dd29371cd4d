"""Results on disk: one folder a log, written whole or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pyarrow.parquet as pq

from loganalyze.events.analysis import Analysis
from loganalyze.problems import Problem
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import save_figure
from loganalyze.show.figures.margin_figure import margin_figure
from loganalyze.show.files.log_summary import summarise
from loganalyze.show.files.result_tables import (
    contribution_csv,
    contribution_rows,
    exceedance_csv,
    exceedance_table,
    sample_table,
    sample_writer,
)
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.flight_account import Judged, analysis_of

PLOT_FORMATS = ("png", "svg", "pdf")

SUMMARY = "summary.json"


def folder_for(log: Path, out: Path) -> Path:
    """Return the folder of a log's results: its name without .csv, .csv.gz, ... in `out`."""
    name = log.name
    for suffix in (".gz", ".zst", ".csv", ".txt", ".parquet"):
        if name.lower().endswith(suffix) and len(name) > len(suffix):
            name = name[: -len(suffix)]
    return out / name


def check_folder(folder: Path, overwrite: bool) -> None:
    """Refuse a folder that results must not go to.

    Raises
    ------
    Problem
        When it exists and `overwrite` is false; when it exists and holds no earlier results,
        so that replacing it would lose something else.
    """
    if not folder.exists() and not folder.is_symlink():
        return
    if folder.is_symlink() or not folder.is_dir():
        raise Problem("this is where the results would go, but it is not a folder", str(folder),
                      "move it away or give another --out")
    if not overwrite:
        raise Problem("the folder exists already", str(folder),
                      "give another --out, or --overwrite to replace it whole")
    if any(folder.iterdir()) and not (folder / SUMMARY).is_file():
        raise Problem(f"the folder holds no {SUMMARY}, so it isn't one of earlier results",
                      str(folder), "move it away or give another --out")


def write_results(
    flights: Judged | Iterable[Judged],
    folder: str | Path,
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
    overwrite: bool = False,
    plot_format: str = "png",
    also: Callable[[Path, Judged, FlightFacts], None] | None = None,
) -> Summary:
    """Write the results of one log's flights to a folder.

    The folder then holds ``samples.parquet`` (a row group a flight), ``exceedances.csv`` and
    ``.parquet``, ``contributions.csv`` (why, a row an exceedance), ``summary.json`` and
    ``margin.png`` (``margin-2.png`` and so on for a second flight and further ones). It appears
    whole or not at all.

    Parameters
    ----------
    flights : Analysis, Assessment, or iterable of them
        The flights of one log, in order; of an iterable only one is held at a time. What an
        assessment adds is null for a flight that wasn't assessed.
    folder : path-like
        The folder to make.
    limits, columns : Path, optional
        The files of the limits sheet and the columns, named with their hashes in the summary.
    declared : mapping, optional
        States declared for the flight, as the user wrote them.
    overwrite : bool
        Replace the folder of earlier results whole. It stays as it was when writing fails.
    plot_format : {"png", "svg", "pdf"}
        Format of the figure.
    also : callable, optional
        Writes further files of a flight, such as `reporter` gives it: called with the folder as
        it is being made, and the flight and its facts.

    Returns
    -------
    Summary
        What ``summary.json`` holds.

    Raises
    ------
    Problem
        For a folder that exists (unless `overwrite`), one that isn't of earlier results, no
        permission or no space.
    """
    if plot_format not in PLOT_FORMATS:
        raise ValueError(f"plot_format must be one of {', '.join(PLOT_FORMATS)}")
    given = [flights] if isinstance(flights, Analysis | Assessment) else flights
    with _whole(Path(folder), overwrite) as partial, _Samples(partial) as samples:
        found, why = [], []

        def keep(judged: Judged, facts: FlightFacts) -> None:
            analysis = analysis_of(judged)
            samples.write(judged)
            found.extend(facts.exceedances)
            why.extend(contribution_rows(judged))
            number = f"-{analysis.flight}" if analysis.flight > 1 else ""
            figure = margin_figure(
                analysis, assessment=judged if isinstance(judged, Assessment) else None)
            save_figure(figure, partial / f"margin{number}.{plot_format}")
            if also is not None:
                also(partial, judged, facts)

        summary = summarise(given, limits=limits, columns=columns, declared=declared, each=keep)
        (partial / "exceedances.csv").write_text(exceedance_csv(found), encoding="utf-8",
                                                 newline="")
        (partial / "contributions.csv").write_text(contribution_csv(why), encoding="utf-8",
                                                   newline="")
        pq.write_table(exceedance_table(found), str(partial / "exceedances.parquet"))
        (partial / SUMMARY).write_text(summary.json(), encoding="utf-8", newline="")
    return summary


class _Samples:
    """``samples.parquet``, opened when the first flight's limits are known."""

    def __init__(self, folder: Path) -> None:
        self.path = str(folder / "samples.parquet")
        self.writer: pq.ParquetWriter | None = None

    def __enter__(self) -> _Samples:
        return self

    def __exit__(self, *error: object) -> None:
        if self.writer is not None:
            self.writer.close()

    def write(self, judged: Judged) -> None:
        if self.writer is None:
            self.writer = sample_writer(self.path, analysis_of(judged).limit_names)
        self.writer.write_table(sample_table(judged))


@contextmanager
def _whole(folder: Path, overwrite: bool) -> Iterator[Path]:
    """Give a temporary folder beside `folder`, and put it in its place when all went well."""
    check_folder(folder, overwrite)
    # Hidden, of this process: another run on the same log can't meet it.
    partial = folder.with_name(f".{folder.name}.partial-{os.getpid()}")
    former = folder.with_name(f".{folder.name}.former-{os.getpid()}")
    try:
        partial.mkdir(parents=True)
        yield partial
        check_folder(folder, overwrite)
        replaced = folder.exists()
        if replaced:
            folder.rename(former)
        try:
            partial.rename(folder)
        except BaseException:
            if replaced:
                former.rename(folder)
            raise
        shutil.rmtree(former, ignore_errors=True)
    except OSError as error:
        raise Problem(f"the results can't be written ({error.strerror or error})", str(folder),
                      "give another --out") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
