"""Completion of the command line in bash, zsh and fish, by the lines that the README gives."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from loganalyze.cli import COMMANDS

ROOT = Path(__file__).parents[2]
SHELLS = ("bash", "zsh", "fish")
LINES = re.search(r"^```sh\n(.*?)^```$", (ROOT / "README.md").read_text(encoding="utf-8"),
                  re.DOTALL | re.MULTILINE)[1].splitlines()


@pytest.fixture
def shell(tmp_path):
    """Return a function that runs a script in a shell that finds the command."""
    program = tmp_path / "loganalyze"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m loganalyze "$@"\n')
    program.chmod(0o755)

    def run(name: str, *arguments: str) -> str:
        path = shutil.which(name)
        if path is None:
            pytest.skip(f"no {name} here")
        done = subprocess.run([path, *arguments], cwd=ROOT, capture_output=True, text=True,
                              timeout=120, check=True, env={
                                  **os.environ, "PYTHONPATH": str(ROOT),
                                  "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"})
        return done.stdout

    return run


def offered(shell: str, words: str, place: int) -> list[str]:
    """Return what the command answers a shell's script, which click writes for it."""
    done = subprocess.run(
        [sys.executable, "-c", "from loganalyze.cli import main; main()"], cwd=ROOT,
        capture_output=True, text=True, timeout=120, check=False, env={
            **os.environ, "_LOGANALYZE_COMPLETE": f"{shell}_complete", "COMP_WORDS": words,
            "COMP_CWORD": words.split()[-1] if shell == "fish" else str(place)})
    assert done.stderr == ""
    return done.stdout.splitlines()


def line_of(shell: str) -> str:
    line, = [line for line in LINES if f"={shell}_source" in line]
    return line


@pytest.mark.parametrize("name", SHELLS)
def test_each_shell_is_offered_the_command_that_was_begun(name):
    answer = offered(name, "loganalyze cross", 1)
    assert "crossover" in " ".join(answer)
    assert not [other for other in COMMANDS if other != "crossover" and other in answer]


def test_zsh_is_offered_every_command_with_its_words():
    answer = offered("zsh", "loganalyze", 1)
    assert {name: words.rstrip(".") for name, words in zip(answer[1::3], answer[2::3], strict=True)
            } == {name: words.rstrip(".") for name, words in COMMANDS.items()}


@pytest.mark.parametrize(("words", "place", "wanted"), [
    ("loganalyze analyze --rep", 2, ["plain,--report"]),
    ("loganalyze analyze --report ", 3, ["plain,html", "plain,pdf", "plain,both"]),
    ("loganalyze sheet n", 2, ["plain,new"]),
    ("loganalyze analyze clean", 2, ["file,clean"]),
])
def test_options_choices_and_files_are_completed(words, place, wanted):
    assert offered("bash", words, place) == wanted


def test_bash_completes_by_the_readmes_line(shell):
    said = shell("bash", "--norc", "-c", line_of("bash") + "\n" + """
        COMP_WORDS=(loganalyze analyze --report p) COMP_CWORD=3
        complete -p loganalyze
        _loganalyze_completion loganalyze
        echo "${COMPREPLY[@]}" """)
    assert said.splitlines() == ["complete -o nosort -F _loganalyze_completion loganalyze", "pdf"]


def test_fish_completes_by_the_readmes_line(shell):
    said = shell("fish", "--no-config", "-c",
                 line_of("fish") + '\ncomplete -C "loganalyze analyze --report "')
    assert said.split() == ["both", "html", "pdf"]


def test_zsh_takes_the_readmes_line(shell):
    said = shell("zsh", "-f", "-c", "autoload -Uz compinit; compinit -u -D\n" + line_of("zsh")
                 + '\nprint -r -- "$_comps[loganalyze]"')
    assert said.strip() == "_loganalyze_completion"
