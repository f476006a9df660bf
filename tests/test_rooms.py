"""Imports point only downward. Reads every module's imports, lazy ones too, without running any of them.

docs/architecture.md draws the rooms; the lists here decide. A new room goes into both.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import NamedTuple

import pytest

PACKAGE = "pinproof"

# From the bottom up. A room may import from every layer below its own.
LAYERS: list[tuple[str, list[str]]] = [
    ("errors", ["errors"]),
    ("ground", ["quantities", "tables", "verdict", "examples"]),
    ("model", ["design", "record"]),
    ("circuit", ["network", "wiring", "observe"]),
    (
        "engines",
        ["proof", "choose", "chain", "faults", "find", "meter", "learn", "harness", "inhibit", "driveline", "logs"],
    ),
    ("drawings", ["drawings"]),
    ("outputs", ["pack"]),
    ("faces", ["web", "cli", "__main__"]),
]
HEIGHT = {room: height for height, (_, rooms) in enumerate(LAYERS) for room in rooms}
LAYER = {room: name for name, rooms in LAYERS for room in rooms}

# Inside one layer rooms do not know each other, but for these arrows: importer -> imported.
ARROWS = {
    ("quantities", "tables"),
    ("wiring", "network"),
    ("observe", "wiring"),
    ("observe", "network"),
    ("choose", "proof"),
    ("faults", "proof"),
    ("harness", "proof"),
    ("meter", "proof"),
    ("chain", "proof"),
    ("chain", "choose"),
    ("chain", "faults"),
    ("chain", "find"),
    ("chain", "meter"),
    ("chain", "learn"),
    ("chain", "harness"),
    ("chain", "driveline"),
    ("chain", "logs"),
    ("find", "faults"),
    ("find", "meter"),
    ("find", "proof"),
    ("inhibit", "faults"),
    ("logs", "driveline"),
    ("logs", "proof"),
    ("inhibit", "harness"),
    ("inhibit", "proof"),
    ("chain", "inhibit"),
    ("cli", "web"),  # the command that starts the web app
    ("__main__", "cli"),
}

# Rooms that may see less than their height allows, and why.
ONLY: dict[str, tuple[set[str], str]] = {
    "network": ({"errors"}, "`network` knows no truck; it may import only errors"),
    "examples": (set(), "`examples` holds invented design files and knows no other room"),
}
ONLY_LIBRARIES = {"network": {"numpy"}}

# Where the name to import is not the name to install.
INSTALLED_AS = {"can": "python-can", "multipart": "python-multipart", "python_multipart": "python-multipart"}

HEAVY = ["numpy", "pydantic", "polars", "typst", "starlette", "uvicorn", "jinja2", "tomlkit", "can", "cantools"]


class Import(NamedTuple):
    """One import: where it stands and the full dotted name it asks for."""

    line: int
    name: str


def imports_of(source: str, module: str, is_package: bool) -> list[Import]:
    """Every import in a source text, at any depth, with relative ones resolved against `module`."""
    found: list[Import] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [Import(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = module.split(".")
                parents = parents[: len(parents) - node.level + (1 if is_package else 0)]
                base = ".".join([*parents, base]) if base else ".".join(parents)
            # `from pinproof import design` names the room only in the list of names
            names = [f"{base}.{alias.name}" for alias in node.names] if base == PACKAGE else [base]
            found += [Import(node.lineno, name) for name in names]
        elif isinstance(node, ast.Call) and node.args:
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            first = node.args[0]
            if called in ("import_module", "__import__") and isinstance(first, ast.Constant):
                found.append(Import(node.lineno, str(first.value)))
    return found


def room_of(module: str) -> str:
    """Top-level room of a dotted name inside the package; "" for the package itself."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def forbidden(importer: str, imported: str) -> str:
    """Rule that an import from one room to another breaks, or "" when it may stand."""
    if importer == imported or imported not in HEIGHT:
        return ""  # the same room, or a plain name such as __version__
    if importer == "":
        return "the package's own __init__ stays empty, so that importing any room loads no other"
    if importer in ONLY:
        allowed, rule = ONLY[importer]
        return "" if imported in allowed else rule
    if HEIGHT[imported] < HEIGHT[importer] or (importer, imported) in ARROWS:
        return ""
    if HEIGHT[imported] == HEIGHT[importer]:
        arrows = [f"{a} -> {b}" for a, b in sorted(ARROWS) if LAYER[a] == LAYER[importer]]
        known = f"the only arrows there are {', '.join(arrows)}" if arrows else "there are no arrows inside that layer"
        return f"both are in the layer `{LAYER[importer]}`; {known}"
    return f"`{importer}` ({LAYER[importer]}) is below `{imported}` ({LAYER[imported]}); imports point only downward"


