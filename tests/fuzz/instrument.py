"""Which branches of pinproof an input reaches, told by marks that are put into its source while it is imported.

Answers: `HITS`, one byte for each branch, 1 where it was entered since the last `clear`; the words that the code knows.
Touches: the import system, in `install`. Must be called before pinproof is imported.
How:     an import hook parses each module and puts `marks[number] = 1` at the begin of every block: functions,
         branches, loops, handlers, cases, the arms of conditional expressions, later operands of `and` and `or`.
         Blocks and not lines are counted, since a line without a branch tells nothing that its block does not. It costs
         some per cent where a trace function costs a factor of ten, and needs no library, so it runs wherever Pinproof
         does.
"""

from __future__ import annotations

import ast
import importlib.machinery
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.abc import MetaPathFinder
from types import CodeType, ModuleType
from typing import Any

MOST_BLOCKS = 1 << 16
HITS = bytearray(MOST_BLOCKS)
_NONE = bytes(MOST_BLOCKS)
_WORD = re.compile(r"[^\x00-\x1f\x7f]{1,40}\Z")


def mark(number: int) -> None:
    """Note a block from inside an expression; None, so that `mark(n) or value` is the value."""
    HITS[number] = 1


def clear() -> None:
    """Forget what was reached."""
    HITS[:] = _NONE


@dataclass
class Known:
    """What instrumenting found: blocks by module, and each module's short texts."""

    blocks: dict[str, list[int]] = field(default_factory=dict)  # module -> line of each block
    first: dict[str, int] = field(default_factory=dict)  # module -> number of its first block
    words: dict[str, set[str]] = field(default_factory=dict)
    count: int = 0

    def of(self, rooms: Sequence[str]) -> list[tuple[str, int, int]]:
        """(module, line, number) of every block of modules that begin with one of `rooms`."""
        return [
            (module, line, self.first[module] + at)
            for module, lines in self.blocks.items()
            if module.startswith(tuple(rooms))
            for at, line in enumerate(lines)
        ]

    def words_of(self, rooms: Sequence[str]) -> list[str]:
        """Texts that stand in the code of these modules."""
        return sorted({word for module, some in self.words.items() if module.startswith(tuple(rooms)) for word in some})


KNOWN = Known()


class _Marks(ast.NodeTransformer):
    def __init__(self, module: str) -> None:
        self.lines: list[int] = []
        self.words: set[str] = set()
        self.first = KNOWN.count
        KNOWN.blocks[module], KNOWN.words[module], KNOWN.first[module] = self.lines, self.words, self.first

    def _number(self, node: ast.AST) -> int:
        number = KNOWN.count
        if number >= MOST_BLOCKS:
            raise RuntimeError("more blocks than MOST_BLOCKS; raise it")
        KNOWN.count += 1
        self.lines.append(getattr(node, "lineno", 0))
        return number

    def _block(self, body: list[ast.stmt]) -> list[ast.stmt]:
        """The same statements with a mark before them, behind a docstring."""
        at = 1 if _is_text(body[0]) else 0
        told = ast.parse(f"__marks__[{self._number(body[0])}] = 1").body[0]
        for node in ast.walk(told):
            ast.copy_location(node, body[0])
        return [*body[:at], told, *body[at:]]

    def _value(self, node: ast.expr) -> ast.expr:
        number = self._number(node)
        call = ast.Call(ast.Name("__mark__", ast.Load()), [ast.Constant(number)], [])
        made = ast.BoolOp(ast.Or(), [call, node])
        for each in (made, call, call.func, call.args[0]):
            ast.copy_location(each, node)
        return made

    def generic_visit(self, node: ast.AST) -> ast.AST:
        super().generic_visit(node)
        if isinstance(node, ast.ClassDef | ast.Module):
            return node
        for name in ("body", "orelse", "finalbody"):
            body = getattr(node, name, None)
            if isinstance(body, list) and body and isinstance(body[0], ast.stmt):
                setattr(node, name, self._block(body))
        if isinstance(node, ast.IfExp):
            node.body, node.orelse = self._value(node.body), self._value(node.orelse)
        elif isinstance(node, ast.BoolOp):
            node.values = [node.values[0], *(self._value(each) for each in node.values[1:])]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and _WORD.match(node.value):
            self.words.add(node.value)
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        """Annotations are left as they are."""
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_arg(self, node: ast.arg) -> ast.AST:
        """The same."""
        return node


def _is_text(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def _with_marks(tree: ast.Module, module: str) -> ast.Module:
    _Marks(module).visit(tree)
    at = 0
    while at < len(tree.body) and (
        _is_text(tree.body[at]) or (isinstance(tree.body[at], ast.ImportFrom) and tree.body[at].module == "__future__")  # type: ignore[attr-defined]
    ):
        at += 1
    tree.body[at:at] = ast.parse(f"from {__name__} import HITS as __marks__, mark as __mark__").body
    return ast.fix_missing_locations(tree)


class _Loader(importlib.machinery.SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        """Compiled with marks; the byte code cache is neither read nor written."""
        path = self.get_filename(fullname)
        tree = ast.parse(self.get_data(path), path)
        made: CodeType = compile(_with_marks(tree, fullname), path, "exec", dont_inherit=True)
        return made


class _Finder(MetaPathFinder):
    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if name != "pinproof" and not name.startswith("pinproof."):
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path, target)
        if spec is not None and isinstance(spec.loader, importlib.machinery.SourceFileLoader) and spec.origin:
            spec.loader = _Loader(name, spec.origin)
        return spec


def install() -> None:
    """Instrument every module of pinproof that is imported from now on."""
    there = [name for name in sys.modules if name == "pinproof" or name.startswith("pinproof.")]
    if there:
        raise RuntimeError(f"{there[0]} was imported before its branches could be marked")
    sys.meta_path.insert(0, _Finder())


def reached(numbers: Sequence[tuple[str, int, int]], seen: int) -> tuple[int, int]:
    """How many of these blocks are in `seen` (as made by `as_bits`), and how many there are."""
    data: Any = seen.to_bytes(MOST_BLOCKS, "little")
    return sum(data[number] for _, _, number in numbers), len(numbers)


def as_bits() -> int:
    """What was reached since the last `clear`, as one number that can be joined and compared."""
    return int.from_bytes(HITS, "little")
