"""One search for a fault, step by step: what was told and read, what it means, what to do next.

Answers: everything a face shows of a search; readings as people type them; doubts about a reading.
Units:   ohms, volts, minutes.
Touches: nothing. A session is a value: adding a reading makes a new one.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pinproof.errors import QuantityFault
from pinproof.find.hypotheses import NOT_LISTED, Hypothesis
from pinproof.find.likelihood import Seen
from pinproof.find.looks import Look, LookFault, SetUp, set_up_after
from pinproof.find.next_step import NOTHING_LEFT_BITS, Step, expected, expected_word, named_bits, next_steps
from pinproof.find.odds import Posterior, entropy_bits
from pinproof.find.posterior import GOOD_ENOUGH, LEAST_WINNER, STANDS_OUT, Diagnosis
from pinproof.find.words import between_words, class_words, look_words, ohm_words, percent, reading_words, repair_words
from pinproof.quantities import parse

OPEN_WORDS = ("ol", "o.l", "o.l.", "0l", "open", "inf", "1.")
DOUBTED = 0.5
OTHERWISE = 0.5
MAY_BE_MISTYPED = 0.05  # from here on reading a number again is worth a thought
LEAST_CHECK_BITS = 0.005
AGAIN = "everything now hangs on {look} alone. Read it once more before anything is cut or swapped."
NOT_SURE = "{look} may have been read or typed wrongly. Read it once more."
NO_NUMBER = "no number says so yet. Take one before anything is cut or swapped."
OFF_LIST = "Why this: it tells whether the cause is on this list at all; {who} here."
LITTLE_OF = 0.25
"""Where likely causes are told apart by no more than this share of what is told with "not listed", that is little."""
TOLD = 0.05  # classes under this are not told one by one


@dataclass(frozen=True)
class Outlook:
    """What a class would show at the next look."""

    name: str
    words: str
    shows: str


@dataclass(frozen=True)
class Advice:
    """Where a search stands.

    `why`: why a step is asked for that does not tell the likely causes apart.
    `state`: "found" (one class holds STANDS_OUT, or GOOD_ENOUGH with nothing left to look at), "look" (go on
    with `step`), "cannot tell" (nothing left tells more).
    """

    state: str
    posterior: Posterior
    step: Step | None
    outlooks: tuple[Outlook, ...]
    other_steps: tuple[Step, ...] = ()
    doubts: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True)
class Session:
    """Readings so far, in order, and the set-up the truck is in. `twice`: looks that were read again."""

    diagnosis: Diagnosis = field(repr=False)
    seen: tuple[Seen, ...] = ()
    now: SetUp = "start"
    without: frozenset[str] = frozenset()
    twice: frozenset[str] = frozenset()

    def adding(self, *more: Seen) -> Session:
        """With further readings; the same look read again replaces the earlier reading."""
        seen, now, twice = list(self.seen), self.now, set(self.twice)
        for each in more:
            if any(one.look.id == each.look.id for one in seen):
                twice.add(each.look.id)
            seen = [one for one in seen if one.look.id != each.look.id]
            seen.append(each)
            now = set_up_after(now, each.look)
        return dataclasses.replace(self, seen=tuple(seen), now=now, twice=frozenset(twice))

    def told(self, *more: Seen) -> Session:
        """What the driver knew before anything was set up: costs no set-up."""
        return dataclasses.replace(self.adding(*more), now=self.now)

    def leaving_out(self, *ids: str) -> Session:
        """Without looks that cannot be done here: ids or kinds."""
        return dataclasses.replace(self, without=self.without | set(ids))

    def advice(self, *, outlooks: bool = True) -> Advice:
        """Weigh everything and say what to do next; `outlooks`: also what each class would show there."""
        found = self.diagnosis.posterior(self.seen)
        if found.first.probability >= GOOD_ENOUGH:
            found = self.diagnosis.posterior(self.seen, careful=True, sure=self.twice)
        doubts = doubts_of(self.diagnosis, self.seen, found)
        if found.first.probability >= STANDS_OUT:
            return self._confirmed(found, doubts, outlooks)
        steps = next_steps(self.diagnosis, self.seen, self.now, found, self.without)
        useful = [each for each in steps if each.gain_bits >= NOTHING_LEFT_BITS]
        again = self._once_more(found)
        if again is not None and (not useful or again.worth > useful[0].worth):
            told = self._outlooks(found, again.look) if outlooks else ()
            return Advice("look", found, again, told, tuple(useful[:3]), (*doubts, NOT_SURE.format(look=again.look.id)))
        if useful:
            told = self._outlooks(found, useful[0].look) if outlooks else ()
            why = self._why_asked(found, useful[0]) if outlooks else ""
            return Advice("look", found, useful[0], told, tuple(useful[1:4]), doubts, why)
        if found.first.probability >= GOOD_ENOUGH:
            return self._confirmed(found, doubts, outlooks)
        return Advice("cannot tell", found, None, (), doubts=doubts)

    def _confirmed(self, found: Posterior, doubts: tuple[str, ...], outlooks: bool) -> Advice:
        """Before a cause is named it must rest on a number, and not on one number alone."""
        step: Step | None = None
        why = ""
        alone = self._decides_alone(found)
        if alone is not None:
            look = alone.look
            step = Step(look, 0.0, look.minutes(self.now), look.weighed_min(self.now))
            why = AGAIN.format(look=look.id)
        elif not any(each.meaning is None for each in self.seen):
            numbers = [
                each for each in next_steps(self.diagnosis, self.seen, self.now, found, self.without)
                if each.look.kind != "meaning" and each.gain_bits >= LEAST_CHECK_BITS
            ]  # fmt: skip
            step, why = (numbers[0] if numbers else None), NO_NUMBER
        if step is None:
            return Advice("found", found, None, (), doubts=doubts)
        told = self._outlooks(found, step.look) if outlooks else ()
        return Advice("look", found, step, told, (), (*doubts, why))

    def _once_more(self, found: Posterior) -> Step | None:
        """The reading that is likeliest to be mistyped or misremembered, taken again: what that alone would tell."""
        odds = {
            number: p for number, (p, each) in enumerate(zip(found.mistyped, self.seen, strict=False))
            if not {each.look.id, each.look.kind} & self.without and each.look.id not in self.twice
        }  # fmt: skip
        number = max(odds, key=odds.__getitem__, default=-1)
        if number < 0 or odds[number] < MAY_BE_MISTYPED:
            return None
        look = self.seen[number].look
        bits = entropy_bits(np.array([odds[number], 1.0 - odds[number]]))
        return Step(look, bits, look.minutes(self.now), look.weighed_min(self.now))

    def _decides_alone(self, found: Posterior) -> Seen | None:
        """A number without which the first class would not stand out: nothing is cut on that alone."""
        name = found.first.name
        numbers = [each for each in self.seen if each.meaning is None and each.look.id not in self.twice]
        left = [
            (self.diagnosis.share_of(name, [one for one in self.seen if one is not each]), number)
            for number, each in enumerate(numbers)
        ]
        least, number = min(left, default=(1.0, 0))
        return numbers[number] if least < OTHERWISE else None

    def _why_asked(self, found: Posterior, step: Step) -> str:
        """One line where the likely causes that are on the list would show much the same at a step; "" elsewhere."""
        named = [each.name for each in found.classes if each.probability >= TOLD and each.name != NOT_LISTED]
        if not named or found.of(NOT_LISTED) < TOLD:
            return ""
        off_list = named_bits(self.diagnosis, self.seen, step.look, found, [*named, NOT_LISTED])
        among = named_bits(self.diagnosis, self.seen, step.look, found, named)
        if among > LITTLE_OF * off_list or off_list < step.gain_bits / 2.0:  # or it tells unlikely ones apart
            return ""
        who = "the likely ones show much the same" if len(named) > 1 else "the likely one shows as said"
        return OFF_LIST.format(who=who)

    def _outlooks(self, found: Posterior, look: Look) -> tuple[Outlook, ...]:
        out = []
        for each in found.classes:
            if each.probability < TOLD or each.name == NOT_LISTED:
                continue
            words = class_words(self.diagnosis.hypotheses, each.name)
            if look.kind == "meaning":
                odds = expected_word(self.diagnosis, self.seen, look, each.name, found)
                likely = [word for word, p in sorted(odds.items(), key=lambda pair: -pair[1]) if p >= 0.15]
                shows = " or ".join(likely[:3]) if len(likely) <= 3 else "anything"
            else:
                shows = between_words(look, *expected(self.diagnosis, self.seen, look, each.name, found))
            out.append(Outlook(each.name, words, shows))
        return tuple(out)

    def winner(self, found: Posterior) -> str:
        """The class that may be called the cause, or ""."""
        first = found.first
        return first.name if first.probability >= LEAST_WINNER and first.name != NOT_LISTED else ""


def read(diagnosis: Diagnosis, text: str, *, wiggled: bool = False) -> Seen:
    """One reading as typed: "ohms lever_up = 8.2k", "volts idle = 0.1 at 12.6", "meaning lever_up = manual".

    Raises
    ------
    LookFault
        No such look, or a reading that cannot be understood.
    """
    name, sign, value = text.partition("=")
    if not sign:
        raise LookFault(text, "no = in it", 'Write what was looked at, =, and the reading: "ohms idle = OL".')
    look = diagnosis.look(name)
    return reading_of(diagnosis, look, value.strip(), wiggled=wiggled)


def reading_of(diagnosis: Diagnosis, look: Look, value: str, *, wiggled: bool = False) -> Seen:
    """The reading of a look from what was typed behind it."""
    if look.kind == "meaning":
        words = diagnosis.reports.words if diagnosis.reports else ()
        at = {word.casefold(): word for word in words} | {"nothing": "invalid", "none": "invalid", "-": "invalid"}
        word = at.get(value.casefold())
        if word is None:
            raise LookFault(
                value,
                f"not something line {diagnosis.view.line.id} reports",
                f"Right would be one of: {', '.join(words)}.",
            )
        return Seen(look, meaning=word, wiggled=wiggled)
    if look.is_ohms:
        if value.casefold().replace(" ", "") in OPEN_WORDS:
            return Seen(look, ohm=math.inf, wiggled=wiggled)
        if value.startswith(("-", "\u2212")):
            raise LookFault(
                value, "no resistance is negative", "Are the leads on a live circuit? Battery off, then again."
            )
        ohm = _number(value, "resistance", "8.2k, 0.4 ohm, or OL")
        return Seen(look, ohm=math.inf if ohm > diagnosis.meter.most_ohm else ohm, wiggled=wiggled)
    pin, _, supply = value.replace("@", " at ").partition(" at ")
    if not supply.strip():
        raise LookFault(value, "the battery's volts are missing", 'Read both in the same minute: "4.1 at 12.6".')
    pin_v, supply_v = (_number(each.strip(), "voltage", "4.1 at 12.6") for each in (pin, supply))
    if supply_v <= 1.0:
        raise LookFault(value, "that is no battery", 'Pin first, then battery: "4.1 at 12.6".')
    return Seen(look, pin_v=pin_v, supply_v=supply_v, wiggled=wiggled)


def _number(text: str, dimension: str, right: str) -> float:
    try:
        return parse(text if not _bare(text) else text + (" ohm" if dimension == "resistance" else " V"), dimension)
    except QuantityFault as fault:
        why = fault.hint.rstrip(".") or f"this is not {fault.expected}"
        raise LookFault(text, f"cannot be read: {why}", f"Right would be {right}.") from None


def _bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def doubts_of(diagnosis: Diagnosis, seen: Sequence[Seen], found: Posterior) -> tuple[str, ...]:
    """Readings that were most likely typed or measured wrongly: what to ask."""
    out = []
    for each, odds in zip(seen, found.mistyped, strict=False):
        if odds < DOUBTED:
            continue
        text = f"{each.look.id} = {reading_words(each)} does not go with the other readings"
        better = _decade(diagnosis, seen, each)
        if better is not None:
            text += f"; {ohm_words(better)} would: look at the unit on the display"
        out.append(f"{text}. Measure it again; a new reading replaces it.")
    return tuple(out)


def _decade(diagnosis: Diagnosis, seen: Sequence[Seen], each: Seen) -> float | None:
    """The reading a power of ten away that fits, if one does."""
    if each.ohm is None or math.isinf(each.ohm):
        return None
    for factor in (0.1, 10.0, 0.001, 1000.0, 0.01, 100.0):
        other = dataclasses.replace(each, ohm=each.ohm * factor)
        if not diagnosis.posterior([other if one is each else one for one in seen]).mistyped:
            return other.ohm
    return None


def as_json(session: Session, advice: Advice) -> dict[str, Any]:
    """Everything for a program."""
    line, all_of = session.diagnosis.view.line, session.diagnosis.hypotheses
    step = advice.step
    return {
        "line": line.id,
        "state": advice.state,
        "cause": session.winner(advice.posterior),
        "readings": [{"look": each.look.id, "reading": reading_words(each)} for each in session.seen],
        "classes": [
            {
                "class": each.name,
                "words": class_words(all_of, each.name),
                "probability": each.probability,
                "repair": repair_words(all_of, each.name, line),
                "mechanisms": [dataclasses.asdict(m) for m in each.mechanisms if m.probability >= 0.001],
            }
            for each in advice.posterior.classes
            if each.probability >= 1e-4
        ],
        "next": None if step is None else {
            "look": step.look.id, "words": look_words(step.look, line), "minutes": step.minutes,
            "expected_gain_bits": step.gain_bits,
            "would_show": [{"class": each.name, "shows": each.shows} for each in advice.outlooks],
            "why": advice.why,
        },
        "doubts": list(advice.doubts),
    }  # fmt: skip


def mechanism_words(all_of: Sequence[Hypothesis], name: str, found: Posterior, most: int = 3) -> str:
    """The likeliest mechanisms inside a class, summed over where they sit."""
    each = next(one for one in found.classes if one.name == name)
    total: dict[str, float] = {}
    for m in each.mechanisms:
        total[m.cause] = total.get(m.cause, 0.0) + m.probability
    ranked = sorted(total.items(), key=lambda pair: -pair[1])[:most]
    del all_of
    return ", ".join(f"{cause} {percent(p / max(each.probability, 1e-12))}" for cause, p in ranked if p > 0.0)
