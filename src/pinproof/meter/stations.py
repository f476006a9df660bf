"""The ordered list of what to measure on one truck.

Answers: which readings, in which order, between which two points, with what operated, what plugged and powered, and
         with which care.
Units:   minutes for time.
Touches: nothing.
Beside:  `expect` says between which values each should read.
Sources: order, limits of time and cautions: common practice, no source.

A station's id is line/kind/situation, the situation being its contacts in file order joined by "+", or "idle". It
stays the same while line, contacts and kind do, whatever else changes in the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import Line, Truck
from pinproof.design.words import hanging_return
from pinproof.meter.contract import CHASSIS, unplugged
from pinproof.proof.situations import Situation, requirement, situations_of
from pinproof.wiring import LineView, line_view, physical

Kind = Literal[
    "eyes", "tug", "leads", "known", "wire", "isolation", "sweep", "crimps", "ohms", "chassis", "rail", "fuse-out",
    "fuse-in", "supply", "feed", "stray", "drop", "volts", "reported", "hot", "seal",
]  # fmt: skip
MOST_SITUATIONS = 64  # of one line; beyond it only those that must read one thing, and the bound is said
TRUCK = "truck"  # stands in a station's id where it belongs to no line

STEPS = {
    1: "Eyes and tug",
    2: "The meter itself",
    3: "Every wire by itself",
    4: "Isolation",
    5: "Switches by hand, then ohms at the controller's plug",
    6: "Fuses and feeds, power off",
    7: "Power on, controller unplugged",
    8: "Controller plugged in",
    9: "Again hot, engine running, loads on",
    10: "Seal, label, sign",
}
SETUPS = {
    1: "Battery negative off.",
    2: "Meter on ohms, nothing connected.",
    3: "Battery negative off. Controller and switches unplugged; wait until the controller has gone to sleep.",
    4: "As before: controller and switches unplugged, nothing else plugged in either.",
    5: "Battery negative off. Controller unplugged, asleep. Switches plugged in.",
    6: "Battery negative off. Controller unplugged.",
    7: "Chocks, brake, nothing that can select a gear. Controller still unplugged. Battery negative on, key in run.",
    8: "Key off, plug the controller in, key in run, engine not running. Probe from the back of the plug.",
    9: "Engine running and warm, lamps, fans and pumps on. Wheels chocked and off the ground, brake held.",
    10: "Battery negative off.",
}
MINUTES_OF_SETUP = {1: 0.0, 2: 1.0, 3: 6.0, 4: 0.0, 5: 4.0, 6: 1.0, 7: 4.0, 8: 4.0, 9: 15.0, 10: 0.0}
NEVER_LIVE = "Never ohms on a live circuit or with the controller plugged in: it reads false and may harm the meter."
SWEEP = (
    "Slow sweep: move the switch slowly, watching the ohms. Note make and break point, throw, what is left beyond the "
    "make point, and whether the detent lies beyond it."
)
CRIMPS = (
    "Crimps: a lamp's current (fused) through the joint only, controller unplugged; one that drops more than its like "
    "is bad."
)
FUSED_LEADS = "Test lead fused at 1 A or less."
SWAP_LEADS = "Swap the leads once: a reading that changes with their direction goes through a semiconductor."


@dataclass(frozen=True)
class Station:
    """One thing to measure, look at or try.

    `quantity` is "resistance", "voltage", "meaning" (what the controller reports) or "note" (begin it with ok or bad).
    `probes` are nodes of the netlist, as `pinproof.wiring` names them, "chassis" standing for every return and the
    controller's ground while it is unplugged; empty where no netlist is probed.
    """

    id: str
    step: int
    kind: Kind
    quantity: Literal["resistance", "voltage", "meaning", "note"]
    line: str | None
    what: str
    probes: tuple[str, str] | tuple[()] = ()
    probe_words: tuple[str, str] | tuple[()] = ()
    operated: tuple[str, ...] = ()
    wanted: str = ""
    powered: bool = False
    controller_plugged: bool = False
    switches_plugged: bool = True
    cautions: tuple[str, ...] = ()
    minutes: float = 0.5
    element: str = ""  # design path of the one element that is measured, for "wire"


def situation_id(operated: Sequence[str]) -> str:
    """The situation as it stands in a station's id."""
    return "+".join(operated) or "idle"


