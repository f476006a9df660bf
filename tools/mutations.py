"""Small mistakes to put into a module: what could be wrong there, one at a time.

A mutant is one change of the syntax tree. `mutations` lists those of a tree in an order that depends on the text alone,
so a number names one; `act` makes it in the tree that it was listed for. Texts, types and imports are left alone.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SUMS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
    ast.BitXor: ast.BitOr,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}
PAIRS = [("min", "max"), ("minimum", "maximum"), ("fmin", "fmax"), ("any", "all"), ("argmin", "argmax"),
         ("floor", "ceil"), ("nanmin", "nanmax"), ("lower", "upper"), ("low", "high")]  # fmt: skip
SWAPPED = {**dict(PAIRS), **{b: a for a, b in PAIRS}}
CONDITIONS = (ast.If, ast.IfExp, ast.While)
DELETED = (ast.AugAssign, ast.Raise, ast.Continue, ast.Break, ast.Delete)


@dataclass(frozen=True)
class Mutation:
    """`line`: where. `what`: the change in words. `function`: line of the outermost function it is in, or 0."""

    line: int
    what: str
    function: int
    act: Callable[[], None]


def mutations(tree: ast.Module) -> list[Mutation]:
    """All mutations of one module, in the order of the text."""
    return list(_inside(tree, 0))


def _inside(node: ast.AST, function: int) -> Iterator[Mutation]:
    for line, what, act in _of(node):
        yield Mutation(line, what, function, act)
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "type_comment"):
            continue
        first = min([node.lineno, *(each.lineno for each in node.decorator_list)]) if _is_function(node) else 0
        within = function or (first if name == "body" else 0)
        children = value if isinstance(value, list) else [value]
        for place, child in enumerate(children):
            if not isinstance(child, ast.AST) or _is_talk(child):
                continue
            if isinstance(value, list) and isinstance(child, ast.stmt) and _can_go(child):
                yield Mutation(child.lineno, f"deleted: {_short(child)}", within, _setter(value, place, ast.Pass()))
            yield from _inside(child, within)


def _is_function(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)


def _is_talk(node: ast.AST) -> bool:
    """Docstrings, texts put together, imports, and the list of public names."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
        return True
    return isinstance(node, ast.JoinedStr | ast.Import | ast.ImportFrom)


def _can_go(node: ast.stmt) -> bool:
    if isinstance(node, DELETED) or (isinstance(node, ast.Return) and node.value is None):
        return True
    if isinstance(node, ast.If) and not node.orelse:
        return not (isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING")
    if isinstance(node, ast.Assign):
        return not isinstance(node.targets[0], ast.Name | ast.Tuple)
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)


def _setter(where: object, key: object, value: object) -> Callable[[], None]:
    def act() -> None:
        if isinstance(where, list):
            where[key] = value  # type: ignore[call-overload]
        else:
            setattr(where, str(key), value)

    return act


def _short(node: ast.AST) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= 70 else text[:67] + "..."


def _of(node: ast.AST) -> Iterator[tuple[int, str, Callable[[], None]]]:
    """Mutations of the node itself."""
    line = getattr(node, "lineno", 0)
    said = _short(node) if isinstance(node, ast.expr) else ""
    if isinstance(node, ast.Compare):
        for place, op in enumerate(node.ops):
            for other in COMPARED[type(op)]:
                yield line, f"{said}: {type(op).__name__} to {other.__name__}", _setter(node.ops, place, other())
    elif isinstance(node, ast.BinOp) and not _is_text(node.left) and not _is_text(node.right):
        if type(node.op) in SUMS:
            new = SUMS[type(node.op)]
            yield line, f"{said}: {type(node.op).__name__} to {new.__name__}", _setter(node, "op", new())
    elif isinstance(node, ast.AugAssign) and type(node.op) in SUMS and not _is_text(node.value):
        new = SUMS[type(node.op)]
        yield line, f"{_short(node)}: {type(node.op).__name__} to {new.__name__}", _setter(node, "op", new())
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        yield line, f"{node.value} to {_other(node.value)}", _setter(node, "value", _other(node.value))
    elif isinstance(node, ast.BoolOp):
        new_bool = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield line, f"{said}: {type(node.op).__name__} to {new_bool.__name__}", _setter(node, "op", new_bool())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        act = _setter(node, "op", ast.UAdd()) if isinstance(node.op, ast.USub) else _unnegate(node)
        yield line, f"{said}: {type(node.op).__name__} dropped", act
    elif isinstance(node, ast.Return) and node.value is not None and not _is_none(node.value):
        yield line, f"returns None, not {_short(node.value)}", _setter(node, "value", ast.Constant(None))
    elif isinstance(node, ast.Attribute) and node.attr in SWAPPED:
        yield line, f"{said}: to {SWAPPED[node.attr]}", _setter(node, "attr", SWAPPED[node.attr])
    elif isinstance(node, ast.Name) and node.id in SWAPPED and isinstance(node.ctx, ast.Load):
        yield line, f"{node.id} to {SWAPPED[node.id]}", _setter(node, "id", SWAPPED[node.id])
    if isinstance(node, CONDITIONS) and not isinstance(node.test, ast.Compare | ast.UnaryOp):
        yield node.test.lineno, f"condition negated: {_short(node.test)}", _negate(node, "test", node.test)
    if isinstance(node, ast.comprehension):
        for place, test in enumerate(node.ifs):
            yield test.lineno, f"condition dropped: {_short(test)}", _setter(node.ifs, place, ast.Constant(True))


def _unnegate(node: ast.UnaryOp) -> Callable[[], None]:
    def act() -> None:
        node.operand = ast.UnaryOp(ast.Not(), node.operand)  # `not not x`: the truth of x, whatever its type

    return act


def _negate(where: ast.AST, key: str, test: ast.expr) -> Callable[[], None]:
    return _setter(where, key, ast.UnaryOp(ast.Not(), test))


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _other(value: bool | int | float) -> bool | int | float:
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) or value == 0.0 else 2 * value
