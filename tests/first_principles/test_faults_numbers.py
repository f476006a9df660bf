"""Parts of the fault dictionary by hand: what is left with a station unplugged, sets that touch, edges at a rail."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from pinproof.design import load, loads
from pinproof.examples import example_path
from pinproof.faults import LineFaults, keep_racing, line_faults
from pinproof.faults.answers import Answer
from tests.first_principles.test_faults import EXACT

# to keep racing


def test_with_the_wheel_unplugged_the_lever_is_left() -> None:
    """Sandpiper: two taps on the lever, two paddles on the wheel, all with the lever in manual."""
    truck = load(example_path("sandpiper"))
    kept = {each.station: each for each in keep_racing(truck, "taps")}
    assert set(kept) == {"wheel", ""}
    wheel, wire = kept["wheel"], kept[""]
    lever = {
        (("lever_manual",), "manual"),
        (("lever_manual", "lever_up"), "up"),
        (("lever_manual", "lever_down"), "down"),
    }
    paddles = {(("lever_manual", "wheel_up"), "up"), (("lever_manual", "wheel_down"), "down")}
    assert (set(wheel.left), set(wheel.lost)) == (lever, paddles)
    assert wheel.idle_reads == ("automatic",)
    assert wheel.is_safe
    # out of the plug the pin is pulled to ground: automatic, whatever is pressed
    assert (set(wire.left), set(wire.lost)) == (set(), lever | paddles)
    assert wire.idle_reads == ("automatic",)
    assert wire.is_safe
    assert [each.station for each in keep_racing(truck, "taps")] == ["wheel", ""]  # most commands left first


def test_a_line_that_cannot_be_proven_keeps_nothing() -> None:
    text = example_path("sandpiper").read_text(encoding="utf-8")
    pull = 'pull_down = { value = "1 kohm", tolerance = "2 %", basis = "measured", note = "two loads, bench meter" }'
    assert pull in text
    assert keep_racing(loads(text.replace(pull, 'pull_down = "unknown"'), "unknown pull"), "taps") == ()


# sets of conductances


def answer(low_p: float, low_q: float, high_p: float, high_q: float) -> Answer:
    """One window, one situation, one block; inner sets like the outer, readings beyond it never."""
    parts = [np.full((2, 1, 1, 2), math.nan) for _ in range(4)]
    for part, value in zip(parts, (low_p, low_q, high_p, high_q), strict=True):
        part[..., 0] = value
    return Answer(*parts, severity=True)


NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("low", "high", "pieces"),
    [
        ((5.0, NAN), (NAN, 3.0), ((3.0, 5.0),)),  # low enough up to 5 S, high enough from 3 S
        ((NAN, 3.0), (5.0, NAN), ((3.0, 5.0),)),
        ((5.0, NAN), (NAN, 5.0), ((5.0, 5.0),)),  # they touch: with exactly 5 S
        ((NAN, 5.0), (5.0, NAN), ((5.0, 5.0),)),
        ((5.0, NAN), (NAN, 6.0), ()),
        ((NAN, 6.0), (5.0, NAN), ()),
        ((5.0, NAN), (4.0, NAN), ((0.0, 4.0),)),
        ((NAN, 5.0), (NAN, 4.0), ((5.0, INF),)),
        ((NAN, NAN), (4.0, 6.0), ()),
        ((4.0, 6.0), (5.0, 5.5), ((0.0, 4.0), (6.0, INF))),
    ],
)
def test_a_window_is_read_where_both_sides_allow_it(
    low: tuple[float, float], high: tuple[float, float], pieces: tuple[tuple[float, float], ...]
) -> None:
    """The lowest reading is low enough in [0, p] and [q, inf], the highest high enough likewise: what both share."""
    got = answer(*low, *high)
    assert bool(got.read()[0, 0, 0]) is bool(pieces)
    assert got.read_set(0, 0, 0) == pieces
    assert not got.beyond()[0, 0, 0]


# an edge at a rail is no edge


def dictionary(change: tuple[str, str]) -> list[tuple[object, ...]]:
    """The hand-made truck's faults with some of its text replaced."""
    assert change[0] in EXACT
    text = EXACT.replace("IDLE", '"none"').replace(*change).replace("TOP", "")
    found = line_faults(loads(text, name="hand"), "l")
    assert isinstance(found, LineFaults)
    return [dataclasses.astuple(each) for each in found.faults]


def test_an_edge_at_full_scale_is_no_edge() -> None:
    """A short to battery lifts the pin above its reference; the controller shows 100 %, which "up to 100 %" holds."""
    without = dictionary(("TOP", ""))
    assert dictionary(("TOP", 'high = "100 %"')) == without
    assert dictionary(("TOP", 'high = "95 %"')) != without


def test_an_edge_at_zero_is_no_edge() -> None:
    """A window from 0 % holds whatever lies below ground as well."""
    window = 'meaning = "up"\nlow = "20 %"\nhigh = "30 %"'
    below = dictionary((window, 'meaning = "up"\nhigh = "30 %"'))
    assert dictionary((window, 'meaning = "up"\nlow = "0 %"\nhigh = "30 %"')) == below
    assert dictionary((window, 'meaning = "up"\nlow = "5 %"\nhigh = "30 %"')) != below


# two windows of one meaning


@pytest.mark.parametrize(("second_from", "is_sure"), [("24 %", False), ("27 %", True)])
def test_a_command_is_surely_lost_only_where_a_truck_reads_beyond_all_its_windows(
    second_from: str, is_sure: bool
) -> None:
    """333 Ω ± 20 % behind 1 kΩ is 21.0 to 28.6 %. With windows of 20 to 26 % and 24 to 30 % some trucks read above the
    first and some below the second, none beyond both; with the second from 27 % some read between them."""
    text = EXACT.replace("IDLE", '"100k"').replace("TOP", "")
    text = text.replace('low = "20 %"\nhigh = "30 %"', 'low = "20 %"\nhigh = "26 %"')
    second = f'[[line.window]]\nmeaning = "up"\nlow = "{second_from}"\nhigh = "30 %"\n'
    text = text.replace("[[device]]", second + "[[device]]", 1)
    text = text.replace('resistor = "333 ohm"', 'resistor = { value = "333 ohm", tolerance = "20 %" }')
    found = line_faults(loads(text), "l")
    opened = next(e for e in found.faults if (e.fault.site, e.fault.kind) == ("line.l.idle_resistor", "open"))
    assert [each.sure for each in opened.lost if each.meaning == "up"] == [is_sure]
