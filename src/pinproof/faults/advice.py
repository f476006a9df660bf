"""What to do about a fault, in words: only where it helps, and claiming no values.

Answers: which outside check finds a fault that the controller cannot tell from nobody pressing; what keeps a fault of
         the shop from getting into the truck.
Touches: nothing.
Beside:  `cures` has the changes of the design that were tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pinproof.design.model import Line
from pinproof.design.words import hanging_return
from pinproof.faults.results import FaultEffect

MOST_PRESSES = 3  # named one by one
ASSEMBLY = {
    "swapped": "Press each command once at the finished truck and see what the controller says it is; use plugs that "
    "fit one way only.",
    "decade-low": "Measure each resistor before it is soldered, and the finished branch before it is sealed.",
    "decade-high": "Measure each resistor before it is soldered, and the finished branch before it is sealed.",
    "wrong-throw": "Beep the contact out at rest and pressed before it is wired.",
}


def advice_for(line: Line, effect: FaultEffect) -> FaultEffect:
    """The same effect with its advice."""
    if effect.effect == "none":
        return effect
    words = []
    if effect.unnoticed:
        words.append(outside_check(line, [effect]))
    if effect.fault.kind in ASSEMBLY:
        words.append(ASSEMBLY[effect.fault.kind])
    return replace(effect, advice=tuple(words))


def outside_check(line: Line, effects: Sequence[FaultEffect]) -> str:
    """A check that needs the truck at rest and a meter, for faults that idle does not show; it finds each of them."""
    lost = dict.fromkeys(" + ".join(each.operated) for effect in effects for each in effect.lost if each.operated)
    press = ", ".join(list(lost)[:MOST_PRESSES]) + (" and the others" if len(lost) > MOST_PRESSES else "")
    each = "it" if len(lost) == 1 else "each"
    if line.source_side == "return":
        cavity = hanging_return(line)
        against = f"{cavity}, joined to chassis with a clip lead," if cavity else "ground"
    else:
        against = "the load side of its removed fuse" if line.is_fused else "the cavity that feeds the switches"
    return (
        f"With nothing pressed it reads as {line.idle}, so the controller cannot show it. Outside check, truck at rest:"
        f" press {press} and see that the controller names {each}; or unplug the controller and measure the coded wire"
        f" against {against} with {each} pressed."
    )
