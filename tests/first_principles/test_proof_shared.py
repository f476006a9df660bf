"""What moves readings and edges together, in closed forms; a whole proof as JSON.

The trucks are invented for these tests. Where edges in ohms were found on this very pin, a bare resistor R against an
edge E, both through the same pull P, differ by P (R - E) / ((R + P)(E + P)) of the reference: the divider, twice.
"""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest

from pinproof.design import Truck, loads
from pinproof.observe import spaces_of
from pinproof.proof import as_json, prove, prove_line
from pinproof.proof.judging import judge_line, judge_state, shared_corners
from pinproof.proof.results import SituationProof
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

HEAD = """format = 1
id = "pp-000002"
name = "invented"
[supply]
run = { low = "10 V", high = "15 V", value = "12.5 V" }
[temperature]
low = "20 °C"
high = "20 °C"
[defaults]
tolerance = "0 %"
tempco = "0 ppm/K"
ageing = "0 %"
closed = { low = "0 ohm", high = "0 ohm" }
open = "none"
"""
PIN = """[[input]]
id = "tap"
controller = "box"
pull_up = { value = "1 kohm", tolerance = "20 %" }
pull_down = "none"
reference = { value = "5 V", tolerance = "2 %" }
compares = "reference"
error = "0 %"
"""
LINE = """[[line]]
id = "taps"
input = "tap"
form = "pull-up"
idle = "automatic"
idle_resistor = "none"
wire = { low = "0 ohm", high = "0 ohm" }
source_wire = { low = "0 ohm", high = "0 ohm" }
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
"""
BUTTON = """[[device]]
id = "pod"
[[contact]]
id = "raise"
line = "taps"
device = "pod"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = "1.5k"
"""
WINDOWS = """[[line.window]]
meaning = "up"
low = "1 kohm"
high = "2 kohm"
found = "substitution"
basis = "measured"
[[line.window]]
meaning = "automatic"
low = "4 kohm"
found = "substitution"
basis = "measured"
"""


def truck_of(*changes: tuple[str, str], windows: str = WINDOWS) -> Truck:
    """A button on a pulled-up pin, with some of its text replaced."""
    text = HEAD + PIN + LINE + windows + BUTTON
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text)


def pressed(truck: Truck) -> SituationProof:
    """The row of the pressed button."""
    (row,) = [
        row for row in prove_line(truck, truck.line("taps"), drift=False).situations if row.operated == ("raise",)
    ]
    return row


# edges that were found on this very pin

HALF = (2000.0 / 3000.0 - 1000.0 / 2000.0) / 2.0  # of the nominal window, through 1 kohm
LEAST_OHM, MOST_OHM = 800.0, 1200.0  # of the pull


@pytest.mark.parametrize("ohm", [400.0, 960.0, 990.0])
def test_a_resistor_below_its_edge_fails_by_the_most_that_any_pull_makes_of_it(ohm: float) -> None:
    """The difference is largest where P = sqrt(R E): (sqrt E - sqrt R) / (sqrt E + sqrt R); at an end if that lies
    outside. With 960 ohm it lies midway between the ends, in ratio."""
    row = pressed(truck_of(('"1.5k"', f'"{ohm} ohm"')))
    at = min(max(math.sqrt(ohm * 1000.0), LEAST_OHM), MOST_OHM)
    lacking = at * (1000.0 - ohm) / ((ohm + at) * (1000.0 + at)) / HALF
    if ohm == 960.0:
        root = math.sqrt(ohm), math.sqrt(1000.0)
        assert lacking == pytest.approx((root[1] - root[0]) / (root[1] + root[0]) / HALF)
    assert (row.verdict, row.window, row.side) == (Verdict.FAIL, "up", "low")
    assert row.margin == pytest.approx(-lacking, rel=1e-9 if ohm != 990.0 else 1e-3)


@pytest.mark.parametrize("ohm", [1001.0, 1100.0, 1400.0, 1500.0, 1900.0])
def test_a_resistor_within_its_edges_has_the_least_margin_of_all_pulls(ohm: float) -> None:
    """Over a fine grid of pulls. Judged against edges at the nominal pull most of them would not hold."""
    row = pressed(truck_of(('"1.5k"', f'"{ohm} ohm"')))
    pull = np.linspace(LEAST_OHM, MOST_OHM, 2001)
    below = pull * (ohm - 1000.0) / ((ohm + pull) * (1000.0 + pull))
    above = pull * (2000.0 - ohm) / ((ohm + pull) * (2000.0 + pull))
    assert row.verdict is Verdict.PASS
    assert row.margin == pytest.approx(float(np.minimum(below, above).min()) / HALF, rel=1e-9, abs=1e-12)
    assert (row.low, row.high) == pytest.approx((ohm / (ohm + MOST_OHM), ohm / (ohm + LEAST_OHM)))


@pytest.mark.parametrize(("ohm", "verdict"), [(1030.0, "fail"), (1040.0, "fail"), (1050.0, "pass")])
def test_the_worst_pull_decides_the_verdict(ohm: float, verdict: str) -> None:
    """The coder's ground lies 0.1 V low: the reading falls by 0.1 V P / (R + P), so a small pull lets 1040 ohm pass
    and a large one does not. At 5 V: 5 (R - 1000) against 0.1 (1000 + P), R = 1036 for 800 ohm, 1044 for 1200 ohm;
    the reference moves it by 2 %."""
    row = pressed(
        truck_of(('"1.5k"', f'"{ohm} ohm"'), ('return_offset = "none"', 'return_offset = "-0.1 V to -0.1 V"'))
    )
    pull, reference = np.meshgrid(np.linspace(LEAST_OHM, MOST_OHM, 401), np.linspace(4.9, 5.1, 21))
    reading = (ohm - 0.1 * pull / reference) / (ohm + pull)
    room = (reading - 1000.0 / (1000.0 + pull)) / HALF
    assert row.verdict.value == verdict
    assert row.margin == pytest.approx(float(room.min()), rel=1e-6, abs=1e-9)
    assert verdict == ("fail" if room.min() < 0.0 else "pass")


