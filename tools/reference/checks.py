"""docs/reference/checks.md: every check and finding by its fixed name, from the code that makes it."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pinproof.driveline.results import CHECKS as DRIVE_CHECKS
from pinproof.harness.sizing import ORDER as SIZE_RULES
from pinproof.inhibit import EFFECTS as START_EFFECTS
from pinproof.logs.checks import CHECKS as LOG_CHECKS
from pinproof.proof.checks import ASKS as PROOF_CHECKS
from tools.reference.mark import anchor, code, page, sentence, table
from tools.reference.sentences import GAP, Call, calls, is_sentence, ways

INTRO = (
    "Every check and finding has a fixed name, the same on the terminal, in JSON, on the pages and on paper. Verdicts "
    "are pass, fail, not shown and would hold if; what has none decides nothing.",
    f'Sentences stand as the program says them; "{GAP}" stands for what it puts in.',
)
CODED = {"refusal": (1, 3), "Refusal": (4, 3), "Finding": (0, 3), "InhibitFault": (0, 2)}
"""Callables that carry a fixed name: which argument is the name, which the first sentence."""


@dataclass
class Named:
    """One fixed name: what may be said under it, and whether it refuses or can fail."""

    name: str
    verdicts: set[str] = field(default_factory=set)
    says: list[str] = field(default_factory=list)
    cures: list[str] = field(default_factory=list)


def coded(rooms: Sequence[str]) -> tuple[dict[str, Named], dict[str, Named]]:
    """Refusals and findings of these rooms by name."""
    refused: dict[str, Named] = {}
    found: dict[str, Named] = {}
    for call in calls():
        if call.name not in CODED or call.module.split(".")[0] not in rooms:
            continue
        at, say = CODED[call.name]
        for name in names_of(call, at):
            one = (found if call.name == "Finding" else refused).setdefault(name, Named(name))
            add(one.says, _argument(call, say, "text"))
            if call.name == "Finding":
                one.verdicts |= {each for each in _argument(call, 1, "verdict") if not is_sentence(each)}
                add(one.cures, _argument(call, 4, "cure"))
    return dict(sorted(refused.items())), dict(sorted(found.items()))


def names_of(call: Call, at: int) -> list[str]:
    """The fixed names that a call can carry."""
    given = call.keywords.get("code", call.arguments[at] if len(call.arguments) > at else None)
    if isinstance(given, ast.Attribute) and given.attr == "code":  # a name handed on from the search for wires
        return [each for one in calls() if one.name == "NoWiring" for each in ways(one.arguments[0], one.around)] if (
            call.module.startswith("harness")
        ) else []  # fmt: skip
    found = ways(given, call.around)
    return [rule for name in found for rule in ([name.replace(GAP, each) for each in SIZE_RULES if each != "fuse"]
            if name == f"size-{GAP}" else [name]) if GAP not in rule]  # fmt: skip


def _argument(call: Call, at: int, word: str) -> list[str]:
    given = call.keywords.get(word, call.arguments[at] if len(call.arguments) > at else None)
    return ways(given, call.around)


def add(into: list[str], more: Iterable[str]) -> None:
    """Keep each sentence once."""
    into += [each for each in more if each not in into and each.strip(f" {GAP}.")]


def verdict_words(one: Named) -> str:
    """What a finding can do to the verdict."""
    return " or ".join(sorted(one.verdicts)) or "none: a note or a caution"


def _said(many: list[str]) -> str:
    return many[0] if len(many) == 1 else "One of: " + "<br>".join(many) if many else ""


def _asked(of: str, rows: dict[str, str], guide: str = "") -> str:
    shown = {name: f"[{code(name)}]({guide}#{name})" if guide else code(name) for name in rows}
    head = ["name", "what it asks"]
    return table(head, [[f"{anchor(of, name)}{shown[name]}", asks] for name, asks in rows.items()])


def page_text() -> str:
    """The whole page."""
    logs = {name: sentence(check.__doc__) for name, check in LOG_CHECKS.items()}
    refused, found = coded(("harness", "wiring"))
    start, _ = coded(("inhibit",))
    return page(
        "The checks and findings",
        *INTRO,
        "## Of a proof",
        "`pinproof prove`. What each proves, why it matters, the cure and the source: [the guide](../checks.md).",
        _asked("proof", PROOF_CHECKS, "../checks.md"),
        "## Of the driveline",
        "`pinproof gears`. How each is worked out: [the driveline](../driveline.md#checks).",
        _asked("drive", DRIVE_CHECKS),
        "## Of a log",
        "`pinproof log`. When each passes, fails or is not shown: [proving from a log](../logs.md#the-checks).",
        _asked("log", logs, "../logs.md"),
        "## Of the harness",
        "`pinproof harness`. Findings stand beside a harness that can be built; [the harness](../harness.md) tells the "
        "rules.",
        table(
            ["name", "verdict", "what is said", "cure"],
            [[f"{anchor('harness', one.name)}{code(one.name)}", verdict_words(one), _said(one.says), _said(one.cures)]
             for one in found.values()],
        ),
        "## A harness that is refused",
        "The harness cannot be built as the file says: nothing is written, exit code 2.",
        table(
            ["name", "what is said"],
            [[f"{anchor('harness', one.name)}{code(one.name)}", _said(one.says)] for one in refused.values()],
        ),
        "## Of the start inhibit",
        "`pinproof inhibit`. What a fault of the start circuit does, worst first: [the start inhibit]"
        "(../inhibit.md#effects-worst-first).",
        table(["name"], [[f"{anchor('effect', name)}{code(name)}"] for name in START_EFFECTS]),
        "## A start circuit that is refused",
        "It is not judged: exit code 2.",
        table(
            ["name", "what is said"],
            [[f"{anchor('start', one.name)}{code(one.name)}", _said(one.says)] for one in start.values()],
        ),
    )  # fmt: skip
