"""Quantities as people write them, read into SI floats.

Answers: what number does this text mean, given that a resistance (or a voltage, a length, ...) was asked for?
Units:   see `units`; SI except temperature in °C, rotation in rpm, angle in degrees.
Touches: nothing. Never returns nan; returns inf only for "open" where that is allowed.
Rule:    where two readings fit, neither is taken: the fault lists both.
Sources: letter for the decimal point ("4K7"): IEC 60062:2016 (secondary).
"""

from __future__ import annotations

import re
from typing import NoReturn

from pinproof.errors import QuantityFault
from pinproof.quantities.units import Dimension, Scale, dimension_named, owners_of

LONGEST_TEXT = 64
"""Longest text that is read at all, in characters; a quantity never needs more."""

_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_PLAIN = re.compile(rf"\s*([+-]?{_NUMBER})\s*([^\s0-9]\S*)?\s*\Z")
_SAME = str.maketrans({"\u2212": "-", "\u2010": "-", "\u2011": "-", "\ufe63": "-", "\uff0d": "-"}) | str.maketrans(
    dict.fromkeys("\u00a0\u2009\u202f\u2007\u2002\u2003\u200a\u2005\t", " ")
)
_PLUS_MINUS = re.compile(r"\A(?:±|\+/-|\+-)\s*")
_OPEN_WORDS = frozenset({"open", "inf", "infinite", "infinity", "∞"})
# digits with whatever separators stand between them, an exponent, then the unit
_LOOSE = re.compile(r"([+-]?)\s*([0-9.,](?:[0-9.,]| (?=[0-9]))*)(?:[eE]([+-]?[0-9]{1,4})(?![0-9]))?\s*(.*)\Z")
_LETTERED = re.compile(r"([+-]?)([0-9]*)([A-Za-zµμ])([0-9]+)\s*(.*)\Z")
_FEET_INCHES = re.compile(rf"([0-9]+)\s*(?:ft|'|′|’)\s*({_NUMBER})\s*(?:in|\"|″|”|'')\Z")
_FRACTION = re.compile(r"(?:([0-9]{1,4})[ -])?([0-9]{1,3})/([0-9]{1,3})\s*(\S+)\Z")
_FRACTION_UNITS = frozenset({"in", '"', "″", "”", "inch", "inches", "W", "watt"})
_TOLERANCE_LETTERS = "BCDFGJKM"
_LOOKALIKES = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1"})


def parse(text: str, dimension: str, *, allow_open: bool = False, allow_milli: bool = True) -> float:
    """Read one quantity.

    Parameters
    ----------
    text : str
        As people write it: "8.2k", "4k7", "1 500 ohm", "-20 °C", "31.5 in", "±5 %". At most 64 characters.
    dimension : str
        What is asked for; one of `pinproof.quantities.DIMENSIONS`.
    allow_open : bool
        Resistance only: "open" and "inf" give ``inf``.
    allow_milli : bool
        Resistance only; False where no part can have thousandths of an ohm (a coding resistor, a pull): "9.1 mohm" is
        then asked back, since a capital M or plain ohms are almost surely meant.

    Returns
    -------
    float
        In the dimension's unit (SI; °C, rpm, deg, and m² for "gauge"). Finite, save for an allowed "open".

    Raises
    ------
    QuantityFault
        Not this quantity, unit missing or foreign, below what can be, or readable in two ways.
    ValueError
        `dimension` is not known (a slip in the calling code).

    Examples
    --------
    >>> from pinproof.quantities import parse
    >>> parse("4k7", "resistance"), parse("1,5 kohm", "resistance"), parse("-20 °C", "temperature")
    (4700.0, 1500.0, -20.0)

    References
    ----------
    .. [1] IEC 60062:2016, letter-and-digit marking of resistance values (secondary).
    """
    asked = dimension_named(dimension)
    if not allow_milli:
        _no_milli(text, asked)
    if isinstance(text, str) and len(text) <= LONGEST_TEXT:
        plain = _PLAIN.match(text)
        if plain is not None:
            number, unit = plain.groups()
            scale = asked.units.get(unit or "")
            if scale is not None:
                value = _scaled(number, scale)
                if value >= asked.lowest and not asked.whole:
                    return value
            elif (
                unit is not None
                and unit.isascii()
                and unit[1:].isdecimal()
                and unit[0] in asked.letters
                and number.isdecimal()
            ):
                return float(f"{number}.{unit[1:]}e{asked.letters[unit[0]]}") + 0.0
    return _read_carefully(text, asked, allow_open)


