"""What is said and offered against a fault: words, advice, cures, cavities, and the one answer to each fault."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import replace

import pytest

from pinproof.design import Truck, load
from pinproof.errors import NoSolution
from pinproof.examples import example_path
from pinproof.faults import (
    Cure,
    FaultEffect,
    Severities,
    against,
    as_json,
    cavity_order,
    cures,
    cures_of,
    faults_of,
    keep,
    line_faults,
    not_proposed,
    proposals,
    remedies,
    results,
)
from pinproof.faults.advice import advice_for
from pinproof.faults.cures import CavityOrder
from pinproof.faults.remedies import ALWAYS, FIRST, LEFT, PASSES, SAME, harmless, remedy_of
from pinproof.faults.results import FalseCommand, Fault, FaultReport, LineFaults, Lost, PairEffect, Pairs
from pinproof.faults.words import commands_words, gap_words, interval_words, limit_words, site_words
from pinproof.proof import prove_line
from pinproof.proof.results import LineProof
from tests.first_principles.test_faults import hand
from tests.first_principles.test_faults_numbers import one

# what removes a fault


def test_only_the_cure_that_removes_a_fault_answers_it() -> None:
    """Two cures, each with faults of its own; a fault that neither removes gets the check from outside."""
    truck = hand()
    unsafe = {each.fault.id: each for each in line_faults(truck, "l").of("false command")}
    first, second, third = "contact.a stuck-closed", "contact.b stuck-closed", "input.p chafed-to-ground pin"
    cures = [
        Cure("do one thing", {}, (first,), (), (), False, 2, 1),
        Cure("do another thing", {}, (second,), (), (), False, 2, 1),
    ]
    answers = {name: remedy_of(truck, unsafe[name], cures, None, tried=True) for name in (first, second, third)}
    assert {name: each.by for name, each in answers.items()} == {first: "cure", second: "cure", third: "outside"}
    assert answers[first].text == "Removed if you do one thing."
    assert answers[second].text == "Removed if you do another thing."
    # 1 kΩ pulls up: a leak of 9/11 to 11/9 kΩ is down, of 250 to 429 Ω up; above 1.23 kΩ it is neither
    assert answers[third].limit == "above 1.23 kΩ"


def test_advice_is_given_where_it_helps() -> None:
    """A broken wire reads as idle: a check against ground. Faults of the shop: what finds them there. Others: none."""
    found = line_faults(hand(), "l")
    (check,) = one(found, "line.l.wire open").advice
    assert "press a, b and see" in check
    assert "against ground" in check
    assert "one way only" in one(found, "contact.a swapped contact.b").advice[-1]
    assert "at rest and pressed" in one(found, "contact.b wrong-throw").advice[-1]
    for kind in ("decade-low", "decade-high"):
        effect = one(found, f"contact.a.resistor {kind}")
        assert effect.advice[-1].startswith("Measure each resistor before it is soldered")
    shop = ("swapped", "wrong-throw", "decade-low", "decade-high")
    assert all(bool(each.advice) == (each.unnoticed or each.fault.kind in shop) for each in found.faults if each.lost)
    harmless_swap = FaultEffect(Fault("contact.a", "swapped", "contact.b"), "none", False, False, ("idle",), (), ())
    assert advice_for(hand().line("l"), harmless_swap) == harmless_swap


def test_a_fed_wire_is_measured_against_its_dead_feed() -> None:
    """Sandpiper's taps come from a feed: its fuse is out while anybody measures."""
    lost = Lost("up", "run", "ratio", ("lever_manual", "lever_up"), None, True)
    wire = FaultEffect(Fault("line.taps.wire", "open"), "command lost", False, True, ("automatic",), (), (lost,))
    (check,) = advice_for(load(example_path("sandpiper")).line("taps"), wire).advice
    assert "press lever_manual + lever_up and see" in check
    assert "against the load side of its removed fuse" in check
    many = replace(wire, lost=tuple(replace(lost, operated=(name,)) for name in "pqrs"))
    assert "press p, q, r and the others and see" in advice_for(hand().line("l"), many).advice[0]
    three = replace(wire, lost=many.lost[:3])
    assert "press p, q, r and see" in advice_for(hand().line("l"), three).advice[0]


