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

import numpy as np
import numpy.typing as npt

from pinproof.find.draws import STEP
from pinproof.find.hypotheses import Hypothesis
from pinproof.find.likelihood import OL_WIDTH, Seen
from pinproof.find.looks import Look, SetUp
from pinproof.find.meter_model import ROOT3, Meter
from pinproof.find.posterior import Diagnosis, Posterior, entropy_bits
from pinproof.find.responses import Response, normal_cdf

FloatArray = npt.NDArray[np.float64]
NOTHING_LEFT_BITS = 0.02
TRIES = 64
MOST_DRAWS = 1000
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
    """Drawn trucks that still fit, thinned out: weight (K,), class (K,), hypothesis and row of each."""

    weight: FloatArray
    of_class: npt.NDArray[np.intp]
    rows: tuple[tuple[int, npt.NDArray[np.intp]], ...]  # hypothesis number, rows of it, in order
    classes: tuple[str, ...]


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
    for number, each in enumerate(diagnosis.hypotheses):
        total = float(here.weights[each.key].sum())
        if total < 1e-4:
            continue
        if each.how == "unlisted":
            weight.append(np.array([total]))
            of_class.append(np.array([at[each.name]]))
            rows.append((number, np.zeros(1, dtype=np.intp)))
            continue
        drawn = diagnosis.rows(each)
        logs = here.logs[each.key].reshape(drawn.cells, drawn.per_cell)
        share = np.exp(logs - logs.max(axis=1, keepdims=True))
        share *= (here.weights[each.key].sum(axis=0) / share.sum(axis=1))[:, None]
        flat = share.ravel()
        keep = np.flatnonzero(flat > 0.0)
        weight.append(flat[keep])
        of_class.append(np.full(len(keep), at[each.name]))
        rows.append((number, keep))
    flat_weight = np.concatenate(weight)
    if most is not None and len(flat_weight) > most:
        floor = np.partition(flat_weight, -most)[-most]
        kept_weight, kept_class, kept_rows = [], [], []
        for w, c, (number, index) in zip(weight, of_class, rows, strict=True):
            keep = w >= floor
            if not keep.any():
                keep = w == w.max()
            kept_weight.append(w[keep] * (w.sum() / w[keep].sum()))
            kept_class.append(c[keep])
            kept_rows.append((number, index[keep]))
        weight, of_class, rows = kept_weight, kept_class, kept_rows
        flat_weight = np.concatenate(weight)
    return Trucks(flat_weight / flat_weight.sum(), np.concatenate(of_class), tuple(rows), names)


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


def words_of(diagnosis: Diagnosis, trucks: Trucks, look: Look) -> FloatArray:
    """Probability of each word for each truck, shape (K, words)."""
    assert diagnosis.reports is not None
    count = len(diagnosis.reports.words)
    parts = []
    for number, index in trucks.rows:
        each = diagnosis.hypotheses[number]
        if each.how == "unlisted":
            parts.append(np.full((1, count), 1.0 / count))
        else:
            parts.append(diagnosis.meaning_table(each, look)[index])
    return np.concatenate(parts)


def _gain_of_words(trucks: Trucks, odds: FloatArray) -> float:
    joint = np.zeros((len(trucks.classes), odds.shape[1]))
    np.add.at(joint, trucks.of_class, trucks.weight[:, None] * odds)
    before = entropy_bits(joint.sum(axis=1))
    after = sum(float(p) * entropy_bits(joint[:, k] / p) for k, p in enumerate(joint.sum(axis=0)) if p > 0.0)
    return before - after


def numbers_of(diagnosis: Diagnosis, trucks: Trucks, look: Look, supply_v: float) -> tuple[FloatArray, FloatArray]:
    """Feature and its deviation for each truck; nan and nan for a truck that may show anything."""
    values, sigmas = [], []
    for number, index in trucks.rows:
        each = diagnosis.hypotheses[number]
        if each.how == "unlisted":
            values.append(np.array([np.nan]))
            sigmas.append(np.array([np.nan]))
            continue
        value, sigma = diagnosis.shown(each, look, supply_v, _shown)
        values.append(value[index])
        sigmas.append(sigma[index])
    return np.concatenate(values), np.concatenate(sigmas)


def _shown(diagnosis: Diagnosis, each: Hypothesis, look: Look, mix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Feature and its deviation for every drawn truck of a hypothesis."""
    rows, one = diagnosis.rows(each), diagnosis.response(each, look)
    value = one.value @ mix
    variance = _variance(one, mix, rows.per_cell, rows.cell_width)
    return value, np.sqrt(variance + _meter_variance(diagnosis.meter, look, value))


def _variance(one: Response, mix: FloatArray, per_cell: int, width: float) -> FloatArray:
    narrow = ((np.nan_to_num(one.narrow) @ mix) ** 2).sum(axis=1) + (np.nan_to_num(one.contacts @ mix) * STEP) ** 2
    out: FloatArray = (
        np.repeat(narrow, per_cell) + (one.leaks @ mix * STEP) ** 2 + (one.severity @ mix * width) ** 2 / 12.0
    )
    return out


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
    picks = rng.choice(len(trucks.weight), size=TRIES, p=trucks.weight)
    adrift = np.isnan(value)
    flat = 1.0 / (span_v if span_v is not None else math.log(6e8))
    shown = value[picks] + sigma[picks] * rng.standard_normal(TRIES)
    anything = rng.uniform(0.0, span_v if span_v is not None else math.log(6e7), TRIES)
    shown = np.where(adrift[picks], anything, shown)
    open_odds = np.zeros(len(value))
    if math.isfinite(open_at):
        open_odds = normal_cdf(np.nan_to_num((value - open_at) / np.hypot(sigma, OL_WIDTH), nan=-0.84))
    with np.errstate(invalid="ignore", over="ignore", under="ignore"):
        z = (shown[:, None] - value[None]) / sigma[None]
        density = np.exp(-0.5 * np.minimum(z * z, 1400.0)) / (sigma * math.sqrt(2.0 * math.pi))
    density[:, adrift] = flat
    likelihood = np.where((shown > open_at)[:, None], open_odds, density * (1.0 - open_odds)) * trucks.weight
    joint = np.zeros((TRIES, len(trucks.classes)))
    for number in range(len(trucks.classes)):
        joint[:, number] = likelihood[:, trucks.of_class == number].sum(axis=1)
    total = joint.sum(axis=1, keepdims=True)
    joint = joint / np.maximum(total, 1e-300)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(joint > 0.0, joint * np.log2(joint), 0.0)
    after = -terms.sum(axis=1)
    by_class = np.zeros(len(trucks.classes))
    np.add.at(by_class, trucks.of_class, trucks.weight)
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


__all__ = ["NOTHING_LEFT_BITS", "ROOT3", "Step", "expected", "expected_word", "next_steps"]
