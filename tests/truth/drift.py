"""Drift limits by explicit grids: one parameter held at each of many values, all others over all their vertices."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tests.truth.judge import (
    all_spaces,
    forbidden_windows,
    judge,
    look,
    may_enter,
    probes_of,
    reading_windows,
    requirement,
)
from tests.truth.spans import ends_of, evaluate
from tests.truth.truck import INF, Number, Truck

KEPT = ("pass", "would hold if")


@dataclass(frozen=True)
class Drift:
    """`grid`: the values tried, outward from the box end. `last_kept`: the last value up to which everything before
    it is still guaranteed (None: already lost at the box end). `first_lost`: the next one (None: never on this grid).
    `first_false`: the first at which the reading can be inside the largest possible window of a command not allowed;
    `last_safe`: the value before it. `start_verdict`: with the box as it stands.
    `exact`: False when an inner/outer bracket was used (rigorous bounds decide)."""

    grid: tuple[Number, ...]
    last_kept: Number | None
    first_lost: Number | None
    last_safe: Number | None
    first_false: Number | None
    start_verdict: str
    exact: bool


def default_grid(
    truck: Truck, line_id: str, path: str, direction: str, key_state: str, steps: int = 60
) -> tuple[Number, ...]:
    """`direction` "up" or "down", from the box end outward. Resistances geometrically over six decades and then to
    infinity (or 0), volts evenly over 6 V."""
    low, high = ends_of(truck, truck.line(line_id), path, key_state)
    start = high if direction == "up" else low
    name = path.rsplit(".", 1)[1]
    is_volts = name in ("return_offset", "feed_drop", "series_diode", "reference") or path.startswith("supply.")
    if is_volts:
        assert isinstance(start, Fraction)
        sign = 1 if direction == "up" else -1
        values = [start + sign * Fraction(6 * k, steps) for k in range(steps + 1)]
        return tuple(v for v in values if v > 0 or not (name == "reference" or path.startswith("supply.")))
    if direction == "up":
        if start == INF:
            return (INF,)
        first = max(Fraction(start), Fraction(1, 10))
        values_up: list[Number] = [] if first == start else [start]
        values_up += [first * Fraction(10 ** (6 * k / steps)).limit_denominator(10**6) for k in range(steps + 1)]
        return (*values_up, INF)
    first = Fraction(10**7) if start == INF else Fraction(start)
    down: list[Number] = [INF] if start == INF else []
    down += [first / Fraction(10 ** (6 * k / steps)).limit_denominator(10**6) for k in range(steps + 1)]
    return (*down, Fraction(0)) if first > 0 else (Fraction(0),)


def drift_grid(
    truck: Truck,
    line_id: str,
    operated: Iterable[str],
    path: str,
    direction: str = "up",
    key_state: str = "run",
    grid: Sequence[Number] | None = None,
) -> Drift:
    """Move `path` (SI: ohm as it is in the circuit, V) over `grid`; both readings count when compares is unknown.

    A parameter that is not in the circuit of the situation (the closed resistance of a contact that is open there)
    changes nothing.
    """
    line, pressed = truck.line(line_id), frozenset(operated)
    values = tuple(grid) if grid is not None else default_grid(truck, line_id, path, direction, key_state)
    tried = [(space, reading_windows(truck, line, space)) for space in all_spaces(truck, line)]
    exact = True
    lost_at: int | None = None
    false_at: int | None = None
    start = [look(truck, line, pressed, key_state, space, wins)[2].verdict for space, wins in tried]
    need = requirement(truck, line, pressed, key_state)
    for i, value in enumerate(values):
        for space, wins in tried:
            found = evaluate(truck, line, pressed, key_state, space, probes_of(wins), {path: (value, value)})
            exact = exact and found.exact and not found.against
            if lost_at is None and judge(wins, need, line.idle, found, space).verdict not in KEPT:
                lost_at = i
            commands = [w for w in forbidden_windows(wins, need, line.idle) if w.meaning != line.idle]
            if false_at is None and (found.shorted or any(may_enter(w, found) for w in commands)):
                false_at = i
        if lost_at is not None and false_at is not None:
            break

    def before(at: int | None) -> Number | None:
        if at is None:
            return values[-1]
        return values[at - 1] if at > 0 else None

    return Drift(
        values,
        before(lost_at),
        None if lost_at is None else values[lost_at],
        before(false_at),
        None if false_at is None else values[false_at],
        min(start, key=("fail", "not shown", "would hold if", "pass").index),
        exact,
    )
