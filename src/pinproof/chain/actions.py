"""What to do next, from what the proof found: the three actions that bring most.

Answers: what to order today, what to find out first, with why, minutes, tools and what can hurt.
Touches: nothing.
Sources: minutes and delivery times are common practice, no source.

The order: parts that take days to come; then what keeps the proof from being made at all (pull, what the pin wants,
values); then what makes it fail; then the windows nobody has measured; then the weakest numbers, the one whose error
would overturn the verdict soonest first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pinproof.chain.measures import BARE_PIN, LIVE_OHMS, METER, Measure, link_of, measure_of
from pinproof.chain.outlook import (
    JUDGES_WORDS,
    Outlook,
    fed_through_enable,
    in_ohms,
    outlooks,
    own_pull,
    pull_is_unknown,
    what_goes_wrong,
)
from pinproof.choose.build import choosable
from pinproof.choose.drawer import Drawer
from pinproof.choose.pick import series_of
from pinproof.design.model import Input, Line, Truck
from pinproof.design.pull_words import pull_measurement_of
from pinproof.proof.checks.heat import bodies_w, body_sentence
from pinproof.proof.prove import prove_line
from pinproof.proof.results import LineProof, RestsOn, TruckProof, margin_percent
from pinproof.quantities import format_value
from pinproof.quantities.preferred import in_series
from pinproof.verdict import Verdict

MOST_ACTIONS = 3
FAR = 10.0
"""Past the edge by more half windows than this the number itself says nothing more."""
SAME_OHM = 1e-3
"""A drawer part this near (ratio) to a value is that value."""


@dataclass(frozen=True)
class Action:
    """One thing to do. `parameters` are the design paths it settles, `command` what to type, "" where nothing.

    `steps` tell how, where `what` alone does not; what is to be written into the file stands there as it is written.
    """

    what: str
    why: str
    minutes: int
    tools: tuple[str, ...] = ()
    caution: str = ""
    order_today: bool = False
    parameters: tuple[str, ...] = ()
    command: str = ""
    steps: tuple[str, ...] = ()


def next_actions(
    truck: Truck, proof: TruckProof, drawer: Drawer | None = None, unsafe: Sequence[Action] = ()
) -> tuple[Action, ...]:
    """The next actions of a truck, at most `MOST_ACTIONS`, the first one first.

    `unsafe`: what is to be mended beside the lines (start inhibit, driveline, harness), the worst first. It comes after
    what has to be ordered today.
    """
    found: list[Action] = []
    for action in _all(truck, proof, drawer, unsafe):
        if all(action.what != each.what for each in found):
            found.append(action)
    return tuple(found[:MOST_ACTIONS])


def _all(truck: Truck, proof: TruckProof, drawer: Drawer | None, unsafe: Sequence[Action]) -> Iterator[Action]:
    pairs = [(truck.line(each.line), each) for each in proof.lines]
    yield from _orders(truck, pairs, drawer)
    yield from unsafe
    seen = {line.id: outlooks(truck, line) for line, _ in pairs}
    for line, _ in pairs:
        yield from _pull(truck, line, seen[line.id])
        yield from _list_pull(truck, line)
    for line, each in pairs:
        yield from _feeding(truck, line, each, seen[line.id])
        yield from _judging(truck, line)
    for line, each in pairs:
        yield from _wanted(truck, line)
        yield from _to_choose(truck, line, each)
    for line, each in pairs:
        yield from _failing(truck, line, each)
    asked = tuple(f"line.{line.id}.window." for line, _ in pairs if line.free)  # by `_wanted`, with the same turns
    rests = [each for each in proof.rests_on if not each.parameter.startswith(asked)]
    for rest in rests:
        if link_of(rest.parameter) == "meaning" and rest.basis == "assumed":
            yield from _measure(truck, rest, rests)
            break
    for rest in rests:
        yield from _measure(truck, rest, rests)
    yield from _bench(proof)


# parts


def _orders(truck: Truck, pairs: Sequence[tuple[Line, LineProof]], drawer: Drawer | None) -> Iterator[Action]:
    needed: dict[float, int] = {}
    finest = 1.0
    paths: list[str] = []
    bodies: list[tuple[float, float | str]] = []
    settled, assumed = True, False
    for line, proof in pairs:
        settled = settled and proof.verdict.holds and not line.free
        assumed = assumed or bool(line.targets) or any(each.basis == "assumed" for each in line.windows)
        for each in choosable(truck, line):
            if each.basis == "measured":
                continue
            paths.append(each.path)
            if each.ohm is None:
                settled = False
            else:
                needed[each.ohm] = needed.get(each.ohm, 0) + 1
                finest = min(finest, each.tolerance)
                stated_w = {each.path: None if each.rated_power is None else each.rated_power.value}
                bodies.append((each.ohm, bodies_w([each.path], proof.findings, stated_w)[each.path]))
    if not paths:
        return
    days = "by post they take days (common practice, no source)"
    has_parts = truck.parts.at_hand or (drawer is not None and bool(drawer.parts))
    usual = format_value(min(finest, _parts_tolerance(truck)), "ratio")
    assortment = f"an assortment of {series_of(truck)} film resistors, {usual}, half watt"
    if not settled:
        if has_parts:
            return
        now = f" Of today's values: {_values(needed, 1)}. {body_sentence(bodies)}".rstrip() if needed else ""
        yield Action(
            f"Order today: {assortment}, 10 Ω to 1 MΩ, and a 10 kΩ potentiometer.",
            f"The values of {_count(len(paths), 'resistor')} can still change; {days}.{now}",
            10, order_today=True, parameters=tuple(paths),
        )  # fmt: skip
        return
    short = _not_in_drawer(needed, drawer)
    if truck.parts.at_hand:
        short = {ohm: count for ohm, count in short.items() if not in_series(truck.parts.series, ohm)}
    if short:
        body = body_sentence([each for each in bodies if each[0] in short])
        why = (
            f"The line holds with these values and nobody has measured the parts; {days}. One spare of each is counted."
        )
        also = ""
        if assumed and not has_parts:
            also = f". Also {assortment}"
            why += " The windows are assumed, so the values can still change."
        yield Action(
            f"Order today: {_values(short, 2)}, all of {format_value(finest, 'ratio')} or finer{also}. {body}".rstrip(),
            why,
            10,
            order_today=True,
            parameters=tuple(paths),
        )


def _parts_tolerance(truck: Truck) -> float:
    """Tolerance of parts that can be bought, as the file has it. [ratio]"""
    stated = truck.parts.tolerance or truck.defaults.tolerance
    return stated.value if stated is not None else 0.01


def _not_in_drawer(needed: dict[float, int], drawer: Drawer | None) -> dict[float, int]:
    stock = [(part.nominal_ohm, part.count) for part in drawer.parts] if drawer is not None else []
    short: dict[float, int] = {}
    for ohm, count in sorted(needed.items()):
        have = sum(amount for value, amount in stock if abs(value - ohm) <= SAME_OHM * ohm)
        if have < count:
            short[ohm] = count - have
    return short


def _values(needed: dict[float, int], spare: int) -> str:
    return ", ".join(
        f"{count + spare - 1} × {format_value(ohm, 'resistance')}" for ohm, count in sorted(needed.items())
    )


LEARN = "By hand as below, or `pinproof learn` guides the readings, does the sum, writes the key and finds the windows."

# what keeps the proof from being made


def _pull(truck: Truck, line: Line, seen: Sequence[Outlook]) -> Iterator[Action]:
    owner = truck.input_of(line)
    if not pull_is_unknown(owner):
        return
    measure = pull_measurement_of(owner, line)
    said = [f"{_judged(owner, each.judges)}{each.text}" for each in seen]
    if len(measure.sides) > 1:
        why = "Nothing can be proven before the form is known: in the wrong form every code is upside down."
    elif said:
        why = " ".join(said)
    else:
        why = f"The pull inside {owner.id} is unknown, so no reading can be computed."
    yield Action(
        measure.what, f"{why} {LEARN}", measure.minutes, measure.tools, measure.caution,
        parameters=tuple(f"{owner.path}.{side}" for side in measure.sides), steps=measure.how,
    )  # fmt: skip


def _list_pull(truck: Truck, line: Line) -> Iterator[Action]:
    """A list in ohms that was made for another pull than this pin has."""
    own = own_pull(truck, line)
    if own is None or own.ohm is None:
        return
    other = [
        (each.path, each.meaning, each.with_pull_ohm)
        for each in in_ohms(line)
        if each.with_pull_ohm is not None and not each.own_pull
        if abs(each.with_pull_ohm / own.ohm - 1.0) > max(own.tolerance, SAME_OHM)
    ]
    if not other:
        return
    stated = " and ".join(dict.fromkeys(format_value(ohm, "resistance") for _, _, ohm in other))
    yield Action(
        f"Find out with which pull the list of {line.id} was made.",
        f"It says with_pull = {stated}, and this pin has {format_value(own.ohm, 'resistance')}. A list made for "
        "another pull means other ohms here.",
        10, parameters=tuple(f"{path}.with_pull" for path, _, _ in other),
        steps=(
            "Ask whoever made the list, or the controller's maker.",
            f"Made for this very pin: take with_pull out at {', '.join(meaning for _, meaning, _ in other)}; the pin's "
            "own pull is then taken.",
            "Made with the pull that stands there: leave it. The ohms are then turned into readings with that pull.",
        ),
    )  # fmt: skip


def _judged(owner: Input, judges: str) -> str:
    return f"If it judges {JUDGES_WORDS[judges]}: " if owner.compares == "unknown" else ""


def _feeding(truck: Truck, line: Line, proof: LineProof, seen: Sequence[Outlook]) -> Iterator[Action]:
    """Taps that stay alive in automatic, where they would do better fed through the manual slot's switch."""
    other = fed_through_enable(truck, line)
    if other is None:
        return
    if pull_is_unknown(truck.input_of(line)):
        now = {each.judges: each.single_ohm for each in seen}
        gains = [each for each in outlooks(other, other.line(line.id)) if len(each.single_ohm) > len(now[each.judges])]
        why = " ".join(f"{_judged(truck.input_of(line), each.judges)}{each.text}" for each in gains)
    elif not proof.reason and proof.verdict is Verdict.FAIL:
        tried = prove_line(other, other.line(line.id), samples=0, drift=False)
        why = f"The proof, made again with that: {tried.verdict}." if tried.verdict.rank > proof.verdict.rank else ""
    else:
        return
    if why:
        yield Action(
            "Find out whether the taps get their power or ground through the manual slot's switch: slot off, ohms "
            "from the coded wire to the switches' supply or ground wire, with no tap and with one pressed. Both alike "
            '(open, or a far-end resistor alone): write taps_fed = "through enable". If not, wire them so; they are '
            "then dead in automatic.",
            f"Fed through the slot: {why}", 10, (METER,), LIVE_OHMS, parameters=(f"line.{line.id}.taps_fed",),
        )  # fmt: skip


