"""The README: its commands run as they stand, its files are there, its pictures are today's."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import numpy as np
import pytest
from PIL import Image

from loganalyze import read_columns, read_limits
from loganalyze.cli import group
from loganalyze.review.access.openid_settings import openid_settings

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FENCES = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
FIRST, OWN = README.split("\n## Your own log\n")
OWN, FLEET, BESIDE = re.split("\n## (?:A fleet|Two flights side by side)\n", OWN)


def fenced(kind: str, text: str = README) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


def commands(text: str) -> list[str]:
    """Return the shell's blocks, without the one that runs these tests."""
    return [block for block in fenced("bash", text) if "-m pytest" not in block]


@pytest.fixture
def clone(tmp_path):
    """A folder with the sample logs, and a .venv whose pip does nothing and whose loganalyze
    is this source."""
    (tmp_path / "sample_logs").symlink_to(ROOT / "sample_logs")
    programs = tmp_path / ".venv" / "bin"
    programs.mkdir(parents=True)
    for name, line in {"pip": "true", "python3": "true",
                       "python": f'exec "{sys.executable}" "$@"',
                       "loganalyze": f'exec "{sys.executable}" -m loganalyze "$@"'}.items():
        path = programs / name
        path.write_text(f"#!/bin/sh\n{line}\n")
        path.chmod(0o755)
    return tmp_path


def ran(script: str, clone: Path) -> str:
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script], cwd=clone, check=False, timeout=300,
        capture_output=True, text=True, env={
            **os.environ, "PYTHONPATH": str(ROOT),
            "PATH": f"{clone / '.venv' / 'bin'}{os.pathsep}{os.environ['PATH']}"})
    assert done.returncode == 0, f"{script}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def test_the_file_of_a_provider_is_one(tmp_path):
    (block,) = [block for block in fenced("toml") if "client_id" in block]
    (tmp_path / "provider.toml").write_text(block)
    secret = tmp_path / "provider_secret"
    secret.write_text("x")
    secret.chmod(0o600)
    assert openid_settings(tmp_path / "provider.toml").issuer in README.replace(block, "")


def test_every_snippet_is_of_a_kind_that_is_tried():
    assert {kind for kind, _ in FENCES} == {"bash", "sh", "python", "toml"}


def test_the_commands_work_and_those_of_the_first_minute_twice_in_a_row(clone):
    blocks = commands(FIRST)
    assert len(blocks) >= 4
    assert "pip install --quiet ." in blocks[0]
    debriefs = [block for block in blocks if "--out debrief" in block]
    assert len(debriefs) == 2
    for block in [*blocks, *debriefs]:
        said = ran(block, clone)
        if "loganalyze training" not in block:
            assert "exceeded" in said
            continue
        # The lesson's command judges no limits: it says what is left to them.
        assert "0.5 kt to VMO" in said
        late = re.search(r"Mach number was\s+held (\d+ s) beyond", FIRST)
        assert late
        assert f"given up {late[1]} later than due" in " ".join(said.split())
    written = {path.name for path in (clone / "debrief").rglob("*.*")}
    for name in re.findall(r"`([\w.]+\.(?:png|parquet|csv|json|html|pdf))`", FIRST):
        assert name in written


def test_a_fleet_is_judged_once_and_has_its_trends(clone):
    block, = commands(FLEET)
    first, second = ran(block, clone), ran(block, clone)
    assert "60 logs found: 59 judged now, 0 judged before" in first
    assert "0 judged now, 59 judged before" in second
    assert "Per 1,000 hours" in first
    page = (clone / "demo_fleet" / "trends.html").read_text(encoding="utf-8")
    assert "Before and after 2031-09-01" in page
    for name in re.findall(r"`(demo_fleet/[\w.]+)`", FLEET):
        assert (clone / name).is_file()


def test_two_flights_are_laid_side_by_side(clone):
    block, = commands(BESIDE)
    ran(block, clone)
    assert list((clone / "side_by_side").rglob("*.html"))


def test_the_first_sheet_judges_the_clean_sample_and_is_written_once(clone):
    block, = commands(OWN)
    write, judge = block.strip().splitlines()
    assert "no limit was exceeded" in " ".join(ran(block, clone).lower().split())
    assert "No limit was exceeded" in ran(judge, clone)
    with pytest.raises(AssertionError, match="never replaced"):
        ran(write, clone)


def test_the_lines_of_python_run(clone):
    block = "\n".join(fenced("python"))
    # A bare expression shows itself in a notebook; here it must be there at least.
    (clone / "lines.py").write_text(f"{block}\nassert len(analysis.exceedance_table) == 2\n"
                                    "assert len(flight.exceedance_table) == 1\n")
    ran(".venv/bin/python lines.py", clone)


def test_the_pieces_of_a_limits_sheet_fit_the_sheet_they_follow(tmp_path):
    sheet, *pieces = [block for block in fenced("toml")
                      if "[columns]" not in block and "client_id" not in block]
    assert sheet.startswith("aircraft")
    assert len(pieces) >= 3
    for number, piece in enumerate(pieces):
        path = tmp_path / f"{number}.toml"
        path.write_text(f"{sheet}\n{piece}")
        stated = tomllib.loads(path.read_text()).keys()
        assert stated > tomllib.loads(sheet).keys() or "[[limit]]" in piece
        assert read_limits(path)


def test_the_columns_files_are_read(tmp_path):
    blocks = [block for block in fenced("toml") if "[columns]" in block]
    assert len(blocks) == 2
    for block in blocks:
        path = tmp_path / "columns.toml"
        path.write_text(block)
        assert read_columns(path).columns


def test_what_it_links_to_is_there():
    linked = re.findall(r"\]\(([^)#]+)", README)
    assert len(linked) >= 5
    assert [path for path in linked if not (ROOT / path).exists()] == []


def options(command: click.Command) -> set[str]:
    own = {name for parameter in command.params for name in parameter.opts}
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            assert inner is not None
            own |= options(inner)
    return own


def test_the_options_that_it_names_exist():
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", README)) - {"--quiet"}
    assert len(named) > 10
    assert named <= options(group)


def test_each_use_has_its_picture_and_its_command():
    uses = FIRST.split("\n### ")[1:]
    assert len(uses) == 3
    for use in uses:
        assert len(re.findall(r"^!\[.+\]\(sample_logs/\w+\.png\)$", use, re.MULTILINE)) == 1
        assert len(fenced("bash", use)) == 1


def test_the_pictures_are_what_the_program_draws_today(tmp_path):
    subprocess.run([sys.executable, str(ROOT / "sample_logs" / "pictures.py"), str(tmp_path)],
                   check=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=300)
    drawn = sorted(path.name for path in tmp_path.iterdir())
    own = {path.name for path in (ROOT / "sample_logs").glob("*.png")}
    browser = any(map(shutil.which, BROWSERS))
    assert drawn == sorted(own if browser else own - {"review_desk.png"})
    for name in drawn:
        assert f"(sample_logs/{name})" in README
        with (Image.open(tmp_path / name) as new, Image.open(ROOT / "sample_logs" / name) as kept):
            assert new.size == kept.size
            apart = np.abs(np.asarray(new.convert("L"), dtype=float)
                           - np.asarray(kept.convert("L"), dtype=float))
        # Another version of the drawing library moves edges by a pixel; another picture differs
        # in most of what isn't white.
        # A browser writes in the fonts that it finds, and the desk's names are random.
        most = 12.0 if name == "review_desk.png" else 2.0
        assert apart.mean() < most, f"{name}: run python sample_logs/pictures.py"
