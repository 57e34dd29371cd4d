"""The command line as a process: help, exit codes, pipes, and what it imports."""

import errno
import os
import signal
import subprocess
import sys
import time
import tomllib
from contextlib import contextmanager
from pathlib import Path

import pytest

import loganalyze
from loganalyze.cli import COMMANDS

ROOT = Path(__file__).parents[2]
HEAVY = ("numpy", "pandas", "pyarrow", "matplotlib", "scipy", "pydantic", "rich")


def modules_after(*arguments) -> set[str]:
    """Top-level modules that are loaded once the command line is through."""
    code = (
        "import sys\nfrom loganalyze.cli import main\n"
        f"try:\n    main({[str(argument) for argument in arguments]!r})\n"
        "except SystemExit as stop:\n    assert not stop.code, stop.code\n"
        "print('\\n' + ' '.join({name.split('.')[0] for name in sys.modules}"
        " | {name for name in sys.modules if name == 'matplotlib.pyplot'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True,
                          cwd=ROOT)
    return set(done.stdout.splitlines()[-1].split())


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], *([name, "--help"]
                                                                      for name in COMMANDS)])
def test_help_loads_nothing_heavy(arguments):
    assert not modules_after(*arguments) & set(HEAVY)


def test_the_main_job_loads_nothing_that_only_other_jobs_need(fast, sheet, tmp_path):
    loaded = modules_after("analyze", fast, "--limits", sheet, "--out", tmp_path / "out")
    assert {"numpy", "pyarrow", "matplotlib"} <= loaded
    assert not loaded & {"pandas", "scipy", "matplotlib.pyplot", "fpdf"}


def test_importing_the_package_loads_nothing_heavy():
    code = "import loganalyze, sys; print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True,
                          cwd=ROOT)
    assert not set(done.stdout.split()) & set(HEAVY)


def test_the_public_names_are_there():
    for name in loganalyze.__all__:
        # Constants such as the names of the phases have no name of their own.
        assert getattr(getattr(loganalyze, name), "__name__", name) == name
        assert name in dir(loganalyze)
    with pytest.raises(AttributeError, match="no attribute 'anaylze'"):
        _ = loganalyze.anaylze


def test_the_version_is_that_of_the_packaging(run):
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    assert loganalyze.__version__ == stated
    assert run("--version").out == f"loganalyze, version {stated}\n"


def test_help_names_the_commands_and_the_exit_codes(run):
    done = run("--help")
    assert done.code == 0
    for name, words in COMMANDS.items():
        assert f"{name} " in done.out
        assert words in done.out
    for line in ("0  done", "1  an exceedance was found (only with --fail-on-exceedance)",
                 "2  wrong input"):
        assert line in done.out
    assert "Not for use in flight" in done.out


@pytest.mark.parametrize("arguments", [
    ["anaylze"], ["analyze"], ["analyze", "log.csv"], ["--limit"], ["crossover"],
    ["crossover", "--cas", "3"], ["airdata"], ["envelope"],
])
def test_wrong_usage_is_exit_2(run, arguments):
    done = run(*arguments)
    assert done.code == 2
    assert "Error: " in done.err
    assert "Traceback" not in done.err


def test_a_reader_that_goes_away_is_met_quietly(sheet):
    process = subprocess.Popen(
        [sys.executable, "-m", "loganalyze", "envelope", "--limits", str(sheet), "--step", "5"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 141
    assert said == b""


@contextmanager
def opened_by_a_reader(pipe, process):
    """Open a pipe for writing as soon as a process has opened it to read."""
    writer = None
    while writer is None:
        assert process.poll() is None
        try:
            writer = os.open(pipe, os.O_WRONLY | os.O_NONBLOCK)
        except OSError as error:
            if error.errno != errno.ENXIO:
                raise
            time.sleep(0.05)
    try:
        yield
    finally:
        os.close(writer)


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
def test_an_interrupt_is_met_quietly(tmp_path, sheet):
    os.mkfifo(tmp_path / "endless.csv")
    process = subprocess.Popen(
        [sys.executable, "-m", "loganalyze", "analyze", str(tmp_path / "endless.csv"), "--limits",
         str(sheet)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT,
        # What runs in a shell's background ignores interrupts, and so would its children.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler))
    with process:
        # A read that the signal just missed goes on; it ends with the pipe.
        with opened_by_a_reader(tmp_path / "endless.csv", process):
            process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert b"Traceback" not in out + err


def test_a_mistyped_command_gets_a_suggestion_and_h_is_help(run):
    done = run("anlyze")
    assert done.code == 2
    assert "did you mean analyze?" in done.err
    assert run("-h").out == run("--help").out
    assert run("inspect", "-h").out.startswith("Usage: loganalyze inspect")
