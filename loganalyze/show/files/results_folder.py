"""Results on disk: one folder a log, written whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from loganalyze.events.analysis import Analysis
from loganalyze.results.assessment_results import Assessment
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.show.figures.figure_style import save_figure
from loganalyze.show.figures.margin_figure import margin_figure
from loganalyze.show.files.log_summary import LogSummary, sha256_of
from loganalyze.show.files.whole_folder import FolderKind
from loganalyze.show.tables.result_tables import TABLES
from loganalyze.show.tables.sample_table import sample_table, sample_writer
from loganalyze.show.tables.table_columns import Origin
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.flight_account import Judged, analysis_of
from loganalyze.text.plain_values import plain
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__

PLOT_FORMATS = ("png", "svg", "pdf")

SUMMARY = "summary.json"
RESULTS = FolderKind("results", "earlier results", SUMMARY)


def folder_for(log: Path, out: Path) -> Path:
    """Return the folder of a log's results: its name without .csv, .csv.gz, ... in `out`."""
    name = log.name
    for suffix in (".gz", ".zst", ".csv", ".txt", ".parquet"):
        if name.lower().endswith(suffix) and len(name) > len(suffix):
            name = name[: -len(suffix)]
    return out / name


def anonymous_folders(number: int, out: Path) -> list[Path]:
    """Return folders of de-identified results in `out`: ``debrief``, ``debrief-2`` and so on."""
    return [out / (ANONYMOUS if i == 1 else f"{ANONYMOUS}-{i}") for i in range(1, number + 1)]


ANONYMOUS = "debrief"
"""The folder of the results of a de-identified log."""


def folders_for(logs: Sequence[Path], out: Path) -> list[Path]:
    """Return the folder of each log's results; equal names are distinguished by their folder.

    Parameters
    ----------
    logs : sequence of Path
        The logs' files or folders.
    out : Path
        The folder of all results.

    Returns
    -------
    list of Path
        Parallel to `logs`: ``monday/a.csv`` and ``tuesday/a.csv`` go to ``monday-a`` and
        ``tuesday-a`` in `out`.
    """
    named = [folder_for(log, out) for log in logs]
    return [place if named.count(place) == 1
            else place.with_name(f"{log.absolute().parent.name}-{place.name}")
            for log, place in zip(logs, named, strict=True)]


def holds_results(
    folder: Path,
    logs: Sequence[Path],
    *,
    limits: Path | None,
    columns: Path | None,
    declared: Mapping[str, float],
    settings: Settings,
    reports: Sequence[str] = (),
) -> bool:
    """Whether a folder holds results of the same files, settings and version, reports included.

    Parameters
    ----------
    folder : Path
        The folder of the results.
    logs : sequence of Path
        The files of one recording, or the one folder of them; compared by their SHA-256.
    limits, columns : Path or None
        The limits sheet and the columns file, compared likewise; a folder of columns files, from
        which one was chosen, isn't compared.
    declared : mapping of str to float
        The declared states.
    settings : Settings
        The settings of the evaluation.
    reports : sequence of str
        Formats of the report, by the ends of their files' names, that must be there.

    Returns
    -------
    bool
        False also for a folder that isn't there or can't be read.
    """
    try:
        summary = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
        then = {role: sorted(file["sha256"] for file in summary["inputs"] if file["role"] == role)
                for role in ("log", "limits", "columns")}
        files = [file for log in logs
                 for file in (sorted(log.rglob("*")) if log.is_dir() else [log])
                 if file.is_file() and not file.name.startswith(".")]
        now = {"log": sorted(map(sha256_of, files)),
               "limits": [sha256_of(limits)] if limits else []}
        if columns is None or columns.is_file():
            now["columns"] = [sha256_of(columns)] if columns else []
        return (
            all(then[role] == hashes for role, hashes in now.items())
            and summary["versions"]["loganalyze"] == __version__
            and summary["settings"] == plain(settings)
            and summary["declared"] == dict(declared)
            and all((folder / f"report.{kind}").is_file() for kind in reports)
        )
    except (OSError, ValueError, KeyError, TypeError):
        return False


