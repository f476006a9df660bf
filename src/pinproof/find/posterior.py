"""From readings to causes: the posterior over classes, and the mechanisms inside each.

Answers: how likely is each class now, what inside it is most likely, and how bad.
Units:   probabilities; severities in ohms.
Touches: nothing. A `Diagnosis` keeps what it has computed; the same readings give the same answer.
Sources: Bayes' rule; docs/find.md.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Truck
from pinproof.faults.sites import whole_view
from pinproof.find.draws import HARD_DRAWS, PER_CELL, Rows, cell_masses, rows_of
from pinproof.find.hypotheses import Hypothesis, hypotheses
from pinproof.find.likelihood import NEVER, Seen, log_open, numbers, together
from pinproof.find.looks import Look, look_by_id, looks
from pinproof.find.meter_model import USUAL, Meter
from pinproof.find.responses import Reports, Response, meaning_odds, reports_of, response
from pinproof.find.weights import Column, Weights, weights_of, with_symptoms
from pinproof.wiring import LineView, line_view

FloatArray = npt.NDArray[np.float64]
MISTYPED = 0.005
PRESENT, PRESENT_WIGGLED = 0.3, 0.8
# A gearbox may also shift by itself for reasons of its own: with a sound line, or beside a fault that never reads as a
# shift. Common practice, no source.
BY_ITSELF_SOUND, BY_ITSELF_BESIDE = 0.3, 0.01
LOWEST_OHM, HIGHEST_OHM, OPEN_SHARE = 0.1, 60e6, 0.2
STANDS_OUT, GOOD_ENOUGH = 0.98, 0.9  # to stop looking; to be called found where nothing is left to look at
MOST_NATS = 6.0  # a meter of 0.2 % gives a density of e^6 at most
FORGOTTEN_NATS = 30.0
SURE_NATS, MOST_UNSURE = 14.0, 4
DOUBTFUL_NATS = math.log(10.0)
LEAST_WINNER = 0.5


@dataclass(frozen=True)
class Said:
    """What was told besides readings."""

    column: Column = "in service"
    symptoms: frozenset[str] = frozenset()
    worked_on: frozenset[str] = frozenset()

    @property
    def intermittent(self) -> bool:
        """The fault need not be there when one looks."""
        return "intermittent" in self.symptoms


@dataclass(frozen=True)
class MechanismOdds:
    """One mechanism inside a class: its probability, and the severities that hold the middle 90 %. [Ω]"""

    cause: str
    where: str
    probability: float
    low: float | None = None
    high: float | None = None
    unit: str = "ohm"


@dataclass(frozen=True)
class ClassOdds:
    """One class."""

    name: str
    probability: float
    mechanisms: tuple[MechanismOdds, ...]


@dataclass(frozen=True)
class Posterior:
    """Classes from likely to unlikely.

    `weights`: probability of each hypothesis by mechanism and cell of severity. `mistyped`: for each reading, how
    likely it is that it was typed or measured wrongly; empty where all fit together. `logs`: density of the readings
    for each drawn truck of each hypothesis.
    """

    classes: tuple[ClassOdds, ...]
    weights: Mapping[str, FloatArray] = field(repr=False, default_factory=dict)
    mistyped: tuple[float, ...] = ()
    logs: Mapping[str, FloatArray] = field(repr=False, default_factory=dict)

    def of(self, name: str) -> float:
        """Probability of a class; 0 if it is not there."""
        return next((each.probability for each in self.classes if each.name == name), 0.0)

    @property
    def first(self) -> ClassOdds:
        """The likeliest class."""
        return self.classes[0]

    @property
    def entropy_bits(self) -> float:
        """How open the question still is. [bit]"""
        return entropy_bits(np.array([each.probability for each in self.classes]))


def entropy_bits(p: FloatArray) -> float:
    """Entropy of a distribution. [bit]"""
    p = p[p > 0.0]
    return float(-(p * np.log2(p)).sum())


Showing = Callable[["Diagnosis", Hypothesis, Look, FloatArray], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True, eq=False)
class Weighed:
    """By hypothesis: logarithms of prior × likelihood (mechanisms, J), and of the readings' density (N,)."""

    tables: dict[str, FloatArray]
    logs: dict[str, FloatArray]


