"""What if contacts wear, plugs get wet, or the supply sags: a truck with other numbers, and where a meaning is lost.

Answers: which of these can be turned up on a line, from which step on a situation no longer holds.
Units:   ohms for wear and leakage, volts for the supply.
Touches: nothing.
How:     each step is the same truck with other ends of its ranges, proven like any other. No order is assumed between
         steps: every one is proven, and the first one that does not hold is named beside the last that does.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

from pinproof.design.model import Contact, Line, Truck, Value
from pinproof.errors import PinproofError
from pinproof.proof.prove import prove_line
from pinproof.proof.results import LineProof, SituationProof
from pinproof.quantities import format_value
from pinproof.verdict import Verdict

_LEADS = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # six in a decade, as in IEC 60063, E6
WORST_CONTACT_OHM, LEAST_LEAK_OHM, MOST_LEAK_OHM = 10e3, 100.0, 10e6
LEAST_SUPPLY_V, MOST_SUPPLY_V, SUPPLY_STEP_V = 4.0, 24.0, 0.5


@dataclass
class NoSuchStep(PinproofError):
    """A knob or a step that the line does not have."""

    knob: str
    step: int

    def __str__(self) -> str:
        return f'"{self.knob}" has no step {self.step} here.'


@dataclass(frozen=True)
class Knob:
    """One thing that can be turned up. `steps` go from the mildest that is worse than stated to the worst."""

    id: str
    name: str
    doc: str
    unit: str  # "ohm" or "V"
    stated: str  # what the file states, in words
    steps: tuple[float, ...]

    def words(self, step: int) -> str:
        """Step 0 is as stated."""
        if step == 0:
            return f"as stated ({self.stated})"
        return format_value(self.steps[step - 1], "resistance" if self.unit == "ohm" else "voltage")


@dataclass(frozen=True)
class LostFrom:
    """A situation that held as stated and does not from this step on. `held_at` is the step before it."""

    key_state: str
    operated: tuple[str, ...]
    meaning: str
    reads_as: tuple[str, ...]
    verdict: Verdict
    step: int
    at: str
    held_at: str


def knobs(truck: Truck, line_id: str) -> tuple[Knob, ...]:
    """What can be turned up on a line."""
    line = truck.line(line_id)
    found = []
    contacts = truck.contacts_of(line)
    worst_ohm = max((each.closed.high for each in contacts), default=0.0)
    steps = tuple(ohm for ohm in _decades(0.1, WORST_CONTACT_OHM) if ohm > worst_ohm)
    if contacts and steps:
        found.append(
            Knob(
                "wear", "Worn contacts", "Every closed contact of the line may have up to this resistance.", "ohm",
                f"up to {format_value(worst_ohm, 'resistance')}", steps,
            )
        )  # fmt: skip
    for ident, name, doc, leak in (
        ("ground", "Leakage to ground", "Water or dirt from the coded wire to ground, down to this.",
         line.leak_to_ground),
        ("plus", "Leakage to battery plus", "Water or dirt from the coded wire to a supply, down to this.",
         line.leak_to_supply),
    ):  # fmt: skip
        least_ohm = math.inf if leak is None else leak.low
        steps = tuple(ohm for ohm in reversed(_decades(LEAST_LEAK_OHM, MOST_LEAK_OHM)) if ohm < least_ohm)
        stated = "none" if math.isinf(least_ohm) else f"from {format_value(least_ohm, 'resistance')}"
        if steps:
            found.append(Knob(ident, name, doc, "ohm", stated, steps))
    run = truck.supply.run
    low = tuple(v for v in _volts() if v < run.low)[::-1]
    high = tuple(v for v in _volts() if v > run.high)
    if low:
        stated = f"from {format_value(run.low, 'voltage')}"
        found.append(Knob("low", "Supply sags, key in run", "Lowest supply at the controller.", "V", stated, low))
    if high:
        stated = f"up to {format_value(run.high, 'voltage')}"
        found.append(Knob("high", "Supply rises, key in run", "Highest supply at the controller.", "V", stated, high))
    return tuple(found)


def _volts() -> tuple[float, ...]:
    count = round((MOST_SUPPLY_V - LEAST_SUPPLY_V) / SUPPLY_STEP_V)
    return tuple(LEAST_SUPPLY_V + SUPPLY_STEP_V * step for step in range(count + 1))


def _decades(low: float, high: float) -> tuple[float, ...]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    steps = (float(f"{lead}e{power}") for power in powers for lead in _LEADS)
    return tuple(step for step in steps if low <= step <= high)


def turned(truck: Truck, line_id: str, settings: Mapping[str, int]) -> Truck:
    """The truck with knobs of one line turned to these steps; 0 leaves one as stated.

    Raises
    ------
    NoSuchStep
        For a knob or step that the line does not have.
    """
    known = {each.id: each for each in knobs(truck, line_id)}
    for ident, step in settings.items():
        if step == 0:
            continue
        knob = known.get(ident)
        if knob is None or not 0 < step <= len(knob.steps):
            raise NoSuchStep(ident, step)
        truck = _with(truck, line_id, ident, knob.steps[step - 1])
    return truck


def _with(truck: Truck, line_id: str, ident: str, amount: float) -> Truck:
    if ident == "wear":

        def worn(each: Contact) -> Contact:
            if each.line != line_id:
                return each
            return dataclasses.replace(
                each, closed=dataclasses.replace(each.closed, high=max(each.closed.high, amount))
            )

        return dataclasses.replace(truck, contacts=tuple(worn(each) for each in truck.contacts))
    if ident in ("low", "high"):
        run = truck.supply.run
        run = dataclasses.replace(run, low=amount) if ident == "low" else dataclasses.replace(run, high=amount)
        return dataclasses.replace(truck, supply=dataclasses.replace(truck.supply, run=run))
    key = "leak_to_ground" if ident == "ground" else "leak_to_supply"

    def wet(line: Line) -> Line:
        if line.id != line_id:
            return line
        leak = Value(math.inf, amount, math.inf, "resistance", f"line.{line.id}.{key}", "what if")
        if ident == "ground":
            return dataclasses.replace(line, leak_to_ground=leak)
        return dataclasses.replace(line, leak_to_supply=leak)

    return dataclasses.replace(truck, lines=tuple(wet(each) for each in truck.lines))


def lost_along(truck: Truck, line_id: str, knob: Knob) -> tuple[LostFrom, ...]:
    """Situations that hold as stated and no longer do while one knob is turned up, the first lost first."""
    before = holds(prove_line(truck, truck.line(line_id), samples=0, drift=False))
    held = {_key(row) for row in before}
    found: list[LostFrom] = []
    for step in range(1, len(knob.steps) + 1):
        changed = _with(truck, line_id, knob.id, knob.steps[step - 1])
        proof = prove_line(changed, changed.line(line_id), samples=0, drift=False)
        for row in proof.situations:
            if _key(row) in held and not row.verdict.holds:
                held.remove(_key(row))
                found.append(
                    LostFrom(
                        row.key_state, row.operated, row.meaning, row.reads_as, row.verdict, step, knob.words(step),
                        knob.words(step - 1),
                    )
                )  # fmt: skip
        if not held:
            break
    return tuple(found)


def holds(proof: LineProof) -> tuple[SituationProof, ...]:
    """The situations that hold, or would if their windows are as assumed."""
    return tuple(row for row in proof.situations if row.verdict.holds)


def _key(row: SituationProof) -> tuple[str, str, tuple[str, ...]]:
    return row.key_state, row.space, row.operated
