"""The references say what the code says, no less and no more; nobody can forget a command, key, check or error."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof import PUBLIC
from pinproof.cli import COMMANDS, group
from pinproof.cli.files import FILES
from pinproof.design import DesignFault, loads
from pinproof.design.key import SAYS, KeyKind
from pinproof.design.keys import TABLES
from pinproof.driveline.results import CHECKS as DRIVE_CHECKS
from pinproof.examples import companions, example_path
from pinproof.inhibit import EFFECTS
from pinproof.logs.checks import CHECKS as LOG_CHECKS
from pinproof.proof.checks import NAMES as PROOF_CHECKS
from tools import reference
from tools.reference import checks, commands, design_keys, errors, mark, sentences

ROOT = reference.ROOT
SOURCES = ROOT / "src" / "pinproof"


def committed(name: str) -> str:
    """A reference as it stands in the project."""
    return (ROOT / reference.FOLDER / name).read_text(encoding="utf-8")


def anchors(name: str) -> set[str]:
    """The anchors that its rows have."""
    found = re.findall(r'<a id="([^"]+)"></a>', committed(name))
    assert len(found) == len(set(found)), "an anchor stands twice"
    return set(found)


def headings(name: str, level: int) -> set[str]:
    """Its headings of one level."""
    return set(re.findall(rf"^{'#' * level} (.+)$", committed(name), flags=re.MULTILINE))


@pytest.fixture(scope="module")
def fresh() -> dict[str, str]:
    """Every page made now."""
    return reference.pages()


def test_references_are_as_the_code_says(fresh: dict[str, str]) -> None:
    """The committed text is the one that would be made now."""
    stale = [name for name, text in fresh.items() if (ROOT / name).read_text(encoding="utf-8") != text]
    assert not stale, f"stale: {stale}; `python3 dev.py docs` writes them anew"


def test_every_command_and_option_and_no_other() -> None:
    """From the command line's own parsers, help and version included."""
    assert headings("commands.md", 2) == {*COMMANDS, "pinproof"}
    wanted = {"pinproof--version", "pinproof--help"}
    for name, command in commands.commands():
        wanted |= {f"{name}{option.opts[-1]}" for option in commands.options(command)} | {f"{name}--help"}
        wanted |= {mark.anchor_name(name, each.name or "") for each in commands.arguments(command)}
    assert anchors("commands.md") == wanted
    text = committed("commands.md")
    missing = [way for _, each in commands.commands() for option in commands.options(each)
               for way in commands.spellings(option) if f"`{way}`" not in text]  # fmt: skip
    assert not missing


def test_every_command_says_how_it_ends_and_what_it_touches() -> None:
    """No option without help, no command without exit codes, files and an example."""
    assert list(FILES) == list(COMMANDS) or set(FILES) == set(COMMANDS)
    for name, command in commands.commands():
        assert commands.ENDS.search(" ".join((command.help or "").split())), name
        assert "Example:" in (command.help or ""), name
        assert all(option.help for option in commands.options(command)), name


SILENT = sorted(
    name for name, each in FILES.items() if not each.always and name not in ("serve", "find", "inhibit", "completion")
)


