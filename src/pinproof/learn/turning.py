"""The potentiometer method: turn until the shown meaning changes, disconnect, measure.

Answers: the next turn, and the readings it gives.
Units:   ohms.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import replace

from pinproof.learn.pick import least_load
from pinproof.learn.state import REST, Direction, LearnFault, Observation, State, Step, Visit
from pinproof.learn.stock import INF

CLEAR = 0.02  # of full scale: so far from an edge a turn begins, that the key may be turned on there
SHAFT = 0.25  # of the distance between the two measurements: how far taking it off may move it
LEAST_BEYOND = 0.02  # of full scale
BEYOND = 2.0  # a flip seen twice: the bracket reaches back by so many times their difference


def next_turn(state: State) -> Step | None:
    """The next turn of the potentiometer, None when both directions are through."""
    if not state.visits:
        return Step("load", INF, "What does it show with nothing on the pin?", state.main, "open")
    other: Direction = "rising" if state.main == "falling" else "falling"
    for way in (state.main, other) if state.both_ways else (state.main,):
        mine = _turns(state, way)
        if mine and mine[-1].turn == 3:
            if way == state.main and len(mine) == 1 and (test := _rest_test(state)) is not None:
                return test
            continue
        if mine and mine[-1].turn == 1 and (mine[-1].ohm, way) not in state.skipped:
            old = _before(state, way)
            return Step(
                "pot",
                mine[-1].ohm,
                f'Go back, come again the same way, stop a hair before it changes, while "{old}" still shows. Measure.',
                way,
                "pot",
                turn=2,
                from_meaning=old,
            )
        start, meaning = _start(state, way)
        if (start, way) in state.skipped and not (mine and mine[-1].turn == 1):
            continue
        if way != state.main and not _begun(state, way) and not _turns(state, state.main):
            continue
        towards = "down" if (way == "falling") == (state.side == "ground") else "up"
        first = "" if mine else "Key off, potentiometer on, key on. "
        return Step(
            "pot", start,
            f'{first}Turn slowly, ohms going {towards}, until "{meaning}" changes. Disconnect and measure.',
            way, "pot", turn=1, from_meaning=meaning,
        )  # fmt: skip
    return None


def _turns(state: State, way: Direction) -> list[Visit]:
    return [each for each in state.visits if each.direction == way and not each.aside and each.join == "pot"]


def _begun(state: State, way: Direction) -> bool:
    return any(each.direction == way for each in state.visits)


def _rest_test(state: State) -> Step | None:
    """Nothing changed over the whole turn: does the open pin's meaning hold until the key is turned?"""
    load = least_load(state)
    rest = state.visits[0].meaning
    if load is None or rest in state.steady or any(each.test == REST for each in state.visits):
        return None
    return Step(
        "load", load.ohm, f'Nothing changed. Does an open pin hold "{rest}" until the key is turned?', "none",
        load.join, load.parts, load.low_ohm, load.high_ohm, (), True, test=REST,
    )  # fmt: skip


def _start(state: State, way: Direction) -> tuple[float, str]:
    """Where the next turn begins: the new side of the last flip, or the end where this way begins.

    From an end whose meaning holds until the key is turned there is no way back: then beside it, on the old side of the
    flip into it.
    """
    flips = [each for each in _turns(state, way) if each.turn == 1]
    if flips:
        return flips[-1].ohm, flips[-1].meaning
    if way == state.main:
        return INF, state.visits[0].meaning
    last = next((each for each in reversed(state.visits) if each.turn == 3 and not each.aside), state.visits[-1])
    if last.meaning in state.latching:
        beside = [each for each in _turns(state, state.main) if each.turn == 2 and each.meaning not in state.latching]
        if beside:
            return _clear(state, beside[-1]), beside[-1].meaning
    return last.ohm, last.meaning


