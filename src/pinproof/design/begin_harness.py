"""The tables of a harness drafted for a design file that has none, from what the file says.

Answers: which places, runs, studs, plugs, feeds and loads would carry the lines, inputs and devices of this file?
Touches: nothing.
Beside:  `begin_draft` writes the lines. docs/harness.md tells what each key means.
Sources: fuse near the battery, ohms of a switch: common practice, no source, and so it says in the draft.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pinproof.design.begin_draft import ASK, Draft, joined, usual_units
from pinproof.design.locate import Path
from pinproof.design.model import Device, Input, Line, Resistor, Truck
from pinproof.design.starter import CONTROLLER, CONTROLLER_WORDS

TAPE = "along the way the wires will lie, with its bends: a string, then a tape"
LIVE = ["run", "crank"]
"""Key states of a drafted feed; `draft_crank` asks for the second where the file has the first only."""


@dataclass(frozen=True)
class Power:
    """Ids of what power comes from: a battery stud's or feed's, a ground stud's, and the place of fuses."""

    source: str
    ground: str
    place: str


def with_harness_draft(text: str, file: str = "<text>", units: str | None = None) -> str:
    """The text of a design file with a draft of its harness; `units` "us" or "metric", None as `usual_units` has it.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has a [harness], or a draft of one, already.
    """
    draft = Draft(text, file, "harness")
    truck = draft.truck
    draft.say(
        'The harness, drafted from what this file says. Replace each "?" by what you measure or read, change what is '
        "different in your truck, and take away the # at the beginning of each line that you use; lines that begin "
        "like this one are words. Lines of the same kind were put into tables above. Then: pinproof harness FILE. "
        "docs/harness.md tells what each key means."
    )
    draft.head("harness")
    draft.put(
        "sizes", "AWG" if (units or usual_units(truck)) == "us" else "mm2", 'wires by gauge: "AWG", by area: "mm2"'
    )
    draft.put("insulation", ASK, 'as printed on new cable, such as "125 °C"')
    pods = [_device(draft, number, device) for number, device in enumerate(truck.devices)]
    boxes = _controllers(draft)
    draft_crank(draft)
    power = draft_power(draft)
    _lines(draft, power)
    _key_and_box(draft, power, boxes)
    _cavities(draft, power)
    _runs(draft, [power.place, *boxes.values(), *pods], power)
    draft.say(
        "", "One [[load]] for each lamp, fan and display on this harness, each with the feed that it hangs on:",
        '   [[load]]', '   id = "tail_lamp"', '   place = "rear"', '   feed = "' + power.source + '"',
        '   ground = "' + power.ground + '"', '   volts = "12 V"', '   watts = "10 W"', '   drop = "not critical"',
    )  # fmt: skip
    return draft.done()


def _place(draft: Draft, wanted: str, about: str, *, inside: bool) -> str:
    """A place that the file has, or one of the draft."""
    if wanted not in draft.ids("place") and draft.entry("place", wanted):
        draft.put("inside", inside, f"{about}; in the cab: true, outside: false")
    return wanted


def draft_places(draft: Draft, power: Power) -> None:
    """Where controllers, devices and loose resistors sit, and what is in each cavity: without it no circuit is whole.

    For the inhibit's draft.
    """
    for number, device in enumerate(draft.truck.devices):
        _device(draft, number, device)
    _controllers(draft)
    for number, line in enumerate(draft.truck.lines):
        _fixed(draft, number, line)
    _cavities(draft, power)


def _device(draft: Draft, number: int, device: Device) -> str:
    if device.place is not None:
        return device.place
    place = draft.free("place", f"{device.id}_place")
    draft.into(("device", number), "place", place, "where it is; the place stands at the end of this file")
    return _place(draft, place, f'where "{device.id}" is', inside=True)


