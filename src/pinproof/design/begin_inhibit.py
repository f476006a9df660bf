"""The tables of a start inhibit drafted for a design file that has none, from what the file says.

Answers: which relay, lever, switches and positions would be asked for; where are their supply and ground?
Touches: nothing.
Beside:  `begin_draft` writes the lines, `begin_harness` has what power comes from. docs/inhibit.md tells what is
         proven.
"""

from __future__ import annotations

import itertools

from pinproof.design.begin_draft import ASK, Draft
from pinproof.design.begin_harness import draft_contact, draft_crank, draft_key, draft_places, draft_power
from pinproof.design.model import Device, Truck

USUAL = ("P", "R", "N", "D")
BEFORE_TESTS = (
    "Before any test: wheels chocked, brake held, driven wheels off the ground, fuel or ignition dead, nobody under or "
    "before the truck."
)
MAY = {"p": "P", "park": "P", "n": "N", "neutral": "N"}


def with_inhibit_draft(text: str, file: str = "<text>") -> str:
    """The text of a design file with a draft of its start inhibit.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has an [inhibit], or a draft of one, already.
    """
    draft = Draft(text, file, "inhibit")
    draft.say(
        "The start inhibit, drafted from what this file says: where the engine may be cranked, and by which circuit. "
        'Replace each "?", change what is different in your truck, and take away the # at the beginning of each line '
        "that you use; lines that begin like this one are words. Then: pinproof inhibit FILE. docs/inhibit.md tells "
        "what is proven. A design aid: the event's rules and the law of the road decide where it may crank.",
        BEFORE_TESTS,
    )
    draft_crank(draft)
    power = draft_power(draft)
    draft_places(draft, power)
    lever, positions = _lever(draft)
    draft_key(draft, power)
    start = draft.free("switch", "key_start")
    if draft.entry("switch", start):
        draft.put("device", "key")
        draft.put("action", "momentary")
        draft_contact(draft)
        draft.put("positions", ["start"])
    switch = draft.free("switch", "park_neutral")
    permitted = [each for each in positions if each.lower() in MAY] or [ASK]
    if draft.entry("switch", switch):
        draft.put("device", lever, "the switch that closes only where it may crank")
        draft_contact(draft, "50 mohm")
        draft.put("positions", permitted, "detents in which it conducts: ohms across it in each")
        draft.put("mid", {f"{one}|{other}": ASK for one, other in itertools.pairwise(positions)},
                  '"open", "closed" or "either" between two detents: a slow sweep with a meter')  # fmt: skip
    feed = draft.free("feed", "start_feed")
    if draft.entry("feed", feed):
        draft.put("from", power.source)
        draft.put("place", power.place)
        draft.put("fuse", "to choose")
        draft.put("live", ["run", "crank"])
    coil = _relay(draft, feed, power.ground, power.place, [start, switch])
    draft.head("inhibit")
    draft.put("coil", coil, "the last relay before the starter motor")
    draft.put("lever", lever, "the device whose position decides")
    draft.put("permitted", permitted, "where it may crank: your event's rules")
    draft.put("start", [start], "every key or button that asks for it")
    return draft.done()


def lever_of(truck: Truck) -> tuple[int, Device] | None:
    """The device that is most likely the selector: named so, else with positions, else with a line's enable contact."""
    many = list(enumerate(truck.devices))
    enables = {line.enable for line in truck.lines}
    holds = {each.device for each in truck.contacts if each.id in enables}
    for test in (
        lambda one: any(word in f"{one.id} {one.name}".lower() for word in ("lever", "selector", "shifter")),
        lambda one: bool(one.positions),
        lambda one: one.id in holds,
    ):
        for number, each in many:
            if test(each):
                return number, each
    return None


def _lever(draft: Draft) -> tuple[str, tuple[str, ...]]:
    """The lever and its positions; the usual ones where the file has none."""
    truck = draft.truck
    told = (
        () if truck.drive is None or truck.drive.log is None else tuple(detent for detent, _ in truck.drive.log.lever)
    )
    usual = told if len(told) >= 3 else USUAL
    found = lever_of(truck)
    if found is None:
        ident = draft.free("device", "selector")
        if draft.entry("device", ident):
            draft.put("place", ASK, "where the lever is")
            draft.put("positions", list(usual), "its detents, in order of travel")
        return ident, usual
    number, device = found
    if device.positions:
        return device.id, device.positions
    draft.into(("device", number), "positions", list(usual), "its detents, in order of travel: correct them")
    return device.id, usual


def _relay(draft: Draft, feed: str, ground: str, place: str, chain: list[str]) -> str:
    coil = draft.free("relay", "start_relay")
    if not draft.entry("relay", coil):
        return coil
    draft.put("place", place, "where the start relay is")
    draft.put("feed", feed)
    draft.put("ground", ground)
    draft.say(
        "On the way from the fuse to the coil, in order. If your park and neutral switch sits between coil and ground, "
        'write high_side = ["key_start"] and low_side = ["park_neutral"]: then a chafe to ground behind the coil lets '
        "it crank in gear."
    )
    draft.put("high_side", chain)
    draft.put("coil", {"low": ASK, "high": ASK}, "ohms of the coil, cold and hot: unplugged, meter across it")
    draft.put("pull_in", {"low": ASK, "high": ASK}, "volts at which it closes: its data sheet, or a bench supply")
    draft.put("drop_out", {"low": ASK, "high": ASK}, "volts at which it lets go; below pull_in")
    draft.put("duty", "intermittent")
    draft.put("drop", "critical")
    draft.say("The contact that turns the starter motor's solenoid:")
    draft.head_of("relay.contact")
    draft.put("id", "main")
    draft.put("kind", "normally open")
    draft.put("closed", {"low": "0 ohm", "high": "2 mohm", "basis": "assumed"})
    draft.put("open", {"value": "1 Mohm", "basis": "assumed"})
    return coil