def _clear(state: State, old: Visit) -> float:
    """An ohm on the old side of a flip, clear of its hysteresis, and not as far as the flip before."""
    sign = 1.0 if state.main == "falling" else -1.0
    at = state.place(old)
    beyond = [state.place(each) for each in _turns(state, state.main) if each.turn == 1]
    room = min([sign * (each - at) for each in beyond if sign * (each - at) > 0.0], default=INF)
    return state.scale.ohm_at(at + sign * min(CLEAR, room / 2.0))


def _before(state: State, way: Direction) -> str:
    """The meaning before the last flip."""
    mine = _turns(state, way)
    flips = [each for each in mine if each.turn == 1]
    if len(flips) > 1:
        return flips[-2].meaning
    without = replace(state, visits=tuple(each for each in state.visits if each not in mine))
    return _start(without, way)[1]


def turned(state: State, step: Step, seen: Observation) -> State:
    """The state after a turn.

    Raises
    ------
    LearnFault
        No ohms, or a meaning that cannot be.
    """
    if seen.meaning is None and not seen.at_end:
        return replace(state, skipped=(*state.skipped, (step.ohm, step.direction)))
    if seen.ohm is None or not seen.ohm >= 0.0 or seen.reach_ohm < 0.0:
        raise LearnFault("potentiometer", "Measure its ohms after it was disconnected.")
    low, high = max(seen.ohm - seen.reach_ohm, 0.0), seen.ohm + seen.reach_ohm
    plain = Visit(seen.meaning or step.from_meaning, step.direction, "pot", (), seen.ohm, low, high, turn=step.turn)
    if seen.at_end:
        return _ended(state, step, replace(plain, meaning=step.from_meaning, turn=3))
    if step.turn == 1:
        if seen.meaning == step.from_meaning:
            raise LearnFault(
                "potentiometer", f'"{seen.meaning}" showed before too. Turn until it changes, or say "end".'
            )
        return replace(state, visits=(*state.visits, plain))
    if seen.meaning == step.from_meaning:
        return _let_out(state, plain)
    return _twice(state, step, plain)


def _let_out(state: State, old: Visit) -> State:
    """Both sides of an edge are known; each end is let out by what the shaft may have moved when it was taken off."""
    at = max(i for i, each in enumerate(state.visits) if each.direction == old.direction and each.turn == 1)
    new = state.visits[at]
    more = SHAFT * abs(new.ohm - old.ohm)

    def wider(visit: Visit) -> Visit:
        return replace(visit, low_ohm=max(visit.low_ohm - more, 0.0), high_ohm=visit.high_ohm + more)

    return replace(state, visits=(*state.visits[:at], wider(new), *state.visits[at + 1 :], wider(old)))


def _ended(state: State, step: Step, end: Visit) -> State:
    """Turned to the end. Without a change, where the way there had some, the meaning holds until the key is turned."""
    if step.direction == state.main or step.from_meaning in state.latching or _turns(state, step.direction):
        return replace(state, visits=(*state.visits, end))
    if not any(each.turn == 2 for each in _turns(state, state.main)):
        return replace(state, visits=(*state.visits, end))
    held = replace(end, aside=True)
    return replace(state, visits=(*state.visits, held), latching=(*state.latching, step.from_meaning))


def _twice(state: State, step: Step, plain: Visit) -> State:
    """The meaning changed on the second turn too: the old side is allowed for, from how far the two differ."""
    first = next(each for each in reversed(state.visits) if each.direction == step.direction and each.turn == 1)
    places = [state.place(first), state.place(plain)]
    reach = max(BEYOND * abs(places[0] - places[1]), 2.0 * state.resolution, LEAST_BEYOND)
    sign = 1.0 if step.direction == "falling" else -1.0
    nearer = max(places) if sign > 0.0 else min(places)
    ohm = state.scale.ohm_at(nearer + sign * reach)
    old = Visit(step.from_meaning, step.direction, "pot", (), ohm, ohm, ohm, turn=2)
    return replace(state, visits=(*state.visits, plain, old))
