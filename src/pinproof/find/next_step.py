"""What to look at next: the look that is expected to tell most per minute.

Answers: which look, how much it is expected to narrow the question, what each class would show there.
Units:   bits, minutes.
Touches: nothing; random numbers have a fixed seed.
Sources: expected fall of entropy (mutual information of the class and the reading), per minute.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pinproof.find.draws import STEP
from pinproof.find.evidence import Evidence
from pinproof.find.likelihood import OL_WIDTH, Seen
from pinproof.find.looks import Look, SetUp
from pinproof.find.meter_model import ROOT3, Meter
from pinproof.find.odds import Posterior, entropy_bits
from pinproof.find.posterior import Diagnosis
from pinproof.find.responses import normal_cdf

FloatArray = npt.NDArray[np.float64]
NOTHING_LEFT_BITS = 0.02
TRIES = 64
MOST_DRAWS, FEWEST_DRAWS = 1000, 32  # in all; at least so many of each hypothesis
SEED = 11


@dataclass(frozen=True)
class Step:
    """One look with what is expected of it."""

    look: Look
    gain_bits: float
    minutes: float
    weighed_min: float

    @property
    def worth(self) -> float:
        """Bits per minute; of a change of set-up half is counted, since looks after it use it too."""
        return self.gain_bits / self.weighed_min


@dataclass(frozen=True, eq=False)
class Trucks:
    """Drawn trucks that still fit, thinned out: weight (K,), class (K,), row of each in the fleet (-1: not listed)."""

    weight: FloatArray
    of_class: npt.NDArray[np.intp]
    rows: npt.NDArray[np.intp]
    classes: tuple[str, ...]

    @cached_property
    def _by_class(self) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
        """An order in which each class stands together, and where each begins."""
        order = np.argsort(self.of_class, kind="stable")
        return order, np.flatnonzero(np.diff(self.of_class[order], prepend=-1))

    def class_sums(self, values: FloatArray) -> FloatArray:
        """Sums over the trucks (last axis) of each class that is left."""
        order, starts = self._by_class
        out: FloatArray = np.add.reduceat(values[..., order], starts, axis=-1)
        return out


def next_steps(diagnosis: Diagnosis, seen: Sequence[Seen], now: SetUp, found: Posterior | None = None,
               without: Collection[str] = ()) -> tuple[Step, ...]:  # fmt: skip
    """Looks that were not done yet, from best to worst by expected bits per minute.

    Parameters
    ----------
    now : set-up the truck is in
    found : the posterior of `seen`, if at hand
    without : kinds or ids of looks that are not possible here (no display, no meter)
    """
    here = found or diagnosis.posterior(seen)
    trucks = _trucks(diagnosis, here)
    done = {each.look.id for each in seen}
    supply = next((each.supply_v for each in reversed(seen) if each.supply_v), None)
    out = []
    for look in diagnosis.looks:
        if look.id in done or look.id in without or look.kind in without:
            continue
        gain = _gain_bits(diagnosis, trucks, look, supply)
        out.append(Step(look, gain, look.minutes(now), look.weighed_min(now)))
    return tuple(sorted(out, key=lambda each: (-each.worth, each.minutes)))


def _trucks(
    diagnosis: Diagnosis, here: Posterior, most: int | None = MOST_DRAWS
) -> Trucks:  # fmt: skip
    names = tuple(each.name for each in here.classes)
    at = {name: number for number, name in enumerate(names)}
    weight, of_class, rows = [], [], []
    for each in diagnosis.hypotheses:
        total = float(here.weights[each.key].sum())
        if total < 1e-4:
            continue
        if each.how == "unlisted":
            weight.append(np.array([total]))
            rows.append(np.array([-1]))
        else:
            drawn = diagnosis.rows(each)
            logs = here.logs[drawn.span].reshape(drawn.cells, drawn.per_cell)
            share = np.exp(logs - logs.max(axis=1, keepdims=True))
            share *= (here.weights[each.key].sum(axis=0) / share.sum(axis=1))[:, None]
            flat = share.ravel()
            keep = np.flatnonzero(flat > 0.0)
            weight.append(flat[keep])
            rows.append(keep + drawn.first)
        of_class.append(at[each.name])
    if most is not None and sum(len(each) for each in weight) > most:
        whole = sum(float(w.sum()) for w in weight)
        for k, w in enumerate(weight):
            keep, share = _thinned(w, max(math.ceil(most * float(w.sum()) / whole), FEWEST_DRAWS))
            weight[k], rows[k] = share, rows[k][keep]
    classes = np.repeat(np.array(of_class, dtype=np.intp), [len(each) for each in weight])
    flat_weight = np.concatenate(weight)
    return Trucks(flat_weight / flat_weight.sum(), classes, np.concatenate(rows), names)


def _thinned(weight: FloatArray, count: int) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """At most so many trucks of one hypothesis, picked as often as they are likely, and their new weights."""
    if len(weight) <= count:
        return np.arange(len(weight), dtype=np.intp), weight
    run = np.cumsum(weight)
    times = np.bincount(np.searchsorted(run, (np.arange(count) + 0.5) / count * run[-1]))
    keep = np.flatnonzero(times)
    share = np.asarray(times[keep] * (float(run[-1]) / count), dtype=np.float64)
    return keep, share


def all_trucks(diagnosis: Diagnosis) -> Trucks:
    """The drawn trucks of every hypothesis and severity, before anything was seen."""
    return _trucks(diagnosis, diagnosis.posterior(()), most=None)


def _gain_bits(diagnosis: Diagnosis, trucks: Trucks, look: Look, supply_v: float | None) -> float:
    if look.kind == "meaning":
        return _gain_of_words(trucks, words_of(diagnosis, trucks, look))
    supply = supply_v or (diagnosis.truck.supply.run.low + diagnosis.truck.supply.run.high) / 2.0
    value, sigma = numbers_of(diagnosis, trucks, look, supply)
    if look.is_ohms:
        return _gain_of_numbers(trucks, value, sigma, math.log1p(diagnosis.meter.most_ohm), None)
    return _gain_of_numbers(trucks, value, sigma, math.inf, supply)


def named_bits(
    diagnosis: Diagnosis, seen: Sequence[Seen], look: Look, found: Posterior, names: Collection[str]
) -> float:
    """What a look is expected to tell of these classes among themselves, were it sure that it is one of them. [bit]"""
    trucks = _trucks(diagnosis, found)
    keep = np.flatnonzero(np.isin(trucks.of_class, [trucks.classes.index(name) for name in names]))
    weight = trucks.weight[keep]
    if not weight.sum() > 0.0:
        return 0.0
    among = Trucks(weight / weight.sum(), trucks.of_class[keep], trucks.rows[keep], trucks.classes)
    return _gain_bits(diagnosis, among, look, next((each.supply_v for each in reversed(seen) if each.supply_v), None))


def words_of(diagnosis: Diagnosis, trucks: Trucks, look: Look) -> FloatArray:
    """Probability of each word for each truck, shape (K, words)."""
    assert diagnosis.reports is not None
    out = diagnosis.meanings(look)[trucks.rows]
    out[trucks.rows < 0] = 1.0 / len(diagnosis.reports.words)
    return out


def _gain_of_words(trucks: Trucks, odds: FloatArray) -> float:
    joint = trucks.class_sums((trucks.weight[:, None] * odds).T).T
    before = entropy_bits(joint.sum(axis=1))
    after = sum(float(p) * entropy_bits(joint[:, k] / p) for k, p in enumerate(joint.sum(axis=0)) if p > 0.0)
    return before - after


def numbers_of(diagnosis: Diagnosis, trucks: Trucks, look: Look, supply_v: float) -> tuple[FloatArray, FloatArray]:
    """Feature and its deviation for each truck; nan and nan for a truck that may show anything."""
    value, sigma = diagnosis.shown(look, supply_v, _shown)
    nowhere = trucks.rows < 0
    value, sigma = value[trucks.rows], sigma[trucks.rows]
    value[nowhere] = sigma[nowhere] = np.nan
    return value, sigma


def _shown(diagnosis: Evidence, look: Look, mix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Feature and its deviation for every drawn truck."""
    fleet, one = diagnosis.fleet, diagnosis.whole_response(look)
    value = one.value @ mix
    narrow = ((np.nan_to_num(one.narrow) @ mix) ** 2).sum(axis=1) + (np.nan_to_num(one.contacts @ mix) * STEP) ** 2
    variance = (
        narrow[fleet.cell_of]
        + (one.leaks @ mix * STEP) ** 2
        + (one.severity @ mix * fleet.width[fleet.cell_of]) ** 2 / 12.0
    )
    return value, np.sqrt(variance + _meter_variance(diagnosis.meter, look, value))


