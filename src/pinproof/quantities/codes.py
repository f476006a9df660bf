"""Letter codes and chip codes: what is printed on a resistor, and every value it can mean.

Answers: what is "4K42F", and is a chip marked "100" a hundred ohms? (It is ten.)
Units:   Ω; tolerance as a fraction.
Touches: the marking tables of `pinproof.tables`.
Sources: IEC 60062 (secondary) for letters; digits on chips are common practice without a source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from pinproof.errors import QuantityFault
from pinproof.quantities.bands import significant
from pinproof.tables.load import Sourced, load

_LETTERED = re.compile(r"([0-9]{0,4})([RKMGLk])([0-9]{0,4})([A-Z]?)\Z")
_DIGITS = re.compile(r"([0-9]{3,4})([A-Z]?)\Z")


@dataclass(frozen=True, kw_only=True)
class CodeReading(Sourced):
    """One meaning of a printed code. `mistaken` marks a reading that people take and that is wrong."""

    ohm: float
    tolerance: float | None
    mistaken: bool = False


def letter_code(ohm: float, tolerance: float | None = None) -> str:
    """Value as IEC 60062 letter code: 4420, 0.01 gives "4K42F"; at least two digits ("1K0", "10K", "47R").

    QuantityFault if the value has more than four significant digits or the tolerance has no letter.
    """
    number, _ = significant(ohm, 4)
    exact = Decimal(f"{ohm:.9g}")
    power, letter = next(((p, one) for p, one in ((9, "G"), (6, "M"), (3, "K")) if exact.adjusted() >= p), (0, "R"))
    if len(number) != 4 or exact.adjusted() < -3 or exact.adjusted() >= power + 3:
        raise QuantityFault(f"{ohm:.9g} ohm", "a value a letter code can show", "Codes reach from 1 mΩ to 999 GΩ.")
    whole, _, part = format(exact.scaleb(-power), "f").partition(".")
    part = part.rstrip("0")
    if whole == "0":
        code = letter + part
    else:
        code = whole + letter + (part or ("0" if len(whole) == 1 else ""))
    return code + (_tolerance_letter(tolerance) if tolerance is not None else "")


def _tolerance_letter(tolerance: float) -> str:
    table = load("iec_60062_letters")
    for letter, percent, _ in table.rows:
        if abs(percent - tolerance * 100.0) <= 1e-9 * percent:
            return str(letter)
    known = ", ".join(f"{percent:g}" for percent in sorted(table.column_values("tolerance_percent")))
    raise QuantityFault(f"{tolerance * 100:.6g} %", "a tolerance that has a letter", f"There are {known} %.")


def read_letter_code(text: str) -> tuple[CodeReading, ...]:
    """Every meaning of a letter code such as "4K7", "4K7K", "R47" or "100RJ", right ones first.

    Also digits with a tolerance letter as found on networks ("103J"); "471K" has two meanings. QuantityFault if none.
    """
    phrase = 'a resistor letter code, such as "4K7" or "4K42F"'
    if not isinstance(text, str) or len(text) > 12:
        raise QuantityFault(str(text)[:32], phrase, "A code has at most 12 characters.")
    code = text.strip()
    readings = []
    lettered = _LETTERED.match(code)
    if lettered is not None and (lettered[1] or lettered[3]):
        readings.extend(_lettered(*lettered.groups()))
    digits = _DIGITS.match(code)
    if digits is not None and digits[2]:
        tolerance, _ = _tolerance_of(digits[2])
        if tolerance is not None:
            readings.append(_from_digits(digits[1], tolerance))
    if not readings:
        hint = "A letter R, K or M stands for the decimal point; one more letter may follow for the tolerance."
        if digits is not None and not digits[2]:
            hint = "Digits alone are a chip code."
        raise QuantityFault(text, phrase, hint)
    return tuple(readings)


def _lettered(whole: str, letter: str, part: str, last: str) -> list[CodeReading]:
    table = load("iec_60062_value_letters")
    exponent, letter_seen = next((row[1], row[2]) for row in table.rows if row[0] == letter.upper())
    tolerance, tolerance_seen = _tolerance_of(last) if last else (None, table.seen)
    if last and tolerance is None:
        return []
    return [
        CodeReading(
            ohm=float(f"{whole or '0'}.{part or '0'}e{exponent}"),
            tolerance=tolerance,
            source=table.source,
            seen="memory" if "memory" in (letter_seen, tolerance_seen) else table.seen,
            note=table.note if last in ("K", "M") or (letter in "KM" and not part and not last) else "",
        )
    ]


def _tolerance_of(letter: str) -> tuple[float | None, str]:
    table = load("iec_60062_letters")
    for one, percent, seen in table.rows:
        if one == letter:
            return percent / 100.0, str(seen)
    return None, table.seen


def _from_digits(digits: str, tolerance: float | None) -> CodeReading:
    table = load("chip_codes")
    ohm = float(f"{int(digits[:-1])}e{digits[-1]}")
    count = {"0": "no zeros", "1": "one zero"}.get(digits[-1], f"{digits[-1]} zeros")
    return CodeReading(
        ohm=ohm, tolerance=tolerance, source=table.source, seen=table.seen, note=f"{digits[:-1]} and {count}"
    )


def chip_code(ohm: float, digits: int = 3) -> str:
    """Marking of a chip resistor with three or four characters: 470 gives "471", 4420 in four gives "4421", 4.7 "4R7".

    QuantityFault if the value has too many significant digits or is out of reach; ValueError for other `digits`.
    """
    if digits not in (3, 4):
        raise ValueError(f"digits must be 3 or 4, not {digits}")
    if ohm == 0.0:
        return "0" * digits
    number, exponent = significant(ohm, digits - 1)
    if 0 <= exponent <= 9:
        return f"{number}{exponent}"
    exact = Decimal(number).scaleb(exponent)
    whole, _, part = format(exact, "f").partition(".")
    code = f"{whole}R{part}" if whole != "0" else f"R{part}"
    if exponent > 9 or len(code.rstrip("0")) > digits:
        raise QuantityFault(
            f"{ohm:.9g} ohm", f"a value a {digits}-character chip code can show", "Use four characters."
        )
    return code.rstrip("0").ljust(digits, "0")[:digits]


def read_chip_code(text: str) -> tuple[CodeReading, ...]:
    """Meanings of the marking on a chip resistor: the right one first, then the usual mistake if there is one.

    >>> from pinproof.quantities.markings import read_chip_code
    >>> [(one.ohm, one.mistaken) for one in read_chip_code("100")]
    [(10.0, False), (100.0, True)]
    """
    phrase = 'a chip code of three or four characters, such as "471" or "4R7"'
    if not isinstance(text, str) or len(text) > 12:
        raise QuantityFault(str(text)[:32], phrase, "It is longer than any chip code.")
    code = text.strip().upper()
    table = load("chip_codes")
    if re.fullmatch(r"0{1,4}", code):
        note = "a 0 Ω link"
        return (CodeReading(ohm=0.0, tolerance=None, source=table.source, seen=table.seen, note=note),)
    if re.fullmatch(r"[0-9]{1,2}R[0-9]{0,2}|R[0-9]{2,3}", code) and 3 <= len(code) <= 4:
        ohm = float(code.replace("R", "."))
        return (CodeReading(ohm=ohm, tolerance=None, source=table.source, seen=table.seen, note="R is the point"),)
    if re.fullmatch(r"[1-9][0-9]{2,3}", code) is None:
        raise QuantityFault(text, phrase, "Three or four digits, the last one the number of zeros; or R for the point.")
    right = _from_digits(code, None)
    if code[-1] != "0":
        return (right,)
    wrong = CodeReading(
        ohm=float(code),
        tolerance=None,
        mistaken=True,
        source=table.source,
        seen=table.seen,
        note=f"The usual mistake: {code} is {right.ohm:g} Ω, not {code} Ω.",
    )
    return (right, wrong)
