"""The netlist after edges were added or deleted and nodes merged.

Answers: the new circuit, and which of its columns held which old ones.
Units:   siemens in `Edited.conductances`.
Touches: nothing.
Beside:  `netlist`. An open or a short of an edge needs no edit: its conductance is set to 0 or inf.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import Edge, FloatArray, IntArray, Netlist, NetworkFault


@dataclass(frozen=True, eq=False)
class Edited:
    """`net` is the new netlist.

    `edge_from[i]` is the old column of new edge i, or -1 - k for the k-th added one. `node_to[j]` is the new index of
    old node j.
    """

    net: Netlist
    edge_from: IntArray
    node_to: IntArray

    def conductances(self, conductance_s: npt.ArrayLike, added_s: npt.ArrayLike = ()) -> FloatArray:
        """New columns (B, m') from the old ones (B, m) and those of the added edges ((B or 1, k) or (k,)), in order.

        Added edges between nodes that were merged are gone; their columns are passed all the same.
        """
        old = np.atleast_2d(np.asarray(conductance_s, dtype=np.float64))
        new = np.atleast_2d(np.asarray(added_s, dtype=np.float64))
        both = np.concatenate([old, np.broadcast_to(new, (old.shape[0], new.shape[1]))], axis=1)
        columns = np.where(self.edge_from >= 0, self.edge_from, old.shape[1] + self._added)
        return both[:, columns]

    @property
    def _added(self) -> IntArray:
        return -1 - self.edge_from


def edited(
    net: Netlist,
    *,
    delete: Iterable[str] = (),
    add: Sequence[Edge | tuple[str, str, str]] = (),
    merge: Iterable[Sequence[str]] = (),
    nodes: Iterable[str] = (),
) -> Edited:
    """A new netlist; the old one is untouched.

    Parameters
    ----------
    delete : edge ids
    add : edges
        Their ends may be old nodes or those in `nodes`.
    merge : groups of nodes
        Each group becomes one node with the name of its rail, if it has one, else of its first member.
    nodes : names
        New nodes.

    Raises
    ------
    NetworkFault
        Unknown names, or two rails in one group: rails keep their potentials, so join them by an edge of infinite
        conductance and read the status instead.
    """
    gone = set(delete)
    for edge_id in gone:
        net.edge_index(edge_id)
    fresh = tuple(nodes)
    names = (*net.nodes, *fresh)
    name_to = {name: name for name in names}
    for group in merge:
        for name in group:
            if name not in name_to:
                raise NetworkFault("merge", f'"{name}" is not a node', f"one of {', '.join(names)}")
        roots = list(dict.fromkeys(name_to[name] for name in group))
        rails = [name for name in roots if name in net.rails]
        if len(rails) > 1:
            raise NetworkFault(
                "merge",
                f"{' and '.join(rails)} are both rails",
                "one rail in a group",
                "Add an edge of infinite conductance between them; the status then says that rails are shorted.",
            )
        if roots:
            target = rails[0] if rails else roots[0]
            name_to = {name: target if root in roots else root for name, root in name_to.items()}
    kept = [name for name in names if name_to[name] == name]
    edges: list[Edge] = []
    edge_from: list[int] = []
    extra = tuple(edge if isinstance(edge, Edge) else Edge(*edge) for edge in add)
    listed = [(i, edge) for i, edge in enumerate(net.edges) if edge.id not in gone]
    listed += [(-1 - i, edge) for i, edge in enumerate(extra)]
    for column, edge in listed:
        for end in (edge.a, edge.b):
            if end not in name_to:
                raise NetworkFault(f"edge {edge.id}", f'end "{end}" is not a node', f"one of {', '.join(names)}")
        a, b = name_to[edge.a], name_to[edge.b]
        if a != b or edge.a == edge.b:
            edges.append(Edge(edge.id, a, b))
            edge_from.append(column)
    new = Netlist(kept, net.rails, edges)
    node_to = np.array([new.node_index(name_to[name]) for name in net.nodes], dtype=np.intp)
    return Edited(new, np.array(edge_from, dtype=np.intp), node_to)
