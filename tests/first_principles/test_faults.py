"""The fault dictionary: sums by hand, random trucks from the box, named examples, pairs, cures, the command."""

from __future__ import annotations

import dataclasses
import json
import math
from functools import cache

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.cli import group
from pinproof.design import load, loads
from pinproof.design.model import Truck
from pinproof.examples import NAMES, example_path
from pinproof.faults import (
    FaultEffect,
    LineFaults,
    against,
    as_json,
    cavity_order,
    cures_of,
    faults_of,
    line_faults,
    proposals,
    retest,
    sites,
)
from pinproof.faults.circuit import box_of, change_of, faulty_view
from pinproof.faults.remedies import harmless
from pinproof.faults.sites import whole_view
from pinproof.faults.words import commands_words, fault_words, interval_words, limit_words, severity_words
from pinproof.network import node_voltages
from pinproof.observe import pin_spans, spaces_of, windows_in
from pinproof.pack import faults_page
from pinproof.proof import prove_line
from pinproof.proof.situations import requirement, situations_of
from pinproof.wiring import LineView, line_view

EXACT = """
format = 1
id = "pp-hand"
[supply]
run = "12 V"
[temperature]
low = "20 °C"
high = "20 °C"
[defaults]
tolerance = "0 %"
tempco = "0 ppm/K"
ageing = "0 %"
closed = "0 ohm"
open = "none"
[[input]]
id = "p"
pull_up = { value = "1 kohm", tolerance = "0 %" }
pull_down = "none"
reference = "5 V"
compares = "reference"
error = "0 %"
[[line]]
id = "l"
input = "p"
form = "pull-up"
idle = "idle"
idle_resistor = IDLE
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
[[line.window]]
meaning = "up"
low = "20 %"
high = "30 %"
[[line.window]]
meaning = "down"
low = "45 %"
high = "55 %"
[[line.window]]
meaning = "idle"
low = "70 %"
TOP
[[device]]
id = "pod"
exclusive = [["a", "b"]]
[[contact]]
id = "a"
line = "l"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = "333 ohm"
[[contact]]
id = "b"
line = "l"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "down"
resistor = "1 kohm"
"""


TRUCKS = {name: load(example_path(name)) for name in NAMES}


@cache
def known_faults(name: str) -> LineFaults:
    """The dictionary of an example's first line."""
    return line_faults(TRUCKS[name], TRUCKS[name].lines[0])


@cache
def allowed_in(name: str) -> dict[tuple[str, tuple[str, ...]], tuple[str, ...]]:
    """Key state and operated contacts of that line to what may then be read."""
    truck, line = TRUCKS[name], TRUCKS[name].lines[0]
    return {
        (state, each.operated): requirement(truck, line, each, state).allowed
        for each in situations_of(truck, line)
        for state in truck.supply.states
    }


def hand(idle: str = '"none"', top: str = "", *changes: tuple[str, str]) -> Truck:
    """A truck without any tolerance: 1 kΩ to 5 V, 333 Ω is up, 1 kΩ is down. `changes`: texts exchanged in its file."""
    text = EXACT.replace("IDLE", idle).replace("TOP", top)
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text, name="hand")


def effect(found: LineFaults, site: str, kind: str, detail: str = "") -> FaultEffect:
    """One fault of a dictionary."""
    return next(e for e in found.faults if (e.fault.site, e.fault.kind) == (site, kind) and detail in e.fault.detail)


def false_at(one: FaultEffect, command: str, *operated: str) -> list[tuple[float, float]]:
    """Severities of a false command in one situation."""
    for each in one.false:
        if each.command == command and each.operated == operated:
            assert each.severities is not None
            assert each.severities.exact
            return list(each.severities.outer)
    return []


