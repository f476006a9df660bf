"""Presses: when a tap switch was closed, from whichever channel shows it.

Answers: when did each press begin, how long did it last, did it bounce, where could one hide between samples?
Units:   seconds from the log's begin.
Touches: nothing.
Beside:  `requests` joins presses with what the gearbox did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pinproof.logs import limits
from pinproof.logs.runs import Runs
from pinproof.logs.settings import LineSettings

Way = Literal["up", "down"]


@dataclass(frozen=True)
class Press:
    """One press: it began after `before_s` and not after `first_s`; `after_s` is the first open sample behind it.

    NaN where a gap hides the edge. `bounced_s` are the opens inside that were bounce; `unclear` if one of them was
    neither surely bounce nor surely a second press.
    """

    way: Way
    before_s: float
    first_s: float
    last_s: float
    after_s: float
    bounced_s: tuple[float, ...] = ()
    unclear: bool = False
    too_short: bool = False
    reading: float = float("nan")

    @property
    def least_s(self) -> float:
        """Surely closed for so long."""
        return self.last_s - self.first_s

    @property
    def most_s(self) -> float:
        """Closed for so long at most; NaN where an edge is hidden."""
        return self.after_s - self.before_s


def presses_of_state(runs: Runs, way: Way, pressed: Sequence[float], interval_s: float) -> list[Press]:
    """Presses of a channel that is one of `pressed` while the button is closed.

    `interval_s` is how far apart its own samples are, where rows only repeat them.
    """
    if not len(runs):
        return []
    on = np.isin(runs.value, pressed)
    after = runs.after_s
    found: list[Press] = []
    for number in np.flatnonzero(on):
        before = min(float(runs.before_s[number]), float(runs.first_s[number]) - interval_s)
        if np.isnan(runs.before_s[number]):
            before = float("nan")
        made = Press(
            way, before, float(runs.first_s[number]), float(runs.last_s[number]), float(after[number]),
            reading=float(runs.means[number]) if runs.sum.any() else float("nan"),
        )  # fmt: skip
        found.append(made)
    return _joined(found)


def presses_of_pin(runs: Runs, line: LineSettings, way: Way, interval_s: float) -> list[Press]:
    """Presses of a decoded pin: the meaning `way`, held through readings in no window for up to the debounce time."""
    numbers = [float(number) for number, window in enumerate(line.windows) if window.meaning == way]
    if not numbers or not len(runs):
        return []
    means = runs.means
    on = np.isin(runs.value, numbers)
    stray = (runs.value < 0.0) & (runs.last_s - runs.first_s < line.greatest_debounce_s)
    after = runs.after_s
    found: list[Press] = []
    number = 0
    while number < len(runs):
        if not on[number]:
            number += 1
            continue
        end = number
        while (
            end + 2 < len(runs)
            and stray[end + 1]
            and on[end + 2]
            and not np.isnan(runs.before_s[end + 1 : end + 3]).any()
        ):
            end += 2
        before = min(float(runs.before_s[number]), float(runs.first_s[number]) - interval_s)
        if np.isnan(runs.before_s[number]):
            before = float("nan")
        best = number + int(np.argmax(runs.count[number : end + 1]))
        press = Press(
            way, before, float(runs.first_s[number]), float(runs.last_s[end]), float(after[end]),
            reading=float(means[best]),
        )  # fmt: skip
        number = end + 1
        if press.most_s < line.least_debounce_s:
            continue  # passed through on the way to another reading
        found.append(replace(press, too_short=press.least_s < line.greatest_debounce_s))
    return _joined(found)


def _joined(presses: list[Press]) -> list[Press]:
    """Presses of one button, with bounce taken out."""
    out: list[Press] = []
    for press in presses:
        last = out[-1] if out else None
        if last is not None and not np.isnan(last.after_s) and not np.isnan(press.before_s):
            most = press.first_s - last.last_s
            least = press.before_s - last.after_s
            if most < limits.BOUNCE_S or least < limits.INTENT_S <= most or most < limits.INTENT_S:
                sure = most < limits.BOUNCE_S
                out[-1] = replace(
                    last, last_s=press.last_s, after_s=press.after_s,
                    bounced_s=(*last.bounced_s, last.last_s) if sure else last.bounced_s,
                    unclear=last.unclear or not sure or press.unclear,
                    too_short=last.too_short and press.too_short,
                )  # fmt: skip
                continue
        out.append(press)
    return out
