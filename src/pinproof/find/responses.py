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
from pinproof.find.draws import STEP, Rows
from pinproof.find.looks import Look, source_node
from pinproof.find.meter_model import LEADS_OHM, ROOT3
from pinproof.network import Netlist, resistance_between, transfer
from pinproof.observe import ReadingSpace, spaces_of, windows_in
from pinproof.verdict import Window
from pinproof.wiring import LineView

FloatArray = npt.NDArray[np.float64]
OPEN_OHM = 1e12
"""Stands for no path at all; far beyond any display."""


def feature_of_ohm(ohm: float | FloatArray) -> FloatArray:
    """Ohms as a feature: logarithmic when large, linear near zero."""
    out: FloatArray = np.log1p(np.minimum(ohm, OPEN_OHM))
    return out


@dataclass(frozen=True, eq=False)
class Response:
    """One look at all drawn trucks of one hypothesis.

    `value` (N, k), steps `leaks` and `severity` (N, k) by one unit of the natural logarithm, `contacts` (J, k) root
    mean square likewise, `narrow` (J, P, k) by one standard deviation of each part. k is 1 for ohms; for volts it is 2:
    at a battery of 0 V and for each volt of it. `shared` names the P parts.
    """

    value: FloatArray
    leaks: FloatArray
    severity: FloatArray
    contacts: FloatArray
    narrow: FloatArray
    shared: tuple[str, ...]


def response(rows: Rows, look: Look) -> Response:
    """What the drawn trucks of a hypothesis show at one look."""
    if look.kind in ("wire", "source"):
        return _element(rows, look)
    if look.is_ohms:
        return _passive(rows, look)
    return _powered(rows, look)


def _pack(rows: Rows, values: FloatArray, shared: tuple[str, ...], more: FloatArray | None = None) -> Response:
    drawn, leaks, severity, contacts, narrow = rows.split(values)
    spread = np.sqrt((contacts.reshape(rows.cells, rows.per_cell, -1) ** 2).mean(axis=1))
    if more is not None:
        narrow = np.concatenate([narrow, more], axis=1)
    return Response(drawn, leaks / STEP, severity / STEP, spread / STEP, narrow, shared)


def _element(rows: Rows, look: Look) -> Response:
    line = rows.view.line
    wire = line.wire if look.kind == "wire" else line.source_wire
    assert wire is not None
    column = next(c for c, branch in enumerate(rows.view.branches) if branch.id == wire.path)
    conductance = rows.conductances(frozenset())[:, column]
    with np.errstate(divide="ignore"):
        return _pack(rows, feature_of_ohm(1.0 / conductance)[:, None], rows.narrow)


def _passive(rows: Rows, look: Look) -> Response:
    view = rows.view
    if "unplugged" not in rows.cache:
        rows.cache["unplugged"] = _unplugged(rows)
    net, used = rows.cache["unplugged"]
    conductance = rows.conductances(look.situation.key, look.station)[:, used]
    to = {"chassis": "ground", "plus": "battery"}.get(look.kind, _merged(source_node(view), view.line.id))
    ohm = resistance_between(net, np.asfortranarray(conductance), view.pin, to, killed="open")
    return _pack(rows, feature_of_ohm(ohm)[:, None], rows.narrow)


def _merged(node: str, line_id: str) -> str:
    return "ground" if node == f"return@{line_id}" else node


def _unplugged(rows: Rows) -> tuple[Netlist, list[int]]:
    """The netlist with the controller unplugged and the battery lead lifted, and the branches in it."""
    view = rows.view
    used = [c for c, branch in enumerate(view.branches) if branch.id not in rows.only_powered]
    edges = [
        (view.branches[c].id, _merged(view.branches[c].a, view.line.id), _merged(view.branches[c].b, view.line.id))
        for c in used
    ]
    nodes = dict.fromkeys(
        [view.pin, "ground", "battery", _merged(source_node(view), view.line.id)] + [n for e in edges for n in e[1:]]
    )
    return Netlist(nodes, [], edges), used


def _powered(rows: Rows, look: Look) -> Response:
    view = rows.view
    share = transfer(view.net, np.asfortranarray(rows.conductances(look.situation.key)), view.pin)
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
    n, j, p = rows.count, rows.cells, len(rows.narrow)
    centre = share[4 * n :].reshape(j, p + 1, -1)[:, 0]
    free = [name for name in ids if causes[name].high_v > causes[name].low_v]
    more = np.zeros((j, len(free), 2))
    for k, name in enumerate(free):
        sigma = (causes[name].high_v - causes[name].low_v) / math.sqrt(12.0)
        more[:, k, 0] = centre @ by_rail[:, ids.index(name)] * sigma
    return _pack(rows, values, (*rows.narrow, *free), more)


# ---------------------------------------------------------------- what the controller makes of it


@dataclass(frozen=True, eq=False)
class Reports:
    """What the controller may report: its words, and in each space its windows."""

    words: tuple[str, ...]
    spaces: tuple[ReadingSpace, ...]
    windows: tuple[tuple[Window, ...], ...]


def reports_of(truck: Truck, view: LineView) -> Reports:
    """Meanings of a line and ``invalid``, in the order of the file."""
    words = (*view.line.meanings, "invalid")
    spaces = spaces_of(truck, view.input)
    return Reports(words, spaces, tuple(windows_in(truck, view.line, space) for space in spaces))


def meaning_odds(reports: Reports, truck: Truck, found: Response, cells: int, supply_v: float | None) -> FloatArray:
    """Probability of each word for each drawn truck, shape (N, words)."""
    n = len(found.value)
    per_cell = n // cells
    out = np.zeros((n, len(reports.words)))
    run = truck.supply.run
    supply = supply_v if supply_v is not None else (run.low + run.high) / 2.0
    for space, windows in zip(reports.spaces, reports.windows, strict=True):
        divisor = supply if space.name == "battery" else space.divisor_nominal_v if space.name == "reference" else 1.0
        at = np.array([1.0, supply]) / divisor
        ratio = found.value @ at
        floats = np.isnan(ratio)
        variance = ((np.nan_to_num(found.narrow) @ at) ** 2).sum(axis=1)
        if supply_v is None and space.name != "battery":
            variance = (
                variance
                + (np.nan_to_num(found.narrow).sum() * 0.0)
                + ((np.nan_to_num(found.value[::per_cell, 1]) * (run.high - run.low) / math.sqrt(12.0) / divisor) ** 2)
            )
        sigma = np.sqrt(np.repeat(variance, per_cell) + 1e-12)
        for window in windows:
            inside = np.ones(n)
            for edge, sign in ((window.lower, 1.0), (window.upper, -1.0)):
                if edge is not None:
                    wide = np.sqrt(sigma**2 + (edge.high - edge.low) ** 2 / 12.0)
                    middle = (edge.low + edge.high) / 2.0
                    inside = np.minimum(inside, normal_cdf(sign * (ratio - middle) / wide))
            inside[floats] = 1.0 / len(reports.words)
            out[:, reports.words.index(window.meaning)] += inside / len(reports.spaces)
    total = out[:, :-1].sum(axis=1)
    over = total > 1.0
    out[over] /= total[over, None]
    out[:, -1] = 1.0 - np.minimum(total, 1.0)
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
