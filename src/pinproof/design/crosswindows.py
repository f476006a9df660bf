"""What the windows or targets of one line must be together.

Answers: which meanings have no window, which windows overlap, lie outside the rails or lack what their unit needs.
Units:   a reading is a ratio of full scale where the input compares a voltage, volts where it does not.
Touches: nothing.
Note:    comparing here is nominal and only finds what cannot be meant. The proof places edges with their uncertainty.
"""

from __future__ import annotations

from math import inf

from pinproof.design.messages import listed, nearest, percent_missing
from pinproof.design.model import UNKNOWN, Value
from pinproof.design.read_words import Words
from pinproof.design.rows import Reading, Row

_SLACK = 1e-9  # an edge this close to a rail is at the rail


def check_windows(reader: Words, truck: Row, line: Row, pin: Row | None, contacts: list[Row]) -> None:
    """Windows and targets of one line against each other, its input, its contacts and its situations."""
    windows, targets = line.rows("window"), line.rows("target")
    free = line.has("windows")
    given = [name for name, there in (("window", windows), ("target", targets), ('windows = "free"', free)) if there]
    if len(given) > 1:
        key = "target" if targets and windows else "windows"
        reader.row_fault(
            line, key, f'The line has {" and ".join(given)}. Choose one: windows, targets, or windows = "free".'
        )
    if not given:
        reader.row_fault(
            line,
            "",
            "The line says nothing of what its controller reads. Write [[line.window]] or [[line.target]] for each "
            'meaning, or windows = "free" for a controller that can be taught.',
        )
    space = _Space(truck, line, pin)
    for row in windows:
        _one_window(reader, row, pin, space)
    for row in targets:
        _one_target(reader, row, pin, space)
    _overlaps(reader, [row for row in windows if _rails(reader, row, space)], space)
    _same_targets(reader, [row for row in targets if _rails(reader, row, space)], space)
    if given and not free:
        _meanings(reader, line, [*windows, *targets], contacts)


def _one_window(reader: Words, row: Row, pin: Row | None, space: _Space) -> None:
    low, high = row.get("low"), row.get("high")
    if not row.has("low") and not row.has("high"):
        reader.row_fault(row, "", 'A window has at least one edge. Write "low", "high" or both.')
    kinds = {edge.kind for edge in (low, high) if edge is not None}
    if len(kinds) > 1:
        reader.row_fault(row, "high", f'"{low.text}" and "{high.text}" are of different kinds. Use one for both edges.')
        return
    if low is not None and high is not None and low.value >= high.value:
        reader.row_fault(
            row, "low", f'The lower edge "{low.text}" must lie below the upper edge "{high.text}".', low.text
        )
    if not kinds:
        return
    kind = kinds.pop()
    _unit_needs(reader, row, kind, "low" if low is not None else "high", pin, space)
    for key in ("uncertainty", "uncertainty_low", "uncertainty_high"):
        spread = row.get(key)
        side = key.removeprefix("uncertainty").lstrip("_")
        if spread is not None and side and row.get(side) is None:
            reader.row_fault(row, key, f'There is no edge "{side}" that this could belong to.', spread.text)
        elif spread is not None and spread.kind != kind and spread.value != 0.0:
            _one_spread(reader, row, key, kind)


def _one_spread(reader: Words, row: Row, key: str, kind: str) -> None:
    spread = row.get(key)
    if not (spread.kind == "ratio" and kind in ("ohm", "volt")):
        percent = ", or a percent of each edge" if kind in ("ohm", "volt") else ""
        reader.row_fault(
            row,
            key,
            f'"{spread.text}" does not go with edges in {_in_words(kind)}: write the same kind{percent}.',
            spread.text,
        )
    elif spread.value >= 1.0:
        said = f'"{spread.text}" cannot be: it must be below 100 %.{percent_missing(spread.text)}'
        reader.row_fault(row, key, said, spread.text)


def _one_target(reader: Words, row: Row, pin: Row | None, space: _Space) -> None:
    reading = row.get("reading")
    if reading is not None:
        _unit_needs(reader, row, reading.kind, "reading", pin, space)


def _pull_is_unknown(pin: Row | None) -> bool:
    """True where a pull is "unknown": the proof then tries the usual pulls, for the list as for the input."""
    return pin is not None and UNKNOWN in (pin.get("pull_up"), pin.get("pull_down"))


def _in_words(kind: str) -> str:
    return {"ohm": "ohms", "volt": "volts", "ratio": "a ratio", "counts": "counts"}[kind]