def test_severities_by_hand() -> None:
    """r = R / (R + 1 kΩ): 20 to 30 % is 250 to 428.57 Ω, 45 to 55 % is 818.18 to 1222.2 Ω."""
    found = line_faults(hand(), "l")
    up, down = pytest.approx((250.0, 3000.0 / 7.0)), pytest.approx((9000.0 / 11.0, 11000.0 / 9.0))
    chafed = effect(found, "input.p", "chafed-to-ground")
    assert false_at(chafed, "up") == [up]
    assert false_at(chafed, "down") == [down]
    # With b pressed its 1 kΩ lies beside the leak: 1/R = 1/r - 1/1000.
    leak = [1.0 / (1.0 / ohm - 1e-3) for ohm in (250.0, 3000.0 / 7.0)]
    assert false_at(chafed, "up", "b") == [pytest.approx(tuple(leak))]
    assert false_at(effect(found, "contact.b.resistor", "drifted"), "up", "b") == [up]
    assert false_at(effect(found, "line.l.wire", "resistive"), "down", "a") == [
        pytest.approx((9000.0 / 11.0 - 333.0, 11000.0 / 9.0 - 333.0))
    ]
    assert false_at(effect(found, "contact.a", "worn"), "down", "a") == false_at(
        effect(found, "line.l.source_wire", "resistive"), "down", "a"
    )
    # To 12 V with a pressed: (5/1000 + 12 x) / (1/1000 + 1/333 + x) is 2.25 to 2.75 V; with nothing pressed no command.
    to_supply = effect(found, "input.p", "chafed-to-supply")
    both = [(12.0 - v) / (v * (1e-3 + 1.0 / 333.0) - 5e-3) for v in (2.75, 2.25)]
    assert false_at(to_supply, "down", "a") == [pytest.approx(tuple(both))]
    assert to_supply.rank == 1
    # Bridged inner wires put both resistors in parallel: a tap of b reads 249.8 to 1000 Ω, up from where it is 428.57.
    bridge = 1.0 / (1.0 / (3000.0 / 7.0) - 1e-3) - 333.0
    least = 1.0 / (1.0 / 250.0 - 1e-3) - 333.0
    assert false_at(effect(found, "contact.a", "bridged"), "up", "b") == [pytest.approx((least, bridge))]


def test_effects_by_hand() -> None:
    """Hard faults of a plain pull-up line, one after the other."""
    found = line_faults(hand(), "l")
    assert found.sound is not None
    assert found.sound.effect == "none"
    wire = effect(found, "line.l.wire", "open")
    assert (wire.effect, wire.unnoticed, wire.idle_reads) == ("command lost", True, ("idle",))
    assert wire.advice and "Outside check" in wire.advice[0]
    assert {each.operated for each in wire.lost} == {("a",), ("b",)}
    stuck = effect(found, "contact.a", "stuck-closed")
    assert (stuck.effect, stuck.commands[0], stuck.rank) == ("false command", "up", 0)
    assert effect(found, "contact.b", "wrong-throw").idle_reads == ("down",)
    assert effect(found, "contact.a.resistor", "decade-high").effect == "command lost"  # 3.33 kΩ: 76.9 %, idle
    swapped = effect(found, "contact.a", "swapped")
    assert {(each.command, each.operated) for each in swapped.false} == {("down", ("a",)), ("up", ("b",))}
    assert [each.effect for each in found.faults] == sorted(
        (each.effect for each in found.faults), key=["false command", "command lost", "none"].index
    )


def test_an_idle_resistor_shows_the_broken_wire() -> None:
    """4 kΩ at the far end reads 80 %, an open wire 100 %: with an upper edge and a fault window that is told apart."""
    top = 'high = "90 %"\n[[line.window]]\nmeaning = "open"\nlow = "95 %"\nfault = true'
    wire = effect(line_faults(hand('"4 kohm"', top), "l"), "line.l.wire", "open")
    assert (wire.effect, wire.reads_as_fault, wire.unnoticed) == ("command lost", True, False)
    assert wire.idle_reads == ("open",)


def test_every_site_has_its_kinds() -> None:
    """Sandpiper: counted from the table in docs/faults.md, ids without doubles and with design paths."""
    truck = load(example_path("sandpiper"))
    found = sites(whole_view(line_view(truck, "taps")))
    count = {kind: sum(each.kind == kind for each in found) for kind in {each.kind for each in found}}
    assert count["drifted"] == count["open"] - 2 == 5  # five coding resistors; two wires can open as well
    assert count["worn"] == count["wrong-throw"] == 5
    assert count["chafed-to-ground"] == count["chafed-to-supply"] == 3 + 5  # pin, far end, source; behind each contact
    assert count["bridged"] == 10  # each two of five branches
    assert count["swapped"] == 10  # no two share device and meaning
    assert count["unplugged"] == 1
    assert len({each.id for each in found}) == len(found)
    assert {each.kind for each in found if each.severity} == {
        "drifted", "worn", "resistive", "chafed-to-ground", "chafed-to-supply", "bridged"
    }  # fmt: skip


