"""From readings to causes: the posterior over classes, and the mechanisms inside each.

Answers: how likely is each class now, what inside it is most likely, and how bad.
Units:   probabilities; severities in ohms.
Touches: nothing. A `Diagnosis` keeps what it has computed; the same readings give the same answer.
Beside:  `evidence` says how well the readings go with each hypothesis by itself.
Sources: Bayes' rule; docs/find.md.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterable, Sequence

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Truck
from pinproof.find.draws import AS_BUILT, HARD_DRAWS, PER_CELL, cell_masses
from pinproof.find.evidence import Evidence, FloatArray, Said, is_number, log_mean
from pinproof.find.hypotheses import NOT_LISTED
from pinproof.find.likelihood import NEVER, Seen
from pinproof.find.meter_model import USUAL, Meter
from pinproof.find.odds import ClassOdds, MechanismOdds, Posterior, Weighed
from pinproof.find.weights import Weights

MISTYPED = 0.005
TWO_FACED = 0.5  # of what is not listed: like one fault under power, like another to the ohmmeter
LOWEST_OHM, HIGHEST_OHM, OPEN_SHARE = 0.1, 60e6, 0.2
STANDS_OUT, GOOD_ENOUGH = 0.98, 0.9  # to stop looking; to be called found where nothing is left to look at
MOST_KEPT = 48
MOST_NATS = 6.0  # a meter of 0.2 % gives a density of e^6 at most
FORGOTTEN_NATS = 20.0
DOUBTFUL_NATS = math.log(10.0)
LEAST_WINNER = 0.5
LEAST_TOLD = 1e-5  # a mechanism below this is given no range of severities


class Diagnosis(Evidence):
    """One line of one truck, ready to weigh readings.

    Parameters
    ----------
    truck : Truck
    line_id : str
    said : Said
    weights : Weights, optional
        An owner's table.
    meter : Meter, optional
    draws : (int, int), optional
        Trucks drawn for each cell of a severity, and for a hard fault.

    Raises
    ------
    ValueError
        If a value of the line is still to be chosen, or a pull unknown.
    """

    def __init__(self, truck: Truck, line_id: str, said: Said | None = None, weights: Weights | None = None,
                 meter: Meter = USUAL, draws: tuple[int, int] = (PER_CELL, HARD_DRAWS)) -> None:  # fmt: skip
        super().__init__(truck, line_id, said, weights, meter, draws)
        self._prior: tuple[FloatArray, npt.NDArray[np.intp], dict[str, slice]] | None = None
        self._halves: dict[tuple[Seen, ...], float] = {}
        self._kept: dict[tuple[tuple[Seen, ...], bool], Weighed] = {}

    def told(self, said: Said) -> Diagnosis:
        """The same line with something else told; what does not hang on that is shared, not worked out again."""
        other = Diagnosis(self.truck, self.view.line.id, said, self.weights, self.meter, self._draws)
        if other._signature == self._signature:
            other._worked = self.worked
        return other

    def posterior(self, seen: Iterable[Seen], *, careful: bool = False,
                  sure: Collection[str] = ()) -> Posterior:  # fmt: skip
        """Weigh all hypotheses against all readings.

        Parameters
        ----------
        careful : also weigh that one of the readings was mistyped; without it only where they hardly fit together
        sure : ids of looks that were read twice: they are not mistyped
        """
        readings = list(seen)
        weighed = self._weighed(readings)
        may_be_mistyped = bool(readings) and self._unlisted is not None and not self.said.intermittent
        if may_be_mistyped and (careful or weighed.listed < weighed.unlisted + DOUBTFUL_NATS):
            return self._with_mistyped(weighed, readings, sure)
        return self._sorted(weighed)

    def share_of(self, name: str, seen: Sequence[Seen]) -> float:
        """Probability of one class with nothing mistyped and nothing of two faces: quicker than `posterior`."""
        weighed = self._weighed(seen, faces=False)
        if name == NOT_LISTED:
            return math.exp(weighed.unlisted - weighed.total)
        _, _, places = self.prior
        mine = [weighed.tables[places[each.key]] for each in self._listed if each.name == name]
        return float(np.exp(np.concatenate(mine) - weighed.total).sum())

    def _weighed(self, seen: Sequence[Seen], *, faces: bool = True) -> Weighed:
        """`_weigh`, the latest results kept: a search asks for the same readings again and again."""
        key = (tuple(seen), faces)
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[key] = self._weigh(tuple(seen), faces)
        return self._kept[key]

    def _weigh(self, seen: Sequence[Seen], faces: bool) -> Weighed:
        """Prior times likelihood of each hypothesis, by mechanism and cell; `faces`: with `_log_two_faced`.

        Words are weighed first, then each number by itself. Numbers are looked at together only where that could still
        matter: no number's density exceeds MOST_NATS whatever the others are, so a hypothesis that stays far below the
        best with that much is left where nothing is.
        """
        fleet = self.fleet
        by_itself, by_itself_unlisted = self._log_by_itself()
        unlisted = NEVER
        if self._unlisted is not None:
            at_random = math.log(1.0 - TWO_FACED) + self.log_unlisted(seen) + by_itself_unlisted
            two_faced = self._log_two_faced(seen) if faces else NEVER
            unlisted = math.log(self._unlisted.share) + float(np.logaddexp(at_random, two_faced))
        best = unlisted
        words = self._log_words(seen) + by_itself
        shown = [one for one in seen if is_number(one)]
        logs = np.full(fleet.count, NEVER)
        bound = np.zeros(len(fleet.rows))
        if shown:
            bound = np.min([self._taken(one)[2] for one in shown], axis=0) + MOST_NATS * (len(shown) - 1)
        most = dict(zip(fleet.rows, self._greatest(words) + bound, strict=True))
        waiting = []
        for each in self._listed:
            mine = self.rows(each).span
            if self.said.intermittent and each.how not in AS_BUILT:
                logs[mine] = self._log_intermittent(each, seen) + by_itself[mine]
            else:
                waiting.append((math.log(each.share) + float(most[each.key]), each))
        for hope, each in sorted(waiting, key=lambda one: -one[0]):
            if hope < best - FORGOTTEN_NATS:
                break
            mine = self.rows(each).span
            logs[mine] = np.maximum(words[mine] + self._log_numbers(each, seen), NEVER)
            best = max(best, math.log(each.share) + log_mean(logs[mine]))
        return Weighed(self._tables(logs), unlisted, logs)

    def _log_two_faced(self, seen: Sequence[Seen]) -> float:
        """That something not listed looks like one listed fault under power and like another to the ohmmeter.

        A film that the controller's current breaks through, a diode, two faults of which each set-up shows one. Both
        halves are weighed by themselves; it costs the two priors, so it never beats one fault that explains both.
        """
        halves = [tuple(one for one in seen if one.look.is_ohms == ohms) for ohms in (True, False)]
        if not all(halves) or self.said.intermittent:
            return NEVER
        return math.log(TWO_FACED) + sum(self._log_half(half) for half in halves)

    def _log_half(self, seen: tuple[Seen, ...]) -> float:
        """Logarithm of the probability of these readings by any listed hypothesis."""
        if seen not in self._halves:
            self._halves[seen] = self._weighed(seen, faces=False).listed
        return self._halves[seen]

    def _tables(self, logs: FloatArray) -> FloatArray:
        masses, cell, _ = self.prior
        out: FloatArray = masses + self.fleet.cell_log_means(logs)[cell]
        return out

    @property
    def prior(self) -> tuple[FloatArray, npt.NDArray[np.intp], dict[str, slice]]:
        """Logarithm of share × mass of each mechanism in each cell (M,), which cell it is, and where a hypothesis has
        its entries: mechanism by mechanism."""
        if self._prior is None:
            masses, cells, places, at = [], [], {}, 0
            for each in self._listed:
                rows = self.rows(each)
                for m in each.mechanisms:
                    with np.errstate(divide="ignore"):
                        masses.append(math.log(m.share) + np.log(cell_masses(rows.edges, m.low, m.high)))
                    cells.append(np.arange(rows.first_cell, rows.first_cell + rows.cells))
                places[each.key] = slice(at, at + rows.cells * len(each.mechanisms))
                at = places[each.key].stop
            self._prior = np.concatenate(masses), np.concatenate(cells), places
        return self._prior

    def _with_mistyped(self, whole: Weighed, seen: Sequence[Seen], sure: Collection[str]) -> Posterior:
        """Also weigh that one of the readings has nothing to do with the truck."""
        right = len(seen) * math.log1p(-MISTYPED)
        tables, unlisted, logs = whole.tables + right, whole.unlisted + right, whole.logs + right
        each_total = []
        for i, one in enumerate(seen):
            if one.look.id in sure:
                each_total.append(-math.inf)
                continue
            rest = [*seen[:i], *seen[i + 1 :]]
            extra = math.log(MISTYPED) + self.log_unlisted([one]) + (len(seen) - 1) * math.log1p(-MISTYPED)
            without = self._weighed(rest, faces=False)
            each_total.append(without.total + extra)
            tables = np.logaddexp(tables, without.tables + extra)
            unlisted = float(np.logaddexp(unlisted, without.unlisted + extra))
            logs = np.logaddexp(logs, without.logs + extra)
        found = Weighed(tables, unlisted, logs)
        total = found.total
        return dataclasses.replace(self._sorted(found), mistyped=tuple(math.exp(each - total) for each in each_total))

    def log_unlisted(self, seen: Sequence[Seen]) -> float:
        """Logarithm of the density of readings that have nothing to do with anything listed."""
        total = 0.0
        for one in seen:
            if one.meaning is not None:
                assert self.reports is not None
                total -= math.log(len(self.reports.words))
            elif one.look.is_ohms:
                assert one.ohm is not None
                if math.isinf(one.ohm):
                    total += math.log(OPEN_SHARE)
                else:
                    ohm = max(one.ohm, LOWEST_OHM)
                    width = math.log(HIGHEST_OHM / LOWEST_OHM)
                    total += math.log((1.0 - OPEN_SHARE) / width * (ohm + 1.0) / ohm)
            else:
                total -= math.log(max(one.supply_v or 1.0, 1e-3))
        return total

    def _sorted(self, weighed: Weighed) -> Posterior:
        total = weighed.total
        share = np.exp(weighed.tables - total)
        _, _, places = self.prior
        by_class: dict[str, list[MechanismOdds]] = {}
        weights: dict[str, FloatArray] = {}
        for each in self.hypotheses:
            if each.how == "unlisted":
                weights[each.key] = np.array([[math.exp(weighed.unlisted - total)]])
            else:
                weights[each.key] = share[places[each.key]].reshape(len(each.mechanisms), -1)
            sums = weights[each.key].sum(axis=1).tolist()
            for mechanism, p, line in zip(each.mechanisms, sums, weights[each.key], strict=True):
                low, high = None, None
                if each.has_severity and p >= LEAST_TOLD:
                    low, high = _middle_90(self.rows(each).edges, line)
                by_class.setdefault(each.name, []).append(
                    MechanismOdds(mechanism.cause, each.key, p, low, high, "factor" if each.how == "times" else "ohm")
                )
        found = [
            ClassOdds(name, math.fsum(m.probability for m in inside),
                      tuple(sorted(inside, key=lambda m: -m.probability)))
            for name, inside in by_class.items()
        ]  # fmt: skip
        return Posterior(tuple(sorted(found, key=lambda each: -each.probability)), weights, logs=weighed.logs)


def _middle_90(edges: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Severities between which the middle 90 % of the weight lie."""
    total = float(weight.sum())
    if total <= 0.0:
        return float(edges[0]), float(edges[-1])
    run = np.concatenate([[0.0], np.cumsum(weight)]) / total
    log = np.log(edges)
    return float(np.exp(np.interp(0.05, run, log))), float(np.exp(np.interp(0.95, run, log)))
