"""A file of Python in; small faults to put into it out, each at one place and of one kind.

The kinds are the usual ones of mutation testing (from memory): a comparison with its neighbour, an arithmetic sign
with its opposite, `and` with `or`, a condition turned round, a number one larger or a tenth off, `min` with `max`, a
truth value with the other, a named argument left out, a statement left out (a call made for its effect, `x += y`,
`continue`, `break`).

Left alone, since no test could notice it or any test would: docstrings, annotations and what is imported for them
alone; the flags of a dataclass and other decorators; arguments that only guard or only name the usual encoding
(`GUARDS`); `raise` and `assert` statements, whose texts other tests match; texts, since the name of a column, once
misspelt, stops the program at once; `return` without its value and an assignment left out, for the same reason.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
SIGNS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div, ast.Mod: ast.FloorDiv, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {
    "min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any",
    "floor": "ceil", "ceil": "floor", "log": "log1p", "log1p": "log", "exp": "expm1", "expm1": "exp",
    "cumsum": "cumprod", "fmin": "fmax", "fmax": "fmin", "idxmin": "idxmax", "idxmax": "idxmin",
}  # fmt: skip
GUARDS = {"strict", "validate", "encoding", "check", "copy", "repr", "slots", "frozen"}


@dataclass(frozen=True)
class Fault:
    """One fault: which file, which lines of it, what stands there and what is put in its place."""

    path: str
    line: int
    last_line: int
    start: int  # offset in the text
    end: int
    before: str
    after: str

    def put_into(self, text: str) -> str:
        """The file's text with the fault in it; raises ValueError where the text is another one."""
        if text[self.start : self.end] != self.before:
            raise ValueError(f"{self.path}: line {self.line} is no longer {self.before!r}")
        return text[: self.start] + self.after + text[self.end :]

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {' '.join(self.before.split())} -> {' '.join(self.after.split())}"


def _changed(node: ast.AST) -> Iterator[str]:
    """What may stand in place of one node."""
    if isinstance(node, ast.Compare):
        for place, op in enumerate(node.ops):
            ops = [*node.ops[:place], COMPARISONS[type(op)](), *node.ops[place + 1 :]]
            yield f"({ast.unparse(ast.Compare(node.left, ops, node.comparators))})"
    elif isinstance(node, ast.BinOp) and type(node.op) in SIGNS:
        if isinstance(node.op, (ast.Add, ast.BitOr)) and _is_text(node):
            return
        yield f"({ast.unparse(ast.BinOp(node.left, SIGNS[type(node.op)](), node.right))})"
    elif isinstance(node, ast.BoolOp):
        other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield f"({ast.unparse(ast.BoolOp(other_op, node.values))})"
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.Not, ast.USub, ast.Invert)):
        yield f"({ast.unparse(node.operand)})"
    elif isinstance(node, ast.Expr):
        if isinstance(node.value, ast.Call):
            yield "pass"
    elif isinstance(node, (ast.AugAssign, ast.Continue, ast.Break)):
        yield "pass"
    elif isinstance(node, ast.Call):
        for place, named in enumerate(node.keywords):
            if named.arg is not None and named.arg not in GUARDS:
                fewer = [*node.keywords[:place], *node.keywords[place + 1 :]]
                yield ast.unparse(ast.Call(node.func, node.args, fewer))
    elif isinstance(node, ast.IfExp):
        yield f"({ast.unparse(ast.IfExp(node.test, node.orelse, node.body))})"
    elif isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            yield str(not node.value)
        elif isinstance(node.value, int):
            yield str(node.value + 1)
        elif isinstance(node.value, float):
            yield repr(node.value * 1.1 if node.value else 0.1)


def _is_text(node: ast.BinOp) -> bool:
    """Whether a sum is a sum of texts, dictionaries or types.

    To turn its sign round fails at once and shows nothing.
    """
    kinds = (ast.JoinedStr, ast.Dict, ast.List, ast.Tuple)
    return any(
        isinstance(part, kinds) or (isinstance(part, ast.Constant) and not isinstance(part.value, (int, float)))
        for part in (node.left, node.right)
    )


class _Walk(ast.NodeVisitor):
    """Collects the nodes that are computation."""

    def __init__(self) -> None:
        self.found: list[tuple[ast.AST, str]] = []

    def generic_visit(self, node: ast.AST) -> None:
        self.found += [(node, after) for after in _changed(node)]
        super().generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        return None

    def visit_Assert(self, node: ast.Assert) -> None:
        return None

    def visit_If(self, node: ast.If) -> None:
        if not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"):
            if not isinstance(node.test, (ast.Compare, ast.BoolOp, ast.UnaryOp)):  # these have faults of their own
                self.found.append((node.test, f"(not ({ast.unparse(node.test)}))"))
            self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in GUARDS:
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for statement in node.body:
            self.visit(statement)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in [*node.args.defaults, *node.args.kw_defaults]:
            if default is not None:
                self.visit(default)
        for statement in node.body:
            self.visit(statement)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        return None

    def visit_Attribute(self, node: ast.Attribute) -> None:
        if node.attr in NAMES:
            self.found.append((node, ast.unparse(ast.Attribute(node.value, NAMES[node.attr]))))
        self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> None:
        if node.id in NAMES:
            self.found.append((node, NAMES[node.id]))


def faults_in(path: Path, root: Path) -> list[Fault]:
    """Every fault that could be put into one file."""
    text = path.read_text(encoding="utf-8")
    starts = [0]
    for line in text.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    raw = text.encode()

    def offset(line: int, column: int) -> int:
        return len(raw[: starts[line - 1] + column].decode())

    walk = _Walk()
    walk.visit(ast.parse(text))
    name = path.relative_to(root).as_posix()
    faults = []
    for node, after in walk.found:
        line, last = node.lineno, node.end_lineno or node.lineno  # type: ignore[attr-defined]
        start = offset(line, node.col_offset)  # type: ignore[attr-defined]
        end = offset(last, node.end_col_offset or 0)  # type: ignore[attr-defined]
        faults.append(Fault(name, line, last, start, end, text[start:end], after))
    return faults
