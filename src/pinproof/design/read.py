"""Raw TOML tables checked against the description in `keys`, one entry at a time.

Answers: which values are not what their key asks for; the rest as SI numbers.
Touches: nothing.
Beside:  `read_tables` looks at keys and brackets, `read_words` reads what is no quantity. `crosscheck` and
         `crosswindows` look at several entries together, `build` makes the model.
"""

from __future__ import annotations

import re
from dataclasses import replace
from math import inf, isfinite
from typing import Any

from pinproof.design.keys import NUMBER, PULL, RANGE, RESISTOR, Key, Table
from pinproof.design.locate import Path
from pinproof.design.messages import LONGEST_NAME, listed, nearest, percent_missing, shorten
from pinproof.design.model import UNKNOWN, Basis, Kind, Value
from pinproof.design.read_tables import Tables
from pinproof.design.rows import Reading, Row
from pinproof.errors import QuantityFault
from pinproof.quantities import format_value, parse, parse_span

_UNSIGNED = {"tolerance": "ratio"}  # a bound is written without the plus-minus sign
_COUNTS = re.compile(r"\s*(\S.*?)\s*counts?\s*", re.IGNORECASE)


class Reader(Tables):
    """Collects faults and warnings while it turns raw tables into rows."""

    # quantities

    def quantity(self, raw: Any, dimension: str, at: Path, path: str, *, allow_milli: bool = True) -> float | None:
        """One quantity from text, or None with the fault noted."""
        if isinstance(raw, bool | dict | list):
            self._wrong(at, path, raw, f"a quantity; write it as text with its unit, as in {_sample(dimension)}")
            return None
        try:
            if not isinstance(raw, str):
                parse(shorten(raw), dimension)  # its message says which unit is missing
                shown = shorten(raw)
                text = f"{shown} %" if dimension == "ratio" and raw >= 1 else shown
                self.fault(at, path, f'{shown} stands without quotation marks. Write it as text: "{text}".', raw)
                return None
            return parse(raw, dimension, allow_milli=allow_milli)
        except QuantityFault as fault:
            self.fault(at, path, _said(fault), raw)
            return None

    def _in_bounds(self, key: Key, value: float, at: Path, path: str, raw: Any) -> bool:
        if key.above is not None and value <= key.above:
            wanted = f"above {format_value(key.above, key.dimension)}"
        elif key.least is not None and value < key.least:
            wanted = f"{format_value(key.least, key.dimension)} or more"
        elif key.below is not None and value >= key.below:
            wanted = f"below {format_value(key.below, _UNSIGNED.get(key.dimension, key.dimension))}"
        elif not isfinite(value):
            wanted = "a finite number"
        else:
            return True
        cure = percent_missing(raw) if key.dimension == "ratio" else ""
        self.fault(at, path, f'"{shorten(raw)}" cannot be: it must be {wanted}.{cure}', raw)
        return False

    def _number(self, key: Key, raw: Any, at: Path, path: str) -> Value | None:
        basis: Basis = "assumed"
        note, own_path = "", path
        if isinstance(raw, dict):
            row = self.table(raw, NUMBER, at, path)
            basis, note = row.get("basis", "assumed"), row.get("note", "")
            if "value" not in raw:  # mistyped or missing, and told so
                return None
            raw, at, own_path = raw["value"], (*at, "value"), f"{path}.value"
        number = self.quantity(raw, key.dimension, at, own_path, allow_milli=key.kind not in ("leak", "number"))
        if number is None or not self._in_bounds(key, number, at, own_path, raw):
            return None
        return Value(number, number, number, key.dimension, path, raw, basis, note)

    def _choice(self, key: Key, raw: Any, at: Path, path: str) -> Value | str | None:
        """One quantity, or one of the key's words as it stands."""
        if isinstance(raw, str) and raw in key.words:
            return raw
        before = len(self.faults)
        found = self._number(key, raw, at, path)
        if len(self.faults) > before:
            last = self.faults[-1]
            self.faults[-1] = replace(last, message=f"{last.message} Or write {listed(key.words)}.")
        return found

    def _lengths(self, key: Key, raw: Any, at: Path, path: str) -> tuple[float, ...]:
        found = self._list(raw, at, path, key.example)
        plain = Key(key.name, "number", key.doc, dimension="length", above=0.0)
        read = [self._number(plain, item, (*at, number), path) for number, item in enumerate(found)]
        return tuple(each.value for each in read if each is not None)

    def _length_pairs(self, key: Key, raw: Any, at: Path, path: str) -> tuple[tuple[float, float], ...]:
        if not isinstance(raw, list) or not all(isinstance(pair, list) and len(pair) == 2 for pair in raw):
            self._wrong(at, path, raw, f"a list of pairs; write {key.example}")
            return ()
        pairs = [self._lengths(key, pair, (*at, number), path) for number, pair in enumerate(raw)]
        for number, pair in enumerate(pairs):
            if len(pair) == 2 and not pair[0] > pair[1]:
                self.fault((*at, number), path, "A tube shrinks: the supplied diameter comes first and is the larger.")
        return tuple((pair[0], pair[1]) for pair in pairs if len(pair) == 2)

    def _range(self, key: Key, raw: Any, at: Path, path: str) -> Value | None:
        if (isinstance(raw, str) and raw in key.words) or self._is_double_bracket(raw, at, path):
            return None
        if not isinstance(raw, dict):
            ends = self._span(raw, key, at, path)
            if ends is None:
                return None
            low, high = ends
            for end in dict.fromkeys(ends):
                if not self._in_bounds(key, end, at, path, raw):
                    return None
            return Value(low if low == high else (low + high) / 2, low, high, key.dimension, path, raw)
        return self._range_table(key, raw, at, path)

    def _span(self, raw: Any, key: Key, at: Path, path: str) -> tuple[float, float] | None:
        if isinstance(raw, str):
            try:
                number = parse(raw, key.dimension)
                return number, number
            except QuantityFault as single:
                try:
                    return parse_span(raw, key.dimension)
                except QuantityFault as double:
                    meant = double if " to " in raw or ".." in raw or double.readings else single
                    words = f" Or write {listed(key.words)}." if key.words else ""
                    self.fault(at, path, _said(meant) + words, raw)
                    return None
        number_or_none = self.quantity(raw, key.dimension, at, path)
        return None if number_or_none is None else (number_or_none, number_or_none)

    def _range_table(self, key: Key, raw: dict[str, Any], at: Path, path: str) -> Value | None:
        before = len(self.faults)
        row = self.table(raw, RANGE, at, path)
        found: dict[str, float] = {}
        for name in ("low", "value", "high"):
            if name in raw:
                here, there = (*at, name), f"{path}.{name}"
                number = self.quantity(raw[name], key.dimension, here, there)
                if number is not None and self._in_bounds(key, number, here, there, raw[name]):
                    found[name] = number
        spread = None
        if "tolerance" in raw:
            here, there = (*at, "tolerance"), f"{path}.tolerance"
            if key.dimension == "temperature":
                self.fault(here, there, 'A temperature has no tolerance in percent. Write "low" and "high".')
            elif "value" not in raw or "low" in raw or "high" in raw:
                self.fault(here, there, 'A tolerance goes with "value" alone. Write "value", or "low" and "high".')
            else:
                spread = self.quantity(raw["tolerance"], "tolerance", here, there)
                if spread is not None and not spread < 1.0:
                    self.fault(here, there, f'"{shorten(raw["tolerance"])}" cannot be: it must be below 100 %.')
        if ("low" in raw) != ("high" in raw):
            missing = "high" if "low" in raw else "low"
            self.fault(at, f"{path}.{missing}", f'A range needs both ends; "{missing}" is missing.')
        elif "value" not in raw and "low" not in raw:
            self.fault(at, path, 'Nothing is stated. Write "low" and "high", or "value".')
        if len(self.faults) > before:
            return None
        low, high = found.get("low", found.get("value", 0.0)), found.get("high", found.get("value", 0.0))
        value = found.get("value", (low + high) / 2)
        if spread is not None:
            low, high = sorted((value * (1 - spread), value * (1 + spread)))
        if not low <= value <= high:
            parts = " / ".join(f"{name} {format_value(number, key.dimension)}" for name, number in found.items())
            order = "low must not exceed high" if low > high else "value must lie between low and high"
            wrong = "low" if low > high else "value"
            self.fault((*at, wrong), f"{path}.{wrong}", f"The order is wrong: {parts}. {order[:1].upper()}{order[1:]}.")
            return None
        return Value(
            value, low, high, key.dimension, path, _range_text(raw), row.get("basis", "assumed"), row.get("note", "")
        )

    def _ratios(self, key: Key, raw: Any, at: Path, path: str) -> tuple[Value, ...] | None:
        """A list of numbers with their ranges, or None for one of the key's words."""
        if isinstance(raw, str) and raw in key.words:
            return None
        if not isinstance(raw, list) or not 0 < len(raw) <= key.most:
            self._wrong(at, path, raw, f"a list of 1 to {key.most}; write {key.example} or {listed(key.words)}")
            return None
        read = [self._range(key, one, (*at, number), f"{path}.{number + 1}") for number, one in enumerate(raw)]
        return tuple(one for one in read if one is not None)

    def _leak(self, key: Key, raw: Any, at: Path, path: str) -> Value | None:
        if isinstance(raw, str) and raw in key.words:
            return None
        before = len(self.faults)
        least = self._number(key, raw, at, path)
        if len(self.faults) > before and isinstance(raw, str) and key.words:
            self.faults[-1] = replace(
                self.faults[-1], message=f"{self.faults[-1].message} Or write {listed(key.words)}."
            )
        return None if least is None else replace(least, value=inf, high=inf)

    # resistors: `build` adds what [defaults] has

    def _resistor(self, key: Key, raw: Any, at: Path, path: str) -> Row | None:
        """A row of table "resistor" whose "ohm" is the resistance (None: to choose); None for "none"."""
        return self._any_resistor(RESISTOR, ("none", "to choose"), raw, at, path)

    def _pull(self, key: Key, raw: Any, at: Path, path: str) -> Any:
        if raw == "unknown":
            return UNKNOWN
        return self._any_resistor(PULL, ("none", "unknown"), raw, at, path)

    def _any_resistor(self, table: Table, words: tuple[str, ...], raw: Any, at: Path, path: str) -> Row | None:
        written = raw["value"] if isinstance(raw, dict) and "value" in raw else raw
        if written == "none" or (written == "unknown" and "unknown" in words):
            if isinstance(raw, dict):
                self.table(raw, table, at, path)
            return None
        if isinstance(raw, dict):
            row = self.table(raw, table, at, path)
            if "value" not in raw:
                return row
            here, there = (*at, "value"), f"{path}.value"
        else:
            row, here, there = Row(table, path, at, {"value": raw}), at, path
        if written == "to choose" and "to choose" in words:
            row.values["ohm"] = None
            if row.get("fixed"):
                self.fault(here, there, 'It is "to choose" and fixed at once. Give its value, or leave out "fixed".')
            return row
        before = len(self.faults)
        ohm = self.quantity(written, "resistance", here, there, allow_milli=False)
        if isinstance(written, str) and len(self.faults) > before:
            last = self.faults[-1]
            near = nearest(written, words)
            cure = f'Did you mean "{near}"?' if near else f"Or write {listed(words)}."
            self.faults[-1] = replace(last, message=f"{last.message} {cure}", nearest=near)
        elif ohm is not None and ohm <= 0.0:
            self.fault(here, there, f'"{written}" cannot be a resistor. A plain link is written "none".', written)
        row.values["ohm"] = ohm
        return row

    # window edges

    def _reading(self, key: Key, raw: Any, at: Path, path: str) -> Reading | None:
        basis: Basis | None = None
        note = ""
        if isinstance(raw, dict):
            row = self.table(raw, NUMBER, at, path)
            basis, note = row.get("basis"), row.get("note", "")
            if "value" not in raw:
                return None
            raw, at, path = raw["value"], (*at, "value"), f"{path}.value"
        found = self._any_kind(raw, at, path)
        return None if found is None else Reading(found[0], found[1], raw, basis, note)

    def _spread(self, key: Key, raw: Any, at: Path, path: str) -> Reading | None:
        found = self._any_kind(raw, at, path)
        if found is not None and found[1] < 0:
            self.fault(at, path, f'"{shorten(raw)}" cannot be: an uncertainty is 0 or more, and holds either way.', raw)
        return None if found is None else Reading(found[0], found[1], raw)

    def _any_kind(self, raw: Any, at: Path, path: str) -> tuple[Kind, float] | None:
        wanted = 'ohms, volts, a ratio or counts, such as "2.70 kohm", "2.5 V", "35 %" or "512 counts"'
        if not isinstance(raw, str):
            self._wrong(at, path, raw, f"a reading; write it as text: {wanted}")
            return None
        counts = _COUNTS.fullmatch(raw) if len(raw) <= LONGEST_NAME else None
        if counts is not None:
            try:
                return "counts", parse(counts[1], "ratio") if "%" not in counts[1] else _no_percent(counts[1])
            except QuantityFault as fault:
                self.fault(at, path, _said(fault), raw)
                return None
        refusals: list[QuantityFault] = []
        kinds: tuple[tuple[Kind, str], ...] = (("ohm", "resistance"), ("volt", "voltage"), ("ratio", "ratio"))
        for kind, dimension in kinds:
            try:
                return kind, parse(raw, dimension, allow_milli=False)
            except QuantityFault as fault:
                refusals.append(fault)
        ambiguous = [fault for fault in refusals if fault.readings]
        if ambiguous:
            self.fault(at, path, _said(ambiguous[0]), raw)
        else:
            hint = next((f" {fault.hint}" for fault in refusals if "?" in fault.hint), "")
            if raw.lstrip().startswith(("-", "\u2212")):
                hint = " It cannot be below zero."
            self.fault(at, path, f'"{shorten(raw)}" is not a reading: {wanted}.{hint}', raw)
        return None


def _no_percent(text: str) -> float:
    raise QuantityFault(text, "a number of counts", 'Write it without a percent sign, as in "512 counts".')


def _said(fault: QuantityFault) -> str:
    """The fault's own sentence with what was read shortened and made printable."""
    return str(replace(fault, read=shorten(fault.read)))


def _range_text(raw: dict[str, Any]) -> str:
    if "low" in raw:
        ends = f"{raw['low']} to {raw['high']}"
        return f"{ends}, nominal {raw['value']}" if "value" in raw else ends
    if "tolerance" in raw:
        return f"{raw['value']} ±{str(raw['tolerance']).lstrip('±+-/ ')}"
    return str(raw["value"])


def _sample(dimension: str) -> str:
    from pinproof.quantities import DIMENSIONS

    return DIMENSIONS[dimension].phrase.partition("such as ")[2]
