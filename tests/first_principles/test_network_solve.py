"""Potentials against exact rational arithmetic, two-point resistance against networkx, Rayleigh monotonicity."""

from __future__ import annotations

from fractions import Fraction

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.network.edits import edited
from pinproof.network.netlist import Netlist, NetworkFault
from pinproof.network.sample import readings_of_samples
from pinproof.network.solve import (
    Status,
    edge_currents,
    edge_powers,
    node_status,
    node_voltages,
    resistance_between,
    thevenin_resistance,
    transfer,
)
from pinproof.network.star_mesh import scalar_links


def random_netlist(rng: np.random.Generator, most_nodes: int = 7, most_edges: int = 15) -> Netlist:
    rails = int(rng.integers(1, 5))
    count = int(rng.integers(1, most_nodes)) + rails
    names = [f"n{i}" for i in range(count)]
    shuffled = [names[i] for i in rng.permutation(count)]
    edges = [
        (f"e{i}", names[rng.integers(count)], names[rng.integers(count)])
        for i in range(int(rng.integers(1, most_edges)))
    ]
    return Netlist(names, shuffled[:rails], edges)


def random_conductances(rng: np.random.Generator, rows: int, edges: int, shorts: bool) -> np.ndarray:
    g = 10.0 ** rng.uniform(-9, 3, (rows, edges))
    g[rng.random(g.shape) < 0.25] = 0.0
    if shorts:
        g[rng.random(g.shape) < 0.2] = np.inf
    return g


def exact_potentials(net: Netlist, g: np.ndarray, rail_v: np.ndarray) -> dict[int, float] | None:
    """Textbook nodal analysis in fractions: merge shorts, solve Kirchhoff's current law. None: rails contradict."""
    parent = list(range(len(net.nodes)))

    def find(node: int) -> int:
        while parent[node] != node:
            node = parent[node]
        return node

    for value, (a, b) in zip(g, net.ends, strict=True):
        if np.isinf(value):
            parent[find(a)] = find(b)
    known: dict[int, Fraction] = {}
    for volts, node in zip(rail_v, net.rail_index, strict=True):
        if known.setdefault(find(node), Fraction(volts)) != Fraction(volts):
            return None
    wires = [
        (find(a), find(b), Fraction(value))
        for value, (a, b) in zip(g, net.ends, strict=True)
        if 0.0 < value < np.inf and find(a) != find(b)
    ]
    reached, before = set(known), -1
    while len(reached) != before:
        before = len(reached)
        for a, b, _ in wires:
            if a in reached or b in reached:
                reached |= {a, b}
    free = sorted(reached - set(known))
    matrix = [[Fraction(0)] * (len(free) + 1) for _ in free]
    row_of = {node: row for row, node in enumerate(free)}
    for a, b, value in wires:
        for here, there in ((a, b), (b, a)):
            if here in row_of:
                matrix[row_of[here]][row_of[here]] += value
                if there in row_of:
                    matrix[row_of[here]][row_of[there]] -= value
                else:
                    matrix[row_of[here]][-1] += value * known[there]
    for i in range(len(free)):
        pivot = matrix[i][i]
        matrix[i] = [x / pivot for x in matrix[i]]
        for j in range(len(free)):
            if j != i and matrix[j][i]:
                factor = matrix[j][i]
                matrix[j] = [x - factor * y for x, y in zip(matrix[j], matrix[i], strict=True)]
    solved = known | {node: matrix[row][-1] for node, row in row_of.items()}
    return {node: float(solved[find(node)]) for node in range(len(net.nodes)) if find(node) in solved}


