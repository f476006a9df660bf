"""What the tables of [drive] must be together: gears in order, one way to say a tyre, gears that exist.

Answers: what of a driveline is contradictory, impossible or missing although each entry alone is right.
Touches: nothing.
"""

from __future__ import annotations

from itertools import pairwise

from pinproof.design.build_drive import GIVEN
from pinproof.design.messages import listed, nearest
from pinproof.design.model import Value
from pinproof.design.read import Reader
from pinproof.design.rows import Row
from pinproof.errors import PinproofError
from pinproof.quantities.tyre_size import diameter_of_size

LEAST_TURN_M, MOST_TURN_M = 0.3, 15.0  # a wheel; common practice, no source


def check_drive(reader: Reader, truck: Row) -> None:
    """Look at all tables of [drive] together; faults go to `reader`."""
    row = truck.get("drive")
    if row is not None:
        _Driveline(reader, row).run()


class _Driveline:
    def __init__(self, reader: Reader, row: Row) -> None:
        self.reader, self.row = reader, row
        self.gears = [one.get("name", "") for one in row.rows("gear")]

    def run(self) -> None:
        for key in ("transfer", "gear"):
            if self.row.has(key) and not self.row.bad(key) and not self.row.rows(key):
                self.reader.row_fault(self.row, key, f"There is none. Write each as [[drive.{key}]], name and ratio.")
            self._named_once(key)
        self._falling()
        self._tyre(self.row.get("tyre"))
        self._engine(self.row.get("engine"))
        for one in self.row.rows("shift"):
            self._shift(one)
        for one in self.row.rows("borrowed"):
            self._borrowed(one)
        self._log(self.row.get("log"))

    def _named_once(self, key: str) -> None:
        seen: set[str] = set()
        for one in self.row.rows(key):
            name = one.get("name")
            if name == "":
                self.reader.row_fault(one, "name", "The name is empty.")
            if name in seen:
                self.reader.row_fault(one, "name", f'"{name}" stands twice. Give each {key} its own name.', name)
            seen.add(name)

    def _falling(self) -> None:
        for one, other in pairwise(self.row.rows("gear")):
            low, high = one.get("ratio"), other.get("ratio")
            if isinstance(low, Value) and isinstance(high, Value) and high.high >= low.low:
                self.reader.row_fault(
                    other, "ratio", f"{high.text} is not below the {low.text} of gear {one.get('name', '')}. List the "
                    "gears from the lowest on; each has a smaller ratio than the one before.", high.text,
                )  # fmt: skip

    def _tyre(self, row: Row | None) -> None:
        if row is None:
            return
        given = [key for key in ("roll_out", "revolutions", "size") if row.has(key)]
        if len(given) != 1:
            have = listed(given, "and") if given else "none"
            said = f"It needs exactly one of roll_out (with turns), revolutions, size; there is {have}."
            self.reader.row_fault(row, "", said)
            return
        if given[0] == "roll_out" and not row.has("turns"):
            said = '"turns" is required here, because roll_out is given. Example: turns = "10".'
            self.reader.row_fault(row, "turns", said)
        for key, owner in (("turns", "roll_out"), ("factor", "size")):
            if row.has(key) and owner != given[0]:
                self.reader.row_fault(row, key, f"It belongs to {owner}, which is not written here. Leave it out.")
        self._turn(row, given[0])

    def _turn(self, row: Row, given: str) -> None:
        """One turn of the wheel must be one of a wheel."""
        stated = row.get(given)
        turn_m = 0.0
        if given == "size" and isinstance(stated, str):
            try:
                turn_m = diameter_of_size(stated) * 3.0
            except PinproofError as fault:
                self.reader.row_fault(row, "size", str(fault), stated)
                return
        elif given == "revolutions" and isinstance(stated, Value):
            turn_m = 1.0 / stated.value
        elif isinstance(stated, Value) and isinstance(row.get("turns"), Value):
            turn_m = stated.value / row.get("turns").value
        if turn_m and not LEAST_TURN_M <= turn_m <= MOST_TURN_M:
            said = f"One turn would be {turn_m:.3g} m; a wheel rolls {LEAST_TURN_M:g} to {MOST_TURN_M:g} m in one."
            self.reader.row_fault(row, given, said)

    def _engine(self, row: Row | None) -> None:
        if row is None:
            return
        most, least = row.get("most"), row.get("least")
        if isinstance(most, Value) and isinstance(least, Value) and least.high >= most.low:
            said = f"{least.text} is not below engine.most ({most.text})."
            self.reader.row_fault(row, "least", said, least.text)
        lead, limiter = row.get("lead"), row.get("limiter")
        if isinstance(lead, Value) and isinstance(limiter, Value) and lead.high >= limiter.low:
            said = f"{lead.text} below a limiter of {limiter.text} leaves no speed. Is it the speed itself?"
            self.reader.row_fault(row, "lead", said, lead.text)

    def _is_gear(self, row: Row, key: str) -> None:
        name = row.get(key)
        if name is None or name in self.gears or not self.gears:
            return
        near = nearest(name, self.gears)
        cure = f'Did you mean "{near}"?' if near else f"There are {listed(self.gears, 'and')}."
        self.reader.row_fault(row, key, f'There is no gear "{name}". {cure}', name, near)

    def _shift(self, row: Row) -> None:
        for key in ("from", "to"):
            self._is_gear(row, key)
        if row.get("from") is not None and row.get("from") == row.get("to"):
            self.reader.row_fault(row, "to", "From and to are the same gear. Name the gear after the shift.")
        given = [key for key in GIVEN if row.has(key)]
        if len(given) != 1:
            have = listed(given, "and") if given else "none"
            self.reader.row_fault(row, "", f"It needs exactly one of engine, output, road; there is {have}.")

    def _borrowed(self, row: Row) -> None:
        by_road = row.get("keyed_by") == "road speed"
        units = ("km/h", "mph", "m/s") if by_road else ("rpm",)
        if row.has("unit") and not row.bad("unit") and row.has("keyed_by") and row.get("unit") not in units:
            said = f'"{row.get("unit")}" is no unit of {row.get("keyed_by", "that speed")}. Write {listed(units)}.'
            self.reader.row_fault(row, "unit", said, row.get("unit"))
        if by_road:
            for key, example in (("tyre", '{ size = "31x10.50R15" }'), ("axle", '"3.73"'), ("transfer", '"1"')):
                if not row.has(key):
                    said = f'"{key}" is required here, because it is keyed by road speed. Example: {key} = {example}.'
                    self.reader.row_fault(row, key, said)
        self._tyre(row.get("tyre"))
        listed_gears = row.get("gears")
        if isinstance(listed_gears, tuple) and len(listed_gears) > len(self.gears):
            said = f"There are {len(listed_gears)} ratios; this truck has {len(self.gears)} gears. List no more."
            self.reader.row_fault(row, "gears", said)

    def _log(self, row: Row | None) -> None:
        if row is None:
            return
        for key in ("lowest_gear", "highest_gear"):
            self._is_gear(row, key)
        low, high = (row.get(key) for key in ("lowest_gear", "highest_gear"))
        if low in self.gears and high in self.gears and self.gears.index(low) > self.gears.index(high):
            self.reader.row_fault(row, "highest_gear", f'"{high}" is lower than the lowest gear, "{low}".', high)
        codes = [code for _, code in row.get("lever", ())]
        for name in row.get("lever_manual", ()):
            if codes and name not in codes:
                said = f'"{name}" is reported in no detent of "lever". There are {listed(codes, "and")}.'
                self.reader.row_fault(row, "lever_manual", said, name, nearest(name, codes))