def _judging(truck: Truck, line: Line) -> Iterator[Action]:
    owner = truck.input_of(line)
    if owner.compares != "unknown":
        return
    supply = truck.supply.run
    yield Action(
        f"Hold one button, watch the shown reading of {owner.id} while the engine starts. It stays: write compares = "
        '"battery". It moves with the supply: write compares = "volts".',
        f"As plain volts the reading would move by a factor of {supply.high / supply.low:.2g} over the stated supply "
        f"({supply.text}).",
        5, ("whatever shows the controller's reading",),
        "Wheels chocked, brake on, lever in park: a held tap must not move the truck.",
        parameters=(f"input.{owner.id}.compares",),
    )  # fmt: skip


def _wanted(truck: Truck, line: Line) -> Iterator[Action]:
    if not line.free:
        return
    measure = measure_of(f"line.{line.id}.window.each-meaning", truck)
    assert measure is not None
    yield Action(
        f"Find out what the pin wants for {line.id}: the maker's list, else by potentiometer; a controller that is "
        f"taught is taught first, as its maker says. {measure.how}",
        "No window and no target is known; only whether the readings could be told apart can be computed.",
        measure.minutes, measure.tools, measure.caution, parameters=(f"line.{line.id}.window",), steps=measure.steps,
    )  # fmt: skip


