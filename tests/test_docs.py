"""The docs say what the code does: commands exist, links lead somewhere, units are listed, no path of one machine."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote

import pytest

import dev

# Unit endings of parameter names; two of them joined by `per` count as one: `_ohm_per_m`.
UNITS = """
ohm v a w joule s hz f h henry siemens k c ppm percent counts m mm m2 mm2 m3 kg nm pa deg rad rpm rev db
kohm mohm mv ma ms us khz uf nf km km_h awg
"""
UNIT = "|".join(sorted(UNITS.split(), key=len, reverse=True))
SUFFIX = re.compile(rf"_((?:(?:{UNIT}|\d)_per_)?(?:{UNIT}))(?:_(?:lo|hi|low|high|min|max|nominal))?$")

# Written with a class of one letter, so that this file does not match itself.
FORBIDDEN = [
    (r"[/]work[/]", "a path of one machine"),
    (r"[/]tmp[/]brief", "a path of one machine"),
    (r"[/]root[/]", "a path of one machine"),
    (r"[/]opt[/]wheels", "a path of one machine"),
    (r"[/]home[/]\w+[/]", "a path of one machine"),
    (r"[A-Za-z]:[\\]+Users[\\]+\w", "a path of one machine"),
    (r"(?<![\w-])share[d][/](?=[\w.])", "a folder that is not in the project"),
    (r"\b(?:DESIG[N]|TRAD[E]|STAC[K]|STYL[E])\.md\b", "a file that is not in the project"),
    (r"pypi\.or[g]|pythonhosted\.or[g]|registry\.npmjs\.or[g]", "a registry address"),
    (r"(?:index-ur[l]|find-link[s])\s*[= ]\s*\S*[/]", "a registry address"),
]

COMMAND = re.compile(r"pinproof ([a-z][a-z-]*)(?:\s|$)")

BINARY = {".png", ".jpg", ".pdf", ".ttf", ".otf", ".parquet", ".blf", ".sqlite", ".ico", ".woff2", ".gz", ".zip"}
NOT_OURS = {
    ".venv",
    ".git",
    "__pycache__",
    ".hypothesis",
    ".mypy_cache",
    ".pytest_cache",
    ".ruff_cache",
    "build",
    "dist",
}


def our_files(root: Path) -> list[Path]:
    """Files under version control and new ones that are not ignored; without Git, all but caches."""
    # safe.directory: a clone made by another user is still ours to read
    command = ["git", "-c", "safe.directory=*", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        done = subprocess.run(command, cwd=root, capture_output=True, timeout=60)
        listed = done.stdout.decode("utf-8").split("\0") if done.returncode == 0 else []
    except FileNotFoundError:
        listed = []
    if any(listed):
        listed = [name for name in listed if name and not NOT_OURS & set(name.split("/"))]
        return [root / name for name in listed if (root / name).is_file()]
    found = []
    for folder, folders, names in os.walk(root):
        folders[:] = [name for name in folders if name not in NOT_OURS]
        found += [Path(folder, name) for name in names]
    return found


def text_of(path: Path) -> str:
    """Text of a file that must exist."""
    assert path.is_file(), f"{path.name} is missing"
    return path.read_text(encoding="utf-8")


def shell_lines(markdown: str) -> list[str]:
    """Lines of the fenced code blocks, comments and prompts taken off."""
    lines: list[str] = []
    for block in re.findall(r"^```[^\n]*\n(.*?)^```", markdown, flags=re.DOTALL | re.MULTILINE):
        for line in block.splitlines():
            bare = line.strip().removeprefix("$ ").removeprefix("> ").split(" #")[0].strip()
            if bare and not bare.startswith("#"):
                lines.append(bare)
    return lines


def code_of(markdown: str) -> list[str]:
    """Lines of fenced blocks and all inline code spans."""
    without_blocks = re.sub(r"^```.*?^```", "", markdown, flags=re.DOTALL | re.MULTILINE)
    return shell_lines(markdown) + re.findall(r"`([^`\n]+)`", without_blocks)


def faults_in(text: str) -> list[tuple[int, str, str]]:
    """Line number, what was found and why it may not stand, for each forbidden reference in a text."""
    faults = []
    for number, line in enumerate(text.splitlines(), start=1):
        for pattern, why in FORBIDDEN:
            faults += [(number, hit.group(), why) for hit in re.finditer(pattern, line)]
    return faults


def test_first_two_commands_of_the_readme_exist(project_root: Path) -> None:
    """Whoever copies the first two commands gets past them."""
    commands = [
        re.match(r"(?:python3?|py) dev\.py (\S+)", line) for line in shell_lines(text_of(project_root / "README.md"))
    ]
    assert len(commands) >= 2, "README.md shows fewer than two commands in code blocks"
    for command in commands[:2]:
        assert command is not None, "the first two command lines of README.md must be `python3 dev.py ...`"
        assert command.group(1) in dev.COMMANDS


def test_dev_help_lists_every_command() -> None:
    """dev.py's own help is complete."""
    assert dev.__doc__ is not None
    assert set(re.findall(r"python3 dev\.py (\w+)", dev.__doc__)) == set(dev.COMMANDS)


