"""A design that somebody shared, taken over for another truck.

Answers: the same file with an id of its own, in which nothing counts as measured any more; which numbers that concerns;
         which of them to measure first on this truck.
Touches: nothing; the caller reads and writes the files.
How:     only the characters of the id, the name and each `basis = "measured"` change; comments, order and blanks stay.
         What the other owner has at hand ([parts]: his drawer, his assortment) is taken out.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Any

from pinproof.design import DesignFault, EditFault, loads
from pinproof.design.edit import with_values
from pinproof.design.load import BOM
from pinproof.design.locate import Path, locate
from pinproof.proof.results import RestsOn, TruckProof

MEASURED, BORROWED = "measured", "borrowed"
OWNERS_PARTS = ("drawer", "at_hand")


@dataclass(frozen=True)
class Adopted:
    """The new text, where it came from, and the design entries that were measured on the other truck."""

    text: str
    id: str
    from_id: str
    from_name: str
    borrowed: tuple[str, ...]  # design paths


@dataclass(frozen=True)
class Remeasure:
    """What to measure again: `first` in order of strain; `rest` are borrowed numbers that no verdict leans on soon."""

    first: tuple[RestsOn, ...]
    rest: tuple[str, ...]


def adopted(text: str, design_id: str, name: str = "", file: str = "<text>") -> Adopted:
    """The text of a shared design, made another truck's.

    Parameters
    ----------
    text : str
        A design file that loads.
    design_id : str
        Permanent id of the new truck.
    name : str
        Name of the new truck; empty keeps none of the old one's but says where it comes from.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        An entry stands where it cannot be changed by program.
    """
    truck = loads(text, file)
    mark, body = (BOM, text[1:]) if text.startswith(BOM) else ("", text)
    places = locate(body)
    raw = tomllib.loads(body)
    cuts: list[tuple[int, int]] = []
    found: list[str] = []
    for at in _measured(raw, ()):
        if at not in places.value:
            raise EditFault(file, _words(raw, at), "This entry cannot be changed by program; change it by hand.")
        cuts.append(places.value[at])
        found.append(_words(raw, at[:-1]))
    for start, end in sorted(cuts, reverse=True):
        body = f'{body[:start]}"{BORROWED}"{body[end:]}'
    called = name or f"copy of {truck.name or truck.id}"
    body = with_values(body, {"id": design_id, "name": called}, file)
    mine = tomllib.loads(body).get("parts", {})
    body = with_values(body, {f"parts.{key}": None for key in OWNERS_PARTS if key in mine}, file)
    eol = "\r\n" if "\r\n" in body else "\n"
    head = f"# Taken over from {truck.id}: what was measured there is borrowed here until it is measured again.{eol}"
    out = mark + head + body
    fresh = loads(out, file)
    if any(each.basis == MEASURED for each in fresh.entries().values()):
        raise EditFault(file, "", "Not every measured number could be made borrowed; change the file by hand.")
    return Adopted(out, design_id, truck.id, truck.name, tuple(found))


def remeasure(proof: TruckProof, taken: Adopted) -> Remeasure:
    """What to measure again on the new truck, the number whose error would overturn the verdict soonest first."""
    borrowed = set(taken.borrowed)
    first = tuple(each for each in proof.rests_on if each.basis == BORROWED)
    named = {each.parameter for each in first}
    rest = tuple(path for path in sorted(borrowed) if not any(_covers(path, each) for each in named))
    return Remeasure(first, rest)


def _covers(path: str, parameter: str) -> bool:
    if path.startswith("defaults."):
        return parameter.endswith("." + path.split(".")[1])
    return parameter == path or parameter.startswith(f"{path}.") or path.startswith(f"{parameter}.")


def _measured(node: Any, at: Path) -> list[Path]:
    """Places of every `basis = "measured"` in a document."""
    found: list[Path] = []
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "basis" and value == MEASURED:
                found.append((*at, key))
            else:
                found += _measured(value, (*at, key))
    elif isinstance(node, list):
        for number, value in enumerate(node):
            found += _measured(value, (*at, number))
    return found


def _words(raw: Any, at: Path) -> str:
    """A place in the document as a design path: entries of a list go by their id or meaning."""
    node, parts = raw, []
    for step in at:
        node = node[step]
        if isinstance(step, int):
            named = node if isinstance(node, dict) else {}
            parts.append(str(named.get("id", named.get("meaning", named.get("name", step + 1)))))
        else:
            parts.append(step)
    return ".".join(parts)


__all__ = ["Adopted", "DesignFault", "Remeasure", "adopted", "remeasure"]
