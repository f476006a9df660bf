"""A learning session as a tired person reads it: cautions, one instruction at a time, what is known by now.

Answers: what is put on the pin now and what is read; what do source, edges and windows look like in words?
Units:   ohms, volts; shares of full scale in percent.
Touches: nothing. No sums: what is told is what a result holds.
"""

from __future__ import annotations

from pinproof.learn.edges import Bracket, edges, progress, unseen_gaps
from pinproof.learn.pulls import VoltsStep
from pinproof.learn.seen import is_off
from pinproof.learn.session import Found, Session, at_one_supply
from pinproof.learn.state import State, Step
from pinproof.learn.windows import LearnedWindow, as_stated
from pinproof.quantities import format_value

INF = float("inf")
CAUTIONS = (
    "Wheels chocked, brake on, lever in park, engine off, nobody in front of the truck.",
    "Never take the battery off a running engine (load dump). Battery minus off while you build the jig.",
    "Every test lead through a fuse of 1 A or less. Touch ground before you touch the pin (static).",
    "Never ground a pin before its volts were looked at with nothing on it: it may be a supply output.",
    "The controller maker's pin limits and the event's rules come first. Design aid, not approval.",
)
PREPARE = (
    "Unplug the coded wire at the controller. Bring a meter, resistors, clips, the fused lead, and whatever shows the "
    "controller's meaning (its screen, the dash, the shown lever position).",
)


def ohms(value: float) -> str:
    """A resistance in words."""
    return "open" if value == INF else "0 Ω" if value == 0.0 else format_value(value, "resistance", digits=4)


def percent(value: float) -> str:
    """A share of full scale."""
    return f"{value * 100.0:.2f} %"


def volts_text(step: VoltsStep, least_ohm: float) -> str:
    """One instruction for volts."""
    if step.at == "reference":
        what = (
            "Key on, the coded pin open as before. Read the volts at the controller's reference pin (its 5 V sensor "
            "supply) to the controller's own ground."
        )
    elif step.load_ohm == INF:
        what = "Key on, nothing on the pin. Read the volts from the pin to the controller's own ground."
    elif step.from_feed:
        what = (
            f"Feed the pin from a supply through the fused lead and {ohms(step.load_ohm)}. Read the volts before the "
            "resistor and at the pin, both. Answer with both, feed first."
        )
    else:
        what = (
            f"Put {ohms(step.load_ohm)} from the pin to the controller's own ground, key on. Read the volts at the pin."
        )
    told = f" Nothing below {ohms(least_ohm)} for now." if least_ohm > 0.0 and step.load_ohm < INF else ""
    return f"{what}{told} ({step.why})"


def load_name(step: Step, state: State) -> str:
    """The load as it is put together."""
    if step.join in ("open", "short"):
        return {"open": "nothing", "short": "a wire"}[step.join]
    names = [state.stock[i].name for i in step.parts]
    if len(names) == 2:
        return f"{names[0]} and {names[1]} in {step.join} ({ohms(step.ohm)})"
    return names[0] if names else ohms(step.ohm)


def step_text(step: Step, state: State) -> str:
    """One instruction for the search."""
    if step.kind == "measure":
        return f"{step.why} Answer with its ohms."
    if step.kind == "pot":
        turn = "Answer with the new meaning and the ohms, or with end and the ohms if it never changed."
        again = "Answer with the meaning that shows and the ohms."
        return f"{step.why} {again if step.turn == 2 else turn}"
    side = "ground" if state.side == "ground" else "the fused supply"
    name = load_name(step, state)
    put = "Leave the pin open" if step.join == "open" else f"Put {name} from the pin to {side}"
    if step.key_cycle and not step.via_ohm:
        how = f"Key off. {put}. Key on"
    elif step.via_ohm and step.join == "open":
        how = f"First {ohms(step.via_ohm[-1])} on the pin. Then take it off, the key as it is"
    elif len(step.via_ohm) > 1 or (step.via_ohm and step.via_ohm[0] != INF):
        start = ohms(step.via_ohm[-1])
        trick = (
            "put it on beside, then take the first off" if step.ohm < step.via_ohm[-1]
            else "put the rest in series behind a clip, then take the clip off"
        )  # fmt: skip
        how = f"First {start} on the pin. Then, without opening it, change to {name}: {trick}"
    else:
        how = put
    key = ""
    if step.key_cycle and step.via_ohm:
        on = "the pin open" if step.via_ohm[0] == INF else f"{ohms(step.via_ohm[0])} on the pin"
        key = f"Key off and on first, with {on}. "
    extra = " (Not strictly needed.)" if step.optional else ""
    asks = "" if step.why.startswith("What does it show") else "What does it show? "
    return f"{key}{how}; wait 2 s. {asks}{step.why}{extra}"


