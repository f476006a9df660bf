"""The chain and the next actions: no link better than the proof, every action from a result."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pinproof.chain.actions import MOST_ACTIONS, next_actions
from pinproof.chain.interview import read_list
from pinproof.chain.links import CHECK_LINK, CIRCUIT, NOT_BUILT, chain_of
from pinproof.chain.measures import LINKS, link_of, measure_of
from pinproof.chain.outlook import outlooks
from pinproof.chain.sheet import checked, sheet_of
from pinproof.chain.values import fit_to_list
from pinproof.choose.drawer import Drawer, Part
from pinproof.cli import group
from pinproof.design import Truck, load, loads
from pinproof.examples import NAMES, example_path
from pinproof.logs import prove_log
from pinproof.proof import TruckProof, as_json, prove
from pinproof.verdict import Verdict
from tests.log_stand_in import many_taps


def example(name: str, *changes: tuple[str, str]) -> Truck:
    """An invented example with texts of its file exchanged."""
    text = example_path(name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{old!r} does not stand in {name}.toml"
        text = text.replace(old, new)
    return loads(text, f"{name}.toml")


UNKNOWN_PULL = (
    'pull_down = { value = "1 kohm", tolerance = "2 %", basis = "measured", note = "two loads, bench meter" }',
    'pull_down = "unknown"',
)


def proven(truck: Truck) -> TruckProof:
    """Its proof without the sampled yield."""
    return prove(truck, samples=0)


@pytest.mark.parametrize("name", NAMES)
def test_the_chain_has_every_link_in_order_and_none_is_better_than_the_proof(name: str) -> None:
    """Built links are at most as good as what they are made of; the worst of them is the proof's verdict or worse."""
    truck = example(name)
    proof = proven(truck)
    chain = chain_of(truck, proof)
    assert tuple(each.name for each in chain.links) == LINKS
    rows = [row.verdict for line in proof.lines for row in line.situations]
    assert chain.link("reading").verdict is min(rows, key=lambda each: each.rank)
    if proof.verdict is not Verdict.PASS:
        assert any(each.verdict.rank <= proof.verdict.rank for each in chain.links if each.built)
    if proof.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN):
        assert all(chain.link(each).verdict.rank < Verdict.WOULD_HOLD.rank for each in CIRCUIT)


def test_assumed_windows_leave_no_link_of_the_circuit_a_pass() -> None:
    """Wagtail holds, but only if its windows are right; that goes for every link the windows judge."""
    truck = example("wagtail")
    chain = chain_of(truck, proven(truck))
    for name in (*CIRCUIT, "reading", "meaning"):
        assert chain.link(name).verdict is Verdict.WOULD_HOLD


def test_every_link_has_an_engine() -> None:
    """No link is a promise: what a link does not show, its text says why."""
    truck = example("sandpiper")
    chain = chain_of(truck, proven(truck))
    assert not NOT_BUILT
    for link in chain.links:
        assert link.built and link.text


def test_the_log_link_tells_what_is_missing_then_what_was_seen() -> None:
    """Without a log it is not shown, with the command; with one it has the verdict of that proof."""
    truck = example("sandpiper")
    proof = proven(truck)
    link = chain_of(truck, proof).link("log")
    assert link.verdict is Verdict.NOT_SHOWN and "--plan" in link.text
    report = prove_log(truck, many_taps(3).made())
    link = chain_of(truck, proof, log=report).link("log")
    assert link.verdict is report.verdict and "passed" in link.text


def test_a_failing_situation_is_laid_to_the_link_it_fails_by() -> None:
    """Heron fails by its ground offset: the wire fails, the rest of the circuit waits for it."""
    truck = example("heron")
    proof = proven(truck)
    weakest = {row.weakest for line in proof.lines for row in line.situations if row.verdict is Verdict.FAIL}
    assert weakest == {"line.shift.return_offset"}  # what this test is about; else choose another example
    chain = chain_of(truck, proof)
    assert chain.link("wire").verdict is Verdict.FAIL
    assert "ground offset" in chain.link("wire").weakest
    for name in ("switch", "resistor", "pin"):
        assert chain.link(name).verdict is Verdict.NOT_SHOWN
        assert "Waits for the wire" in chain.link(name).text
    cured = example(
        "heron", ('return_offset = { low = "0 V", high = "0.4 V"', 'return_offset = { low = "0 V", high = "0.02 V"')
    )
    after = chain_of(cured, proven(cured))
    assert after.link("wire").verdict.rank > Verdict.FAIL.rank