def test_a_contact_called_manual_is_no_enable() -> None:
    """A contact's own name never passes for a node of the form."""
    truck = load(example_path("heron"))
    bridged = [each for each in sites(line_view(truck, "shift")) if each.kind == "bridged"]
    assert bridged[0].nodes == ("contact manual", "contact paddle_up")
    assert fault_words(bridged[0]) == "bridge: wire of manual to wire of paddle_up"


def test_a_chafe_to_chassis_goes_past_the_series_diode() -> None:
    """The return lies 0.6 to 0.7 V above the chassis; the pin shorted to chassis reads 0 V, not that."""
    text = EXACT.replace("IDLE", '"none"').replace("TOP", "").replace(
        'return_offset = "none"', 'return_offset = "none"\nseries_diode = { low = "0.6 V", high = "0.7 V" }'
    ).replace('low = "20 %"\nhigh = "30 %"', 'low = "5 %"\nhigh = "30 %"')  # fmt: skip
    found = line_faults(loads(text, name="diode"), "l")
    chafed = effect(found, "input.p", "chafed-to-ground")
    # R / (R + 1 kΩ) of the reference is 5 to 30 % with nothing pressed: from 52.6 Ω, not from 0 Ω on
    assert false_at(chafed, "up") == [pytest.approx((1000.0 * 0.05 / 0.95, 3000.0 / 7.0))]


def test_contacts_named_like_nodes_of_the_form_are_bridged_where_they_are() -> None:
    """Contacts called far and source: the bridge lies between the contacts' own nodes."""
    text = EXACT.replace("IDLE", '"none"').replace("TOP", "")
    plain = effect(line_faults(loads(text, name="plain"), "l"), "contact.a", "bridged")
    renamed = text.replace('[["a", "b"]]', '[["far", "source"]]').replace('id = "a"', 'id = "far"')
    renamed = renamed.replace('id = "b"', 'id = "source"')
    other = effect(line_faults(loads(renamed, name="renamed"), "l"), "contact.far", "bridged")
    assert other.fault.nodes == ("contact far", "contact source")
    assert [each.severities for each in other.false] == [each.severities for each in plain.false]
    assert false_at(other, "up", "source")


