"""Bounds and proofs of the search for values, on circuits where no direction is known and without lucky first tries.

The enumeration is that of `test_choose_search`, written apart from the engine.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pinproof.choose.compiled import Compiled
from pinproof.choose.problem import Candidate, Demand, Member, Problem, Spread, Variable
from pinproof.choose.search import solve
from pinproof.network.box import Reading as NodeReading
from pinproof.network.box import Sources
from pinproof.network.netlist import Netlist
from pinproof.quantities.preferred import values_between
from pinproof.verdict import Edge, Window
from tests.first_principles.test_choose_search import (
    ALWAYS_BRANCH,
    all_choices,
    best_by_enumeration,
    margins_by_span,
    random_problem,
)


def test_the_proof_needs_no_good_first_choice(monkeypatch: pytest.MonkeyPatch) -> None:
    """Branching alone finds the best and proves it: in small problems the first tries meet it by themselves."""
    monkeypatch.setattr("pinproof.choose.search._Search._dive", lambda _self, _low, _high: None)
    for seed in range(20):
        problem = random_problem(seed)
        if not all_choices(problem):
            continue
        choice, levels, _ = best_by_enumeration(problem)
        found = solve(problem, ALWAYS_BRANCH)
        assert found.certificate.optimal, seed
        assert found.choice == choice, seed
        np.testing.assert_allclose(found.levels, levels, rtol=1e-9, atol=1e-10, err_msg=str(seed))


@pytest.mark.parametrize("seed", range(10))
def test_margins_of_single_choices_are_those_of_the_spans(seed: int) -> None:
    """What the kernel gives for a choice is what `span` and the verdict give, and its readings are the span's."""
    problem = random_problem(seed)
    top = np.array([len(v.candidates) - 1 for v in problem.variables])
    choices = list(itertools.product(*(range(n + 1) for n in top)))[::3]
    compiled = Compiled(problem, np.zeros(len(top), dtype=np.intp), top)
    picks = np.array(choices, dtype=np.intp)
    wanted = margins_by_span(problem, choices)
    np.testing.assert_allclose(compiled.margins(picks), wanted, rtol=1e-9, atol=1e-10)
    assert (compiled.bound(picks, picks) >= wanted - 1e-9).all()


def undecided(seed: int) -> Problem:
    """A pull to 5 V, one resistor to a rail of 2 to 8 V and one to ground: the first may raise the pin or lower it."""
    rng = np.random.default_rng(seed)
    net = Netlist(
        ["pin", "ref", "mid", "ret"],
        ["ref", "mid", "ret"],
        [("pull", "ref", "pin"), ("top", "mid", "pin"), ("coder", "pin", "ret")],
    )
    low, high = np.array([1 / 1030.0, 0.0, 0.0]), np.array([1 / 970.0, 0.0, 0.0])
    member = Member(low, high, Sources.ranges([4.9, 2.0, 0.0], [5.1, 8.0, 0.1]), NodeReading("pin"), 10.0)
    start = float(rng.uniform(1.0, 3.0))
    window = Window("a", Edge(start, start, start), Edge(start + 2.5, start + 2.5, start + 2.5), 1.25, "measured",
                    "command")  # fmt: skip
    variables = []
    for name in ("top", "coder"):
        values = np.sort(rng.choice(values_between("E12", 220.0, 22e3), 9, replace=False))
        reach = rng.choice([0.01, 0.3], 9)
        parts = tuple(Candidate(v, v * (1 - t), v * (1 + t), (f"{v:g}",)) for v, t in zip(values, reach, strict=True))
        variables.append(Variable(name, parts))
    demand = Demand("a", "inside", 0, (window,))
    return Problem(net, tuple(variables), (Spread("a", (member,)),), (demand,))


@pytest.mark.parametrize("seed", range(6))
def test_a_resistor_that_may_go_either_way_is_chosen_right(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Bounds hold over every box though no direction can be proven, and the search finds what enumeration finds."""
    problem = undecided(seed)
    top = np.array([len(v.candidates) - 1 for v in problem.variables])
    compiled = Compiled(problem, np.zeros(2, dtype=np.intp), top)
    assert compiled.open_directions > 0
    picks = np.array(all_choices(problem))
    margins = margins_by_span(problem, all_choices(problem))
    np.testing.assert_allclose(compiled.margins(picks), margins, rtol=1e-9, atol=1e-10)
    rng = np.random.default_rng(seed)
    for _ in range(40):
        a, b = rng.integers(0, top + 1), rng.integers(0, top + 1)
        low, high = np.minimum(a, b), np.maximum(a, b)
        within = ((picks >= low) & (picks <= high)).all(axis=1)
        assert (margins[within].max(axis=0) <= compiled.bound(low[None], high[None])[0] + 1e-9).all()
    monkeypatch.setattr("pinproof.choose.search._Search._dive", lambda _self, _low, _high: None)
    choice, levels, _ = best_by_enumeration(problem)
    found = solve(problem, ALWAYS_BRANCH)
    assert found.certificate.optimal and found.choice == choice
    np.testing.assert_allclose(found.levels, levels, rtol=1e-9, atol=1e-10)


def test_a_window_that_was_measured_goes_before_an_assumed_one() -> None:
    """1 kΩ below 1 kΩ reads one half. Measured 45 to 60 % leaves two thirds of half a window, assumed 20 to 80 % all of
    it; the verdict counts the measured one, and so does the choice. Where that does not hold the other one is left."""
    net = Netlist(["pin", "ref", "ret"], ["ref", "ret"], [("pull", "ref", "pin"), ("coder", "pin", "ret")])
    pull = np.array([1e-3, 0.0])
    member = Member(pull, pull, Sources.fixed([1.0, 0.0]), NodeReading("pin"), 1.0)
    measured = Window("a", Edge(0.45, 0.45, 0.45), Edge(0.6, 0.6, 0.6), 0.075, "measured", "command")
    assumed = Window("a", Edge(0.2, 0.2, 0.2), Edge(0.8, 0.8, 0.8), 0.3, "assumed", "command")
    parts = tuple(Candidate(ohm, ohm, ohm, ("x",)) for ohm in (500.0, 1000.0, 1e6))
    demand = Demand("half", "inside", 0, (assumed, measured))
    problem = Problem(net, (Variable("coder", parts),), (Spread("half", (member,)),), (demand,))
    compiled = Compiled(problem, np.array([0]), np.array([2]))
    picks = [(0,), (1,), (2,)]
    found = compiled.margins(np.array(picks))
    np.testing.assert_allclose(found, margins_by_span(problem, picks), rtol=1e-12)
    assert found[1, 0] == pytest.approx(2.0 / 3.0)
    assert found[0, 0] == pytest.approx((1.0 / 3.0 - 0.2) / 0.3)  # a third: only the assumed one holds it
    assert found[2, 0] < 0.0


@pytest.mark.parametrize("seed", [1, 2, 4, 11, 13])
def test_the_smallest_margin_alone_is_proven_sooner(seed: int) -> None:
    """Asked for it alone, the search stops after the first level and gives no tie away."""
    problem = random_problem(seed)
    levels = np.sort(margins_by_span(problem, all_choices(problem)), axis=1)
    found = solve(problem, ALWAYS_BRANCH, only_smallest=True)
    assert found.levels[0] == pytest.approx(levels[:, 0].max(), rel=1e-9, abs=1e-10)
    proof = found.certificate
    assert proof.upper_bound == found.levels[0] and proof.gap == 0.0
    assert (proof.optimal, proof.proven_levels, proof.settled) == (False, 1, True)
    assert proof.nodes <= solve(problem, ALWAYS_BRANCH).certificate.nodes
