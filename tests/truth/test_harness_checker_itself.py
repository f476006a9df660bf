"""The checkers of harness and start inhibit against sums done by hand, and against slower ways to the same number."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest

from tests.truth import inhibit_check as ic
from tests.truth import wiring_trees as wt
from tests.truth.inhibit_check import Circuit, Condition, Part, Relay
from tests.truth.physics import solve_exact
from tests.truth.truck import INF, Number
from tests.truth.wiring_trees import End, Net, Rules, Run, Tree
from tests.truth.wiring_trees import Part as NetPart

RULES = Rules()
STAR = Tree(
    (Run("ra", "c", "a", 1000), Run("rb", "c", "b", 1000), Run("rd", "c", "d", 1000)), frozenset({"a", "b", "d"})
)
LINE = Tree((Run("r", "u", "v", 2000),), frozenset({"u", "v"}))


def ends(*places: str) -> tuple[End, ...]:
    return tuple(End(f"e{i}", p) for i, p in enumerate(places))


def stud(place: str, takes: int = 4) -> End:
    return End("stud", place, "stud", takes)


def all_ways(tree: Tree, rules: Rules, part: NetPart) -> set[tuple[int, int] | None]:
    """Cost and splices by every way there is; one answer, if they are right."""
    found = wt.least(tree, rules, part)
    out = {None if found is None else (found.cost_mm, found.splices)}
    out |= {wt.least_by_partitions(tree, rules, part), wt.least_by_counts(tree, rules, part)}
    if 2 <= len(part.ends) <= 5:
        out.add(wt.least_by_all_trees(tree, rules, part, (len(part.ends) - 1) // 2))
    return out


# ---------------------------------------------------------------- least wire


def test_two_ends_are_one_wire() -> None:
    assert all_ways(LINE, RULES, NetPart("n", ends("u", "v"))) == {(2000 + 2 * 50, 0)}


def test_three_ends_are_one_splice_beside_the_break_out() -> None:
    # 50 mm into one arm: 950 + 1050 + 1050, three slacks, one splice
    part = NetPart("n", ends("a", "b", "d"))
    assert all_ways(STAR, RULES, part) == {(3050 + 150 + 300, 1)}
    choice = wt.least(STAR, RULES, part)
    assert choice is not None and choice.groups == ((wt.Site("ra", 50), ("e0", "e1", "e2")),)


def test_a_hub_takes_a_splice_only_where_it_saves_its_worth() -> None:
    part = NetPart("n", (stud("u"), *ends("v", "v")))
    # plain: 2 × 2100. Spliced 300 mm from v: 2 × (300 + 50) + (1700 + 50) + worth
    assert all_ways(LINE, RULES, part) == {(700 + 1750 + 300, 1)}
    assert all_ways(LINE, replace(RULES, splice_worth_mm=1751), part) == {(4200, 0)}
    for forbidden in ({"hot": True}, {"splices": False}, {"environment": "flex"}, {"highest_c": 106}):
        tree = replace(LINE, runs=(replace(LINE.runs[0], **forbidden),))
        assert all_ways(tree, RULES, part) == {(4200, 0)}, forbidden
    assert all_ways(replace(LINE, runs=(replace(LINE.runs[0], highest_c=105),)), RULES, part) == {(2750, 1)}


def test_equal_costs_take_fewer_splices() -> None:
    part = NetPart("n", (stud("u"), *ends("v", "v")))
    assert all_ways(LINE, replace(RULES, splice_worth_mm=1750), part) == {(4200, 0)}


def test_full_hub_forces_groups_and_no_two_splices_are_joined() -> None:
    five = NetPart("n", (stud("u", 2), *ends("v", "v", "v", "v", "u")))
    # groups of at most three ends: {v v v} {v u} or {v v} {v v u}, or the like; every way agrees
    assert len(all_ways(LINE, RULES, five)) == 1
    seven = NetPart("n", (stud("u", 2), *ends(*"vvvvvvv")))
    assert all_ways(LINE, RULES, seven) == {None}
    assert wt.why_none(LINE, RULES, seven) == "hub-many"
    assert wt.why_none(LINE, RULES, NetPart("n", ends(*"vvvvu"))) == "splice-many"
    short = Tree((Run("r", "u", "v", 599),), frozenset({"u", "v"}))
    assert wt.why_none(short, RULES, NetPart("n", ends(*"vvu"))) == "splice-none"
    assert wt.stretch(short, RULES, replace(short.runs[0], length_mm=600)) == (300, 300)


def test_second_hub_counts_as_a_single_end() -> None:
    part = NetPart("n", (End("s1", "u", "stud", 3), End("s2", "v", "stud", 5), End("s3", "v", "stud", 5)))
    assert part.hub is not None and part.hub.id == "s2"
    assert [e.id for e in part.singles] == ["s1", "s3"]


def test_pair_joint_cuts_a_net_and_its_length_is_no_wire() -> None:
    tree = Tree(
        (Run("r1", "a", "b", 500), Run("wheel", "b", "c", 90, joint="slip ring", ways=2), Run("r2", "c", "d", 700)),
        frozenset({"a", "b", "c", "d"}),
    )
    parts, crossings = wt.parts_of(tree, [Net("n", ends("a", "d")), Net("m", ends("a", "b"))])
    assert crossings == {"wheel": ["n"]}
    assert [[e.place for e in p.ends] for p in parts] == [["a", "b"], ["d", "c"], ["a", "b"]]
    costs = [wt.least(tree, RULES, p) for p in parts]
    assert [c.cost_mm for c in costs if c] == [500 + 100, 700 + 100, 500 + 100]


def test_coiled_cord_counts_its_own_length() -> None:
    tree = Tree((Run("r", "u", "v", 400, joint="coiled cord", cord_mm=1500),), frozenset({"u", "v"}))
    assert all_ways(tree, RULES, NetPart("n", ends("u", "v"))) == {(1600, 0)}
    assert wt.sites_of(tree, RULES) == []


@pytest.mark.parametrize("seed", range(60))
def test_every_way_agrees_on_random_trees(seed: int) -> None:
    case = wt.generate(seed, most_ends=6)
    assert wt.is_tree(case.tree)
    for part in wt.parts_of(case.tree, case.nets)[0]:
        assert len(all_ways(case.tree, case.rules, part)) == 1
        found = wt.least(case.tree, case.rules, part)
        if found is None:
            assert wt.why_none(case.tree, case.rules, part) != ""
            continue
        all_along = wt.every_site(case.tree, case.rules, part.ends[0].place, 101)
        closer = wt.least(case.tree, case.rules, part, sites=all_along)
        assert closer is not None and closer.cost_mm == found.cost_mm  # the ends of a stretch are enough


def wired(part: NetPart, choice: wt.Choice) -> tuple[list[tuple[str, str]], dict[str, tuple[str, int]]]:
    wires, splices, grouped = [], {}, set()
    for k, (site, members) in enumerate(choice.groups):
        splices[f"S{k}"] = site.run, site.at_mm
        grouped |= set(members)
        wires += [(m, f"S{k}") for m in members]
        wires += [(part.hub.id, f"S{k}")] if part.hub else []
    alone = [e.id for e in part.singles if e.id not in grouped]
    if part.hub is None and len(alone) == 2:
        return [*wires, (alone[0], alone[1])], splices
    return wires + [(e, part.hub.id) for e in alone if part.hub], splices


def test_the_judge_of_wirings_takes_the_least_and_no_broken_one() -> None:
    looked = 0
    for seed in range(60):
        case = wt.generate(seed)
        for part in wt.parts_of(case.tree, case.nets)[0]:
            found = wt.least(case.tree, case.rules, part)
            if found is None or len(part.ends) < 2:
                continue
            wires, splices = wired(part, found)
            assert wt.judge_wiring(case.tree, case.rules, part, wires, splices) == wt.Judged((), found.cost_mm)
            assert wt.judge_wiring(case.tree, case.rules, part, wires[1:], splices).broken
            assert wt.judge_wiring(case.tree, case.rules, part, [*wires, wires[0]], splices).broken
            for name, (run, at) in splices.items():
                moved = {**splices, name: (run, at - 10_000)}
                assert wt.judge_wiring(case.tree, case.rules, part, wires, moved).broken
                assert wt.judge_wiring(case.tree, case.rules, part, wires, splices, closed=[run]).broken
                looked += 1
    assert looked > 30


def test_the_judge_sees_two_joined_splices() -> None:
    part = NetPart("n", ends("u", "u", "v", "v"))
    wires = [("e0", "S"), ("e1", "S"), ("e2", "T"), ("e3", "T"), ("S", "T")]
    judged = wt.judge_wiring(LINE, RULES, part, wires, {"S": ("r", 300), "T": ("r", 1700)})
    assert judged.broken == ("wire joins splices S, T",)


# ---------------------------------------------------------------- stagger and cut


def test_slots_and_least_shift_by_hand() -> None:
    run = Run("r", "u", "v", 1000)
    tree = Tree((run,), frozenset({"u", "v"}))
    slots = wt.slots_of(tree, RULES, run)
    assert slots == [300, 365, 430, 495, 560, 625, 690]
    assert wt.least_shift(slots, [1, 2, -3]) == 2 * 300 + 365 - 3 * 690
    assert wt.page_slots(slots, [1, 2, -3]) == [365, 300, 690]
    assert wt.least_shift(slots[:2], [1, 1, 1]) is None


def test_the_page_rule_of_the_slots_is_the_least() -> None:
    rng = random.Random(4)
    for _ in range(60):
        slots = [100 + 65 * i for i in range(rng.randint(1, 7))]
        slopes = [rng.randint(-4, 4) for _ in range(rng.randint(1, min(5, len(slots))))]
        placed = wt.page_slots(slots, slopes)
        assert len(set(placed)) == len(placed)
        assert sum(c * x for c, x in zip(slopes, placed, strict=True)) == wt.least_shift(slots, slopes)


def test_a_run_with_one_slot_is_closed_to_the_net_that_minds_least() -> None:
    # the arm of 350 mm has one slot, 300…300 mm from its end; two nets of three ends want it
    tree = Tree(
        (Run("s", "c", "a", 350), Run("x", "c", "b", 2000), Run("y", "c", "d", 900)), frozenset({"a", "b", "d"})
    )
    assert wt.stretch(tree, RULES, tree.runs[0]) == (50, 50)
    parts = [NetPart("n1", ends("a", "a", "b")), NetPart("n2", ends("a", "a", "d"))]
    # n1 in s: 300+300+2050 = 2650, in x 50 mm from c: 400+400+1950 = 2750; in y: 400+400+2050
    # n2 in s: 300+300+950 = 1550, in y: 400+400+850 = 1650. Equal rise of 100: the first by net
    found = wt.plan(tree, RULES, parts)
    assert found is not None
    assert found.closed == ((0, "s"),)
    assert found.least_mm == 2650 + 1550 + 2 * 450
    assert found.total_mm == found.least_mm + 100 and found.stagger_mm == 0


def test_cut_length_is_rounded_up_to_five() -> None:
    assert wt.cut_mm(1234, 2, RULES, (5, 6)) == 1345
    assert wt.cut_mm(1235, 2, RULES, (5, 6)) == 1350
    assert wt.cut_mm(1000, 1, RULES, (5, 8)) == 1065


# ---------------------------------------------------------------- bundles


def test_packing_reaches_the_published_circles_and_never_beats_them() -> None:
    for n in (2, 3, 4, 5, 6, 7):
        found = wt.packing_mm([1.7] * n, tries=12)
        assert found == pytest.approx(wt.EQUAL[n] * 1.7, abs=1e-6)
    # printed values, closed forms of plane geometry
    printed = {3: 2.154700538, 5: 2.701301617, 8: 3.304764871, 9: 3.613125930, 19: 4.863703305}
    for n, ratio in printed.items():
        assert wt.EQUAL[n] == pytest.approx(ratio, abs=1e-9)


def test_three_unequal_circles_are_exact() -> None:
    assert wt.three_mm(6, 6, 4) == pytest.approx(12, abs=1e-12)  # radii 3, 3, 2: the third just fits the gap
    assert wt.three_mm(6, 6, 4.2) > 12
    # radii 2, 2, 2 and the outer one: 2/(2√3 − 3)·… = 2·(1 + 2/√3)·2
    assert wt.three_mm(4, 4, 4) == pytest.approx(4 * wt.EQUAL[3], abs=1e-12)
    rng = random.Random(8)
    for _ in range(12):
        ds = [round(rng.uniform(1, 6), 2) for _ in range(3)]
        assert wt.packing_mm(ds, tries=12) == pytest.approx(wt.three_mm(*ds), abs=1e-5)


def test_floor_and_packing_enclose_what_is_true() -> None:
    rng = random.Random(9)
    for n in (4, 5):
        for _ in range(4):
            ds = [round(rng.uniform(1, 4), 2) for _ in range(n)]
            assert wt.bundle_floor_mm(ds) <= wt.packing_mm(ds, tries=8) + 1e-9
    assert wt.page_bundle([2.4, 2.4]) == (4.8, True)
    assert wt.page_bundle([3.0, 2.0]) == (5.0, True)
    wide, is_exact = wt.page_bundle([4, 2, 2, 2])  # 1.2·√28 = 6.350 beats the three thickest, 6
    assert wide == pytest.approx(6.3498, abs=1e-4) and not is_exact
    assert wt.page_bundle([1, 1, 1, 0.2])[0] == pytest.approx(wt.EQUAL[3])  # raised to the three thickest
    assert wt.page_bundle([1.02, *[1.0] * 7])[0] == pytest.approx(wt.EQUAL[8] * 1.02)  # lowered to 8 of the thickest


def test_sleeve_shrink_supports_ties() -> None:
    size = [(F("1.00"), F("0.50"))]  # a tubing maker's printed example: 0.55 to 0.80
    assert [wt.shrink_for(F(x), size) is not None for x in ("0.549", "0.55", "0.80", "0.801")] == [0, 1, 1, 0]
    assert [wt.supports(x) for x in (100, 160, 161, 360, 361, 1000)] == [1, 1, 2, 2, 3, 6]
    assert wt.ties(1000, breakouts=2) == 16


# ---------------------------------------------------------------- current, drop, fuse


def test_conductors_by_standard() -> None:
    # ASTM B258 handbook areas and the class 5 rows, as printed
    for gauge, printed in ((22, 0.3255), (20, 0.5176), (18, 0.8230), (12, 3.3088), (8, 8.3656)):
        assert float(wt.area_mm2(gauge)) == pytest.approx(printed, abs=5e-5)
    assert wt.ohm_per_m("0.75") == F("0.026")
    assert wt.ohm_per_m("1.25") == F("0.0156")
    assert float(wt.ohm_per_m(20)) == pytest.approx(19.5e-3 / 0.51762, rel=1e-4)
    assert wt.drop_v(F(10), "1", F(2), F(20)) == F("0.39")
    assert wt.drop_v(F(10), "1", F(2), F(80)) == F("0.39") * F("1.2358")


def test_allowed_current_by_hand() -> None:
    assert wt.table_a(18, 105) == 6
    between = wt.table_a("1", 105)  # between 18 (6 A, 0.823) and 16 (7 A, 1.3087)
    assert between is not None and 6 < between < 7
    assert float(between) == pytest.approx(6 * (7 / 6) ** (np.log(1 / 0.82305) / np.log(1.30870 / 0.82305)), rel=1e-4)
    assert wt.column_c(F(125)) == 105 and wt.column_c(F(150)) == 150 and wt.column_c(F(85)) == 105
    squared = wt.allow_squared(F(6), F(105), F(125), F(80), F(1))
    assert squared == 36 * F(45, 35)
    assert wt.wire_c(F(80), F(125), F(3), squared) == 80 + 45 * 9 / squared
    assert wt.allow_squared(F(6), F(105), F(105), F(105), F(1)) == 0
    factors = [wt.bundle_factor(n, 10) for n in (3, 4, 7, 10)]
    assert factors == [1, F("0.8"), F("0.7"), F("0.5")]
    assert wt.bundle_factor(4, 20) == 1 and wt.bundle_factor(41, 60) == F("0.35")


def test_size_and_the_rule_that_asked() -> None:
    def ask(amp: str, fuse: str = "0", wires: int = 5, loop: str = "0") -> wt.WireAsk:
        stretches = (wt.Stretch(F(70), "bundle", wires, 1),)
        return wt.WireAsk(F(amp), F(105), stretches, F("0.03"), F("13.8"), F(loop), F(fuse))

    gauges = list(wt.AWG)
    assert wt.required(ask("0.1"), gauges) == (22, "mechanical")
    assert wt.required(ask("0.1", wires=2), gauges) == (20, "mechanical")
    assert wt.required(ask("6.9"), gauges) == (16, "current")  # 18 carries 6, 16 carries 7
    assert wt.required(ask("2", fuse="7.5"), gauges) == (14, "fuse")
    # 5 A, loop 6 m: 0.069 V per m; at 70 °C and above 12 AWG drops 5·19.5/3.309·1.2 mV = 35 mV, 16 AWG 5·14.9·1.25 = 93
    assert wt.required(ask("5", loop="6"), gauges) == (14, "drop")
    assert wt.required(ask("90"), gauges) is None


def test_inrush_gates_and_fuses() -> None:
    ten = F(10)
    assert wt.inrush_passes(ten, F(11), F(10**9)) == "pass"
    assert wt.inrush_passes(ten, F("13.5"), F("0.74")) == "pass"
    assert wt.inrush_passes(ten, F("13.5"), F("0.75")) == "fail"
    assert wt.inrush_passes(ten, F("13.6"), F("0.3")) == "fail"
    assert wt.inrush_passes(ten, F("60.1"), F("0.001")) == "not shown"
    assert wt.fuse_for(F(8), []) == 10 and wt.fuse_for(F("8.01"), []) == 15
    assert wt.fuse_for(F(4), [(F(30), F("0.1"))]) == 15  # 10 A: 300 %, gate 0.04 s; 15 A: 200 %, 0.15 s
    assert wt.fuse_for(F(33), []) is None and wt.fuse_for(F(33), [], wt.RATINGS_A["maxi"]) == 50


def test_loads_that_exclude_each_other() -> None:
    devices = {"lever": ("P", "R", "D")}
    reverse, drive = ((("lever", frozenset("R")),),), ((("lever", frozenset("D")),),)
    loads = [(F(4), reverse), (F(5), drive), (F(1), ())]
    assert wt.together_a(loads, devices) == 6
    assert wt.load_a(F(12), F(5), F("14.4")) == F("14.4") / (F("2.4") * F("0.9"))


# ---------------------------------------------------------------- start circuits


PN = Part("pn", "switch", "s", "p", device="lever", closed_in=frozenset("PN"))
START = Part("start", "switch", "feed", "s", start=True)
FUSE = Part("fuse", "feed", "battery", "feed")
COIL = Part("coil", "coil", "p", "m", (F(80), F(80)))
MID_OPEN = (("P|R", "open"), ("R|N", "open"), ("N|D", "open"))


def volts(text: str) -> tuple[F, F]:
    low, _, high = text.partition(" to ")
    return F(low), F(high or low)


def circuit(*parts: Part, high: str, low: str, supply: str = "12", **more: object) -> Circuit:
    relay = Relay("k", "coil", volts("7.2"), volts("1.2"), tuple(high.split()), tuple(low.split()))
    made = Circuit(
        tuple("PRND"),
        frozenset("PN"),
        "lever",
        {"run": volts(supply)},
        {"ground": volts("0")},
        parts,
        (relay,),
        "k",
        "main",
        {"feed": ("feed",), "s": ("s",), "p": ("p",), "m": ("m",)},
    )
    return replace(made, **more)  # type: ignore[arg-type]


def h_form(mid: tuple[tuple[str, str], ...] = MID_OPEN, **more: object) -> Circuit:
    stud_part = Part("stud", "stud", "m", "ground")
    return circuit(FUSE, START, replace(PN, mid=mid), COIL, stud_part, high="start pn", low="stud", **more)  # type: ignore[arg-type]


def l_form(mid: tuple[tuple[str, str], ...] = MID_OPEN, **more: object) -> Circuit:
    coil, gate = replace(COIL, a="s"), replace(PN, a="m", b="ground", mid=mid)
    made = circuit(FUSE, START, coil, gate, high="start", low="pn", **more)  # type: ignore[arg-type]
    return replace(made, nets={"feed": ("feed",), "s": ("s",), "m": ("m",)})


def fault(c: Circuit, name: str) -> ic.Fault:
    return next(f for f in ic.faults_of(c) if f.id == name)


def ask(c: Circuit, name: str, point: str, request: bool, *ohms: Number, operated: str = "") -> ic.Masks:
    condition = Condition(point, request, operated=frozenset(operated.split()))
    return ic.fault_grid(c, fault(c, name), condition, ohms or ic.GRID)


def test_potentials_agree_with_the_other_solver() -> None:
    rng = random.Random(6)
    rails = {"battery": F(12), "ground": F(0), "return": F("0.3")}
    decided = 0
    for _ in range(150):
        nodes = ["battery", "ground", "return", "pin", "a", "b", "c", "d"]
        values: list[Number] = [F(0), INF, F(1), F(47), F(80), F(1000)]
        plain: list[tuple[str, str, Number]] = []
        for _ in range(rng.randint(3, 9)):
            a, b = rng.sample(nodes, 2)
            plain.append((a, b, rng.choice(values)))
        try:
            mine = ic.potentials(plain, rails)
        except ValueError:
            assert solve_exact(plain, rails).state == "shorted"
            continue
        other = solve_exact(plain, rails)
        assert mine.get("pin") == other.volts
        decided += other.volts is not None
    assert decided > 40


def test_severity_by_thevenin_is_the_circuit_solved_again() -> None:
    looked = moved = 0
    for seed in range(12):
        c = ic.awkward(seed)
        rng = random.Random(seed)
        for f in rng.sample([f for f in ic.faults_of(c) if f.severity], 4):
            sick, condition = ic.apply(c, f), Condition(rng.choice(c.points), rng.random() < 0.5)
            parts = ic._near(sick, f.between)
            rails = {n for pair in f.between for n in pair} & {"battery", *sick.rails}
            parts += [Part(f"~{n}", "resistor", n, n) for n in rails]
            corner = rng.choice(list(ic.corners(sick, condition, parts)))
            closed = rng.choice(ic.combinations(sick))
            plain, at = ic.elements_at(parts, corner, closed, condition, f.replaces)
            at = f.between[0] if f.between else at
            threes = ic._solved(sick, parts, corner, closed, condition, f.replaces, at)
            if threes is None or at is None:
                continue
            for ohm in (F(1, 1000), F(7), F(500), F(20000)):
                direct = ic.potentials([*plain, (*at, ohm)], corner.volts)
                for three, (a, b) in zip(threes, ic._coil_ends(sick), strict=True):
                    expected = abs(float(ic.across(direct, a, b)))
                    assert ic._on_grid(three, [ohm])[0] == pytest.approx(expected, abs=1e-9)
                    looked += 1
                    moved += three[0] != three[1]
    assert looked > 60 and moved > 10


def test_the_relay_of_the_page() -> None:
    # 12 V, coil 80 ohm, drop-out 1.2 V, pull-in 7.2 V: holds below 720 ohm, pulls in up to 53.333… ohm
    m = ask(h_form(), "p chafed-to-supply", "D", False, F(0), F(53), F(160, 3), F(54), F(719), F(720), F(721), INF)
    assert m.tie.tolist() == [False, False, True, False, False, True, False, False]
    assert m.pulls_in[~m.tie].tolist() == [True, True, False, False, False, False]
    assert m.holds[~m.tie].tolist() == [True, True, True, True, False, False]


def test_truth_tables_of_h_and_l() -> None:
    for c in (h_form(), l_form()):
        rows = ic.truth_table(c)
        assert [r.point for r in rows] == ["P", "P|R", "R", "R|N", "N", "N|D", "D"]
        assert ic.table_verdict(rows) == "pass"
        assert [r.requested.can for r in rows] == [True, False, False, False, True, False, False]
        assert not any(r.not_requested.can or r.unplugged.can for r in rows)
        assert rows[0].requested.low_v == 12
    assert (ic.form_of(h_form()), ic.form_of(l_form())) == ("H", "L")


def test_mid_travel_open_closed_either() -> None:
    def verdict(c: Circuit, point: str) -> str:
        return ic.cell(c, point, True).verdict

    assert verdict(h_form(()), "P|R") == "not shown"
    assert verdict(h_form((("P|R", "closed"),)), "P|R") == "fail"
    assert verdict(h_form((("P|R", "open"),)), "P|R") == "pass"
    twice = h_form(())
    parts = tuple(replace(p, closed_in=frozenset("PRN")) if p.id == "pn" else p for p in twice.parts)
    assert verdict(replace(twice, parts=parts), "P|R") == "fail"  # closed in both neighbours: closed between


def test_supply_that_is_not_enough_and_the_least_that_is() -> None:
    weak = h_form(supply="7 to 12")
    cell = ic.cell(weak, "P", True)  # 7 V keeps a closed relay, but closes none
    assert cell.verdict == "fail" and cell.can and not cell.sure  # at 7 V no such relay pulls in
    assert ic.cell(h_form(), "P", True).verdict == "pass"
    parts = (*[p for p in h_form().parts if p.id != "stud"], Part("wire", "wire", "m", "ground", (F(0), F(8))))
    c = circuit(*parts, high="start pn", low="wire")
    assert ic.least_supply_v(c, "P") == F("7.2") * F(88, 80)
    assert ic.cell(c, "P", True).verdict == "pass"
    assert ic.cell(replace(c, supply={"run": volts("7.9 to 12")}), "P", True).verdict != "pass"
    assert ic.cell(replace(c, supply={"run": volts("7.93 to 12")}), "P", True).verdict == "pass"


def test_crank_key_asks_only_that_it_stays() -> None:
    low = h_form(supply="12")
    assert ic.cell(replace(low, supply={"run": volts("12"), "crank": volts("2")}), "P", True).verdict == "pass"
    assert ic.cell(replace(low, supply={"run": volts("12"), "crank": volts("1")}), "P", True).verdict == "fail"


def test_leak_across_the_position_switch() -> None:
    # 470 ohm: 12·80/550 = 1.745 V holds, 12·80/(80 + 721) = 1.1985 V does not
    for ohm, can in ((470, True), (721, False)):
        c = h_form()
        parts = tuple(replace(p, off=F(ohm)) if p.id == "pn" else p for p in c.parts)
        cell = ic.cell(replace(c, parts=parts), "D", True)
        assert cell.can == can and cell.history == can
        assert cell.high_v == pytest.approx(12 * 80 / (80 + ohm))
        leaky, d = replace(c, parts=parts), Condition("D", True)
        worst = next(x for x in ic.corners(leaky, d, ic._near(leaky, ())) if x.levels["pn", "off"] == ohm)
        s = ic.states_at(leaky, d, worst)
        assert s is not None and s.history == can and s.reached == (frozenset(),)


def test_chafe_to_ground_defeats_l_and_not_h() -> None:
    low_side = ask(l_form(), "m chafed-to-ground", "D", True, F(0), F(53), F(54), F(719), F(721), INF)
    assert low_side.pulls_in.tolist() == [True, True, False, False, False, False]
    assert low_side.holds.tolist() == [True, True, True, True, False, False]
    for net in ("feed", "s", "p", "m"):
        e = ic.effects(h_form(), fault(h_form(), f"{net} chafed-to-ground"))
        assert not e.defeat.any(), net


def test_offset_of_a_second_ground_counts() -> None:
    two = replace(l_form(), rails={"ground": volts("0"), "engine": volts("-1 to 1")}, grounds=("ground", "engine"))
    # to the engine at −1 V: 13·80/(80 + R) > 1.2 up to R < 786.67
    m = ask(two, "m chafed-to-ground", "D", True, F(719), F(786), F(787))
    assert m.holds.tolist() == [True, True, False]


def test_stuck_early_late_and_hidden() -> None:
    c = h_form()
    stuck = ic.effects(c, fault(c, "pn stuck-closed"))
    assert stuck.effect == "cranks in gear"
    assert stuck.hidden.all() and stuck.defeat.all() and not stuck.inherent.any()
    early = ic.effects(c, fault(c, "pn early"))  # P falls off, N becomes R
    gears = {h.condition.point for h in early.hits if h.effect == "cranks in gear"}
    assert gears == {"R", "P|R", "R|N"}  # one of both neighbours closed: either
    assert {h.condition.point for h in early.hits if h.effect == "no crank"} == {"P", "N"}
    assert not early.hidden.any()
    late = ic.effects(c, fault(c, "pn late"))
    assert {h.condition.point for h in late.hits if h.effect == "cranks in gear"} == {"P|R", "R", "R|N", "N|D", "D"}
    assert ic.effects(c, fault(c, "pn stuck-open")).effect == "no crank"
    button = ic.effects(c, fault(c, "start stuck-closed"))
    assert button.effect == "cranks by itself" and not button.defeat.any()


def test_welded_main_contact_is_inherent() -> None:
    e = ic.effects(h_form(), fault(h_form(), "main stuck-closed"))
    assert e.defeat.all() and e.inherent.all()
    assert ic.effects(h_form(), fault(h_form(), "main stuck-open")).effect == "no crank"


def test_chafe_to_supply_of_the_only_coil_is_not_inherent() -> None:
    e = ic.effects(h_form(), fault(h_form(), "p chafed-to-supply"))
    assert e.effect == "cranks in gear, no request"
    assert e.defeat.any() and not e.inherent.any()
    # at 100 ohm it holds and does not pull in
    held = ic.effects(h_form(), fault(h_form(), "p chafed-to-supply"), [F(100)])
    assert {h.effect for h in held.hits if not h.condition.request and h.condition.point == "D"} == {
        "keeps cranking in gear"
    }


def two_relays() -> Circuit:
    """The lever's own relay, its contact in the coil's chain."""
    parts = (
        FUSE,
        START,
        replace(PN, mid=MID_OPEN),
        Part("first", "coil", "p", "ground", (F(100), F(100))),
        Part("no", "contact", "feed", "q", relay="h"),
        Part("coil", "coil", "q", "ground", (F(80), F(80))),
    )
    relays = (
        Relay("h", "first", volts("7.2"), volts("1.2"), ("start", "pn")),
        Relay("k", "coil", volts("7.2"), volts("1.2"), ("no",)),
    )
    made = circuit(*parts, high="", low="")
    return replace(made, relays=relays, nets={"p": ("p",), "q": ("q",)})


def test_relay_combinations() -> None:
    c = two_relays()
    assert ic.table_verdict(ic.truth_table(c)) == "pass"
    condition = Condition("P", True)
    corner = next(ic.corners(c, condition, ic._near(c, ())))
    s = ic.states_at(c, condition, corner)
    assert s is not None
    assert s.possible == (frozenset({"h", "k"}),) and s.reached == (frozenset({"h", "k"}),)
    assert s.volts[frozenset()] == {"h": 12, "k": 0}
    weld = ic.effects(c, fault(c, "no stuck-closed"))
    assert weld.effect == "cranks in gear, no request" and weld.inherent.all()
    behind = ic.effects(c, fault(c, "q chafed-to-supply"))
    before = ic.effects(c, fault(c, "p chafed-to-supply"))
    assert behind.inherent.any() and before.defeat.any() and not before.inherent.any()


def test_a_contact_that_holds_its_own_coil_depends_on_history() -> None:
    c = l_form()
    seal = Part("seal", "contact", "feed", "s", relay="k")
    c = replace(c, parts=(*c.parts, seal), relays=(replace(c.relays[0], high=("start", "seal")),))
    cell = ic.cell(c, "P", False)
    assert cell.history and cell.can and cell.verdict == "fail"
    corner = next(ic.corners(c, Condition("P", False), ic._near(c, ())))
    s = ic.states_at(c, Condition("P", False), corner)
    assert s is not None and s.possible == (frozenset(), frozenset({"k"})) and s.reached == (frozenset(),)
    assert ic.cell(c, "D", False).verdict == "pass"


def test_a_contact_that_releases_its_own_coil_chatters() -> None:
    c = h_form()
    parts = [replace(p, a="q") if p.id == "coil" else p for p in c.parts]
    c = replace(c, parts=(*parts, Part("nc", "contact", "p", "q", relay="k", normally_open=False)))
    cell = ic.cell(c, "P", True)
    assert cell.chatters and cell.can and not cell.sure and cell.verdict == "fail"
    corner = next(ic.corners(c, Condition("P", True), ic._near(c, ())))
    s = ic.states_at(c, Condition("P", True), corner)
    assert s is not None and s.chatters and set(s.reached) == {frozenset(), frozenset({"k"})}
    assert not ic.cell(c, "D", True).chatters


def test_coil_faults() -> None:
    c = h_form()
    assert ic.effects(c, fault(c, "coil open")).effect == "no crank"
    m = ask(c, "coil shorted-turns", "P", True, F(0), F(10), F(79), F(80), F(100))
    assert m.applies.tolist() == [True, True, True, False, False]
    # a coil of 0 ohm between bare rails stands for the least above it; with 1 ohm of wire it has no volts
    assert m.sure.tolist()[:3] == [True, True, True]
    wired_coil = replace(c, parts=tuple(replace(p, on=(F(1), F(1))) if p.id == "stud" else p for p in c.parts))
    m = ask(wired_coil, "coil shorted-turns", "P", True, F(0), F(1), F(10))
    assert m.sure.tolist() == [False, False, True] and m.holds.tolist() == [False, True, True]


def test_swapped_apart_and_wrong_code() -> None:
    wires = (Part("w1", "wire", "s", "s2"), Part("w2", "wire", "p", "p2"))
    gate, coil = replace(PN, a="s2", b="p", mid=MID_OPEN), replace(COIL, a="p2")
    c = circuit(
        FUSE,
        START,
        *wires,
        gate,
        coil,
        Part("stud", "stud", "m", "ground"),
        high="start pn",
        low="stud",
        cavities=(("plug", "1", "w1", "a"), ("plug", "2", "w2", "b")),
        joints=(("tail", ("w2",)),),
    )
    assert ic.table_verdict(ic.truth_table(c)) == "pass"
    e = ic.effects(c, fault(c, "plug 1/2 swapped"))
    # the start button then feeds w2 backwards through the closed switch and w1 to the coil: all the same
    assert e.effect == "none"
    assert ic.effects(c, fault(c, "tail apart")).effect == "no crank"
    states = tuple((p, "on" if p in "PN" else "off") for p in (*"PRND", "P|R", "R|N", "N|D", "unplugged"))
    worse = tuple((p, "on" if p == "D" else s) for p, s in states)
    out = Part("out", "driver", "m", "ground", (F(0), F(1)), states=states)
    k = circuit(FUSE, START, replace(COIL, a="s"), out, high="start", low="out", wrong_codes=(("out", "D", worse),))
    assert ic.form_of(k) == "K" and ic.table_verdict(ic.truth_table(k)) == "pass"
    wrong = ic.effects(k, fault(k, "out wrong-code D"))
    assert {h.condition.point for h in wrong.hits if h.effect == "cranks in gear"} == {"D"}
    free = replace(k, parts=tuple(replace(p, states=()) if p.id == "out" else p for p in k.parts))
    assert ic.cell(free, "D", True).verdict == "not shown"


def test_bridge_to_a_command_line() -> None:
    line = (
        Part("up", "command", "battery", "u"),
        Part("up_r", "resistor", "u", "pin", (F(40), F(40))),
        Part("pull", "resistor", "pin", "ground", (F(1000), F(1000))),
    )
    c = h_form()
    c = replace(
        c,
        parts=(*c.parts, *line),
        neighbours=(("p", "pin"),),
        commands_together=(frozenset(), frozenset({"up"})),
    )
    assert ic.separate(c)
    # pressed: 40 ohm + severity from 12 V, the pull of 1 k beside it. Pin 12·g(40)/(…): hold needs
    # coil 1.2 V = 15 mA through s: pin = 1.2 + 0.015·s; (12 − pin)/40 = 0.015 + pin/1000 → pin = 10.9615…, s = 650.77
    edge = (F(12, 40) - F("0.015")) / (F(1, 40) + F(1, 1000))
    limit = (edge - F("1.2")) / F("0.015")
    near = (limit - 1, limit + 1)
    pressed = ask(c, "p+pin bridged", "D", False, *near, operated="up")
    assert pressed.holds.tolist() == [True, False]
    e = ic.effects(c, fault(c, "p+pin bridged"))
    assert any(h.by_command.any() for h in e.hits)
    ends_only = ic.effects(c, fault(c, "p+pin bridged"), near)
    by = {bool(h.condition.operated): h.by_command.tolist() for h in ends_only.hits if not h.condition.request}
    assert by == {True: [True, False]}  # with none pressed there is nothing to say
    assert not ask(c, "p+pin bridged", "D", False).holds.any()
    joined = replace(c, parts=(*c.parts, Part("x", "wire", "u", "p")))
    assert not ic.separate(joined)
    bad = {(i.point, i.verdict) for i in ic.influence(joined) if i.operated and not i.request}
    assert ("D", "not pass") in bad
    assert all(i.verdict in ("", "pass") and i.more_v == 0 for i in ic.influence(c))


def test_shared_feed_is_a_matter_of_numbers() -> None:
    parts = (
        replace(FUSE, on=(F(4), F(4))),
        Part("start", "switch", "feed", "s", start=True),
        replace(PN, mid=MID_OPEN),
        COIL,
        Part("stud", "stud", "m", "ground"),
        Part("up", "command", "feed", "u"),
        Part("up_r", "resistor", "u", "ground", (F(84), F(84))),
    )
    c = circuit(*parts, high="start pn", low="stud", commands_together=(frozenset(), frozenset({"up"})))
    assert not ic.separate(c)
    rows = {(i.point, i.request, len(i.operated)): i for i in ic.influence(c)}
    assert rows["P", True, 0].most_v == pytest.approx(12 * 80 / 84)
    side = 80 * 84 / 164
    assert rows["P", True, 1].most_v == pytest.approx(12 * side / (side + 4))
    assert rows["D", True, 1].verdict == "pass"


def test_rails_joined_without_resistance_are_left_out() -> None:
    c = h_form()
    c = replace(c, parts=(*c.parts, Part("x", "switch", "p", "ground", start=True)))
    m = ic.fault_grid(c, ic.SOUND, Condition("P", True))
    assert m.shorted == m.corners == 1


@pytest.mark.parametrize("seed", range(10))
def test_random_start_circuits_obey_what_must_be_true(seed: int) -> None:
    c = ic.awkward(seed, wires=seed % 2 == 0)
    for row in ic.truth_table(c):
        for x in (row.requested, row.not_requested, row.unplugged):
            assert (x.verdict == "pass") <= (x.can == (x.wanted == "cranks"))
            assert not x.sure or x.can
    sound = ic.truth_table(c)
    for f in random.Random(seed).sample([f for f in ic.faults_of(c) if f.between], 2):
        for row in sound[:2]:
            m = ic.fault_grid(c, f, Condition(row.point, True), [INF])
            assert m.can.tolist() == ic.fault_grid(c, ic.SOUND, Condition(row.point, True)).can.tolist()  # ∞: no fault


def test_the_generator_makes_what_it_promises() -> None:
    tags = {t for seed in range(80) for t in ic.awkward(seed).tags}
    assert {"H", "L", "K", "H+K", "two returns", "shared feed", "two relays", "seals itself", "buzzer"} <= tags
    assert {"command line", "fed from the supply", "shares the feed", "drop-out near the leak", "crank"} <= tags
    for seed in range(80):
        c = ic.awkward(seed)
        assert [t for t in c.tags if t in ("H", "L", "K", "H+K")] == [ic.form_of(c)]
