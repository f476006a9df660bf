"""The oracle for finding faults: the posterior of every class of a line, from the likelihood in `model`.

The severity is cut into strata of at most half a decade, and at every limit of a law; inside a stratum it is one of
the unknowns that `evidence` integrates over, with all part errors, gains and sources that the readings share. A coarse
fit drops what cannot fit, the rest is integrated by importance sampling until the posteriors are known well enough.

Readings of the specification
- Mistyping: each reading by itself, with the page's probability, is as for "not listed"; of a `volts` reading this is
  the pin, the battery volts are as under every other cause (a sound supply and the meter's gain).
- "Not listed" has the pin volts uniform up to the battery volts noted with them; the battery volts themselves are as
  under every other cause.
- A setting fault has the wrong meaning in one situation; where that situation was not looked at, it is as sound.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tests.truth.cases import Case, Reading
from tests.truth.causes import NOT_LISTED, SETTING, Cause
from tests.truth.evidence import COARSE, FINE, MIDDLE, Fit, Sampler
from tests.truth.faults import Fault
from tests.truth.looks import Looks, looks_of
from tests.truth.meter import TYPED_WRONG
from tests.truth.model import KEEP, SUPPLY, Structure
from tests.truth.truck import Truck

HOPELESS = 16.0  # a cause whose fit is so many units of log probability worse than the best is dropped
NEGLIGIBLE = (13.0, 9.0)  # likewise by the normal approximation, and by a first sampling, where it is not sampled on
DOUBTFUL = 6.0
PILOT, ROUND = 600, 2000  # draws
TELLABLE = 0.95


@dataclass
class Stratum:
    """One class's share of a structure's severities from `low` to `high` ohm (both 1 where there is none)."""

    class_name: str
    low: float
    high: float
    probability: float


@dataclass
class Hypothesis:
    """What is integrated by itself. `factor`: what the integral is multiplied with, as a logarithm. `expected`: both
    together, by the normal approximation."""

    class_name: str
    factor: float
    sampler: Sampler
    expected: float

    @property
    def score(self) -> float:
        return self.factor + self.sampler.estimate.log_mean


@dataclass
class Judgement:
    """`classes`: posterior by class, adding up to 1. `errors`: the standard deviation of each that comes from drawing.
    `draws`: how many trucks were drawn. `kept`: how many hypotheses were sampled to the end."""

    classes: dict[str, float]
    errors: dict[str, float] = field(default_factory=dict)
    draws: int = 0
    kept: int = 0


def strata_of(causes: Sequence[Cause], decades: float = 0.5) -> dict[tuple[Fault | None, float], list[Stratum]]:
    """(fault, base ohms) -> strata, none wider than `decades`. The setting and what is not listed are not there."""
    out: dict[tuple[Fault | None, float], list[Stratum]] = {}
    by_key: dict[tuple[Fault | None, float], list[Cause]] = {}
    for c in causes:
        if c.class_name not in (SETTING, NOT_LISTED):
            by_key.setdefault((c.fault, c.severity.base_ohm if c.severity else 0.0), []).append(c)
    for key, mine in by_key.items():
        rows = out.setdefault(key, [])
        soft = [c for c in mine if c.severity is not None]
        for name in dict.fromkeys(c.class_name for c in mine if c.severity is None):
            rows.append(Stratum(name, 1.0, 1.0, sum(c.probability for c in mine if c.class_name == name)))
        marks = sorted({x for c in soft if c.severity for x in (c.severity.low_ohm, c.severity.high_ohm)})
        for a, b in itertools.pairwise(marks):
            parts = max(1, math.ceil(math.log10(b / a) / decades - 1e-9))
            for k in range(parts):
                low, high = a * (b / a) ** (k / parts), a * (b / a) ** ((k + 1) / parts)
                shares: dict[str, float] = {}
                for c in soft:
                    assert c.severity is not None
                    if c.severity.low_ohm <= a and b <= c.severity.high_ohm:
                        share = math.log(high / low) / math.log(c.severity.high_ohm / c.severity.low_ohm)
                        shares[c.class_name] = shares.get(c.class_name, 0.0) + c.probability * share
                rows += [Stratum(name, low, high, p) for name, p in shares.items()]
    return out


@dataclass
class _Candidate:
    """A structure with those of its strata that may still fit."""

    structure: Structure
    strata: list[Stratum]
    fit: Fit
    setting: str | None = None
    factor: float = 0.0

    def scores(self, values: np.ndarray) -> np.ndarray:
        return np.array([math.log(s.probability) for s in self.strata]) + self.factor + values

    def only(self, which: np.ndarray) -> None:
        self.fit.only(which)
        self.strata = [s for s, keep in zip(self.strata, which, strict=True) if keep]


class Oracle:
    """One line with one set of readings. `decades`: the widest stratum of a severity. `causes`: instead of the page's,
    with other probabilities (after symptoms, say); they need not add up to 1."""

    def __init__(
        self,
        truck: Truck,
        line_id: str,
        readings: Sequence[Reading],
        column: str = "in service",
        decades: float = 0.5,
        causes: Sequence[Cause] | None = None,
    ) -> None:
        self.decades = decades
        self.looks: Looks = looks_of(truck, line_id)
        self.readings = list(readings)
        given = self.looks.causes(column) if causes is None else causes
        total = sum(c.probability for c in given)
        self.causes = [replace(c, probability=c.probability / total) for c in given if c.probability > 0]
        self.prior: dict[str, float] = {NOT_LISTED: 0.0}
        for c in self.causes:
            self.prior[c.class_name] = self.prior.get(c.class_name, 0.0) + c.probability

    def _structure(self, fault: Fault | None, base_ohm: float = 0.0) -> Structure:
        faults = () if fault is None else (fault,)
        nets = {r.id: self.looks.net(r.id, faults) for r in self.readings}
        return Structure(self.looks, self.readings, nets, fault, base_ohm)

    def _candidates(self) -> list[_Candidate]:
        out = []
        sound = None
        for (fault, base_ohm), strata in strata_of(self.causes, self.decades).items():
            structure = self._structure(fault, base_ohm)
            if fault is None:
                sound = structure
            low = np.array([s.low for s in strata])
            out.append(_Candidate(structure, strata, Fit(structure, low, np.array([s.high for s in strata]))))
        if SETTING in self.prior and sound is not None:
            out += self._settings(sound)
        return out

    def _settings(self, sound: Structure) -> list[_Candidate]:
        """A wrong meaning in each required situation. Those that were not looked at are one."""
        required = self.looks.required
        share = self.prior[SETTING] / max(len(required), 1)
        seen = [s for s in required if s in sound.said]
        out = []
        one = np.ones(1)
        if len(seen) < len(required) or not required:
            p = share * max(len(required) - len(seen), 1)
            out.append(_Candidate(sound, [Stratum(SETTING, 1.0, 1.0, p)], Fit(sound, one, one)))
        for s in seen:
            out.append(_Candidate(sound, [Stratum(SETTING, 1.0, 1.0, share)], Fit(sound, one, one, s), s))
            wrong = sound.said[s] != self.looks.right[s]
            other = TYPED_WRONG / (len(self.looks.meanings) + 1)
            out[-1].factor = math.log(other + (KEEP / len(self.looks.meanings) if wrong else 0.0))
        return out

    def _not_listed(self, rng: np.random.Generator) -> float:
        """Logarithm of prior times likelihood."""
        if not self.prior[NOT_LISTED]:
            return -math.inf
        volts = [r for r in self.readings if r.pin_v is not None]
        total = math.log(self.prior[NOT_LISTED])
        found = self._structure(None)
        total += sum(math.log(other) for g in found.groups if g.kind != SUPPLY for _, other in g.shown)
        if volts:
            nets = {r.id: self.looks.net(r.id) for r in volts}
            supply = Structure(self.looks, volts, nets, None, only_supply=True)
            fit = Fit(supply, np.ones(1), np.ones(1))
            fit.improve([*COARSE, *MIDDLE, *FINE])
            fit.finish()
            sampler = Sampler(supply, fit.z[0], fit.slopes[0], fit.trust[0], 1.0, 1.0)
            for _ in range(3):
                sampler.run(ROUND, rng)
            total += sampler.estimate.log_mean
        return total

    def judge(
        self,
        tolerance: float = 0.005,
        most_draws: int = 120_000,
        seed: int = 0,
        question: tuple[str, float] | None = None,
    ) -> Judgement:
        """`tolerance`: the greatest standard deviation wanted of any class's posterior. `question`: only whether this
        class reaches this posterior is asked, so that less drawing may do."""
        if not self.readings:
            return Judgement(dict(self.prior))
        rng = np.random.default_rng([seed, 7])
        alive = self._candidates()
        for stages in (COARSE, MIDDLE, FINE):
            for c in alive:
                c.fit.improve(stages)
            best = max(float(c.scores(-c.fit.objective).max()) for c in alive)
            for c in alive:
                c.only(c.scores(-c.fit.objective) > best - HOPELESS)
            alive = [c for c in alive if c.strata]
        for c in alive:
            c.fit.finish()
        best = max(float(c.scores(c.fit.log_evidence).max()) for c in alive)
        hypotheses = []
        for c in alive:
            for k, score in enumerate(c.scores(c.fit.log_evidence)):
                if score > best - NEGLIGIBLE[0]:
                    f, s = c.fit, c.strata[k]
                    sampler = Sampler(c.structure, f.z[k], f.slopes[k], f.trust[k], s.low, s.high, c.setting)
                    hypotheses.append(Hypothesis(s.class_name, math.log(s.probability), sampler, float(score)))
        unlisted = self._not_listed(rng)
        for h in hypotheses:
            h.sampler.run(PILOT, rng)
        best_found = max([unlisted, *(h.score for h in hypotheses)])
        for h in hypotheses:  # no first sampling alone drops what the normal approximation thinks much of
            if h.expected > best - DOUBTFUL and h.score < best_found - NEGLIGIBLE[1]:
                h.sampler.run(ROUND, rng)
                h.sampler.run(ROUND, rng)
        best_found = max([unlisted, *(h.score for h in hypotheses)])
        kept = [h for h in hypotheses if h.score > best_found - NEGLIGIBLE[1]]
        while True:
            found = self._summed(hypotheses, unlisted)
            draws = found.draws
            clear = question is not None and (
                abs(found.classes[question[0]] - question[1]) > 5 * found.errors[question[0]] + 0.003
            )
            if clear or max(found.errors.values(), default=0.0) <= tolerance or draws >= most_draws or not kept:
                found.kept = len(kept)
                return found
            worst = max(kept, key=lambda h: self._matters(h, found))
            worst.sampler.run(ROUND, rng)

    def _matters(self, h: Hypothesis, found: Judgement) -> float:
        """How much of the errors comes from this one, per root of its draws."""
        e = h.sampler.estimate
        p = math.exp(h.score - self._log_total)
        return p * e.error * (1 - found.classes[h.class_name]) / math.sqrt(e.draws)

    def _summed(self, hypotheses: Sequence[Hypothesis], unlisted: float) -> Judgement:
        rows = [(h.class_name, h.score, h.sampler.estimate.error) for h in hypotheses]
        rows.append((NOT_LISTED, unlisted, 0.0))
        top = max(r[1] for r in rows)
        self._log_total = top + math.log(sum(math.exp(r[1] - top) for r in rows))
        classes = dict.fromkeys(self.prior, 0.0)
        for name, log_p, _ in rows:
            classes[name] += math.exp(log_p - self._log_total)
        errors = {}
        for name, p in classes.items():
            parts = [math.exp(lp - self._log_total) * e * ((n == name) - p) for n, lp, e in rows]
            errors[name] = math.sqrt(sum(x * x for x in parts))
        return Judgement(classes, errors, sum(h.sampler.estimate.draws for h in hypotheses))


def judge(
    truck: Truck,
    line_id: str,
    readings: Sequence[Reading],
    column: str = "in service",
    tolerance: float = 0.005,
    most_draws: int = 120_000,
    seed: int = 0,
) -> Judgement:
    """Posterior of every class with the error of the sampling."""
    return Oracle(truck, line_id, readings, column).judge(tolerance, most_draws, seed)


def posterior(truck: Truck, line_id: str, readings: Sequence[Reading], column: str = "in service") -> dict[str, float]:
    """Posterior of every class, adding up to 1."""
    return judge(truck, line_id, readings, column).classes


def all_readings(case: Case) -> list[Reading]:
    return [case.read(i) for i in case.available()]


def tellable(case: Case) -> bool:
    """Whether all available readings together give the true class at least 95 %."""
    oracle = Oracle(case.truck, case.line_id, all_readings(case), case.column)
    return oracle.judge(question=(case.true_class, TELLABLE)).classes[case.true_class] >= TELLABLE