def faults_in(source: str, path: str) -> list[str]:
    """One sentence for each import in `source` that points the wrong way; `path` is relative to src/."""
    parts = list(Path(path).with_suffix("").parts)
    is_package = parts[-1] == "__init__"
    module = ".".join(parts[:-1] if is_package else parts)
    room = room_of(module)
    if room and room not in HEIGHT:
        return []  # the test of unknown rooms speaks of it
    sentences = []
    for line, name in imports_of(source, module, is_package):
        top = name.split(".")[0]
        if top == PACKAGE:
            rule = forbidden(room, room_of(name))
        elif room in ONLY_LIBRARIES and top not in sys.stdlib_module_names | ONLY_LIBRARIES[room]:
            rule = f"`{room}` may use only {', '.join(sorted(ONLY_LIBRARIES[room]))} and the standard library"
        else:
            rule = ""
        if rule:
            sentences.append(f"src/{Path(path).as_posix()}:{line} imports {name}: {rule}")
    return sentences


def modules(project_root: Path) -> list[Path]:
    """Every module of the package."""
    found = sorted((project_root / "src" / PACKAGE).rglob("*.py"))
    assert found, "no module found under src/pinproof"
    return found


def rooms(project_root: Path) -> set[str]:
    """Names of the folders and single modules at the top of the package that hold code."""
    top = project_root / "src" / PACKAGE
    return {path.relative_to(top).parts[0].removesuffix(".py") for path in modules(project_root)} - {"__init__"}


def test_imports_point_only_downward(project_root: Path) -> None:
    """The drawing of the rooms is true."""
    source_root = project_root / "src"
    sentences = []
    for path in modules(project_root):
        sentences += faults_in(path.read_text(encoding="utf-8"), str(path.relative_to(source_root)))
    assert not sentences, "\n" + "\n".join(sentences)


def test_every_room_is_known(project_root: Path) -> None:
    """A room that no list names has no rules, so it must not exist."""
    unknown = sorted(rooms(project_root) - set(HEIGHT))
    assert not unknown, f"src/pinproof holds rooms that no layer names: {unknown}. Add them to LAYERS in {__file__}."


def test_every_room_says_what_it_is(project_root: Path) -> None:
    """Whoever opens a folder reads in its __init__ what it answers, what it may touch and what it must not."""
    silent = []
    for room in sorted(rooms(project_root)):
        folder = project_root / "src" / PACKAGE / room
        head = folder / "__init__.py" if folder.is_dir() else folder.with_suffix(".py")
        if not head.is_file() or not ast.get_docstring(ast.parse(head.read_text(encoding="utf-8"))):
            silent.append(head.relative_to(project_root).as_posix())
    assert not silent, f"missing, or without a docstring: {silent}"


