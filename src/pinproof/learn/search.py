"""The next step of a search.

Answers: which step shrinks the widest bracket or finds a hidden meaning.
Units:   ohms of the load; readings as share of full scale.
Touches: nothing.
Beside:  `seen` takes the answer; `pick` chooses the load; `edges` derives brackets and doubts; `turning` proposes for
         the potentiometer. docs/learn.md gives the order.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

from pinproof.learn.edges import Gap, bracket_of, doubts, in_order, main_gaps, other_way, reach_of, unseen_gaps
from pinproof.learn.pick import NEAR, barred, least_load, load_beside, load_inside, load_near
from pinproof.learn.seen import may_hold
from pinproof.learn.state import REST, REST_LAST, Direction, State, Step, Visit
from pinproof.learn.stock import INF, OPEN, Load
from pinproof.learn.turning import next_turn

GALLOP = (1.5, 3.0, 6.0, 12.0, 24.0)
WORTH = 0.85  # a bracket narrowed to less than this of its width is worth a reading
SLACK = 1e-9
MOST_OPINIONS = 2
CLEAR = 0.02  # of full scale: so far from an edge the other direction begins, that a load's tolerance cannot matter


def propose(state: State) -> Step | None:
    """The next step, None when nothing more is to be learned with this stock.

    Returns
    -------
    Step or None
        `optional` True: all that the design expects is known already, this only makes surer.
    """
    if state.method == "pot":
        step = next_turn(state)
        looks = (_ends, _odd, _widest, _tolerance, _rest_last, _hidden, _other_way)  # what it does not reach
        found = step or next((each for each in (look(state) for look in looks) if each is not None), None)
        return found if found is None or found is step else replace(found, optional=True)
    for look in (_ends, _odd, _widest, _tolerance, _rest_last, _hidden, _second_opinion, _latch_test, _other_way):
        step = look(state)
        if step is not None:
            return step
    return None


# steps


def _key_first(state: State) -> bool:
    """True where the last meaning may hold on until the key is turned."""
    if state.main == "none":
        return True
    if not state.visits:
        return False
    last = state.visits[-1].meaning
    ends = {
        state.visits[i].meaning for i in in_order(state, state.main)[:: max(len(in_order(state, state.main)) - 1, 1)]
    }
    suspects = set(state.faults) | ends | set(state.latching)
    if state.expected:
        suspects |= {v.meaning for v in state.visits} - set(state.expected)
    return last in suspects and last not in state.steady


def _step(state: State, load: Load, why: str, direction: Direction | None = None, **more: object) -> Step:
    """A load put on in the main direction, from the open pin; or with the key off where that latches."""
    way = direction or state.main
    via: tuple[float, ...] = () if way == "none" else (INF,)
    plain: dict[str, object] = {"via_ohm": via, "key_cycle": _key_first(state)}
    return Step(
        "load",
        load.ohm,
        why,
        way,
        load.join,
        load.parts,
        load.low_ohm,
        load.high_ohm,
        **{**plain, **more},  # type: ignore[arg-type]
    )


def _ends(state: State) -> Step | None:
    visits = state.visits
    if not visits:
        return _step(state, OPEN, "What does it show with nothing on the pin?", via_ohm=(), key_cycle=False)
    far = least_load(state)
    if len(visits) == 1 and far is not None and (far.ohm, state.main) not in state.skipped:
        return _step(state, far, "The other end of the scale: the least load allowed.", key_cycle=False)
    if state.rest_latches:
        mine = [v for v in visits if v.direction == "none" and not v.aside]
        if not any(v.join == "open" for v in mine):
            return _step(state, OPEN, "Nothing on the pin, once more.", "none", via_ohm=(), key_cycle=True)
        if far is not None and (far.ohm, "none") not in state.skipped and not any(v.ohm == far.ohm for v in mine):
            return _step(state, far, "The other end of the scale, with the key off before.", via_ohm=(), key_cycle=True)
    elif not any(v.test == REST for v in visits):
        row = [v.meaning == visits[0].meaning for v in visits[-2:]]
        if len(visits) > 1 and all(row) and len(visits) != 3:
            return _rest_test(state, visits[-1], REST)
    return None


def _rest_test(state: State, seen: Visit, test: str) -> Step | None:
    """A load that showed what the open pin shows, with the key turned on upon it: is it the load's, or held?"""
    if state.visits[0].meaning in state.steady or state.rest_latches or seen.join in ("open", "pot"):
        return None
    load = Load(seen.ohm, seen.low_ohm, seen.high_ohm, seen.join, seen.parts)
    return _step(
        state, load, f'Does an open pin hold "{seen.meaning}" until the key is turned?', "none", via_ohm=(),
        key_cycle=True, test=test,
    )  # fmt: skip


