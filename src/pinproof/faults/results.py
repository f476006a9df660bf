"""What is said of faults: frozen results that print themselves as JSON.

Units:   severities in ohms, 0 to inf.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pinproof.verdict.plain import plain

Kind = Literal[
    "open", "shorted", "drifted", "decade-low", "decade-high", "stuck-closed", "stuck-open", "worn", "wrong-throw",
    "resistive", "chafed-to-ground", "chafed-to-supply", "bridged", "swapped", "unplugged", "sound",
]  # fmt: skip
Effect = Literal["false command", "command lost", "none"]
EFFECTS: tuple[Effect, ...] = ("false command", "command lost", "none")  # from worst to best


@dataclass(frozen=True)
class Fault:
    """One thing that can go wrong.

    `site` is a design path, `kind` a word of docs/faults.md. `detail` tells apart what one path can mean: the node that
    is chafed, the other site of a bridge or a swap. `severity` says whether a number of ohms belongs to it. `nodes` are
    the nodes it touches: ``pin``, ``far``, ``source``, ``manual``, ``contact X`` for the node between a contact and its
    resistor, ``node X`` for one of the file's own.
    """

    site: str
    kind: Kind
    detail: str = ""
    severity: bool = False
    nodes: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Its name: no two faults of a line share one."""
        return " ".join(part for part in (self.site, self.kind, self.detail) if part)


@dataclass(frozen=True)
class Severities:
    """A set of severities, as intervals from low to high ohms.

    `outer` holds all of them; `inner` is surely part of the set. Where the two are equal every end is exact.
    """

    outer: tuple[tuple[float, float], ...]
    inner: tuple[tuple[float, float], ...]

    @property
    def exact(self) -> bool:
        """Both sets are the same."""
        return self.outer == self.inner

    @property
    def low_ohm(self) -> float:
        """Least severity of the set. [Ω]"""
        return self.outer[0][0]

    @property
    def high_ohm(self) -> float:
        """Greatest severity of the set. [Ω]"""
        return self.outer[-1][1]

    def holds(self, ohm: float) -> bool:
        """Whether the outer set holds this severity. [Ω]"""
        return any(low <= ohm <= high for low, high in self.outer)


@dataclass(frozen=True)
class FalseCommand:
    """A command that some truck can read in a situation that may not read it.

    `severities` is None for a fault without a severity. `sure` is False where only the outer bound reaches the command.
    `asked`: a contact that is operated asks for it on its own, though not in this situation: a tap that fails reads as
    the lever's own `manual`.
    """

    command: str
    key_state: str
    space: str
    operated: tuple[str, ...]
    severities: Severities | None
    sure: bool
    asked: bool = False


@dataclass(frozen=True)
class Lost:
    """A situation that must read `meaning`, and for some truck does not."""

    meaning: str
    key_state: str
    space: str
    operated: tuple[str, ...]
    severities: Severities | None
    sure: bool


@dataclass(frozen=True)
class FaultEffect:
    """What one fault does, over all situations, key states and severities.

    `idle_reads` lists what the controller may conclude with nothing operated in key state run; `unnoticed` says that
    this is the idle meaning in any case although something is lost: nobody can tell the fault from nobody pressing.
    `advice` holds outside checks in words; what removes the fault stands in `Remedy`. `adds` is False where all of it
    happens without the fault too.
    """

    fault: Fault
    effect: Effect
    reads_as_fault: bool
    unnoticed: bool
    idle_reads: tuple[str, ...]
    false: tuple[FalseCommand, ...]
    lost: tuple[Lost, ...]
    advice: tuple[str, ...] = ()
    adds: bool = True

    @property
    def commands(self) -> tuple[str, ...]:
        """The false commands, each once."""
        return tuple(dict.fromkeys(each.command for each in self.false))

    @property
    def rank(self) -> int:
        """How bad its worst false command is: 0 with nothing operated, 1 one that no hand asks for, 2 one that an
        operated contact asks for on its own, 3 none."""
        return min((_rank(each) for each in self.false), default=3)

    def worst_false(self) -> tuple[FalseCommand, ...]:
        """The false commands of that rank."""
        return tuple(each for each in self.false if _rank(each) == self.rank)


def _rank(each: FalseCommand) -> int:
    return 0 if not each.operated else 2 if each.asked else 1


@dataclass(frozen=True)
class PairEffect:
    """Two faults at once that give a false command neither gives alone.

    `first_severities` and `second_severities`: each with the other anywhere from 0 to infinity; None where that fault
    has no severity.
    """

    first: Fault
    second: Fault
    command: str
    key_state: str
    space: str
    operated: tuple[str, ...]
    first_severities: Severities | None
    second_severities: Severities | None


@dataclass(frozen=True)
class Pairs:
    """Pairs that were looked at. `bound` is the most that are; `left_out` says how many were not because of it."""

    looked_at: int
    left_out: int
    bound: int
    new: tuple[PairEffect, ...]


@dataclass(frozen=True)
class LineFaults:
    """The fault dictionary of one line: every single fault, false commands first.

    `sound` is the line without any fault. `reason` says why nothing could be computed, or is "".
    """

    line: str
    sound: FaultEffect | None
    faults: tuple[FaultEffect, ...]
    situations: int
    pairs: Pairs | None = None
    reason: str = ""

    def of(self, effect: Effect) -> tuple[FaultEffect, ...]:
        """Faults with this effect."""
        return tuple(each for each in self.faults if each.effect == effect)

    @property
    def is_safe(self) -> bool:
        """No false command: neither from one fault, nor without any, nor from the pairs looked at."""
        sound = self.sound is not None and self.sound.effect != "false command"
        return not self.reason and sound and not self.of("false command") and not (self.pairs and self.pairs.new)


@dataclass(frozen=True)
class FaultReport:
    """The fault dictionaries of a truck."""

    id: str
    name: str
    text_hash: str
    lines: tuple[LineFaults, ...]

    @property
    def is_safe(self) -> bool:
        """No line has a false command."""
        return bool(self.lines) and all(line.is_safe for line in self.lines)

    @property
    def exit_code(self) -> int:
        """0 if no fault gives a false command, else 1; 1 also where a line could not be looked at."""
        return 0 if self.is_safe else 1


def as_json(result: Any) -> Any:
    """A result as plain JSON values: infinite numbers as "inf", missing ones as null."""
    found = plain(result, as_json)
    if isinstance(result, Fault):
        return {"id": result.id, **found}
    if isinstance(result, Severities):
        return {**found, "exact": result.exact}
    if isinstance(result, FaultReport):
        return {**found, "is_safe": result.is_safe}
    return found