class Diagnosis:
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
        self.truck, self.meter, self.said = truck, meter, said or Said()
        self.view: LineView = whole_view(line_view(truck, line_id))
        if not self.view.is_complete:
            raise ValueError(f"line {line_id} has a value that is still to be chosen")
        self.weights = weights
        table = weights or weights_of()
        own = with_symptoms(table, self.said.column, self.said.symptoms)
        fresh = with_symptoms(table, "new build", self.said.symptoms) if self.said.worked_on else None
        self.hypotheses: tuple[Hypothesis, ...] = hypotheses(self.view, own, fresh, self.said.worked_on)
        self.looks: tuple[Look, ...] = looks(self.view)
        has_reports = any(each.kind == "meaning" for each in self.looks)
        self.reports: Reports | None = reports_of(truck, self.view) if has_reports else None
        self._draws = draws
        self._rows: dict[str, Rows] = {}
        self._responses: dict[tuple[str, str], Response] = {}
        self._tables: dict[tuple[str, str], FloatArray] = {}
        self._shown: dict[tuple[str, str], tuple[FloatArray, FloatArray]] = {}
        self._sound_logs: dict[tuple[Seen, ...], float] = {}

    def told(self, said: Said) -> Diagnosis:
        """The same line with something else told; what does not hang on that is shared, not worked out again."""
        other = Diagnosis(self.truck, self.view.line.id, said, self.weights, self.meter, self._draws)
        if all((mine.column, mine.worked_on) == ("in service", frozenset()) and "never-worked" not in mine.symptoms
               for mine in (self.said, said)):  # fmt: skip
            other._rows, other._responses, other._shown = self._rows, self._responses, self._shown
        return other

    def look(self, text: str) -> Look:
        """A look by its id."""
        return look_by_id(self.view, text)

    def rows(self, each: Hypothesis) -> Rows:
        """The drawn trucks of a hypothesis."""
        if each.key not in self._rows:
            self._rows[each.key] = rows_of(self.view, each, draws=self._draws)
        return self._rows[each.key]

    def response(self, each: Hypothesis, look: Look) -> Response:
        """What they show at a look. A setting changes nothing that a meter sees."""
        key = (
            "sound" if each.how == "setting" else each.key,
            look.id if look.kind != "meaning" else f"volts {look.id[8:]}",
        )
        if key not in self._responses:
            self._responses[key] = response(self.rows(each), look)
        return self._responses[key]

    def shown(self, each: Hypothesis, look: Look, supply_v: float, work_out: Showing) -> tuple[FloatArray, FloatArray]:
        """Feature and deviation of every drawn truck at a look, worked out once; ohms do not depend on the supply."""
        key = (each.key, look.id if look.is_ohms else f"{look.id} {supply_v:.2f}")
        if key not in self._shown:
            mix = np.ones(1) if look.is_ohms else np.array([1.0, supply_v])
            self._shown[key] = work_out(self, each, look, mix)
        return self._shown[key]

    # ------------------------------------------------------------ one hypothesis

    def log_each(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """Logarithm of the density of all readings for each drawn truck of a hypothesis, shape (N,)."""
        return np.maximum(self._log_words(each, seen) + self._log_numbers(each, seen), NEVER)

    def _log_numbers(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """The readings that are numbers, together."""
        rows = self.rows(each)
        shown = [one for one in seen if one.meaning is None and not _is_open(one)]
        if not shown:
            return np.zeros(rows.count)
        found = [self.response(each, one.look) for one in shown]
        given = numbers(rows, shown, found, self.meter)
        return together(given, [one.look for one in shown], rows.cells, rows.cell_width)

    def _log_words(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """What the controller reports, and OL or not: for a drawn truck each by itself."""
        out = np.zeros(self.rows(each).count)
        for one in seen:
            if one.meaning is not None:
                out = out + self._log_meaning(each, one)
            elif one.look.is_ohms:
                out = out + self._log_open(each, one.look, _is_open(one))
        return out

    def _log_open(self, each: Hypothesis, look: Look, shown: bool) -> FloatArray:
        key = (f"open {shown} {each.key}", look.id)
        if key not in self._tables:
            self._tables[key] = log_open(self.response(each, look), self.meter, shown)
        return self._tables[key]

    def _log_meaning(self, each: Hypothesis, one: Seen) -> FloatArray:
        assert self.reports is not None and one.meaning is not None
        words = self.reports.words
        if one.meaning not in words:
            return np.full(self.rows(each).count, NEVER)
        return np.log(self.meaning_table(each, one.look)[:, words.index(one.meaning)])

    def meaning_table(self, each: Hypothesis, look: Look) -> FloatArray:
        """Probability of each word for each drawn truck, shape (N, words)."""
        assert self.reports is not None
        key = (each.key, look.id)
        if key not in self._tables:
            rows = self.rows(each)
            odds = meaning_odds(self.reports, self.truck, self.response(each, look), rows.cells, None)
            if each.how == "setting" and f"meaning {each.situation}" == look.id:
                others = np.clip(1.0 - odds, 1e-9, 1.0)
                odds = others / others.sum(axis=1, keepdims=True)
            self._tables[key] = odds
        return self._tables[key]

    def _log_intermittent(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """As `log_each`, each reading with the fault present or not, shape (N,).

        Numbers taken with the fault are weighed together, and so are those without it: what the truck's parts and the
        meter are off is counted once in each group. Where a number leaves no doubt in which group it belongs, only that
        one is tried; of the others the MOST_UNSURE most doubtful are tried both ways, the rest each by itself.
        """
        sound = next((h for h in self.hypotheses if h.how == "sound"), None)
        if sound is None:
            return self.log_each(each, seen)
        out = np.zeros(self.rows(each).count)
        lone = [one for one in seen if one.meaning is not None or _is_open(one)]
        doubtful: list[tuple[float, Seen]] = []
        present: list[Seen] = []
        absent: list[Seen] = []
        for one in [one for one in seen if one not in lone]:
            gain = float(self.log_each(each, [one]).max()) - self._log_sound(sound, (one,))
            if abs(gain) < SURE_NATS:
                doubtful.append((abs(gain), one))
            else:
                (present if gain > 0.0 else absent).append(one)
        doubtful.sort(key=lambda pair: pair[0])
        both_ways = [one for _, one in doubtful[:MOST_UNSURE]]
        for one in [*lone, *(one for _, one in doubtful[MOST_UNSURE:])]:
            with_fault, without = self.log_each(each, [one]), self._log_sound(sound, (one,))
            out = out + np.logaddexp(_log_present(one) + with_fault, _log_absent(one) + without)
        total = np.full(len(out), -np.inf)
        for pattern in itertools.product((True, False), repeat=len(both_ways)):
            here = present + [one for one, there in zip(both_ways, pattern, strict=True) if there]
            gone = absent + [one for one, there in zip(both_ways, pattern, strict=True) if not there]
            prior = math.fsum([*map(_log_present, here), *map(_log_absent, gone)])
            total = np.logaddexp(total, prior + self.log_each(each, here) + self._log_sound(sound, tuple(gone)))
        return np.maximum(out + total, NEVER)

    def _log_sound(self, sound: Hypothesis, seen: tuple[Seen, ...]) -> float:
        """Logarithm of the density of readings of a sound truck."""
        if seen not in self._sound_logs:
            self._sound_logs[seen] = _log_mean(self.log_each(sound, seen))
        return self._sound_logs[seen]

    def _log_by_itself(self, each: Hypothesis) -> FloatArray:
        """It shifted though nobody pressed anything: some resting situation read as a shift, shape (N,).

        With `intermittent` the fault was another size then than now, so a hypothesis is weighed as a whole.
        """
        count = 1 if each.how == "unlisted" else self.rows(each).count
        if "shifts-by-itself" not in self.said.symptoms or self.reports is None:
            return np.zeros(count)
        pressed = [one for one in self.truck.contacts_of(self.view.line) if one.action == "momentary"]
        shifts = [k for k, word in enumerate(self.reports.words) if word in {one.asks for one in pressed}]
        if each.how == "unlisted":
            odds = np.full(1, len(shifts) / len(self.reports.words))
        else:
            resting = [look for look in self.looks if look.kind == "meaning"
                       and not look.situation.key & {one.id for one in pressed}]  # fmt: skip
            tables = [self.meaning_table(each, look)[:, shifts].sum(axis=1) for look in resting]
            odds = np.minimum(np.max(tables, axis=0), 1.0)
            if self.said.intermittent:
                odds = np.full(count, odds.mean())
        otherwise = BY_ITSELF_SOUND if each.how == "sound" else BY_ITSELF_BESIDE
        out: FloatArray = np.log(otherwise + (1.0 - otherwise) * odds)
        return out

    # ------------------------------------------------------------ all of them

    def posterior(self, seen: Iterable[Seen]) -> Posterior:
        """Weigh all hypotheses against all readings."""
        readings = list(seen)
        weighed = self._weighed(readings)
        best = max((float(t.max()) for key, t in weighed.tables.items() if key != "unlisted"), default=NEVER)
        unlisted = next((each for each in self.hypotheses if each.how == "unlisted"), None)
        if readings and unlisted is not None and not self.said.intermittent:
            floor = math.log(unlisted.share) + self.log_unlisted(readings) + DOUBTFUL_NATS
            if best < floor:
                return self._with_mistyped(weighed, readings)
        return self._sorted(weighed)

    def _weighed(self, seen: Sequence[Seen]) -> Weighed:
        """Prior times likelihood of each hypothesis, by mechanism and cell.

        Words are weighed first. Numbers are looked at only where they could still matter: no number's density exceeds
        MOST_NATS, so a hypothesis that stays far below the best with that much is left where nothing is.
        """
        tables: dict[str, FloatArray] = {}
        logs: dict[str, FloatArray] = {}
        shown = sum(one.meaning is None and not _is_open(one) for one in seen)
        waiting = []
        best = NEVER
        for each in self.hypotheses:
            if each.how == "unlisted":
                by_itself = float(self._log_by_itself(each)[0])
                tables[each.key] = np.array([[math.log(each.share) + self.log_unlisted(seen) + by_itself]])
                best = max(best, float(tables[each.key][0, 0]))
                continue
            if self.said.intermittent and each.how not in ("sound", "setting"):
                logs[each.key] = self._log_intermittent(each, seen) + self._log_by_itself(each)
            else:
                words = self._log_words(each, seen) + self._log_by_itself(each)
                waiting.append((math.log(each.share) + float(words.max()) + MOST_NATS * shown, each, words))
        for most, each, words in sorted(waiting, key=lambda one: -one[0]):
            if most < best - FORGOTTEN_NATS:
                logs[each.key] = np.full(len(words), NEVER)
                continue
            logs[each.key] = np.maximum(words + self._log_numbers(each, seen), NEVER)
            best = max(best, math.log(each.share) + _log_mean(logs[each.key]))
        for each in self.hypotheses:
            if each.how != "unlisted":
                rows = self.rows(each)
                cells = _log_mean_rows(logs[each.key].reshape(rows.cells, rows.per_cell))
                tables[each.key] = np.array([self._masses(each, k) + cells for k in range(len(each.mechanisms))])
        return Weighed(tables, logs)

    def _masses(self, each: Hypothesis, number: int) -> FloatArray:
        """Logarithm of share × mass of one mechanism in each cell, shape (J,)."""
        key = (f"mass {number}", each.key)
        if key not in self._tables:
            m = each.mechanisms[number]
            with np.errstate(divide="ignore"):
                self._tables[key] = math.log(m.share) + np.log(cell_masses(self.rows(each).edges, m.low, m.high))
        return self._tables[key]

    def _with_mistyped(self, whole: Weighed, seen: Sequence[Seen]) -> Posterior:
        """Also weigh that one of the readings has nothing to do with the truck."""
        out = {key: table + len(seen) * math.log1p(-MISTYPED) for key, table in whole.tables.items()}
        logs = {key: table + len(seen) * math.log1p(-MISTYPED) for key, table in whole.logs.items()}
        each_total = []
        for i, one in enumerate(seen):
            rest = [*seen[:i], *seen[i + 1 :]]
            extra = math.log(MISTYPED) + self.log_unlisted([one]) + (len(seen) - 1) * math.log1p(-MISTYPED)
            without = self._weighed(rest)
            tables = {key: table + extra for key, table in without.tables.items()}
            each_total.append(_log_sum(tables))
            out = {key: np.logaddexp(table, tables[key]) for key, table in out.items()}
            logs = {key: np.logaddexp(table, without.logs[key] + extra) for key, table in logs.items()}
        total = _log_sum(out)
        return dataclasses.replace(
            self._sorted(Weighed(out, logs)), mistyped=tuple(math.exp(each - total) for each in each_total)
        )

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
        tables = weighed.tables
        top = max(float(table.max()) for table in tables.values())
        by_class: dict[str, list[MechanismOdds]] = {}
        weights = {key: np.exp(table - top) for key, table in tables.items()}
        total = math.fsum(float(w.sum()) for w in weights.values())
        for each in self.hypotheses:
            share = weights[each.key] / total
            weights[each.key] = share
            rows = None if each.how == "unlisted" else self.rows(each)
            for mechanism, line in zip(each.mechanisms, share, strict=True):
                low, high = _middle_90(rows.edges, line) if rows is not None and each.has_severity else (None, None)
                by_class.setdefault(each.name, []).append(
                    MechanismOdds(mechanism.cause, each.key, float(line.sum()), low, high,
                                  "factor" if each.how == "times" else "ohm")
                )  # fmt: skip
        found = [
            ClassOdds(name, math.fsum(m.probability for m in inside),
                      tuple(sorted(inside, key=lambda m: -m.probability)))
            for name, inside in by_class.items()
        ]  # fmt: skip
        return Posterior(tuple(sorted(found, key=lambda each: -each.probability)), weights, logs=weighed.logs)


def _is_open(one: Seen) -> bool:
    return one.ohm is not None and math.isinf(one.ohm)


def _log_present(one: Seen) -> float:
    return math.log(PRESENT_WIGGLED if one.wiggled else PRESENT)


def _log_absent(one: Seen) -> float:
    return math.log1p(-(PRESENT_WIGGLED if one.wiggled else PRESENT))


def _log_sum(tables: Mapping[str, FloatArray]) -> float:
    top = max(float(table.max()) for table in tables.values())
    return top + math.log(math.fsum(float(np.exp(table - top).sum()) for table in tables.values()))


def _log_mean(logs: FloatArray) -> float:
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).mean()))


def _log_mean_rows(logs: FloatArray) -> FloatArray:
    top = logs.max(axis=1)
    out: FloatArray = top + np.log(np.exp(logs - top[:, None]).mean(axis=1))
    return out


def _middle_90(edges: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Severities between which the middle 90 % of the weight lie."""
    total = float(weight.sum())
    if total <= 0.0:
        return float(edges[0]), float(edges[-1])
    run = np.concatenate([[0.0], np.cumsum(weight)]) / total
    log = np.log(edges)
    return float(np.exp(np.interp(0.05, run, log))), float(np.exp(np.interp(0.95, run, log)))