def test_wires_in_a_row_of_cavities_are_those_of_the_branches() -> None:
    """A bridge of the two inner wires is harmful, so they need a cavity between them; chafed nodes have no place."""
    found = line_faults(hand(), "l")
    order = cavity_order(found)
    assert order is not None
    assert set(order.order) == {"contact a", "contact b"}
    assert order.empty_after == order.order[:1]
    bridge = one(found, "contact.a bridged contact.b")
    apart = remedy_of(hand(), bridge, (), order, tried=False)
    assert (apart.by, apart.check) == ("cavities", "")
    beside = CavityOrder(order.order, ())
    assert remedy_of(hand(), bridge, (), beside, tried=False).by == "outside"
    elsewhere = CavityOrder(("contact a", "contact c"), ())
    assert remedy_of(hand(), bridge, (), elsewhere, tried=False).by == "outside"


# words of several situations


def told(*entries: tuple[str, tuple[str, ...], float, float, bool]) -> str:
    """The words for false commands of a leak: command, operated, least and greatest ohms, whether it is sure."""
    false = tuple(
        FalseCommand(command, "run", "ratio", operated, Severities(((low, high),), ((low, high),)), sure)
        for command, operated, low, high, sure in entries
    )
    fault = Fault("input.p", "chafed-to-ground", "pin", True, ("pin",))
    return commands_words(FaultEffect(fault, "false command", False, False, (), false, ()))


def test_a_false_command_is_told_where_the_fewest_are_pressed() -> None:
    """Worst first: what nobody presses for hides the rest; then the least pressed, and that others differ."""
    up, down = ("up", (), 100.0, 200.0, True), ("down", ("a",), 300.0, 400.0, True)
    assert told(up, down) == "up for leaks of 100 to 200 Ω"
    more = ("down", ("a", "b"), 500.0, 600.0, True)
    assert told(more, down) == "down for leaks of 300 to 400 Ω with a (other values with more pressed)"
    same = ("down", ("a", "b"), 300.0, 400.0, True)
    assert told(same, down) == "down for leaks of 300 to 400 Ω with a"
    doubtful = ("up", (), 100.0, 200.0, False)
    assert told(doubtful) == "up for leaks of 100 to 200 Ω (cannot be ruled out)"
    assert told(doubtful, up) == told(up)


# changes worth trying


def test_why_a_change_is_not_tried_is_told() -> None:
    """An idle resistor needs a form that has one, none yet, and room between the idle window and the rail."""
    top = 'high = "90 %"'
    assert [list(proposals(each, "l")) == [] for each in (hand(), hand('"4 kohm"', top), hand('"none"', top))] == [
        True, True, False
    ]  # fmt: skip
    assert not_proposed(hand('"none"', top), "l") == ()
    (said,) = not_proposed(hand(), "l")
    assert "reaches the rail" in said
    assert not_proposed(hand('"4 kohm"', top), "l") == ("there is an idle resistor already",)
    ladder = load(example_path("wagtail"))
    assert not_proposed(ladder, "buttons") == ("a far-end idle resistor has no place in this form",)
    through = not_proposed(load(example_path("sandpiper")), "taps")
    assert through[-1] == "the taps are fed through the enable contact already"


def test_a_proposed_resistor_is_like_the_others() -> None:
    """Its tolerance, ageing and tempco are written down where the file states them for the part it copies."""
    part = '{ value = "333 ohm", tolerance = "2 %", ageing = "0.5 %", tempco = "-50 ppm/K", tempco_sign = "known" }'
    truck = hand('"none"', 'high = "90 %"', ('resistor = "333 ohm"', f"resistor = {part}"))
    (proposal,) = proposals(truck, "l")
    assert proposal.changes == {
        "line.l.idle_resistor": "to choose",
        "line.l.idle_resistor.tolerance": "2 %",
        "line.l.idle_resistor.ageing": "0.5 %",
        "line.l.idle_resistor.tempco": "-50 ppm/K",
        "line.l.idle_resistor.tempco_sign": "known",
    }
    added = proposal.truck.line("l").idle_resistor
    assert added is not None
    assert (added.ohm, added.tolerance, added.ageing, added.tempco_per_k, added.tempco_known) == (
        None, 0.02, 0.005, pytest.approx(-50e-6), True
    )  # fmt: skip
    assert not added.fixed
    assert [each.changes for each in proposals(hand('"none"', 'high = "90 %"'), "l")] == [
        {"line.l.idle_resistor": "to choose"}
    ]