def test_an_unknown_pull_shows_nothing_but_says_what_decides() -> None:
    """The pin is the reason, and measuring it comes right after ordering."""
    truck = example("sandpiper", UNKNOWN_PULL)
    chain = chain_of(truck, proven(truck))
    for name in (*CIRCUIT, "reading"):
        assert chain.link(name).verdict is Verdict.NOT_SHOWN
    assert "unknown" in chain.link("pin").text
    first = next(each for each in chain.actions if not each.order_today)
    assert first.parameters == ("input.tap_pin.pull_down",)
    assert "pull of" in first.why
    assert "1 A" in first.caution


def test_outlook_agrees_with_the_proof_of_each_pull() -> None:
    """Every pull that is said to hold is proven to hold by a proof of its own, and the others are not."""
    truck = example("sandpiper", UNKNOWN_PULL)
    (seen,) = outlooks(truck, truck.lines[0])
    assert 0 < len(seen.holding_ohm) < len(seen.tried)  # the test needs both kinds
    for each in seen.tried:
        pull = f'pull_down = {{ value = "{each.pull_ohm!r} ohm", tolerance = "5 %" }}'
        alone = prove(example("sandpiper", (UNKNOWN_PULL[0], pull)), drift=False)
        holds = all(row.verdict.rank >= Verdict.WOULD_HOLD.rank for row in alone.situations)
        assert holds == (each.pull_ohm in seen.holding_ohm)


def test_both_ways_of_judging_are_told_apart() -> None:
    """An input that may judge either way gets an outlook for each."""
    truck = example("sandpiper", UNKNOWN_PULL, ('compares = "battery"', 'compares = "unknown"\nfull_scale = "16 V"'))
    battery, volts = outlooks(truck, truck.lines[0])
    assert (battery.judges, volts.judges) == ("battery", "volts")
    assert len(volts.single_ohm) < len(battery.single_ohm)  # plain volts move with the supply, a ratio does not


def test_feeding_the_taps_through_the_slot_is_offered_where_the_proof_says_so() -> None:
    """A list of totals whose taps act in automatic holds for no pull, fed through the slot it does: that is told."""
    answers = {
        "switched": "fuse", "controls": ("slot", "lever", "wheel"),
        "list": read_list("up 2.88k, down 1.27k, manual 8.25k"), "taps-fed": "directly",
    }  # fmt: skip
    sheet = sheet_of(answers, "pp-1")
    bare = checked(sheet, "list")
    values = {each.contact: f"{each.ohm} ohm" for each in fit_to_list(bare, bare.lines[0])}
    direct = checked(dataclasses.replace(sheet, resistors=values), "list")
    through = checked(dataclasses.replace(sheet, resistors=values, taps_fed="through enable"), "list")

    def asked(truck: Truck) -> list[str]:
        return [each.why for each in next_actions(truck, proven(truck)) if each.parameters == ("line.taps.taps_fed",)]

    now, then = outlooks(direct, direct.lines[0])[0], outlooks(through, through.lines[0])[0]
    assert now.single_ohm == ()
    assert then.single_ohm != ()
    assert then.holding_ohm == ()  # both stations up at once read as down: in parallel they come near its ohms
    assert "lever_up + wheel_up can be read as down" in then.text
    assert then.text in asked(direct)[0]
    assert asked(through) == []


@pytest.mark.parametrize("name", NAMES)
def test_actions_are_three_at_most_and_complete(name: str) -> None:
    """Each has what, why, minutes; ohms and pins come with a caution."""
    truck = example(name)
    actions = next_actions(truck, proven(truck))
    assert 1 <= len(actions) <= MOST_ACTIONS
    for each in actions:
        assert each.what
        assert each.why
        assert each.minutes > 0
        if "pin" in each.what and "multimeter" in each.tools:
            assert each.caution
    assert [each.order_today for each in actions] == sorted((each.order_today for each in actions), reverse=True)


