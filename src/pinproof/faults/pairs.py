"""Two faults at once: the false commands that neither gives alone.

Answers: which pairs are worse than both their parts, and for which severities of each.
Units:   ohms for severities.
Touches: nothing.
Beside:  `effects` does the single faults. Two faults of one part, or of one pair of nodes, are no pair.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from pinproof.faults.answers import Answer, answers, severities, united
from pinproof.faults.circuit import Change
from pinproof.faults.questions import Questions
from pinproof.faults.results import PairEffect, Pairs, Severities

MOST_PAIRS = 20_000
PIECE = 512
Progress = Callable[[int, int], None]
"""Called with pairs done and pairs in all."""
BoolArray = npt.NDArray[np.bool_]


def possible_pairs(changes: Sequence[Change]) -> Iterator[tuple[int, int]]:
    """Numbers of changes that can act at once."""
    touched = [change.touches for change in changes]
    for i, j in itertools.combinations(range(len(changes)), 2):
        if not touched[i] & touched[j]:
            yield i, j


def pairs_of(
    asked: Questions, changes: Sequence[Change], alone: Sequence[Answer], most: int, progress: Progress | None = None
) -> Pairs:
    """Pairs of single faults that give a false command neither gives alone.

    Parameters
    ----------
    changes, alone : the single faults and their answers
    most : int
        Bound on the pairs looked at; the rest is counted in the result.
    """
    every = list(possible_pairs(changes))
    taken = sorted(every[:most], key=lambda pair: (changes[pair[0]].added, changes[pair[1]].added))
    false = [answer.read() & asked.forbidden for answer in alone]
    new: list[PairEffect] = []
    for start in range(0, len(taken), PIECE):
        part = taken[start : start + PIECE]
        both = [changes[i].with_(changes[j]) for i, j in part]
        for (i, j), change, answer in zip(part, both, answers(asked, both, [None] * len(both)), strict=True):
            fresh = answer.read() & asked.forbidden & ~(false[i] | false[j])
            if fresh.any():
                new += _described(asked, change, fresh)
        if progress is not None:
            progress(min(start + PIECE, len(taken)), len(taken))
    new.sort(key=lambda each: (len(each.operated), each.key_state != "run"))
    return Pairs(len(taken), len(every) - len(taken), most, tuple(new))


def moving_of_pair(change: Change) -> tuple[str | None, str | None]:
    """The branch that moves for the first fault of a pair, and that for the second; None where it has no severity."""
    severe, added = list(change.severe), [f"fault.{n}" for n in range(len(change.added))]
    out: list[str | None] = []
    for fault in change.faults:
        if not fault.severity:
            out.append(None)
        else:
            out.append(added.pop(0) if fault.nodes else severe.pop(0))
    return out[0], out[1]


def _described(asked: Questions, change: Change, fresh: BoolArray) -> Iterator[PairEffect]:
    """One entry for each command: in the situation with the fewest contacts operated."""
    moving = moving_of_pair(change)
    each = [None if one is None else answers(asked, [change], [one])[0] for one in moving]
    commands = dict.fromkeys(asked.windows[w].meaning for w in fresh.nonzero()[2])
    for command in commands:
        windows = [w for w, window in enumerate(asked.windows) if window.meaning == command]
        s, k = np.argwhere(fresh[:, :, windows].any(axis=2)).tolist()[0]  # situations: the fewest operated first
        here = [w for w in windows if fresh[s, k, w]]
        one, other = (_severities(answer, s, k, here) for answer in each)
        block = asked.blocks[k]
        yield PairEffect(
            change.faults[0], change.faults[1], command, block.key_state, block.space.name,
            asked.situations[s].operated, one, other,
        )  # fmt: skip


def _severities(answer: Answer | None, s: int, k: int, windows: Sequence[int]) -> Severities | None:
    if answer is None:
        return None
    return united(severities(answer.read_set(s, k, w, 0), answer.read_set(s, k, w, 1)) for w in windows)