# the answer to each fault


def test_why_nothing_removes_a_fault_is_told_by_what_it_is() -> None:
    """The same circuit as another press; ohms that pass a foreign window on their way; or what the cures leave."""
    truck = hand()
    found = line_faults(truck, "l")

    def why(name: str, *, tried: bool = True) -> str:
        remedy = remedy_of(truck, one(found, name), (), None, tried=tried)
        assert remedy.by == "outside" and remedy.check
        return remedy.why

    assert why("contact.a stuck-closed") == SAME["stuck-closed"]
    assert why("contact.a swapped contact.b") == SAME["swapped"]
    # from nothing pressed, or from the pressed reading, to a rail or to idle: the ends are given by the windows
    for name in ("input.p chafed-to-ground pin", "line.l.wire chafed-to-ground far", "line.l.wire resistive",
                 "contact.a worn", "contact.b.resistor drifted"):  # fmt: skip
        assert why(name) == ALWAYS
    # from one pressed reading to another, or through a resistor: other values may miss the window
    assert why("contact.a bridged contact.b") == why("contact.a chafed-to-ground contact a") == PASSES
    assert why("contact.b chafed-to-ground contact b") == LEFT  # down up to 222 Ω, and that is all
    up = FalseCommand("up", "run", "ratio", (), Severities(((0.0, 95.0),), ((0.0, 95.0),)), True)
    short = FaultEffect(one(found, "contact.a chafed-to-ground contact a").fault, "false command", False, False, (),
                        (up,), ())  # fmt: skip
    assert remedy_of(truck, short, (), None, tried=True).why == LEFT
    assert remedy_of(truck, short, (), None, tried=False).why == ""
    assert remedy_of(truck, short, (), None, tried=False).limit == "above 95 Ω"
    far = FalseCommand("up", "run", "ratio", (), Severities(((95.0, math.inf),), ((95.0, math.inf),)), True)
    short = FaultEffect(short.fault, "false command", False, False, (), (far,), ())
    assert (remedy_of(truck, short, (), None, tried=True).why, remedy_of(truck, short, (), None, tried=True).limit) == (
        LEFT, ""
    )  # fmt: skip


def test_an_open_resistor_is_another_press_only_beside_the_others() -> None:
    """Open in series with a contact at rest open it is not pressing; in a ladder it cuts off what lies behind."""
    opened = FaultEffect(Fault("contact.a.resistor", "open"), "false command", False, False, (), (), ())
    assert remedy_of(hand(), opened, (), None, tried=True).why == SAME["stuck-open"]
    at_rest = hand('"none"', "", ('kind = "normally open"', 'kind = "normally closed"'))
    assert remedy_of(at_rest, opened, (), None, tried=True).why == LEFT
    ladder = FaultEffect(Fault("contact.button_up.resistor", "open"), "false command", False, False, (), (), ())
    assert remedy_of(load(example_path("wagtail")), ladder, (), None, tried=True).why == LEFT
    wire = FaultEffect(Fault("line.l.wire", "open"), "false command", False, False, (), (), ())
    assert remedy_of(hand(), wire, (), None, tried=True).why == LEFT


def test_what_the_sound_line_does_is_mended_first() -> None:
    """350 Ω is 25.9 %: b reads up without any fault, so that this goes on with one is nothing the fault adds."""
    truck = hand('"none"', "", ('resistor = "1 kohm"', 'resistor = "350 ohm"'))
    found = line_faults(truck, "l")
    assert found.sound is not None and found.sound.commands == ("up",)
    known = against(truck, found)
    assert (known.tried, known.cures, known.order) == (False, (), known.order)
    same = one(found, "line.l.source_wire chafed-to-ground source")
    assert not same.adds
    assert (known.remedies[same.fault.id].by, known.remedies[same.fault.id].why) == ("line", FIRST)
    stuck = one(found, "contact.b stuck-closed")
    assert stuck.adds
    assert known.remedies[stuck.fault.id].by == "outside"
    assert all(math.isnan(end) for end in harmless(truck, one(found, "contact.b.resistor drifted")))


