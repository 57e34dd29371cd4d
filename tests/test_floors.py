"""The house: imports run downwards only, function bodies included; modules stay readable."""

import ast
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "loganalyze"
MODULES = sorted(PACKAGE.rglob("*.py"))


def test_import_contracts():
    # import-linter reads every import of the package, those inside functions too.
    ran = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=PACKAGE.parent, capture_output=True, text=True, check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "4 kept, 0 broken" in ran.stdout


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_command_line_imports_inside_functions(path):
    if path.parent.name == "cli":
        return
    inside = [
        node.lineno
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert inside == []


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_stays_readable(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 420


def test_a_folder_holds_at_most_twelve_modules():
    counts = Counter(path.parent for path in MODULES if path.name != "__init__.py")
    assert {folder.name: count for folder, count in counts.items() if count > 12} == {}


def test_no_two_modules_share_a_name():
    counts = Counter(path.stem for path in MODULES if not path.stem.startswith("__"))
    assert [name for name, count in counts.items() if count > 1] == []


def test_rooms_are_named_for_their_subject():
    assert not {"utils", "helpers", "common", "misc"} & {path.stem for path in MODULES}