@pytest.mark.parametrize("shorts", [False, True])
def test_potentials_match_exact_arithmetic(shorts: bool) -> None:
    """Conductances over twelve decades; rounding must stay at a few units in the last place of the largest rail."""
    rng = np.random.default_rng(20240 + shorts)
    seen = dict.fromkeys(Status, 0)
    for _ in range(120):
        net = random_netlist(rng)
        g = random_conductances(rng, 4, len(net.edges), shorts)
        rail_v = rng.uniform(-5.0, 15.0, (4, len(net.rails)))
        if rng.random() < 0.3:
            rail_v[:] = 5.0
        v, status = node_voltages(net, g, rail_v), node_status(net, g, rail_v)
        samples = {node: readings_of_samples(net, g, rail_v, node) for node in net.nodes}
        tolerance = 1e-12 * np.abs(rail_v).max()
        for row in range(4):
            exact = exact_potentials(net, g[row], rail_v[row])
            for node, name in enumerate(net.nodes):
                seen[Status(status[row, node])] += 1
                if node in net.rail_index:
                    assert v[row, node] == rail_v[row, net.rail_index.index(node)]
                elif exact is None:
                    assert status[row, node] == Status.RAILS_SHORTED
                    assert np.isnan(v[row, node]) and np.isnan(samples[name][row])
                elif node not in exact:
                    assert status[row, node] == Status.FLOATING
                    assert np.isnan(v[row, node]) and np.isnan(samples[name][row])
                    assert np.isnan(transfer(net, g[row], name)).all()
                    assert thevenin_resistance(net, g[row], name)[0] == np.inf
                else:
                    assert status[row, node] == Status.OK
                    assert v[row, node] == pytest.approx(exact[node], abs=tolerance)
                    assert samples[name][row] == pytest.approx(exact[node], abs=tolerance)
                    part = transfer(net, g[row], name)[0]
                    assert part.sum() == pytest.approx(1.0, abs=1e-14)
                    assert part @ rail_v[row] == pytest.approx(exact[node], abs=tolerance)
                    links = np.array(scalar_links(net, node)(g[row].tolist()))
                    if np.isfinite(links).all():
                        assert links @ rail_v[row] / links.sum() == pytest.approx(exact[node], abs=tolerance)
    assert seen[Status.FLOATING] > 20
    assert not shorts or seen[Status.RAILS_SHORTED] > 20


@pytest.mark.parametrize("seed", range(25))
def test_two_point_resistance_matches_networkx(seed: int) -> None:
    """networkx inverts the Laplacian; that loses about as many digits as the conductances are spread (3 decades)."""
    rng = np.random.default_rng(seed)
    graph = nx.connected_watts_strogatz_graph(9, 4, 0.4, seed=seed)
    resistances = {pair: float(10.0 ** rng.uniform(0, 3)) for pair in graph.edges}
    nx.set_edge_attributes(graph, resistances, "ohm")
    net = Netlist([str(n) for n in graph.nodes], ["0", "5"], [(f"{a}-{b}", str(a), str(b)) for a, b in graph.edges])
    g = [1.0 / resistances[pair] for pair in graph.edges]
    for a, b in [(1, 7), (0, 5), (3, 4), (0, 8)]:
        want = nx.resistance_distance(graph, a, b, weight="ohm", invert_weight=True)
        assert resistance_between(net, g, str(a), str(b))[0] == pytest.approx(want, rel=1e-9)
    tied = nx.contracted_nodes(nx.MultiGraph(graph), 0, 5, self_loops=False)
    want = nx.resistance_distance(tied, 0, 7, weight="ohm", invert_weight=True)
    assert resistance_between(net, g, "0", "7", killed="shorted")[0] == pytest.approx(want, rel=1e-9)
    assert thevenin_resistance(net, g, "7")[0] == pytest.approx(want, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 7), st.floats(1.0, 1e4))
def test_rayleigh_more_conductance_never_raises_resistance(seed: int, edge: int, factor: float) -> None:
    """Rayleigh's monotonicity law (Doyle and Snell, Random Walks and Electric Networks, 1984; seen: memory)."""
    rng = np.random.default_rng(seed)
    names = [f"n{i}" for i in range(5)]
    net = Netlist(names, names[:1], [(f"e{i}", *rng.choice(names, 2, replace=False)) for i in range(8)])
    g = 10.0 ** rng.uniform(-6, 3, 8)
    more = g.copy()
    more[edge] *= factor
    before, after = (resistance_between(net, x, "n1", "n2")[0] for x in (g, more))
    assert after <= before * (1.0 + 1e-12)


def test_currents_and_powers_balance() -> None:
    """Kirchhoff's current law at each inner node, and heat equals what the rails deliver."""
    rng = np.random.default_rng(5)
    names = [f"n{i}" for i in range(8)]
    edges = [(f"e{i}", *rng.choice(names, 2, replace=False)) for i in range(20)]
    net = Netlist(names, names[:3], edges)
    g, rail_v = 10.0 ** rng.uniform(-3, 1, (50, 20)), rng.uniform(0, 14, (50, 3))
    current, power = edge_currents(net, g, rail_v), edge_powers(net, g, rail_v)
    into = np.zeros((50, 8))
    for e, (a, b) in enumerate(net.ends):
        into[:, a] -= current[:, e]
        into[:, b] += current[:, e]
    scale = np.abs(current).max()
    assert np.abs(into[:, 3:]).max() < 1e-12 * scale
    assert power.min() >= 0.0
    assert power.sum(axis=1) == pytest.approx((-into[:, :3] * rail_v).sum(axis=1), abs=1e-10 * scale)


