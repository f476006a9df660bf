"""Current that the coder drives into a controller that sleeps or is dead.

Answers: if the coder's feed stays live while the controller has no supply, how much current enters the pin?
Units:   volts, ohms, amperes.
Touches: nothing.
Sources: Ohm's law. That inputs have a clamp to their own supply is common practice, no source; the clamp is taken as
         holding the pin at 0 V, which gives the largest current.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinproof.network import resistance_between
from pinproof.observe.pin import box_of
from pinproof.proof.checks.common import situation_words
from pinproof.proof.judging import Judged
from pinproof.proof.results import Finding
from pinproof.quantities import format_value
from pinproof.wiring import LineView

NAME = "back-feed"


def into_pin_a(feed_v: float, path_ohm: float) -> float:
    """Current into a pin that is held at 0 V. [A] Infinite through a path of 0 Ω."""
    return float("inf") if path_ohm == 0.0 else feed_v / path_ohm


def back_feed(view: LineView, judged: Sequence[Judged]) -> tuple[Finding, ...]:
    """A note on the largest current into the pin; none where nothing of the coder hangs on the battery."""
    rails = _live_rails(view)
    if not rails:
        return ()
    situations = [situation.key for situation in judged[0].situations]
    names = [situation.operated for situation in judged[0].situations]
    _, high_s = box_of(view, situations)
    for column, branch in enumerate(view.branches):
        if branch.kind in ("pull", "leak"):
            high_s[:, column] = 0.0
    worst: tuple[float, float, tuple[str, ...]] | None = None
    for rail, feed_v in rails:
        path_ohm = resistance_between(view.net, high_s, rail, view.pin, killed="open")
        index = int(np.argmin(path_ohm))
        current_a = into_pin_a(feed_v, float(path_ohm[index]))
        if worst is None or current_a > worst[0]:
            worst = (current_a, feed_v, names[index])
    assert worst is not None
    current_a, feed_v, operated = worst
    if current_a == 0.0:
        return ()
    amount = "unlimited current" if np.isinf(current_a) else f"up to {format_value(current_a, 'current', digits=2)}"
    text = (
        f"If the coder's feed is live while the controller sleeps or is dead, {amount} enters the pin"
        f" {situation_words(operated)} ({format_value(feed_v, 'voltage', digits=3)}, least resistance on the way)."
    )
    cure = "Feed the coder from a supply that is switched off with the controller, or ask what the pin may take."
    numbers: dict[str, float | str] = {"current_a": current_a, "feed_v": feed_v, "operated": ", ".join(operated)}
    return (Finding(NAME, None, view.input.id, text, numbers, cure),)


def _live_rails(view: LineView) -> list[tuple[str, float]]:
    """Rails fed by the battery that touch the coder, with the most they can have in any key state. [V]"""
    coder = {node for b in view.branches if b.kind not in ("pull", "leak") for node in (b.a, b.b)}
    out = []
    for name, gains in zip(view.net.rails, view.rail_gains, strict=True):
        if name not in coder or not any(cause == "supply" for cause, _ in gains):
            continue
        most = 0.0
        for key_state in view.truck.supply.states:
            known = view.physical.causes(key_state)
            ends = (known[cause].high_v if gain > 0.0 else known[cause].low_v for cause, gain in gains)
            most = max(most, sum(gain * end for (_, gain), end in zip(gains, ends, strict=True)))
        out.append((name, most))
    return out