def test_the_wire_behind_a_bare_enable_can_chafe() -> None:
    """Sandpiper with an enable that only feeds: `manual` is a wire all the same."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    bare = text.replace('resistor = "8.25k"', 'resistor = "none"', 1)
    assert bare != text
    found = sites(whole_view(line_view(loads(bare, name="bare"), "taps")))
    assert {each.kind for each in found if each.nodes == ("manual",)} == {"chafed-to-ground", "chafed-to-supply"}


def test_every_unsafe_fault_has_an_answer() -> None:
    """A cure, an order of cavities, or a check; what is called harmless holds no severity of any false command."""
    for name, truck in TRUCKS.items():
        known = against(truck, known_faults(name))
        unsafe = {each.fault.id: each for each in known_faults(name).of("false command")}
        assert known.remedies.keys() == unsafe.keys()
        limits = 0
        for ident, remedy in known.remedies.items():
            assert remedy.text.endswith(".")
            assert remedy.by != "cure"  # none was tried
            assert (remedy.by == "cavities") <= (unsafe[ident].fault.kind == "bridged")
            low, high = harmless(truck, unsafe[ident])
            if remedy.limit:
                limits += 1
                inside = [(low + high) / 2.0 if math.isfinite(high) else low * 1.01]
                sets = [each.severities for each in unsafe[ident].false]
                assert not any(each is not None and each.holds(ohm) for each in sets for ohm in inside)
        assert limits > 5


def test_what_is_called_harmless_is_rounded_inward() -> None:
    """A leak of 428.57 Ω and less is up: harmless above 429 Ω, not above 428."""
    assert limit_words(3000.0 / 7.0, math.inf) == "above 429 Ω"
    assert limit_words(0.0, 159.9) == "below 159 Ω"
    assert limit_words(1001.0, 2999.0) == "from 1.01 to 2.99 kΩ"
    assert limit_words(math.nan, math.nan) == limit_words(0.0, math.inf) == ""


def test_what_happens_without_a_fault_too_is_told_apart() -> None:
    """Heron loses a command by its ground offset; a resistor that is short anyway adds nothing to that."""
    found = known_faults("heron")
    assert found.sound is not None and found.sound.lost
    same = [each for each in found.faults if each.effect != "none" and not each.adds]
    assert same
    lost = {(each.meaning, each.key_state, each.operated) for each in found.sound.lost}
    assert all({(e.meaning, e.key_state, e.operated) for e in each.lost} <= lost and not each.false for each in same)


def test_the_page_of_faults_holds_every_fault_that_gives_a_false_command() -> None:
    """Book and report: one row for each, its limit or answer beside it; those no worse than the sound line left out."""
    for name, truck in TRUCKS.items():
        known = against(truck, known_faults(name))
        unsafe = [each for each in known_faults(name).of("false command") if each.adds]
        rows = [row for _, group in faults_page.tables(known) for row in group]
        assert [row[0] for row in rows] == [fault_words(each.fault) for each in sorted(unsafe, key=lambda e: e.rank)]
        assert all(row[1] and row[2] for row in rows)
        page = faults_page.report_section(known)
        blocks = faults_page.told_blocks([known])
        assert page.count("<table") == sum(each["kind"] == "table" for each in blocks) > 0
        assert f"Of {len(known_faults(name).faults)} single faults" in page


def _soldered(truck: Truck, path: str, ohm: float) -> Truck:
    """The truck with one resistance exactly so."""

    def swap(node: object) -> object:
        if isinstance(node, tuple):
            return tuple(swap(each) for each in node)
        if not dataclasses.is_dataclass(node) or isinstance(node, type):
            return node
        if getattr(node, "path", "") == path:
            if hasattr(node, "tolerance"):
                return dataclasses.replace(node, ohm=ohm, tolerance=0.0, ageing=0.0, tempco_per_k=0.0)
            return dataclasses.replace(node, value=ohm, low=ohm, high=ohm)
        moved = {
            each.name: swap(getattr(node, each.name))
            for each in dataclasses.fields(node)
            if isinstance(getattr(node, each.name), tuple) or dataclasses.is_dataclass(getattr(node, each.name))
        }
        return dataclasses.replace(node, **moved)  # fmt: skip

    out = swap(truck)
    assert isinstance(out, Truck)
    return out


@pytest.mark.parametrize(
    ("name", "line", "site", "kind", "path"),
    [
        ("sandpiper", "taps", "contact.wheel_up.resistor", "drifted", "contact.wheel_up.resistor"),
        ("sandpiper", "taps", "line.taps.wire", "resistive", "line.taps.wire"),
        ("sandpiper", "taps", "contact.lever_manual", "worn", "contact.lever_manual.closed"),
        ("heron", "shift", "line.shift.idle_resistor", "drifted", "line.shift.idle_resistor"),
        ("wagtail", "buttons", "contact.button_down.resistor", "drifted", "contact.button_down.resistor"),
    ],
)
def test_a_severity_is_that_number_in_the_design_file(name: str, line: str, site: str, kind: str, path: str) -> None:
    """The file with this very resistance meets a forbidden window exactly where the dictionary says so."""
    truck = load(example_path(name))
    one = effect(line_faults(truck, line), site, kind)
    closed = f"{site}.closed"
    for ohm in np.geomspace(1.0, 1e5, 41).tolist():
        other = _soldered(truck, closed if kind == "worn" else path, ohm)
        view = line_view(other, line)
        space = spaces_of(other, view.input)[0]
        commands = [each for each in windows_in(other, view.line, space) if each.kind == "command"]
        for state in truck.supply.states:
            seen = {(e.command, e.operated): e for e in one.false if e.key_state == state}
            operated = list(dict.fromkeys(each.operated for each in one.false))
            spans = pin_spans(view, state, space, [frozenset(each) for each in operated])
            for names, reading in zip(operated, spans.readings, strict=True):
                for window in commands:
                    entry = seen.get((window.meaning, names))
                    if entry is None or entry.severities is None:
                        continue
                    low, high = window.largest()
                    assert entry.severities.holds(ohm) == (reading.low <= high and reading.high >= low)


def drawn(view: LineView, low: np.ndarray, high: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Conductances of random trucks: each anywhere between its ends, often at one of them."""
    ends = np.minimum(high, 1e6)
    share = rng.random((64, low.size))
    share = np.where(rng.random(share.shape) < 0.4, np.round(share), share)
    return low + (ends - low) * share