@pytest.mark.parametrize(("ohm", "volts"), [(960.0, 5.1), (1400.0, 4.9)])
def test_the_reference_moves_readings_and_edges_in_volts(ohm: float, volts: float) -> None:
    """In plain volts all scales with the reference: what lacks is largest at 5.1 V, what is left least at 4.9 V."""
    row = pressed(
        truck_of(('"1.5k"', f'"{ohm} ohm"'), ('compares = "reference"', 'compares = "volts"\nfull_scale = "5.5 V"'))
    )
    pull = np.linspace(LEAST_OHM, MOST_OHM, 401)
    at = np.append(pull, math.sqrt(ohm * 1000.0))
    below = at * (ohm - 1000.0) / ((ohm + at) * (1000.0 + at))
    above = at * (2000.0 - ohm) / ((ohm + at) * (2000.0 + at))
    by_hand = volts * float(np.minimum(below, above).min()) / (5.0 * HALF)
    assert row.margin == pytest.approx(by_hand, rel=1e-9)


def test_the_corners_are_all_ends_of_what_is_shared() -> None:
    """Two pulls and a reference with ends, a supply that no rail of this pin has: 2 x 2 x 2, each once. A pull known
    exactly has one value. More points lie between, evenly in ratio."""
    truck = truck_of(('pull_down = "none"', 'pull_down = { value = "10 kohm", tolerance = "10 %" }'))
    view = line_view(truck, "taps")
    (space,) = spaces_of(truck, view.input)
    corners = list(shared_corners(view, "run", space))
    up, down, reference = "input.tap.pull_up", "input.tap.pull_down", "input.tap.reference"
    ends = {
        (pull, other, volts) for pull in (800.0, 1200.0) for other in (9000.0, 11000.0) for volts in (4.9, 5.1)
    }  # fmt: skip
    assert len(corners) == 8
    found = {tuple(round(each[name], 6) for name in (up, down, reference)) for each in corners}
    assert found == ends
    finer = list(shared_corners(view, "run", space, 5))
    assert len(finer) == 5 * 5 * 2
    ladder = sorted({each[up] for each in finer})
    assert ladder == pytest.approx([800.0 * 1.5 ** (step / 4) for step in range(5)])
    assert (ladder[0], ladder[-1]) == (min(each[up] for each in corners), max(each[up] for each in corners))
    exact = truck_of(('tolerance = "20 %"', 'tolerance = "0 %"'), ('tolerance = "2 %"', 'tolerance = "0 %"'))
    one = list(shared_corners(line_view(exact, "taps"), "run", space, 7))
    assert one == [{up: pytest.approx(1000.0), reference: 5.0}]


def test_edges_that_are_given_are_judged_as_they_stand() -> None:
    """A controller to be taught brings its own windows: they do not move with the pull."""
    truck = truck_of()
    view = line_view(truck, "taps")
    (space,) = spaces_of(truck, view.input)
    (own,) = judge_line(view)
    given = judge_state(view, "run", space, own.windows)
    row = next(each for each in given.rows if each.operated == ("raise",))
    assert given.windows == own.windows
    assert row.margin == pytest.approx((2.0 / 3.0 - 1500.0 / 2300.0) / HALF)  # at 800 ohm, the edge at 1 kohm
    apart = next(each for each in own.rows if each.operated == ("raise",))
    assert apart.margin > row.margin > 0.0
    assert apart.nominal == row.nominal == pytest.approx(0.6)


# a whole proof as JSON


def test_a_proof_as_json_has_every_situation_once_and_all_that_it_rests_on() -> None:
    """Flat, each with its line; the lists of the lines join; what JSON has no word for is written out."""
    proof = prove(truck_of(('"1.5k"', '"990 ohm"')), samples=0)
    (line,) = proof.lines
    found = json.loads(json.dumps(as_json(proof), allow_nan=False))
    assert [(each["line"], tuple(each["operated"])) for each in found["situations"]] == [
        ("taps", row.operated) for row in proof.situations
    ]
    assert ["situations" in each for each in found["lines"]] == [False]
    assert set(found["lines"][0]) == {each.name for each in dataclasses.fields(line)} - {"situations"}
    assert [each["margin"] for each in found["situations"]] == [row.margin for row in proof.situations]
    assert [each["verdict"] for each in found["situations"]] == [row.verdict.value for row in proof.situations]
    assert all(each["bound"] == "exact" for each in found["situations"])
    assert proof.rests_on
    assert [each["parameter"] for each in found["rests_on"]] == [each.parameter for each in proof.rests_on]
    assert (found["verdict"], found["name"], found["text_hash"]) == ("fail", "invented", proof.text_hash)
    vague = dataclasses.replace(proof.situations[0], exact=False, low=0.2, inner_low=0.5, high=1.0, inner_high=0.9)
    told: Any = as_json(dataclasses.replace(vague, margin=math.inf, nominal=math.nan))
    assert (told["bound"], told["margin"], told["nominal"]) == (pytest.approx(0.3), "inf", None)
