"""The dimensions a design file may ask for, and every spelling of a unit that is accepted for each.

Answers: which units belong to a dimension, how each scales to SI, and whose unit a stray unit is.
Units:   SI, except temperature (degrees Celsius), rotation_rpm (revolutions per minute) and angle (degrees).
Touches: nothing.
Sources: SI prefixes and units (BIPM, The International System of Units); inch, foot, mile, pound and pound-force are
         exact by definition (NIST SP 811 appendix B). From memory; the tests compare them with another library.
"""

from __future__ import annotations

from dataclasses import dataclass, field

# A scale is either a power of ten kept as text ("e3"), so that "8.2k" becomes float("8.2e3") with a single rounding,
# or (offset, factor, divisor) for value = (number + offset) * factor / divisor: whole numbers, so 31.5 in is 0.8001 m.
Scale = str | tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Dimension:
    """One dimension: what to call it, the unit results come in, the accepted spellings, the lowest possible value."""

    name: str
    phrase: str  # as used in a sentence: 'a resistance, such as "8.2k" or "1500 ohm"'
    short: str  # 'a resistance'
    unit: str  # unit of the returned float
    units: dict[str, Scale]
    lowest: float = float("-inf")
    letters: dict[str, int] = field(default_factory=dict)  # letters that may stand for the decimal point
    whole: bool = False
    plus_minus: bool = False  # a leading plus-minus sign is allowed and means nothing more
    bare: tuple[str, ...] = ()  # units proposed when a bare number is refused


_PREFIXES = {"G": 9, "M": 6, "k": 3, "": 0, "m": -3, "µ": -6, "μ": -6, "u": -6, "n": -9, "p": -12}


def _prefixed(spellings: tuple[str, ...], prefixes: str, *, kilo_upper: bool = False) -> dict[str, Scale]:
    """Every prefix in `prefixes` (plus none) before every spelling."""
    table: dict[str, Scale] = {}
    for spelling in spellings:
        table[spelling] = "e0"
        for prefix in prefixes:
            table[prefix + spelling] = f"e{_PREFIXES[prefix]}"
        if kilo_upper:
            table["K" + spelling] = "e3"
    return table


def _times(factor: float, divisor: float = 1.0) -> Scale:
    return (0.0, factor, divisor)


_OHM = ("ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS", "Ω", "\u2126")
_RESISTANCE = _prefixed(_OHM, "GMkmµμun", kilo_upper=True)
_RESISTANCE |= {"R": "e0", "r": "e0", "k": "e3", "K": "e3", "M": "e6", "G": "e9", "kR": "e3", "mR": "e-3", "MR": "e6"}
_RESISTANCE |= {"kilohm": "e3", "kiloohm": "e3", "megohm": "e6", "megaohm": "e6", "milliohm": "e-3"}
_AREA: dict[str, Scale] = {}
for _two in ("2", "²", "^2"):
    _AREA |= {f"mm{_two}": "e-6", f"cm{_two}": "e-4", f"m{_two}": "e0", f"in{_two}": _times(64516.0, 1e8)}
_AREA |= {"sqmm": "e-6", "mmsq": "e-6", "sqin": _times(64516.0, 1e8)}
_FORCE_POUND_N = 4.4482216152605
_CELSIUS = ("°C", "C", "degC", "celsius", "Celsius", "℃")
_FAHRENHEIT = ("°F", "F", "degF", "fahrenheit", "Fahrenheit", "℉")
_PERCENT = ("%", "percent", "per cent", "pct")


