"""What can be said of a line whose pull nobody has measured.

Answers: for which pulls would the line hold, how far are the coder's ohms from the ohms that are wanted.
Units:   ohms; readings in ratio or volts.
Touches: nothing.
Beside:  `outlook` tries the usual pulls.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from pinproof.design.model import Line
from pinproof.design.pull_words import pull_measurement_of
from pinproof.network import resistance_between
from pinproof.proof.outlook import MOST_SITUATIONS, Outlook, outlooks, pull_is_unknown
from pinproof.proof.results import Finding
from pinproof.proof.situations import requirement, situations_of
from pinproof.quantities import format_value
from pinproof.verdict import Verdict
from pinproof.wiring import LineView


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
    if not pull_is_unknown(owner) or not view.is_complete or not (line.windows or line.targets):
        return ()
    seen = outlooks(truck, line)
    cure = pull_measurement_of(owner, line).text
    if not seen and len(situations_of(truck, line)) > MOST_SITUATIONS:
        text = f"The usual pulls were not tried: the line has more than {MOST_SITUATIONS} situations."
        return (Finding("unknown-pull", Verdict.NOT_SHOWN, line.id, text, {}, cure), *_distances(view))
    return (*_over_pulls(seen, line, cure), *_distances(view))


def _over_pulls(seen: Sequence[Outlook], line: Line, cure: str) -> Iterator[Finding]:
    """One finding for each way the controller may judge; how to measure stands once, at the last."""
    for number, each in enumerate(seen, start=1):
        numbers: dict[str, float | str] = {
            "judges": each.judges,
            "tried": float(len(each.tried)),
            "single_hold": float(len(each.single_ohm)),
            "all_hold": float(len(each.holding_ohm)),
        }
        text = f"{each.judged_words if len(seen) > 1 else ''}{each.text}"
        last = number == len(seen)
        yield Finding("unknown-pull", Verdict.NOT_SHOWN, line.id, text, numbers, cure if last else "")


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
            both = math.isinf(target) and math.isinf(nominal)
            off = "as wanted" if both else "a resistor is missing" if math.isinf(nominal) else "it must be open"
        else:
            off = _off(nominal / target - 1.0) if target > 0.0 else "the target is a short"
        text = (
            f"{name}: the coder shows {_ohm(nominal)} ({_span(low, high)}dry); "
            f"{need.means} wants {_ohm(target)}: {off}."
        )
        numbers: dict[str, float | str] = {
            "low_ohm": low, "nominal_ohm": nominal, "high_ohm": high, "target_ohm": target
        }  # fmt: skip
        out.append(Finding("target-distance", None, name, text, numbers))
    return tuple(out)


def _off(ratio: float) -> str:
    """How far off in percent with one decimal; what rounds to nothing is on target."""
    percent = f"{ratio * 100.0:+.1f}"
    return "on target" if float(percent) == 0.0 else f"{percent} % off"


def _span(low: float, high: float) -> str:
    """ "2.8 kΩ to 2.98 kΩ, ", or nothing where both ends are open."""
    return "" if math.isinf(low) else f"{_ohm(low)} to {_ohm(high)}, "


def _ohm(ohm: float) -> str:
    return "open" if math.isinf(ohm) else format_value(ohm, "resistance", digits=3)