def _rest_last(state: State) -> Step | None:
    """The same at the last load that showed it, once the edges are narrow: what an open pin holds reaches too far."""
    order = in_order(state, state.main)
    if len(order) < 2 or state.main == "none":
        return None
    row = order[::-1] if state.side == "ground" else order
    run = list(itertools.takewhile(lambda i: state.visits[i].meaning == state.visits[row[0]].meaning, row))
    return _rest_test(state, state.visits[run[-1]], REST_LAST) if len(run) < len(row) else None


def _odd(state: State) -> Step | None:
    """A meaning that stayed though the load went back; readings out of order."""
    if len(state.visits) >= 3:
        last, before = state.visits[-1], state.visits[-2]
        if (
            not last.key_cycle and not last.test and last.meaning == before.meaning and last.meaning not in state.steady
            and _jumped(state)
        ):  # fmt: skip
            load = Load(last.ohm, last.low_ohm, last.high_ohm, last.join, last.parts)
            return _step(
                state,
                load,
                f'"{last.meaning}" stayed though the load went back. Does it hold until the key is turned?',
                last.direction,
                via_ohm=last.via_ohm,
                key_cycle=True,
                test="again",
            )
    for doubt in doubts(state):
        part = doubt.parts[0]
        return Step(
            "measure", state.stock[part].ohm, f"{doubt.text} Measure the resistor {state.stock[part].name} on its own.",
            parts=(part,),
        )  # fmt: skip
    return None


def _jumped(state: State) -> bool:
    """True if the last reading is an island, or lies beyond other meanings from the reading before."""
    order = in_order(state, state.main)
    last, before = len(state.visits) - 1, len(state.visits) - 2
    if last not in order or before not in order:
        return False
    at, was = order.index(last), order.index(before)
    between = order[min(at, was) + 1 : max(at, was)]
    meaning = state.visits[last].meaning
    beside = [state.visits[order[i]].meaning for i in (at - 1, at + 1) if 0 <= i < len(order)]
    return any(state.visits[i].meaning != meaning for i in between) and all(each != meaning for each in beside)


def _split(state: State, gap: Gap, why: str, *, optional: bool = False) -> Step | None:
    low, high = state.visits[gap.low], state.visits[gap.high]
    load = load_inside(state, low, high) or load_inside(state, low, high, off=0.5)
    return _step(state, load, why, optional=optional) if load is not None else None


def _widest(state: State) -> Step | None:
    """The widest bracket between different meanings."""
    for gap in sorted(main_gaps(state), key=lambda each: -each.width):
        if gap.width <= state.resolution:
            break
        low, high = state.visits[gap.low], state.visits[gap.high]
        step = _split(state, gap, f'Somewhere here "{low.meaning}" becomes "{high.meaning}": halve the stretch.')
        if step is not None:
            return step
    return None


def _tolerance(state: State) -> Step | None:
    """A bracket that is wide only because of its loads' tolerance, where a better load exists."""
    for gap in sorted(main_gaps(state), key=lambda each: -each.width):
        low, high = state.visits[gap.low], state.visits[gap.high]
        whole = bracket_of(state, low, high).width
        if whole <= state.resolution:
            continue
        load = load_inside(state, low, high)
        if load is None:
            continue
        middle = Visit("", "none", load.join, load.parts, load.ohm, load.low_ohm, load.high_ohm)
        worst = max(bracket_of(state, low, middle).width, bracket_of(state, middle, high).width)
        if worst <= WORTH * whole:
            return _step(state, load, "The resistors' own tolerance makes this bracket wide: a load in between.")
    return None