def test_only_declared_libraries_are_used(project_root: Path) -> None:
    """What src imports is in pyproject.toml, so that an installed Pinproof runs; test libraries stay out of it."""
    project = tomllib.loads((project_root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(name for extra in project["optional-dependencies"].values() for name in extra),
    ]
    declared = {name.split(">")[0].split("<")[0].split("=")[0].split("[")[0].strip().lower() for name in wanted}
    sentences = []
    for path in modules(project_root):
        relative = path.relative_to(project_root / "src")
        module = ".".join(relative.with_suffix("").parts)
        for line, name in imports_of(path.read_text(encoding="utf-8"), module, path.name == "__init__.py"):
            top = name.split(".")[0]
            if top in sys.stdlib_module_names or top == PACKAGE:
                continue
            if INSTALLED_AS.get(top, top.replace("_", "-")).lower() not in declared:
                sentences.append(
                    f"src/{relative.as_posix()}:{line} imports {name}, which pyproject.toml does not declare"
                )
    assert not sentences, "\n" + "\n".join(sentences)


@pytest.mark.parametrize(
    ("path", "source", "sentence"),
    [
        (
            "pinproof/network/solve.py",
            "import numpy\n\nfrom pinproof.design import model\n",
            "src/pinproof/network/solve.py:3 imports pinproof.design: "
            "`network` knows no truck; it may import only errors",
        ),
        (
            "pinproof/network/solve.py",
            "import scipy.linalg\n",
            "src/pinproof/network/solve.py:1 imports scipy.linalg: "
            "`network` may use only numpy and the standard library",
        ),
        (
            "pinproof/proof/spans.py",
            "def f():\n    from ..cli import main\n",
            "src/pinproof/proof/spans.py:2 imports pinproof.cli: "
            "`proof` (engines) is below `cli` (faces); imports point only downward",
        ),
        (
            "pinproof/proof/spans.py",
            "from pinproof import choose\n",
            "src/pinproof/proof/spans.py:1 imports pinproof.choose: both are in the layer `engines`; "
            "the only arrows there are chain -> choose, chain -> driveline, chain -> faults, chain -> find, chain "
            "-> harness, chain -> inhibit, chain -> learn, chain -> logs, chain -> meter, chain -> proof, choose "
            "-> proof, faults -> proof, find -> faults, find -> meter, find -> proof, harness -> proof, inhibit "
            "-> faults, inhibit -> harness, inhibit -> proof, logs -> driveline, logs -> proof, meter -> proof",
        ),
        (
            "pinproof/design/__init__.py",
            "from .. import record\n",
            "src/pinproof/design/__init__.py:1 imports pinproof.record: both are in the layer `model`; "
            "there are no arrows inside that layer",
        ),
        (
            "pinproof/verdict/judge.py",
            "import importlib\nm = importlib.import_module('pinproof.proof.spans')\n",
            "src/pinproof/verdict/judge.py:2 imports pinproof.proof.spans: "
            "`verdict` (ground) is below `proof` (engines); imports point only downward",
        ),
        (
            "pinproof/__init__.py",
            "from .errors import PinproofError\n",
            "src/pinproof/__init__.py:1 imports pinproof.errors: "
            "the package's own __init__ stays empty, so that importing any room loads no other",
        ),
    ],
)
def test_a_wrong_import_is_told_in_a_sentence(path: str, source: str, sentence: str) -> None:
    """The reader of imports sees absolute, relative, lazy and by-name imports."""
    assert faults_in(source, path) == [sentence]


@pytest.mark.parametrize(
    ("path", "source"),
    [
        (
            "pinproof/network/solve.py",
            "import math\nimport numpy as np\nfrom pinproof.errors import X\nfrom . import box\n",
        ),
        ("pinproof/network/__init__.py", "from .solve import solve\nfrom pinproof.network import box\n"),
        ("pinproof/quantities/parse.py", "from pinproof.tables import load\n"),
        ("pinproof/wiring/build.py", "from ..network.netlist import Netlist\nfrom ..design import Design\n"),
        ("pinproof/choose/search.py", "from pinproof.proof.spans import prove\n"),
        ("pinproof/drawings/ladder.py", "from pinproof.proof import Proof\n"),
        ("pinproof/cli/cmd_prove.py", "from pinproof import __version__\nfrom pinproof.pack import book\n"),
    ],
)
def test_a_right_import_may_stand(path: str, source: str) -> None:
    """Downward imports, the listed arrows and imports inside a room are free."""
    assert faults_in(source, path) == []


def test_help_loads_no_heavy_library(project_root: Path) -> None:
    """`pinproof --help` answers at once on an old laptop: a library is loaded when a command needs it."""
    program = (
        "import sys\n"
        "before = set(sys.modules)\n"
        "sys.argv = ['pinproof', '--help']\n"
        "from pinproof.cli import main\n"
        "code = 0\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    code = end.code or 0\n"
        "print('LOADED', code, *sorted({name.split('.')[0] for name in set(sys.modules) - before}))\n"
    )
    paths = [str(project_root / "src"), *filter(None, [os.environ.get("PYTHONPATH")])]
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONIOENCODING": "utf-8"},
    )
    assert done.returncode == 0, done.stderr
    assert "--help" in done.stdout, f"`pinproof --help` printed no help: {done.stdout!r}"
    marker, code, *loaded = done.stdout.strip().splitlines()[-1].split()
    assert (marker, code) == ("LOADED", "0")
    assert "click" in loaded
    assert not set(HEAVY) & set(loaded)
