"""The start inhibit on plain numbers: by hand, and against a slow search that shares nothing with the engine.

The slow search solves the whole circuit as dense equations at every corner of every number, for every combination of
relays, on a grid of severities.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import product
from math import inf

import numpy as np
import pytest

from pinproof.inhibit import (
    Branch,
    Circuit,
    Code,
    Consumer,
    Feed,
    Ground,
    InhibitFault,
    Part,
    Relay,
    StartCircuit,
    Supply,
    as_json,
    built,
    compare,
    form_of,
    in_form,
    prove,
    relay_states,
    truth_table,
)
from pinproof.inhibit.ask import Question, answers
from pinproof.inhibit.boxes import Bench, Change, Situation
from pinproof.inhibit.circuit import BATTERY, travel
from pinproof.inhibit.defeats import _by_command as by_command
from pinproof.inhibit.influence import _judged as judged
from pinproof.inhibit.results import Set
from pinproof.inhibit.sets import ALL, Interval, complement, intersection, union, union_of, without
from pinproof.inhibit.states import coil_volts
from pinproof.inhibit.words import influence_words
from pinproof.verdict import Verdict

POSITIONS = ("P", "R", "N", "D")
OPEN_BETWEEN = [("P|R", "open"), ("R|N", "open"), ("N|D", "open")]
QUESTIONS: tuple[Question, ...] = ("holds", "pulls_in", "stays_out", "refuses", "lets_go", "drops")
CRANKS: tuple[Question, ...] = ("holds", "pulls_in")


# --- by hand -----------------------------------------------------------------------------------------------------


def bare(**more: object) -> Circuit:
    """Battery 12 V, position switch, coil of 80 Ω to ground: no wires, nothing uncertain."""
    closed, either = travel(POSITIONS, ["P", "N"], OPEN_BETWEEN)
    branches = (
        Branch("pn", "switch", BATTERY, "x", 1.0, 1.0, by="lever", closed_at=closed, either_at=either, device="lever"),
        Branch("coil", "coil", "x", "stud", 80.0, 80.0),
    )
    made = Circuit(
        branches, (Relay("start_relay", "coil", 7.2, 7.2, 1.2, 1.2),), (Ground("stud"),), (Supply("run", 12.0, 12.0),),
        POSITIONS, frozenset(["P", "N"]), "start_relay", lever="lever", nets=(("x", "x"),),
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def at(point: str, *, request: bool = True, **more: object) -> Situation:
    """A situation with the key at run."""
    return Situation(point, request, "run", **more)  # type: ignore[arg-type]


def test_a_chafe_to_twelve_volts_holds_below_720_ohm_and_pulls_in_up_to_53_333() -> None:
    """Holds while 12 · 80 / (80 + R) > 1.2: R < 720 Ω. Pulls in from 7.2 V: R ≤ 960 / 7.2 − 80 = 53.333 Ω."""
    got = answers(Bench(bare(), Change(join=("x", BATTERY))), [at("R")], CRANKS)[0]
    assert got.holds.exact and got.pulls_in.exact
    (holds,), (pulls,) = got.holds.outer, got.pulls_in.outer
    assert (holds.low_ohm, holds.low_in, holds.high_in) == (0.0, True, False)
    assert holds.high_ohm == pytest.approx(720.0, rel=1e-12)
    assert pulls.high_ohm == pytest.approx(960.0 / 7.2 - 80.0, rel=1e-12)
    assert pulls.high_in


def test_the_volts_of_a_coil_in_a_bridge_are_those_of_thevenin() -> None:
    """Arms 100, 200 and 300, 150 Ω at 12 V, coil 60 Ω between: V_th = 12 (200/300 − 150/450) = 4 V,
    R_th = 100∥200 + 300∥150 = 166.667 Ω, so the coil has 4 · 60 / 226.667 = 1.0588 V."""
    circuit = _bridge(60.0, 60.0)
    low, high, exact = coil_volts(Bench(circuit), at("R"), (False,), 0)
    assert exact
    assert low == pytest.approx(4.0 * 60.0 / (60.0 + 500.0 / 3.0), rel=1e-12)
    assert high == pytest.approx(low, rel=1e-12)


def test_the_coil_of_a_bridge_can_pull_in_backwards() -> None:
    """With a chafe of its low side to battery through R the coil's volts reverse: solved by hand at R = 0: 12 − 12·…"""
    circuit = _bridge(1000.0, 1000.0)
    got = answers(Bench(circuit, Change(join=("y", BATTERY))), [at("R")], CRANKS)[0]
    # y on battery: x = 12·(1/100 + 1/1000) / (1/100 + 1/200 + 1/1000) = 8.25 V, so the coil has −3.75 V.
    # Without the chafe it has 4·1000/(1000 + 166.667) = 3.4286 V, above the drop-out of 1.2 V as well.
    (first, last) = got.holds.outer
    assert first.holds(0.0) and last.holds(inf) and not first.holds(100.0)
    # At the ends of the gap the volts are −1.2 and 1.2; the Thevenin form gives both from three solutions.
    v_open, v_short = 4.0 / (1.0 + 500.0 / 3000.0), -3.75
    seen = _seen_at_y()
    for end, volts in ((first.high_ohm, -1.2), (last.low_ohm, 1.2)):
        g = 1.0 / end
        assert (v_open * seen + v_short * g) / (seen + g) == pytest.approx(volts, rel=1e-9)


