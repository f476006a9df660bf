"""What each drawn truck would show: ohms, volts, and what the controller makes of them.

Answers: for one hypothesis and one look, the reading of every drawn truck, and how it moves with what readings share.
Units:   readings as features: ohms R as ln(R + 1 Ω); volts as volts, affine in the battery's volts.
Touches: nothing.
Beside:  `draws` makes the rows, `likelihood` weighs a reading against them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Truck
from pinproof.find.draws import STEP, Fleet, Group, Rows
from pinproof.find.looks import Look, source_node
from pinproof.find.meter_model import LEADS_OHM, ROOT3
from pinproof.network import Netlist
from pinproof.network.solve import transfer_columns
from pinproof.network.star_mesh import eliminate
from pinproof.observe import ReadingSpace, spaces_of, windows_in
from pinproof.verdict import Window
from pinproof.wiring import LineView

FloatArray = npt.NDArray[np.float64]
UNNAMED = 0.5
"""How often a display shows a fault window just as no command. Common practice, no source."""
OPEN_OHM = 1e12
"""Stands for no path at all; far beyond any display."""


def feature_of_ohm(ohm: float | FloatArray) -> FloatArray:
    """Ohms as a feature: logarithmic when large, linear near zero."""
    out: FloatArray = np.log1p(np.minimum(ohm, OPEN_OHM))
    return out


@dataclass(frozen=True, eq=False)
class Response:
    """One look at all drawn trucks, or at those of one hypothesis.

    `value` (N, k), steps `leaks` and `severity` (N, k) by one unit of the natural logarithm, `contacts` (C, k) root
    mean square likewise for each cell, `narrow` (C, P, k) by one standard deviation of each part. k is 1 for ohms; for
    volts it is 2: at a battery of 0 V and for each volt of it. `shared` names the P parts.
    """

    value: FloatArray
    leaks: FloatArray
    severity: FloatArray
    contacts: FloatArray
    narrow: FloatArray
    shared: tuple[str, ...]

    def of(self, rows: Rows) -> Response:
        """One hypothesis."""
        mine, cells = rows.span, rows.cell_span
        return Response(
            self.value[mine], self.leaks[mine], self.severity[mine], self.contacts[cells], self.narrow[cells],
            self.shared,
        )  # fmt: skip


def response(fleet: Fleet, look: Look) -> Response:
    """What all drawn trucks show at one look."""
    found = [_of_group(group, look) for group in fleet.groups]
    drawn, leaks, severity, contacts, block = (
        np.concatenate([part for part, *_ in found]), *(np.concatenate([one[k] for one in found]) for k in (1, 2, 3)),
        np.concatenate([one[4] for one in found], axis=1),
    )  # fmt: skip
    narrow = (block[1:] - block[:1]).transpose(1, 0, 2)
    shared = fleet.narrow
    if look.kind in ("meaning", "volts"):
        more, free = _rails(fleet, found)
        narrow, shared = np.concatenate([narrow, more], axis=1), (*shared, *free)
    cells = fleet.cell_of[: len(drawn)]
    count = len(narrow)
    spread = np.sqrt(np.add.reduceat(contacts**2, fleet.starts[:count], axis=0) / fleet.counts[:count, None])
    assert cells[-1] == count - 1
    return Response(
        fleet.again(drawn), fleet.again(leaks / STEP), fleet.again(severity / STEP),
        fleet.again(spread / STEP, cells=True), fleet.again(narrow, cells=True), shared,
    )  # fmt: skip


_Parts = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, tuple[str, ...]]


def _of_group(group: Group, look: Look) -> _Parts:
    """The parts of `Group.split`, and for volts what each rail adds: (J, free rails, 2) and their names."""
    none: tuple[FloatArray, tuple[str, ...]] = np.empty(0), ()
    if look.kind in ("wire", "source"):
        return (*group.split(_element(group, look)), *none)
    if look.is_ohms:
        return (*group.split(_passive(group, look)), *none)
    values, more, free = _powered(group, look)
    return (*group.split(values), more, free)


def _rails(fleet: Fleet, found: Sequence[_Parts]) -> tuple[FloatArray, tuple[str, ...]]:
    """What all groups' rails add, under all their names."""
    names = names_of([one[6] for one in found])
    parts = []
    for group, one in zip(fleet.groups, found, strict=True):
        out = np.zeros((group.cell_span.stop - group.cell_span.start, len(names), 2))
        out[:, [names.index(name) for name in one[6]]] = one[5]
        parts.append(out)
    return np.concatenate(parts), names