def _unit_needs(reader: Words, row: Row, kind: str, key: str, pin: Row | None, space: _Space) -> None:
    if kind == "ohm":
        if row.has("with_pull") and row.has("found"):
            reader.row_fault(
                row,
                "with_pull",
                "Edges found by substitution on this very pin assume no other pull. Leave out one of the two.",
            )
        elif not row.has("with_pull") and not row.has("found") and space.has_no_pull and not _pull_is_unknown(pin):
            side = "pull-down" if space.feed_side else "pull-up"
            reader.row_fault(
                row,
                "with_pull",
                f"Ohms alone say nothing: with which pull? This input has no {side} to take them with. Write "
                'with_pull = "1 kohm", or found = "substitution" if they were found with resistors on this very pin.',
            )
        return
    for name in ("with_pull", "found"):
        if row.has(name) and not row.bad(name):
            reader.row_fault(row, name, f'"{name}" goes with ohms; this entry is in {_in_words(kind)}. Leave it out.')
    if kind == "counts" and pin is not None and not pin.has("full_counts"):
        reader.row_fault(
            row, key, f'Counts of how many? Write full_counts in the input "{pin.id}", for instance full_counts = 1023.'
        )


class _Space:
    """The reading space of one line's input, nominally; what cannot be placed in it without a circuit is None."""

    def __init__(self, truck: Row, line: Row, pin: Row | None) -> None:
        self.compares = pin.get("compares") if pin is not None else None
        self.feed_side = line.get("form") == "pull-down" or "feed" in (
            line.get("source_side"),
            {"supply": "feed"}.get(line.get("ladder_to", "")),
        )
        supply = truck.get("supply")
        self.supply_v = _nominal(supply.get("run") if supply is not None else None)
        self.reference_v = _nominal(pin.get("reference") if pin is not None else None)
        self.full_v = _nominal(pin.get("full_scale") if pin is not None else None)
        self.counts = pin.get("full_counts") if pin is not None else None
        self.pull_v: float | None = None
        own = pin.get("pull_down" if self.feed_side else "pull_up") if pin is not None else None
        self.pull_ohm: float | None = own.get("ohm") if isinstance(own, Row) else None
        self.has_no_pull = pin is not None and pin.get("pull_down" if self.feed_side else "pull_up", "bad") is None
        if pin is not None:
            if self.feed_side:
                self.pull_v = self.reference_v if line.get("feed_from") == "reference" else self.supply_v
            else:
                self.pull_v = self.supply_v if pin.get("pull_up_to") == "battery" else self.reference_v

    def most(self, kind: str) -> tuple[float, str] | None:
        """The greatest number that can be read in this unit and what sets it; None where nothing does."""
        if kind == "ratio":
            return 1.0, "100 %"
        if kind == "counts":
            return (float(self.counts), f"full_counts, {self.counts}") if self.counts else None
        if kind == "ohm" or self.compares is None:
            return None
        by, what = {
            "battery": (self.supply_v, "the nominal run supply"),
            "reference": (self.reference_v, "the reference"),
            "unknown": (max(self.full_v or 0.0, self.supply_v or 0.0) or None, "full_scale or the nominal run supply"),
        }.get(self.compares, (self.full_v, "full_scale"))
        return None if by is None else (by, f"{what}, {by:g} V")

    def place(self, row: Row, kind: str, value: float) -> float | None:
        """A stated number as a reading."""
        if self.compares == "unknown" or self.compares is None:
            return None
        scale = self.full_v if self.compares == "volts" else 1.0
        if kind == "ratio":
            return None if scale is None else value * scale
        if kind == "counts":
            return None if not self.counts or scale is None else value / self.counts * scale
        if kind == "volt":
            if self.compares == "volts":
                return value
            by = self.supply_v if self.compares == "battery" else self.reference_v
            return None if by is None else value / by
        pull = self.pull_ohm if not row.has("with_pull") and not row.has("found") else _nominal(row.get("with_pull"))
        if not pull or value < 0:
            return None
        ratio = pull / (value + pull) if self.feed_side else value / (value + pull)
        divisor = {"battery": self.supply_v, "reference": self.reference_v}.get(self.compares, 1.0)
        return None if self.pull_v is None or divisor is None else ratio * self.pull_v / divisor


def _nominal(value: Value | None) -> float | None:
    return value.value if isinstance(value, Value) else None


def _readings(row: Row) -> list[tuple[str, Reading]]:
    return [(key, row.get(key)) for key in ("low", "high", "reading") if row.get(key) is not None]


