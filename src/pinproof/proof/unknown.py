"""What can be said of a line whose pull nobody has measured.

Answers: for which pulls would the line hold, which situation gives way first, how far are the coder's ohms from the
         ohms that are wanted, which one measurement decides most.
Units:   ohms; readings in ratio or volts.
Touches: nothing.
Sources: usual pulls of 470 Ω to 10 kΩ: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from pinproof.design.model import UNKNOWN, Input, Line, Resistor, Truck
from pinproof.errors import PinproofError
from pinproof.network import resistance_between
from pinproof.proof.judging import judge_line
from pinproof.proof.results import Finding, SituationProof
from pinproof.proof.situations import requirement, situations_of
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.wiring import LineView, line_view

PLAUSIBLE_PULL_OHM = (470.0, 10_000.0)
TRIED_PULLS = 17
TRIED_TOLERANCE = 0.05


@dataclass(frozen=True)
class PullTried:
    """One pull that was supposed, and the proof's worst situation with it."""

    pull_ohm: float
    verdict: Verdict
    worst: SituationProof


def plausible_pulls_ohm() -> tuple[float, ...]:
    """The pulls that are tried: spread evenly in ratio over the usual range. [Ω]"""
    low, high = PLAUSIBLE_PULL_OHM
    return tuple(float(x) for x in np.geomspace(low, high, TRIED_PULLS))


def with_pull(truck: Truck, line: Line, pull_ohm: float) -> Truck:
    """The same truck, supposing this pull, and that its lists in ohms mean this pull."""
    owner = truck.input_of(line)
    supposed = _supposed(owner, line, pull_ohm)
    windows = tuple(
        dataclasses.replace(each, with_pull_ohm=pull_ohm) if each.kind == "ohm" else each for each in line.windows
    )
    targets = tuple(
        dataclasses.replace(each, with_pull_ohm=pull_ohm) if each.kind == "ohm" else each for each in line.targets
    )
    changed = dataclasses.replace(line, windows=windows, targets=targets)
    return dataclasses.replace(
        truck,
        inputs=tuple(supposed if each.id == owner.id else each for each in truck.inputs),
        lines=tuple(changed if each.id == line.id else each for each in truck.lines),
    )


def pulls_tried(truck: Truck, line: Line) -> tuple[PullTried, ...]:
    """The proof of a line for each plausible pull."""
    out = []
    for pull_ohm in plausible_pulls_ohm():
        view = line_view(with_pull(truck, line, pull_ohm), line.id)
        rows = [row for judged in judge_line(view) for row in judged.rows]
        worst = min(rows, key=lambda row: (row.verdict.rank, row.margin))
        out.append(PullTried(pull_ohm, worst.verdict, worst))
    return tuple(out)


def coder_ohms(view: LineView, operated: frozenset[str]) -> tuple[float, float, float]:
    """Least, nominal and greatest resistance of the dry coder from pin to source side, the controller unplugged. [Ω]

    Nothing leaks: on the bench a range with wet plugs in it would let a wrong resistor pass. Tolerance, heat, ageing
    and contact wear count. All supplies count as joined.

    A resistance between two points falls when any element's falls (Rayleigh), so both
    ends lie at the ends of the box.
    """
    pulls = [branch.kind == "pull" for branch in view.branches]
    low_s, high_s = view.box_s([operated])
    rows = np.vstack([high_s, view.nominal_s([operated]), low_s])
    rows[:, pulls] = 0.0
    leaks = [
        branch.kind == "leak" or (branch.kind == "contact" and view.parameter(column, operated).endswith(".open"))
        for column, branch in enumerate(view.branches)
    ]
    rows[:, leaks] = 0.0
    source = f"{view.line.source_side}@{view.line.id}"
    ohms = resistance_between(view.net, rows, view.pin, source, killed="shorted")
    return float(ohms[0]), float(ohms[1]), float(ohms[2])


