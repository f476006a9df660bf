"""Results in words: parameter paths, situations, spans, margins and verdicts as a tired person reads them.

Answers: what is "contact.lever_up.closed" called, how is a span written, how is a margin said.
Units:   readings in their own space; ohms and volts for parameters.
Touches: nothing.
Beside:  `axis` shows a reading in the unit it is wanted in.
"""

from __future__ import annotations

import math

from pinproof.design.words import parameter as parameter  # one word list for pages and terminal
from pinproof.proof.results import SituationProof
from pinproof.quantities import format_value
from pinproof.verdict import Verdict

INVALID = "invalid"  # in no window of a command and not in the idle one
KEY_STATES = {"run": "key in run", "crank": "while cranking", "after_run": "key off, controller still awake"}
VERDICTS = {
    Verdict.PASS: "pass",
    Verdict.WOULD_HOLD: "would hold if",
    Verdict.NOT_SHOWN: "not shown",
    Verdict.FAIL: "fail",
}
_DIMENSIONS = {"ohm": "resistance", "V": "voltage", "1": "ratio"}


def value(number: float, unit: str, digits: int = 4) -> str:
    """A parameter or a reading with its unit: 410.0, "ohm" is "410 Ω"; unit "1" is written in percent."""
    return format_value(number, _DIMENSIONS[unit], digits=digits)


def span(low: str, high: str) -> str:
    """Two formatted ends as one text, with the unit once: "2.88 to 3.12 V"."""
    if low == high:
        return low
    number, _, unit = low.rpartition(" ")
    if number and high.endswith(" " + unit):
        return f"{number} to {high}"
    return f"{low} to {high}"


UNSETTLED = "no settled reading"


def reads(shown: str) -> str:
    """ "reads 2.88 to 3.12 V", or that it has no settled reading."""
    return f"has {shown}" if shown == UNSETTLED else f"reads {shown}"


def operated(names: tuple[str, ...]) -> str:
    """A set of operated contacts: "lever_up + wheel_up", or "nothing operated"."""
    return " + ".join(names) if names else "nothing operated"


def key_state(name: str) -> str:
    """A key state in words."""
    return KEY_STATES.get(name, name)


def wanted(row: SituationProof) -> str:
    """What a situation should or may read, as a phrase after its name."""
    return f"{'may' if must_be_clear(row) else 'should'} read {either(allowed(row))}"


def allowed(row: SituationProof) -> list[str]:
    """What a situation may read, each once, with "no command" last where being invalid is allowed."""
    found = [each for each in dict.fromkeys(row.allowed) if each != INVALID]
    return [*found, "no command"] if must_be_clear(row) else found


def must_be_clear(row: SituationProof) -> bool:
    """True where a reading need only keep out of foreign windows, False where it must lie in one of its own."""
    return INVALID in row.allowed


def either(names: tuple[str, ...] | list[str]) -> str:
    """Names in a row: "up, down or idle"."""
    if len(names) < 2:
        return "".join(names) or "nothing"
    return ", ".join(names[:-1]) + " or " + names[-1]


def all_of(names: tuple[str, ...] | list[str]) -> str:
    """Names in a row: "up, down and idle"."""
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def margin(row: SituationProof) -> str:
    """The margin of a situation; below zero it says how far past the edge the span reaches."""
    amount = row.margin
    if math.isnan(amount) or amount == -math.inf:
        return "no margin"
    if amount == math.inf:
        return "no edge in reach"
    if amount < 0.0:
        return f"{percent(-amount, up=True)} past the edge"
    return f"margin {percent(amount)}"


def percent(ratio: float, *, up: bool = False) -> str:
    """A ratio in percent with two digits, cut and not rounded (or with `up` raised to the next digit).

    A margin is cut, an overlap raised, so that nothing looks better than it is.
    """
    if not math.isfinite(ratio) or ratio == 0.0:
        return format_value(ratio, "ratio", digits=2)
    if abs(ratio) < 1e-9:
        return "less than 0.0000001 %"
    step = 10.0 ** (math.floor(math.log10(abs(ratio))) - 1)
    whole = abs(ratio) / step
    cut = (math.ceil(whole - 1e-9) if up else math.floor(whole + 1e-9)) * step
    return format_value(math.copysign(cut, ratio), "ratio", digits=3)


def sentence(text: str) -> str:
    """First letter large, unless it begins with an id such as lever_up, and a full stop at the end."""
    text = text.strip()
    if not text:
        return ""
    first = text.split(maxsplit=1)[0].strip("`,.;:()")
    if "_" not in first and not any(each.isdigit() for each in first):
        text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?:" else text + "."
