"""No package reads what another keeps to itself."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "loganalyze"
MODULES = sorted(PACKAGE.rglob("*.py"))


NO_PUBLIC_WAY = {"fleet/running/worker_pool.py": {"_writer"}}
"""Names of the standard library: a pool's pipe, closed so that nothing waits for a dead process."""


def private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__")


def own_names(tree: ast.Module) -> set[str]:
    """The private names that a module makes itself: attributes, methods, fields, functions."""
    found = set()
    for node in ast.walk(tree):
        match node:
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name):
                found.add(name)
            case ast.ClassDef(name=name) | ast.Name(id=name, ctx=ast.Store()):
                found.add(name)
            case ast.Attribute(value=ast.Name(id="self" | "cls"), attr=name, ctx=ast.Store()):
                found.add(name)
    return found


def private_reads(source: str) -> Iterator[str]:
    """Private attributes of other objects, and private imports, that a module didn't make."""
    tree = ast.parse(source)
    own = own_names(tree)
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(value=value, attr=name) if private(name):
                is_own = isinstance(value, ast.Name) and value.id in ("self", "cls")
                if not is_own and name not in own:
                    yield f"{node.lineno}: .{name}"
            case ast.ImportFrom(names=names):
                yield from (f"{node.lineno}: import {one.name}" for one in names
                            if private(one.name))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_module_reads_private_names_of_another(path):
    allowed = NO_PUBLIC_WAY.get(path.relative_to(PACKAGE).as_posix(), set())
    assert [read for read in private_reads(path.read_text(encoding="utf-8"))
            if read.rpartition(".")[2] not in allowed] == []


@pytest.mark.parametrize("source", [
    "def f(analysis):\n    return analysis._case.air",
    "from loganalyze.limits.evaluation import _lacks",
    "from loganalyze.limits import evaluation\nevaluation._lacks(1)",
    "class A:\n    def f(self, other):\n        return self.evaluation._indices[0]",
])
def test_a_private_read_is_found(source):
    assert len(list(private_reads(source))) == 1


@pytest.mark.parametrize("source", [
    "class A:\n    def __init__(self):\n        self._x = 1\n    def f(self, other):\n"
    "        return self._x + other._x",
    "class A:\n    def f(self):\n        return self._inherited",
    "value.__dict__",
])
def test_what_a_module_made_itself_it_may_read(source):
    assert list(private_reads(source)) == []