def situation_words(operated: Sequence[str]) -> str:
    """The situation for a reader."""
    return " + ".join(operated) or "nothing operated"


def stations(truck: Truck) -> tuple[Station, ...]:
    """Everything to measure on a truck, in order.

    Notes
    -----
    Every situation of a line has its ohms and its volts, combinations and both stations included, up to
    `MOST_SITUATIONS` for a line; `cut_short` says where that bound bit.
    """
    whole = physical(truck)
    views = {line.id: line_view(truck, line, whole) for line in truck.lines}
    found: list[Station] = [*_looks(truck), *_meter()]
    for line in truck.lines:
        found += _wires(views[line.id])
    for line in truck.lines:
        found += _isolation(truck, views[line.id])
    for line in truck.lines:
        found += [*_switches(truck, line), *_ohms(truck, views[line.id])]
    for line in truck.lines:
        found += _fuses(line)
    found += [*_powered(truck, views), *_plugged(truck, views), *_hot(truck, views)]
    found.append(
        Station(f"{TRUCK}/seal/all", 10, "seal", "note", None,
                "Empty cavities plugged, locks closed, every wire labelled at both ends; sign and date.", minutes=10.0)
    )  # fmt: skip
    return tuple(found)


def cut_short(truck: Truck) -> tuple[str, ...]:
    """Lines of which not every combination is listed."""
    return tuple(line.id for line in truck.lines if len(situations_of(truck, line)) > MOST_SITUATIONS)


def pin_words(view: LineView) -> str:
    """The pin: plug and cavity where the file says them."""
    owner = view.input
    if owner.plug and owner.cavity:
        return f"cavity {owner.cavity} of plug {owner.plug}"
    if owner.cavity:
        return f"cavity {owner.cavity}"
    return f"the pin of input {owner.id}" + (f" in plug {owner.plug}" if owner.plug else "")


def source_words(line: Line) -> str:
    """The other probe of an ohms reading."""
    if line.source_side == "return" and line.returns_to:
        plug, dot, cavity = line.returns_to.partition(".")
        where = f"cavity {cavity} of plug {plug}" if dot else f"ground stud {plug}"
        return f"{where} (the switches' return)"
    if line.source_side == "return":
        return "the switches' return (chassis, or the sensor ground cavity of this plug if they return there)"
    return feed_words(line)


def needs_of(truck: Truck, line: Line, every: bool) -> Iterator[tuple[Situation, str, int]]:
    """Situations with what each should mean and the rule that says so; without `every`, not the combinations."""
    listed = situations_of(truck, line)
    for situation in listed:
        need = requirement(truck, line, situation, "run")
        if need.rule == 5 and (not every or len(listed) > MOST_SITUATIONS):
            continue
        yield situation, need.means or " or ".join(need.allowed), need.rule


def shares_feed(truck: Truck, line: Line) -> tuple[str, ...]:
    """Other things the file says may hang on the same feed: lines fed from the same kind of source."""
    return tuple(
        each.id
        for each in truck.lines
        if each.id != line.id and each.has_feed and each.feed_from == line.feed_from == "battery"
    )


def feed_caution(truck: Truck, line: Line) -> str:
    """Who else may be on the fuse."""
    others = shares_feed(truck, line)
    named = f" This file has {', '.join(others)} fed from the battery too." if others else ""
    return f"Unplug every other load on that fuse, or the meter reads through it.{named}"


