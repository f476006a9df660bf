"""The search against plain enumeration, on random small networks.

The enumeration is written apart from the engine: each combination of candidates is put into the netlist as a box,
its readings come from `pinproof.network.spans.span`, its margins from `pinproof.verdict`, and the objective is
applied to the whole list as `pinproof.choose.order` states it. Nothing of `compiled` or `search` is used.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from pinproof.choose.certificate import Budget
from pinproof.choose.order import tie
from pinproof.choose.problem import Candidate, Demand, Member, Problem, Spread, Variable
from pinproof.choose.search import solve
from pinproof.errors import NoSolution
from pinproof.network.box import Reading as NodeReading
from pinproof.network.box import Sources
from pinproof.network.netlist import Netlist
from pinproof.network.spans import span
from pinproof.quantities.preferred import values_between
from pinproof.verdict import Edge, Reading, Window, judge_clear, judge_inside

ALWAYS_BRANCH = Budget(list_below=1, seconds=60.0)
Choice = tuple[int, ...]


# -- the plain enumeration -----------------------------------------------------------------------------------------


def all_choices(problem: Problem) -> list[Choice]:
    """Every combination that the stock allows."""
    ranges = (range(len(variable.candidates)) for variable in problem.variables)
    found = []
    for choice in itertools.product(*ranges):
        taken: dict[int, int] = {}
        for variable, index in zip(problem.variables, choice, strict=True):
            for part, count in variable.candidates[index].uses:
                taken[part] = taken.get(part, 0) + count
        if all(count <= problem.stock[part] for part, count in taken.items()):
            found.append(choice)
    return found


def margins_by_span(problem: Problem, choices: list[Choice]) -> np.ndarray:
    """Margin of every demand for every choice, through `span` and `verdict`."""
    columns = [problem.net.edge_index(variable.edge) for variable in problem.variables]
    picks = np.array(choices)
    lows, highs = [], []
    for spread in problem.spreads:
        low, high = np.full(len(choices), np.inf), np.full(len(choices), -np.inf)
        for member in spread.members:
            low_s, high_s = np.tile(member.low_s, (len(choices), 1)), np.tile(member.high_s, (len(choices), 1))
            for k, column in enumerate(columns):
                low_s[:, column] = [1.0 / problem.variables[k].candidates[i].high_ohm for i in picks[:, k]]
                high_s[:, column] = [1.0 / problem.variables[k].candidates[i].low_ohm for i in picks[:, k]]
            found = span(problem.net, low_s, high_s, member.sources, member.reading)
            assert found.exact.all()
            low = np.minimum(low, np.clip(found.low, 0.0, member.full_scale))
            high = np.maximum(high, np.clip(found.high, 0.0, member.full_scale))
        lows.append(low)
        highs.append(high)
    out = np.empty((len(choices), len(problem.demands)))
    for d, demand in enumerate(problem.demands):
        for row in range(len(choices)):
            low, high = float(lows[demand.spread][row]), float(highs[demand.spread][row])
            if demand.how == "apart":
                low2, high2 = float(lows[demand.other][row]), float(highs[demand.other][row])
                out[row, d] = (max(low - high2, low2 - high) - demand.keep) / demand.scale
            else:
                judge = judge_inside if demand.how == "inside" else judge_clear
                out[row, d] = judge(Reading.exact(low, high), demand.windows).margin
    return out


def best_by_enumeration(problem: Problem) -> tuple[Choice, np.ndarray, int]:
    """The objective of `order`, applied to the whole list; also how many choices were tied in full."""
    choices = all_choices(problem)
    margins = margins_by_span(problem, choices)
    groups = sorted({demand.group for demand in problem.demands})
    ordered = {g: np.sort(margins[:, [d.group == g for d in problem.demands]], axis=1) for g in groups}
    levels = [ordered[g][:, 0] for g in groups]
    levels += [ordered[g][:, j] for g in groups for j in range(1, ordered[g].shape[1])]
    race = list(range(len(choices)))
    for values in levels:
        top = max(values[i] for i in race)
        race = [i for i in race if values[i] >= top - tie(float(top))]

    def cost(i: int) -> tuple[object, ...]:
        chosen = [v.candidates[k] for v, k in zip(problem.variables, choices[i], strict=True)]
        rarities = tuple(sorted((c.rarity for c in chosen), reverse=True))
        return len({p for c in chosen for p in c.parts}), rarities, tuple(c.ohm for c in chosen)

    taken = min(race, key=cost)
    return choices[taken], np.array([values[taken] for values in levels]), len(race)


# -- random problems -----------------------------------------------------------------------------------------------


def random_problem(seed: int) -> Problem:
    """A small line on a pin: parallel, fed through an enable, a ladder, or with a feed; windows may be impossible."""
    rng = np.random.default_rng(seed)
    form = ["parallel", "through", "ladder", "divider", "feed"][seed % 5]
    count = int(rng.integers(2, 4))
    edges: list[tuple[str, str, str]] = [("pull", "reference", "pin"), ("wire", "pin", "far"), ("sw", "src", "source")]
    rails = ["reference", "return"]
    source_rail = "return"
    if form == "feed":
        source_rail = "feed"
        rails = ["ground", "feed", "return"]
        edges[0] = ("pull", "pin", "ground")
    edges[2] = ("sw", source_rail, "source")
    edges.append(("leak_g", "pin", "return"))
    if rng.random() < 0.7:
        rails.append("battery")
        edges.append(("leak_b", "pin", "battery"))
    if rng.random() < 0.3 and form != "feed":
        rails.append("ground")
        edges.append(("down", "pin", "ground"))
    contacts = [f"c{i}" for i in range(count)]
    resistors = [f"r{i}" for i in range(count)]
    above = "far"
    for i in range(count):
        if form == "ladder":
            edges += [(resistors[i], above, f"n{i}"), (contacts[i], f"n{i}", "source")]
            above = f"n{i}"
        elif form == "through" and i == 0:
            edges += [(contacts[0], "source", "manual"), (resistors[0], "manual", "far")]
        else:
            head = "manual" if form == "through" else "source"
            edges += [(contacts[i], head, f"n{i}"), (resistors[i], f"n{i}", "far")]
    variables_of = list(resistors)
    if form == "divider":
        edges.append(("top", "battery" if "battery" in rails else "reference", "far"))
        variables_of.append("top")
    elif rng.random() < 0.3:
        edges.append(("idle_r", "source", "far"))
        variables_of.append("idle_r")
    net = Netlist.from_edges(rails, edges)
    volts = {"reference": (4.9, 5.1), "return": (-0.1, 0.1), "battery": (9.0, 15.0), "ground": (0.0, 0.0)}
    volts["feed"] = (4.8, 5.0)
    low_v, high_v = (np.array([volts[rail][side] for rail in net.rails]) for side in (0, 1))
    ratio = "reference" in net.rails and rng.random() < 0.7
    divisor = (0.0, np.eye(len(net.rails))[net.rails.index("reference")]) if ratio else None
    sources = Sources(low_v, high_v, np.zeros(len(low_v)), np.eye(len(low_v)))
    reading = NodeReading("pin", divisor=divisor)
    full_scale = 1.0 if ratio else 5.0
    leak_ohm = float(rng.choice([20e3, 200e3]))
    open_ohm = float(rng.choice([50e3, 1e6, np.inf]))
    sets: list[tuple[int, ...]] = [(), *((i,) for i in range(count)), *itertools.combinations(range(count), 2)]
    members = []
    for operated in sets:
        low_s, high_s = np.zeros(len(edges)), np.zeros(len(edges))
        for column, (name, _, _) in enumerate(edges):
            if name in ("pull", "down"):
                ohm = 1000.0 if name == "pull" else 100e3
                low_s[column], high_s[column] = 1 / (ohm * 1.03), 1 / (ohm * 0.97)
            elif name.startswith("leak"):
                high_s[column] = 1 / leak_ohm
            elif name in ("wire", "sw"):
                low_s[column], high_s[column] = 1.0, np.inf
            elif name in contacts:
                shut = contacts.index(name) in operated
                low_s[column], high_s[column] = (1 / 40.0, np.inf) if shut else (0.0, 1 / open_ohm)
        members.append(Member(low_s, high_s, sources, reading, full_scale))
    free = seed % 7 == 0
    spreads = tuple(Spread(str(operated), (member,)) for operated, member in zip(sets, members, strict=True))
    demands: list[Demand] = []
    if free:
        for i, j in itertools.combinations(range(count + 1), 2):
            demands.append(Demand(f"{i}-{j}", "apart", i, other=j, keep=0.02 * full_scale, scale=full_scale))
        demands += [Demand(f"{k}", "apart", k, other=0, scale=full_scale, group=1) for k in range(count + 1, len(sets))]
    else:
        edges_at = np.sort(rng.uniform(0.02, 0.98, 2 * (count + 1))) * full_scale
        windows = []
        for i in range(count + 1):
            low, high = edges_at[2 * i], edges_at[2 * i + 1]
            reach = rng.uniform(0.0, 0.01) * full_scale
            lower = None if i == 0 and rng.random() < 0.5 else Edge(low - reach, low + reach, low)
            upper = None if i == count and rng.random() < 0.5 else Edge(high - reach, high + reach, high)
            basis = "assumed" if rng.random() < 0.3 else "measured"
            windows.append(Window(f"w{i}", lower, upper, max((high - low) / 2, 1e-3), basis, "command"))
        order = rng.permutation(count + 1)
        for k, operated in enumerate(sets):
            if len(operated) < 2:
                wanted = [windows[order[0 if not operated else operated[0] + 1]]]
                if rng.random() < 0.2:
                    wanted.append(windows[order[int(rng.integers(count + 1))]])
                demands.append(Demand(str(operated), "inside", k, tuple(dict.fromkeys(wanted))))
            else:
                foreign = tuple(windows[order[i + 1]] for i in range(count) if i not in operated)
                demands.append(Demand(str(operated), "clear", k, foreign))
    drawer = seed % 3 == 0
    stock = tuple(int(rng.integers(1, 3)) for _ in range(6)) if drawer else ()
    series = np.array([47.0, 100.0, 220.0, 470.0, 1000.0, 2200.0, 4700.0, 10e3, 22e3])
    variables = []
    pool = np.sort(rng.choice(series, 6, replace=False))
    for name in variables_of:
        size = int(rng.integers(3, 6 if len(variables_of) < 4 else 5))
        picks = np.sort(rng.choice(6, size, replace=False))
        spreads_of = rng.choice([0.01, 0.02, 0.3], size) if drawer else np.full(size, 0.02)
        variables.append(
            Variable(
                name,
                tuple(
                    Candidate(
                        pool[i], pool[i] * (1 - t), pool[i] * (1 + t), (f"{pool[i]:g}",), int(i) % 3,
                        ((int(i), 1),) if drawer else (),
                    )
                    for i, t in zip(picks, spreads_of, strict=True)
                ),
            )
        )  # fmt: skip
    return Problem(net, tuple(variables), spreads, tuple(demands), stock)


# -- the tests -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("block", range(10))
def test_search_finds_what_enumeration_finds(block: int) -> None:
    """200 random problems: the same choice, the same levels, by branching alone and with short lists evaluated."""
    infeasible = tied = 0
    for seed in range(20 * block, 20 * block + 20):
        problem = random_problem(seed)
        if not all_choices(problem):
            with pytest.raises(NoSolution):
                solve(problem, ALWAYS_BRANCH)
            continue
        choice, levels, race = best_by_enumeration(problem)
        for budget in (ALWAYS_BRANCH, Budget()):
            found = solve(problem, budget)
            assert found.certificate.optimal, seed
            assert found.choice == choice, seed
            np.testing.assert_allclose(found.levels, levels, rtol=1e-9, atol=1e-10, err_msg=str(seed))
        infeasible += bool(levels[0] < 0.0)
        tied += race > 1
    assert infeasible >= 3  # the generator must keep making impossible ones
    assert tied >= 1  # and tied ones


@pytest.mark.parametrize("seed", [1, 4, 8, 11, 17])
def test_full_ties_are_broken_by_parts_then_series_then_order(seed: int) -> None:
    """A resistor that no reading sees is tied in all its values: it takes a part that is there anyway."""
    problem = random_problem(seed)
    net = Netlist((*problem.net.nodes, "stray"), problem.net.rails, (*problem.net.edges, ("unseen", "pin", "stray")))

    def longer(member: Member) -> Member:
        return replace(member, low_s=np.append(member.low_s, 0.0), high_s=np.append(member.high_s, 0.0))

    spreads = tuple(replace(s, members=tuple(longer(m) for m in s.members)) for s in problem.spreads)
    unseen = Variable("unseen", tuple(problem.variables[0].candidates))
    wider = Problem(net, (*problem.variables, unseen), spreads, problem.demands, problem.stock)
    choice, levels, race = best_by_enumeration(wider)
    found = solve(wider, ALWAYS_BRANCH)
    assert found.choice == choice
    np.testing.assert_allclose(found.levels, levels, rtol=1e-9, atol=1e-10)
    assert race > 1
    names = [part for v, k in zip(wider.variables, found.choice, strict=True) for part in v.candidates[k].parts]
    assert len(set(names)) == len(set(names[:-1]))


@pytest.mark.parametrize("seed", [2, 5, 13, 21, 34, 40])
def test_order_of_variables_does_not_change_the_optimum(seed: int) -> None:
    """Listing the resistors the other way round gives the same levels."""
    problem = random_problem(seed)
    turned = replace(problem, variables=tuple(reversed(problem.variables)))
    one, other = solve(problem, ALWAYS_BRANCH), solve(turned, ALWAYS_BRANCH)
    np.testing.assert_allclose(one.levels[0], other.levels[0], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("seed", range(1, 40, 3))
def test_more_candidates_never_lower_the_smallest_margin(seed: int) -> None:
    """Leaving candidates away can only cost margin. (seeds without a stock)"""
    problem = replace(random_problem(seed), stock=())
    problem = replace(
        problem,
        variables=tuple(
            replace(v, candidates=tuple(replace(c, uses=()) for c in v.candidates)) for v in problem.variables
        ),
    )
    fewer = replace(problem, variables=tuple(replace(v, candidates=v.candidates[::2]) for v in problem.variables))
    whole, part = solve(problem, ALWAYS_BRANCH), solve(fewer, ALWAYS_BRANCH)
    # A tie may give up to 0.1 % of the smallest margin away for the second smallest.
    top = whole.certificate.upper_bound
    assert top >= part.certificate.upper_bound - 1e-12
    assert whole.levels[0] >= top - tie(float(top)) - 1e-12


@pytest.mark.parametrize("seed", [3, 6, 9, 16])
def test_runners_up_are_the_next_best(seed: int) -> None:
    """Excluding the best finds what enumeration finds without it."""
    problem = random_problem(seed)
    first = solve(problem, ALWAYS_BRANCH)
    choices = [choice for choice in all_choices(problem) if choice != first.choice]
    if not choices:
        pytest.fail("the generator gave a problem with a single choice")
    second = solve(problem, ALWAYS_BRANCH, exclude=[first.choice])
    assert second.choice != first.choice
    best = margins_by_span(problem, choices)
    group0 = [d.group == 0 for d in problem.demands]
    top = best[:, group0].min(axis=1).max()
    assert second.certificate.upper_bound == pytest.approx(top, rel=1e-9, abs=1e-10)


def test_bounds_hold_over_every_box() -> None:
    """No choice inside a box of candidates has a margin above the bound of the box."""
    from pinproof.choose.compiled import Compiled

    rng = np.random.default_rng(7)
    for seed in range(60):
        problem = random_problem(seed)
        top = np.array([len(v.candidates) - 1 for v in problem.variables])
        compiled = Compiled(problem, np.zeros(len(top), dtype=np.intp), top)
        choices = list(itertools.product(*(range(n + 1) for n in top)))
        margins = margins_by_span(problem, choices)
        picks = np.array(choices)
        for _ in range(5):
            a, b = rng.integers(0, top + 1), rng.integers(0, top + 1)
            low, high = np.minimum(a, b), np.maximum(a, b)
            bound = compiled.bound(low[None], high[None])[0]
            within = ((picks >= low) & (picks <= high)).all(axis=1)
            assert (margins[within].max(axis=0) <= bound + 1e-9).all(), seed


def test_thinned_corners_stay_sound_and_exact(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where corners are left out of the bounds, values come from `span`: the same choices, at more cost."""
    from pinproof.choose import compiled

    monkeypatch.setattr(compiled, "MOST_VARIANTS", 1)
    thinned = 0
    for seed in range(40):
        problem = random_problem(seed)
        if not all_choices(problem):
            continue
        top = np.array([len(v.candidates) - 1 for v in problem.variables])
        thinned += bool(compiled.Compiled(problem, np.zeros(len(top), dtype=np.intp), top).incomplete)
        choice, levels, _ = best_by_enumeration(problem)
        found = solve(problem, ALWAYS_BRANCH)
        assert found.choice == choice, seed
        np.testing.assert_allclose(found.levels, levels, rtol=1e-9, atol=1e-10)
    assert thinned >= 5