def _element(group: Group, look: Look) -> FloatArray:
    line = group.view.line
    wire = line.wire if look.kind == "wire" else line.source_wire
    assert wire is not None
    column = next(c for c, branch in enumerate(group.view.branches) if branch.id == wire.path)
    with np.errstate(divide="ignore"):
        return feature_of_ohm(1.0 / group.columns(frozenset(), fuse_in=True)[column])[:, None]


def _passive(group: Group, look: Look) -> FloatArray:
    view = group.view
    used = [c for c, branch in enumerate(view.branches) if branch.id not in group.only_powered]
    if "unplugged" not in group.kept:
        group.kept["unplugged"] = _unplugged(view, used)
    net: Netlist = group.kept["unplugged"]
    every = group.columns(look.situation.key, look.station)
    columns = [every[c] for c in used]
    to = {"chassis": "ground", "plus": "battery"}.get(look.kind, _merged(source_node(view), view.line.id))
    ohm = resistance_columns(net, columns, view.pin, to, group.shorts, len(every[0]))
    return feature_of_ohm(ohm)[:, None]


def _merged(node: str, line_id: str) -> str:
    return "ground" if node == f"return@{line_id}" else node


def _unplugged(view: LineView, used: Sequence[int]) -> Netlist:
    """The netlist of these branches with the controller unplugged and the battery lead lifted."""
    edges = [
        (view.branches[c].id, _merged(view.branches[c].a, view.line.id), _merged(view.branches[c].b, view.line.id))
        for c in used
    ]
    nodes = dict.fromkeys(
        [view.pin, "ground", "battery", _merged(source_node(view), view.line.id)] + [n for e in edges for n in e[1:]]
    )
    return Netlist(nodes, [], edges)


def resistance_columns(
    net: Netlist, columns: Sequence[FloatArray], a: str, b: str, shorts: bool, rows: int
) -> FloatArray:  # fmt: skip
    """`network.resistance_between` with the rails open, on one column for each edge, shape (rows,). [Ω]"""
    first, second = net.node_index(a), net.node_index(b)
    plan = net.plan((first, second), rails="loose")
    if plan.alias[first] == plan.alias[second]:
        return np.zeros(rows)
    number = plan.slot(first, second)
    left = eliminate(plan, columns, shorts)[number] if number >= 0 else None
    if left is None:
        return np.full(rows, np.inf)
    with np.errstate(divide="ignore"):
        return np.broadcast_to(1.0 / left, (rows,))


def _powered(group: Group, look: Look) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    view = group.view
    columns = group.columns(look.situation.key, fuse_in=True)
    share = transfer_columns(view.net, view.net.node_index(view.pin), columns, group.shorts, (len(columns[0]),))
    causes = view.physical.causes("run")
    gains = view.rail_gains if len(view.rail_gains) == len(view.net.rails) else ()
    ids = [name for name in dict.fromkeys(n for gain in gains for n, _ in gain) if name != "supply"]
    middle = {name: (causes[name].low_v + causes[name].high_v) / 2.0 for name in ids}
    by_rail = np.array([[sum(f for n, f in gain if n == name) for name in ids] for gain in gains]).reshape(
        len(gains), -1
    )
    supply = np.array([sum(f for n, f in gain if n == "supply") for gain in gains])
    at_zero = by_rail @ np.array([middle[name] for name in ids])
    values = np.stack([share @ at_zero, share @ supply], axis=1)
    # What the rails share: drops, offsets and references move every reading of one cell alike.
    centre = group.split(share)[4][0]
    free = [name for name in ids if causes[name].high_v > causes[name].low_v]
    more = np.zeros((len(centre), len(free), 2))
    for k, name in enumerate(free):
        sigma = (causes[name].high_v - causes[name].low_v) / math.sqrt(12.0)
        more[:, k, 0] = centre @ by_rail[:, ids.index(name)] * sigma
    return values, more, tuple(free)


