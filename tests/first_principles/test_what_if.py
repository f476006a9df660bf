"""Knobs turned up: each step is a truck that the file could state, and what is lost is what its own proof says."""

from __future__ import annotations

import pytest

from pinproof.chain.what_if import NoSuchStep, holds, knobs, lost_along, turned
from pinproof.design import load, loads
from pinproof.design.edit import with_values
from pinproof.design.model import Truck
from pinproof.examples import example_path
from pinproof.proof import as_json, prove_line

NAMES = ("sandpiper", "heron", "wagtail", "dunlin")


def rows_of(truck: Truck, line: str) -> object:
    """Every judged situation as plain values. The nominal is left out: what is worn has no other "as designed"."""
    rows = prove_line(truck, truck.line(line), samples=0, drift=False).situations
    return [{name: value for name, value in as_json(row).items() if name != "nominal"} for row in rows]


@pytest.mark.parametrize(
    ("name", "knob", "step", "paths"),
    [
        ("heron", "wear", 5, {"defaults.closed": {"low": "0 ohm", "high": "{}"}}),
        ("heron", "ground", 3, {"line.shift.leak_to_ground": "{}"}),
        ("heron", "plus", 9, {"line.shift.leak_to_supply": "{}"}),
        ("heron", "low", 2, {"supply.run.low": "{}"}),
        ("heron", "high", 4, {"supply.run.high": "{}"}),
    ],
)  # fmt: skip
def test_a_step_is_what_the_file_would_state(name: str, knob: str, step: int, paths: dict[str, object]) -> None:
    """The same spans as from the file with that number written in."""
    text = example_path(name).read_text(encoding="utf-8")
    truck = loads(text)
    line = truck.lines[0].id
    one = {each.id: each for each in knobs(truck, line)}[knob]
    unit = "ohm" if one.unit == "ohm" else "V"
    stated = f"{one.steps[step - 1]:.12g} {unit}"
    changes = {
        path: {key: str(part).format(stated) for key, part in value.items()} if isinstance(value, dict)
        else str(value).format(stated)
        for path, value in paths.items()
    }  # fmt: skip
    by_hand = loads(with_values(text, changes))
    assert rows_of(turned(truck, line, {knob: step}), line) == rows_of(by_hand, line)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_lost_held_one_step_before(name: str) -> None:
    """At the step named it does not hold, at every step before it does."""
    truck = load(example_path(name))
    for line in truck.lines:
        for knob in knobs(truck, line.id):
            assert list(knob.steps) == sorted(knob.steps, reverse=knob.id in ("ground", "plus", "low"))
            for lost in lost_along(truck, line.id, knob)[:2]:
                for step in range(lost.step + 1):
                    changed = turned(truck, line.id, {knob.id: step})
                    rows = holds(prove_line(changed, changed.line(line.id), samples=0, drift=False))
                    found = any((row.key_state, row.operated) == (lost.key_state, lost.operated) for row in rows)
                    assert found is (step < lost.step), (knob.id, lost, step)
                assert (lost.at, lost.held_at) == (knob.words(lost.step), knob.words(lost.step - 1))


def test_nothing_turned_is_the_truck_itself() -> None:
    """Step 0 changes nothing; a step or knob that is not there is told."""
    truck = load(example_path("heron"))
    assert turned(truck, "shift", {"wear": 0, "low": 0}) == truck
    for bad in ({"wear": 99}, {"rust": 1}, {"wear": -1}):
        with pytest.raises(NoSuchStep):
            turned(truck, "shift", bad)
