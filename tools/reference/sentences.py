"""Sentences that the code says, read from its text: each f-string with "…" where a value is put in.

Nothing is run. A name that stands for a text is looked up where it was assigned in the same function or module; what
cannot be read that way is "…" too.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from tools.reference import ROOT

SOURCES = ROOT / "src" / "pinproof"
GAP = "…"
MOST_WAYS = 8  # of one sentence


@dataclass(frozen=True)
class Call:
    """A call of a function or class: its name, module and arguments, with what is assigned around it."""

    name: str
    module: str
    line: int
    arguments: tuple[ast.expr, ...]
    keywords: dict[str, ast.expr]
    around: tuple[ast.AST, ...]  # the function it stands in, and the module
    receiver: str = ""  # of a method: the last name before it, "faults" of self.faults.append(…)


@cache
def trees() -> dict[str, ast.Module]:
    """Every module of the product by its dotted name below pinproof."""
    found = {}
    for path in sorted(SOURCES.rglob("*.py")):
        name = ".".join(path.relative_to(SOURCES).with_suffix("").parts).removesuffix(".__init__")
        found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


@cache
def calls() -> tuple[Call, ...]:
    """Every call of the product, in the order of modules and lines."""
    found = []
    for module, tree in trees().items():
        found += list(_calls(tree, module, (tree,)))
    return tuple(found)


def _calls(node: ast.AST, module: str, around: tuple[ast.AST, ...]) -> Iterator[Call]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        around = (node, *around)
    if isinstance(node, ast.Call):
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        words = {each.arg: each.value for each in node.keywords if each.arg}
        before = node.func.value if isinstance(node.func, ast.Attribute) else None
        receiver = before.attr if isinstance(before, ast.Attribute) else getattr(before, "id", "")
        yield Call(called, module, node.lineno, tuple(node.args), words, around, receiver)
    for child in ast.iter_child_nodes(node):
        yield from _calls(child, module, around)


def ways(node: ast.expr | None, around: tuple[ast.AST, ...]) -> list[str]:
    """Every way in which a text can read, "…" for what is put in; [] for what is no text."""
    return [each for each in _ways(node, around, 0) if each]


def _ways(node: ast.expr | None, around: tuple[ast.AST, ...], depth: int) -> list[str]:
    """The same, with "" where nothing at all is one of the ways."""
    if node is None or depth > 6:
        return []
    found: list[str] = []
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.JoinedStr):
        found = [""]
        for part in node.values:
            plain = isinstance(part, ast.Constant)
            more = [str(part.value)] if plain else _put_in(part, around, depth)  # type: ignore[attr-defined]
            found = [head + tail for head in found for tail in more][:MOST_WAYS]
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left = _ways(node.left, around, depth + 1) or [GAP]
        right = _ways(node.right, around, depth + 1) or [GAP]
        found = [a + b for a in left for b in right][:MOST_WAYS]
    elif isinstance(node, ast.IfExp):
        found = _ways(node.body, around, depth + 1) + _ways(node.orelse, around, depth + 1)
    elif isinstance(node, ast.Tuple | ast.List):
        found = [each for value in node.elts for each in _ways(value, around, depth + 1)]
    elif isinstance(node, ast.Starred):
        found = _ways(node.value, around, depth + 1)
    elif isinstance(node, ast.BoolOp):
        found = [each for value in node.values for each in _ways(value, around, depth + 1)]
    elif isinstance(node, ast.Name):
        given = assigned(node.id, around, node.lineno)
        unread = [GAP] if len(given) > 1 else []
        found = [each for value in given for each in (_ways(value, around, depth + 1) or unread)]
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        found = _given_back(node.func.id, around, depth)
        if set(found) <= {GAP, ""} and len(node.args) == 1:  # it may only dress up what it is given
            found = _ways(node.args[0], around, depth + 1)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr in ("rstrip", "strip", "replace", "format"):
            found = _ways(node.func.value, around, depth + 1)
        elif node.func.attr == "join":
            found = [GAP]
    return list(dict.fromkeys(found))[:MOST_WAYS]


def _given_back(name: str, around: tuple[ast.AST, ...], depth: int) -> list[str]:
    """What a function of the same module gives back, where that is text."""
    home = around[-1]
    body = home.body if isinstance(home, ast.Module) else []
    function = next((each for each in body if isinstance(each, ast.FunctionDef) and each.name == name), None)
    if function is None or not (isinstance(function.returns, ast.Name) and function.returns.id == "str"):
        return []
    given = [each.value for each in ast.walk(function) if isinstance(each, ast.Return)]
    return [way for value in given for way in _ways(value, (function, home), depth + 2)]


def _put_in(part: ast.AST, around: tuple[ast.AST, ...], depth: int) -> list[str]:
    """What a value inside an f-string reads as: its own words where they are two or three, else a gap."""
    value = part.value if isinstance(part, ast.FormattedValue) else None
    if isinstance(value, ast.IfExp):
        return [*(_ways(value.body, around, depth + 1) or [""]), *(_ways(value.orelse, around, depth + 1) or [""])]
    if isinstance(value, ast.Name) and around and isinstance(around[0], ast.FunctionDef):
        told = _ways(value, around[:1], depth + 1)
        if any(told) and len(told) <= 3 and all(is_sentence(each, 2) for each in told if each):
            return told
    return [GAP]


def assigned(name: str, around: tuple[ast.AST, ...], before: int = 10**9) -> list[ast.expr]:
    """What a name was given last before a line, each way of a branch counted, in the innermost place that gives it."""
    for place in around:
        found = [each for each in _given(name, place, ()) if each[0] < before or isinstance(place, ast.Module)]
        if not found:
            continue
        last = max(found, key=lambda each: each[0])
        over = [one for one in last[2] if (one.end_lineno or 0) < before]
        here = [value for line, value, inside in found if line == last[0] or (over and over[0] in inside)]
        longer = isinstance(last[1], ast.BinOp) and isinstance(last[1].left, ast.Name) and last[1].left.id == name
        passed = over and (longer or not over[0].orelse)  # it may as well be as it was before that branch
        return [*here, *assigned(name, around, over[0].lineno)] if passed else here
    return []


def _given(
    name: str, place: ast.AST, inside: tuple[ast.stmt, ...]
) -> Iterator[tuple[int, ast.expr, tuple[ast.stmt, ...]]]:
    for node in ast.iter_child_nodes(place):
        if isinstance(place, ast.Module) and not isinstance(node, ast.Assign | ast.AnnAssign):
            continue
        if isinstance(node, ast.Assign):
            for target in node.targets:
                yield from ((node.lineno, value, inside) for value in _of_target(name, target, node.value))
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            yield from ((node.lineno, value, inside) for value in _of_target(name, node.target, node.value))
        elif isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name) and node.target.id == name:
            before = ast.Name(name, ast.Load(), lineno=node.lineno, col_offset=0)
            longer = ast.BinOp(before, ast.Add(), node.value, lineno=node.lineno, col_offset=0)
            yield node.lineno, longer, inside
        branch = (*inside, node) if isinstance(node, ast.If) else inside
        yield from _given(name, node, branch)


def _of_target(name: str, target: ast.expr, value: ast.expr) -> Iterator[ast.expr]:
    if isinstance(target, ast.Name):
        if target.id == name:
            yield value
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.IfExp):
        yield from (each for way in (value.body, value.orelse) for each in _of_target(name, target, way))
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        for one, given in zip(target.elts, value.elts, strict=False):
            yield from _of_target(name, one, given)


def is_sentence(text: str, least: int = 3) -> bool:
    """Whether a text says something by itself: three words (or `least`) that are no gap."""
    return len([word for word in text.replace(GAP, " ").split() if any(sign.isalpha() for sign in word)]) >= least