# ---------------------------------------------------------------- what the controller makes of it


@dataclass(frozen=True, eq=False)
class Reports:
    """What the controller may report: its words, and in each space its windows. `faulty`: words that mean a fault."""

    words: tuple[str, ...]
    spaces: tuple[ReadingSpace, ...]
    windows: tuple[tuple[Window, ...], ...]
    faulty: tuple[int, ...] = ()


def reports_of(truck: Truck, view: LineView) -> Reports:
    """Meanings of a line and ``invalid``, in the order of the file."""
    words = (*view.line.meanings, "invalid")
    spaces = spaces_of(truck, view.input)
    faults = {each.meaning for each in view.line.windows if each.fault}
    faulty = tuple(k for k, word in enumerate(words[:-1]) if word in faults)
    return Reports(words, spaces, tuple(windows_in(truck, view.line, space) for space in spaces), faulty)


def meaning_odds(
    reports: Reports, truck: Truck, found: Response, cell_of: npt.NDArray[np.intp], starts: npt.NDArray[np.intp]
) -> FloatArray:  # fmt: skip
    """Probability of each word for each drawn truck, shape (N, words); `cell_of` (N,), `starts` (C,) of the cells."""
    n = len(found.value)
    out = np.zeros((n, len(reports.words)))
    run = truck.supply.run
    supply = (run.low + run.high) / 2.0
    slopes = np.nan_to_num(found.narrow)
    for space, windows in zip(reports.spaces, reports.windows, strict=True):
        divisor = supply if space.name == "battery" else space.divisor_nominal_v if space.name == "reference" else 1.0
        at = np.array([1.0, supply]) / divisor
        ratio = found.value @ at
        floats = np.isnan(ratio)
        variance = ((slopes @ at) ** 2).sum(axis=1)
        if space.name != "battery":
            by_supply = np.nan_to_num(found.value[starts, 1]) * (run.high - run.low) / math.sqrt(12.0) / divisor
            variance = variance + by_supply**2
        squares = (variance + 1e-12)[cell_of]
        for window in windows:
            inside = np.ones(n)
            for edge, sign in ((window.lower, 1.0), (window.upper, -1.0)):
                if edge is not None:
                    wide = np.sqrt(squares + (edge.high - edge.low) ** 2 / 12.0)
                    middle = (edge.low + edge.high) / 2.0
                    np.minimum(inside, normal_cdf(sign * (ratio - middle) / wide), out=inside)
            inside[floats] = 1.0 / len(reports.words)
            out[:, reports.words.index(window.meaning)] += inside / len(reports.spaces)
    total = out[:, :-1].sum(axis=1)
    over = total > 1.0
    out[over] /= total[over, None]
    out[:, -1] = 1.0 - np.minimum(total, 1.0)
    for k in reports.faulty:
        out[:, -1] += UNNAMED * out[:, k]
        out[:, k] *= 1.0 - UNNAMED
    return np.clip(out, 1e-9, 1.0)


def normal_cdf(z: FloatArray) -> FloatArray:
    """Standard normal distribution function; error below 1e-7, which no reading resolves.

    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17 (seen: memory), tested against `math.erfc`.
    """
    a = np.abs(z)
    t = 1.0 / (1.0 + 0.2316419 * a)
    poly = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    with np.errstate(under="ignore"):
        tail = np.exp(-0.5 * np.minimum(a, 40.0) ** 2) / math.sqrt(2.0 * math.pi) * poly
    out: FloatArray = np.where(z > 0.0, 1.0 - tail, tail)
    return out


def meter_shares(ohm: float, gain: float) -> tuple[float, float]:
    """How a reading's feature moves by one standard deviation of its range's gain, and of the leads."""
    return gain / ROOT3 * ohm / (ohm + 1.0), LEADS_OHM / ROOT3 / (ohm + 1.0)


def names_of(parts: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """All names, each once, in order."""
    return tuple(dict.fromkeys(name for each in parts for name in each))