def _seen_at_y() -> float:
    """Conductance at node y with the battery shorted: 300∥150 and 1000 + 100∥200 in parallel. [S]"""
    return 1 / 300 + 1 / 150 + 1 / (1000.0 + 200.0 / 3.0)


def _bridge(low: float, high: float) -> Circuit:
    branches = (
        Branch("a", "resistor", BATTERY, "x", 100.0, 100.0),
        Branch("b", "resistor", "x", "stud", 200.0, 200.0),
        Branch("c", "resistor", BATTERY, "y", 300.0, 300.0),
        Branch("d", "resistor", "y", "stud", 150.0, 150.0),
        Branch("coil", "coil", "x", "y", low, high),
        Branch("pn", "switch", BATTERY, "z", 1.0, 1.0, by="lever", closed_at=frozenset("P")),
    )
    return bare(branches=branches)


def test_a_relay_fed_through_its_own_normally_closed_contact_chatters() -> None:
    """Open it has 12 V and pulls in, closed it has none and lets go: no state, whatever the limits."""
    circuit = bare(branches=(*_with_contact(normally_closed=True),))
    states = relay_states(circuit, at("P"))
    assert states.possible == ()
    assert states.chatters is True
    cells = {row.position: row.cells[0] for row in truth_table(circuit)}
    assert cells["P"].verdict is Verdict.FAIL and cells["P"].chatters
    assert cells["R"].verdict is Verdict.PASS


def test_a_relay_that_holds_itself_depends_on_history() -> None:
    """Its own contact lies across the position switch: in R it stays as it is, closed or open."""
    circuit = bare(branches=(*_with_contact(normally_closed=False),))
    states = relay_states(circuit, at("R"))
    assert set(states.possible) == {(), ("start_relay",)}
    assert states.history and states.chatters is False
    assert states.reached == ((),)
    cells = {row.position: row.cells for row in truth_table(circuit)}
    assert cells["R"][0].verdict is Verdict.FAIL and cells["R"][0].history
    assert cells["P"][0].verdict is Verdict.PASS


def _with_contact(*, normally_closed: bool) -> tuple[Branch, ...]:
    switch, coil = bare().branches
    if normally_closed:
        contact = Branch(
            "own", "relay contact", "w", "x", 0.1, 0.1, by="relay", relay="start_relay", normally_closed=True
        )
        return replace(switch, b="w"), contact, coil
    return switch, Branch("own", "relay contact", BATTERY, "x", 0.1, 0.1, by="relay", relay="start_relay"), coil


def test_a_relay_that_sags_its_own_supply_is_not_sure_to_crank() -> None:
    """The contact loads the feed: 12 V behind 2 Ω, motor 0.5 Ω; closed, the coil has 12·0.497/2.497 ≈ 2.4 V. With a
    drop-out of up to 4 V some truck chatters, with one of 1.2 V none does."""
    closed, either = travel(POSITIONS, ["P", "N"], OPEN_BETWEEN)
    branches = (
        Branch("feed", "wire", BATTERY, "f", 2.0, 2.0),
        Branch("pn", "switch", "f", "x", 0.1, 0.1, by="lever", closed_at=closed, either_at=either),
        Branch("coil", "coil", "x", "stud", 80.0, 80.0),
        Branch("main", "relay contact", "f", "m", 0.01, 0.01, by="relay", relay="start_relay"),
        Branch("motor", "load", "m", "stud", 0.5, 0.5),
    )
    for drop_out, verdict in ((1.2, Verdict.PASS), (4.0, Verdict.FAIL)):
        circuit = bare(branches=branches, relays=(Relay("start_relay", "coil", 7.2, 7.2, 1.2, drop_out),), turns="main")
        row = truth_table(circuit)[0]
        assert row.cells[0].verdict is verdict
        assert row.cells[0].chatters is (verdict is Verdict.FAIL)


def test_least_supply_is_where_the_least_volts_equal_the_most_pull_in() -> None:
    """Switch 1 Ω, coil 80 Ω: 7.2 V at the coil need 7.2 · 81 / 80 = 7.29 V."""
    row = truth_table(bare())[0]
    assert row.least_supply_v == pytest.approx(7.29, abs=1e-6)


def test_a_mid_travel_point_that_nobody_measured_is_not_shown() -> None:
    """Closed in P, open in R: between them it is one or the other; measured open, it passes."""
    closed, either = travel(POSITIONS, ["P", "N"])
    assert either == {"P|R", "R|N", "N|D"}
    switch, coil = bare().branches
    rows = {row.position: row for row in truth_table(bare(branches=(replace(switch, either_at=either), coil)))}
    assert rows["P|R"].cells[0].verdict is Verdict.NOT_SHOWN
    assert rows["P|R"].cells[0].either == ("pn",)
    assert rows["R"].cells[0].verdict is Verdict.PASS
    rows = {
        row.position: row for row in truth_table(bare(branches=(replace(switch, closed_at=closed | {"P|R"}), coil)))
    }
    assert rows["P|R"].cells[0].verdict is Verdict.FAIL


