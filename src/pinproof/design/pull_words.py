"""How the resistor inside a controller is measured: one text, for the design file, the actions and the proof.

Answers: with which steps, which sum and which care is a pull measured, and what is then written into the design file.
Touches: nothing.
Sources: Ohm's law. The steps, the 1 A fuse, 5 V for a pin whose limit nobody knows and the least ohms are common
         practice, no source.

Error of the sum: with a meter within e of its reading, twice the same way round, and R read with the same meter, the
pull comes out within about e + 2e / (1 − x), where x = V(loaded) / V(open), or V(pin) / V(supply). Up to x = ½ that is
5 e: within 5 % for a meter of 0.8 %, within 8 % for one of 1.5 %. From a battery of 12.6 V, x = ⅓ keeps the pin at
4.2 V, so below the 5 V; at half it would not.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pinproof.design.model import UNKNOWN, Input, Line, Resistor

Side = Literal["pull_up", "pull_down"]

FIRST_OHM = "10 kΩ"
FIRST_FED_OHM = "22 kΩ"
"""Fed from a battery: with it a pull of up to 14 kΩ stays below the careful volts at the first try."""
LEAST_OHM: dict[Side, str] = {"pull_up": "470 Ω", "pull_down": "1 kΩ"}
CAREFUL_V = "5 V"
"""Where nobody knows what a pin may see."""

CAUTION = (
    "Wheels chocked, brake on, lever in park, engine off. Battery: rings and watch off, no tool across its posts, no "
    "spark near it. Every lead that carries a supply has a 1 A fuse at the supply's end; never put a supply straight "
    "on the pin. Touch ground before you touch the pin (static). Do not bridge two pins or spread the terminal."
)
PULL_UP_SUM = "pull = R × (Vopen − Vloaded) ÷ Vloaded"
PULL_DOWN_SUM = "pull = R × Vpin ÷ (Vsupply − Vpin)"
TOLERANCE = 'The tolerance is "5 %" if the meter is within 0.8 % of its reading, "8 %" if within 1.5 %'


ANOTHER_FORM = (
    'If form in the file does not fit (pulled up: "pull-up"; pulled down: "pull-down"), begin a new file with '
    "`pinproof new`, say to what a button connects the wire, and state the pull there. What the pin wants when nothing "
    "is pressed changes with the form."
)


@dataclass(frozen=True)
class Written:
    """What goes into one table of the design file: where, and the keys as they are written."""

    where: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class PullMeasurement:
    """One measurement in words: the caution, the steps with their sums, what to write, and what to know of it."""

    input: str
    sides: tuple[Side, ...]
    caution: str
    steps: tuple[str, ...]
    write: tuple[Written, ...]
    notes: tuple[str, ...]
    minutes: int
    tools: tuple[str, ...]

    @property
    def what(self) -> str:
        """The measurement in one sentence."""
        if len(self.sides) > 1:
            return f"Measure which way the pin of {self.input} is pulled, and how hard."
        return f"Measure the {'pull-up' if self.sides == ('pull_up',) else 'pull-down'} inside {self.input}."

    @property
    def how(self) -> tuple[str, ...]:
        """Steps, sums and what to write, a line each, without the caution. A key stands on a line of its own."""
        numbered = (f"{number}. {step}" for number, step in enumerate(self.steps, start=1))
        written = (line for each in self.write for line in (f"{each.where}:", *each.keys))
        return (*numbered, *written, *self.notes)

    @property
    def text(self) -> str:
        """All of it in one paragraph, the caution first."""
        written = (f"{each.where}: {', '.join(each.keys)}." for each in self.write)
        return " ".join((self.caution, *self.steps, *written, *self.notes))


def is_key(line: str) -> bool:
    """True for a line of `PullMeasurement.how` that is written as it stands, and must not be wrapped."""
    return re.match(r"[a-z_]+ = ", line) is not None


def unknown_sides(owner: Input, line: Line | None = None) -> tuple[Side, ...]:
    """Which pulls of an input are unknown; with a line only the one its circuit works against, unless both are."""
    found: tuple[Side, ...] = tuple(s for s in ("pull_up", "pull_down") if getattr(owner, s) is UNKNOWN)
    mine: Side = "pull_up" if line is None or line.source_side == "return" else "pull_down"
    return (mine,) if line is not None and len(found) == 1 and mine in found else found


def pull_measurement(
    input_id: str, sides: Sequence[Side], *, max_pin: str = "", feed: Literal["battery", "reference"] = "battery",
    form: str = "",
) -> PullMeasurement:  # fmt: skip
    """How a pull is measured.

    Parameters
    ----------
    input_id : str
        Of the design file.
    sides : sequence
        "pull_up", "pull_down", or both where not even the form is known.
    max_pin : str
        The most the pin may see, as the file states it; "" where it does not.
    feed : str
        What the coder of a pull-down line is fed from, and so the pin while it is measured.
    form : str
        Of the line, where it is known: only "pull-up" and "pull-down" take sides.
    """
    both = len(sides) > 1
    steps = [
        "Unplug the coded wire, key on. Read the volts from the pin to the controller's own ground, nothing connected."
        + (
            ' Near 5 V or near the battery: it is pulled up, go on with "Pull-up". Near 0 V: go on with "Pull-down".'
            if both
            else " They are Vopen."
            if sides[0] == "pull_up"
            else " A pin that is only pulled down reads 0 V and tells no more; if it does not, it is pulled up too."
        )
    ]
    write, notes = [], [f"{TOLERANCE}."]
    if "pull_up" in sides:
        steps.append(
            f"{'Pull-up: the volts just read are Vopen. ' if both else ''}Read the ohms of a resistor of about "
            f"{FIRST_OHM}: they are R. Put it from the pin to the controller's own ground; the volts at the pin are "
            f"now Vloaded. Sum: {PULL_UP_SUM}. Then take for R the resistor nearest to what the sum gave, not below "
            f"{LEAST_OHM['pull_up']}, and do it again: Vloaded is then about half of Vopen, where the sum is good."
        )
        keys = ['pull_up = { value = "…", tolerance = "…", basis = "measured" }']
        write.append(
            Written(f"If it is pulled up, write on the [[input]] {input_id}", (*keys, 'pull_down = "none"'))
            if both
            else Written(f"Write on the [[input]] {input_id}", tuple(keys))
        )
        notes.append('Where Vopen is near the battery\'s volts, write pull_up_to = "battery" too.')
    if "pull_down" in sides:
        source = "the controller's own 5 V sensor supply" if feed == "reference" and not both else "battery plus"
        limit = f"only while Vpin stays below {max_pin or CAREFUL_V}"
        battery = source == "battery plus"
        size = "twice what" if battery else "what"
        share = "a third" if battery else "half"
        first = FIRST_FED_OHM if battery else FIRST_OHM
        steps.append(
            f"{'Pull-down: read' if both else 'Read'} the ohms of a resistor of about {first}, half watt: they are "
            f"R. Feed the pin through it from {source}, with the fused lead. Read Vsupply before R and Vpin at the "
            f"pin, both to the controller's own ground. Sum: {PULL_DOWN_SUM}. Then take for R the resistor nearest to "
            f"{size} the sum gave, not below {LEAST_OHM['pull_down']}, and do it again: Vpin is then about {share} of "
            f"Vsupply, where the sum is good; but {limit}."
        )
        keys = ['pull_down = { value = "…", tolerance = "…", basis = "measured" }']
        if both:
            where = f"If it is pulled down, write on the [[input]] {input_id}"
            write.append(Written(where, (*keys, 'pull_up = "none"')))
            if form in ("", "pull-up", "pull-down"):
                notes.append(ANOTHER_FORM)
        else:
            write.append(Written(f"Write on the [[input]] {input_id}", tuple(keys)))
    write += _limit(input_id, max_pin)
    largest = first if "pull_down" in sides else FIRST_OHM
    tools = ["multimeter", f"resistors of {LEAST_OHM[sides[0]]} to {largest}, half watt"]
    if "pull_down" in sides:
        tools.append("test lead with a 1 A fuse")
    return PullMeasurement(
        input_id, tuple(sides), CAUTION, tuple(steps), tuple(write), tuple(notes), 20 if both else 15, tuple(tools)
    )


def _limit(input_id: str, max_pin: str) -> list[Written]:
    """What is to be asked where the file does not say what the pin may see."""
    asked = "The most that this pin may see is not in the file. Ask the controller's maker, and write on the [[input]]"
    return [] if max_pin else [Written(f"{asked} {input_id}", ('max_pin = "… V"',))]


def _beside(input_id: str, side: Side, known: Resistor, max_pin: str) -> PullMeasurement:
    """How an unknown pull is measured where the other one of the same pin is known: that one is the resistor."""
    up = side == "pull_up"
    rail = "the volts that a pull-up of this controller goes to" if up else "the volts that its pull-up goes to"
    total = PULL_UP_SUM.replace("open", "supply").replace("loaded", "pin") if up else PULL_DOWN_SUM
    steps = (
        "Unplug the coded wire, key on. Read the volts from the pin to the controller's own ground, nothing connected: "
        f"they are Vpin. Read {rail}, to the same ground: they are Vsupply.",
        f"Its {'pull-down' if up else 'pull-up'} is known, {known.text}: that is R. Sum: {total}. If Vpin is "
        f'{"0 V" if up else "Vsupply"}, it has no {"pull-up" if up else "pull-down"}: write "none".',
    )
    keys = (f'{side} = {{ value = "…", tolerance = "…", basis = "measured" }}',)
    write = (Written(f"Write on the [[input]] {input_id}", keys), *_limit(input_id, max_pin))
    return PullMeasurement(input_id, (side,), CAUTION, steps, write, (f"{TOLERANCE}.",), 10, ("multimeter",))


def pull_measurement_of(owner: Input, line: Line | None = None, sides: Sequence[Side] = ()) -> PullMeasurement:
    """How the pull of an input is measured: the sides given, else the unknown ones, else the one its line uses."""
    asked = tuple(sides) or unknown_sides(owner, line)
    if not asked:
        asked = ("pull_up",) if line is None or line.source_side == "return" else ("pull_down",)
    max_pin = owner.max_pin.text if owner.max_pin else ""
    other = owner.pull_down if asked[0] == "pull_up" else owner.pull_up
    if len(asked) == 1 and isinstance(other, Resistor):
        return _beside(owner.id, asked[0], other, max_pin)
    feed: Literal["battery", "reference"] = "reference" if line and line.feed_from == "reference" else "battery"
    return pull_measurement(owner.id, asked, max_pin=max_pin, feed=feed, form="" if line is None else line.form)
