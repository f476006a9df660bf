"""Why a class stands where it stands: each reading taken away in turn.

Answers: which readings speak for a class, which against it, and how much hangs on each?
Units:   probabilities.
Touches: nothing.
How:     the posterior without one reading; no share is given to a reading by itself, because readings work together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.find.session import Session
from pinproof.find.words import reading_words

MOVES = 1.2  # odds that a reading moves by less than this factor count as moved by nothing


@dataclass(frozen=True)
class Because:
    """One reading: `without` is the probability of the class had it not been taken, `now` the one with it."""

    look: str
    reading: str
    now: float
    without: float

    @property
    def speaks(self) -> str:
        """ "for", "against" or "neither"."""
        now, without = odds(self.now), odds(self.without)
        if now > without * MOVES:
            return "for"
        return "against" if without > now * MOVES else "neither"


def odds(p: float) -> float:
    """p to 1 − p, kept finite."""
    p = min(max(p, 1e-12), 1.0 - 1e-12)
    return p / (1.0 - p)


def why(session: Session, name: str) -> tuple[Because, ...]:
    """Every reading of a session, the one that a class hangs on most first.

    Parameters
    ----------
    session : Session
    name : str
        A class of its posterior.

    Raises
    ------
    KeyError
        There is no such class.
    """
    diagnosis = session.diagnosis
    found = diagnosis.posterior(session.seen)
    if name not in {each.name for each in found.classes}:
        raise KeyError(name)
    now = found.of(name)
    out = []
    for each in session.seen:
        rest = diagnosis.posterior([one for one in session.seen if one is not each])
        out.append(Because(each.look.id, reading_words(each), now, rest.of(name)))
    return tuple(sorted(out, key=lambda one: -abs(_log_ratio(one))))


def _log_ratio(one: Because) -> float:
    return math.log(odds(one.now) / odds(one.without))
