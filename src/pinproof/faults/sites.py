"""Every single fault of a line, at every site of the physical netlist.

Answers: what can go wrong, where, and is there a number of ohms to it?
Touches: nothing.
Beside:  docs/faults.md lists the kinds; `circuit` says what each does to the netlist.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

from pinproof.design.model import Contact, Line, Truck
from pinproof.faults.results import Fault
from pinproof.network import Edge, Netlist
from pinproof.wiring import Branch, LineView, contact_node
from pinproof.wiring.elements import Rail, pin_node

RESISTOR_KINDS = ("open", "shorted", "drifted", "decade-low", "decade-high")
CONTACT_KINDS = ("stuck-closed", "stuck-open", "worn", "wrong-throw")
WITH_SEVERITY = {"drifted", "worn", "resistive", "chafed-to-ground", "chafed-to-supply", "bridged"}


def whole_view(view: LineView) -> LineView:
    """The view with all branches of its line, those too that the sound pin cannot see: a bridge may reach them."""
    seen = {branch.id for branch in view.branches}
    more = [each for each in view.physical.branches if each.line == view.line.id and each.id not in seen]
    return rebuilt(view, (*view.branches, *more)) if more else view


def rebuilt(view: LineView, branches: tuple[Branch, ...]) -> LineView:
    """A view of these branches, with the rails that they end on."""
    ends = {node for each in branches for node in (each.a, each.b)}
    rails = [rail for rail in (*view.physical.rails, *_bare_chassis(view.line)) if rail.name in ends]
    used = [rail.name for rail in rails]
    nodes = [view.pin, *sorted(ends - {view.pin} - set(used)), *used]
    net = Netlist(nodes, used, [Edge(each.id, each.a, each.b) for each in branches])
    return replace(view, branches=branches, net=net, rail_gains=tuple(rail.gains for rail in rails))


def chassis(line: Line) -> str:
    """Rail of the chassis near the switches: the line's return, without the series diode that stands before it."""
    own = line.series_diode is not None and line.source_side == "return"
    return f"{'chassis' if own else 'return'}@{line.id}"


def _bare_chassis(line: Line) -> tuple[Rail, ...]:
    """The chassis as a rail of its own, where the line's return rail has the series diode in it."""
    if chassis(line) == f"return@{line.id}":
        return ()
    return (Rail(chassis(line), ((line.return_offset.path, 1.0),) if line.return_offset else ()),)


def sites(view: LineView) -> tuple[Fault, ...]:
    """Every single fault of the view's line; ids are design paths."""
    truck, line = view.truck, view.line
    found = [*_elements(view), *_chafed(truck, line), *_bridged(truck, line)]
    found += [*_swapped(truck, line), *_unplugged(truck, line)]
    return tuple(found)


def _fault(site: str, kind: str, detail: str = "", nodes: tuple[str, ...] = ()) -> Fault:
    return Fault(site, kind, detail, kind in WITH_SEVERITY, nodes)  # type: ignore[arg-type]


def _elements(view: LineView) -> Iterator[Fault]:
    for branch in view.branches:
        if branch.line != view.line.id:
            continue
        if branch.kind == "resistor":
            yield from (_fault(branch.id, kind) for kind in RESISTOR_KINDS)
        elif branch.kind == "contact":
            yield from (_fault(branch.id, kind) for kind in CONTACT_KINDS)
        elif branch.kind == "wire":
            yield from (_fault(branch.id, kind) for kind in ("open", "resistive"))


def _chafed(truck: Truck, line: Line) -> Iterator[Fault]:
    for word, path in chafe_nodes(truck, line).items():
        for kind in ("chafed-to-ground", "chafed-to-supply"):
            yield _fault(path, kind, word, (word,))


def _bridged(truck: Truck, line: Line) -> Iterator[Fault]:
    nodes = bridge_nodes(truck, line)
    for (one, here), (other, there) in itertools.combinations(nodes.items(), 2):
        yield _fault(here, "bridged", there, (one, other))


def _swapped(truck: Truck, line: Line) -> Iterator[Fault]:
    for one, other in itertools.combinations(truck.contacts_of(line), 2):
        if one.device != other.device or one.asks != other.asks:
            yield _fault(one.path, "swapped", other.path)


def _unplugged(truck: Truck, line: Line) -> Iterator[Fault]:
    stations = dict.fromkeys(each.station for each in truck.contacts_of(line) if each.station)
    for station in stations:
        yield _fault(f"station.{station}", "unplugged")


def inner_nodes(truck: Truck, line: Line) -> dict[str, str]:
    """Nodes between a contact and its resistor, and ``manual``, behind an enable that feeds taps: word to design path.

    Words of nodes with an id of the file's in them have a blank, which no id has: ``contact far`` is not ``far``.
    """
    out = {}
    for contact in truck.contacts_of(line) if line.form != "elements" else ():
        if _feeds(line, contact):
            out["manual"] = contact.path
        elif contact.resistor is not None:
            out[f"contact {contact.id}"] = contact.path
    return out


def _feeds(line: Line, contact: Contact) -> bool:
    return contact.id == line.enable and line.taps_fed == "through enable" and line.form != "ladder"


def chafe_nodes(truck: Truck, line: Line) -> dict[str, str]:
    """Nodes that can chafe: word to design path."""
    pin = {"pin": f"input.{line.input}"}
    if line.form == "elements":
        return pin | own_nodes(line)
    ends = {"far": f"line.{line.id}.wire", "source": f"line.{line.id}.source_wire"}
    return pin | ends | inner_nodes(truck, line)


def bridge_nodes(truck: Truck, line: Line) -> dict[str, str]:
    """Nodes of which each pair can be bridged: word to design path."""
    if line.form == "elements":
        return {"pin": f"input.{line.input}"} | own_nodes(line)
    return inner_nodes(truck, line)


def own_nodes(line: Line) -> dict[str, str]:
    """Nodes that a line of free elements names itself: word to a path made from it."""
    rails = {"ground", "return", "feed", "battery", "reference", "pin"}
    words = dict.fromkeys(node for element in line.elements for node in element.between if node not in rails)
    return {f"node {word}": f"line.{line.id}.node.{word}" for word in words}


def net_node(line: Line, word: str) -> str:
    """Name in the netlist of a node that is given in the words of `Fault.nodes`."""
    if word == "pin":
        return pin_node(line.input)
    head, _, name = word.rpartition(" ")
    return contact_node(line.id, name) if head == "contact" else f"{line.id}:{name}"


def other_site(fault: Fault) -> str:
    """The second design path of a bridge or a swap, or ""."""
    return fault.detail if fault.kind in ("bridged", "swapped") else ""