def controller_ground_words(view: LineView) -> str:
    """What to join before ohms are read, where the coder has a wire to the controller's own ground; else ""."""
    if not any("ground" in (each.a, each.b) for each in view.branches if each.kind in _SOLID):
        return ""
    return (
        "A wire of this line ends at the controller's own ground and hangs free while the controller is unplugged: join"
        " its cavity to the switches' return, or to chassis, with a clip lead."
    )


def return_words(line: Line) -> str:
    """What to join before anything is read, where the switches' return ends in the controller's plug; else ""."""
    cavity = hanging_return(line)
    if not cavity:
        return ""
    return (
        f"The return of {line.id} ends in the controller and hangs free while that is unplugged: join {cavity} to "
        "chassis with a clip lead. Off with it before the controller is plugged in."
    )


def _looks(truck: Truck) -> Iterator[Station]:
    lines = ", ".join(line.id for line in truck.lines) or "no line"
    yield Station(f"{TRUCK}/eyes/all", 1, "eyes", "note", None,
                  f"Look along every wire of {lines}: chafe, cut strands, cavities against the drawing, seals, locks.",
                  minutes=5.0)  # fmt: skip
    yield Station(f"{TRUCK}/tug/all", 1, "tug", "note", None,
                  "Tug every terminal with about 20 N, the weight of 2 kg: none may move.", minutes=5.0)  # fmt: skip


def _meter() -> Iterator[Station]:
    yield Station(f"{TRUCK}/leads/all", 2, "leads", "resistance", None, "Hold both probe tips together.",
                  probe_words=("one tip", "the other tip"),
                  cautions=("Do this before and after the ohms.",))  # fmt: skip
    said = "a resistor you know, near the codes of this truck: ok if within its tolerance and the meter's error"
    yield Station(f"{TRUCK}/known/all", 2, "known", "note", None, said, minutes=1.0)


def _wires(view: LineView) -> Iterator[Station]:
    pin = pin_words(view)
    for branch in view.branches:
        if branch.kind != "wire" or branch.line != view.line.id:
            continue
        tail = branch.id.rpartition(".")[2]
        name = branch.id.split(".")[-2] if tail == "value" else tail
        called = {"wire": "coded wire", "source_wire": "switches' common wire"}.get(name, name)
        ends = {"wire": (pin, "the far end at the switches"), "source_wire": (source_words(view.line), "the switches")}
        words = ends.get(name, (_node(branch.a, view), _node(branch.b, view)))
        yield Station(
            f"{view.line.id}/wire/{name}", 3, "wire", "resistance", view.line.id, f"{called}, end to end",
            (branch.a, branch.b), words, switches_plugged=False, minutes=1.0, element=branch.id,
            cautions=("Zero the leads, or take off what they show held together. A beep proves nothing: read ohms.",),
        )  # fmt: skip


def _node(node: str, view: LineView) -> str:
    if node == view.pin:
        return pin_words(view)
    if node == "ground":
        return "the controller's ground cavity of this plug"
    bare = unplugged(node)
    return CHASSIS if bare == CHASSIS else node.partition("@")[0].partition(":")[2] or node.partition("@")[0]


def _isolation(truck: Truck, view: LineView) -> Iterator[Station]:
    pin, line = pin_words(view), view.line
    others = [("chassis", CHASSIS, "bare metal of the chassis"), ("supply", "battery", "the lifted positive lead")]
    others.append(("others", "", "every other cavity of the plug, one after the other"))
    for name, node, words in others:
        yield Station(
            f"{line.id}/isolation/{name}", 4, "isolation", "resistance", line.id,
            f"pin to {words}" + ("; note the least" if name == "others" else ""),
            (view.pin, node) if node else (), (pin, words), switches_plugged=False, minutes=2.0 if not node else 0.5,
            cautions=("An insulation tester only on the bare harness with nothing plugged in at any end.",),
        )  # fmt: skip