def what_can_be_said(view: LineView) -> tuple[Finding, ...]:
    """Findings on a line that cannot be proven because its pull is unknown; empty where something else is missing."""
    truck, line, owner = view.truck, view.line, view.input
    is_unknown = owner.pull_up is UNKNOWN or owner.pull_down is UNKNOWN
    if not is_unknown or not view.is_complete or not (line.windows or line.targets):
        return ()
    try:
        tried = pulls_tried(truck, line)
    except PinproofError:
        return ()
    return (*_over_pulls(tried), *_distances(view))


def _over_pulls(tried: tuple[PullTried, ...]) -> tuple[Finding, ...]:
    holds = [each for each in tried if each.verdict.rank >= Verdict.WOULD_HOLD.rank]
    worst = min(tried, key=lambda each: (each.verdict.rank, each.worst.margin))
    low, high = (format_value(ohm, "resistance", digits=2) for ohm in PLAUSIBLE_PULL_OHM)
    if len(holds) == len(tried):
        text = f"Would hold for every usual pull ({low} to {high}), the pull within 5 %."
    elif not holds:
        text = f"Holds for no usual pull ({low} to {high})."
    else:
        parts = ", ".join(format_value(each.pull_ohm, "resistance", digits=2) for each in holds)
        text = f"Would hold for pulls near {parts}; not for the other usual pulls ({low} to {high})."
    name = " + ".join(worst.worst.operated) or "nothing operated"
    text += (
        f" Worst is a pull of {format_value(worst.pull_ohm, 'resistance', digits=2)}: {name} has a margin of "
        f"{worst.worst.margin:.2f}. Measure the pull first: load the pin with a known resistor and read the voltage "
        "with and without it."
    )
    numbers: dict[str, float | str] = {
        "holds": float(len(holds)),
        "tried": float(len(tried)),
        "worst_pull_ohm": worst.pull_ohm,
        "worst_margin": worst.worst.margin,
    }
    return (Finding("unknown-pull", Verdict.NOT_SHOWN, view_name(worst.worst), text, numbers),)


def view_name(row: SituationProof) -> str:
    """Operated contacts in words."""
    return " + ".join(row.operated) or "nothing operated"


def _distances(view: LineView) -> tuple[Finding, ...]:
    """How far the coder's own ohms lie from the wanted ones."""
    wanted = {each.meaning: each.reading for each in view.line.targets if each.kind == "ohm"}
    out = []
    for situation in situations_of(view.truck, view.line):
        need = requirement(view.truck, view.line, situation, "run")
        if need.how != "inside" or need.means not in wanted:
            continue
        low, nominal, high = coder_ohms(view, situation.key)
        target = wanted[need.means]
        name = " + ".join(situation.operated) or "nothing operated"
        if math.isinf(target) or math.isinf(nominal):
            off = "open as wanted" if math.isinf(target) and math.isinf(nominal) else "open against closed"
        else:
            off = f"{(nominal / target - 1.0) * 100.0:+.1f} % off" if target > 0.0 else "target is a short"
        text = (
            f"{name}: the coder shows {_ohm(nominal)} ({_ohm(low)} to {_ohm(high)}, dry), "
            f"wanted for {need.means} are {_ohm(target)}: {off}."
        )
        numbers: dict[str, float | str] = {
            "low_ohm": low, "nominal_ohm": nominal, "high_ohm": high, "target_ohm": target
        }  # fmt: skip
        out.append(Finding("target-distance", None, name, text, numbers))
    return tuple(out)


def _ohm(ohm: float) -> str:
    return "open" if math.isinf(ohm) else format_value(ohm, "resistance", digits=3)


def _supposed(owner: Input, line: Line, pull_ohm: float) -> Input:
    pull = Resistor(
        ohm=pull_ohm,
        tolerance=TRIED_TOLERANCE,
        ageing=0.0,
        tempco_per_k=0.0,
        tempco_known=False,
        path=f"input.{owner.id}.{'pull_up' if line.source_side == 'return' else 'pull_down'}",
        text="supposed",
    )
    if line.source_side == "return":
        other = None if owner.pull_down is UNKNOWN else owner.pull_down
        return dataclasses.replace(owner, pull_up=pull, pull_down=other)
    other = None if owner.pull_up is UNKNOWN else owner.pull_up
    return dataclasses.replace(owner, pull_down=pull, pull_up=other)
