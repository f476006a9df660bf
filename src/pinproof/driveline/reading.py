"""Numbers of a driveline file: read, bounded, with their basis; every fault kept, none raised.

Answers: which number with which range does this entry give?
Units:   SI, rpm; ratios as plain numbers.
Touches: nothing.
Sources: mile, foot, inch exact (international definitions); standard gravity 9.80665 m/s² (exact by convention).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import cast

from pinproof.design.messages import listed, nearest
from pinproof.design.model import BASES, Value
from pinproof.errors import PinproofError, QuantityFault
from pinproof.quantities import parse, parse_span

MOST_FAULTS = 100
MILE_M = 1609.344
_VALUE_KEYS = {"value", "low", "high", "tolerance", "basis", "note"}


@dataclass(frozen=True)
class Kind:
    """What an entry holds: its dimension, how it is written, and between which numbers it can lie."""

    dimension: str
    example: str
    least: float
    most: float
    units: tuple[tuple[str, float], ...] = ()  # own units, where `quantities` knows none


_TURNS = tuple((f"{word}/{per}", 1.0 / size) for word in ("revolutions", "revs", "rev", "turns")
               for per, size in (("mile", MILE_M), ("mi", MILE_M), ("km", 1000.0), ("m", 1.0)))  # fmt: skip
_PUSH = (("m/s2", 1.0), ("m/s²", 1.0), ("m/s^2", 1.0), ("ft/s2", 0.3048), ("ft/s²", 0.3048), ("g", 9.80665))
KINDS = {
    "ratio": Kind("ratio", "4.00", 0.01, 100.0),
    "growth": Kind("ratio", "0 % to 2 %", 0.0, 0.5),
    "wear": Kind("ratio", "0 % to 3 %", 0.0, 0.5),
    "slip": Kind("ratio", "0 % to 8 %", -0.5, 0.9),
    "margin": Kind("ratio", "5 %", 0.0, 0.9),
    "factor": Kind("ratio", "3.05", 2.5, 3.3),
    "rpm": Kind("rotation_rpm", "6500 rpm", 1.0, 50_000.0),
    "speed": Kind("speed", "80 km/h", 0.01, 500.0),
    "length": Kind("length", "30.1 m", 0.01, 10_000.0),
    "time": Kind("time", "0.5 s", 0.0, 60.0),
    "teeth": Kind("count", "40", 1.0, 10_000.0),
    "turns": Kind("count", "10", 1.0, 10_000.0),
    "revolutions": Kind("ratio", "533 rev/mile", 0.05, 5.0, _TURNS),
    "acceleration": Kind("ratio", "2 m/s2", -50.0, 50.0, _PUSH),
}
_NUMBERS = ("ratio", "factor")  # plain numbers: a percent sign would be a slip


class Rows:
    """Reads entries of one file; `faults` collects what is wrong."""

    def __init__(self) -> None:
        self.faults: list[str] = []

    def fault(self, path: str, said: str) -> None:
        """Note a fault at an entry."""
        if len(self.faults) < MOST_FAULTS:
            self.faults.append(f"{path}: {said}")

    def keys(self, table: dict[str, object], known: set[str], path: str) -> None:
        """Every unknown key, with the nearest known one."""
        for key in table:
            if key not in known:
                near = nearest(key, tuple(sorted(known)))
                hint = f'Did you mean "{near}"?' if near else f"There are {', '.join(sorted(known))}."
                self.fault(f"{path}.{key}" if path else key, f"there is no such key. {hint}")

    def table(self, raw: object, path: str) -> dict[str, object]:
        """A table, or a fault and an empty one."""
        if isinstance(raw, dict):
            return cast("dict[str, object]", raw)
        self.fault(path, f"write it as a table, [{path}]." if raw is not None else f"the table [{path}] is missing.")
        return {}

    def tables(self, raw: object, path: str, most: int) -> list[dict[str, object]]:
        """A list of tables."""
        if raw is None:
            return []
        if not isinstance(raw, list) or not all(isinstance(each, dict) for each in raw):
            self.fault(path, f"write each as [[{path}]].")
            return []
        if len(raw) > most:
            self.fault(path, f"there are {len(raw)}; {most} is the most that is read.")
            return []
        return raw

    def text(self, table: dict[str, object], key: str, path: str, usual: str | None = None, most: int = 80) -> str:
        """A text that is not empty."""
        raw = table.get(key, usual)
        if raw is None or raw == "":
            if raw is None or usual is None:
                self.fault(f"{path}.{key}" if path else key, "it is missing.")
            return ""
        if not isinstance(raw, str) or len(raw) > most:
            self.fault(f"{path}.{key}" if path else key, f"write a text of at most {most} characters.")
            return ""
        return raw

    def word(self, table: dict[str, object], key: str, path: str, words: tuple[str, ...], usual: str = "") -> str:
        """One of a few words."""
        raw = table.get(key, usual or None)
        if isinstance(raw, str) and raw in words:
            return raw
        near = nearest(raw, words) if isinstance(raw, str) else ""
        cure = f'Did you mean "{near}"? ' if near else ""
        what = "it is missing." if raw in (None, "") else f"{raw!r:.40} is not known here."
        self.fault(f"{path}.{key}" if path else key, f"{what} {cure}Write {listed(words)}.")
        return words[0]

    def optional(
        self, table: dict[str, object], key: str, kind: str, path: str, none: str = "", usual: str | None = None
    ) -> Value | None:
        """A number that may be left out; with `none` that word must be written to leave it out."""
        raw = table.get(key, usual)
        if none and raw == none:
            return None
        if raw is None and not none:
            return None
        return self.value(table, key, kind, path, usual, none)

    def value(
        self, table: dict[str, object], key: str, kind: str, path: str, usual: str | None = None, none: str = ""
    ) -> Value:
        """A number with its range; where it is none, a fault, and a number that can be reckoned with."""
        where = f"{path}.{key}" if path else key
        raw, asked = table.get(key, usual), KINDS[kind]
        allowed = f' or "{none}"' if none else ""
        try:
            if raw is None or raw == "":
                raise ValueError(f'it is missing. Write it as in "{asked.example}"{allowed}.')
            return _value(raw, asked, kind, where)
        except QuantityFault as fault:
            said = str(fault)
            if asked.units and not fault.readings:
                said = f'"{fault.read}" is not as in "{asked.example}"; the unit is one of {_unit_names(asked)}.'
            self.fault(where, said + (f' Or write "{none}".' if none else ""))
        except (PinproofError, ValueError) as fault:
            self.fault(where, str(fault))
        stand_in = min(max(1.0, asked.least), asked.most)
        return Value(stand_in, stand_in, stand_in, asked.dimension, where, "")


def _unit_names(kind: Kind) -> str:
    seen = [name for name, _ in kind.units if name.startswith("rev/") or "/" not in name or name[0] in "mf"]
    return ", ".join(each for each in seen if "revolutions" not in each)


def _value(raw: object, kind: Kind, name: str, where: str) -> Value:
    note = ""
    basis: object = "assumed"
    if isinstance(raw, str):
        low, high = _ends(raw, kind, name)
        value, text = (low + high) / 2.0, raw
    elif isinstance(raw, dict):
        for key in raw:
            if key not in _VALUE_KEYS:
                raise ValueError(f'there is no key "{key!s:.30}" here; there are {", ".join(sorted(_VALUE_KEYS))}.')
        basis, note = raw.get("basis", "assumed"), str(raw.get("note", ""))[:400]
        low, value, high, text = _of_table(raw, kind, name)
    else:
        raise ValueError(f'write it between quotation marks, as in "{kind.example}".')
    if basis not in BASES:
        raise ValueError(f"basis {basis!r:.30} is none of {', '.join(BASES)}.")
    if not low <= value <= high:
        raise ValueError(f"low, value and high are not in this order in {text:.60}.")
    if low < kind.least or high > kind.most:
        span = f"{kind.least:g} to {kind.most:g}" + ("" if kind.dimension == "ratio" else " in SI units or rpm")
        raise ValueError(f'"{text:.60}" cannot be: it lies outside {span}. Write it as in "{kind.example}".')
    return Value(value, low, high, kind.dimension, where, text, basis, note)


def _of_table(raw: dict[str, object], kind: Kind, name: str) -> tuple[float, float, float, str]:
    given = {key: raw[key] for key in ("value", "low", "high", "tolerance") if key in raw}
    for key, each in given.items():
        if not isinstance(each, str):
            raise ValueError(f'{key}: write it between quotation marks, as in "{kind.example}".')
    texts = {key: str(each) for key, each in given.items()}
    if "tolerance" in texts:
        if set(texts) != {"value", "tolerance"}:
            raise ValueError("a tolerance stands beside a value, without low and high.")
        low, high = _ends(texts["value"], kind, name)
        share = parse(texts["tolerance"], "tolerance")
        if low != high or share >= 1.0:
            raise ValueError("a tolerance stands beside a single value, and is below 100 %.")
        return low - abs(low) * share, low, high + abs(high) * share, f"{texts['value']} ± {texts['tolerance']}"
    if "low" in texts and "high" in texts:
        low, high = _one(texts["low"], kind, name), _one(texts["high"], kind, name)
        value = _one(texts["value"], kind, name) if "value" in texts else (low + high) / 2.0
        return low, value, high, f"{texts['low']} to {texts['high']}"
    if set(texts) == {"value"}:
        low, high = _ends(texts["value"], kind, name)
        return low, (low + high) / 2.0, high, texts["value"]
    raise ValueError('write value, or low and high, as in { low = "…", high = "…" }.')


def _one(text: str, kind: Kind, name: str) -> float:
    low, high = _ends(text, kind, name)
    if low != high:
        raise ValueError(f'"{text[:40]}" is a range where one number is wanted.')
    return low


def _ends(text: str, kind: Kind, name: str) -> tuple[float, float]:
    """Both ends of a text; equal for a single number."""
    bare, scale = text.strip(), 1.0
    if name in _NUMBERS:
        if "%" in bare:
            raise ValueError(f'"{text[:40]}" is a percentage; write the number itself, as in "{kind.example}".')
        bare = re.sub(r"\s*:\s*1\s*\Z", "", bare)
    if kind.units:
        found = next(
            ((unit, size) for unit, size in sorted(kind.units, key=lambda each: -len(each[0])) if bare.endswith(unit)),
            None,
        )
        if found is None:
            raise QuantityFault(text[:40], f'as in "{kind.example}"')
        bare, scale = bare.removesuffix(found[0]).strip(), found[1]
    try:
        both = parse(bare, kind.dimension)
        return both * scale, both * scale
    except QuantityFault as fault:
        if fault.readings:
            raise
        try:
            low, high = parse_span(bare, kind.dimension)
        except QuantityFault:
            raise fault from None
        return low * scale, high * scale
