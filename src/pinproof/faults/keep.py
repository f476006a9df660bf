"""To keep racing: what to unplug, and which commands are then left, proven on the netlist.

Answers: with one station unplugged, or with the coded wire out of the controller's plug, which situations still read
         what they must, in the worst case, and what nothing pressed reads.
Touches: nothing.
Beside:  `effects` does the same for every fault; here the line is as the file says but for what was pulled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinproof.design.model import Line, Truck
from pinproof.faults.answers import Answer, answers
from pinproof.faults.circuit import change_of
from pinproof.faults.effects import effect_of, moving_of
from pinproof.faults.questions import Questions, questions_of
from pinproof.faults.results import Fault
from pinproof.faults.sites import sites, whole_view
from pinproof.proof.judging import unproven_reason
from pinproof.proof.situations import requirement
from pinproof.wiring import line_view


@dataclass(frozen=True)
class Kept:
    """One thing to unplug and what remains.

    `station` is a station's id, or "" for the coded wire at the controller. `left` lists the commands that still work:
    operated contacts and meaning; `lost` those that do not, in some truck. `idle_reads`: what the controller may
    conclude with nothing pressed. `is_safe`: nothing that is left can read as a command nobody gave. `also_read`:
    presses that need read no command, yet can: a tap without its manual contact that the circuit does not hold back.
    """

    station: str
    left: tuple[tuple[tuple[str, ...], str], ...]
    lost: tuple[tuple[tuple[str, ...], str], ...]
    idle_reads: tuple[str, ...]
    is_safe: bool
    also_read: tuple[tuple[tuple[str, ...], str], ...] = ()


def keep_racing(truck: Truck, line: Line | str) -> tuple[Kept, ...]:
    """What can be unplugged, the one that leaves most commands first; empty for a line that cannot be proven.

    Raises
    ------
    NoSolution
        More situations or causes than are enumerated.
    """
    seen = line_view(truck, line)
    if unproven_reason(truck, seen.line, seen):
        return ()
    view = whole_view(seen)
    asked = questions_of(view)
    pulled = [each for each in sites(view) if each.kind == "unplugged" or _is_coded_wire(seen.line, each)]
    changes = [change_of(view, each) for each in pulled]
    found = answers(asked, changes, [moving_of(each) for each in changes])
    out = []
    for fault, answer in zip(pulled, found, strict=True):
        effect = effect_of(asked, fault, answer)
        station = fault.site.removeprefix("station.") if fault.kind == "unplugged" else ""
        gone = {c.id for c in truck.contacts_of(seen.line) if not station or c.station == station}
        broken = {each.operated for each in effect.lost}
        left: list[tuple[tuple[str, ...], str]] = []
        lost: list[tuple[tuple[str, ...], str]] = []
        for situation in asked.situations:
            need = requirement(truck, seen.line, situation, "run")
            if not situation.operated or need.how != "inside" or not need.means:
                continue
            works = situation.operated not in broken and not gone & situation.key
            (left if works else lost).append((situation.operated, need.means))
        false = [each for each in effect.false if not gone & set(each.operated)]
        out.append(
            Kept(station, tuple(left), tuple(lost), effect.idle_reads, not false, _also_read(asked, answer, gone, left))
        )
    return tuple(sorted(out, key=lambda each: (not each.is_safe, -len(each.left), len(each.also_read))))


def _also_read(
    asked: Questions, answer: Answer, gone: set[str], left: Sequence[tuple[tuple[str, ...], str]]
) -> tuple[tuple[tuple[str, ...], str], ...]:
    """Presses of what is still plugged in that can be read as a command, beside those that must be."""
    named = {operated for operated, _ in left}
    read = answer.read() & ~asked.forbidden
    out = []
    for s, situation in enumerate(asked.situations):
        if not situation.operated or situation.operated in named or gone & situation.key:
            continue
        for w, window in enumerate(asked.windows):
            if window.kind == "command" and read[s, asked.in_run, w].any():
                out.append((situation.operated, window.meaning))
    return tuple(dict.fromkeys(out))


def _is_coded_wire(line: Line, fault: Fault) -> bool:
    return fault.kind == "open" and line.wire is not None and fault.site == line.wire.path