def test_a_small_budget_is_honest() -> None:
    """A budget that bites leaves a gap that covers what the full search finds."""
    for seed in (1, 2, 4, 7, 11):
        problem = random_problem(seed)
        whole = solve(problem, ALWAYS_BRANCH)
        hasty = solve(problem, Budget(nodes=1, list_below=1))
        if hasty.certificate.optimal:
            np.testing.assert_allclose(hasty.levels, whole.levels, rtol=1e-9, atol=1e-10)
            continue
        assert hasty.certificate.upper_bound >= whole.levels[0] - 1e-12
        if hasty.certificate.proven_levels == 0:
            assert hasty.certificate.gap == pytest.approx(hasty.certificate.upper_bound - hasty.levels[0])
            assert ("not proven" in str(hasty.certificate)) == (not hasty.certificate.settled)


def test_nothing_to_choose_and_an_empty_drawer_are_told() -> None:
    """Only where no choice can be evaluated at all is there no solution."""
    problem = random_problem(1)
    with pytest.raises(NoSolution, match="nothing to choose"):
        solve(replace(problem, variables=()))
    part = Candidate(100.0, 99.0, 101.0, ("100",), uses=((0, 1),))
    same = tuple(Variable(v.edge, (part,)) for v in problem.variables)
    with pytest.raises(NoSolution, match="drawer"):
        solve(replace(problem, variables=same, stock=(1,)))
    assert solve(replace(problem, variables=same, stock=(len(same),))).choice == (0,) * len(same)