def _hidden(state: State) -> Step | None:
    """A window may hide between equal meanings."""
    seen = {each.meaning for each in state.visits}
    complete = bool(state.expected) and set(state.expected) <= seen
    for gap in unseen_gaps(state):
        if gap.width <= max(state.hidden, state.resolution):
            break
        meaning = state.visits[gap.low].meaning
        step = _split(
            state,
            gap,
            f'Nothing was tried here between "{meaning}" and "{meaning}": another may hide.',
            optional=complete,
        )
        if step is not None:
            return step
    return None


def _second_opinion(state: State) -> Step | None:
    """Each end of a bracket again with other parts: a resistor that is off then shows itself."""
    for gap in main_gaps(state):
        low, high = state.visits[gap.low], state.visits[gap.high]
        for end, other in ((low, high), (high, low)):
            step = _again(state, end, other, state.main)
            if step is not None:
                return step
    return None


def _again(state: State, end: Visit, other: Visit, way: Direction, **more: object) -> Step | None:
    """The end of a bracket with other parts, rather away from the edge; None where that was done."""
    outward = state.place(end) - state.place(other)
    if end.join in ("open", "short", "pot") or _confirmed(state, end, outward, way):
        return None
    load = load_beside(state, end, outward, way)
    if load is None:
        return None
    why = f'The last "{end.meaning}" before it changes, again with other resistors.'
    return _step(state, load, why, way, optional=True, test="second", **more)


def _confirmed(state: State, end: Visit, outward: float, way: Direction) -> bool:
    """True if another reading close by, of other parts, says the same; or enough were tried."""
    at, sign = state.place(end), 1.0 if outward > 0.0 else -1.0
    near = [
        each for each in state.visits
        if each is not end and each.direction == way and not each.aside
        and -SLACK <= (state.place(each) - at) * sign <= NEAR * state.resolution + SLACK
    ]  # fmt: skip
    return sum(each.test == "second" for each in near) >= MOST_OPINIONS or any(
        each.meaning == end.meaning and not set(each.parts) & set(end.parts) for each in near
    )


def _other_way(state: State) -> Step | None:
    """The same edges from the other side."""
    if not state.both_ways:
        return None
    seen = main_gaps(state)
    ways: tuple[Direction, ...] = ("falling", "rising")
    for number, gap in enumerate(seen):
        for way in ways:
            start = state.visits[gap.low if way == "rising" else gap.high].meaning
            met = state.method == "pot" and other_way(state, seen, number, way) is not None
            if way == state.main or (met and start not in state.latching):
                continue
            step = _toward(state, seen, number, gap, way)
            if step is not None:
                return step
    return None


