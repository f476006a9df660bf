"""The potentiometer method: turn until the shown meaning changes, disconnect, measure.

Answers: the next turn, and the readings it gives.
Units:   ohms.
Touches: nothing.
"""

from __future__ import annotations

from dataclasses import replace

from pinproof.learn.state import Direction, LearnFault, Observation, State, Step, Visit
from pinproof.learn.stock import INF

BEYOND = 2.0  # a flip seen twice: the bracket reaches back by so many times their difference


def next_turn(state: State) -> Step | None:
    """The next turn of the potentiometer, None when both directions are through."""
    if not state.visits:
        return Step("load", INF, "What does it show with nothing on the pin?", state.main, "open")
    ways: tuple[Direction, ...] = ("falling", "rising") if state.side == "ground" else ("rising", "falling")
    for way in ways if state.both_ways else ways[:1]:
        mine = [each for each in state.visits if each.direction == way and not each.aside and each.join == "pot"]
        if mine and mine[-1].turn == 3:
            continue
        if mine and mine[-1].turn == 1:
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
        towards = "down" if (way == "falling") == (state.side == "ground") else "up"
        return Step(
            "pot", start, f'Turn slowly, ohms going {towards}, until "{meaning}" changes. Disconnect and measure.', way,
            "pot", turn=1, from_meaning=meaning,
        )  # fmt: skip
    return None


def _start(state: State, way: Direction) -> tuple[float, str]:
    """Where the next turn begins: the new side of the last flip, or the end where this way begins."""
    mine = [each for each in state.visits if each.direction == way and not each.aside and each.join == "pot"]
    flips = [each for each in mine if each.turn == 1]
    if flips:
        return flips[-1].ohm, flips[-1].meaning
    if way == state.main:
        return INF, state.visits[0].meaning
    ends = [each for each in state.visits if each.turn == 3]
    last = ends[-1] if ends else state.visits[-1]
    return last.ohm, last.meaning


def _before(state: State, way: Direction) -> str:
    """The meaning before the last flip."""
    mine = [each for each in state.visits if each.direction == way and not each.aside and each.join == "pot"]
    flips = [each for each in mine if each.turn == 1]
    if len(flips) > 1:
        return flips[-2].meaning
    if way == state.main:
        return state.visits[0].meaning
    return next((each.meaning for each in reversed(state.visits) if each.turn == 3), state.visits[-1].meaning)


def turned(state: State, step: Step, seen: Observation) -> State:
    """The state after a turn.

    Raises
    ------
    LearnFault
        No ohms, or a meaning that cannot be.
    """
    if seen.meaning is None and not seen.at_end:
        return state
    if seen.ohm is None or not seen.ohm >= 0.0 or seen.reach_ohm < 0.0:
        raise LearnFault("potentiometer", "Measure its ohms after it was disconnected.")
    low, high = max(seen.ohm - seen.reach_ohm, 0.0), seen.ohm + seen.reach_ohm
    plain = Visit(seen.meaning or step.from_meaning, step.direction, "pot", (), seen.ohm, low, high, turn=step.turn)
    if seen.at_end:
        return replace(state, visits=(*state.visits, replace(plain, meaning=step.from_meaning, turn=3)))
    if step.turn == 1:
        if seen.meaning == step.from_meaning:
            raise LearnFault(
                "potentiometer", f'"{seen.meaning}" showed before too. Turn until it changes, or say "end".'
            )
        return replace(state, visits=(*state.visits, plain))
    if seen.meaning == step.from_meaning:
        return replace(state, visits=(*state.visits, plain))
    return _twice(state, step, plain)


def _twice(state: State, step: Step, plain: Visit) -> State:
    """The meaning changed on the second turn too: the old side is allowed for, from how far the two differ."""
    first = next(each for each in reversed(state.visits) if each.direction == step.direction and each.turn == 1)
    places = [state.place(first), state.place(plain)]
    reach = max(BEYOND * abs(places[0] - places[1]), state.resolution, 0.01)
    sign = 1.0 if step.direction == "falling" else -1.0
    nearer = max(places) if sign > 0.0 else min(places)
    ohm = state.scale.ohm_at(nearer + sign * reach)
    old = Visit(step.from_meaning, step.direction, "pot", (), ohm, ohm, ohm, turn=2)
    return replace(state, visits=(*state.visits, plain, old))