# --- sets --------------------------------------------------------------------------------------------------------


def test_sets_keep_whether_ends_belong() -> None:
    """Touching open ends leave a point out, a closed one joins; cutting and taking away agree with single points."""
    a = (Interval(0.0, 5.0, True, False),)
    b = (Interval(5.0, inf, False, True),)
    assert union([a, b]) == (*a, *b)
    assert union([a, b, (Interval(5.0, 5.0),)]) == ALL
    assert complement(a) == (Interval(5.0, inf),)
    rng = np.random.default_rng(7)
    for _ in range(200):
        one, other = _random_set(rng), _random_set(rng)
        for x in np.arange(0.0, 6.5, 0.5).tolist():
            has = [any(each.holds(x) for each in some) for some in (one, other)]
            assert any(each.holds(x) for each in union([one, other])) == any(has)
            assert any(each.holds(x) for each in intersection([one, other])) == all(has)
            assert any(each.holds(x) for each in without(one, other)) == (has[0] and not has[1])


def test_the_union_of_very_many_is_that_of_few() -> None:
    """Beyond a few intervals those that begin at 0 or end at inf are thinned first: no point changes."""
    rng = np.random.default_rng(3)
    for _ in range(100):
        ends = np.sort(rng.choice([0.0, 1.0, 2.0, 3.0, 4.0, inf], (40, 2)), axis=1)
        low_in, high_in = rng.random((2, 40)) < 0.5
        few = int(rng.integers(18, 24))
        found = union_of(ends[:few, 0], ends[:few, 1], low_in[:few], high_in[:few])
        listed = [
            Interval(*each) for each in zip(*ends[:few].T.tolist(), low_in.tolist(), high_in.tolist(), strict=False)
        ]
        for x in [*np.arange(0.0, 4.5, 0.5).tolist(), inf]:
            assert any(each.holds(x) for each in found) == any(each.holds(x) for each in listed)


def _random_set(rng: np.random.Generator) -> tuple[Interval, ...]:
    out = []
    for _ in range(int(rng.integers(0, 3))):
        low, high = sorted(rng.integers(0, 7, 2).tolist())
        ends = rng.random(2) < 0.5
        if low < high or ends.all():
            out.append(Interval(float(low), float(high), bool(ends[0]), bool(ends[1])))
    return union([(each,) for each in out])