def test_directions_hold_for_clipped_readings() -> None:
    """Where a direction is claimed, no random point of the box and of the causes moves the clipped reading against it.

    The readings come from solving the nodal equations, apart from the engine. More must be settled than by the
    engine's directions of unclipped readings alone.
    """
    from pinproof.choose.directions import directions
    from pinproof.network.signs import FALLS, OPEN, RISES
    from pinproof.network.spans import monotone

    rng = np.random.default_rng(11)
    settled_more = checked = 0
    for seed in range(60):
        problem = random_problem(seed)
        net = problem.net
        members = [member for spread in problem.spreads for member in spread.members]
        low, high = np.stack([m.low_s for m in members]), np.stack([m.high_s for m in members])
        for variable in problem.variables:
            column = net.edge_index(variable.edge)
            low[:, column], high[:, column] = 1.0 / variable.high_ohm.max(), 1.0 / variable.low_ohm.min()
        signs, _ = directions(net, net.node_index("pin"), members, low, high)
        plain = monotone(net, low, high, members[0].sources, members[0].reading).sign
        settled_more += int(((plain == OPEN) & (signs != OPEN)).sum())
        for row, member in enumerate(members):
            for edge in np.flatnonzero((signs[row] == RISES) | (signs[row] == FALLS)).tolist():
                top = np.minimum(high[row], 1e3)
                least = np.maximum(low[row], 1e-12)
                corner = rng.random(len(top)) < 0.5
                inner = least + (top - least) * rng.random(len(top)) ** 4
                point = np.where(rng.random(len(top)) < 0.7, np.where(corner, least, top), inner)
                cause = np.where(rng.random(len(net.rails)) < 0.5, member.sources.cause_low, member.sources.cause_high)
                readings = []
                for end in (least[edge], top[edge]):
                    point[edge] = end
                    volts = nodal_volts(net, point, cause)
                    readings.append(
                        np.clip(volts / float(member.reading.divisors(member.sources, cause)), 0.0, member.full_scale)
                    )
                moved = (readings[1] - readings[0]) * int(signs[row][edge])
                assert moved >= -1e-7 * member.full_scale, (seed, row, net.edges[edge].id)
                checked += 1
    assert checked > 1000
    assert settled_more > 50