def source_sentences(session: Session, found: Found) -> list[str]:
    """The source with its sum, one sentence each."""
    told: list[str] = []
    source = found.source
    if source is not None:
        reach = f"U {ohms(2.0 * source.u_ohm)}, {ohms(source.low_ohm)} to {ohms(source.high_ohm)} at 95 %"
        behind = f"{ohms(source.ohm)} ({reach})" if source.ohm < INF else f"more than {ohms(source.least_ohm)}"
        told.append(f"The pin looks like {source.volts_v:.3f} V (U {2.0 * source.u_volts_v:.3f} V) behind {behind}.")
        together = at_one_supply(session.readings)
        loaded = [each for each in together if not each.is_open]
        opened = [each for each in together if each.is_open]
        if len(loaded) == 1 and len(opened) == 1 and loaded[0].feed_v is None:
            told.append(
                f"The sum: {ohms(loaded[0].load_ohm)} × ({opened[0].volts_v:g} V − {loaded[0].volts_v:g} V) ÷ "
                f"{loaded[0].volts_v:g} V."
            )
        if source.straight is None:
            told.append("Two loads cannot show whether it is a plain resistor; a third does.")
        for each in source.off_line:
            if each.is_off:
                told.append(
                    f"Reading {each.index + 1} is {each.off_v:+.3f} V off the others (U {each.expanded_v:.3f} V)."
                )
    if found.pulls is not None:
        told.append(f"{_pull_words(found)}.")
    if found.referred is not None:
        words = {
            "regulated": "does not follow the battery",
            "battery": "follows the battery",
            "both": "follows the battery in part",
            "not told apart": "cannot be told from these supplies",
        }
        told.append(f"With the supply: it {words[found.referred.kind]}.")
    if found.why_not and len(session.readings) > 1:
        plain = found.source is not None and found.source.is_resistor and not found.strobed
        told.append(found.why_not if plain else f"Not written as a resistor: {found.why_not}")
    return told


def _pull_words(found: Found) -> str:
    pulls = found.pulls
    assert pulls is not None
    parts = []
    if pulls.up_ohm is not None:
        parts.append(f"pull-up {_stated(pulls.up_ohm, pulls.up_tolerance)} to the {pulls.up_to}")
    elif pulls.least_up_ohm < INF:
        parts.append(f"no pull-up below {ohms(pulls.least_up_ohm)}")
    if pulls.down_ohm is not None:
        parts.append(f"pull-down {_stated(pulls.down_ohm, pulls.down_tolerance)}")
    elif pulls.least_down_ohm < INF:
        parts.append(f"no pull-down below {ohms(pulls.least_down_ohm)}")
    return "Inside the controller: " + ", ".join(parts)


def _stated(ohm: float, tolerance: float) -> str:
    told, off = as_stated(ohm, tolerance)
    return f"{ohms(told)} ±{format_value(off, 'ratio')}"


def bracket_words(bracket: Bracket | None) -> str:
    if bracket is None:
        return "–"
    share = f"{percent(bracket.low_reading)} to {percent(bracket.high_reading)}"
    return f"{ohms(bracket.low_ohm)} to {ohms(bracket.high_ohm)} ({share})"


def edge_rows(state: State) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Heads and rows of a table of every edge, per direction."""
    rows = []
    fresh = any(each.none is not None for each in edges(state))
    for each in edges(state):
        swing = each.hysteresis
        apart = f"{swing[0] * 100.0:.2g} to {swing[1] * 100.0:.2g} %" if swing else "–"
        ways = (each.falling, each.rising, each.none) if fresh else (each.falling, each.rising)
        rows.append((f"{each.below} | {each.above}", *(bracket_words(way) for way in ways), apart))
    heads = ("edge", "falling", "rising", *(("key turned on there",) if fresh else ()), "hysteresis")
    return heads, tuple(rows)


def edge_notes(state: State, how: str) -> list[str]:
    """What is shaky or not known of the edges; `how` with {} for the width says how unseen stretches are taken."""
    out: list[str] = []
    commons = [bracket.common for each in edges(state) for bracket in each.seen]
    if commons and max(commons) > 0.0:
        out.append(f"In percent all may lie ±{max(commons) * 100.0:.2g} % off together, from the source; in ohms not.")
    if any(each.falling is None or each.rising is None for each in edges(state) if each.none is None):
        out.append("Where one direction was not looked at, windows keep 2 % of full scale for hysteresis.")
    if state.latching:
        out.append(f"Held until the key is turned: {', '.join(dict.fromkeys(state.latching))}.")
    for part, ohm, _ in state.measured:
        if is_off(state, part):
            out.append(f"The resistor {state.stock[part].name} measures {ohms(ohm)}: off its printed value.")
    seen = progress(state)
    if seen.missing:
        out.append(f"Not seen yet: {', '.join(seen.missing)}.")
    wide = [each for each in unseen_gaps(state) if each.width > max(state.resolution, state.accepted)]
    if wide:
        taken = how.format(whole_percent(wide[0].width))
        out.append(
            f"Not looked at, between equal readings: {len(wide)}, the widest {wide[0].width * 100.0:.2g} % of "
            f"full scale. They stay unknown unless you take them as they look: {taken}."
        )
    return out


def whole_percent(width: float) -> str:
    """A share in whole percent, rounded up, as somebody types it."""
    return f"{int(width * 100.0) + 1} %"


def _joined(one: LearnedWindow, other: LearnedWindow) -> bool:
    """True if one window goes on in the next: the same meaning, only not looked at in between."""
    return one.meaning == other.meaning and one.high is not None and one.high == other.low


def window_rows(found: tuple[LearnedWindow, ...]) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Heads and rows of a table of the windows as they would be written."""
    rows = []
    for number, each in enumerate(found):
        if number and _joined(found[number - 1], each):
            continue
        last = number
        while last + 1 < len(found) and _joined(found[last], found[last + 1]):
            last += 1
        low, high = ("–", "–") if each.maybe or last > number else (ohms(x) for x in each.sure)
        said = ["fault"] if each.fault else []
        said += [f"{last - number + 1} pieces, not looked at in between"] if last > number else []
        rows.append((each.meaning, low, high, ohms(each.reach[0]), ohms(found[last].reach[1]), ", ".join(said)))
    return ("meaning", "surely from", "to", "may reach from", "to", ""), tuple(rows)


def progress_words(state: State) -> str:
    """How far the search is, in one sentence."""
    seen = progress(state)
    return (
        f"Readings: {seen.readings}. Edges seen: {seen.edges}, of these as narrow as wanted: {seen.resolved}; the "
        f"widest bracket {percent(seen.widest)}."
    )
