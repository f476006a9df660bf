"""Two faults at once on the hand-made truck: which pairs are new, and for which ohms."""

from __future__ import annotations

import itertools
import math

import pytest

from pinproof.design import Truck
from pinproof.faults import Severities, line_faults
from tests.first_principles.test_faults import hand

HARD: dict[str, dict[str, object]] = {
    **{f"contact.{x}.resistor {kind}": {f"factor {x}": factor} for x in "ab" for kind, factor in
       (("open", math.inf), ("shorted", 0.0), ("decade-low", 0.1), ("decade-high", 10.0))},
    **{f"contact.{x} {kind}": {f"contact {x}": kind} for x in "ab" for kind in
       ("stuck-closed", "stuck-open", "wrong-throw")},
    "line.l.wire open": {"wire": True},
    "line.l.source_wire open": {"source": True},
    "contact.a swapped contact.b": {"swapped": True},
}  # fmt: skip


def read(pressed: str, *faults: str) -> str:
    """What the hand-made truck reads with a, b or nothing pressed: 1 kΩ to 5 V, 333 Ω behind a, 1 kΩ behind b."""
    state: dict[str, object] = {}
    for name in faults:
        state |= HARD[name]
    if "swapped" in state:
        pressed = {"a": "b", "b": "a"}.get(pressed, "")
    siemens = 0.0
    for x, ohm in (("a", 333.0), ("b", 1000.0)):
        stuck = state.get(f"contact {x}")
        shut = {"stuck-closed": True, "stuck-open": False, "wrong-throw": x != pressed}.get(str(stuck), x == pressed)
        factor = float(state.get(f"factor {x}", 1.0))  # type: ignore[arg-type]
        if shut:
            siemens += math.inf if factor == 0.0 else 1.0 / (ohm * factor)
    if "wire" in state or "source" in state:
        siemens = 0.0
    ratio = 1e-3 / (1e-3 + siemens)
    return "up" if 0.2 <= ratio <= 0.3 else "down" if 0.45 <= ratio <= 0.55 else "idle" if ratio >= 0.7 else "invalid"


def test_pairs_are_those_that_plain_sums_give() -> None:
    """Every two hard faults of the hand-made truck: false commands neither gives alone, with the fewest pressed."""
    wanted = set()
    allowed = {"": "idle", "a": "up", "b": "down"}
    for first, second in itertools.combinations(HARD, 2):
        if set(HARD[first]) & set(HARD[second]):
            continue  # one part cannot fail in two ways
        for command in ("up", "down"):
            for pressed, own in allowed.items():
                alone = {read(pressed, first), read(pressed, second)}
                if command != own and read(pressed, first, second) == command and command not in alone:
                    wanted.add((frozenset((first, second)), command, (pressed,) if pressed else ()))
                    break
    pairs = line_faults(hand(), "l", pairs=True).pairs
    assert pairs is not None and pairs.left_out == 0
    got = [(frozenset((p.first.id, p.second.id)), p.command, p.operated) for p in pairs.new]
    assert len(set(got)) == len(got)
    assert {each for each in got if each[0] <= HARD.keys()} == wanted
    assert len(wanted) > 5
    assert {p.command for p in pairs.new} == {"up", "down"}  # what is allowed is no news
    assert [len(p.operated) for p in pairs.new] == sorted(len(p.operated) for p in pairs.new)
    for p in pairs.new:
        assert [each is not None for each in (p.first_severities, p.second_severities)] == [
            p.first.severity, p.second.severity
        ]  # fmt: skip


def pair_ohms(truck: Truck, command: str, operated: tuple[str, ...], *ids: str) -> Severities:
    """The ohms of the one fault of a pair that has any."""
    pairs = line_faults(truck, "l", pairs=True).pairs
    assert pairs is not None
    (pair,) = [p for p in pairs.new if {p.first.id, p.second.id} == set(ids) and p.command == command]
    assert pair.operated == operated
    (found,) = [each for each in (pair.first_severities, pair.second_severities) if each is not None]
    return found


def test_a_pair_tells_the_ohms_of_what_is_new_only() -> None:
    """b ten times too small is 100 Ω. With b pressed a bad wire alone reads up's second window (60 to 65 %), so what
    the two together give anew is the first: 250 to 428.57 Ω in all."""
    second = '[[line.window]]\nmeaning = "up"\nlow = "60 %"\nhigh = "65 %"\n'
    truck = hand('"none"', "", ("[[device]]", second + "[[device]]"))
    found = pair_ohms(truck, "up", ("b",), "contact.b.resistor decade-low", "line.l.wire resistive")
    assert found.outer == found.inner == (pytest.approx((150.0, 3000.0 / 7.0 - 100.0)),)


def test_ohms_of_a_pair_are_bracketed_where_a_temperature_is_shared() -> None:
    """333 and 1000 Ω drift against each other from 0 to 60 °C; side by side 250 Ω, and up is 282 to 429 Ω in all."""
    changes = [('low = "20 °C"\nhigh = "20 °C"', 'low = "0 °C"\nhigh = "60 °C"'), ('low = "20 %"', 'low = "22 %"')]
    for ohm, tempco in (("333 ohm", "500 ppm/K"), ("1 kohm", "-500 ppm/K")):
        part = f'{{ value = "{ohm}", tempco = "{tempco}", tempco_sign = "known" }}'
        changes.append((f'resistor = "{ohm}"', f"resistor = {part}"))
    found = pair_ohms(hand('"none"', "", *changes), "up", ("b",), "contact.a stuck-closed", "line.l.wire resistive")
    (outer,), (inner,) = found.outer, found.inner
    assert outer[0] < inner[0] < inner[1] < outer[1]
    # at 0 °C the first is 1 % less and the second 1 % more, at 60 °C 2 % more and 2 % less
    beside = [1.0 / (1.0 / (333.0 * (1 + drift)) + 1.0 / (1000.0 * (1 - drift))) for drift in (-0.01, 0.02)]
    assert inner == pytest.approx((1000.0 * 0.22 / 0.78 - beside[1], 3000.0 / 7.0 - beside[0]))
    assert outer == pytest.approx(inner, rel=0.02)