class ResultsFolder:
    """A folder of one log's results, written flight by flight; it appears whole or not at all.

    In a ``with`` statement, `add` writes a flight's files and `finish` those of the log. Files that
    the caller writes to `path` meanwhile become part of the folder. Without `finish`, and when an
    error leaves the block, nothing is left behind and earlier results stay as they were.

    Parameters
    ----------
    folder : path-like
        The folder to make.
    summary : LogSummary, optional
        Gathers the facts of the log; it knows the files of limits and columns.
    overwrite : bool
        Replace the folder of earlier results whole.
    plot_format : {"png", "svg", "pdf"}
        Format of the figure.
    presentation : Presentation, optional
        How the figure puts things, and whether nothing may tell which flight it is; a `summary`
        that is given must be de-identified, too.

    Raises
    ------
    Problem
        For a folder that exists (unless `overwrite`), one that isn't of earlier results, no
        permission or no space.
    """

    def __init__(self, folder: str | Path, summary: LogSummary | None = None, *,
                 overwrite: bool = False, plot_format: str = "png",
                 presentation: Presentation | None = None) -> None:
        if plot_format not in PLOT_FORMATS:
            raise ValueError(f"plot_format must be one of {', '.join(PLOT_FORMATS)}")
        self.folder = Path(folder)
        self._how = presentation or Presentation()
        self.summary = summary or LogSummary(deidentified=self._how.deidentified,
                                             presentation=self._how)
        self._overwrite, self._plot_format = overwrite, plot_format
        self._stack = ExitStack()
        self._rows: dict[str, list[tuple[Any, ...]]] = {table.name: [] for table in TABLES}

    def __enter__(self) -> ResultsFolder:
        with ExitStack() as stack:
            self._whole = stack.enter_context(RESULTS.written(self.folder, self._overwrite))
            self._samples = stack.enter_context(_Samples(self.path))
            self._stack = stack.pop_all()
        return self

    def __exit__(self, *error: Any) -> bool | None:
        return self._stack.__exit__(*error)

    @property
    def path(self) -> Path:
        """Where the files are while the folder is being made."""
        return self._whole.path

    def add(self, judged: Judged) -> FlightFacts:
        """Write the samples and the figure of the log's next flight.

        Parameters
        ----------
        judged : Analysis or Assessment
            The flight; what only an assessment holds is null for an analysis.

        Returns
        -------
        FlightFacts
            The flight's facts, as the summary holds them.
        """
        facts = self.summary.add(judged)
        analysis = analysis_of(judged)
        origin = self.summary.origin(analysis)
        self._samples.write(judged, origin)
        for table in TABLES:
            self._rows[table.name].extend(
                (*row, *origin.cells) for row in table.rows(judged, facts))
        number = f"-{analysis.flight}" if analysis.flight > 1 else ""
        figure = margin_figure(
            analysis, self._how, judged if isinstance(judged, Assessment) else None)
        save_figure(figure, self.path / f"margin{number}.{self._plot_format}")
        return facts

    def finish(self) -> Summary:
        """Write the log's tables and return its summary; the folder appears at the block's end."""
        summary = self.summary.result()
        for table in TABLES:
            rows = self._rows[table.name]
            (self.path / f"{table.name}.csv").write_text(table.csv(rows), encoding="utf-8",
                                                         newline="")
            pq.write_table(table.arrow(rows), str(self.path / f"{table.name}.parquet"))
        (self.path / SUMMARY).write_text(summary.json(), encoding="utf-8", newline="")
        self._whole.complete = True
        return summary


def write_results(
    flights: Judged | Iterable[Judged],
    folder: str | Path,
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
    overwrite: bool = False,
    plot_format: str = "png",
    presentation: Presentation | None = None,
) -> Summary:
    """Write the results of one log's flights to a folder.

    The folder then holds ``samples.parquet`` (a row group a flight), ``exceedances``, ``near``
    (stretches that may have been over), ``contributions`` (why) and ``ceilings`` (stretches above
    the sheet's own ceilings), each as ``.csv`` and ``.parquet``, ``summary.json`` and
    ``margin.png`` (``margin-2.png`` and so on for further flights). It appears whole or not at all.

    Parameters
    ----------
    flights : Analysis, Assessment, or iterable of them
        The flights of one log, in order; of an iterable only one is held at a time. What an
        assessment adds is null for a flight that wasn't assessed.
    folder : path-like
        The folder to make.
    limits, columns, declared
        As `LogSummary` takes them.
    overwrite, plot_format, presentation
        As `ResultsFolder` takes them.

    Returns
    -------
    Summary
        What ``summary.json`` holds.

    Raises
    ------
    Problem
        As `ResultsFolder` does, and where there is no flight.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> summary = la.write_results(flight, "debrief")
    >>> from pathlib import Path
    >>> sorted(path.name for path in Path("debrief").iterdir())[:2]
    ['ceilings.csv', 'ceilings.parquet']
    """
    given = [flights] if isinstance(flights, Analysis | Assessment) else flights
    hidden = presentation is not None and presentation.deidentified
    summary = LogSummary(limits=limits, columns=columns, declared=declared, deidentified=hidden,
                         presentation=presentation)
    with ResultsFolder(folder, summary, overwrite=overwrite, plot_format=plot_format,
                       presentation=presentation) as results:
        for judged in given:
            results.add(judged)
            # Only then is the next flight read: one at a time is in memory.
            del judged
        return results.finish()


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

    def write(self, judged: Judged, origin: Origin) -> None:
        if self.writer is None:
            self.writer = sample_writer(self.path, analysis_of(judged).limit_names)
        self.writer.write_table(sample_table(judged, origin))
