"""What readings say of each hypothesis by itself: the density of all of them, for every truck drawn for it.

Answers: how well do numbers, words and the driver's story go with each drawn truck.
Units:   logarithms of densities; severities in ohms.
Touches: nothing. What was worked out is kept; the same readings give the same answer.
Beside:  `posterior` weighs the hypotheses against each other.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pinproof.design.model import Truck
from pinproof.faults.sites import whole_view
from pinproof.find.draws import HARD_DRAWS, PER_CELL, Fleet, Rows, fleet_of, signature
from pinproof.find.hypotheses import Hypothesis, hypotheses
from pinproof.find.likelihood import NEVER, Seen, Taken, alone, log_open, numbers, taken, together
from pinproof.find.looks import Look, look_by_id, looks
from pinproof.find.meter_model import USUAL, Meter
from pinproof.find.responses import Reports, Response, meaning_odds, reports_of, response
from pinproof.find.weights import Column, Weights, weights_of, with_symptoms
from pinproof.wiring import LineView, line_view

FloatArray = npt.NDArray[np.float64]
PRESENT, PRESENT_WIGGLED = 0.3, 0.8
# A gearbox may also shift by itself for reasons of its own: with a sound line, or beside a fault that never reads as a
# shift. Common practice, no source.
BY_ITSELF_SOUND, BY_ITSELF_BESIDE = 0.3, 0.01
SURE_NATS, MOST_UNSURE = 14.0, 4


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


Showing = Callable[["Evidence", Look, FloatArray], tuple[FloatArray, FloatArray]]


@dataclass(eq=False)
class Worked:
    """What was worked out of one line's drawn trucks: it does not hang on how likely the causes are."""

    fleet: Fleet
    responses: dict[str, Response] = field(default_factory=dict)
    words: dict[str, FloatArray] = field(default_factory=dict)
    log_words: dict[tuple[str, str | bool], FloatArray] = field(default_factory=dict)
    shown: dict[str, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    taken: dict[Seen, tuple[Taken, FloatArray, FloatArray]] = field(default_factory=dict)


class Evidence:
    """What is drawn for one line of one truck, and what readings say of each hypothesis by itself.

    Parameters are those of `Diagnosis`, which weighs the hypotheses against each other.
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
        self._listed = tuple(each for each in self.hypotheses if each.how != "unlisted")
        self._unlisted = next((each for each in self.hypotheses if each.how == "unlisted"), None)
        self._signature = signature(self._listed)
        self._worked: Worked | None = None
        self._sound_logs: dict[tuple[Seen, ...], float] = {}

    @property
    def worked(self) -> Worked:
        """The drawn trucks of all hypotheses, drawn once."""
        if self._worked is None:
            self._worked = Worked(fleet_of(self.view, self._listed, self._draws))
        return self._worked

    @property
    def fleet(self) -> Fleet:
        """The drawn trucks of all hypotheses."""
        return self.worked.fleet

    def look(self, text: str) -> Look:
        """A look by its id."""
        return look_by_id(self.view, text)

    def rows(self, each: Hypothesis) -> Rows:
        """Where the drawn trucks of a hypothesis stand."""
        return self.fleet.rows[each.key]

    def whole_response(self, look: Look) -> Response:
        """What all drawn trucks show at a look; the controller's report comes from the volts."""
        key = look.id if look.kind != "meaning" else f"volts {look.id[8:]}"
        if key not in self.worked.responses:
            self.worked.responses[key] = response(self.fleet, look)
        return self.worked.responses[key]

    def response(self, each: Hypothesis, look: Look) -> Response:
        """What the drawn trucks of one hypothesis show at a look. A setting changes nothing that a meter sees."""
        return self.whole_response(look).of(self.rows(each))

    def shown(self, look: Look, supply_v: float, work_out: Showing) -> tuple[FloatArray, FloatArray]:
        """Feature and deviation of every drawn truck at a look, worked out once; ohms do not depend on the supply."""
        key = look.id if look.is_ohms else f"{look.id} {supply_v:.2f}"
        if key not in self.worked.shown:
            mix = np.ones(1) if look.is_ohms else np.array([1.0, supply_v])
            self.worked.shown[key] = work_out(self, look, mix)
        return self.worked.shown[key]

    def log_each(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """Logarithm of the density of all readings for each drawn truck of a hypothesis, shape (N,)."""
        return np.maximum(self._log_words(seen, self.rows(each).span) + self._log_numbers(each, seen), NEVER)

    def _log_numbers(self, each: Hypothesis, seen: Sequence[Seen]) -> FloatArray:
        """The readings that are numbers, together."""
        rows = self.rows(each)
        shown = [one for one in seen if is_number(one)]
        if not shown:
            return np.zeros(rows.count)
        readings = [self._taken(one)[0] for one in shown]
        if len(readings) == 1:
            return self._taken(shown[0])[1][rows.span]
        return together(numbers(rows, readings), [one.look for one in shown], rows.cells, rows.cell_width)

    def _taken(self, one: Seen) -> tuple[Taken, FloatArray, FloatArray]:
        """A number, its density by itself for every drawn truck, and the greatest for each hypothesis."""
        known = self.worked.taken
        if one not in known:
            number = taken(self.fleet, one, self.whole_response(one.look), self.meter)
            by_itself = alone(self.fleet, number)
            known[one] = (number, by_itself, self._greatest(by_itself))
        return known[one]

    def _greatest(self, logs: FloatArray) -> FloatArray:
        """The greatest of each hypothesis' drawn trucks, in the order of the fleet."""
        starts = [rows.first for rows in self.fleet.rows.values()]
        out: FloatArray = np.maximum.reduceat(logs, starts)
        return out

    def _log_words(self, seen: Sequence[Seen], mine: slice = slice(None)) -> FloatArray:
        """What the controller reports, and OL or not: for every drawn truck (or those of `mine`) each by itself."""
        out = np.zeros(self.fleet.count)[mine]
        for one in seen:
            if one.meaning is not None or one.look.is_ohms:
                out += self._log_word(one)[mine]
        return out

    def _log_word(self, one: Seen) -> FloatArray:
        """Logarithm of the probability of one word, or of OL or not, for every drawn truck, shape (N,)."""
        known, key = self.worked.log_words, (one.look.id, one.meaning or _is_open(one))
        if key not in known:
            if one.meaning is None:
                known[key] = log_open(self.whole_response(one.look), self.meter, _is_open(one))
            else:
                assert self.reports is not None
                words = self.reports.words
                known[key] = (
                    np.log(self.meanings(one.look)[:, words.index(one.meaning)])
                    if one.meaning in words
                    else np.full(self.fleet.count, NEVER)
                )
        return known[key]

    def meanings(self, look: Look) -> FloatArray:
        """Probability of each word for every drawn truck, shape (N, words)."""
        assert self.reports is not None
        known = self.worked.words
        if look.id not in known:
            fleet = self.fleet
            odds = meaning_odds(self.reports, self.truck, self.whole_response(look), fleet.cell_of, fleet.starts)
            for each in self._listed:
                if each.how == "setting" and f"meaning {each.situation}" == look.id:
                    mine = self.rows(each).span
                    others = np.clip(1.0 - odds[mine], 1e-9, 1.0)
                    odds[mine] = others / others.sum(axis=1, keepdims=True)
            known[look.id] = odds
        return known[look.id]

    def meaning_table(self, each: Hypothesis, look: Look) -> FloatArray:
        """Probability of each word for the drawn trucks of one hypothesis."""
        return self.meanings(look)[self.rows(each).span]

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
            self._sound_logs[seen] = log_mean(self.log_each(sound, seen))
        return self._sound_logs[seen]

    def _log_by_itself(self) -> tuple[FloatArray, float]:
        """It shifted though nobody pressed anything: some resting situation read as a shift; (N,), and "not listed".

        With `intermittent` the fault was another size then than now, so a hypothesis is weighed as a whole.
        """
        if "shifts-by-itself" not in self.said.symptoms or self.reports is None:
            return np.zeros(self.fleet.count), 0.0
        pressed = [one for one in self.truck.contacts_of(self.view.line) if one.action == "momentary"]
        shifts = [k for k, word in enumerate(self.reports.words) if word in {one.asks for one in pressed}]
        resting = [look for look in self.looks if look.kind == "meaning"
                   and not look.situation.key & {one.id for one in pressed}]  # fmt: skip
        odds = np.minimum(np.max([self.meanings(look)[:, shifts].sum(axis=1) for look in resting], axis=0), 1.0)
        otherwise = np.full(self.fleet.count, BY_ITSELF_BESIDE)
        for each in self._listed:
            mine = self.rows(each).span
            if self.said.intermittent:
                odds[mine] = odds[mine].mean()
            if each.how == "sound":
                otherwise[mine] = BY_ITSELF_SOUND
        any_word = len(shifts) / len(self.reports.words)
        return (
            np.log(otherwise + (1.0 - otherwise) * odds),
            math.log(BY_ITSELF_BESIDE + (1.0 - BY_ITSELF_BESIDE) * any_word),
        )


def _is_open(one: Seen) -> bool:
    return one.ohm is not None and math.isinf(one.ohm)


def is_number(one: Seen) -> bool:
    """A number of a meter, not a word and not OL."""
    return one.meaning is None and not _is_open(one)


def _log_present(one: Seen) -> float:
    return math.log(PRESENT_WIGGLED if one.wiggled else PRESENT)


def _log_absent(one: Seen) -> float:
    return math.log1p(-(PRESENT_WIGGLED if one.wiggled else PRESENT))


def log_mean(logs: FloatArray) -> float:
    """Logarithm of the mean of what the logarithms stand for."""
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).mean()))