def _to_choose(truck: Truck, line: Line, proof: LineProof) -> Iterator[Action]:
    todo = {
        f"contact.{each.id}.resistor": each.id
        for each in truck.contacts_of(line)
        if each.resistor is not None and each.resistor.ohm is None
    }
    for word, part in (
        ("the far end (idle)", line.idle_resistor),
        ("the top", line.top_resistor),
        ("the end of the ladder", line.end_resistor),
    ):
        if part is not None and part.ohm is None:
            todo[part.path] = word
    if todo and not pull_is_unknown(truck.input_of(line)):
        yield Action(
            f"Let Pinproof choose the resistors of {', '.join(todo.values())}.",
            f"Not shown because {proof.reason}.", 1,
            parameters=tuple(todo), command="pinproof choose FILE",
        )  # fmt: skip


# what makes it fail


def _failing(truck: Truck, line: Line, proof: LineProof) -> Iterator[Action]:
    bad = [row for row in proof.situations if not row.verdict.holds]
    if not bad:
        return
    row = min(bad, key=lambda each: (each.verdict.rank, each.margin))
    why = f"{what_goes_wrong(row)} ({margin_words(row.margin)})."
    if row.weakest:
        why += f" It gives way through the {number_words(truck, row.weakest)}."
    weak = {each.parameter: each for each in proof.rests_on}
    rest = weak.get(row.weakest)
    if rest is not None and math.isfinite(rest.strain) and link_of(row.weakest) not in ("", "resistor", "meaning"):
        measure = measure_of(row.weakest, truck)
        if measure is not None:
            yield _action(measure, f"{why} {rest.what}", (row.weakest,))
    yield Action(
        "Choose the values again. If none hold, `pinproof prove` tries cures.", why, 2, parameters=(row.weakest,),
        command="pinproof choose FILE",
    )  # fmt: skip