@settings(max_examples=25)
@given(st.sampled_from(NAMES), st.integers(0, 2**32 - 1))
def test_random_trucks_read_a_command_only_inside_its_severities(name: str, seed: int) -> None:
    """Any truck of the box, any severity: a forbidden window is met only where the dictionary allows for it."""
    rng = np.random.default_rng(seed)
    truck = TRUCKS[name]
    found = known_faults(name)
    view = whole_view(line_view(truck, found.line))
    with_severity = [each for each in found.faults if each.fault.severity]
    for one in (with_severity[i] for i in rng.choice(len(with_severity), 4, replace=False)):
        change = change_of(view, one.fault)
        there = faulty_view(view, change.added)
        state = str(rng.choice(list(truck.supply.states)))
        space = spaces_of(truck, view.input)[0]
        situations = list(dict.fromkeys(o for _, o in allowed_in(name)))
        operated = situations[int(rng.integers(len(situations)))]
        ohm = float(10.0 ** rng.uniform(0.0, 5.0))
        low, high = (box[0] for box in box_of(there, change, [frozenset(operated)]))
        moving = change.severe[0] if change.severe else "fault.0"
        column = there.net.edge_index(moving)
        if high[column] == np.inf and low[column] == 0.0:
            low[column] = high[column] = 1.0 / ohm
        trucks = drawn(there, low, high, rng)
        causes = {each.id: rng.uniform(each.low_v, each.high_v, len(trucks)) for each in
                  there.causes(state, space.divisor)}  # fmt: skip
        rail_v = np.stack([sum(gain * causes[c] for c, gain in gains) + np.zeros(len(trucks)) for gains in
                           there.rail_gains], axis=1)  # fmt: skip
        volts = node_voltages(there.net, trucks, rail_v)[:, there.net.node_index(there.pin)]
        reading = np.clip(volts / (causes[space.divisor] if space.divisor else 1.0), 0.0, space.full_scale)
        for window in windows_in(truck, view.line, space):
            if window.kind != "command":
                continue
            least, most = window.largest()
            met = bool(((reading >= least + 1e-9) & (reading <= most - 1e-9)).any())
            allowed = window.meaning in allowed_in(name)[state, operated]
            wanted = (window.meaning, state, operated)
            entry = next((e for e in one.false if (e.command, e.key_state, e.operated) == wanted), None)
            if met and not allowed:
                assert entry is not None and entry.severities is not None and entry.severities.holds(ohm)


def test_each_end_is_reached_and_nothing_lies_beyond() -> None:
    """A hair inside an end some corner of the box reads the window; a hair outside none does. Sandpiper, chafes."""
    truck, found = TRUCKS["sandpiper"], known_faults("sandpiper")
    view = whole_view(line_view(truck, found.line))
    space = spaces_of(truck, view.input)[0]
    windows = {each.meaning: each.largest() for each in windows_in(truck, view.line, space)}
    checked = 0
    for one in found.faults:
        if one.fault.kind not in ("chafed-to-supply", "bridged"):
            continue
        there = faulty_view(view, change_of(view, one.fault).added)
        for each in one.false[:6]:
            assert each.severities is not None
            for end, inside in [
                (x, f) for low, high in each.severities.outer for x, f in ((low, 1.001), (high, 0.999))
            ]:
                if end in (0.0, math.inf):
                    continue
                for factor, meets in ((inside, True), (1.0 / inside, False)):
                    fixed = {"fault.0": end * factor}
                    got = pin_spans(there, each.key_state, space, [frozenset(each.operated)], fixed).readings[0]
                    low, high = windows[each.command]
                    assert (got.low <= high and got.high >= low) is meets
                    checked += 1
    assert checked > 100