def _word(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


def _controllers(draft: Draft) -> dict[str, str]:
    """Plug of each controller and its place; inputs get plug and cavity where they have none."""
    truck = draft.truck
    groups = _grouped(truck)
    found: dict[str, str] = {}
    plugs = {plug.id: (number, plug) for number, plug in enumerate(truck.plugs)}
    for name, members in groups.items():
        known = next((each.plug for _, each in members if each.plug is not None), None)
        short = "box" if len(groups) == 1 else _word(name)[:24] or "box"
        plug = known or draft.free("plug", f"{short}_plug")
        at, stated = plugs.get(plug, (0, None))
        if stated is not None and stated.place is not None:
            place = stated.place
        else:
            place = _place(
                draft,
                draft.free("place", short),
                "where the controller is" if len(groups) == 1 else f'where "{name}" is',
                inside=True,
            )
            if stated is not None:
                draft.into(("plug", at), "place", place, "where this plug is")
        if stated is None and draft.entry("plug", plug):
            draft.put("place", place, "the controller's plug")
        for number, each in members:
            if not each.controller and name != each.id:
                draft.into(("input", number), "controller", name, CONTROLLER_WORDS)
            if each.plug is None:
                draft.into(("input", number), "plug", plug, "the controller's plug; it says where the pin is")
            if each.cavity is None:
                draft.into(("input", number), "cavity", ASK, "the number on the plug's face where this pin sits")
        found[plug] = place
    return found


def _grouped(truck: Truck) -> dict[str, list[tuple[int, Input]]]:
    """Inputs by controller. Those that name none are on the only one that is named, or together on one with a plain
    name, unless their plugs say otherwise."""
    named = {each.controller for each in truck.inputs} | {each.controller for each in truck.drivers}
    named.discard("")
    plain = next(iter(named)) if len(named) == 1 else CONTROLLER
    plugs = {each.plug for each in truck.inputs if each.plug is not None and (each.controller or plain) == plain}
    groups: dict[str, list[tuple[int, Input]]] = {}
    for number, each in enumerate(truck.inputs):
        name = each.controller or (plain if len(plugs) < 2 or each.plug is None else each.id)
        groups.setdefault(name, []).append((number, each))
    return groups


def draft_crank(draft: Draft) -> None:
    """The supply while the starter turns, which drafted feeds refer to; for the inhibit's draft too."""
    if draft.truck.supply.crank is None:
        draft.into(("supply",), "crank", {"low": ASK, "high": ASK, "basis": "measured"},
                   "volts at the battery while the starter turns: meter on min/max")  # fmt: skip


def draft_power(draft: Draft) -> Power:
    """Battery stud, ground stud and main feed, as far as the file has none; for the inhibit's draft too."""
    truck = draft.truck
    plus = next((each for each in truck.studs if each.rail == "battery"), None)
    frame = next((each for each in truck.studs if each.rail == "ground"), None)
    feed = next((each for each in truck.feeds if "crank" in each.live), None)
    battery = plus.place if plus is not None else _place(draft, "battery", "the battery's posts", inside=False)
    if plus is None and draft.entry("stud", "plus"):
        draft.put("place", battery)
        draft.put("rail", "battery", "battery plus, where the rings lie")
    key = next((each.place for each in truck.devices if each.id == "key" and each.place is not None), None)
    if key is not None:
        dash = key
    elif feed is not None or frame is not None:
        dash = feed.place if feed is not None else frame.place if frame is not None else ""
    else:
        dash = _place(draft, "dash", "fuses and key switch", inside=True)
    if frame is None and draft.entry("stud", "frame"):
        draft.put("place", dash)
        draft.put("rail", "ground", "where the grounds go to bare metal")
        draft.put("rings", 6, "most rings on it")
        low, high = _offset(truck)
        how = "millivolts of a meter" if low == ASK else "as the lines say"
        why = f"volts against the controller's ground, every load on: {how}"
        draft.put("offset", {"low": low, "high": high}, why)
    if feed is None and draft.entry("feed", "main"):
        draft.put("from", plus.id if plus is not None else "plus")
        draft.put("place", battery, "the fuse sits near the battery: what lies before it is not protected")
        draft.put("fuse", "to choose")
        draft.put("live", LIVE)
    return Power(feed.id if feed is not None else "main", frame.id if frame is not None else "frame", dash)


def _offset(truck: Truck) -> tuple[str, str]:
    stated = [line.return_offset for line in truck.lines if line.return_offset is not None]
    if not stated:
        return ASK, ASK
    return f"{min(each.low for each in stated):g} V", f"{max(each.high for each in stated):g} V"


def _lines(draft: Draft, power: Power) -> None:
    """Where the source side of each line goes, and where its fixed resistors sit."""
    truck = draft.truck
    for number, line in enumerate(truck.lines):
        at: Path = ("line", number)
        plug = truck.input_of(line).plug or "box_plug"
        grounds = [f"{one.id}.{each.id}" for one in truck.plugs for each in one.cavities
                   if one.id == plug and each.signal == "ground"]  # fmt: skip
        if line.source_side == "return" and line.returns_to is None:
            own = [*grounds, f"{plug}.2"][0]
            draft.into(at, "returns_to", power.ground, f'the ground stud; or the controller\'s own pin, as in "{own}"')
        if line.has_feed and line.feed is None and line.feed_from != "reference":
            feed = draft.free("feed", f"{line.id}_feed")
            draft.into(at, "feed", feed, "its own fuse; the feed stands at the end of this file")
            switched = _switched(draft, power)
            if draft.entry("feed", feed):
                draft.put("from", power.source)
                draft.put("place", power.place)
                draft.put("fuse", "to choose", "1 A or 2 A is plenty for coding resistors (common practice, no source)")
                if switched:
                    draft.put(
                        "through", switched, "off with the controller: a live feed drives current into a dead pin"
                    )
                draft.put("live", LIVE, "key states in which it has supply")
        _fixed(draft, number, line)


def _fixed(draft: Draft, number: int, line: Line) -> None:
    """Resistors that belong to no contact: where they sit."""
    devices = list(dict.fromkeys(each.device for each in draft.truck.contacts_of(line)))
    raw, at = draft.raw["line"][number], ("line", number)
    told: list[tuple[Path, dict[str, Any], str, Resistor | None]] = [
        (at, raw, key, getattr(line, key)) for key in ("idle_resistor", "top_resistor", "end_resistor")
    ]
    told += [
        ((*at, "element", index), raw["element"][index], "value", each.resistor)
        for index, each in enumerate(line.elements)
    ]
    for path, table, key, stated in told:
        if stated is None or stated.at:
            continue
        written = table[key] if isinstance(table[key], dict) else {"value": table[key]}
        draft.instead(path, "The harness asks where it sits", key, {**written, "at": devices[-1] if devices else ASK})


def _cavities(draft: Draft, power: Power) -> None:
    """Cavities whose word names no net: "ground" and "feed" get theirs, the rest is asked."""
    truck = draft.truck
    named = (truck.lines, truck.inputs, truck.feeds, truck.studs, truck.loads, truck.relays, truck.switches,
             truck.drivers)  # fmt: skip
    nets = {each.id for many in named for each in many} | {"", "empty"}
    for number, plug in enumerate(truck.plugs):
        for index, cavity in enumerate(plug.cavities):
            if cavity.signal.partition(".")[0] in nets:
                continue
            net = {"ground": power.ground, "feed": power.source}.get(cavity.signal, ASK)
            why = 'The harness asks for the net in it: a line, feed, stud, end of a load, or "empty"'
            draft.instead(("plug", number, "cavity", index), why, "signal", net)


def _switched(draft: Draft, power: Power) -> list[str]:
    """What a feed goes through that is live with the controller only: as its own feed does, else a way of the key.
    Nothing where the source is switched by that already."""
    truck = draft.truck
    feeds = {each.id: each for each in truck.feeds}
    before: list[str] = []
    at: str | None = power.source
    while at in feeds:
        before += feeds[at].through
        at = feeds.pop(at).from_
    plugs = {each.plug for each in truck.inputs if each.plug is not None}
    own = {each.feed for each in truck.loads if each.plug in plugs}
    stated = next((list(each.through) for each in truck.feeds if each.id in own and each.through), None)
    wanted = stated or [_key_way(draft, power)]
    return [each for each in wanted if each not in before]


def _key_way(draft: Draft, power: Power) -> str:
    """The switch of the key that conducts in on and start, drafted where the file has none."""
    on = "key_on"
    if on in [each.id for each in draft.truck.switches]:
        return on
    draft_key(draft, power)
    if draft.entry("switch", on):
        draft.put("device", "key")
        draft_contact(draft)
        draft.put("positions", ["on", "start"], "in which it conducts; without start the controller is dead in crank")
    return on


def _key_and_box(draft: Draft, power: Power, boxes: dict[str, str]) -> None:
    """The key, and the supply of each controller."""
    truck = draft.truck
    driven = {each.plug for each in truck.loads}
    missing = [plug for plug in boxes if plug not in driven]
    if not missing:
        return
    on = _key_way(draft, power)
    feed = draft.free("feed", "box_feed")
    if draft.entry("feed", feed):
        draft.put("from", power.source)
        draft.put("place", power.place)
        draft.put("fuse", "to choose")
        draft.put("through", [on])
        draft.put("live", LIVE)
    for number, plug in enumerate(missing):
        ident = draft.free("load", "box_supply" if len(missing) == 1 else f"box_supply_{number + 1}")
        if draft.entry("load", ident):
            draft.put("place", boxes[plug])
            draft.put("feed", feed)
            draft.put("ground", power.ground)
            draft.put("volts", "12 V")
            draft.put("amps", ASK, "what the controller draws at most, with its solenoids: its maker, or a clamp")
            draft.put("behaves", "current")
            draft.put("drop", "critical")


def draft_key(draft: Draft, power: Power) -> None:
    """The key switch."""
    if "key" not in [each.id for each in draft.truck.devices] and draft.entry("device", "key"):
        draft.put("place", power.place)
        draft.put("positions", ["off", "on", "start"], "in order of travel, as on your key")


def draft_contact(draft: Draft, worn: str = "20 mohm") -> None:
    """Ohms of a switch that carries loads."""
    draft.put("closed", {"low": "0 ohm", "high": worn, "basis": "assumed"}, "measure: volts across it on load ÷ amps")
    draft.put("open", {"value": "1 Mohm", "basis": "assumed"}, "measure after a hose-down")


def _runs(draft: Draft, wanted: Sequence[str], power: Power) -> None:
    """Runs that join what no run joins yet, all to the place of the fuses."""
    truck = draft.truck
    group: dict[str, str] = {}

    def root(place: str) -> str:
        while group.setdefault(place, place) != place:
            place = group[place]
        return place

    for number, run in enumerate(truck.runs):
        group[root(run.between[0])] = root(run.between[1])
        if run.length is None:
            draft.into(("run", number), "length", ASK, TAPE)
    studs = [each.place for each in truck.studs]
    drafted = [place for place in ("battery",) if ("place", place) in draft.drafted]
    used = list(dict.fromkeys([power.place, *drafted, *studs, *(each.place for each in truck.feeds), *wanted]))
    added = []
    for place in used[1:]:
        if root(place) == root(power.place):
            continue
        group[root(place)] = root(power.place)
        ident = draft.free("run", f"{power.place}_{place}")
        if draft.entry("run", ident):
            draft.put("between", [power.place, place])
            draft.put("length", ASK, TAPE)
            added.append(ident)
    if len(added) > 1:
        draft.say(
            "", f"The runs {joined(added)} all start at {power.place}. Where wires lie together write one run to the "
            "place where they part, and go on from there. Runs must not form a ring.",
        )  # fmt: skip