def _toward(state: State, seen: list[Gap], number: int, gap: Gap, way: Direction) -> Step | None:
    low, high = state.visits[gap.low], state.visits[gap.high]
    up = way == "rising"
    start = _well_inside(state, gap, way)
    via: tuple[float, ...] = (state.bounds(start)[1],)
    if state.main != "none" and start.join != "open":
        via = (INF, *via)
    why = f'The same edge with the reading {way}: from "{start.meaning}".'
    more: dict[str, object] = {"via_ohm": via}
    if (low if up else high).meaning in state.latching:
        if state.main == "none":
            return None  # it holds on: there is no edge this way
        way = "none"
        more = {"via_ohm": (), "key_cycle": True}
        why = f'"{start.meaning}" holds on, so the same edge where the key is turned on upon the load.'
    beyond = high if up else low
    sign = 1.0 if up else -1.0
    ends = other_way(state, seen, number, way)
    if ends is not None:
        below, above = ends
        if state.place(above) - state.place(below) <= state.resolution:
            mine = [(below, above), (above, below)]
            steps = (_again(state, a, b, way, **more) for a, b in mine if a.direction == way)
            return next((step for step in steps if step is not None), None)
        load = load_inside(state, below, above, way=way) or load_inside(state, below, above, off=0.5, way=way)
        return _step(state, load, why, way, optional=True, **more) if load is not None else None
    partly = other_way(state, seen, number, way, partly=True)
    assert partly is not None
    reached = partly[0]
    left, right = reach_of(state, seen, number)
    tried = [v for v in state.visits if v.direction == way and not v.aside and left <= state.place(v) <= right]
    if not tried:
        other = load_beside(state, beyond, sign, way)
        if other is None and beyond.join == "pot":
            other = load_near(state, state.place(beyond) + sign * state.resolution)
            if other is None or (state.scale.reading(other.ohm) - state.place(beyond)) * sign < 0.0:
                return None
        load = other or Load(beyond.ohm, beyond.low_ohm, beyond.high_ohm, beyond.join, beyond.parts)
        return _bar(state, _step(state, load, why, way, optional=True, **more))
    wide = GALLOP[min(len(tried), len(GALLOP)) - 1]
    at, limit = state.place(reached), right if up else left
    target = at + sign * wide * state.resolution
    if (target - limit) * sign >= 0.0:
        target = (at + limit) / 2.0
    load = load_near(state, target)
    if load is None or (state.scale.reading(load.ohm) - at) * sign <= state.resolution / 4.0:
        if way == "none" or up != (state.side == "ground") or number != (len(seen) - 1 if up else 0):
            return None
        load = OPEN  # nothing on the pin is the last that can be tried this way
    return _bar(state, _step(state, load, why, way, optional=True, **more))


def _well_inside(state: State, gap: Gap, way: Direction) -> Visit:
    """Where the other direction begins: a load of the meaning before the edge, clear of it if there is one."""
    order = in_order(state, state.main)
    near = gap.low if way == "rising" else gap.high
    row = order[: order.index(near) + 1][::-1] if way == "rising" else order[order.index(near) :]
    meaning, edge = state.visits[near].meaning, state.place(state.visits[near])
    found = state.visits[near]
    for i in row:
        if state.visits[i].meaning != meaning:
            break
        found = state.visits[i]
        if abs(state.place(found) - edge) >= CLEAR:
            break
    return found


def _bar(state: State, step: Step) -> Step | None:
    """None for a load that was read in this direction already, or could not be."""
    avoid, been = barred(state, step.direction)
    return None if step.ohm in avoid or (step.parts, step.join) in been else step


def _latch_test(state: State) -> Step | None:
    """Does a meaning seen at an end, or told to be a fault, hold until the key is turned?

    Straight from its load to another without opening, and to one whose own meaning is no fault: that would show itself
    in place of the one that is held.
    """
    order = in_order(state, state.main)
    if len(order) < 2:
        return None
    rest = state.visits[order[-1] if state.side == "ground" else order[0]]
    unsure = may_hold(state)
    known = [state.visits[i] for i in order]
    for meaning in dict.fromkeys((state.visits[order[0]].meaning, state.visits[order[-1]].meaning, *state.faults)):
        if meaning in state.steady or meaning in state.latching or meaning == rest.meaning:
            continue
        there = [each for each in known if each.meaning == meaning]
        away = [
            each for each in known
            if each.meaning not in unsure or (each.meaning == rest.meaning and rest.meaning in state.steady)
        ]  # fmt: skip
        if not there or not away:
            continue
        begun = there[len(there) // 2]
        back = max(away, key=lambda each: abs(state.place(each) - state.place(begun)))  # clear of its hysteresis
        held = state.bounds(begun)[1]
        return _step(
            state, Load(state.bounds(back)[1], back.low_ohm, back.high_ohm, back.join, back.parts),
            f'Does "{meaning}" hold until the key is turned? Do not turn it once its load is on.',
            via_ohm=(held,) if state.main == "none" else (INF, held), key_cycle=state.main == "none", optional=True,
            from_meaning=meaning, test="latch",
        )  # fmt: skip
    return None