def _rails(reader: Words, row: Row, space: _Space) -> bool:
    """True if nothing that is stated lies outside the rails."""
    right = True
    for key, reading in _readings(row):
        if reading.value < 0.0:
            reader.row_fault(row, key, f'"{reading.text}" lies below zero, outside the rails.', reading.text)
            right = False
            continue
        most = space.most(reading.kind)
        if most is not None and reading.value > most[0] * (1 + _SLACK):
            said = f'"{reading.text}" lies outside the rails: the most is {most[1]}.{percent_missing(reading.text)}'
            reader.row_fault(row, key, said, reading.text)
            right = False
    return right


def _interval(row: Row) -> tuple[float, float, tuple[object, ...]] | None:
    """Stated edges, and what must be alike for two windows to be compared as they are stated."""
    if row.bad("low") or row.bad("high"):
        return None
    low, high = row.get("low"), row.get("high")
    kinds = {edge.kind for edge in (low, high) if edge is not None}
    if len(kinds) != 1 or (low is not None and high is not None and low.value >= high.value):
        return None
    unit = (kinds.pop(), _nominal(row.get("with_pull")), row.get("found"))
    return (-inf if low is None else low.value, inf if high is None else high.value, unit)


def _placed(row: Row, space: _Space) -> tuple[float, float] | None:
    """Edges in reading space, or None where that takes more than a nominal sum."""
    found: dict[str, float] = {}
    for key in ("low", "high"):
        edge = row.get(key)
        if edge is not None:
            at = space.place(row, edge.kind, edge.value)
            if at is None:
                return None
            found[key] = at
    swapped = space.feed_side and any(edge.kind == "ohm" for _, edge in _readings(row))
    low, high = ("high", "low") if swapped else ("low", "high")
    return found.get(low, -inf), found.get(high, inf)


def _overlaps(reader: Words, windows: list[Row], space: _Space) -> None:
    stated = [(row, _interval(row)) for row in windows]
    usable = [(row, found) for row, found in stated if found is not None and row.get("meaning")]
    for number, (row, one) in enumerate(usable):
        for other_row, other in usable[:number]:
            if row.get("meaning") == other_row.get("meaning"):
                continue
            a, b = one[:2], other[:2]
            if one[2] != other[2]:
                placed_a, placed_b = _placed(row, space), _placed(other_row, space)
                if placed_a is None or placed_b is None:
                    continue
                a, b = placed_a, placed_b
            if max(a[0], b[0]) < min(a[1], b[1]) - _SLACK * min(abs(a[1]), abs(b[1]), 1.0):
                line = reader.places.line(other_row.at)
                reader.row_fault(
                    row,
                    "",
                    f'It overlaps the window of "{other_row.get("meaning")}" (line {line}): {_said(row)} and '
                    f"{_said(other_row)}. One reading cannot mean both.",
                )


def _said(row: Row) -> str:
    low, high = row.get("low"), row.get("high")
    return f"{low.text if low else 'the lower end'} to {high.text if high else 'the upper end'}"


def _same_targets(reader: Words, targets: list[Row], space: _Space) -> None:
    first: dict[tuple[object, ...], Row] = {}
    for row in targets:
        reading = row.get("reading")
        if reading is None:
            continue
        placed = space.place(row, reading.kind, reading.value)
        unit = (reading.kind, _nominal(row.get("with_pull")), row.get("found"))
        key = ("placed", round(placed, 12)) if placed is not None else (*unit, reading.value)
        other = first.setdefault(key, row)
        if other is not row and other.get("meaning") != row.get("meaning"):
            reader.row_fault(
                row,
                "reading",
                f'"{other.get("meaning")}" has the same reading. Two meanings need two readings.',
                reading.text,
            )


def _meanings(reader: Words, line: Row, entries: list[Row], contacts: list[Row]) -> None:
    known = list(dict.fromkeys(row.get("meaning", "") for row in entries if row.get("meaning")))
    if any(row.bad("meaning") or not row.has("meaning") for row in entries):
        return  # the fault is reported there; guessing on would repeat it
    what = "target" if line.rows("target") else "window"

    def check(row: Row, key: str, meaning: str, words: tuple[str, ...] = ()) -> None:
        if meaning in known or meaning in words:
            return
        near = nearest(meaning, (*known, *words))
        cure = f'Did you mean "{near}"?' if near else f"There are {what}s for {listed((*known, *words), 'and')}."
        reader.row_fault(
            row, key, f'No {what} of the line "{line.id}" has the meaning "{meaning}". {cure}', meaning, near
        )

    if line.get("idle") is not None:
        check(line, "idle", line.get("idle"))
    for contact in contacts:
        if contact.get("asks") is not None:
            check(contact, "asks", contact.get("asks"))
    for rule in line.rows("situation"):
        for meaning in rule.get("allowed", ()):
            check(rule, "allowed", meaning, ("invalid",))
