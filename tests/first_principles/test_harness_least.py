"""Least wire: the dynamic program against every possible grouping on small random trees, and by hand."""

from __future__ import annotations

import random
from collections.abc import Iterator

import networkx as nx
import pytest

from pinproof.harness.least import NoWiring, Rules, SpliceAt, Wiring, cost_mm, least_wires
from pinproof.harness.stagger import slots_mm, stagger
from pinproof.harness.tree import Site, Tree, sites_of


def random_tree(rng: random.Random, places: int) -> tuple[list[tuple[int, int, int]], list[Site]]:
    """Runs between numbered places, and the two ends of the stretch that each leaves for splices."""
    runs = [(rng.randrange(new), new, rng.randrange(100, 2500)) for new in range(1, places)]
    runs = [(u, v, length) if rng.random() < 0.5 else (v, u, length) for u, v, length in runs]
    sites: list[Site] = []
    for number, (_, _, length) in enumerate(runs):
        stretch = sites_of(length, rng.choice([50, 300]), rng.choice([50, 300]))
        if stretch is not None and rng.random() < 0.7:
            sites += [Site(number, at) for at in dict.fromkeys(stretch)]
    return runs, sites


def graph_with(runs: list[tuple[int, int, int]], sites: list[Site]) -> nx.Graph:
    """The tree with every site as a node of its own; distances then come from the library."""
    graph = nx.Graph()
    for number, (u, v, length) in enumerate(runs):
        marks = sorted((site.at_mm, site) for site in sites if site.run == number)
        at, before = 0, u
        for far, site in [*((far, site) for far, site in marks), (length, None)]:
            node = v if site is None else site
            graph.add_edge(before, node, weight=far - at)
            at, before = far, node
    return graph


def groupings(ends: list[int], most: int) -> Iterator[list[list[int]]]:
    """Every way to put the ends into groups of at most `most`."""
    if not ends:
        yield []
        return
    first, rest = ends[0], ends[1:]
    for groups in groupings(rest, most):
        yield [[first], *groups]
        for number, group in enumerate(groups):
            if len(group) < most:
                yield [*groups[:number], [first, *group], *groups[number + 1 :]]


def brute_mm(runs, sites, ends, hub, rules) -> int | None:
    """Least cost by trying every grouping, each splice at its own best site."""
    graph = graph_with(runs, sites)
    far = dict(nx.all_pairs_dijkstra_path_length(graph))
    if hub is None:
        if len(ends) == 2:
            return far[ends[0]][ends[1]] + 2 * rules.slack_mm
        if len(ends) > rules.splice_wires or not sites:
            return None
        return min(sum(far[site][end] + rules.slack_mm for end in ends) for site in sites) + rules.worth_mm
    best = None
    for groups in groupings(list(range(len(ends))), rules.splice_wires - 1):
        if len(groups) > hub[1] or (not sites and any(len(group) > 1 for group in groups)):
            continue
        total = 0
        for group in groups:
            if len(group) == 1:
                total += far[ends[group[0]]][hub[0]] + 2 * rules.slack_mm
            else:
                total += rules.worth_mm + min(
                    far[site][hub[0]] + rules.slack_mm + sum(far[site][ends[one]] + rules.slack_mm for one in group)
                    for site in sites
                )
        best = total if best is None else min(best, total)
    return best


@pytest.mark.parametrize("seed", range(400))
def test_least_wires_is_the_least_of_all_groupings(seed):
    rng = random.Random(seed)
    runs, sites = random_tree(rng, rng.randrange(2, 9))
    places = len(runs) + 1
    ends = [rng.randrange(places) for _ in range(rng.randrange(2, 7))]
    hub = None if rng.random() < 0.25 else (rng.randrange(places), rng.randrange(1, 8))
    rules = Rules(rng.choice([3, 4, 6]), rng.choice([0, 50]), rng.choice([0, 300, 900]))
    tree = Tree(places, runs)
    wanted = brute_mm(runs, sites, ends, hub, rules)
    if wanted is None:
        with pytest.raises(NoWiring):
            least_wires(tree, ends, hub, sites, rules)
        return
    found = least_wires(tree, ends, hub, sites, rules)
    assert found.cost_mm == wanted
    assert found.cost_mm == cost_mm(tree, ends, hub[0] if hub else None, found, rules)
    met = sorted([*found.direct, *(end for splice in found.splices for end in splice.ends)])
    assert met == list(range(len(ends)))
    for splice in found.splices:
        assert splice.site in sites
        assert 3 <= len(splice.ends) + (hub is not None) <= rules.splice_wires
    if hub is not None:
        assert len(found.direct) + len(found.splices) <= hub[1]


