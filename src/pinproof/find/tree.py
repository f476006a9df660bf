"""The search worked out beforehand: a decision tree for the card, where nothing can be computed.

Answers: which look first, and after each outcome which next, down to a cause or to "these two cannot be told apart".
Units:   ohms; probabilities.
Touches: nothing.
Beside:  `session` does the same with numbers as read; the tree only knows in which band a reading lies.

Bands of a reading: "as built" (between what nine tenths of sound trucks show), below, above, next to nothing, open. On
the phone and on paper one picks a band. What is carried down is the weight of each drawn truck that still fits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Truck
from pinproof.find.evidence import Said
from pinproof.find.hypotheses import NOT_LISTED
from pinproof.find.looks import Look, SetUp, set_up_after
from pinproof.find.next_step import Trucks, all_trucks, numbers_of, words_of
from pinproof.find.odds import entropy_bits
from pinproof.find.posterior import LEAST_WINNER, Diagnosis
from pinproof.find.responses import normal_cdf
from pinproof.find.weights import Weights
from pinproof.proof.situations import requirement

FloatArray = npt.NDArray[np.float64]
SURE = 0.85
LEAST_GAIN_BITS = 0.05
RARE = 0.01  # an outcome this unlikely is left out
SELDOM = 0.002  # of all faults: what comes to this point less often is not split further
DEEPEST = 6
NEAR_ZERO_OHM, OPEN_OHM = 5.0, 1e6
TOLD = 0.05
MAY_SHOW, SELDOM_BUILT = 0.05, 0.05


@dataclass(frozen=True)
class Band:
    """One outcome of a look: a word, or readings from `low` to `high`."""

    words: str
    low: float = math.nan
    high: float = math.nan


@dataclass(frozen=True)
class Proof:
    """A number to take before anything is cut: the look, and the bands it shows if the first class is the cause."""

    look: Look
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class Leaf:
    """Where the tree ends: classes with their probabilities; `sure` if the first may be called the cause.

    `proof`: where no number on the way spoke for the first class, one that would. None where none would.
    """

    classes: tuple[tuple[str, float], ...]
    sure: bool
    proof: Proof | None = None


@dataclass(frozen=True)
class Node:
    """One look and what follows from each outcome; `weight` is how often one gets here."""

    look: Look
    outcomes: tuple[tuple[Band, float, Node | Leaf], ...]
    classes: tuple[tuple[str, float], ...]


FEW = (4, 32)


def decision_tree(truck: Truck, line_id: str, said: Said | None = None, weights: Weights | None = None,
                  deepest: int = DEEPEST) -> Node | Leaf:  # fmt: skip
    """The tree of one line, for faults in the proportions of the weights. Raises as `Diagnosis` does."""
    diagnosis = Diagnosis(truck, line_id, said, weights, draws=FEW)
    if any(
        look.is_ohms for look in diagnosis.looks
    ):  # volts need a sum with the battery's; ohms can be compared as read
        diagnosis.looks = tuple(look for look in diagnosis.looks if look.kind != "volts")
    trucks = all_trucks(diagnosis)
    tables = {look.id: _table(diagnosis, trucks, look) for look in diagnosis.looks}
    grower = _Grower(diagnosis, trucks, tables)
    weight = trucks.weight * _noticed(diagnosis, tables, len(trucks.weight))
    return grower.grow(weight / weight.sum(), "start", frozenset(), deepest)


def _noticed(diagnosis: Diagnosis, tables: dict[str, Table], count: int) -> FloatArray:
    """Probability for each truck that the driver notices something: who notices nothing does not search."""
    right = np.ones(count)
    for look in diagnosis.looks:
        if look.kind == "meaning":
            bands, odds = tables[look.id]
            wanted = requirement(diagnosis.truck, diagnosis.view.line, look.situation, "run").means
            right *= odds[:, [band.words for band in bands].index(wanted)]
    return np.ones(count) if diagnosis.reports is None else np.maximum(1.0 - right, 1e-6)


Table = tuple[tuple[Band, ...], FloatArray]


class _Grower:
    """Grows the tree on trucks that are sorted by class once, so that sums over classes are quick."""

    def __init__(self, diagnosis: Diagnosis, trucks: Trucks, tables: dict[str, Table]) -> None:
        self.order = np.argsort(trucks.of_class, kind="stable")
        present, self.starts = np.unique(trucks.of_class[self.order], return_index=True)
        self.names = tuple(trucks.classes[k] for k in present)
        self.diagnosis = diagnosis
        self.tables = {name: (bands, odds[self.order]) for name, (bands, odds) in tables.items()}

    def joint(self, weight: FloatArray, odds: FloatArray) -> FloatArray:
        """Probability of each class with each band, shape (classes, bands)."""
        out: FloatArray = np.add.reduceat(weight[:, None] * odds, self.starts, axis=0)
        return out

    def grow(self, whole: FloatArray, now: SetUp, done: frozenset[str], left: int) -> Node | Leaf:
        """The tree below trucks of these weights, which add up to how often one gets here."""
        return self._grow(whole[self.order], now, done, left, False)

    def _grow(self, whole: FloatArray, now: SetUp, done: frozenset[str], left: int, spoke: bool) -> Node | Leaf:
        often = float(whole.sum())
        weight = whole / often
        by_class: FloatArray = np.add.reduceat(weight, self.starts)
        ranked = self._ranked(by_class)
        if left == 0 or ranked[0][1] >= SURE or often < SELDOM:
            return _leaf(ranked, None if spoke else self._proof(weight, ranked[0][0], now, done))
        for look, share in self._from_best(weight, by_class, now, done):
            bands, odds = self.tables[look.id]
            outcomes = []
            for k in np.flatnonzero(share >= RARE):
                tells = spoke or (look.is_ohms and bands[k].words != _as_built(bands).words)
                below = self._grow(whole * odds[:, k], set_up_after(now, look), done | {look.id}, left - 1, tells)
                if not (isinstance(below, Leaf) and below.classes[0][0] == NOT_LISTED):
                    outcomes.append((bands[k], float(share[k]), below))
            if len(outcomes) > 1:
                return Node(look, tuple(outcomes), ranked)
        return _leaf(ranked, None if spoke else self._proof(weight, ranked[0][0], now, done))

    def _proof(self, weight: FloatArray, name: str, now: SetUp, done: frozenset[str]) -> Proof | None:
        """The quickest look with an ohmmeter at which a class would hardly ever show what was built."""
        number = self.names.index(name)
        end = self.starts[number + 1] if number + 1 < len(self.starts) else len(weight)
        mine = slice(int(self.starts[number]), int(end))
        of_class = float(weight[mine].sum())
        if name == NOT_LISTED or of_class <= 0.0:
            return None
        found = []
        for look in self.diagnosis.looks:
            if not look.is_ohms or look.id in done:
                continue
            bands, odds = self.tables[look.id]
            share = weight[mine] @ odds[mine] / of_class
            shown = tuple(k for k in np.argsort(-share, kind="stable") if share[k] >= MAY_SHOW)
            built = float(share[bands.index(_as_built(bands))])
            if built <= SELDOM_BUILT:
                found.append((look.weighed_min(now), built, Proof(look, tuple(bands[k] for k in shown))))
        return min(found, key=lambda each: each[:2])[2] if found else None

    def _from_best(
        self, weight: FloatArray, by_class: FloatArray, now: SetUp, done: frozenset[str]
    ) -> Iterator[tuple[Look, FloatArray]]:
        """Looks worth doing with how likely each band is, from best to worst by bits per minute."""
        before, found = entropy_bits(by_class), []
        for look in self.diagnosis.looks:
            if look.id in done:
                continue
            joint = self.joint(weight, self.tables[look.id][1])
            share = joint.sum(axis=0)
            with np.errstate(divide="ignore", invalid="ignore"):
                terms = np.where(joint > 0.0, joint * np.log2(joint / share), 0.0)
            gain = before + float(terms.sum())
            if gain >= LEAST_GAIN_BITS and (share >= RARE).sum() > 1:
                found.append((gain / look.weighed_min(now), look, share))
        for _, look, share in sorted(found, key=lambda each: -each[0]):
            yield look, share

    def _ranked(self, by_class: FloatArray) -> tuple[tuple[str, float], ...]:
        order = np.argsort(-by_class, kind="stable")
        return tuple((self.names[k], float(by_class[k])) for k in order if by_class[k] >= 1e-3)


def _as_built(bands: Sequence[Band]) -> Band:
    """The band in which a sound truck reads."""
    return next((each for each in bands if each.words == "as built"), bands[-1])


def _leaf(ranked: tuple[tuple[str, float], ...], proof: Proof | None) -> Leaf:
    told = tuple(each for each in ranked if each[1] >= TOLD) or ranked[:1]
    return Leaf(told[:4], ranked[0][1] >= LEAST_WINNER and ranked[0][0] != NOT_LISTED, proof)


# ---------------------------------------------------------------- bands


def _table(diagnosis: Diagnosis, trucks: Trucks, look: Look) -> Table:
    """Bands of a look and the probability of each for every truck, shape (K, bands)."""
    if look.kind == "meaning":
        assert diagnosis.reports is not None
        odds = words_of(diagnosis, trucks, look)
        return tuple(Band(word) for word in diagnosis.reports.words), odds
    run = diagnosis.truck.supply.run
    supply_v = run.value
    value, sigma = numbers_of(diagnosis, trucks, look, supply_v)
    sound = [k for k, name in enumerate(trucks.classes) if name == "line sound"]
    mine = np.isin(trucks.of_class, sound) & ~np.isnan(value)
    low, high = _middle(value[mine], trucks.weight[mine]) if mine.any() else (math.nan, math.nan)
    spread = 1.65 * float(sigma[mine].min()) if mine.any() else 0.0
    if look.is_ohms:
        bands, cuts = _ohm_bands(low - spread, high + spread)
    else:
        bands, cuts = _volt_bands(low - spread, high + spread, supply_v)
    edges = np.array([-math.inf, *cuts, math.inf])
    with np.errstate(invalid="ignore"):
        below = normal_cdf((edges[None] - value[:, None]) / np.maximum(sigma, 1e-6)[:, None])
    below[:, 0], below[:, -1] = 0.0, 1.0
    odds = np.diff(below, axis=1)
    odds[np.isnan(value)] = 1.0 / len(bands)
    return bands, np.clip(odds, 1e-6, 1.0)


def _middle(value: FloatArray, weight: FloatArray) -> tuple[float, float]:
    order = np.argsort(value)
    run = np.cumsum(weight[order]) / weight.sum()
    at = value[order]
    return float(at[np.searchsorted(run, 0.05)]), float(at[min(int(np.searchsorted(run, 0.95)), len(at) - 1)])


def _ohm_bands(low: float, high: float) -> tuple[tuple[Band, ...], list[float]]:
    zero, opened = math.log1p(NEAR_ZERO_OHM), math.log1p(OPEN_OHM)
    if math.isnan(low) or high >= opened:  # as built it is open, or leaks a little
        return (
            Band("next to nothing", 0.0, NEAR_ZERO_OHM),
            Band("some ohms", NEAR_ZERO_OHM, 20e3),
            Band("a leak", 20e3, OPEN_OHM),
            Band("open", OPEN_OHM, math.inf),
        ), [zero, math.log1p(20e3), opened]
    a, b = math.expm1(max(low, 0.0)), math.expm1(high)
    if low <= zero:
        return (Band("as built", 0.0, b), Band("too much", b, OPEN_OHM), Band("open", OPEN_OHM, math.inf)), [
            high,
            opened,
        ]
    return (
        Band("next to nothing", 0.0, NEAR_ZERO_OHM),
        Band("too little", NEAR_ZERO_OHM, a),
        Band("as built", a, b),
        Band("too much", b, OPEN_OHM),
        Band("open", OPEN_OHM, math.inf),
    ), [zero, low, high, opened]


def _volt_bands(low: float, high: float, supply_v: float) -> tuple[tuple[Band, ...], list[float]]:
    """Volts at the stated battery. Their bands are printed as a share of it where the pin follows the battery."""
    low, high = max(low, 0.0), high
    if low <= 0.02 * supply_v:
        return (Band("as built", 0.0, high), Band("too much", high, math.inf)), [high]
    return (Band("too little", 0.0, low), Band("as built", low, high), Band("too much", high, math.inf)), [low, high]


# ---------------------------------------------------------------- plain


def plain(tree: Node | Leaf) -> dict[str, Any]:
    """The tree for a program or a page: infinite ohms as None."""
    if isinstance(tree, Leaf):
        return {"sure": tree.sure, "classes": [{"class": name, "probability": p} for name, p in tree.classes]}
    return {
        "look": tree.look.id,
        "outcomes": [
            {
                "band": band.words,
                "low": _finite(band.low),
                "high": _finite(band.high),
                "share": share,
                "then": plain(then),
            }
            for band, share, then in tree.outcomes
        ],
    }


def _finite(x: float) -> float | None:
    return x if math.isfinite(x) else None


def leaves(tree: Node | Leaf) -> int:
    """How many ends the tree has."""
    return 1 if isinstance(tree, Leaf) else sum(leaves(then) for _, _, then in tree.outcomes)
