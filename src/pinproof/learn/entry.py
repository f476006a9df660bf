"""Readings as a person types them: "open volts=4.98", "load=1k//10k means=down from=below", "pot=1.234k means=up".

Answers: what one line says; which resistors of the stock a written load is made of.
Units:   volts, ohms.
Touches: nothing.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.errors import QuantityFault
from pinproof.learn.state import Direction, LearnFault, State, Step
from pinproof.learn.stock import INF, OPEN, SHORT, Load, Part, bounds_of
from pinproof.quantities import parse

LONGEST_ENTRY = 300
OTHER_TOLERANCE = 0.01  # of a load that is not in the stock and was not measured
KEYS = (
    "load", "volts", "feed", "supply", "ac", "min", "max", "means", "from", "key", "pot", "part", "ohms", "at", "reach",
)  # fmt: skip
_WORD = re.compile(r"(\w+)\s*=\s*(\"[^\"]*\"|'[^']*'|\S+)|(\S+)")
_ACCURACY = re.compile(r"\s*±?\s*([0-9]+(?:[.,][0-9]+)?)\s*%\s*(?:\+\s*([0-9]{1,4}))?\s*(?:digits?|counts?)?\s*")
EXAMPLE = 'Write it as in "load=1k volts=2.41", "open volts=4.98" or "load=2k2 means=up".'


@dataclass(frozen=True)
class Entry:
    """One typed line. `load_text` is "open", "short" or ohms; digits are worth one step of the last one written."""

    load_text: str = ""
    volts_v: float | None = None
    volts_digit_v: float = 0.0
    feed_v: float | None = None
    feed_digit_v: float = 0.0
    supply_v: float | None = None
    ac_v: float | None = None
    min_v: float | None = None
    max_v: float | None = None
    means: str = ""
    direction: Direction | None = None
    key_cycle: bool = False
    pot_ohm: float | None = None
    at_end: bool = False
    part_text: str = ""
    ohms_ohm: float | None = None
    ohms_digit_ohm: float = 0.0
    reach_ohm: float | None = None


def read_entry(text: str) -> Entry:
    """What one line says.

    Raises
    ------
    LearnFault, QuantityFault
        What is wrong with it and what would be right.
    """
    if len(text) > LONGEST_ENTRY:
        raise LearnFault("reading", f"That is {len(text)} characters long; {LONGEST_ENTRY} is the most.")
    given: dict[str, str] = {}
    for key, value, bare in _WORD.findall(text):
        word = bare.lower()
        if bare and word in ("open", "short"):
            key, value = "load", word
        elif bare and word == "end":
            key, value = "at", "end"
        elif bare:
            raise LearnFault("reading", f'"{bare[:40]}" in "{text[:60]}" is no key=value. {EXAMPLE}')
        key = key.lower()
        if key not in KEYS:
            raise LearnFault("reading", f'There is no "{key[:40]}". There are {", ".join(KEYS)}. {EXAMPLE}')
        if key in given:
            raise LearnFault("reading", f'"{key}" stands there twice.')
        given[key] = value.strip("\"'")
    if not given:
        raise LearnFault("reading", f"Nothing stands there. {EXAMPLE}")
    volts = {key: _volts(given[key]) for key in ("volts", "feed", "supply", "ac", "min", "max") if key in given}
    ohms = {key: _ohms(given[key]) for key in ("pot", "ohms", "reach") if key in given}
    if given.get("at", "end") != "end":
        raise LearnFault("reading", "Only at=end is known: the potentiometer was turned to its end.")
    return Entry(
        given.get("load", ""), volts.get("volts"), last_digit(given.get("volts", "")), volts.get("feed"),
        last_digit(given.get("feed", "")), volts.get("supply"), volts.get("ac"), volts.get("min"), volts.get("max"),
        " ".join(given.get("means", "").split()), _direction(given.get("from", "")), _yes(given.get("key", "")),
        ohms.get("pot"), "at" in given, given.get("part", ""), ohms.get("ohms"),
        last_digit(given.get("ohms", given.get("pot", ""))), ohms.get("reach"),
    )  # fmt: skip


def _volts(text: str) -> float:
    return parse(text if re.search(r"[A-Za-z]", text) else f"{text} V", "voltage")


def _ohms(text: str) -> float:
    return parse(text if re.search(r"[A-Za-zΩ]", text) else f"{text} ohm", "resistance")


def _direction(text: str) -> Direction | None:
    known: dict[str, Direction | None] = {
        "": None, "above": "falling", "falling": "falling", "below": "rising", "rising": "rising", "key": "none",
        "none": "none",
    }  # fmt: skip
    if text.lower() not in known:
        raise LearnFault("reading", f'from="{text[:40]}" is not known: from=above, from=below, or from=key.')
    return known[text.lower()]


def _yes(text: str) -> bool:
    if text.lower() not in ("", "no", "yes", "cycled"):
        raise LearnFault("reading", f'key="{text[:40]}" is not known: key=cycled, or leave it out.')
    return text.lower() in ("yes", "cycled")


def last_digit(text: str) -> float:
    """What one step of the last digit is worth, in the base unit: "2.41" 0.01, "1.234k" 1, "" 0."""
    found = re.match(r"\s*[-+]?([0-9]*)([.,kKMRVmu]?)([0-9]*)\s*([A-Za-zµΩ]*)", text)
    if found is None or not (found[1] or found[3]):
        return 0.0
    unit = found[2] if found[2] not in ("", ".", ",") else found[4]  # "5030mV", "4k7ohm": the letter stands first
    scale = {"k": 1e3, "K": 1e3, "M": 1e6, "m": 1e-3, "u": 1e-6, "µ": 1e-6}.get(unit[:1], 1.0)
    places = len(found[3]) if found[2] else 0
    return float(scale * 10.0**-places)


def read_accuracy(text: str) -> tuple[float, int]:
    """ "0.5 % + 2" as a ratio and counts of the last digit.

    Raises
    ------
    QuantityFault
        It is not a meter's accuracy.
    """
    hit = _ACCURACY.fullmatch(text)
    if hit is None:
        raise QuantityFault(text, 'a meter\'s accuracy, such as "0.5 % + 2"')
    return float(hit[1].replace(",", ".")) / 100.0, int(hit[2] or 0)


def load_of(text: str, state: State, measured: tuple[float, float] | None = None) -> Load:
    """The load that was written: "open", "short", "1k", "2k2+470" in series, "1k//10k" in parallel.

    `measured`: its own ohms and their half-width, as read on the meter. Parts of the stock are found by their value.

    Raises
    ------
    LearnFault, QuantityFault
        It cannot be read.
    """
    word = text.strip().lower()
    if word == "open":
        return OPEN
    if word in ("short", "0"):
        return SHORT
    join = "parallel" if "//" in text else "series" if "+" in text else "single"
    pieces = [each.strip() for each in re.split(r"//|\+", text)]
    if len(pieces) > 2 or not all(pieces):
        raise LearnFault("load", f'"{text[:40]}" is not one resistor or two: "1k", "2k2+470" or "1k//10k".')
    ohms = [_ohms(each) for each in pieces]
    if not all(0.0 < each < INF for each in ohms):
        raise LearnFault("load", f'"{text[:40]}" must be above 0 ohm; nothing on the pin is "open", a wire "short".')
    if measured is not None:
        ohm, reach = measured
        return Load(ohm, max(ohm - reach, 0.0), ohm + reach, "own")
    found = [_part(state.stock, each) for each in ohms]
    if None not in found:
        parts = tuple(each for each in found if each is not None)
        low, mid, high = bounds_of(parts, join, state.stock, state.known)  # type: ignore[arg-type]
        return Load(mid, low, high, join, parts)  # type: ignore[arg-type]
    loose = tuple(Part(each, OTHER_TOLERANCE * each) for each in ohms)
    low, mid, high = bounds_of(range(len(loose)), join, loose, {})  # type: ignore[arg-type]
    return Load(mid, low, high, "own")


def _part(stock: Sequence[Part], ohm: float) -> int | None:
    return next((i for i, part in enumerate(stock) if ohm > 0.0 and abs(part.ohm / ohm - 1.0) < 1e-6), None)


def part_of(text: str, stock: Sequence[Part]) -> int:
    """The position in the stock of the part with this printed value or label.

    Raises
    ------
    LearnFault
        There is none.
    """
    for index, part in enumerate(stock):
        if part.label and part.label == text:
            return index
    found = _part(stock, _ohms(text))
    if found is None:
        raise LearnFault("part", f'"{text[:40]}" is not in the stock.')
    return found


def step_of(load: Load, entry: Entry, state: State) -> Step:
    """A reading that was taken unasked, as a step."""
    way = entry.direction or state.main
    via: tuple[float, ...] = () if load.join == "open" or way == "none" else (INF,) if way == state.main else ()
    return Step(
        "load",
        load.ohm,
        "told",
        way,
        load.join,
        load.parts,
        load.low_ohm,
        load.high_ohm,
        via,
        entry.key_cycle or way == "none",
    )