# --- against the slow search -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Slow:
    """Dense equations for one circuit, change and situation."""

    circuit: Circuit
    change: Change
    situation: Situation

    def numbers(self, closed: tuple[bool, ...]) -> list[tuple[str, str, float, float]]:
        """(a, b, least, most conductance) of every branch, read from the words of the specification."""
        place = {each.id: n for n, each in enumerate(self.circuit.relays)}
        out = []
        for each in self.circuit.branches:
            on = {
                "always": lambda e: True,
                "lever": lambda e: self.situation.point in e.closed_at,
                "start": lambda e: self.situation.request,
                "relay": lambda e: closed[place[e.relay]] != e.normally_closed,
                "command": lambda e: (e.id in (self.situation.operated or ())) != e.normally_closed,
                "key": lambda e: True,
            }[each.by](each)
            on = dict(self.change.stuck).get(each.id, on)
            if each.id == self.change.severe:
                out.append((each.a, each.b, -1.0, -1.0))
            elif on:
                out.append((each.a, each.b, 1.0 / each.high_ohm, 1.0 / each.low_ohm))
            else:
                out.append((each.a, each.b, 0.0, 0.0 if each.open_ohm == inf else 1.0 / each.open_ohm))
        if self.change.join:
            out.append((*self.change.join, -1.0, -1.0))
        return out

    def classes(self, ohm: float) -> dict[str, bool]:
        """Which of the questions some corner and some combination answer with yes, at this severity."""
        circuit = self.circuit
        found: dict[str, bool] = dict.fromkeys(QUESTIONS, False)
        coil = [each.id for each in circuit.relays].index(circuit.coil)
        rails = [(each.id, each.low_v, each.high_v) for each in circuit.grounds]
        rails += [(BATTERY, s.low_v, s.high_v) for s in circuit.supplies if s.key == self.situation.key]
        for closed in product((False, True), repeat=len(circuit.relays)):
            volts = self._volts(closed, ohm, rails)  # (corners, relays)
            for question in QUESTIONS:
                if closed[coil] != (question in ("holds", "lets_go", "drops")):
                    continue
                ok = np.ones(len(volts), dtype=bool)
                for n, (relay, on) in enumerate(zip(circuit.relays, closed, strict=True)):
                    v, firm = volts[:, n], question in ("refuses", "drops")
                    if n == coil:
                        ok &= {
                            "holds": v > relay.drop_out_low_v, "pulls_in": v >= relay.pull_in_low_v,
                            "stays_out": v < relay.pull_in_high_v, "refuses": v < relay.pull_in_low_v,
                            "lets_go": v <= relay.drop_out_high_v, "drops": v <= relay.drop_out_low_v,
                        }[question]  # fmt: skip
                    elif on and question == "pulls_in":
                        ok &= v >= relay.pull_in_low_v
                    elif on:
                        ok &= v > (relay.drop_out_high_v if firm else relay.drop_out_low_v)
                    else:
                        ok &= v < (relay.pull_in_low_v if firm else relay.pull_in_high_v)
                found[question] |= bool(ok.any())
        return found

    def _volts(self, closed: tuple[bool, ...], ohm: float, rails: list[tuple[str, float, float]]) -> np.ndarray:
        listed = self.numbers(closed)
        fixed = {name for name, _, _ in rails}
        nodes = sorted({end for a, b, _, _ in listed for end in (a, b)} - fixed)
        index = {name: n for n, name in enumerate(nodes)}
        rows = []
        ends = [(ohm,) if low < 0 else tuple(dict.fromkeys((low, high))) for _, _, low, high in listed]
        poles = {each.id: each for each in self.circuit.branches}
        for numbers in product(*ends):
            matrix = np.eye(len(nodes)) * 1e-15  # a node that hangs on nothing is at 0 V
            pushes = np.zeros((len(nodes), len(rails)))
            for (a, b, low, _), g in zip(listed, numbers, strict=True):
                g = (0.0 if g == inf else 1.0 / g) if low < 0 else g
                for one, other in ((a, b), (b, a)):
                    if one in index:
                        matrix[index[one], index[one]] += g
                        if other in index:
                            matrix[index[one], index[other]] -= g
                        else:
                            pushes[index[one], [name for name, _, _ in rails].index(other)] += g
            answer = np.linalg.solve(matrix, pushes)
            for levels in product(*[tuple(dict.fromkeys((low, high))) for _, low, high in rails]):
                at_v = dict(zip(nodes, answer @ np.array(levels), strict=True))
                at_v |= dict(zip([name for name, _, _ in rails], levels, strict=True))
                coils = [poles[each.coil] for each in self.circuit.relays]
                rows.append([abs(at_v[each.a] - at_v[each.b]) for each in coils])
        return np.array(rows)


def two_relays() -> Circuit:
    """Start button, position switch, helper relay, its contact, start relay; a coded line beside them."""
    closed, either = travel(POSITIONS, ["P", "N"], OPEN_BETWEEN)
    branches = (
        Branch("feed", "wire", BATTERY, "f", 0.2, 0.8),
        Branch("key", "switch", "f", "k", 0.02, 0.02, by="start"),
        Branch("pn", "switch", "k", "h", 0.05, 0.05, 2e5, by="lever", closed_at=closed, either_at=either),
        Branch("helper coil", "coil", "h", "stud", 70.0, 110.0),
        Branch("contact", "relay contact", "f", "s", 0.05, 0.05, by="relay", relay="helper"),
        Branch("start coil", "coil", "s", "frame", 8.0, 12.0),
        Branch("lamp", "load", "f", "frame", 6.0, 6.0),
        Branch("pull", "resistor", BATTERY, "pin", 500.0, 500.0),
        Branch("up", "contact", "pin", "stud", 40.0, 40.0, by="command"),
    )
    return Circuit(
        branches,
        (Relay("helper", "helper coil", 5.0, 8.0, 1.2, 4.0), Relay("start", "start coil", 5.0, 7.5, 1.0, 3.0)),
        (Ground("stud", -0.1, 0.1), Ground("frame")), (Supply("run", 10.0, 14.0),), POSITIONS, frozenset(["P", "N"]),
        "start", nets=(("f", "f"), ("h", "h"), ("s", "s"), ("pin", "pin")),
    )  # fmt: skip


def with_rest_contact() -> Circuit:
    """The same with the helper's contact normally closed: the start relay is on while the helper is off."""
    made = two_relays()
    swapped = tuple(replace(each, normally_closed=each.id == "contact") for each in made.branches)
    return replace(made, branches=swapped)


def ground_side() -> Circuit:
    """One relay, position switch behind its coil; the button's feed is shared with a lamp."""
    made = two_relays()
    closed, either = travel(POSITIONS, ["P", "N"], OPEN_BETWEEN)
    branches = (
        Branch("feed", "wire", BATTERY, "f", 0.2, 1.5),
        Branch("key", "switch", "f", "k", 0.02, 0.02, by="start"),
        Branch("start coil", "coil", "k", "l", 70.0, 110.0),
        Branch("pn", "switch", "l", "stud", 0.05, 0.05, 2e5, by="lever", closed_at=closed, either_at=either),
        Branch("lamp", "load", "f", "frame", 6.0, 6.0),
        *made.branches[-2:],
    )
    return replace(made, branches=branches, relays=(replace(made.relays[0], id="start", coil="start coil"),))


