"""What can be changed in a module so that a good test must fail? A comparison, a condition, a constant, a statement.

Words, annotations, log lines and what is only for type checkers are left alone: nothing should depend on them. Of two
times the order is turned round, and not whether they may be the same: no clock says the same time twice.
"""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

FLIPS: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
SIGNS: Final[dict[type[ast.cmpop], str]] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
    ast.Is: "is",
    ast.IsNot: "is not",
    ast.In: "in",
    ast.NotIn: "not in",
}
TURNS: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
}
QUIET: Final = ("log", "warnings")  # calls of these tell people; no test need hear them


@dataclass(frozen=True, slots=True)
class Site:
    """One possible change: of the n-th node of the module, at this line, in words."""

    node: int
    line: int
    what: str


def sites(source: str) -> list[Site]:
    """All changes that can be made in a module."""
    tree = ast.parse(source)
    left_alone = set(_left_alone(tree))
    inside = _inside(tree)
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in left_alone or not hasattr(node, "lineno"):
            continue
        change = _change(node, in_function=id(node) in inside)
        if change is not None:
            found.append(Site(number, node.lineno, change[0]))
    return found


def mutant(source: str, site: Site) -> str:
    """The module with that one change made."""
    tree = ast.parse(source)
    node = next(node for number, node in enumerate(ast.walk(tree)) if number == site.node)
    change = _change(node, in_function=True)
    assert change is not None
    new = change[1]()
    if new is not node:
        tree = _Swap(node, new).visit(tree)
    return ast.unparse(ast.fix_missing_locations(tree))


class _Swap(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self._old, self._new = old, new

    def visit(self, node: ast.AST) -> ast.AST:
        if node is self._old:
            return ast.copy_location(self._new, node)  # type: ignore[type-var]
        self.generic_visit(node)
        return node


def _change(node: ast.AST, *, in_function: bool) -> tuple[str, Callable[[], ast.AST]] | None:
    """What is changed there, in words, and how: the node itself, changed, or another one in its place."""
    match node:
        case ast.Compare(ops=[op]):
            new = (TURNS if type(op) in TURNS and _of_times(node) else FLIPS)[type(op)]
            return f"{SIGNS[type(op)]} became {SIGNS[new]}", lambda: _with(node, ops=[new()])
        case ast.BoolOp(op=op):
            other = ast.Or() if isinstance(op, ast.And) else ast.And()
            return ("and became or" if isinstance(op, ast.And) else "or became and"), lambda: _with(node, op=other)
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            return "not was left out", lambda: operand
        case ast.If(test=test) | ast.While(test=test) if not isinstance(test, ast.Compare | ast.BoolOp | ast.UnaryOp):
            denied = ast.UnaryOp(op=ast.Not(), operand=test)
            return "the condition was denied", lambda: _with(node, test=denied)
        case ast.Constant(value=bool(value)) if in_function:
            return f"{value} became {not value}", lambda: ast.Constant(value=not value)
        case ast.Constant(value=int(value) | float(value)) if in_function:
            return f"{value} became {value + 1}", lambda: ast.Constant(value=value + 1)
        case ast.Expr(value=ast.Call() | ast.Await()) | ast.AugAssign() | ast.Delete() if in_function:
            return f"left out: {_short(node)}", ast.Pass
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]) if in_function:
            return f"left out: {_short(node)}", ast.Pass
    return None


def _of_times(node: ast.AST) -> bool:
    """Are times compared? By the names of the house: `now`, `until`, `sent_at`, `hold_s`."""
    names = {getattr(one, "attr", getattr(one, "id", "")) for one in ast.walk(node)}
    return any(name in ("now", "at", "until") or name.endswith(("_at", "_s", "_S")) for name in names)


def _with(node: ast.AST, **fields: object) -> ast.AST:
    for name, value in fields.items():
        setattr(node, name, value)
    return node


def _short(node: ast.AST) -> str:
    text = ast.unparse(node).partition("\n")[0]
    return text if len(text) < 60 else f"{text[:57]}..."


def _inside(tree: ast.AST) -> set[int]:
    """Nodes within functions."""
    return {
        id(node)
        for outer in ast.walk(tree)
        if isinstance(outer, ast.FunctionDef | ast.AsyncFunctionDef)
        for part in outer.body
        for node in ast.walk(part)
    }


def _left_alone(tree: ast.AST) -> Iterator[int]:
    for node in ast.walk(tree):
        for part in _parts_left_alone(node):
            yield from (id(one) for one in ast.walk(part))


def _parts_left_alone(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.FunctionDef() | ast.AsyncFunctionDef():
            yield from (one.annotation for one in ast.walk(node.args) if isinstance(one, ast.arg) and one.annotation)
            yield from node.decorator_list
            if node.returns is not None:
                yield node.returns
        case ast.ClassDef():
            yield from node.decorator_list
        case ast.AnnAssign():
            yield node.annotation
        case ast.Assert() | ast.JoinedStr():
            yield node
        case ast.If(test=ast.Name(id="TYPE_CHECKING")):
            yield node
        case ast.Expr(value=ast.Call(func=ast.Attribute(value=ast.Name(id=name)))) if name in QUIET:
            yield node
