"""The owner's own choices for single wires.

Answers: which wire does each `[[wire]]` table mean, and is its size on the list?
Units:   none.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.design.model import Truck
from pinproof.design.model_harness import WireChoice
from pinproof.harness.layout import Drawn
from pinproof.harness.stock import Size
from pinproof.wiring.nets import Net, Nets, Refusal, near, refusal


@dataclass(frozen=True)
class Choice:
    """What is fixed for one wire; `size` is a number in the list of sizes."""

    path: str
    size: int | None
    colour: str | None


def choices_of(
    truck: Truck, nets: Nets, drawn: Drawn, sizes: Sequence[Size]
) -> tuple[dict[int, Choice], list[Refusal]]:
    """Choices by wire, and what is wrong with them."""
    by_name = {net.name: net for net in nets.nets}
    names = [_names(nets, by_name[part.net]) for part in drawn.parts]
    found: dict[int, Choice] = {}
    faults: list[Refusal] = []
    for choice in truck.wire_choices:
        if choice.at.startswith("run."):
            continue
        hits = []
        for number, wire in enumerate(drawn.wires):
            net = by_name[wire.net]
            if choice.net and choice.net != net.name and choice.net not in net.terminals:
                continue
            for end in (wire.a, wire.b):
                if end.side is None:
                    continue
                net_end = drawn.parts[wire.part].ends[end.side].net_end
                called = {end.label} | (set() if net_end is None else names[wire.part][net_end])
                if choice.at in called:
                    hits.append(number)
        if not hits:
            known = sorted({end.label for wire in drawn.wires for end in (wire.a, wire.b) if end.side is not None})
            text = f'{choice.path}.at: "{choice.at}" is no termination of a wire.{near(choice.at, known)}'
            faults.append(refusal(truck, "signal-unknown", choice.path, text))
            continue
        size = _size(truck, choice, sizes, faults)
        for number in hits:
            found[number] = Choice(choice.path, size, choice.colour)
    return found, faults


def _names(nets: Nets, net: Net) -> dict[int, set[str]]:
    """Terminals by the end at which they are reached."""
    found: dict[int, set[str]] = {number: set() for number in range(len(net.ends))}
    for terminal in net.terminals:
        for unit in nets.units_of.get(terminal, ()):
            if unit in net.reached:
                found[net.reached[unit]].add(terminal)
    return found


def _size(truck: Truck, choice: WireChoice, sizes: Sequence[Size], faults: list[Refusal]) -> int | None:
    if choice.cable is not None:
        for number, size in enumerate(sizes):
            if size.cable == choice.cable:
                if size.barred:
                    text = f"{choice.path}.cable: {choice.cable} is not used: {size.barred}."
                    faults.append(refusal(truck, "no-size", choice.path, text))
                return number
        return None
    if choice.size is None:
        return None
    for number, size in enumerate(sizes):
        if abs(size.area_m2 - choice.size.value) <= 0.005 * size.area_m2 and not size.barred:
            return number
    listed = ", ".join(size.text for size in sizes if not size.barred)
    text = f"{choice.path}.size: {choice.size.text} is not of the list of {listed}. Give a `[[cable]]`."
    faults.append(refusal(truck, "no-size", choice.path, text))
    return None