def _switches(truck: Truck, line: Line) -> Iterator[Station]:
    for contact in truck.contacts_of(line):
        yield Station(
            f"{line.id}/sweep/{contact.id}", 5, "sweep", "note", line.id,
            f"slow sweep of {contact.id}", operated=(contact.id,), minutes=1.5, cautions=(SWEEP,),
        )  # fmt: skip
    yield Station(
        f"{line.id}/crimps/all", 5, "crimps", "note", line.id,
        "lamp current through each new crimp: millivolts across it",
        minutes=5.0, cautions=(CRIMPS,),
    )  # fmt: skip


def _ohms(truck: Truck, view: LineView) -> Iterator[Station]:
    line, pin = view.line, pin_words(view)
    cautions = [NEVER_LIVE, *filter(None, (controller_ground_words(view), return_words(line)))]
    if line.has_feed and line.feed_from == "battery":
        cautions.append(feed_caution(truck, line))
        if line.source_side == "return":
            cautions.append("This line also has a feed: leave its fuse out, so that the feed hangs free.")
    source = unplugged(f"{line.source_side}@{line.id}")
    for number, (situation, wanted, _) in enumerate(needs_of(truck, line, True)):
        care = (*cautions, SWAP_LEADS, "Wiggle plugs and turn to full lock while watching.") if not number else ()
        yield Station(
            f"{line.id}/ohms/{situation_id(situation.operated)}", 5, "ohms", "resistance", line.id,
            situation_words(situation.operated), (view.pin, source), (pin, source_words(line)), situation.operated,
            wanted, cautions=care,
        )  # fmt: skip
    if source != CHASSIS:
        for situation, wanted, _ in needs_of(truck, line, False):
            yield Station(
                f"{line.id}/chassis/{situation_id(situation.operated)}", 5, "chassis", "resistance", line.id,
                f"to chassis, {situation_words(situation.operated)}", (view.pin, CHASSIS),
                (pin, "bare metal of the chassis"), situation.operated, wanted, minutes=0.25,
                cautions=("The other probe's terminal hangs free: nothing joined to the empty fuse holder.",)
                if not situation.operated else (),
            )  # fmt: skip
    for rail in view.net.rails:
        node = unplugged(rail)
        if node in (source, CHASSIS) or not any(rail in (b.a, b.b) for b in view.branches if b.kind in _SOLID):
            continue
        name = rail.partition("@")[0]
        words = {"feed": feed_words(line), "battery": "the lifted positive lead"}
        yield Station(
            f"{line.id}/rail/{name}", 5, "rail", "resistance", line.id, f"to {name}, nothing operated",
            (view.pin, node), (pin, words.get(name, f"the cavity of {name}")),
        )  # fmt: skip


_SOLID = ("resistor", "contact", "wire")


def feed_words(line: Line) -> str:
    """Where the feed of a line is reached with the controller unplugged."""
    if line.feed_from == "reference":
        return "the cavity that feeds the switches"
    return "the LOAD side of the empty fuse holder of this feed"


def _fuses(line: Line) -> Iterator[Station]:
    if not line.has_feed or line.feed_from != "battery":
        return
    for kind, said in (("fuse-out", "fuse out"), ("fuse-in", "fuse in")):
        yield Station(
            f"{line.id}/{kind}/feed", 6, kind, "resistance", line.id,  # type: ignore[arg-type]
            f"feed of the switches to the lifted positive lead, {said}",
            ("battery", f"feed@{line.id}"), ("the lifted positive lead", "the feed at the switches"),
            cautions=("Relay of this feed closed by hand, if it has one.",),
        )  # fmt: skip


SUPPLIES = {7: f"{TRUCK}/supply/unplugged", 8: f"{TRUCK}/supply/plugged", 9: f"{TRUCK}/supply/hot"}


def _supply(step: int, plugged: bool, what: str) -> Station:
    return Station(SUPPLIES[step], step, "supply", "voltage", None, what, ("battery", "ground"),
                   ("supply cavity", "ground cavity"), powered=True, controller_plugged=plugged,
                   cautions=(FUSED_LEADS,))  # fmt: skip