def _no_milli(text: str, asked: Dimension) -> None:
    """Ask back where ohms are written with a small m; zero is zero in any unit, and "milliohm" cannot be a slip."""
    if asked.name != "resistance" or not isinstance(text, str) or len(text) > LONGEST_TEXT:
        return
    found = _LOOSE.match(text.translate(_SAME).strip())
    unit = found[4].replace(" ", "") if found is not None else ""
    if found is None or unit == "milliohm" or asked.units.get(unit) != "e-3":
        return
    numbers = _number_readings(found[2])
    if len(numbers) == 1 and float(numbers[0]) != 0.0:
        number = numbers[0]
        hint = f'Write "{number} Mohm", "{number} kohm" or "{number} ohm"; no code is as small as {number} milliohm.'
        _refuse(text, asked, hint, (f"{number} milliohm", f"{number} megohm"))


def _scaled(number: str, scale: Scale) -> float:
    """Number text times its unit; the added zero turns -0.0 into 0.0, whose reciprocal would have the wrong sign."""
    if isinstance(scale, str):
        return float(number + scale) + 0.0
    offset, factor, divisor = scale
    return (float(number) + offset) * factor / divisor + 0.0


def _refuse(text: object, asked: Dimension, hint: str = "", readings: tuple[str, ...] = ()) -> NoReturn:
    shown = text if isinstance(text, str) else repr(text)
    if len(shown) > LONGEST_TEXT:
        shown = shown[:LONGEST_TEXT] + "…"
    raise QuantityFault(shown, asked.phrase, hint, readings)


def _read_carefully(text: object, asked: Dimension, allow_open: bool) -> float:
    """Everything the one-glance pattern of `parse` does not settle, and every fault."""
    if not isinstance(text, str):
        hint = "Write it as text with its unit."
        if isinstance(text, (int, float)) and not isinstance(text, bool):
            hint = f"Write it as text with its unit: {_bare_advice(repr(text), asked)}."
        _refuse(text, asked, hint)
    if len(text) > LONGEST_TEXT:
        _refuse(text, asked, f"It is {len(text)} characters long; a quantity has at most {LONGEST_TEXT}.")
    cleaned = text.translate(_SAME).strip()
    if len(cleaned) > 1 and cleaned[0] in "–—" and cleaned[1] in "0123456789.,":
        cleaned = "-" + cleaned[1:]  # a dash that a word processor put in place of the minus sign
    if not cleaned:
        _refuse(text, asked, "Nothing is written here.")
    if asked.name == "resistance" and cleaned.lower() in _OPEN_WORDS:
        if allow_open:
            return float("inf")
        _refuse(text, asked, "An open circuit has no place here; give a number of ohms.")
    signed = _PLUS_MINUS.match(cleaned)
    if signed is not None:
        if not asked.plus_minus:
            _refuse(text, asked, "A ± belongs to a tolerance. Give the value and the tolerance apart.")
        cleaned = cleaned[signed.end() :]
    if asked.name == "gauge":
        from pinproof.quantities.gauge import awg_in

        number_awg = awg_in(cleaned)
        if number_awg is not None:
            from pinproof.quantities.gauge import parse_gauge

            return parse_gauge(text).area_m2
    value = _special_form(text, cleaned, asked)
    if value is None:
        value = _lettered(text, cleaned, asked)
    if value is None:
        value = _number_and_unit(text, cleaned, asked)
    return _within(text, value, asked)


def _within(text: str, value: float, asked: Dimension) -> float:
    if value != value or value in (float("inf"), float("-inf")):
        _refuse(text, asked, "The number is too large to be meant.")
    if value < asked.lowest:
        if asked.name == "temperature":
            _refuse(text, asked, "That is below absolute zero, -273.15 °C.")
        _refuse(text, asked, f"{asked.short[0].upper()}{asked.short[1:]} cannot be below zero.")
    if asked.whole and value != int(value):
        _refuse(text, asked, "It must be a whole number.")
    return value + 0.0