def nodal_volts(net: Netlist, conductance_s: np.ndarray, rail_v: np.ndarray) -> float:
    """Volts of the pin from Kirchhoff's current law at every node that is no rail."""
    size = len(net.nodes)
    matrix = np.zeros((size, size))
    for (a, b), g in zip(net.ends, conductance_s, strict=True):
        matrix[[a, b], [a, b]] += g
        matrix[[a, b], [b, a]] -= g
    rails = list(net.rail_index)
    free = [node for node in range(size) if node not in rails]
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix)[free], 1e-300))
    inner = matrix[np.ix_(free, free)] * scale[:, None] * scale
    right = -(matrix[np.ix_(free, rails)] @ rail_v) * scale
    return float((np.linalg.lstsq(inner, right, rcond=None)[0] * scale)[free.index(net.node_index("pin"))])


@pytest.mark.parametrize("seed", [2, 10, 14, 21, 35])
def test_with_half_the_budget_gone_a_tie_is_enough(seed: int) -> None:
    """A search too dear for its budget proves its smallest margin up to 0.1 %, says so, and the full search agrees."""
    parts = tuple(Candidate(o, o * 0.98, o * 1.02, (f"{o:g}",)) for o in values_between("E24", 100.0, 10e3))
    problem = random_problem(seed)
    problem = replace(problem, variables=tuple(replace(v, candidates=parts) for v in problem.variables), stock=())
    whole = solve(problem, ALWAYS_BRANCH)
    assert whole.certificate.optimal
    seen = set()
    for nodes in np.geomspace(1, 4 * whole.certificate.nodes, 40).astype(int).tolist():
        found = solve(problem, Budget(nodes=nodes, seconds=60.0, list_below=1))
        proof = found.certificate
        seen.add((proof.settled, proof.proven_levels > 0))
        assert proof.upper_bound >= whole.certificate.upper_bound - 1e-9
        if proof.settled:
            best = whole.certificate.upper_bound
            assert found.levels[0] >= best - 2.0 * tie(float(best)) - 1e-12
        if proof.settled and not proof.proven_levels:
            assert 0.0 < proof.within <= 1.1e-3 or proof.gap <= 1.1e-6
            assert "0.1 %" in str(proof) or proof.gap <= 1.1e-6
        if not proof.settled:
            assert "not proven" in str(proof)
    assert seen == {(False, False), (True, False), (True, True)}
