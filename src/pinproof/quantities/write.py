"""SI floats written as people read them.

Answers: how does this number look on a bench sheet, with its unit and a sensible prefix?
Units:   takes what `parse` returns. "us" gives inches, feet, miles, mph, °F and pounds.
Touches: nothing. A text written with 12 digits reads back to the same number within rounding.
"""

from __future__ import annotations

from decimal import Decimal

from pinproof.quantities.units import dimension_named

_STEPS = {
    "resistance": (("mΩ", -3), ("Ω", 0), ("kΩ", 3), ("MΩ", 6), ("GΩ", 9)),
    "conductance": (("nS", -9), ("µS", -6), ("mS", -3), ("S", 0)),
    "voltage": (("µV", -6), ("mV", -3), ("V", 0), ("kV", 3)),
    "current": (("nA", -9), ("µA", -6), ("mA", -3), ("A", 0), ("kA", 3)),
    "capacitance": (("pF", -12), ("nF", -9), ("µF", -6), ("mF", -3), ("F", 0)),
    "power": (("µW", -6), ("mW", -3), ("W", 0), ("kW", 3)),
    "frequency": (("mHz", -3), ("Hz", 0), ("kHz", 3), ("MHz", 6)),
}
_FIXED = {
    "temperature": " °C",
    "temperature_step": " K",
    "rotation_rpm": " rpm",
    "force": " N",
    "rotation_rate": " rpm/s",
    "gear_ratio": "",
    "turns_per_length": " rev/m",
    "acceleration": " m/s²",
    "angle": "°",
    "count": "",
}
_SYSTEMS = ("metric", "us")


def format_value(value: float, dimension: str, *, digits: int = 4, system: str = "metric") -> str:
    """Write a number with its unit.

    Parameters
    ----------
    value : float
        In the dimension's unit as `parse` returns it.
    dimension : str
        One of `pinproof.quantities.DIMENSIONS`.
    digits : int
        Significant digits, at least 1; trailing zeros are dropped.
    system : str
        "metric" or "us" (lengths, speeds, temperatures, masses, wire sizes, forces).

    Returns
    -------
    str
        For instance "2.88 kΩ", "35.4 %", "±5 %"; an infinite resistance is "open", nan is "not known".

    Examples
    --------
    >>> from pinproof.quantities import format_value
    >>> format_value(2880.0, "resistance"), format_value(0.354, "ratio"), format_value(1.0, "length", system="us")
    ('2.88 kΩ', '35.4 %', '39.37 in')
    """
    dimension_named(dimension)
    if system not in _SYSTEMS:
        raise ValueError(f"no unit system {system!r}; known: {', '.join(_SYSTEMS)}")
    if digits < 1:
        raise ValueError(f"digits must be at least 1, not {digits}")
    if value != value:
        return "not known"
    if value in (float("inf"), float("-inf")):
        if dimension == "resistance" and value > 0:
            return "open"
        return "no upper limit" if value > 0 else "no lower limit"
    if dimension == "count":
        return plain_number(value, max(digits, 15))
    if dimension in _STEPS:
        return _with_prefix(value, _STEPS[dimension], digits)
    if system == "us":
        text = _us_units(value, dimension, digits)
        if text:
            return text
    if dimension in _FIXED:
        return plain_number(value, digits) + _FIXED[dimension]
    if dimension == "ratio":
        return plain_number(value * 100.0, digits) + " %"
    if dimension == "tolerance":
        return "±" + plain_number(value * 100.0, digits) + " %"
    if dimension == "tempco":
        return plain_number(value * 1e6, digits) + " ppm/K"
    return _metric_sizes(value, dimension, digits)


def _metric_sizes(value: float, dimension: str, digits: int) -> str:
    size = abs(value)
    if dimension == "length":
        unit, scale = ("mm", 1e3) if size < 1.0 else ("m", 1.0) if size < 1e4 else ("km", 1e-3)
    elif dimension in ("area", "gauge"):
        unit, scale = ("mm²", 1e6) if size < 0.01 else ("m²", 1.0)
    elif dimension == "speed":
        unit, scale = ("km/h", 3.6)
    elif dimension == "mass":
        unit, scale = ("g", 1e3) if size < 1.0 else ("kg", 1.0)
    else:  # time
        if size >= 7200.0:
            return plain_number(value / 3600.0, digits) + " h"
        if size >= 120.0:
            return plain_number(value / 60.0, digits) + " min"
        return _with_prefix(value, (("ns", -9), ("µs", -6), ("ms", -3), ("s", 0)), digits)
    return f"{plain_number(value * scale, digits)} {unit}"


def _us_units(value: float, dimension: str, digits: int) -> str:
    """The text in customary units, or an empty text where the metric unit is used all the same."""
    if dimension == "length":
        size = abs(value)
        if size < 120 * 0.0254:
            return plain_number(value / 0.0254, digits) + " in"
        if size < 1609.344:
            return plain_number(value / 0.3048, digits) + " ft"
        return plain_number(value / 1609.344, digits) + " mi"
    if dimension == "speed":
        return plain_number(value / 0.44704, digits) + " mph"
    if dimension == "temperature":
        return plain_number(value * 9.0 / 5.0 + 32.0, digits) + " °F"
    if dimension == "temperature_step":
        return plain_number(value * 9.0 / 5.0, digits) + " °F"
    if dimension == "mass":
        return plain_number(value / 0.45359237, digits) + " lb"
    if dimension == "force":
        return plain_number(value / 4.4482216152605, digits) + " lbf"
    if dimension == "gauge":
        from pinproof.quantities.gauge import awg_of_area, awg_text

        number = awg_of_area(value)
        if number is not None:
            return f"{awg_text(number)} AWG"
    return ""


def _with_prefix(value: float, steps: tuple[tuple[str, int], ...], digits: int) -> str:
    """The largest prefix that keeps the rounded number at 1 or above, so that 999.96 Ω reads 1 kΩ and not 1000 Ω."""
    if value == 0.0:
        unit = next(unit for unit, power in steps if power == 0)
        return f"0 {unit}"
    rounded = Decimal(f"{value:.{digits - 1}e}")
    exponent = rounded.adjusted()
    unit, power = steps[0]
    for candidate, its_power in steps:
        if exponent >= its_power:
            unit, power = candidate, its_power
    return f"{plain_number(float(rounded.scaleb(-power)), digits)} {unit}"


def plain_number(value: float, digits: int) -> str:
    """`value` to so many significant digits, without exponent where the text stays short, without trailing zeros."""
    text = f"{value:.{digits}g}"
    if "e" in text and -6 <= Decimal(text).adjusted() <= 15:
        text = format(Decimal(text), "f")
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "0") else text


def format_ohm_short(ohm: float, *, digits: int = 4) -> str:
    """A resistance with the letter in place of the decimal point: 8200 is "8k2", 470 is "470R", 0.47 is "R47".

    Rounds to `digits` significant digits; zero is "0R", an infinite resistance "open". ValueError below zero or nan.
    """
    if ohm != ohm or ohm < 0.0:
        raise ValueError(f"a resistance is zero or above, not {ohm}")
    if ohm == float("inf"):
        return "open"
    if ohm == 0.0:
        return "0R"
    rounded = Decimal(f"{ohm:.{digits - 1}e}")
    letter, power = "R", 0
    for candidate, its_power in (("k", 3), ("M", 6), ("G", 9)):
        if rounded.adjusted() >= its_power:
            letter, power = candidate, its_power
    whole, _, part = format(rounded.scaleb(-power), "f").partition(".")
    return ("" if whole == "0" and part.rstrip("0") else whole) + letter + part.rstrip("0")