def test_commands_in_the_readme_exist(project_root: Path) -> None:
    """Every `pinproof COMMAND` in the README answers to --help."""
    names = {hit.group(1) for code in code_of(text_of(project_root / "README.md")) if (hit := COMMAND.match(code))}
    assert names, "README.md names no `pinproof` command"
    paths = [str(project_root / "src"), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONIOENCODING": "utf-8"}
    missing = []
    for name in sorted(names):
        program = (
            f"import sys; sys.argv = ['pinproof', {name!r}, '--help']; from pinproof.cli import main; sys.exit(main())"
        )
        done = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=60, env=environment)
        if done.returncode != 0:
            missing.append(name)
    assert not missing, f"README.md names commands that `pinproof` does not have: {missing}"


def test_no_file_points_outside_the_project(project_root: Path) -> None:
    """The project reads the same on every machine."""
    sentences = []
    for path in our_files(project_root):
        if path.suffix in BINARY:
            continue
        name = path.relative_to(project_root).as_posix()
        for number, found, why in faults_in(path.read_text(encoding="utf-8", errors="replace")):
            sentences.append(f'{name}:{number} holds "{found}": {why}')
    assert not sentences, "\n" + "\n".join(sentences)


@pytest.mark.parametrize(
    "line",
    [
        "see /" + "work/main/dev.py",
        "as share" + "d/notes says",
        "as DESIG" + "N.md section 3 says",
        "https://pypi." + "org/simple",
        "--index" + "-url https://example.org/simple",
        "C:" + "\\Users\\someone\\truck.toml",
        "/ho" + "me/someone/truck.toml",
    ],
)
def test_a_forbidden_reference_is_seen(line: str) -> None:
    """The patterns find what they are for."""
    assert faults_in(line)


@pytest.mark.parametrize(
    "line", ["framework/x", "a shared return", "--no-emit-find-links", "/usr/bin/chromium", "DESIGN"]
)
def test_ordinary_text_is_left_alone(line: str) -> None:
    """And nothing else, as far as these go."""
    assert not faults_in(line)


def test_lock_holds_hashes_and_no_address(project_root: Path) -> None:
    """Every pin has a hash, none an address, and the editable install finds its build backend."""
    text = text_of(project_root / "requirements.lock")
    pins = re.findall(r"^([a-z0-9][a-z0-9._-]*)==\S+(.*?)(?=^[a-z0-9]|\Z)", text, flags=re.DOTALL | re.MULTILINE)
    assert "://" not in text
    assert len(pins) > 20
    assert [name for name, rest in pins if "--hash=sha256:" not in rest] == []
    assert {"hatchling", "editables", "numpy", "click"} <= {name for name, _ in pins}


def test_architecture_names_every_room(project_root: Path) -> None:
    """docs/architecture.md draws the rooms that exist."""
    text = text_of(project_root / "docs" / "architecture.md")
    heads = sorted((project_root / "src" / "pinproof").glob("*/__init__.py"))
    missing = [head.parent.name for head in heads if not re.search(rf"\b{head.parent.name}(?:/|`)", text)]
    assert not missing, f"docs/architecture.md does not name: {missing} (as `room` or room/)"


def unit_suffixes(source: str) -> set[str]:
    """Unit endings of the float parameters and fields in a source text: `pull_ohm: float` gives `_ohm`."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.arg) and node.annotation is not None:
            name, annotation = node.arg, ast.unparse(node.annotation)
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            name, annotation = node.target.id, ast.unparse(node.annotation)
        else:
            continue
        if not re.search(r"float|Array|array", annotation):  # node_a: str is no ampere
            continue
        hit = SUFFIX.search(name)
        if hit:
            found.add("_" + hit.group(1))
    return found


def test_unit_suffixes_are_read_from_parameters() -> None:
    """Parameters and fields count, names that are no quantities do not."""
    source = "def f(pull_ohm: float, node_a: str, drop_ohm_per_m: FloatArray, gain: float) -> float: ...\n"
    source += "class C:\n    supply_v_max: float | None\n    at_k: FloatArray\n"
    assert unit_suffixes(source) == {"_ohm", "_ohm_per_m", "_v", "_k"}


def test_glossary_lists_every_unit(project_root: Path) -> None:
    """A unit ending used in the code stands in a table row of docs/glossary.md."""
    used: dict[str, str] = {}
    for path in sorted((project_root / "src" / "pinproof").rglob("*.py")):
        for suffix in unit_suffixes(path.read_text(encoding="utf-8")):
            used.setdefault(suffix, path.relative_to(project_root).as_posix())
    rows = [
        line for line in text_of(project_root / "docs" / "glossary.md").splitlines() if line.lstrip().startswith("|")
    ]
    listed = {hit for row in rows for hit in re.findall(r"`(_\w+)`", row)}
    missing = [f"`{suffix}` (first seen in {where})" for suffix, where in sorted(used.items()) if suffix not in listed]
    assert not missing, f"no table row in docs/glossary.md has: {', '.join(missing)}"


def test_relative_links_resolve(project_root: Path) -> None:
    """Every link from one page to a file of the project leads to it."""
    broken = []
    for path in our_files(project_root):
        if path.suffix != ".md":
            continue
        prose = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
        prose = re.sub(r"`[^`\n]*`", "", prose)
        targets = re.findall(r"\]\(\s*<?([^)\s>]+)>?[^)]*\)", prose)
        targets += re.findall(r"^\s*\[[^\]^]+\]:\s+(\S+)", prose, flags=re.MULTILINE)
        for target in targets:
            if re.match(r"[a-z][a-z0-9+.-]*:|#", target):
                continue
            if not (path.parent / unquote(target.split("#")[0])).exists():
                broken.append(f"{path.relative_to(project_root).as_posix()} links to {target}")
    assert not broken, "\n" + "\n".join(broken)
