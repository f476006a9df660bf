"""docs/reference/errors.md: every class of error with its fields, and every sentence that is said with it."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from functools import cache

import pinproof
from pinproof.design import DesignFault, loads
from pinproof.errors import PinproofError
from pinproof.examples import example_path
from tools.reference.mark import anchor, cell, code, page, sentence, table
from tools.reference.sentences import GAP, Call, calls, is_sentence, trees, ways

INTRO = (
    "Every error that is raised on purpose says where it is, what was read, what would be right and what to do next. "
    "On the terminal it goes to standard error and the command ends with 2; on a page it stands beside what was typed; "
    "for programs it is an exception derived from `pinproof.errors.PinproofError` with the fields below.",
    f'Below stands each kind with the sentences that the source has for it; "{GAP}" stands for what is put in while it '
    "runs. "
    "An error of Python itself (a traceback) is a mistake of Pinproof; please report it.",
)
# Methods of the loader that note one fault of many.
LOADER = ("fault", "row_fault", "_wrong", "_whole", "Fault")
WARNED = ("warn",)


@cache
def kinds() -> tuple[type[PinproofError], ...]:
    """Every class of error that is ours and public, by name."""
    for module in pkgutil.walk_packages(pinproof.__path__, "pinproof."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    found: set[type[PinproofError]] = set()
    waiting: list[type[PinproofError]] = [PinproofError]
    while waiting:
        for each in waiting.pop().__subclasses__():
            if each not in found:
                found.add(each)
                waiting.append(each)
    ours = [each for each in found if each.__module__.startswith("pinproof.") and not each.__name__.startswith("_")]
    return tuple(sorted(ours, key=lambda each: (each.__name__, each.__module__)))


def said_with(kind: type[PinproofError]) -> list[tuple[str, str, str]]:
    """Module, fixed word and sentences of each place that makes this error, or notes something for it."""
    rows = []
    for call in calls():
        if call.name == kind.__name__ and _means(call.module, kind):
            word = _word(call, kind)
        elif kind in _noted(call):
            word = ""
        else:
            continue
        said = sentences(call, word)
        if said:
            rows.append((call.module, word, said))
    return list(dict.fromkeys(rows))


def _noted(call: Call) -> tuple[type[PinproofError], ...]:
    """The errors that a call adds a sentence to: a helper that makes one, a list of faults, the loader's own notes."""
    makers = _makers(call.module)
    if call.name in makers:
        return makers[call.name]
    if call.name in ("append", "extend") and call.receiver == "faults":
        return tuple(kind for kind in _made_in(call.module) if "faults" in _fields(kind))
    if call.module.startswith("design.") and call.name in LOADER:
        return (DesignFault,)
    return ()


@cache
def _made_in(module: str) -> tuple[type[PinproofError], ...]:
    """The kinds of errors that a module makes."""
    named = {call.name for call in calls() if call.module == module}
    return tuple(kind for kind in kinds() if kind.__name__ in named and _means(module, kind))


@cache
def _makers(module: str) -> dict[str, tuple[type[PinproofError], ...]]:
    """Functions of a module that make an error of what they are given: their calls hold the sentences."""
    found: dict[str, tuple[type[PinproofError], ...]] = {}
    for kind in _made_in(module):
        for call in calls():
            function = call.around[0]
            lists = call.name in ("append", "extend") and call.receiver == "faults" and "faults" in _fields(kind)
            makes = call.name == kind.__name__ or lists
            if call.module != module or not makes or not isinstance(function, ast.FunctionDef):
                continue
            given = {each.arg for each in (*function.args.args, *function.args.kwonlyargs)} - {"self", "file", "path"}
            used = {node.id for each in (*call.arguments, *call.keywords.values()) for node in ast.walk(each)
                    if isinstance(node, ast.Name)}  # fmt: skip
            if given & used and function.name != "__init__":
                found[function.name] = (*found.get(function.name, ()), kind)
    return found


def _fields(kind: type[PinproofError]) -> list[str]:
    return [each.name for each in fields(kind)] if is_dataclass(kind) else []


def _means(module: str, kind: type[PinproofError]) -> bool:
    """Whether the class of this name that a module knows is this one."""
    loaded = importlib.import_module(f"pinproof.{module}")
    known = getattr(loaded, kind.__name__, None)
    return known is kind or (known is None and _imported(module, kind))


def _imported(module: str, kind: type[PinproofError]) -> bool:
    """Whether a module imports the class where it is needed only."""
    return any(
        isinstance(node, ast.ImportFrom)
        and any(alias.name == kind.__name__ for alias in node.names)
        and getattr(importlib.import_module(node.module or "pinproof"), kind.__name__, None) is kind
        for node in ast.walk(trees()[module])
    )