def _powered(truck: Truck, views: dict[str, LineView]) -> Iterator[Station]:
    yield _supply(7, False, "battery volts at the controller's supply cavity")
    for view in views.values():
        line, pin = view.line, pin_words(view)
        if line.has_feed and line.feed_from == "battery":
            yield Station(f"{line.id}/feed/run", 7, "feed", "voltage", line.id, "feed at the switches",
                          (f"feed@{line.id}", "ground"), ("the feed at the switches", "ground cavity"), powered=True,
                          cautions=(FUSED_LEADS,))  # fmt: skip
        for situation, wanted, _ in needs_of(truck, line, False):
            if situation.operated:
                continue
            yield Station(f"{line.id}/stray/idle", 7, "stray", "voltage", line.id,
                          "stray volts at the pin before it meets the controller, nothing operated",
                          (view.pin, "ground"), (pin, "ground cavity"), situation.operated, wanted, powered=True,
                          cautions=("Do not plug the controller in while this is wrong.",
                                    *filter(None, (return_words(line),))))  # fmt: skip
        if not hanging_return(line):
            yield from _drop(view, 7)


def _drop(view: LineView, step: int) -> Iterator[Station]:
    """A return that ends in the controller is joined to its ground only by the controller: read once that is in."""
    line = view.line
    where = hanging_return(line) or "the switches' return"
    if any(f"return@{line.id}" in (b.a, b.b) for b in view.branches if b.kind in _SOLID):
        yield Station(f"{line.id}/drop/run", step, "drop", "voltage", line.id,
                      "ground drop: switches' return against the controller's ground, loads on",
                      (f"return@{line.id}", "ground"), (where, "ground cavity"),
                      powered=True, controller_plugged=step > 7, minutes=2.0,
                      cautions=("Millivolts. Keep its sign: red on the return.",))  # fmt: skip


def _plugged(truck: Truck, views: dict[str, LineView]) -> Iterator[Station]:
    yield _supply(8, True, "battery volts at the controller, in the same minutes as the readings below")
    for view in views.values():
        line, pin = view.line, pin_words(view)
        for number, (situation, wanted, _) in enumerate(needs_of(truck, line, True)):
            need = requirement(truck, line, situation, "run")
            name, said = situation_id(situation.operated), situation_words(situation.operated)
            care = (FUSED_LEADS, "Back-probe only; never pierce a wire or spread a terminal.") if not number else ()
            yield Station(f"{line.id}/volts/{name}", 8, "volts", "voltage", line.id, said, (view.pin, "ground"),
                          (pin, "ground cavity"), situation.operated, wanted, True, True, cautions=care)  # fmt: skip
            if not line.free and set(line.meanings) - set(need.allowed):  # else no report could be wrong
                yield Station(f"{line.id}/reported/{name}", 8, "reported", "meaning", line.id,
                              f"what the controller reports: {said}", operated=situation.operated, wanted=wanted,
                              powered=True, controller_plugged=True, minutes=0.25)  # fmt: skip
        if hanging_return(line):
            yield from _drop(view, 8)


def _hot(truck: Truck, views: dict[str, LineView]) -> Iterator[Station]:
    yield _supply(9, True, "battery volts at the controller, in the same minutes as the readings below")
    for view in views.values():
        for number, (situation, wanted, _) in enumerate(needs_of(truck, view.line, False)):
            care = ("A second person at the brake. Hands and leads clear of belts, driveline and exhaust.",)
            yield Station(
                f"{view.line.id}/hot/{situation_id(situation.operated)}", 9, "hot", "voltage", view.line.id,
                f"hot: {situation_words(situation.operated)}", (view.pin, "ground"), (pin_words(view), "ground cavity"),
                situation.operated, wanted, True, True, cautions=care if not number else (),
            )  # fmt: skip
