"""What a reading says about a truck, with the meter's own error taken off the limits.

Answers: as built, works but not as built, wrong, or cannot tell; is the reading itself to be doubted, and how does one
         ask?
Units:   ohms or volts, as the station says.
Touches: nothing.
Beside:  `expect` gives the bands, `instrument` the meter's error.
Sources: JCGM 106:2012, 8.3.2, guarded acceptance and guarded rejection with a guard band as wide as the uncertainty
         (secondary); the same rule as y ≤ limit - U and y ≥ limit + U: ISO 14253-1 (secondary).

All that is certain of a point is that its value lies between two ends: the reading less the leads, give or take the
meter's error. Only what holds for all values between them is said. Nothing is rounded to pass.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass

from pinproof.errors import OutOfTable
from pinproof.meter.expect import Band, Expectation
from pinproof.meter.instrument import Instrument, Quantity, uncertainty
from pinproof.meter.stations import Station, situation_words
from pinproof.meter.typed import Typed, shown
from pinproof.quantities import format_value

DECADES = (1000.0, 0.001, 100.0, 0.01, 10.0, 0.1)


class Outcome(enum.Enum):
    """What a reading says."""

    AS_BUILT = "as built"
    WORKS = "works but not as built"
    CANNOT_TELL = "cannot tell"
    WRONG = "wrong"

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True)
class Doubt:
    """A reason to look at the reading again before believing it, with the question to ask."""

    kind: str  # "decade", "other-situation", "open", "negative", "digits", "no-range", "unclear"
    question: str


@dataclass(frozen=True)
class Judgement:
    """What one reading says.

    `low` … `high` is all that is certain of the point itself, `limit` the meter's error either way. `works_surely`:
    whatever else cannot be told, it works. `limit_needed` is the meter error with which this reading would have told,
    NaN where none would.
    """

    outcome: Outcome
    text: str
    low: float = math.nan
    high: float = math.nan
    limit: float = math.nan
    works_surely: bool = False
    limit_needed: float = math.nan
    doubts: tuple[Doubt, ...] = ()


def decide(low: float, high: float, as_built: Band, works: Band) -> tuple[Outcome, bool]:
    """Outcome for a value that lies anywhere in `low` … `high`, and whether it works for certain.

    Examples
    --------
    >>> from pinproof.meter.expect import Band
    >>> decide(99.0, 101.0, Band(98.0, 102.0), Band(90.0, 150.0))[0].value
    'as built'
    """
    surely = works.holds(low, high)
    if surely and as_built.holds(low, high):
        return Outcome.AS_BUILT, True
    if surely and as_built.misses(low, high):
        return Outcome.WORKS, True
    if works.misses(low, high):
        return Outcome.WRONG, False
    return Outcome.CANNOT_TELL, surely


def interval(
    typed: Typed, quantity: Quantity, meter: Instrument, ambient_c: float | None, lead_ohm: tuple[float, float]
) -> tuple[float, float, float]:
    """Ends between which the point itself lies, and the meter's error. [Ω or V]

    An open display says no more than that the point lies above the meter's highest range. Leads count on ohms only.

    Raises
    ------
    OutOfTable
        The meter has no such range.
    """
    if typed.is_open:
        return meter.top(quantity), math.inf, 0.0
    limit = uncertainty(meter, quantity, typed.value, ambient_c, typed.noted).limit
    if quantity == "voltage":
        return typed.value - limit, typed.value + limit, limit
    least, most = lead_ohm
    return max(typed.value - limit - most, 0.0), max(typed.value + limit - least, 0.0), limit


def leads_of(meter: Instrument, shorted: Typed | None = None) -> tuple[float, float]:
    """What the leads add, least and most. [Ω] `shorted` is what was read with both tips together."""
    if meter.zeroed:
        return -0.1, 0.1  # zeroing is good to about a digit of the lowest range; common practice, no source
    if shorted is None or shorted.is_open:
        return meter.lead_low_ohm, meter.lead_high_ohm
    digit = max(min(each.digit for each in meter.ranges if each.quantity == "resistance"), shorted.noted)
    return max(shorted.value - digit, 0.0), shorted.value + digit


def judge(
    station: Station,
    expectation: Expectation,
    typed: Typed,
    meter: Instrument,
    *,
    ambient_c: float | None = None,
    lead_ohm: tuple[float, float] | None = None,
    others: Mapping[str, tuple[Station, Expectation]] | None = None,
) -> Judgement:
    """What a reading at a station says.

    Parameters
    ----------
    station, expectation
        From `stations` and `expected`; a station of ohms or volts.
    typed : Typed
        From `read_typed`.
    meter : Instrument
    ambient_c : float, optional
        Temperature of meter and parts. [°C]
    lead_ohm : (least, most), optional
        What the leads add; that of the meter file if left out. The leads' own station takes nothing off.
    others : mapping, optional
        Other stations of the same line and kind by id, to see whether the reading belongs to one of them.
    """
    quantity: Quantity = "voltage" if station.quantity == "voltage" else "resistance"
    leads = (0.0, 0.0) if station.kind == "leads" else lead_ohm or leads_of(meter)
    if quantity == "resistance" and typed.value < 0.0:
        least = typed.value + leads[1] + uncertainty(meter, quantity, typed.value, ambient_c, typed.noted).limit
        if least < 0.0:
            return Judgement(Outcome.CANNOT_TELL, "A resistance below zero is no resistance.", doubts=(_NEGATIVE,))
    try:
        low, high, limit = interval(typed, quantity, meter, ambient_c, leads)
    except OutOfTable as fault:
        return Judgement(Outcome.CANNOT_TELL, str(fault), doubts=(Doubt("no-range", _no_range(fault)),))
    if expectation.as_built is None or expectation.works is None:
        return Judgement(Outcome.CANNOT_TELL, expectation.reason or "Nothing is known to hold this against.",
                         low, high, limit)  # fmt: skip
    as_built, works = expectation.as_built, expectation.works
    outcome, surely = decide(low, high, as_built, works)
    needed = _needed(typed, as_built, works, leads if quantity == "resistance" else (0.0, 0.0))
    doubts = (
        [] if outcome is Outcome.AS_BUILT else list(_doubts(station, expectation, typed, (low, high), others or {}))
    )
    if outcome is Outcome.CANNOT_TELL and not typed.is_open and typed.noted > 0.0:
        least = uncertainty(meter, quantity, typed.value, ambient_c).limit
        if least < 0.999 * limit:
            step = format_value(typed.noted, quantity)
            doubts.append(Doubt("digits", f'"{typed.text}" says no more than steps of {step}. Did the display show '
                                "more digits? Write all of them, zeros too."))  # fmt: skip
    text = _text(outcome, surely, quantity, (low, high), limit, as_built, works, needed)
    return Judgement(outcome, text, low, high, limit, surely, needed, tuple(doubts))


def judge_words(station: Station, expectation: Expectation, said: str) -> Judgement:
    """What a reported meaning, or a note that begins with ok or bad, says."""
    clean = " ".join(said.split())
    first = clean.lower().partition(" ")[0].strip(".,:;!")
    if station.quantity == "note":
        if first in ("ok", "good", "yes"):
            return Judgement(Outcome.AS_BUILT, "Noted as good.", works_surely=True)
        if first in ("bad", "wrong", "no"):
            return Judgement(Outcome.WRONG, "Noted as bad.")
        return Judgement(Outcome.CANNOT_TELL, "Noted, but neither good nor bad.",
                         doubts=(Doubt("unclear", "Is that good or bad? Begin the note with ok or bad."),))  # fmt: skip
    wanted = expectation.words
    if not wanted:
        return Judgement(Outcome.CANNOT_TELL, "The file does not say what should be reported here.")
    if clean.casefold() in [each.casefold() for each in wanted]:
        return Judgement(Outcome.AS_BUILT, f"Reported {clean}, as it should.", works_surely=True)
    return Judgement(
        Outcome.WRONG, f'Reported "{clean}", wanted {" or ".join(wanted)}.',
        doubts=(Doubt("unclear", f"Was {situation_words(station.operated)} held when the controller said so?"),),
    )  # fmt: skip


_NEGATIVE = Doubt(
    "negative",
    "Less than nothing: is something live, or the controller plugged in? Take the battery off and unplug it before the "
    "next try. If the leads were zeroed, zero them again.",
)


def _no_range(fault: OutOfTable) -> str:
    return f"Is that what the display showed, with its unit? The meter file knows ranges {fault.covered}."


def _needed(typed: Typed, as_built: Band, works: Band, leads: tuple[float, float]) -> float:
    """The meter error with which this very reading would be inside a band, or outside both."""
    if typed.is_open:
        return math.nan
    low, high = typed.value - leads[1], typed.value - leads[0]
    inside = {name: min(low - band.low, band.high - high) for name, band in (("built", as_built), ("works", works))}
    only_works = min(inside["works"], max(low - as_built.high, as_built.low - high))
    outside = max(works.low - high, low - works.high)
    best = max(inside["built"], only_works, outside)
    return best if best > 0.0 else math.nan


def _text(
    outcome: Outcome,
    surely: bool,
    quantity: Quantity,
    ends: tuple[float, float],
    limit: float,
    as_built: Band,
    works: Band,
    needed: float,
) -> str:
    lies = f"Allowing for the meter, it is {_span(Band(*ends), quantity)}"
    built, range_ = _span(as_built, quantity), _span(works, quantity)
    if outcome is Outcome.AS_BUILT:
        return f"{lies}, inside {built}."
    if outcome is Outcome.WORKS:
        return f"{lies}. New parts would read {built}; it works at {range_}."
    if outcome is Outcome.WRONG:
        return f"{lies}, outside {range_}."
    if surely:
        text = f"{lies}: it works for certain ({range_}). Whether as built ({built}) this meter cannot tell."
    else:
        text = f"{lies}, across a limit: as built is {built}, working {range_}."
    if math.isnan(needed) or limit <= 0.0:
        return text
    return f"{text} A meter within ±{format_value(needed, quantity, digits=2)} here would tell."


def _span(band: Band, quantity: Quantity) -> str:
    if math.isinf(band.high):
        return f"{format_value(band.low, quantity)} or more" if band.low else "anything"
    return f"{format_value(band.low, quantity)} to {format_value(band.high, quantity)}"


def _doubts(
    station: Station,
    expectation: Expectation,
    typed: Typed,
    ends: tuple[float, float],
    others: Mapping[str, tuple[Station, Expectation]],
) -> list[Doubt]:
    """Questions about a reading that is not as it should be, the likeliest slip first."""
    quantity: Quantity = "voltage" if station.quantity == "voltage" else "resistance"
    found: list[Doubt] = []
    if typed.is_open:
        if not expectation.is_open:
            held = f"is {situation_words(station.operated)} really held?" if station.operated else "is no switch held?"
            found.append(
                Doubt("open", f"Open display: do both probes touch metal, is the switch side plugged in, {held}")
            )
    else:
        own = (expectation.as_built, expectation.works)
        for factor in DECADES:
            if any(band is not None and _fits(band, ends, factor) for band in own):
                meant = shown(typed.value * factor, quantity)
                found.append(
                    Doubt("decade", f"{meant} would fit. Was the unit or the decimal point on the display read right? "
                          "If it was, look for a part that is wrong by that factor.")
                )  # fmt: skip
                break
    like = [
        other for other, theirs in others.values()
        if other.id != station.id and theirs.as_built is not None and theirs.is_open == typed.is_open
        and not theirs.as_built.misses(*ends) and not _same(theirs, expectation)
    ]  # fmt: skip
    its_own = expectation.as_built is not None and not expectation.as_built.misses(*ends)
    if its_own:
        like = []  # no reason to ask for another switch, or for another decade of one
    if like and not (typed.is_open and found):
        named = " or ".join(situation_words(each.operated) for each in like[:3])
        found.append(
            Doubt("other-situation", f"This is what {named} should read. Was that held instead of "
                  f"{situation_words(station.operated)}? If not, two wires or contacts may be exchanged.")
        )  # fmt: skip
    elif not typed.is_open and not its_own:
        for factor in DECADES:
            off = [
                other for other, theirs in others.values()
                if other.id != station.id and theirs.as_built is not None and _fits(theirs.as_built, ends, factor)
            ]  # fmt: skip
            if off and not found:
                found.append(
                    Doubt("decade", f"{shown(typed.value * factor, quantity)} would be "
                          f"{situation_words(off[0].operated)}. Unit, decimal point and switch read right?")
                )  # fmt: skip
                break
    return found


def _fits(band: Band, ends: tuple[float, float], factor: float) -> bool:
    """True if the reading times `factor` may lie in a closed band that begins above zero."""
    if math.isinf(band.high) or band.low <= 0.0:
        return False
    return not band.misses(ends[0] * factor, ends[1] * factor)


def _same(one: Expectation, other: Expectation) -> bool:
    """True if the two expect the same, so that the reading does not tell them apart."""
    return one.as_built == other.as_built