def number_words(truck: Truck, path: str) -> str:
    """A number of the file in words, as stated: "pull-up inside tap_pin (1 kohm, measured)"."""
    measure, entry = measure_of(path), truck.entries().get(path)
    name = measure.name if measure is not None else path
    return f"{name} ({entry.text}, {entry.basis})" if entry is not None else name


def margin_words(margin: float) -> str:
    """A margin in words, cut towards the worse: never rounded to look better than it is."""
    if math.isnan(margin) or margin == -math.inf:
        return "no margin"
    if margin == math.inf:
        return "no edge in reach"
    if margin <= -FAR:
        return f"more than {FAR:g} half windows past the edge"
    return f"margin {margin_percent(margin)} of half a window"


# what to measure


def _measure(truck: Truck, rest: RestsOn, rests: Sequence[RestsOn]) -> Iterator[Action]:
    measure = measure_of(rest.parameter, truck)
    if measure is None:
        return
    shared = rest.parts or (rest.parameter,)
    many = f" The same number stands for {len(shared)} contacts: measure each." if len(shared) > 1 else ""
    stated = f" ({rest.text}, {rest.basis})" if not rest.text.startswith("window ") else f" ({rest.basis})"
    yield _action(
        measure,
        f"It rests on the {measure.name}{stated}. {sentence(rest.what)}{many}",
        shared,
    )


def sentence(text: str) -> str:
    """The text with a large first letter, unless it begins with the name of a contact, which must stay as it is."""
    return text[:1].upper() + text[1:] if text.startswith("nothing ") else text


def _bench(proof: TruckProof) -> Iterator[Action]:
    rows = [row for row in proof.situations if row.key_state == "run" and row.meaning and math.isfinite(row.low)]
    if not rows:
        return
    said = ", ".join(
        f"{' + '.join(row.operated) or 'nothing operated'} {row.low * 100:.0f} to {row.high * 100:.0f} %"
        if row.unit == "1"
        else f"{' + '.join(row.operated) or 'nothing operated'} {row.low:.2f} to {row.high:.2f} V"
        for row in rows[:6]
    )
    yield Action(
        f"Check it on the truck: read the pin in each state. Computed: {said}.",
        "All this is computed; a reading outside its span means that a number in the file is not true.",
        20, (METER,), BARE_PIN,
    )  # fmt: skip


def _action(measure: Measure, why: str, paths: tuple[str, ...]) -> Action:
    return Action(
        measure.how, why, measure.minutes, measure.tools, measure.caution, parameters=paths, steps=measure.steps
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