def sentences(call: Call, word: str = "") -> str:
    """What a call says, its arguments one after the other; ways of one argument with "or"."""
    parts = []
    for each in (*call.arguments, *call.keywords.values()):
        told = [" ".join(way.split()) for way in ways(each, call.around) if way != word]
        told = [way for way in told if is_sentence(way) or (GAP in way and len(way) > 12 and " " in way)]
        if told:
            parts.append(" — or: ".join(dict.fromkeys(told)))
    return " · ".join(parts)


def _word(call: Call, kind: type[PinproofError]) -> str:
    """The fixed word of an error that has one."""
    names = _fields(kind)
    for word in ("kind", "code"):
        if word in names and call.name == kind.__name__:
            at = names.index(word)
            given = call.keywords.get(word, call.arguments[at] if len(call.arguments) > at else None)
            return " or ".join(ways(given, call.around))
    return ""


def part(kind: type[PinproofError]) -> str:
    """The part of one kind."""
    named = _fields(kind)
    pieces = [
        f"## {kind.__name__}",
        f"{sentence(kind.__doc__)} In `{kind.__module__}`."
        + (f" Fields: {', '.join(map(code, named))}." if named else ""),
    ]
    rows = said_with(kind)
    has_word = any(word for _, word, _ in rows)
    seen: set[str] = set()
    pieces.append(_shape(kind))
    for module in dict.fromkeys(row[0] for row in rows):
        mine = [row for row in rows if row[0] == module]
        pieces.append(f"*{cell(sentence(ast.get_docstring(trees()[module])))}*")
        head = ["fixed word", "what is said"] if has_word else ["what is said"]
        pieces.append(
            table(head, [[_place(kind, word, seen), said] if has_word else [said] for word, said in _joined(mine)])
        )
    return "\n\n".join(piece for piece in pieces if piece)


def _place(kind: type[PinproofError], word: str, seen: set[str]) -> str:
    """A fixed word, with an anchor where it stands first."""
    first = "" if word in seen or not word else anchor(kind.__name__, word)
    seen.add(word)
    return f"{first}{code(word)}" if word else ""


def _joined(rows: Sequence[tuple[str, str, str]]) -> Iterator[tuple[str, str]]:
    """The sentences of one fixed word in one row."""
    joined: dict[str, list[str]] = {}
    for number, (_, word, said) in enumerate(rows):
        joined.setdefault(word or f"#{number}", []).append(said)
    for word, said in joined.items():
        yield "" if word.startswith("#") else word, "<br>".join(said)


def _shape(kind: type[PinproofError]) -> str:
    """How an error puts its fields together, where its class says that itself."""
    module = kind.__module__.removeprefix("pinproof.")
    for node in ast.walk(trees()[module]):
        if isinstance(node, ast.ClassDef) and node.name == kind.__name__:
            function = next(
                (each for each in node.body if isinstance(each, ast.FunctionDef) and each.name == "__str__"), node
            )
            texts = [way for each in ast.walk(function) if isinstance(each, ast.Return) and each.value
                     for way in ways(each.value, (function, trees()[module]))]  # fmt: skip
            rows = [[" ".join(each.split())] for each in dict.fromkeys(texts) if any(map(str.isalpha, each))]
            return table(["how it reads"], rows) if rows else ""
    return ""


def _sample() -> str:
    """How a fault of a design file reads, made by reading one."""
    text = example_path("heron").read_text(encoding="utf-8")
    try:
        loads(text.replace('compares = "reference"', 'compares = "referense"', 1), "truck.toml")
    except PinproofError as fault:
        told = "Where (file, line, entry), what was read, what would be right, and what was done:"
        return f"{told}\n\n```\n{fault}\n```"
    raise AssertionError("a misspelt word was taken")


def page_text() -> str:
    """The whole page."""
    listed = table(["kind", "what it is"], [[f"[{each.__name__}](#{each.__name__.lower()})", sentence(each.__doc__)]
                                            for each in kinds()])  # fmt: skip
    return page("The errors", INTRO[0], _sample(), *INTRO[1:], listed, *map(part, kinds()), _warned(), _typed())


def _warned() -> str:
    rows = [
        [said]
        for call in calls()
        if call.name in WARNED and call.module.startswith("design") and (said := sentences(call))
    ]
    return (
        "## Oddities\n\nA design file can be used and still be odd; this is told as `odd:` and stops nothing.\n\n"
        + table(["what is said"], rows)
    )


def _typed() -> str:
    rows = [[said] for call in calls() if call.name in ("UsageError", "ClickException") and (said := sentences(call))]
    return (
        "## What was typed\n\nA command line that cannot be followed. Nothing was read or written; the command ends "
        "with 2.\n\n" + table(["what is said"], [list(each) for each in dict.fromkeys(map(tuple, rows))])
    )