def test_pairs_are_worse_than_both_and_bounded() -> None:
    """Only what neither fault does alone is listed, and the bound is said."""
    found = line_faults(hand(), "l", pairs=True)
    assert found.pairs is not None
    assert found.pairs.left_out == 0
    alone = {each.fault.id: each for each in found.faults}
    for pair in found.pairs.new:
        for fault in (pair.first, pair.second):
            mine = alone[fault.id].false
            assert (pair.command, pair.operated) not in {(e.command, e.operated) for e in mine}
    some = line_faults(hand(), "l", pairs=True, most_pairs=10).pairs
    assert some is not None
    assert (some.looked_at, some.left_out) == (10, found.pairs.looked_at - 10)


def test_a_pair_by_hand() -> None:
    """b stuck closed and its resistor drifted: nothing pressed reads up for 250 to 428.57 Ω; neither does so alone."""
    pairs = line_faults(hand(), "l", pairs=True).pairs
    assert pairs is not None
    one = next(p for p in pairs.new if {p.first.id, p.second.id} == {"contact.b stuck-closed",
                                                                     "contact.b.resistor drifted"}
               and p.command == "up")  # fmt: skip
    assert one.operated == ()
    sets = [each for each in (one.first_severities, one.second_severities) if each is not None]
    assert len(sets) == 1
    assert list(sets[0].outer) == [pytest.approx((250.0, 3000.0 / 7.0))]


def test_cures_are_proven_and_listed_again_before_they_are_offered() -> None:
    """An idle resistor on the plain line: the chooser's values go through the proof and the dictionary."""
    top = 'high = "90 %"\n[[line.window]]\nmeaning = "open"\nlow = "95 %"\nfault = true'
    truck = hand(top=top)
    proof = prove_line(truck, truck.line("l"), drift=False)
    asked: list[str] = []

    def chooser(changed: Truck, line_id: str) -> tuple[Truck, object, dict[str, str]]:
        asked.append(line_id)
        other = _soldered(changed, "line.l.idle_resistor", 4000.0)
        other = _soldered(_soldered(other, "contact.a.resistor", 363.0), "contact.b.resistor", 1333.0)
        return other, prove_line(other, other.line(line_id), drift=False), {"line.l.idle_resistor": "4 kohm"}

    (proposal,) = proposals(truck, "l")
    assert "idle resistor" in proposal.what
    before = line_faults(truck, "l")
    assert before.sound is not None and before.sound.idle_reads == ("open",)
    (cure,) = cures_of(truck, before, proof, chooser)  # type: ignore[arg-type]
    assert asked == ["l"]
    assert cure.mends
    assert all(name.startswith("line.l.idle_resistor") for name in cure.brings)  # the new part has faults of its own
    assert not list(proposals(hand(), "l"))  # the idle window reaches the rail: it would buy nothing


def test_taps_through_the_enable_are_tried_with_the_chooser_of_the_command() -> None:
    """Sandpiper with its taps fed directly: what the command offers was computed again, and helps."""
    text = example_path("sandpiper").read_text(encoding="utf-8").replace('taps_fed = "through enable"',
                                                                         'taps_fed = "directly"')  # fmt: skip
    truck = loads(text, name="direct")
    from pinproof.cli.cmd_faults import known_against

    before = line_faults(truck, "taps")
    (known,) = known_against(truck, [before])
    assert known.tried
    for cure in known.cures:
        assert cure.changes["line.taps.taps_fed"] == "through enable"
        assert cure.false_after < cure.false_before or cure.mends or cure.shows
        assert set(cure.removes) <= {each.fault.id for each in before.faults if each.effect == "false command"}
        assert {known.remedies[name].by for name in cure.removes} == {"cure"}


def test_order_of_cavities_keeps_harmful_neighbours_apart() -> None:
    """No two neighbours without an empty cavity between are a harmful bridge; fewer gaps are not possible."""
    import itertools

    found = known_faults("sandpiper")
    order = cavity_order(found)
    assert order is not None
    harmful = {frozenset(e.fault.nodes) for e in found.faults if e.fault.kind == "bridged" and e.false}

    def gaps(names: tuple[str, ...]) -> int:
        return sum(frozenset(pair) in harmful for pair in itertools.pairwise(names))

    assert gaps(order.order) == len(order.empty_after) == min(map(gaps, itertools.permutations(order.order)))


