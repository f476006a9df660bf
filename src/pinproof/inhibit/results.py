"""What `pinproof.inhibit` hands out: frozen results, and their plain form for JSON.

Answers: relay states, cells of the truth table, faults with their severities, influence, forms side by side.
Units:   volts and ohms; severities from 0 to inf ohms.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pinproof.inhibit.sets import Interval, Severities, union
from pinproof.verdict import Verdict
from pinproof.verdict.plain import plain

Effect = Literal[
    "cranks in gear, no request", "cranks in gear", "keeps cranking in gear", "cranks by itself", "keeps cranking",
    "cranks at random", "no crank", "none",
]  # fmt: skip
EFFECTS: tuple[Effect, ...] = (
    "cranks in gear, no request", "cranks in gear", "keeps cranking in gear", "cranks by itself", "keeps cranking",
    "cranks at random", "no crank", "none",
)  # fmt: skip
__all__ = [
    "EFFECTS", "Cell", "Comparison", "Effect", "FormResult", "Influence", "InfluenceRow", "InhibitReport",
    "Interval", "Row", "Set", "Severities", "StartFault", "States", "Verdict", "as_json",
]  # fmt: skip


@dataclass(frozen=True)
class RelayVolts:
    """Volts of one coil in one combination: least and greatest over the box. [V]"""

    relay: str
    closed: bool
    low_v: float
    high_v: float
    exact: bool


@dataclass(frozen=True)
class States:
    """Relay states of one situation.

    `possible`: closed relays of each combination that can be at some corner; `sure` those that surely are at one.
    `chatters`: at some corner none can be: True, False, or None if that is not shown. `history`: several can be.
    `reached`: combinations that follow from all relays open, at some corner, one round at a time.
    """

    possible: tuple[tuple[str, ...], ...]
    sure: tuple[tuple[str, ...], ...]
    chatters: bool | None
    history: bool
    reached: tuple[tuple[str, ...], ...]
    volts: tuple[tuple[RelayVolts, ...], ...]


@dataclass(frozen=True)
class Cell:
    """One cell of the truth table.

    `lever`: "plugged" or "unplugged". `wanted`: "cranks" or "no". `pull_v`, `hold_v`: least and greatest volts of the
    coil taken open and closed; `exact` False: a bracket. `either`: elements of which nobody knows whether they conduct
    here, where that decides.
    """

    request: bool
    lever: str
    wanted: str
    verdict: Verdict
    pull_v: tuple[float, float]
    hold_v: tuple[float, float]
    exact: bool
    chatters: bool
    history: bool
    either: tuple[str, ...] = ()
    why: str = ""

    @property
    def low_v(self) -> float:
        """Least volts of the coil. [V]"""
        return min(self.pull_v[0], self.hold_v[0])

    @property
    def high_v(self) -> float:
        """Greatest volts of the coil. [V]"""
        return max(self.pull_v[1], self.hold_v[1])


@dataclass(frozen=True)
class Row:
    """A detent or a mid-travel point. `least_supply_v`: a permitted detent surely cranks from here on; None: not asked,
    or not even at the highest. [V]"""

    position: str
    mid: bool
    permitted: bool
    cells: tuple[Cell, ...]
    least_supply_v: float | None = None


@dataclass(frozen=True)
class Set:
    """Severities of a fault in one situation: the coil `holds`, or `pulls_in` by itself, or `chatters`.

    `shown_*` are surely so in some truck; with `exact` both are the same. A fault without a severity has everything or
    nothing. `relays`: combinations of closed relays in which it can.
    """

    position: str
    request: bool
    operated: tuple[str, ...]
    holds: Severities
    pulls_in: Severities
    chatters: Severities
    shown_holds: Severities
    shown_pulls_in: Severities
    relays: tuple[tuple[str, ...], ...]
    exact: bool


@dataclass(frozen=True)
class StartFault:
    """What one fault does. `sets`: where it cranks and must not; `no_crank`: severities with which a permitted crank is
    not sure. `inherent`: no form of the circuit removes it. `hidden`: nobody notices until it cranks in gear.
    `by_command`: command contacts that raise the coil with it, and the severities. `moved_by_command`: the same where
    a press only moves the edge of what the fault does without it, by less than 1 % of the ohms. `defeat`: it cranks, or
    can crank at random, in a position that is not permitted. `shown`: that surely happens in some truck; False: it
    cannot be ruled out."""

    id: str
    site: str
    kind: str
    detail: str
    severity: bool
    effect: Effect
    sets: tuple[Set, ...]
    no_crank: Severities
    defeat: bool = False
    inherent: bool = False
    hidden: bool = False
    shown: bool = True
    by_command: tuple[tuple[tuple[str, ...], Severities], ...] = ()
    moved_by_command: tuple[tuple[tuple[str, ...], Severities], ...] = ()
    test: tuple[str, ...] = ()
    cure: str = ""
    nodes: tuple[str, ...] = ()

    def harmful(self) -> Severities:
        """All severities with which it cranks where it must not."""
        return union([part for each in self.sets for part in (each.holds, each.pulls_in, each.chatters)])


@dataclass(frozen=True)
class InfluenceRow:
    """Greatest coil volts at one point with command contacts operated, and with none. [V]

    `must_not`: it must not crank here, so the volts have to stay below the least drop-out.
    """

    position: str
    request: bool
    none_v: float
    worst_v: float
    operated: tuple[str, ...]
    verdict: Verdict
    must_not: bool = True

    @property
    def lift_v(self) -> float:
        """What a press adds. [V]"""
        return self.worst_v - self.none_v


@dataclass(frozen=True)
class Influence:
    """Whether command contacts can raise the coil. `separate`: no element of any kind joins them to the start circuit
    but the rails. `shared`: what does. `by_faults`: ids of the faults with which one can; `moved_faults`: of those
    whose edge a press only moves by a hair. `drop_out_low_v`: below it the coil surely lets go."""

    separate: bool
    shared: tuple[str, ...]
    rows: tuple[InfluenceRow, ...]
    by_faults: tuple[str, ...]
    verdict: Verdict
    moved_faults: tuple[str, ...] = ()
    drop_out_low_v: float = 0.0


@dataclass(frozen=True)
class FormResult:
    """One form of the same parts. `why`: why it cannot be made of them, or ""."""

    form: str
    defeats: int
    inherent: int
    shown: int
    decades: float
    only_here: tuple[str, ...]
    ids: tuple[str, ...]
    chafe_to_ground: str
    open_wire: str
    table: Verdict | None
    why: str = ""


@dataclass(frozen=True)
class Comparison:
    """Forms side by side. `own`: the form that the truck has."""

    own: str
    forms: tuple[FormResult, ...]


@dataclass(frozen=True)
class InhibitReport:
    """Everything about one start circuit."""

    form: str
    coil: str
    permitted: tuple[str, ...]
    table: tuple[Row, ...]
    influence: Influence
    faults: tuple[StartFault, ...]
    not_looked_at: tuple[str, ...]
    cautions: tuple[str, ...]
    assumed: tuple[str, ...]
    comparison: Comparison | None
    verdict: Verdict

    @property
    def defeats(self) -> tuple[StartFault, ...]:
        """Faults with which it cranks where it may not, worst first."""
        return tuple(each for each in self.faults if each.defeat)

    @property
    def exit_code(self) -> int:
        """0 only if the table and the influence pass and no defeat but inherent ones is left."""
        return self.verdict.exit_code


def as_json(result: Any) -> Any:
    """A result as plain JSON values: infinite numbers as "inf", missing ones as null, severities as
    ``[low_ohm, high_ohm, low_in, high_in]``."""
    if isinstance(result, Interval):
        return [as_json(result.low_ohm), as_json(result.high_ohm), result.low_in, result.high_in]
    found = plain(result, as_json)
    if isinstance(result, Cell):
        return {**found, "low_v": as_json(result.low_v), "high_v": as_json(result.high_v)}
    if isinstance(result, InhibitReport):
        return {**found, "exit_code": result.exit_code}
    return found
