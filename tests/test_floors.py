"""The house: imports run downwards only, function bodies included; modules stay readable.

``python -m tests.test_floors`` lists the modules of tests that import what isn't public.
"""

import ast
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

import loganalyze

PACKAGE = Path(__file__).parent.parent / "loganalyze"
MODULES = sorted(PACKAGE.rglob("*.py"))
TESTS = Path(__file__).parent
IMPORTERS = 26
"""So many modules of the tests, commands and benchmarks included, may import what isn't public.
To be lowered, never raised."""


def public_modules() -> set[str]:
    """Return the modules that the contributors' page calls public, those of the physics among."""
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = page.split("\n## Public names\n")[1].split("\n## ")[0]
    named = {name for row in re.findall(r"^\| (.*?) \|", table, re.MULTILINE)
             for name in re.findall(r"`(loganalyze[\w.]*)`", row)}
    return named | {f"loganalyze.air.{path.stem}" for path in (PACKAGE / "air").glob("[a-z]*.py")}


def inner_imports(path: Path, public: set[str]) -> list[str]:
    """Return what a module imports of the package that isn't public."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [one.name for one in node.names
                      if one.name.startswith("loganalyze.") and one.name not in public]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("loganalyze"):
            for one in node.names:
                known = node.module == "loganalyze" and one.name in (
                    *loganalyze.__all__, "__version__")
                inside = f"{node.module}.{one.name}" in public or (
                    node.module in public and not one.name.startswith("_"))
                if not (known or inside):
                    found.append(f"{node.module}.{one.name}")
    return found


def importers() -> dict[str, list[str]]:
    """Return the modules of the tests that import what isn't public, with what."""
    public = public_modules()
    found = {path.relative_to(TESTS).as_posix(): inner_imports(path, public)
             for path in sorted(TESTS.rglob("*.py"))}
    return {path: names for path, names in found.items() if names}


def test_tests_go_through_public_doors():
    found = importers()
    assert len(found) <= IMPORTERS, "import public names instead: python -m tests.test_floors"


def test_public_modules_are_there(tmp_path):
    public = public_modules()
    assert len(public) > 15
    for name in public:
        place = PACKAGE.parent / name.replace(".", "/")
        assert place.with_suffix(".py").is_file() or (place / "__init__.py").is_file(), name
    odd = tmp_path / "odd.py"
    odd.write_text("from loganalyze import analyze, Nothing\nimport loganalyze.text.facts\n"
                   "from loganalyze.air import airspeed\nfrom loganalyze.problems import _hid\n")
    assert inner_imports(odd, public) == [
        "loganalyze.Nothing", "loganalyze.text.facts", "loganalyze.problems._hid"]


def test_import_contracts():
    # import-linter reads every import of the package, those inside functions too.
    ran = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=PACKAGE.parent, capture_output=True, text=True, check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "7 kept, 0 broken" in ran.stdout


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_command_line_imports_inside_functions(path):
    if "cli" in path.relative_to(PACKAGE).parts:
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
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_a_folder_holds_at_most_twelve_modules():
    counts = Counter(path.parent for path in MODULES if path.name != "__init__.py")
    assert {folder.name: count for folder, count in counts.items() if count > 12} == {}


def test_no_two_modules_share_a_name():
    counts = Counter(path.stem for path in MODULES if not path.stem.startswith("__"))
    assert [name for name, count in counts.items() if count > 1] == []


def test_rooms_are_named_for_their_subject():
    assert not {"utils", "helpers", "common", "misc"} & {path.stem for path in MODULES}


if __name__ == "__main__":
    for module, names in importers().items():
        print(f"{module}: {', '.join(names)}")
    print(len(importers()))