CASES = [
    (two_relays, Change(join=("h", BATTERY)), at("R")),
    (two_relays, Change(join=("h", BATTERY)), at("R", request=False)),
    (two_relays, Change(join=("h", "stud")), at("P")),
    (two_relays, Change(join=("s", BATTERY)), at("D")),
    (two_relays, Change(join=("s", "h")), at("D")),
    (two_relays, Change(join=("h", "pin")), at("R")),
    (two_relays, Change(join=("h", "pin")), at("R", operated=frozenset(["up"]))),
    (two_relays, Change(severe="feed"), at("P")),
    (two_relays, Change(severe="contact"), at("P")),
    (with_rest_contact, Change(join=("h", BATTERY)), at("R")),
    (with_rest_contact, Change(join=("h", "s")), at("R")),
    (ground_side, Change(join=("l", "frame")), at("R")),
    (ground_side, Change(join=("l", BATTERY)), at("R")),
    (ground_side, Change(join=("l", "pin")), at("R", operated=frozenset(["up"]))),
    (ground_side, Change(severe="pn"), at("P")),
    (lambda: _bridge(400.0, 900.0), Change(join=("y", BATTERY)), at("R")),
    (lambda: _bridge(400.0, 900.0), Change(join=("x", "stud")), at("R")),
]


@pytest.mark.parametrize(("make", "change", "situation"), CASES)
def test_no_severity_is_classed_differently_by_the_slow_search(make, change, situation) -> None:  # type: ignore[no-untyped-def]
    """What surely happens agrees at every severity of a grid, and what can at most happen holds all of it."""
    circuit = make()
    got = answers(Bench(circuit, change), [situation], QUESTIONS)[0]
    slow = Slow(circuit, change, situation)
    differs = []
    for ohm in [*np.logspace(-3, 7, 41).tolist(), inf]:
        for question, yes in slow.classes(ohm).items():
            found = getattr(got, question)
            inner = any(each.holds(ohm) for each in found.inner)
            outer = any(each.holds(ohm) for each in found.outer)
            if inner != yes or (yes and not outer):
                differs.append((question, ohm, yes, inner, outer))
    assert not differs
    # Where one number raises one coil's volts and lowers another's, both conditions can be met inside the box only.
    opposed = make is two_relays and change.severe == "feed"
    assert got.holds.exact and got.pulls_in.exact is not opposed


def test_conditions_that_pull_apart_are_met_inside_the_box_and_bracketed() -> None:
    """The helper wants its ground stud low, the start coil, through the shared feed, wants it high. The corners alone
    leave severities out that a truck with a stud between has; the outer set holds them."""
    circuit = two_relays()
    got = answers(Bench(circuit, Change(severe="feed")), [at("P")], ("pulls_in",))[0].pulls_in
    inner, outer = got.inner[-1].high_ohm, got.outer[-1].high_ohm
    assert inner < outer < 1.01 * inner
    ohm = inner + 0.2 * (outer - inner)

    def pulls_in(studs: list[float]) -> bool:
        made = [replace(circuit, grounds=(Ground("stud", v, v), Ground("frame"))) for v in studs]
        return any(Slow(each, Change(severe="feed"), at("P")).classes(ohm)["pulls_in"] for each in made)

    assert pulls_in(np.linspace(-0.1, 0.1, 41).tolist())
    assert not pulls_in([-0.1, 0.1])


def test_the_slow_search_sees_a_wrong_answer() -> None:
    """A check that cannot fail shows nothing: with another coil the grid must differ."""
    right = Slow(two_relays(), Change(join=("h", BATTERY)), at("R"))
    branches = tuple(
        replace(each, low_ohm=20.0, high_ohm=30.0) if each.id == "helper coil" else each
        for each in right.circuit.branches
    )
    wrong = replace(right, circuit=replace(right.circuit, branches=branches))
    assert any(right.classes(ohm) != wrong.classes(ohm) for ohm in np.logspace(0, 4, 41).tolist())


# --- whole circuits ----------------------------------------------------------------------------------------------


