"""The scripts of .ci say what they do before they do anything."""

from __future__ import annotations

import re
import subprocess
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SCRIPTS = sorted(path for path in (ROOT / ".ci").iterdir() if path.is_file() and not path.suffix)
"""Those of the shell; tests/test_audit.py tries the one in Python."""


def started(script: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a script from another folder."""
    return subprocess.run(["bash", str(script), *arguments], capture_output=True, text=True,
                          timeout=20, check=False, cwd="/", env={"PATH": "/usr/bin:/bin"})


def test_there_are_scripts():
    assert "run" in [script.name for script in SCRIPTS]


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.name)
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_help_is_printed_and_nothing_is_started(script, flag):
    done = started(script, flag)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(f"usage: .ci/{script.name}")
    # With -x the shell names each command that it starts: help takes none but those.
    traced = subprocess.run(["bash", "-x", str(script), flag], capture_output=True, text=True,
                            timeout=20, check=False)
    commands = {line.lstrip("+ ").split()[0] for line in traced.stderr.splitlines()}
    assert commands <= {"set", "cd", "dirname", "case", "cat", "exit", "whole=no"}


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.name)
def test_an_unknown_argument_is_refused(script):
    done = started(script, "--halp")
    assert done.returncode == 2
    assert "--halp" in done.stderr
    assert "--help" in done.stderr
    assert done.stdout == ""


def test_the_matrix_selects_tests_that_are_there():
    text = (ROOT / ".ci" / "matrix").read_text(encoding="utf-8")
    selection = text.split("\nselection=(\n")[1].split(")")[0].split()
    assert len(selection) > 5
    assert [path for path in selection if not (ROOT / path).exists()] == []


def test_names_of_tests_dont_hold_the_time(request):
    # Each of the processes that share the tests collects them anew; where a name changes from
    # one second to the next, they disagree and none runs.
    now = time.time()
    stamped = [item.nodeid for item in request.session.items
               if any(abs(float(digits) - now) < 100 * 86_400
                      for digits in re.findall(r"(?<!\d)\d{10}(?!\d)", item.nodeid))]
    assert not stamped