def test_parts_in_the_drawer_or_measured_are_not_ordered() -> None:
    """An order names what is missing, with one spare of each, and nothing that is there."""
    truck = example("sandpiper")
    proof = proven(truck)
    order = next_actions(truck, proof)[0]
    assert order.order_today
    assert "2 × 8.25 kΩ" in order.what  # one in the design, one spare
    assert "3 × 4.42 kΩ" in order.what
    some = Drawer((Part(4420.0, 0.01, 1), Part(8250.0, 0.01, 5)))
    fewer = next_actions(truck, proof, some)[0]
    assert "8.25 kΩ" not in fewer.what
    assert "2 × 4.42 kΩ" in fewer.what
    full = Drawer((Part(4420.0, 0.01, 2), Part(8250.0, 0.01, 1), Part(1300.0, 0.01, 2)))
    assert not any(each.order_today for each in next_actions(truck, proof, full))
    resistors = {
        each.id: dataclasses.replace(each.resistor, basis="measured") for each in truck.contacts if each.resistor
    }
    in_hand = dataclasses.replace(
        truck, contacts=tuple(dataclasses.replace(each, resistor=resistors.get(each.id)) for each in truck.contacts)
    )
    assert not any(each.order_today for each in next_actions(in_hand, proven(in_hand)))


def test_what_rests_on_assumed_windows_asks_for_their_edges() -> None:
    """Wagtail's windows are made from targets: measuring edges comes first among the measurements."""
    truck = example("wagtail")
    actions = [each for each in next_actions(truck, proven(truck)) if not each.order_today]
    assert link_of(actions[0].parameters[0]) == "meaning"
    assert "otentiometer" in actions[0].what


def test_every_number_of_every_example_has_a_link_and_a_way_to_find_it() -> None:
    """Whatever a proof rests on can be measured, and belongs to the chain."""
    for name in NAMES:
        for each in proven(example(name)).rests_on:
            measure = measure_of(each.parameter)
            assert measure is not None, each.parameter
            assert measure.link in LINKS
            assert "{" not in measure.name + measure.how


def test_every_check_of_a_proof_belongs_to_a_link() -> None:
    """A check that no link shows would be lost."""
    seen = {each.check for name in NAMES for line in prove(example(name), samples=200).lines for each in line.findings}
    assert seen - set(CHECK_LINK) == set()


def test_a_line_still_to_be_chosen_is_sent_to_choose() -> None:
    """Known pull, known windows, no value: one command."""
    truck = example("sandpiper", ('resistor = "1.3k"', 'resistor = "to choose"'))
    chain = chain_of(truck, proven(truck))
    assert "Still to be chosen" in chain.link("resistor").text
    assert any(each.command.startswith("pinproof choose") for each in chain.actions)


def test_json_is_plain_and_holds_no_infinities() -> None:
    """`as_json` turns the whole chain into what a JSON parser takes."""
    truck = example("heron")
    plain = as_json(chain_of(truck, proven(truck)))
    text = json.dumps(plain, allow_nan=False)
    assert json.loads(text)["links"][2]["name"] == "wire"

    def walk(node: Any) -> None:
        if isinstance(node, float):
            assert math.isfinite(node)
        for each in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
            walk(each)

    walk(plain)


@pytest.mark.parametrize(("name", "code"), [("sandpiper", 0), ("heron", 1), ("wagtail", 1)])
def test_the_command_tells_the_chain_and_ends_with_the_proofs_code(name: str, code: int) -> None:
    """Words on standard output, exit code by the proof."""
    result = CliRunner().invoke(group, ["next", str(example_path(name))])
    assert result.exit_code == code, result.output
    for word in (*LINKS, "Do next:", "Takes", "Why:"):
        assert word in result.output
    as_plain = CliRunner().invoke(group, ["next", str(example_path(name)), "--json"])
    assert as_plain.exit_code == code
    assert [each["name"] for each in json.loads(as_plain.output)["links"]] == list(LINKS)


def test_a_drawer_beside_the_design_is_used(tmp_path: Path) -> None:
    """drawer.toml in the same folder needs no option."""
    design = tmp_path / "t.toml"
    design.write_text(example_path("sandpiper").read_text(encoding="utf-8"), encoding="utf-8")
    assert load(design).id == "pp-sandpiper"
    before = CliRunner().invoke(group, ["next", str(design)])
    assert "Order today" in before.output
    for ohm in ("8.25k", "4.42k", "1.3k"):
        done = CliRunner().invoke(
            group, ["drawer", "add", ohm, "1 %", "--count", "5", "--drawer", str(tmp_path / "drawer.toml")]
        )
        assert done.exit_code == 0, done.output
    after = CliRunner().invoke(group, ["next", str(design)])
    assert "Order today" not in after.output
