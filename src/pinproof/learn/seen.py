"""What a reading changes: the state after it was seen.

Answers: the readings with the new one; which meanings hold until the key is turned; which stale readings are set aside.
Units:   ohms of the load.
Touches: nothing. The state before is as it was.
"""

from __future__ import annotations

from dataclasses import replace

from pinproof.learn.state import INVALID, REST, REST_LAST, LearnFault, Observation, State, Step, Visit
from pinproof.learn.stock import INF
from pinproof.learn.turning import turned

LONGEST_MEANING = 60


def update(state: State, step: Step, seen: Observation) -> State:
    """The state after a step.

    Raises
    ------
    LearnFault
        The observation does not go with the step.
    """
    if step.kind == "measure":
        return _measured(state, step, seen)
    meaning = None if seen.meaning is None else " ".join(seen.meaning.split())
    if step.kind == "pot":
        return turned(state, step, replace(seen, meaning=meaning))
    if meaning is None:
        return replace(state, skipped=(*state.skipped, (step.ohm, step.direction)))
    if not meaning or len(meaning) > LONGEST_MEANING:
        raise LearnFault(
            "reading", f'A meaning is a word of 1 to {LONGEST_MEANING} letters; nothing shown is "{INVALID}".'
        )
    fresh = Visit(
        meaning, step.direction, step.join, step.parts, step.ohm, step.low_ohm, step.high_ohm, step.via_ohm,
        step.key_cycle, False, 0, step.test,
    )  # fmt: skip
    before = state.visits[-1] if state.visits else None
    if step.test == "latch" and before is not None:
        held = step.from_meaning
        mark = {"latching": (*state.latching, held)} if meaning == held else {"steady": (*state.steady, held)}
        return replace(state, visits=(*state.visits, replace(fresh, aside=True)), **mark)  # type: ignore[arg-type]
    if step.test in (REST, REST_LAST):
        return _rest_known(state, fresh)
    if step.test == "again":
        return _repeated(state, fresh)
    if before is not None and fresh.join == "open" and fresh.via_ohm and meaning != state.visits[0].meaning:
        return _kept_open(state, fresh)
    steady = list(state.steady)
    if before is not None and len(state.visits) > 1 and meaning not in may_hold(state):
        if not step.key_cycle and meaning != before.meaning:
            steady.append(before.meaning)
        if INF in step.via_ohm and not state.rest_latches:
            steady.append(state.visits[0].meaning)
    return replace(state, visits=(*state.visits, fresh), steady=tuple(dict.fromkeys(steady)))


def may_hold(state: State) -> frozenset[str]:
    """Meanings that may hold until the key is turned: those at both ends, and those told to be faults.

    A held fault gives way to another fault, so a change to one of these does not prove that the one before let go.
    """
    return frozenset((*(each.meaning for each in state.visits[:2]), *state.faults, *state.latching))


def _rest_known(state: State, fresh: Visit) -> State:
    """After the key was turned on upon a load that had shown the open pin's meaning: does an open pin hold it?"""
    rest = state.visits[0]
    if fresh.meaning == rest.meaning:
        sure = (rest.meaning,) if fresh.test == REST_LAST else ()
        return replace(
            state, visits=(*state.visits, replace(fresh, direction=state.main)), steady=(*state.steady, *sure)
        )
    stale = tuple(
        replace(
            each,
            aside=each.aside or (each.meaning == rest.meaning and i > 0),
            direction="none" if i == 0 else each.direction,
        )
        for i, each in enumerate(state.visits)
    )
    return replace(
        state,
        visits=(*stale, replace(fresh, direction="none")),
        rest_latches=True,
        method="stock",  # there is no turning away from what an open pin holds
        latching=(*state.latching, rest.meaning),
    )


def _repeated(state: State, fresh: Visit) -> State:
    """After a suspected reading was repeated with a key cycle."""
    stale = state.visits[-1]
    if fresh.meaning == stale.meaning:
        return replace(state, visits=(*state.visits, fresh))
    held = stale.meaning
    kept = list(state.visits)
    for i in range(len(kept) - 1, 0, -1):
        if kept[i].meaning != held or kept[i].key_cycle:
            break
        if kept[i - 1].meaning == held:
            kept[i] = replace(kept[i], aside=True)
    return replace(state, visits=(*kept, fresh), latching=tuple(dict.fromkeys((*state.latching, held))))


def _kept_open(state: State, fresh: Visit) -> State:
    """A meaning that stayed when its load was taken off: the open pin shows its own only after the key was turned.

    What was read of this meaning, coming from the open pin without the key, then came from this meaning itself.
    """
    kept = tuple(
        replace(each, aside=True)
        if each.meaning == fresh.meaning and each.direction == state.main and not each.key_cycle else each
        for each in state.visits
    )  # fmt: skip
    return replace(
        state, visits=(*kept, fresh), latching=tuple(dict.fromkeys((*state.latching, fresh.meaning))),
        steady=tuple(each for each in state.steady if each != fresh.meaning),
    )  # fmt: skip


def _measured(state: State, step: Step, seen: Observation) -> State:
    (part,) = step.parts
    if seen.ohm is None:
        return replace(state, asked=(*state.asked, part))
    if not 0.0 < seen.ohm < INF or seen.reach_ohm < 0.0:
        raise LearnFault("measured ohms", f"{seen.ohm!r} ohm cannot be; a resistor has more than 0.")
    others = tuple(each for each in state.measured if each[0] != part)
    return replace(state, measured=(*others, (part, seen.ohm, seen.reach_ohm)), asked=(*state.asked, part))


def is_off(state: State, part: int) -> bool:
    """True if a part was measured outside what is printed on it, the meter's half-width allowed for."""
    if part not in state.known:
        return False
    ohm, reach = state.known[part]
    return abs(ohm - state.stock[part].ohm) > state.stock[part].reach_ohm + reach
