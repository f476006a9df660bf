"""The four words a judgement can end in, and their order.

Answers: which of several verdicts decides, and which exit code does it give?
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum


class Verdict(StrEnum):
    """Outcome of one judgement. What the numbers cannot show is never a pass."""

    PASS = "pass"
    FAIL = "fail"
    NOT_SHOWN = "not shown"
    WOULD_HOLD = "would hold if"

    @property
    def rank(self) -> int:
        """Order from worst to best: fail 0, not shown 1, would hold if 2, pass 3."""
        return _RANKS[self]

    @property
    def holds(self) -> bool:
        """Pass, or a pass that rests on windows nobody measured: would hold if."""
        return self in (Verdict.PASS, Verdict.WOULD_HOLD)

    @property
    def exit_code(self) -> int:
        """0 for a pass, 1 for everything else."""
        return 0 if self is Verdict.PASS else 1


_RANKS = {Verdict.FAIL: 0, Verdict.NOT_SHOWN: 1, Verdict.WOULD_HOLD: 2, Verdict.PASS: 3}


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The lowest-ranked verdict. ValueError if there are none: an empty proof shows nothing, and hides why."""
    listed = list(verdicts)
    if not listed:
        raise ValueError("no verdicts were given; a proof of nothing is not a pass")
    return min(listed, key=_RANKS.__getitem__)