def test_opens_shorts_and_their_names() -> None:
    net = Netlist.from_edges(["ref", "gnd"], [("pull", "ref", "pin"), ("path", "pin", "far"), ("tap", "far", "gnd")])
    assert node_voltages(net, [1e-3, np.inf, 1e-3], [5, 0])[0].tolist()[:2] == [2.5, 2.5]
    floating = node_status(net, [0.0, 0.0, 1e-3], [5, 0])[0]
    assert floating[net.node_index("pin")] == Status.FLOATING
    assert floating[net.node_index("far")] == Status.OK
    assert (node_status(net, [np.inf, np.inf, np.inf], [5, 0])[0, :2] == Status.RAILS_SHORTED).all()
    assert (node_status(net, [np.inf, np.inf, np.inf], [5, 5])[0, :2] == Status.OK).all()
    assert resistance_between(net, [np.inf, np.inf, 1e-3], "ref", "far")[0] == 0.0
    assert resistance_between(net, [1e-3, 0.0, 1e-3], "ref", "gnd")[0] == np.inf
    assert edge_currents(net, [0.0, 0.0, 1e-3], [5, 0])[0].tolist() == [0.0, 0.0, 0.0]


def test_faults_say_what_was_read() -> None:
    net = Netlist.from_edges(["gnd"], [("r", "pin", "gnd")])
    with pytest.raises(NetworkFault, match="edge r: -1"):
        node_voltages(net, [-1.0], [0.0])
    with pytest.raises(NetworkFault, match="edge r: nan"):
        readings_of_samples(net, [[np.nan]], [0.0], "pin")
    with pytest.raises(NetworkFault, match="one column for each edge"):
        node_voltages(net, [1.0, 2.0], [0.0])
    with pytest.raises(NetworkFault, match='"pine" is not a node'):
        transfer(net, [1.0], "pine")
    with pytest.raises(NetworkFault, match="more than once"):
        Netlist.from_edges(["gnd"], [("r", "pin", "gnd"), ("r", "pin", "gnd")])
    with pytest.raises(AttributeError):
        net.nodes = ()  # type: ignore[misc]


def test_edited_netlists_match_the_same_edit_by_conductance() -> None:
    """Deleting is a conductance of 0, merging is one of inf: both ways must give the same potentials."""
    rng = np.random.default_rng(11)
    names = ["n0", "n1", "n2", "n3", "n4", "ref", "gnd"]
    for _ in range(60):
        edges = [(f"e{i}", *rng.choice(names, 2, replace=False)) for i in range(12)]
        net = Netlist(names, ["ref", "gnd"], edges)
        g = 10.0 ** rng.uniform(-6, 2, (3, 12))
        gone, (a, b) = f"e{rng.integers(12)}", rng.choice(names[:6], 2, replace=False)
        change = edited(net, delete=[gone], add=[("new", "n0", "leak"), ("leak", "leak", "gnd")], merge=[(a, b)],
                        nodes=["leak"])  # fmt: skip
        added = [0.5, 0.25]
        got = node_voltages(change.net, change.conductances(g, added), [5.0, 0.0])
        same = Netlist([*names, "leak"], ["ref", "gnd"], [*edges, ("new", "n0", "leak"), ("leak", "leak", "gnd"),
                                                         ("join", a, b)])  # fmt: skip
        full = np.concatenate([g, np.tile([0.5, 0.25, np.inf], (3, 1))], axis=1)
        full[:, net.edge_index(gone)] = 0.0
        want = node_voltages(same, full, [5.0, 0.0])
        for old, name in enumerate(net.nodes):
            column = got[:, change.node_to[old]]
            np.testing.assert_allclose(column, want[:, same.node_index(name)], rtol=0, atol=1e-11)
    with pytest.raises(NetworkFault, match="both rails"):
        edited(net, merge=[("ref", "gnd")])
