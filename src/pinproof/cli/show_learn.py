"""What `pinproof learn` prints. No sums: what is printed is what a result holds."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from pinproof.cli.cmd_next import wrapped
from pinproof.cli.show import table
from pinproof.learn import (
    Edge,
    Found,
    LearnedWindow,
    Session,
    State,
    Step,
    VoltsStep,
    edges,
    is_off,
    progress,
    propose,
    unseen_gaps,
    windows_of,
)
from pinproof.learn.edges import Bracket
from pinproof.learn.session import at_one_supply
from pinproof.proof import as_json
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


def cautions() -> str:
    """What stands before everything."""
    out = ["Before you begin:"]
    for each in CAUTIONS:
        out += wrapped(each, "  - ")
    out += ["", *wrapped(PREPARE[0], "Prepare: "), ""]
    return "\n".join(out)


def volts_step_words(step: VoltsStep, least_ohm: float) -> str:
    """One instruction for volts."""
    if step.load_ohm == INF:
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
    return "\n".join(wrapped(f"{what}{told} ({step.why})", "  "))


def load_name(step: Step, state: State) -> str:
    """The load as it is put together."""
    if step.join in ("open", "short"):
        return {"open": "nothing", "short": "a wire"}[step.join]
    names = [state.stock[i].name for i in step.parts]
    if len(names) == 2:
        return f"{names[0]} and {names[1]} in {step.join} ({ohms(step.ohm)})"
    return names[0] if names else ohms(step.ohm)


def step_words(step: Step, state: State) -> str:
    """One instruction for the search."""
    if step.kind == "measure":
        return "\n".join(wrapped(f"{step.why} Answer with its ohms.", "  "))
    if step.kind == "pot":
        turn = "Answer with the new meaning and the ohms, or with end and the ohms if it never changed."
        again = "Answer with the meaning that shows and the ohms."
        return "\n".join(wrapped(f"{step.why} {again if step.turn == 2 else turn}", "  "))
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
    return "\n".join(wrapped(f"{key}{how}; wait 2 s. What does it show? {step.why}{extra}", "  "))


def source_words(session: Session, found: Found) -> str:
    """The source with its sum."""
    rows: list[str] = []
    source = found.source
    if source is not None:
        reach = f"U {ohms(2.0 * source.u_ohm)}, {ohms(source.low_ohm)} to {ohms(source.high_ohm)} at 95 %"
        behind = f"{ohms(source.ohm)} ({reach})" if source.ohm < INF else f"more than {ohms(source.least_ohm)}"
        rows += wrapped(
            f"The pin looks like {source.volts_v:.3f} V (U {2.0 * source.u_volts_v:.3f} V) behind {behind}.", "  "
        )
        together = at_one_supply(session.readings)
        loaded = [each for each in together if not each.is_open]
        opened = [each for each in together if each.is_open]
        if len(loaded) == 1 and len(opened) == 1 and loaded[0].feed_v is None:
            rows += wrapped(
                f"The sum: {ohms(loaded[0].load_ohm)} × ({opened[0].volts_v:g} V − {loaded[0].volts_v:g} V) ÷ "
                f"{loaded[0].volts_v:g} V.", "  ",
            )  # fmt: skip
        if source.straight is None:
            rows.append("  Two loads cannot show whether it is a plain resistor; a third does.")
        for each in source.off_line:
            if each.is_off:
                rows += wrapped(
                    f"Reading {each.index + 1} is {each.off_v:+.3f} V off the others (U {each.expanded_v:.3f} V).",
                    "  ",
                )
    if found.pulls is not None:
        rows += wrapped(f"{_pull_words(found)}.", "  ")
    if found.referred is not None:
        words = {
            "regulated": "does not follow the battery",
            "battery": "follows the battery",
            "both": "follows the battery in part",
            "not told apart": "cannot be told from these supplies",
        }
        rows.append(f"  With the supply: it {words[found.referred.kind]}.")
    if found.why_not and len(session.readings) > 1:
        rows += wrapped(f"Not written as a resistor: {found.why_not}", "  ")
    return "\n".join(rows)


def _pull_words(found: Found) -> str:
    pulls = found.pulls
    assert pulls is not None
    parts = []
    if pulls.up_ohm is not None:
        parts.append(f"pull-up {ohms(pulls.up_ohm)} ±{pulls.up_tolerance * 100.0:.2g} % to the {pulls.up_to}")
    elif pulls.least_up_ohm < INF:
        parts.append(f"no pull-up below {ohms(pulls.least_up_ohm)}")
    if pulls.down_ohm is not None:
        parts.append(f"pull-down {ohms(pulls.down_ohm)} ±{pulls.down_tolerance * 100.0:.2g} %")
    elif pulls.least_down_ohm < INF:
        parts.append(f"no pull-down below {ohms(pulls.least_down_ohm)}")
    return "Inside the controller: " + ", ".join(parts)


def _bracket(bracket: Bracket | None) -> str:
    if bracket is None:
        return "–"
    share = f"{percent(bracket.low_reading)} to {percent(bracket.high_reading)}"
    return f"{ohms(bracket.low_ohm)} to {ohms(bracket.high_ohm)} ({share})"


def edges_words(state: State) -> str:
    """Every edge, per direction; what is not known."""
    rows = []
    fresh = any(each.none is not None for each in edges(state))
    for each in edges(state):
        swing = each.hysteresis
        apart = f"{swing[0] * 100.0:.2g} to {swing[1] * 100.0:.2g} %" if swing else "–"
        ways = (each.falling, each.rising, each.none) if fresh else (each.falling, each.rising)
        rows.append((f"{each.below} | {each.above}", *(_bracket(way) for way in ways), apart))
    heads = ("edge", "falling", "rising", *(("key turned on there",) if fresh else ()), "hysteresis")
    out = [table(rows, heads)] if rows else []
    commons = [bracket.common for each in edges(state) for bracket in each.seen]
    if commons and max(commons) > 0.0:
        out += wrapped(
            f"In percent all may lie ±{max(commons) * 100.0:.2g} % off together, from the source; in ohms not.",
            "  ",
        )
    if any(each.falling is None or each.rising is None for each in edges(state) if each.none is None):
        out += wrapped("Where one direction was not looked at, windows keep 2 % of full scale for hysteresis.", "  ")
    if state.latching:
        out += wrapped(f"Held until the key is turned: {', '.join(dict.fromkeys(state.latching))}.", "  ")
    for part, ohm, _ in state.measured:
        if is_off(state, part):
            out += wrapped(f"The resistor {state.stock[part].name} measures {ohms(ohm)}: off its printed value.", "  ")
    seen = progress(state)
    if seen.missing:
        out += wrapped(f"Not seen yet: {', '.join(seen.missing)}.", "  ")
    wide = [each for each in unseen_gaps(state) if each.width > max(state.resolution, state.accepted)]
    if wide:
        out += wrapped(
            f"Not looked at, between equal readings: {len(wide)}, the widest {wide[0].width * 100.0:.2g} % of "
            'full scale. They stay unknown unless you take them as they look: --accept "'
            f'{_ceil_percent(wide[0].width)} %".', "  ",
        )  # fmt: skip
    return "\n".join(out)


def _ceil_percent(width: float) -> str:
    return f"{int(width * 100.0) + 1}"


def _joined(one: LearnedWindow, other: LearnedWindow) -> bool:
    """True if one window goes on in the next: the same meaning, only not looked at in between."""
    return one.meaning == other.meaning and one.high is not None and one.high == other.low


def window_words(found: tuple[LearnedWindow, ...]) -> str:
    """The windows as they would be written."""
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
    return table(rows, ("meaning", "surely from", "to", "may reach from", "to", "")) if rows else ""


def readings_csv(session: Session) -> str:
    """All readings as a table."""
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\n")
    sheet.writerow(
        ["kind", "load_ohm", "volts_v", "feed_v", "supply_v", "meaning", "direction", "key_cycle", "set_aside"]
    )
    for each in session.readings:
        load = "open" if each.is_open else f"{each.load_ohm:g}"
        sheet.writerow(["volts", load, each.volts_v, _blank(each.feed_v), _blank(each.supply_v), "", "", "", ""])
    state = session.search
    for visit in state.visits:
        ohm = state.bounds(visit)[1]
        load = "open" if ohm == INF else f"{ohm:.6g}"
        kind = "pot" if visit.join == "pot" else "meaning"
        sheet.writerow([kind, load, "", "", "", visit.meaning, visit.direction, visit.key_cycle, visit.aside])
    return out.getvalue()


def _blank(value: float | None) -> Any:
    return "" if value is None else value


def plain(session: Session, found: Found, file: str, done: bool) -> dict[str, Any]:
    """Everything as JSON values."""
    state = session.search
    step = propose(state)
    return {
        "file": file,
        "line": session.line,
        "learned": done,
        "source": as_json(found.source),
        "pulls": as_json(found.pulls),
        "referral": as_json(found.referred),
        "strobed": found.strobed,
        "least_load_ohm": found.least_ohm,
        "why_not": found.why_not,
        "edges": [_edge(each) for each in edges(state)],
        "windows": as_json(windows_of(state)),
        "progress": as_json(progress(state)),
        "latching": list(state.latching),
        "next": as_json(step),
        "told": session.told,
    }


def _edge(edge: Edge) -> dict[str, Any]:
    return {**as_json(edge), "hysteresis": as_json(edge.hysteresis)}


def diff_words(before: str, after: str) -> Iterator[str]:
    """The lines that change."""
    import difflib

    for line in difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=1):
        if not line.startswith(("---", "+++")):
            yield f"  {line}"