@pytest.mark.parametrize("name", [*SILENT, "completion"])
def test_a_command_that_says_it_writes_nothing_writes_nothing(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Called with nothing but a file, it leaves the folder as it was. (`serve` and `find` wait for somebody, `inhibit`
    takes a minute.)"""
    example = "dunlin" if name == "harness" else "sandpiper"
    for each in (example_path(example), *companions(example)):
        (tmp_path / each.name).write_bytes(each.read_bytes())
    monkeypatch.chdir(tmp_path)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    asked = ["bash"] if name == "completion" else [f"{example}.toml"]
    quick = {"prove": ["--samples", "0"], "learn": ["--json"], "record": ["--json"]}.get(name, [])
    CliRunner().invoke(group, [name, *asked, *quick])
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_every_key_of_every_table_and_no_other() -> None:
    """From the tables that the loader checks against."""
    wanted = {mark.anchor_name(table.name, key.name) for table in TABLES.values() for key in table.keys}
    assert anchors("design-file.md") == wanted
    shown = headings("design-file.md", 2) | headings("design-file.md", 3)
    assert shown == {design_keys.title(table) for table in TABLES.values()} | {"Quantities"}
    assert set(SAYS) == set(KeyKind.__args__), "a kind of key without words"
    assert all(key.doc or key.kind in ("note",) for table in TABLES.values() for key in table.keys)


def test_every_check_by_its_name_and_no_other() -> None:
    """Of proof, driveline, log; findings and refusals of harness and start inhibit."""
    wanted = {mark.anchor_name("proof", name) for name in PROOF_CHECKS}
    wanted |= {mark.anchor_name("drive", name) for name in DRIVE_CHECKS}
    wanted |= {mark.anchor_name("log", name) for name in LOG_CHECKS}
    wanted |= {mark.anchor_name("effect", name) for name in EFFECTS}
    refused, found = checks.coded(("harness", "wiring"))
    start, _ = checks.coded(("inhibit",))
    assert not set(refused) & set(found), "one name is a finding and a refusal"
    wanted |= {mark.anchor_name("harness", name) for name in (*refused, *found)}
    wanted |= {mark.anchor_name("start", name) for name in start}
    assert anchors("checks.md") == wanted


def test_no_fixed_name_is_overlooked() -> None:
    """Every text in harness, wiring and inhibit that stands where a name stands is in the reference: read another
    way, from the bare text of the source."""
    text = committed("checks.md")
    places = re.compile(
        r'(?:refusal\([^"()]*|Finding\(|InhibitFault\(|NoWiring\()\s*"([a-z]+(?:-[a-z]+)+|bypass|unfused)"'
    )
    seen = set()
    for room in ("harness", "wiring", "inhibit"):
        for path in (SOURCES / room).rglob("*.py"):
            seen |= set(places.findall(path.read_text(encoding="utf-8")))
    assert len(seen) > 30
    assert not [name for name in sorted(seen) if f"`{name}`" not in text]


def test_driveline_checks_have_no_other_names() -> None:
    """What the driveline's engine says it checked is in the list."""
    used = {way for call in sentences.calls() if call.name == "Check" and call.module.startswith("driveline")
            for way in sentences.ways(call.arguments[0], call.around)}  # fmt: skip
    assert used == set(DRIVE_CHECKS)


def test_every_kind_of_error_and_no_other() -> None:
    """Every public class that derives from the one base, read from the source by another way than the page's."""
    bases: dict[str, set[str]] = {}
    for path in SOURCES.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                bases.setdefault(node.name, set()).update(ast.unparse(base).rpartition(".")[2] for base in node.bases)
    ours = {"PinproofError"}
    while more := {name for name, above in bases.items() if above & ours} - ours:
        ours |= more
    wanted = {name for name in ours - {"PinproofError"} if not name.startswith("_")}
    assert headings("errors.md", 2) == wanted | {"Oddities", "What was typed"}
    assert {each.__name__ for each in errors.kinds()} == wanted


def test_every_fixed_word_of_a_log_fault_stands_there() -> None:
    """Its `kind` is what programs look at."""
    text = committed("errors.md")
    words = {way for call in sentences.calls() if call.name == "LogFault" and len(call.arguments) > 1
             for way in sentences.ways(call.arguments[1], call.around)}  # fmt: skip
    assert len(words) > 10
    assert not [word for word in words if f"`{word}`" not in text and word not in text]


def test_every_public_name_and_no_other() -> None:
    """The library page has a heading for each."""
    assert headings("library.md", 3) == set(PUBLIC)


def test_sentences_are_read_from_the_source() -> None:
    """Gaps, both ways of a choice, names assigned before, and what was added to them."""
    source = """
def f(truck, hot):
    text = f"run {truck}: no room."
    if hot:
        text += " It is hot."
    other = "first one"
    other = "second one"
    raise Fault(text, "is warm" if hot else "is cold", other)
"""
    tree = ast.parse(source)
    (call,) = [each for each in sentences._calls(tree, "m", (tree,)) if each.name == "Fault"]
    told = [sentences.ways(each, call.around) for each in call.arguments]
    assert told[0] == ["run …: no room. It is hot.", "run …: no room."]
    assert told[1] == ["is warm", "is cold"]
    assert told[2] == ["second one"]


def patterns(kind: str) -> list[re.Pattern[str]]:
    """The sentences of one kind of error on its page; "…" stands for anything."""
    rows = re.findall(
        r"^\| (.+) \|$", committed("errors.md").partition(f"\n## {kind}\n")[2].partition("\n## ")[0], re.M
    )
    pieces = [piece for row in rows for piece in re.split(r"<br>| · | — or: ", row.replace("\\|", "|"))]
    return [re.compile(re.escape(piece.strip(" …")).replace("…", ".*"), re.S) for piece in pieces if len(piece) > 12]


@pytest.mark.parametrize("name", ["heron", "dunlin", "sandpiper"])
def test_what_a_faulty_file_is_told_stands_on_the_page(name: str) -> None:
    """Entries left out, words and numbers made wrong: every sentence that is really said has its row."""
    known = patterns("DesignFault") + patterns("QuantityFault")
    lines = example_path(name).read_text(encoding="utf-8").split("\n")
    said: set[str] = set()
    for at in range(0, len(lines), 5):
        if "=" not in lines[at] or lines[at].startswith("#"):
            continue
        wrong = (
            lines[at].replace("=", "= 5 #", 1),
            re.sub(r'"[^"]*"', '"zz"', lines[at]),
            lines[at].replace("=", "x =", 1),
        )
        for new in ([], *([each] for each in wrong)):
            try:
                loads("\n".join(lines[:at] + new + lines[at + 1 :]))
            except DesignFault as fault:
                said |= {each.message for each in fault.faults}
    assert len(said) >= 10
    assert not [message for message in sorted(said) if not any(each.search(message) for each in known)]