def test_sixty_four_ends_on_a_long_tree_stay_quick():
    rng = random.Random(1)
    runs, sites = random_tree(rng, 300)
    ends = [rng.randrange(300) for _ in range(64)]
    found = least_wires(Tree(300, runs), ends, (0, 64), sites, Rules())
    apart = sum(Tree(300, runs).far_mm(end, 0) + 100 for end in ends)
    assert 0 < found.cost_mm <= apart


def test_a_splice_must_pay_for_itself():
    tree = Tree(4, [(0, 1, 250), (1, 2, 500), (1, 3, 500)])
    found = least_wires(tree, [2, 3], (0, 4), [Site(0, 50), Site(0, 200)], Rules())
    assert found == Wiring(1700, (0, 1), ())
    assert least_wires(tree, [2, 3], (0, 1), [Site(0, 50), Site(0, 200)], Rules()).splices == (
        SpliceAt(Site(0, 200), (0, 1)),
    )


def test_equal_costs_take_fewer_splices_then_the_first_site():
    tree = Tree(4, [(0, 1, 400), (1, 2, 500), (1, 3, 500)])  # apart 2 × 900 + 200; in a splice 1600 + worth
    found = least_wires(tree, [2, 3], (0, 4), [Site(0, 350)], Rules(worth_mm=400))
    assert found.splices == ()
    three = least_wires(Tree(3, [(0, 1, 500), (1, 2, 500)]), [0, 1, 2], None, [Site(0, 450), Site(1, 50)], Rules())
    assert three.splices[0].site == Site(0, 450)


@pytest.mark.parametrize(("ends", "hub", "sites", "code"), [
    ([1, 2, 3], None, [], "splice-none"),
    ([1, 2, 3, 1, 2], None, [Site(0, 50)], "splice-many"),
    ([1, 2, 3], (0, 2), [], "hub-many"),
])  # fmt: skip
def test_what_cannot_be_joined_is_said(ends, hub, sites, code):
    with pytest.raises(NoWiring) as caught:
        least_wires(Tree(4, [(0, 1, 100), (1, 2, 100), (2, 3, 100)]), ends, hub, sites, Rules())
    assert caught.value.code == code


@pytest.mark.parametrize("seed", range(60))
def test_stagger_is_the_least_of_all_orders(seed):
    from itertools import permutations

    rng = random.Random(seed)
    slots = slots_mm(300, 300 + rng.randrange(0, 500), 40)
    pulls = [rng.randrange(-3, 4) for _ in range(rng.randrange(1, len(slots) + 1))]
    placed = stagger(slots, pulls)
    assert len(set(placed)) == len(pulls) and set(placed) <= set(slots)
    least = min(sum(c * x for c, x in zip(pulls, order, strict=True)) for order in permutations(slots, len(pulls)))
    assert sum(c * x for c, x in zip(pulls, placed, strict=True)) == least


def test_distances_and_ways_agree_with_a_graph_library():
    rng = random.Random(7)
    runs, sites = random_tree(rng, 40)
    tree, graph = Tree(40, runs), graph_with(runs, sites)
    far = dict(nx.all_pairs_dijkstra_path_length(graph))
    for a in range(40):
        assert all(tree.far_mm(a, b) == far[a][b] for b in range(40))
        assert all(tree.to_site_mm(a, site) == far[a][site] for site in sites)
    assert sum(runs[one][2] for one in tree.runs_between(3, 30)) == far[3][30]
    assert tree.ring() == []
    looped = Tree(4, [(0, 1, 5), (1, 2, 5), (2, 0, 5), (2, 3, 5)])
    assert sorted(looped.ring()) == [0, 1, 2]