# cures


def soldered(idle_ohm: str, up_ohm: str, down_ohm: str) -> Truck:
    """The hand-made truck with other values and room above its idle window."""
    return hand(f'"{idle_ohm}"', ROOM, ("333 ohm", up_ohm), ('resistor = "1 kohm"', f'resistor = "{down_ohm}"'))


ROOM = 'high = "90 %"\n[[line.window]]\nmeaning = "open"\nlow = "95 %"\nfault = true'
BEFORE = hand('"none"', ROOM)
GOOD = soldered("4 kohm", "363 ohm", "1333 ohm")  # beside 4 kΩ as much as 333 Ω and 1 kΩ alone


def chosen(truck: Truck) -> LineProof:
    return prove_line(truck, truck.line("l"), drift=False)


def test_a_cure_is_offered_only_if_it_was_proven_to_help() -> None:
    """With 4 kΩ idle reads 80 % and is mended. No values, the values as before, or values that prove worse: no cure."""
    found, proof = line_faults(BEFORE, "l"), chosen(BEFORE)

    def gives(truck: Truck) -> tuple[Cure, ...]:
        return cures_of(BEFORE, found, proof, lambda _changed, _line: (truck, chosen(truck), {"x": "y"}))

    (cure,) = gives(GOOD)
    assert cure.mends
    assert cure.changes == {"line.l.idle_resistor": "to choose", "x": "y"}
    before = {each.fault.id for each in found.of("false command")}
    after = {each.fault.id for each in line_faults(GOOD, "l").of("false command")}
    assert (set(cure.removes), set(cure.brings)) == (before - after, after - before)
    assert (cure.false_before, cure.false_after) == (len(before), len(after))
    assert gives(BEFORE) == ()
    other = soldered("4 kohm", "5 ohm", "1333 ohm")  # up is lost, but one fault less gives a false command
    (no_worse,) = gives(other)
    assert chosen(other).verdict is proof.verdict
    assert (no_worse.mends, no_worse.false_after < no_worse.false_before) == (False, True)
    assert cures_of(BEFORE, found, chosen(GOOD), lambda _changed, _line: (other, chosen(other), {})) == ()

    def hopeless(_truck: Truck, _line: str) -> tuple[Truck, LineProof, dict[str, str]]:
        raise NoSolution("No choice of parts can be made.")

    assert cures_of(BEFORE, found, proof, hopeless) == ()
    known = against(BEFORE, found, lambda _changed, _line: (GOOD, chosen(GOOD), {"x": "y"}))
    assert (known.tried, known.cures, known.not_tried) == (True, (cure,), ())
    assert {name for name, each in known.remedies.items() if each.by == "cure"} == set(cure.removes)


# words and JSON


def test_ends_of_intervals_in_words() -> None:
    assert interval_words(0.0, math.inf) == ""
    assert interval_words(1.0, math.inf) == "above 1 Ω"
    assert interval_words(0.0, 1.0) == "up to 1 Ω"
    assert interval_words(0.0, 0.0) == "of 0 Ω"
    assert interval_words(math.inf, math.inf) == "without end (open)"
    assert interval_words(100.0, 100.0) == "of 100 Ω"
    assert interval_words(100.0, 2500.0) == "of 100 Ω to 2.5 kΩ"
    assert limit_words(0.0, 1.0) == "below 1 Ω"
    assert limit_words(100.2, 100.4) == ""  # nothing left between 101 and 100


def test_where_an_empty_cavity_is_needed_in_words() -> None:
    pair, three = ("contact up", "contact down"), ("contact up", "contact down", "far")
    assert gap_words(CavityOrder(pair, ())) == ""
    assert gap_words(CavityOrder(pair, pair[:1])) == "between them"
    assert gap_words(CavityOrder(three, three[:2])) == "between any two of them"
    assert gap_words(CavityOrder(three, three[1:2])) == "after wire of down"
    four = (*three, "pin")
    assert gap_words(CavityOrder(four, four[:2])) == "after wire of up and wire of down"
    assert (
        gap_words(CavityOrder((*four, "source"), four[:3]))
        == "after wire of up, wire of down and far end of coded wire"
    )