def start_circuit(form: str = "H", **more: object) -> StartCircuit:
    """An invented truck: key, position switch, start relay, a lamp on the same feed, a coded line in the same plug."""
    closed, either = travel(POSITIONS, ["P", "N"], OPEN_BETWEEN)
    parts = (
        Part("key_start", "switch", "start", 0.0, 0.05, 1e6, device="key"),
        Part("pn_switch", "switch", "lever", 0.0, 0.05, 1e6, closed_at=closed, either_at=either, device="lever"),
        Part("start_relay.main", "relay contact", "relay", 0.0, 0.01, 1e6, relay="start_relay"),
        Part("start_driver", "driver", "lever", 0.0, 0.5, 1e6, closed_at=closed, either_at=either, side="low"),
    )
    high = (("key_start",), ("pn_switch",)) if form.startswith("H") else (("key_start",),)
    low = tuple((name,) for name, there in (("pn_switch", form == "L"), ("start_driver", "K" in form)) if there)
    wires = dict.fromkeys(
        [f"{name}.{end}" for name in ("key_start", "pn_switch", "start_driver") for end in "ab"]
        + ["ign.in", "ign", "start_relay.plus", "start_relay.minus", "lamp.plus", "lamp.minus"],
        0.05,
    )
    made = StartCircuit(
        "start_relay", "lever", POSITIONS, frozenset(["P", "N"]), ("key_start",),
        (Supply("run", 11.0, 15.0), Supply("crank", 8.5, 13.0)), (Ground("stud", -0.1, 0.1),),
        (Feed("ign", frozenset(["run", "crank"]), fuse_a=10.0),),
        (
            Consumer("start_relay", "ign", "stud", 70.0, 110.0, high, low, (5.0, 8.0), (1.2, 4.0)),
            Consumer("lamp", "ign", "stud", 10.0, 12.0),
        ),
        parts, turns="start_relay.main", wire_ohm=wires,
        others=(
            Branch("pull", "resistor", BATTERY, "tap pin", 900.0, 1100.0),
            Branch("lever_up", "contact", "tap pin", "stud", 100.0, 110.0, 1e6, by="command"),
        ),
        other_nets=(("taps", "tap pin"),),
        meets=(("tap pin", "start_relay.minus", "firewall plug"), ("tap pin", "pn_switch.a", "firewall plug")),
        cavities=(("key_start.b", "start_relay.plus", "relay socket"),),
        joints=(("column", ("key_start.a", "key_start.b")),),
        command_sets=(frozenset(["lever_up"]),),
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def by_id(faults, name: str):  # type: ignore[no-untyped-def]
    """The one fault with this id."""
    return next(each for each in faults if each.id == name)


def test_feed_side_truck() -> None:
    """The table passes; a welded contact and a chafe to supply behind the switch crank in gear, a chafe to ground does
    not; defeats come first and each has its test."""
    report = prove(start_circuit())
    assert report.form == "H"
    assert {cell.verdict for row in report.table for cell in row.cells} == {Verdict.PASS}
    ids = [each.id for each in report.defeats]
    assert [each.id for each in report.faults[: len(ids)]] == ids
    assert report.faults[0].effect == "cranks in gear, no request"
    welded = by_id(report.faults, "start_relay.main stuck-closed")
    assert welded.defeat and welded.inherent and welded.effect == "cranks in gear, no request"
    chafe = by_id(report.faults, "pn_switch.b chafed-to-supply")
    assert chafe.defeat and not chafe.inherent
    # 15.1 V over 110 Ω: pulls in from 5 V, holds above 1.2 V.
    most = max(each.high_ohm for one in chafe.sets for each in one.pulls_in)
    assert most == pytest.approx(110.0 * 10.1 / 5.0, rel=1e-3)
    assert max(each.high_ohm for each in chafe.harmful()) == pytest.approx(
        110.0 * 13.9 / 1.2, rel=2e-3
    )  # leaks of 1 MΩ
    assert by_id(report.faults, "pn_switch.b chafed-to-ground").effect == "no crank"
    assert by_id(report.faults, "start_relay.coil open").effect == "no crank"
    stuck = by_id(report.faults, "pn_switch stuck-closed")
    assert stuck.hidden and stuck.effect == "cranks in gear"
    for each in report.defeats:
        assert len(each.test) == 3 and each.cure
        assert "chocks" in each.test[0] and each.test[1]
    assert report.verdict is Verdict.FAIL and report.exit_code == 1


def test_ground_side_truck_is_defeated_by_a_chafe_to_ground_and_by_a_press() -> None:
    """The likeliest short is a defeat in L; a bridge to a coded line whose contact goes to ground makes a press one."""
    report = prove(start_circuit("L"))
    chafe = by_id(report.faults, "start_relay.minus chafed-to-ground")
    assert chafe.defeat and chafe.hidden and not chafe.inherent and chafe.shown
    bridge = next(each for each in report.faults if each.kind == "bridged" and each.by_command)
    assert bridge.by_command[0][0] == ("lever_up",)
    assert report.influence.separate
    assert report.influence.by_faults == (bridge.id,)
    assert report.influence.verdict is Verdict.FAIL


def test_commands_cannot_raise_a_feed_side_coil() -> None:
    """In H no severity of any single fault lets a command contact raise the coil."""
    influence = prove(start_circuit()).influence
    assert influence.separate and influence.by_faults == () and influence.verdict is Verdict.PASS


def test_a_coded_line_that_shares_the_feed_is_judged_by_numbers() -> None:
    """A load switched by a command contact on the same feed: not separate; its press only lowers the coil's volts."""
    shared = start_circuit()
    others = (*shared.others, Branch("horn", "contact", "ign", "stud", 20.0, 20.0, by="command"))
    report = prove(replace(shared, others=others, command_sets=(frozenset(["lever_up"]), frozenset(["horn"]))))
    assert not report.influence.separate and report.influence.shared == ("horn",)
    assert {row.verdict for row in report.influence.rows} == {Verdict.PASS}
    assert all(row.worst_v <= row.none_v + 1e-9 for row in report.influence.rows)


def test_a_lift_below_the_drop_out_is_told_and_no_defeat() -> None:
    """A button's load shares the coil's ground wire, and a lamp beside the coil has a ground of its own: at most
    15 V over 20 Ω lift the 50 mΩ of that wire by 37.5 mV; of them the coil of 110 Ω beside the lamp of 10 Ω sees
    34.4 mV, the wrong way round. It lets go below 1.2 V."""
    shared = start_circuit()
    others = (
        *shared.others, Branch("horn", "contact", "ign", "start_relay.minus", 20.0, 20.0, by="command"),
        Branch("tell-tale", "load", "start_relay.plus", "stud", 10.0, 12.0),
    )  # fmt: skip
    report = prove(replace(shared, others=others, command_sets=(frozenset(["horn"]),)))
    influence = report.influence
    assert not influence.separate
    asked = [row for row in influence.rows if row.must_not]
    assert asked and all(row.verdict is Verdict.PASS and row.worst_v < influence.drop_out_low_v for row in asked)
    assert max(row.lift_v for row in asked) == pytest.approx(15.0 / 20.0 * 0.05 * 110.0 / 120.0, rel=0.02)
    told = " ".join(influence_words(influence))
    assert "The most that a press adds where it must not crank is" in told and "is no defeat" in told


def test_what_a_press_must_add_to_count() -> None:
    """Above the drop-out because of the press: fail. Just at it: not shown. There anyway: the table's finding."""
    for none_v, most_v, sure_v, wanted in (
        (0.2, 1.19, 1.19, Verdict.PASS), (0.2, 1.3, 1.3, Verdict.FAIL), (0.2, 1.3, 1.1, Verdict.NOT_SHOWN),
        (1.195, 1.2001, 1.2001, Verdict.NOT_SHOWN), (1.3, 1.300001, 1.300001, Verdict.PASS),
        (1.3, 1.4, 1.4, Verdict.FAIL),
    ):  # fmt: skip
        assert judged(none_v, most_v, sure_v, 1.2) is wanted, (none_v, most_v)


def test_a_press_that_moves_an_edge_by_a_hair_is_the_fault_s_doing() -> None:
    """Holds up to 720 Ω with nothing pressed: 720.01 with a button is that edge moved, 800 Ω is the button."""

    def made(most_ohm: float, operated: tuple[str, ...]) -> Set:
        found = (Interval(0.0, most_ohm, True, False),)
        return Set("R", True, operated, found, (), (), found, (), ((),), True)

    raised, moved = by_command([made(720.0, ()), made(720.01, ("tap",))])
    assert raised == () and moved == ((("tap",), (Interval(720.0, 720.01, True, False),)),)
    raised, moved = by_command([made(720.0, ()), made(800.0, ("tap",))])
    assert moved == () and raised[0][1][0].high_ohm == 800.0
    raised, moved = by_command([made(720.0, ("tap",))])
    assert moved == () and raised, "where it does nothing at rest every severity is the button's"


def test_the_four_forms_side_by_side() -> None:
    """A chafe to ground defeats only L; with switch and driver in series the chafe to supply and the stuck switch are
    no defeats any more; none is called safe."""
    found = {each.form: each for each in compare(start_circuit("H+K")).forms}
    assert set(found) == {"H", "L", "K", "H+K"}
    assert found["L"].chafe_to_ground == "cranks in gear"
    assert found["H"].chafe_to_ground == "no crank"
    assert found["K"].chafe_to_ground == "cranks in gear"
    assert "pn_switch stuck-closed" in found["H"].ids and "pn_switch stuck-closed" not in found["H+K"].ids
    assert found["H+K"].defeats < min(found["H"].defeats, found["L"].defeats, found["K"].defeats)
    assert all(each.open_wire == "no crank" for each in found.values())
    alone = compare(start_circuit("H", parts=tuple(p for p in start_circuit().parts if p.kind != "driver")))
    missing = "no driver of the controller permits"
    assert [each.why for each in alone.forms] == ["", "", missing, missing]


def test_moving_the_switch_there_and_back_changes_nothing() -> None:
    """H to L to H gives the same chains."""
    start = start_circuit("H")
    ground = in_form(start, "L")
    assert not isinstance(ground, str) and form_of(ground) == "L"
    back = in_form(ground, "H")
    assert not isinstance(back, str) and back.consumers == start.consumers


def test_a_second_meaning_of_the_controller_cranks_in_gear() -> None:
    """K: with a code table that permits R too it cranks in R only; with a fault of the position line only for the
    ohms with which the permitting window is read. With a switch in series neither does."""
    codes = (
        Code("reverse", "wrong-code", frozenset(["R"])),
        Code("wet plug", "line-fault", severities=(("R", ((100.0, 200.0),)), ("D", ((150.0, inf),)))),
    )
    for form, defeat in (("K", True), ("H+K", False)):
        parts = tuple(replace(p, codes=codes) if p.kind == "driver" else p for p in start_circuit().parts)
        faults = prove(start_circuit(form, parts=parts)).faults
        wrong = by_id(faults, "start_driver wrong-code reverse")
        assert wrong.defeat is defeat
        if defeat:
            assert {each.position for each in wrong.sets} == {"R"}
            wet = by_id(faults, "start_driver line-fault wet plug")
            assert {each.position: each.pulls_in for each in wet.sets} == {
                "R": (Interval(100.0, 200.0),), "D": (Interval(150.0, inf),)
            }  # fmt: skip
            assert wet.severity and wet.defeat


def test_exchanged_wires_and_a_joint_apart() -> None:
    """H: with the wires at the button's and the switch's far ends exchanged, the button feeds the coil and the switch
    hangs on it; exchanged at button and coil, all is in series as before. A joint apart only stops it."""
    cavities = (("key_start.b", "pn_switch.b", "relay socket"), ("key_start.b", "start_relay.plus", "relay socket"))
    faults = prove(start_circuit(cavities=cavities)).faults
    assert by_id(faults, "wire key_start.b swapped wire pn_switch.b").effect == "cranks in gear"
    assert by_id(faults, "wire key_start.b swapped wire start_relay.plus").effect == "none"
    assert by_id(faults, "column apart").effect == "no crank"


def test_a_feed_that_is_dead_while_cranking_lets_go() -> None:
    """Live at run only: the coil pulls in and lets go, so a permitted position fails."""
    feed = replace(start_circuit().feeds[0], live=frozenset(["run"]))
    rows = {row.position: row for row in truth_table(built(start_circuit(feeds=(feed,))))}
    assert rows["P"].cells[0].verdict is Verdict.FAIL
    assert rows["R"].cells[0].verdict is Verdict.PASS


def test_with_too_many_corners_the_answer_is_an_outer_bracket(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no corner allowed the outer set still holds the exact one, and the inner set lies inside it."""
    bench = Bench(two_relays(), Change(severe="feed"))
    exact = answers(bench, [at("P")], CRANKS)[0]
    monkeypatch.setattr("pinproof.inhibit.corners.MOST_BITS", 0)
    loose = answers(bench, [at("P")], CRANKS)[0]
    for name in ("holds", "pulls_in"):
        assert not without(getattr(exact, name).outer, getattr(loose, name).outer)
        assert not without(getattr(loose, name).inner, getattr(exact, name).inner)


@pytest.mark.parametrize(
    ("code", "change"),
    [
        ("coil-unknown", {"coil": "lamp2"}),
        ("permitted-drive", {"permitted": frozenset(POSITIONS)}),
        ("permitted-unknown", {"permitted": frozenset(["X"])}),
        ("form-differs", {"form": "L"}),
        ("start-missing", {"start": ("other",)}),
    ],
)
def test_refused(code: str, change: dict[str, object]) -> None:
    """Each refusal has its code and says what to do."""
    with pytest.raises(InhibitFault) as caught:
        built(replace(start_circuit(), **change))  # type: ignore[arg-type]
    assert caught.value.code == code and str(caught.value)


def test_a_bypass_is_refused_and_never_proposed() -> None:
    """An element across the position switch that does not depend on the lever is not judged; no text proposes one."""
    parts = (*start_circuit().parts, Part("button", "switch", "hand", 0.0, 0.05, 1e6))
    relay, lamp = start_circuit().consumers
    crossed = replace(relay, high_side=(("key_start",), ("pn_switch", "button")))
    with pytest.raises(InhibitFault) as caught:
        built(start_circuit(parts=parts, consumers=(crossed, lamp)))
    assert caught.value.code == "bypass" and "take it out" in str(caught.value)
    report = prove(start_circuit(), ("H", "L"))
    plain = json.dumps(as_json(report)).lower()
    assert "bypass" not in plain and "jumper" not in plain


def test_without_an_inhibit_it_is_not_judged() -> None:
    """Key and coil alone: refused."""
    relay, lamp = start_circuit().consumers
    with pytest.raises(InhibitFault) as caught:
        built(start_circuit(consumers=(replace(relay, high_side=(("key_start",),)), lamp)))
    assert caught.value.code == "no-inhibit"


def test_limits_that_overlap_are_refused() -> None:
    """A relay that lets go at more volts than it pulls in at is no relay."""
    relay, lamp = start_circuit().consumers
    with pytest.raises(InhibitFault) as caught:
        built(start_circuit(consumers=(replace(relay, drop_out_v=(1.2, 5.5)), lamp)))
    assert caught.value.code == "coil-limits"


def test_json_is_plain() -> None:
    """Infinite severities are words, ends carry whether they belong."""
    text = json.dumps(as_json(prove(start_circuit("L"))), allow_nan=False)
    plain = json.loads(text)
    assert plain["verdict"] == "fail" and plain["exit_code"] == 1
    chafe = next(each for each in plain["faults"] if each["id"] == "start_relay.minus chafed-to-ground")
    low, high, low_in, high_in = chafe["sets"][0]["holds"][0]
    assert (low, low_in, high_in) == (0.0, True, False) and high > 1000.0
