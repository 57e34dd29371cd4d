"""Small changes to a module's source, each of which a test should notice.

A mutant replaces one expression or statement, and leaves every line where it was. Left out is
what no reading of a log can show: annotations, decorators, docstrings, texts, `strict` of `zip`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitAnd,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift,
    ast.And: ast.Or, ast.Or: ast.And,
}
COMPARISONS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
}


@dataclass(frozen=True)
class Mutant:
    """One change of one module: its place, what stood there and what stands there instead."""

    module: str  # path from the root of the project
    start: tuple[int, int]  # line from 1, byte in the line
    end: tuple[int, int]
    before: str
    after: str
    is_statement: bool
    lines: tuple[int, int]  # of the statement, or of the function whose head it is in
    constant: str | None
    """Names, parted by |, assigned where the module is loaded; None inside a function."""

    def __str__(self) -> str:
        return f"{self.module}:{self.start[0]}  {self.before}  ->  {self.after}"

    def applied(self, source: str) -> str:
        """Return the module's source with the change."""
        lines = source.encode().split(b"\n")
        (row, column), (last, until) = self.start, self.end
        text, rest = self.after.encode(), b"\n" * (last - row)
        text = text + rest if self.is_statement or not rest else b"(" + text + rest + b")"
        lines[row - 1:last] = [lines[row - 1][:column] + text + lines[last - 1][until:]]
        return b"\n".join(lines).decode()


def mutants(module: str, source: str) -> Iterator[Mutant]:
    """Yield every mutant of a module, in the order of its lines."""
    yield from _below(ast.parse(source), _Place(module, source))


def of_packages(root: Path, packages: list[str]) -> list[Mutant]:
    """Return every mutant of some packages of loganalyze."""
    found: list[Mutant] = []
    for package in packages:
        folder = root / "loganalyze" / package
        if not folder.is_dir():
            raise SystemExit(f"There is no package loganalyze/{package}.")
        for path in sorted(folder.rglob("*.py")):
            found += mutants(path.relative_to(root).as_posix(), path.read_text())
    return found


@dataclass(frozen=True)
class _Place:
    module: str
    source: str
    lines: tuple[int, int] = (0, 0)
    constant: str | None = ""

    def inside(self, node: ast.AST) -> _Place:
        """Return the place of what is in a node."""
        if not isinstance(node, ast.stmt):
            return self
        first, last = node.lineno, node.end_lineno or node.lineno
        if isinstance(node, ast.If | ast.While | ast.For | ast.With | ast.Try):
            last = node.body[0].lineno
        constant = self.constant if self.constant is None else _assigned(node)
        if isinstance(node, ast.FunctionDef):
            constant = None
        return replace(self, lines=(first, last), constant=constant)

    def mutant(self, node: ast.expr | ast.stmt, after: str) -> Mutant:
        before = ast.get_source_segment(self.source, node) or ""
        return Mutant(self.module, (node.lineno, node.col_offset),
                      (node.end_lineno or node.lineno, node.end_col_offset or 0),
                      " ".join(before.split()), after, isinstance(node, ast.stmt),
                      self.lines, self.constant)


def _below(node: ast.AST, place: _Place) -> Iterator[Mutant]:
    for child in _children(node):
        inner = place.inside(child)
        if isinstance(child, ast.expr | ast.stmt):
            for after in _replacements(child):
                yield inner.mutant(child, after)
        yield from _below(child, inner)


def _children(node: ast.AST) -> Iterator[ast.AST]:
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list", "bases", "type_params"):
            continue
        children = value if isinstance(value, list) else [value]
        if field == "args" and isinstance(node, ast.Call) and _called(node) == "cast":
            children = children[1:]
        yield from (one for one in children if isinstance(one, ast.AST) and not _is_silent(one))


def _called(node: ast.Call) -> str:
    return node.func.id if isinstance(node.func, ast.Name) else ""


def _assigned(node: ast.AST) -> str:
    target = (node.targets[0] if isinstance(node, ast.Assign)
              else getattr(node, "target", None) if isinstance(node, ast.AnnAssign) else None)
    return "|".join(one.id for one in ast.walk(target or node) if isinstance(one, ast.Name)
                    and isinstance(one.ctx, ast.Store))


def _is_silent(node: ast.AST) -> bool:
    """Whether nothing in the node can show: a docstring, a type, a choice for type checkers."""
    if isinstance(node, ast.keyword):
        return node.arg in ("strict", "stacklevel")
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant) or _is_silent(node.value)
    if isinstance(node, ast.FunctionDef):  # what `overload` decorates is for type checkers
        return any(isinstance(name, ast.Name) and name.id == "overload"
                   for name in node.decorator_list)
    if isinstance(node, ast.If):
        return isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
    if isinstance(node, ast.Assign):
        return any(isinstance(one, ast.Name) and one.id == "__all__" for one in node.targets)
    if isinstance(node, ast.Call):
        return _called(node) in ("TypeVar", "NewType", "assert_never")
    return isinstance(node, ast.JoinedStr)


def _replacements(node: ast.expr | ast.stmt) -> Iterator[str]:
    """Yield the texts that may stand in the place of an expression or statement."""
    match node:
        case ast.BinOp(left, op, right) if type(op) in SWAPS and not _is_text(left, right):
            yield f"({ast.unparse(ast.BinOp(left, SWAPS[type(op)](), right))})"  # type: ignore[arg-type]
        case ast.AugAssign(target, op, value) if type(op) in SWAPS:
            yield ast.unparse(ast.AugAssign(target, SWAPS[type(op)](), value))  # type: ignore[arg-type]
            yield "pass"
        case ast.BoolOp(op, values):
            yield f"({ast.unparse(ast.BoolOp(SWAPS[type(op)](), values))})"  # type: ignore[arg-type]
        case ast.Compare(left, ops, right):
            for at, op in enumerate(ops):
                for other in COMPARISONS[type(op)]:
                    changed = [*ops[:at], other(), *ops[at + 1:]]
                    yield f"({ast.unparse(ast.Compare(left, changed, right))})"  # type: ignore[arg-type]
        case ast.UnaryOp(ast.Not() | ast.USub() | ast.Invert(), operand):
            yield f"({ast.unparse(operand)})"
        case ast.Constant(bool() as value):
            yield str(not value)
        case ast.Constant(int() | float() as value):
            for other in _other_numbers(value):
                yield repr(other) if other >= 0 else f"({other!r})"
        case ast.Return(value) if value is not None and ast.unparse(value) != "None":
            yield "return None"
        case ast.Expr() | ast.Raise():
            yield "pass"
        case ast.Assign(targets) if any(isinstance(one, ast.Subscript | ast.Attribute)
                                        for one in targets):
            yield "pass"
        case ast.Continue():
            yield "break"
        case ast.Break():
            yield "continue"


def _other_numbers(value: float) -> tuple[float, float]:
    """Return a number one more and one less; twice and half where that is no other size."""
    if value == 0 or (isinstance(value, int) and value <= 10):
        return value + 1, value - 1
    return value * 2, value // 2 if isinstance(value, int) else value / 2


def _is_text(*nodes: ast.expr) -> bool:
    return any(isinstance(node, ast.JoinedStr)
               or (isinstance(node, ast.Constant) and isinstance(node.value, str))
               for node in nodes)