def _meter_variance(meter: Meter, look: Look, value: FloatArray) -> FloatArray:
    if not look.is_ohms:
        of = meter.volts[0]
        return np.full(len(value), (of.digit * of.digits) ** 2 / 3.0 * 2.0)
    ohm = np.expm1(np.minimum(value, 40.0))
    gain = meter.ohms[len(meter.ohms) // 2].relative
    step = np.select([ohm <= each.full for each in meter.ohms], [each.digit * each.digits for each in meter.ohms], 1.0)
    out: FloatArray = ((gain * ohm) ** 2 + step**2 + 0.01) / 3.0 / (ohm + 1.0) ** 2
    return out


def _gain_of_numbers(
    trucks: Trucks, value: FloatArray, sigma: FloatArray, open_at: float, span_v: float | None
) -> float:  # fmt: skip
    """Expected gain by trying: draw a truck that fits, draw what it shows, weigh all trucks against that."""
    rng = np.random.default_rng(SEED)
    run = np.cumsum(trucks.weight)  # every class is picked as often as it is likely
    picks = np.searchsorted(run, (np.arange(TRIES) + 0.5) / TRIES * run[-1])
    adrift = np.isnan(value)
    flat = 1.0 / (span_v if span_v is not None else math.log(6e8))
    shown = value[picks] + sigma[picks] * rng.standard_normal(TRIES)
    anything = rng.uniform(0.0, span_v if span_v is not None else math.log(6e7), TRIES)
    shown = np.where(adrift[picks], anything, shown)
    open_odds = np.zeros(len(value))
    if math.isfinite(open_at):
        open_odds = normal_cdf(np.nan_to_num((value - open_at) / np.hypot(sigma, OL_WIDTH), nan=-0.84))
    is_open = shown > open_at
    value, sigma = np.where(adrift, 0.0, value), np.where(adrift, np.inf, sigma)
    factor = np.where(adrift, flat, 1.0 / (sigma * math.sqrt(2.0 * math.pi))) * (1.0 - open_odds) * trucks.weight
    likelihood = (np.where(is_open, 0.0, shown)[:, None] - value) / (sigma * math.sqrt(2.0))
    with np.errstate(under="ignore"):
        np.exp(-np.minimum(likelihood * likelihood, 700.0), out=likelihood)
    likelihood *= factor
    likelihood[is_open] = open_odds * trucks.weight
    joint = trucks.class_sums(likelihood)
    total = joint.sum(axis=1, keepdims=True)
    joint = joint / np.maximum(total, 1e-300)
    after = -(joint * np.log2(np.maximum(joint, 1e-300))).sum(axis=1)
    by_class = trucks.class_sums(trucks.weight)
    return max(entropy_bits(by_class) - float(after.mean()), 0.0)


def expected(
    diagnosis: Diagnosis, seen: Sequence[Seen], look: Look, name: str, found: Posterior
) -> tuple[float, float]:
    """Between which readings a class would show, the middle 90 %, at one look: ohms (inf for OL) or volts.

    (nan, nan) where the class may show anything.
    """
    trucks = _trucks(diagnosis, found)
    supply = next((each.supply_v for each in reversed(seen) if each.supply_v), None)
    run = diagnosis.truck.supply.run
    value, sigma = numbers_of(diagnosis, trucks, look, supply or (run.low + run.high) / 2.0)
    mine = trucks.of_class == trucks.classes.index(name)
    if not mine.any() or np.isnan(value[mine]).all():
        return math.nan, math.nan
    order = np.argsort(value[mine])
    run_weight = np.cumsum(trucks.weight[mine][order])
    at = value[mine][order]
    low = float(at[np.searchsorted(run_weight, 0.05 * run_weight[-1])])
    high = float(at[min(np.searchsorted(run_weight, 0.95 * run_weight[-1]), len(at) - 1)])
    spread = float(sigma[mine].min()) * 1.65
    if not look.is_ohms:
        return max(low - spread, 0.0), high + spread
    most = math.log1p(diagnosis.meter.most_ohm)
    ohms = tuple(math.inf if x > most else max(math.expm1(x), 0.0) for x in (low - spread, high + spread))
    return ohms[0], ohms[1]


def expected_word(
    diagnosis: Diagnosis, seen: Sequence[Seen], look: Look, name: str, found: Posterior
) -> dict[str, float]:
    """What the controller would report at a `meaning` look if a class were true: word to probability."""
    assert diagnosis.reports is not None
    trucks = _trucks(diagnosis, found)
    mine = trucks.of_class == trucks.classes.index(name)
    odds = words_of(diagnosis, trucks, look)[mine]
    share = (trucks.weight[mine][:, None] * odds).sum(axis=0) / trucks.weight[mine].sum()
    return dict(zip(diagnosis.reports.words, share.tolist(), strict=True))


__all__ = ["NOTHING_LEFT_BITS", "ROOT3", "Step", "expected", "expected_word", "named_bits", "next_steps"]