def _special_form(text: str, cleaned: str, asked: Dimension) -> float | None:
    """Feet with inches, and the fractions people use for inches and watts."""
    if asked.name == "length":
        both = _FEET_INCHES.match(cleaned)
        if both is not None:
            return (float(both[1]) * 12.0 + float(both[2])) * 254.0 / 1e4
    fraction = _FRACTION.match(cleaned)
    if fraction is not None and fraction[4] in _FRACTION_UNITS and fraction[4] in asked.units:
        if int(fraction[3]) == 0:
            _refuse(text, asked, "A fraction cannot have 0 below the line.")
        number = float(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
        return _scaled(repr(number), asked.units[fraction[4]])
    return None


def _lettered(text: str, cleaned: str, asked: Dimension) -> float | None:
    """A letter in place of the decimal point: 4k7, R47, 3V3, 4n7."""
    found = _LETTERED.match(cleaned)
    if found is None or found[3] not in asked.letters:
        return None
    sign, whole, letter, rest, tail = found.groups()
    shift = asked.letters[letter]
    if tail and asked.units.get(tail) != "e0":
        written = f"{whole or '0'}{letter}{rest}"
        if asked.name == "resistance" and len(tail) == 1 and tail in _TOLERANCE_LETTERS:
            _refuse(
                text,
                asked,
                f"{tail} after the value is a tolerance letter: this is a letter code. "
                f'Write the value alone, "{written}", and the tolerance in its own place.',
            )
        _refuse(text, asked, _lookalike(cleaned, asked) or f'"{tail}" after "{written}" has no meaning here.')
    return float(f"{sign}{whole or '0'}.{rest}e{shift}")


def _number_and_unit(text: str, cleaned: str, asked: Dimension) -> float:
    found = _LOOSE.match(cleaned)
    if found is None or not any(sign.isdigit() for sign in found[2]):
        _refuse(text, asked, _lookalike(cleaned, asked))
    sign, digits, exponent, rest = found.groups()
    unit = rest.replace(" ", "")
    scale = asked.units.get(unit)
    if scale is None:
        _refuse_unit(text, sign + digits, rest, unit, asked, cleaned)
    numbers = _number_readings(digits)
    if not numbers:
        _refuse(text, asked, f'"{digits}" is not one number.')
    if len(numbers) > 1:
        spelled = tuple(f"{sign}{one} {rest}".strip() for one in numbers)
        _refuse(text, asked, 'Write the decimal point as ".", and thousands without a mark.', spelled)
    number = sign + numbers[0]
    if exponent is None:
        return _scaled(number, scale)
    value = float(f"{number}e{exponent}")
    if value == 0.0 and float(number) != 0.0:
        _refuse(text, asked, "The number is too small to be meant.")
    if isinstance(scale, str):
        return float(f"{number}e{int(exponent) + int(scale[1:])}")
    return _scaled(repr(value), scale)


def _number_readings(digits: str) -> tuple[str, ...]:
    """Plain decimal texts that `digits` can stand for: none, one, or two when the comma can be either mark."""
    if " " in digits:
        if re.fullmatch(r"[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?", digits) is None:
            return ()
        return (digits.replace(" ", "").replace(",", "."),)
    if "," not in digits:
        if re.fullmatch(_NUMBER, digits):
            return (digits,)
        if re.fullmatch(r"[1-9][0-9]{0,2}(?:\.[0-9]{3}){2,}", digits):
            return (digits.replace(".", ""),)
        return ()
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
        return (digits.replace(",", "."), digits.replace(",", ""))
    if re.fullmatch(r"[0-9]*,[0-9]+|[0-9]+,", digits):
        return (digits.replace(",", "."),)
    if re.fullmatch(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+\.[0-9]*|[1-9][0-9]{0,2}(?:,[0-9]{3}){2,}", digits):
        return (digits.replace(",", ""),)
    if re.fullmatch(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+,[0-9]*", digits):
        return (digits.replace(".", "").replace(",", "."),)
    return ()


def _refuse_unit(text: str, number: str, rest: str, unit: str, asked: Dimension, cleaned: str) -> NoReturn:
    if not unit:
        _refuse(text, asked, f"The unit is missing: {_bare_advice(number, asked)}.")
    if asked.name == "resistance" and unit == "m":
        readings = (f"{number} milliohm", f"{number} megohm")
        _refuse(text, asked, f'Write "{number} mohm" or "{number} Mohm".', readings)
    lookalike = _lookalike(cleaned, asked)
    if lookalike:
        _refuse(text, asked, lookalike)
    if "±" in rest or "+/-" in rest or "+-" in rest:
        _refuse(text, asked, "Give the value and the tolerance apart.")
    owners = owners_of(unit)
    if owners:
        named = " or ".join(one.short for one in owners)
        _refuse(text, asked, f"This is {named}; {asked.short} is needed.")
    known = ", ".join(dict.fromkeys(name for name in asked.bare)) or "none"
    _refuse(text, asked, f'"{rest.strip()}" is not a unit of {asked.short[2:].strip()}; usual here: {known}.')


def _bare_advice(number: str, asked: Dimension) -> str:
    """'write "8200 ohm" or "8k2"' for a bare number."""
    proposals = [f'"{number} {unit}"' for unit in asked.bare]
    if asked.name == "resistance":
        from pinproof.quantities.write import format_ohm_short

        try:
            value = float(number.replace(",", "."))
        except ValueError:
            value = -1.0
        if 0.0 < value < 1e12:
            proposals.append(f'"{format_ohm_short(value)}"')
    return "write " + " or ".join(proposals) if proposals else 'write it between quotation marks, as in "3"'


def _lookalike(cleaned: str, asked: Dimension) -> str:
    """A hint when letters O, l or I stand where 0 or 1 would make sense, else an empty text."""
    tried = cleaned.translate(_LOOKALIKES)
    if tried == cleaned or not any(sign.isdigit() for sign in cleaned):
        return ""
    head = re.match(r"[0-9OolI.,kKMRr]+", cleaned)
    if head is None:
        return ""
    tried = head[0].translate(_LOOKALIKES) + cleaned[head.end() :]
    if tried == cleaned:
        return ""
    which = "letter O for a zero" if "O" in head[0] or "o" in head[0] else "letter l or I for a one"
    try:
        value = parse(tried, asked.name)
    except QuantityFault:
        if re.fullmatch(_NUMBER, tried) and asked.bare:
            units = ("kohm", *asked.bare) if asked.name == "resistance" else asked.bare
            proposals = " or ".join(f'"{tried} {unit}"' for unit in units)
            return f"A {which}? Then the unit is missing: write {proposals}, as it is meant."
        return ""
    if asked.name == "resistance":
        from pinproof.quantities.write import format_ohm_short

        return f'A {which}? Write "{value:.12g} ohm" or "{format_ohm_short(value, digits=12)}".'
    return f'A {which}? Write "{tried}".'


_SPLIT = re.compile(r"\s+to\s+|\s*\.\.+\s*|\s*…\s*|\s*[–—-]\s*", re.IGNORECASE)
_EXPONENT_BEGUN = re.compile(r"[0-9.][eE]\Z")  # the minus of 1e-5, not a dash behind a unit such as rev/mile
_HEAD = re.compile(r"(?:±|[+-])?\s*[0-9.,][0-9., ]*(?:[eE][+-]?[0-9]+)?\s*")


def parse_span(text: str, dimension: str, *, allow_open: bool = False) -> tuple[float, float]:
    """Read a range, "9 V to 16 V", "9..16 V", "9-16 V" or "-20 to 85 °C".

    A unit on the second number also holds for the first if that has none. Returns (low, high) in the dimension's unit.

    Raises
    ------
    QuantityFault
        Not two quantities, the first larger than the second, or readable in two ways.
    """
    asked = dimension_named(dimension)
    phrase = f"a range of two values, each {asked.phrase}"
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        raise QuantityFault(str(text)[:LONGEST_TEXT], phrase, f"Write it as text, at most {LONGEST_TEXT} characters.")
    cleaned = text.translate(_SAME).strip()
    found: dict[tuple[float, float], str] = {}
    last_fault: QuantityFault | None = None
    for cut in _SPLIT.finditer(cleaned):
        left, right = cleaned[: cut.start()], cleaned[cut.end() :]
        if not left or not right or (_EXPONENT_BEGUN.search(left) and right[:1].isdigit()):
            continue
        try:
            found[_two_ends(left, right, asked.name, allow_open)] = f"{left} to {right}"
        except QuantityFault as fault:
            last_fault = fault
    if not found:
        hint = "Write two values with 'to' between them." if last_fault is None else str(last_fault)
        raise QuantityFault(text, phrase, hint)
    if len(found) > 1:
        raise QuantityFault(text, phrase, "Write 'to' between the two values.", tuple(found.values()))
    low, high = next(iter(found))
    if low > high:
        raise QuantityFault(text, phrase, "The first value is the larger one; write the lower value first.")
    return low, high


def _two_ends(left: str, right: str, dimension: str, allow_open: bool) -> tuple[float, float]:
    high = parse(right, dimension, allow_open=allow_open)
    head_left, head_right = _HEAD.match(left), _HEAD.match(right)
    if head_left is not None and head_left.end() == len(left) and head_right is not None:
        left = f"{left} {right[head_right.end() :]}".strip()
    return parse(left, dimension, allow_open=allow_open), high


def is_plus_minus(text: str) -> bool:
    """True if the text starts with ±, +/- or +-: the sign of the quantity is then not known, only its size."""
    return isinstance(text, str) and _PLUS_MINUS.match(text.translate(_SAME).strip()) is not None
