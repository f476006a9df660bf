"""Classes, looks and readings as a tired person reads them at night.

Answers: what is "branch lever_up high" called, what does one do about it, how is a look done.
Units:   ohms, volts.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pinproof.design.model import Line
from pinproof.design.words import hanging_return, parameter
from pinproof.faults.words import node_words
from pinproof.find.hypotheses import NOT_LISTED, Hypothesis
from pinproof.find.likelihood import Seen
from pinproof.find.looks import Look
from pinproof.quantities import format_value

OHM_WORDS = {
    "ohms": "ohms, pin to {source}",
    "chassis": "ohms, pin to chassis",
    "plus": "ohms, pin to the lifted battery plus lead",
    "wire": "ohms of the coded wire by itself, end to end",
    "source": "ohms of the {source_wire} by itself, end to end",
    "without": "ohms, pin to {source}, station {station} unplugged",
}
CAUTION = (
    "Wheels chocked, brake on, lever in park, nobody under the truck. Ohms only with the battery off and the "
    "controller unplugged; fused leads on a live pin."
)
SYMPTOM_WORDS = {
    "water": ("Water", "It began after rain, a river or a wash."),
    "steering": ("Steering", "It changes with the steering wheel."),
    "loads": ("Loads", "It changes with lamps, fans, pumps or the winch."),
    "intermittent": ("Comes and goes", "Sometimes all is well."),
    "shifts-by-itself": ("Shifts by itself", "It shifted with nobody pressing."),
    "never-worked": ("Never worked", "It has not worked since it was built."),
}
ODDS = ((0.98, "all but sure"), (0.9, "very likely"), (0.5, "likely"), (0.2, "may well be"), (0.05, "possible"),
        (0.0, "hardly"))  # fmt: skip
FIND_OUT_ELSEWHERE = ("setting", "line sound", NOT_LISTED, "controller pin")  # classes that no mechanism explains
FUSE = (
    "Measure the fuse, out of its holder: next to nothing, or it is blown. Blown: find what touches before one of the "
    "same size goes in. Good: key on, volts at both sides of the holder; then the feed wire and its terminals."
)
FUSE_OUT = "Take the feed's fuse out and measure it: blown is the cause."
AFTER = (
    "After the repair read again what was wrong, press every switch and compare with the card. If it is still wrong, "
    "it was not this: a fault that is not on the list can read the same. Take the new readings and go on."
)
_CHANGED = "Write down every reading; look for two faults at once and for anything that was changed."
NOT_ON_IT = {
    "return": "Key on, fans and lamps on: read the volts from the switches' return to the controller's ground. They "
    f"should be near 0 V; else it is the ground. {_CHANGED}",
    "feed": f"Key on: volts at both sides of the feed's fuse, near the battery's. {_CHANGED}",
}
CANNOT_TELL = "No look that is left would tell these apart. What each needs:"


def class_words(hypotheses: Sequence[Hypothesis], name: str) -> str:
    """What is wrong and where, as a sentence without its stop."""
    each = next((h for h in hypotheses if h.name == name), None)
    if each is None or each.how in ("sound", "unlisted", "setting", "pin open", "pin leak"):
        return {
            "line sound": "nothing is wrong on this line",
            NOT_LISTED: "something that is not on the list",
            "setting": "the wiring is good; the controller is set up wrongly (windows, lever code) or its pull is off",
            "controller pin": "the pin inside the controller is damaged",
        }[name]
    fault = each.change.faults[0]
    contact = _contact(fault.site)
    if fault.kind in ("chafed-to-ground", "chafed-to-supply"):
        to = "ground" if fault.kind == "chafed-to-ground" else "battery plus"
        where = "coded wire or pin" if name.startswith("pin or far") else node_words(fault.nodes[0])
        return f"{where} touches or leaks to {to}"
    if fault.kind == "bridged":
        return f"{node_words(fault.nodes[0])} and {node_words(fault.nodes[1])} touch or leak to each other"
    if fault.kind == "swapped":
        return f"{contact} and {_contact(fault.detail)} are swapped"
    if fault.kind == "stuck-closed":
        return f"{contact} is stuck closed"
    if fault.kind == "wrong-throw":
        return f"{contact} is wired to the wrong throw"
    if fault.kind == "unplugged":
        return f"station {_station(fault.site)}: its plug is off, or a wire that its switches share is open"
    if name == "wire high":
        return "the coded wire is open or resistive"
    if name == "source high":
        fed = any(one.cause == "supply or fuse" for one in each.mechanisms)
        return f"the source wire is open or resistive{', or its fuse is blown' if fed else ''}"
    if name.startswith("branch "):
        many = "open or too many ohms" if name.endswith(" high") else "too few ohms"
        return f"{contact}, its resistor or its wires: {many}"
    return f"{parameter(fault.site)}: {'open or too many ohms' if name.endswith(' high') else 'too few ohms'}"


def repair_words(hypotheses: Sequence[Hypothesis], name: str, line: Line) -> str:
    """What to do about a class."""
    each = next((h for h in hypotheses if h.name == name), None)
    if name == "setting":
        return (
            "Compare the windows and the lever code in the controller with the design, in its own unit; then measure "
            "the pull inside it."
        )
    if name == "controller pin":
        return (f"{FUSE} Only then: unplug" if line.is_fused else "Unplug") + (
            " the controller and measure the pin itself with its supply on; use its spare input if it has one."
        )
    if name == "line sound":
        return "Look at the lever code, the driver's hand and the gearbox; drive with the log running."
    if name == NOT_LISTED or each is None:
        return NOT_ON_IT["feed"] if line.is_fused else NOT_ON_IT["return"] if line.source_side == "return" else _CHANGED
    fault = each.change.faults[0]
    contact = _contact(fault.site)
    if fault.kind in ("chafed-to-ground", "chafed-to-supply"):
        return "Follow that wire by hand, clamps and bends first; look for water in its plugs; dry, re-route, sleeve."
    if fault.kind == "bridged":
        return "Open the plug the two share: water, a stray strand; then the run where they lie side by side."
    if fault.kind == "swapped":
        return "Swap the two wires back in their cavities; check the labels at both ends."
    if fault.kind == "stuck-closed" and each.rests_closed:
        return (
            f"Unplug {contact}'s switch and read again. Right now: free or replace the switch; do not leave it "
            "unplugged: open, it reads as if it were operated. Still wrong: its wires touch."
        )
    if fault.kind == "stuck-closed":
        return (
            f"Unplug {contact}'s switch and read again. Right now: free or replace the switch; until then the others "
            "go on working if the card says so. Still wrong: its wires touch."
        )
    if fault.kind == "unplugged":
        return (
            f"Push the plug of station {_station(fault.site)} home and tug each wire; then measure the cord or wires "
            "that its switches share, end to end, while somebody turns and pulls them."
        )
    if fault.kind == "wrong-throw":
        return f"Move the wire of {contact} to the other throw."
    if name == "wire high":
        return "Look at the terminals at both ends of the coded wire: seated, crimped, clean; then bends and clamps."
    if name == "source high":
        if line.is_fused:
            return FUSE
        bolted = hanging_return(line) or "where it is bolted"
        first = "the feed wire" if line.source_side == "feed" else f"the return wire and {bolted}"
        return f"Look at {first}, then the terminals at both ends."
    if any(one.kind == "wire" and fault.site.startswith(f"{one.path}.") for one in line.elements):
        return "Look at the terminals at both ends of that wire: seated, crimped, clean; then bends and clamps."
    if name.endswith(" low"):
        return "Read the bands of that resistor and measure it with one leg free; fit the one the card names."
    if name.startswith("branch "):
        when = "at rest, as it opens while operated" if each.rests_closed else "while pressing"
        return f"Unplug {contact}'s switch, measure across it {when}; swap the switch with its resistor."
    return "Measure that resistor with one leg free; fit the one the card names."


def _contact(path: str) -> str:
    return path.removeprefix("contact.").removesuffix(".resistor")


def fuse_words(look: Look, line: Line) -> str:
    """What to do with the fuse in the hand before the first ohms, "" where the line has none."""
    return FUSE_OUT if look.is_ohms and line.is_fused else ""


def _station(path: str) -> str:
    return path.removeprefix("station.")


def situation_words(look: Look) -> str:
    """What the hand does."""
    if look.kind in ("wire", "source"):
        return ""
    return " + ".join(look.situation.operated) or "nothing pressed"


def look_words(look: Look, line: Line) -> str:
    """A look as an instruction."""
    hand = situation_words(look)
    if look.kind == "meaning":
        return f"what the controller reports with {hand}"
    if look.kind == "volts":
        return f"volts at the pin (back-probe) and at the battery, with {hand}"
    text = OHM_WORDS[look.kind].format(
        source=source_words(line), station=look.station,
        source_wire="return wire" if line.source_side == "return"
        else "feed wire, fuse in," if line.is_fused else "feed wire",
    )  # fmt: skip
    if look.kind not in ("wire", "source") and any("ground" in each.between for each in line.elements):
        text += " (the controller's ground cavity joined to chassis)"
    if look.kind not in ("wire", "source") and hanging_return(line):
        text += f" ({hanging_return(line)}, where that return ends, joined to chassis)"
    return f"{text}, with {hand}" if hand and look.kind != "without" else text


def source_words(line: Line) -> str:
    """The source terminal at the unplugged plug."""
    if line.source_side == "return":
        return "the switches' return"
    return (
        "the load side of the taken-out fuse" if line.feed_from == "battery" else "the cavity that feeds the switches"
    )


def set_up_words(look: Look) -> str:
    """How the truck must stand for a look."""
    return {
        "meaning": "key on, engine off, controller plugged in",
        "volts": "key on, engine off, controller plugged in, probe from behind",
    }.get(look.kind, "battery negative off, wait until the controller sleeps, controller unplugged")


def reading_words(seen: Seen) -> str:
    """A reading as it was given."""
    if seen.meaning is not None:
        return seen.meaning
    if seen.ohm is not None:
        return ohm_words(seen.ohm)
    assert seen.pin_v is not None and seen.supply_v is not None
    return f"{format_value(seen.pin_v, 'voltage', digits=3)} at {format_value(seen.supply_v, 'voltage', digits=3)}"


def ohm_words(ohm: float) -> str:
    """Ohms, or OL."""
    return "OL" if math.isinf(ohm) else format_value(ohm, "resistance", digits=3)


def between_words(look: Look, low: float, high: float) -> str:
    """An expected range of readings."""
    if math.isnan(low):
        return "anything"
    if look.is_ohms:
        if math.isinf(low):
            return "OL"
        if math.isinf(high):
            return f"{ohm_words(low)} up to OL"
        first, last = ohm_words(low), ohm_words(high)
    else:
        first, last = (format_value(max(x, 0.0), "voltage", digits=3) for x in (low, high))
    number, _, unit = first.rpartition(" ")
    return first if first == last else f"{number} to {last}" if last.endswith(f" {unit}") else f"{first} to {last}"


def odds_words(p: float) -> str:
    """A probability as a word."""
    return next(word for least, word in ODDS if p >= least)


def percent(p: float) -> str:
    """A probability; never 0 % or 100 %, which nothing is."""
    if p >= 0.995:
        return "over 99 %"
    return "under 1 %" if p < 0.01 else f"{100.0 * p:.0f} %"