def _build() -> dict[str, Dimension]:
    """All dimensions by name."""
    volt = _prefixed(("V", "v", "volt", "volts", "Volt", "Volts"), "kmµμu")
    ampere = _prefixed(("A", "amp", "amps", "ampere", "amperes", "Amp", "Amps"), "kmµμun") | {"a": "e0", "ma": "e-3"}
    second = _prefixed(("s", "sec", "second", "seconds"), "mµμun")
    second |= {"min": _times(60.0), "minute": _times(60.0), "minutes": _times(60.0)}
    second |= {"h": _times(3600.0), "hr": _times(3600.0), "hour": _times(3600.0), "hours": _times(3600.0)}
    farad: dict[str, Scale] = _prefixed(("F", "farad"), "mµμunp")
    farad |= {"µ": "e-6", "μ": "e-6", "u": "e-6", "n": "e-9", "p": "e-12", "uf": "e-6", "nf": "e-9", "pf": "e-12"}
    metre = _prefixed(("m", "metre", "metres", "meter", "meters"), "kmµμu") | {"cm": "e-2", "dm": "e-1"}
    inch = _times(254.0, 1e4)
    foot = _times(3048.0, 1e4)
    metre |= {"in": inch, '"': inch, "″": inch, "”": inch, "inch": inch, "inches": inch}
    metre |= {"ft": foot, "'": foot, "′": foot, "’": foot, "feet": foot, "foot": foot}
    mile = _times(1609344.0, 1e3)
    metre |= {"yd": _times(9144.0, 1e4), "mi": mile, "mile": mile, "miles": mile}
    percent: dict[str, Scale] = {"ppm": "e-6"}
    percent |= dict.fromkeys(_PERCENT, "e-2")
    ratio: dict[str, Scale] = percent | {"": "e0"}
    ratio |= dict.fromkeys(("%FS", "%fs", "%F.S.", "%ofFS"), "e-2")
    per_kelvin = ("/K", "/°C", "/C", "/degC", "")
    tempco: dict[str, Scale] = {"1/K": "e0", "/K": "e0"}
    tempco |= {f"ppm{per}": "e-6" for per in per_kelvin} | {f"%{per}": "e-2" for per in per_kelvin[:4]}
    celsius: dict[str, Scale] = {}
    celsius |= dict.fromkeys(_CELSIUS, "e0")
    temperature = celsius | dict.fromkeys(_FAHRENHEIT, (-32.0, 5.0, 9.0)) | {"K": (-273.15, 1.0, 1.0)}
    step = celsius | {"K": "e0", "mK": "e-3"} | dict.fromkeys(_FAHRENHEIT, _times(5.0, 9.0))
    km_h = _times(1.0, 3.6)
    speed: dict[str, Scale] = {"m/s": "e0", "km/h": km_h, "kph": km_h, "kmh": km_h, "km/hr": km_h}
    speed |= {"mph": _times(44704.0, 1e5), "mi/h": _times(44704.0, 1e5), "MPH": _times(44704.0, 1e5), "ft/s": foot}
    rpm: dict[str, Scale] = {"rpm": "e0", "RPM": "e0", "r/min": "e0", "rev/min": "e0", "1/min": "e0"}
    rpm |= {"rev/s": _times(60.0), "r/s": _times(60.0)}
    rate: dict[str, Scale] = {f"{unit}/s": scale for unit, scale in rpm.items() if unit in ("rpm", "RPM")}
    ratio_to_one: dict[str, Scale] = {"": "e0", ":1": "e0"}
    per_length: dict[str, Scale] = {}
    for word in ("revolutions", "revs", "rev", "turns"):
        per_length |= {f"{word}/{per}": _times(1.0, 1609.344) for per in ("mile", "mi")}
        per_length |= {f"{word}/km": "e-3", f"{word}/m": "e0"}
    push: dict[str, Scale] = {"g": _times(9.80665)}  # standard gravity, exact by convention
    for two in ("2", "²", "^2"):
        push |= {f"m/s{two}": "e0", f"ft/s{two}": foot}
    pound = _times(45359237.0, 1e8)
    mass: dict[str, Scale] = {"kg": "e0", "g": "e-3", "mg": "e-6", "t": "e3", "lb": pound, "lbs": pound}
    mass |= {"oz": _times(0.028349523125)}
    count: dict[str, Scale] = {"": "e0", "count": "e0", "counts": "e0", "pcs": "e0"}
    angle: dict[str, Scale] = {"deg": "e0", "°": "e0", "degree": "e0", "degrees": "e0"}
    angle |= {"rad": _times(180.0, 3.141592653589793)}
    hertz = _prefixed(("Hz", "hz"), "GMkm") | {"1/s": "e0"}
    watt = _prefixed(("W", "w", "watt", "watts"), "kmµμu")
    force: dict[str, Scale] = {"N": "e0", "kN": "e3", "lbf": _times(_FORCE_POUND_N)}
    ohm_letters = {"R": 0, "r": 0, "k": 3, "K": 3, "M": 6, "G": 9}
    farad_letters = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3}

    def d(name: str, short: str, example: str, unit: str, units: dict[str, Scale], **more: object) -> Dimension:
        return Dimension(name, f"{short}, such as {example}", short, unit, units, **more)  # type: ignore[arg-type]

    listed = (
        d("resistance", "a resistance", '"8.2k", "4k7" or "1500 ohm"', "Ω", _RESISTANCE, lowest=0.0,
          letters=ohm_letters, bare=("ohm",)),
        d("conductance", "a conductance", '"1.2 mS"', "S",
          _prefixed(("S", "siemens"), "kmµμun"), lowest=0.0, bare=("S", "mS")),
        d("voltage", "a voltage", '"12.6 V" or "500 mV"', "V", volt, letters={"V": 0, "v": 0}, bare=("V", "mV")),
        d("current", "a current", '"20 mA" or "7.5 A"', "A", ampere, letters={"A": 0}, bare=("A", "mA")),
        d("temperature", "a temperature", '"-20 °C" or "68 °F"', "°C", temperature, lowest=-273.15, bare=("°C", "°F")),
        d("temperature_step", "a temperature difference", '"60 K"', "K", step, bare=("K",)),
        d("length", "a length", '"2 m", "0.5 mm" or "31.5 in"', "m", metre, lowest=0.0, bare=("m", "mm", "in")),
        d("area", "an area", '"0.5 mm2"', "m²", _AREA, lowest=0.0, bare=("mm2",)),
        d("time", "a time", '"5 ms" or "20 s"', "s", second, bare=("s", "ms")),
        d("capacitance", "a capacitance", '"10 nF"', "F", farad, lowest=0.0, letters=farad_letters, bare=("nF", "µF")),
        d("power", "a power", '"0.25 W" or "500 mW"', "W", watt, bare=("W", "mW")),
        d("ratio", "a ratio", '"0.05", "5 %" or "35 %FS"', "1", ratio),
        d("tolerance", "a tolerance", '"5 %" or "±1 %"', "1", percent, lowest=0.0, plus_minus=True, bare=("%",)),
        d("tempco", "a temperature coefficient", '"100 ppm/K"', "1/K", tempco, plus_minus=True, bare=("ppm/K",)),
        d("speed", "a speed", '"100 km/h" or "62 mph"', "m/s", speed, bare=("km/h", "mph")),
        d("rotation_rpm", "a rotation speed", '"6500 rpm"', "rpm", rpm, bare=("rpm",)),
        d("rotation_rate", "a climb of rotation speed", '"2500 rpm/s"', "rpm/s", rate, bare=("rpm/s",)),
        d("gear_ratio", "a ratio of turns", '"4.00" or "4.00:1"', "1", ratio_to_one, lowest=0.0),
        d("turns_per_length", "turns for a distance", '"533 rev/mile" or "331 rev/km"', "1/m", per_length, lowest=0.0,
          bare=("rev/mile", "rev/km")),
        d("acceleration", "an acceleration", '"2 m/s2"', "m/s²", push, bare=("m/s2",)),
        d("mass", "a mass", '"1.2 kg"', "kg", mass, lowest=0.0, bare=("kg", "g")),
        d("force", "a force", '"60 N" or "13 lbf"', "N", force, bare=("N", "lbf")),
        d("angle", "an angle", '"30 deg"', "deg", angle, bare=("deg",)),
        d("count", "a whole number", '"3"', "1", count, lowest=0.0, whole=True),
        d("gauge", "a wire size", '"20 AWG" or "0.5 mm2"', "m²", _AREA, lowest=0.0, bare=("AWG", "mm2")),
        d("frequency", "a frequency", '"50 Hz"', "Hz", hertz, lowest=0.0, bare=("Hz",)),
    )  # fmt: skip
    return {one.name: one for one in listed}


DIMENSIONS: dict[str, Dimension] = _build()


def dimension_named(name: str) -> Dimension:
    """The dimension called `name`; ValueError with the known names if there is none (a slip in the calling code)."""
    try:
        return DIMENSIONS[name]
    except KeyError:
        raise ValueError(f"no dimension {name!r}; known: {', '.join(DIMENSIONS)}") from None


def owners_of(unit: str) -> tuple[Dimension, ...]:
    """Dimensions in which `unit` is a valid unit; used to say 'this is a voltage; a resistance is needed'."""
    if unit.lower() in ("awg", "swg"):
        return (DIMENSIONS["gauge"],)
    if not unit:
        return ()
    return tuple(one for one in DIMENSIONS.values() if unit in one.units and one.name != "gauge")
