"""The first page: the designs of the folder, a new one, an example to try."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pinproof.errors import PinproofError
from pinproof.examples import NAMES, WIRED, companions, example_path
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter

EXAMPLES = {
    "sandpiper": "Lever and wheel on a pull-down line that is proven, with its driveline.",
    "heron": "A pull-up line that fails: the ground beside the lever is not the controller's.",
    "wagtail": "Two buttons on a ladder, with edges that nobody has measured yet.",
    "dunlin": "A whole small truck with its harness: wires, splices, fuses, relays.",
}


def result(ask: Ask) -> dict[str, Any]:
    """Every design of the folder with what can be said without a proof."""
    space = ask.site.workspace
    designs = []
    for name in space.names():
        try:
            truck = space.design(name).truck
        except PinproofError as fault:
            designs.append({"design": name, "title": name, "usable": False, "lines": [], "fault": str(fault)[:400]})
            continue
        proof = ask.site.work.proof_if_known(truck)
        designs.append(
            {
                "design": name, "title": truck.name or truck.id, "usable": True, "fault": "",
                "lines": [line.id for line in truck.lines], "verdict": proof.verdict if proof is not None else None,
            }
        )  # fmt: skip
    names = [each for each in dict.fromkeys((*NAMES, *WIRED)) if each in EXAMPLES]
    return {"folder": str(space.folder), "designs": designs, "examples": names, "other_files": space.others()}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The same for the template, with one sentence for each example."""
    taken = {each["design"] for each in found["designs"]}
    return {"found": found, "examples": [(each, EXAMPLES[each], each in taken) for each in found["examples"]]}


def _example(ask: Ask) -> Done:
    name = ask.text("name")
    if name not in EXAMPLES:
        raise Finding(404, f'There is no example "{name[:40]}".', f"There are {', '.join(EXAMPLES)}.", "name")
    text = example_path(name).read_text(encoding="utf-8")
    copy, number = name, 2
    while copy in ask.site.workspace.names():
        copy, number = f"{name}-{number}", number + 1
    design = ask.site.workspace.create(copy, text)
    for beside in companions(name):
        target = ask.site.workspace.folder / beside.name
        if not target.exists():
            target.write_bytes(beside.read_bytes())
    return Done({"design": copy, "hash": design.hash}, ask.site.address("chain", design=copy))


PAGE = Page(
    "workspace", "/", "All designs", "Which designs are in this folder, and how does one begin?", result,
    "workspace.html", context,
    actions=(
        Action(
            "example", "Copies an invented example into the folder.", _example,
            (Parameter("name", "Which example.", required=True, words=tuple(EXAMPLES)),),
        ),
    ),
    menu=False,
)  # fmt: skip
