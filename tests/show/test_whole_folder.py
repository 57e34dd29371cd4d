"""Whatever is written to a folder: an earlier one is there until the new one is, whole."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import loganalyze as la
from loganalyze.cli import group, main
from loganalyze.training import LessonRecord, RecordedMeasure

SHEET = "sample_logs/ouzelwing_240.toml"
LOG = "sample_logs/clean_flight.csv"
LESSON = "sample_logs/lesson/first_try.csv"
SCHEDULE = "sample_logs/lesson/schedule.toml"


def command(kind: str, folder: Path) -> list[str]:
    """Return the arguments of a command that writes to a folder, in place of an earlier one."""
    given = {
        "comparison": ["compare", LOG, "sample_logs/descent_through_mmo_and_vmo.csv"],
        "lesson": ["training", LESSON, "--schedule", SCHEDULE],
        "progress": ["progress", str(record(folder.parent.parent))],
        "results": ["analyze", LOG, "--name", folder.name]}[kind]
    limits = [] if kind == "progress" else ["--limits", SHEET]
    return [*given, *limits, "--overwrite",
            "--out", str(folder.parent if kind == "results" else folder)]


def record(place: Path) -> Path:
    """Write what a lesson leaves of a trainee; return the file."""
    measure = RecordedMeasure(exercise="circuit", measure="rms_error_kt", value=5.0,
                              uncertainty=1.0)
    made = LessonRecord(trainee="T7", flown="2031-05-03", flight="1", measures=(measure,))
    file = place / "record.json"
    file.write_text(made.model_dump_json(), encoding="utf-8")
    return file


def code(arguments: list[str]) -> int:
    """Run the command; return its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    return ended.value.code


MARKERS = {"comparison": "comparison.json", "lesson": "lesson.json",
           "progress": "progress.json", "results": "summary.json"}
KINDS = sorted(MARKERS)
DYING = """
import os, pathlib, signal, sys
from loganalyze.cli import main
renamed = pathlib.Path.rename
left = [int(sys.argv.pop(1))]
def rename(self, target):
    if left[0] == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    left[0] -= 1
    return renamed(self, target)
pathlib.Path.rename = rename
sys.exit(main())
"""


def earlier(kind: str, folder: Path) -> None:
    """Make an earlier folder of a kind, of two files."""
    folder.mkdir()
    (folder / MARKERS[kind]).write_text("{}", encoding="utf-8")
    (folder / "mine.txt").write_text("earlier", encoding="utf-8")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("steps", [0, 1])
def test_a_disk_that_fails_while_folders_change_places_costs_nothing(
        kind, steps, tmp_path, monkeypatch, capfd):
    folder = tmp_path / "place" / "out"
    folder.parent.mkdir()
    earlier(kind, folder)
    renamed, left = Path.rename, [steps]

    def rename(self, target):
        left[0] -= 1
        if left[0] == -1:
            raise OSError(28, "No space left on device")
        return renamed(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    assert code(command(kind, folder)) == 2
    assert "can't be written (No space left on device)" in capfd.readouterr().err
    assert [path.name for path in folder.parent.iterdir()] == ["out"]
    assert (folder / "mine.txt").read_text(encoding="utf-8") == "earlier"


@pytest.mark.parametrize("kind", KINDS)
def test_a_run_killed_between_two_folders_is_mended_by_the_next(kind, tmp_path):
    folder = tmp_path / "place" / "out"
    folder.parent.mkdir()
    earlier(kind, folder)
    killed = subprocess.run(
        [sys.executable, "-c", DYING, "1", *command(kind, folder)], capture_output=True,
        check=False, env=os.environ | {"PYTHONPATH": str(Path(la.__file__).parents[1])})
    assert killed.returncode == -signal.SIGKILL
    moved = [path for path in folder.parent.iterdir() if (path / "mine.txt").is_file()]
    assert len(moved) == 1
    assert code(command(kind, folder)) == 0
    assert [path.name for path in folder.parent.iterdir()] == ["out"]
    assert not (folder / "mine.txt").exists()
    assert (folder / MARKERS[kind]).stat().st_size > 100


def test_the_commands_that_write_folders_are_tried_here():
    """A further command with --overwrite and --out belongs into `command` above."""
    writing = {name for name in group.list_commands(None)
               if {"out", "overwrite"} <= {option.name
                                           for option in group.get_command(None, name).params}}
    assert writing == {"analyze", "compare", "progress", "training"}