def test_words_round_outward() -> None:
    """What is printed holds the whole interval."""
    assert interval_words(1234.5, 3401.0) == "of 1.23 to 3.41 kΩ"
    assert interval_words(0.0, 34.01) == "up to 34.1 Ω"
    assert interval_words(999.9, math.inf) == "above 999 Ω"
    one = effect(line_faults(hand(), "l"), "input.p", "chafed-to-ground")
    assert commands_words(one) == "up for leaks of 250 to 429 Ω; down for leaks of 818 Ω to 1.23 kΩ"


@pytest.mark.parametrize("name", NAMES)
def test_the_command_and_its_json(name: str) -> None:
    """Both come from one result; exit code 1 with a false command; the terminal page stays readable."""
    result = CliRunner().invoke(group, ["faults", str(example_path(name)), "--json", "--no-cures"])
    plain = json.loads(result.stdout)
    assert result.exit_code == 1
    assert plain["lines"] == as_json(retest(TRUCKS[name]).lines)
    page = CliRunner().invoke(group, ["faults", str(example_path(name)), "--no-cures"]).stdout
    assert page.startswith("FAULTS CAN GIVE FALSE COMMANDS")
    assert len(page.splitlines()) < 70
    assert max(map(len, page.splitlines())) <= 120
    assert str(len(plain["lines"][0]["faults"])) in page


def test_a_line_that_cannot_be_proven_is_not_safe() -> None:
    """An unknown pull: nothing is listed, the reason is said, the exit code is not 0."""
    text = EXACT.replace("IDLE", '"none"').replace("TOP", "")
    text = text.replace('pull_up = { value = "1 kohm", tolerance = "0 %" }', 'pull_up = "unknown"')
    report = faults_of(loads(text.replace('"20 %"', '"0.2"'), name="unknown"))
    assert report.lines[0].faults == ()
    assert "unknown" in report.lines[0].reason
    assert report.exit_code == 1


def _inside(small: tuple[tuple[float, float], ...], large: tuple[tuple[float, float], ...]) -> bool:
    return all(any(a <= low and high <= b for a, b in large) for low, high in small)


@pytest.mark.parametrize("most", [2, 10_000])
def test_brackets_hold_the_exact_sets(monkeypatch: pytest.MonkeyPatch, most: int) -> None:
    """With corners forbidden every set is bracketed: the exact one lies between, and no false command goes missing.

    Beyond the number of brackets nothing is claimed, and that is sound too.
    """
    exact = {each.fault.id: each for each in known_faults("wagtail").faults}
    monkeypatch.setattr("pinproof.faults.severity.MOST_BITS", -1)
    monkeypatch.setattr("pinproof.faults.severity.MOST_BRACKETS", most)
    seen = 0
    for one in line_faults(TRUCKS["wagtail"], "buttons").faults:
        rough = {(e.command, e.key_state, e.operated): e for e in one.false}
        for each in exact[one.fault.id].false:
            got = rough[each.command, each.key_state, each.operated]
            if each.severities is not None and got.severities is not None:
                assert _inside(each.severities.outer, got.severities.outer)
                assert _inside(got.severities.inner, each.severities.outer)
                assert not got.severities.exact
                seen += 1
    assert seen > 20


def test_a_shared_temperature_is_bracketed() -> None:
    """Two resistors that drift against each other: ends in a narrow bracket, and the words say so.

    One alone is at its worst at an end of the temperature range; that is exact.
    """
    text = example_path("wagtail").read_text(encoding="utf-8")
    for ohm, tempco in (("220 ohm", "300 ppm/K"), ("620 ohm", "-300 ppm/K")):
        part = f'{{ value = "{ohm}", tempco = "{tempco}", tempco_sign = "known" }}'
        text = text.replace(f'resistor = "{ohm}"', f"resistor = {part}")
    one = effect(line_faults(loads(text, name="warm"), "buttons"), "input.button_pin", "chafed-to-ground")
    entry = next(e for e in one.false if e.operated == ("button_down",) and e.command == "up")
    assert entry.severities is not None and entry.sure and not entry.severities.exact
    (outer,), (inner,) = entry.severities.outer, entry.severities.inner
    assert outer[0] <= inner[0] and inner[1] <= outer[1]
    assert outer[1] / inner[1] < 1.005
    assert "(bracketed)" in severity_words(one.fault, entry.severities)
