"""docs/reference/library.md: the public names with their signatures and docstrings; and the stub for type checkers."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
from typing import Any

import pinproof
from pinproof import PUBLIC
from tools.reference import ROOT
from tools.reference.mark import code, page, sentence, table

STUB = "src/pinproof/__init__.pyi"
INTRO = (
    "Everything the commands do can be called. `import pinproof` loads nothing; each name is loaded when it is first "
    "asked for. Results are frozen dataclasses: `pinproof.as_json(result)` gives what `--json` prints, "
    "`pinproof.show(result, truck)` what a notebook shows, with its drawings, and `print` of that the same in words. "
    "Units stand at the end of every name: `_ohm`, `_v`, `_m`; see the [glossary](../glossary.md).",
    "An [example as a notebook](../examples/sandpiper.ipynb) goes through the whole chain. Errors: [one page]"
    "(errors.md). A public name goes only with a new major version; what is not on this page may change with any.",
)
THREE_LINES = """## Three lines for each engine

```python
{}
```"""
USES = {
    "prove": "pinproof.show(pinproof.prove(truck), truck)",
    "chain_of": "pinproof.show(pinproof.chain_of(truck, pinproof.prove(truck)))",
    "choose_values": 'pinproof.show(pinproof.choose_values(truck, "taps", source="E24"))',
    "faults_of": "pinproof.show(pinproof.faults_of(truck))",
    "Diagnosis": 'search = pinproof.Diagnosis(truck, "taps")\npinproof.show(search.posterior([pinproof.read_look('
    'search, "ohms lever_manual+lever_up=OL")]))',
    "bench_sheet": "pinproof.show(pinproof.bench_sheet(truck, pinproof.usual_meter()))",
    "fit_source": "pinproof.show(pinproof.fit_source([pinproof.PinReading(4.98), pinproof.PinReading(2.41, 1000.0)], "
    "pinproof.VoltMeter()))",
    "lay_out": "pinproof.show(pinproof.lay_out(whole), whole)",
    "prove_inhibit": "pinproof.show(pinproof.prove_inhibit(whole))",
    "drive_sums": "pinproof.show(pinproof.drive_sums(truck))",
    "prove_log": 'pinproof.show(pinproof.prove_log(truck, pinproof.open_log("day1.csv", pinproof.load_map('
    '"logger.toml"))))',
}
"""One use of each engine, on `truck` (the example sandpiper) and `whole` (dunlin). A test runs them."""


def loaded(name: str) -> Any:
    """What a public name stands for."""
    return getattr(pinproof, name)


def part(name: str) -> str:
    """The part of one name."""
    thing = loaded(name)
    place = PUBLIC[name]
    head = f"### {name}\n\n"
    origin = f"Defined as `{place}`."
    if inspect.isfunction(thing) or inspect.isclass(thing):
        head += f"```python\n{signature(name, thing)}\n```\n\n"
    doc = inspect.getdoc(thing) or ""
    return f"{head}{origin}\n\n{markdown(doc)}"


def signature(name: str, thing: Any) -> str:
    """Name, parameters and what comes out, on one line or one line each; defaults as the code writes them."""
    node = _node(thing)
    if node is None:
        return name
    if isinstance(node, ast.ClassDef):
        init = next((each for each in node.body if isinstance(each, ast.FunctionDef) and each.name == "__init__"), None)
        if init is not None:
            return _spread(name, [each for each in _parameters(init.args) if each != "self"], "")
        rows = [ast.unparse(each) for each in node.body if isinstance(each, ast.AnnAssign)]
        return _spread(name, rows, "") if rows and not issubclass(thing, BaseException) else f"class {name}"
    returns = f" -> {ast.unparse(node.returns)}" if node.returns is not None else ""
    return _spread(name, _parameters(node.args), returns)


def _spread(name: str, rows: list[str], returns: str) -> str:
    flat = f"{name}({', '.join(rows)}){returns}"
    if len(flat) <= 100:
        return flat
    inner = "".join(f"    {row},\n" for row in rows if row != "/")
    return f"{name}(\n{inner}){returns}"


def _parameters(given: ast.arguments) -> list[str]:
    def one(each: ast.arg, default: ast.expr | None) -> str:
        kind = f": {ast.unparse(each.annotation)}" if each.annotation else ""
        return f"{each.arg}{kind}" + (f" = {ast.unparse(default)}" if default is not None else "")

    plain = [*given.posonlyargs, *given.args]
    defaults: list[ast.expr | None] = [None] * (len(plain) - len(given.defaults)) + list(given.defaults)
    rows = [one(each, default) for each, default in zip(plain, defaults, strict=True)]
    if given.kwonlyargs:
        rows.append("*")
        rows += [one(each, default) for each, default in zip(given.kwonlyargs, given.kw_defaults, strict=True)]
    return rows


def _node(thing: Any) -> ast.FunctionDef | ast.ClassDef | None:
    source = ast.parse(inspect.getsource(importlib.import_module(thing.__module__)))
    found = (each for each in source.body if isinstance(each, ast.FunctionDef | ast.ClassDef))
    return next((each for each in found if each.name == thing.__name__), None)


def markdown(doc: str) -> str:
    """A docstring in the NumPy form as Markdown: sections as bold heads, parameters as a list, examples as code."""
    out: list[str] = []
    lines = doc.split("\n")
    section, at = "", 0
    while at < len(lines):
        line = lines[at]
        if at + 1 < len(lines) and re.fullmatch(r"-{3,}", lines[at + 1].strip()) and line.strip():
            section = line.strip()
            out += ["", f"**{section}**", ""]
            at += 2
            continue
        if section == "Examples" and line.strip():
            block = []
            while at < len(lines) and lines[at].strip():
                block.append(re.sub(r"\s+# doctest: .*$", "", lines[at]))
                at += 1
            out += ["```pycon", *block, "```", ""]
            continue
        if section in ("Parameters", "Raises", "Returns", "Attributes") and line and not line.startswith(" "):
            out.append(f"- {_typed(line)}")
        elif section and line.startswith("    "):
            out.append(f"  {line.strip()}")
        else:
            out.append(line)
        at += 1
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out)).strip()


def _typed(line: str) -> str:
    name, _, kind = line.partition(" : ")
    return f"{code(name)}: {kind}{'.' if kind else ''}".removesuffix(": ") + ("" if kind else ":")


def groups() -> list[tuple[str, list[str]]]:
    """The names under the comments that head them in the table."""
    text = (ROOT / "src" / "pinproof" / "__init__.py").read_text(encoding="utf-8")
    found: list[tuple[str, list[str]]] = []
    for line in text.partition("PUBLIC: dict")[2].partition("\n}")[0].splitlines():
        if line.strip().startswith("# "):
            found.append((line.strip()[2:], []))
        elif name := re.match(r'\s+"(\w+)":', line):
            found[-1][1].append(name[1])
    return found


def page_text() -> str:
    """The whole page."""
    listed = table(
        ["name", "what it is"],
        [[f"[{code(name)}](#{name.lower()})", sentence(inspect.getdoc(loaded(name)))] for name in PUBLIC],
    )
    uses = "\n".join(
        ["import pinproof", "", 'truck = pinproof.load(pinproof.example_path("sandpiper"))  # or your own file',
         'whole = pinproof.load(pinproof.example_path("dunlin"))', "", *USES.values()]
    )  # fmt: skip
    parts = []
    for title, names in groups():
        parts += [f"## {title[0].upper()}{title[1:]}", *map(part, names)]
    return page("The library", *INTRO, THREE_LINES.format(uses), "## The names", listed, *parts)


def stub_text() -> str:
    """The content of `__init__.pyi`, so that type checkers know the names without loading them."""
    lines = [
        "# Made from PUBLIC in __init__.py by `python3 dev.py docs`. Change that, not this file.",
        "",
    ]
    imports: list[tuple[str, str, str]] = []
    for name, place in PUBLIC.items():
        module, _, attribute = place.rpartition(".")
        imports.append((module, attribute, name))
    for module in sorted({each[0] for each in imports}):
        for _, attribute, name in sorted(each for each in imports if each[0] == module):
            lines.append(f"from {module} import {attribute} as {name}")
    return "\n".join([*lines, "", "__version__: str", "PUBLIC: dict[str, str]", "__all__: list[str]", ""])