def test_names_of_sites_in_words() -> None:
    assert site_words("line.taps.wire") == "coded wire"
    assert site_words("line.taps.source_wire") == "source wire"
    assert site_words("line.taps.element.wire.value") == "element wire"


def test_a_fault_report_in_json_holds_what_it_says() -> None:
    """Ids and verdicts are written out; whatever is infinite can be read back."""
    report = faults_of(hand())
    told = json.loads(json.dumps(as_json(report), allow_nan=False))
    assert told["is_safe"] is False
    (line,) = told["lines"]
    assert [each["fault"]["id"] for each in line["faults"]] == [each.fault.id for each in report.lines[0].faults]
    sets = [each["severities"] for one in line["faults"] for each in one["false"] if each["severities"]]
    assert sets and all(each["exact"] is True for each in sets)


def test_a_line_is_safe_only_where_nothing_gives_a_false_command() -> None:
    """Neither a fault, nor the line without one, nor a pair; and what could not be looked at is not safe."""
    false = FalseCommand("up", "run", "ratio", (), None, True)
    none, lost, bad = (
        FaultEffect(Fault("contact.a", "worn"), effect, False, False, (), (false,) * (effect == "false command"), ())
        for effect in ("none", "command lost", "false command")
    )
    pair = PairEffect(bad.fault, bad.fault, "up", "run", "ratio", (), None, None)
    lines = {
        LineFaults("l", none, (lost, none), 3): True,
        LineFaults("l", none, (lost, none), 3, Pairs(9, 0, 9, ())): True,
        LineFaults("l", lost, (none,), 3): True,
        LineFaults("l", none, (bad,), 3): False,
        LineFaults("l", bad, (none,), 3): False,
        LineFaults("l", none, (none,), 3, Pairs(9, 0, 9, (pair,))): False,
        LineFaults("l", None, (), 0): False,
        LineFaults("l", none, (), 0, reason="its pull is not known"): False,
    }
    for line, safe in lines.items():
        report = FaultReport("t", "t", "", (line,))
        assert (line.is_safe, report.is_safe, report.exit_code) == (safe, safe, 0 if safe else 1)
        both = FaultReport("t", "t", "", (line, next(iter(lines))))
        assert both.is_safe is safe
    assert FaultReport("t", "t", "", ()).exit_code == 1


def test_results_cannot_be_changed() -> None:
    """Whatever is handed out stays as it was computed."""
    for module in (results, cures, keep, remedies):
        kinds = [
            each for each in vars(module).values() if isinstance(each, type) and each.__module__ == module.__name__
        ]
        assert kinds
        for kind in kinds:
            assert not dataclasses.is_dataclass(kind) or kind.__dataclass_params__.frozen, kind  # type: ignore[attr-defined]


def test_how_bad_a_fault_is() -> None:
    """0 with nothing pressed, 1 that no hand asks for, 2 that an operated contact asks for on its own, 3 none."""

    def rank(*false: FalseCommand) -> tuple[int, tuple[FalseCommand, ...]]:
        effect = FaultEffect(Fault("contact.a", "worn"), "false command", False, False, (), false, ())
        return effect.rank, effect.worst_false()

    at_rest = FalseCommand("up", "run", "ratio", (), None, True)
    other, asked = (FalseCommand("up", "run", "ratio", ("a",), None, True, asks) for asks in (False, True))
    assert rank(asked, other, at_rest) == (0, (at_rest,))
    assert rank(asked, other) == (1, (other,))
    assert rank(asked) == (2, (asked,))
    assert rank() == (3, ())
    lost = FaultEffect(Fault("contact.a", "worn"), "command lost", False, False, (), (),
                       (Lost("up", "run", "ratio", ("a",), None, True),))  # fmt: skip
    assert (lost.rank, lost.commands) == (3, ())
