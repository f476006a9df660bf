"""Parts of the fault dictionary by hand: what is left with a station unplugged, sets that touch, edges at a rail."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from pinproof.design import load, loads
from pinproof.examples import example_path
from pinproof.faults import FaultEffect, LineFaults, Severities, keep_racing, line_faults
from pinproof.faults.answers import Answer
from pinproof.faults.circuit import Change, change_of, contacts_conducting
from pinproof.faults.remedies import harmless
from pinproof.faults.sites import sites, whole_view
from pinproof.faults.words import fault_words
from pinproof.wiring import line_view
from tests.first_principles.test_faults import EXACT, hand

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


def test_what_leaves_a_false_command_comes_last() -> None:
    """With 4 kΩ idle is 80 %; the wire out of its plug reads 100 %, which is up here. Pulling the pod leaves 80 %."""
    up = ('low = "20 %"\nhigh = "30 %"', 'low = "95 %"')
    pod = ('device = "pod"\n', 'device = "pod"\nstation = "pod"\n')
    pulled, wire = keep_racing(hand('"4 kohm"', 'high = "90 %"', up, pod), "l")
    assert (pulled.station, pulled.is_safe, pulled.left, pulled.idle_reads) == ("pod", True, (), ("idle",))
    assert (wire.station, wire.is_safe, wire.left, wire.idle_reads) == ("", False, (), ("up",))
    assert pulled.lost == wire.lost == ((("a",), "up"), (("b",), "down"))


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


def test_a_command_is_not_lost_where_every_truck_reads_one_of_its_windows() -> None:
    """333 Ω behind a closed contact of 200 Ω is 34.8 %; a leak across the contact takes it down to 25.0 %.

    Windows of 20 to 30 % and of 28 to 40 %: beyond the first with little leak, below the second with much, beyond both
    with none. So nothing is lost while that contact is pressed.
    """
    second = '[[line.window]]\nmeaning = "up"\nlow = "28 %"\nhigh = "40 %"\n'
    changes = (('closed = "0 ohm"', 'closed = "200 ohm"'), ("[[device]]", second + "[[device]]"))
    found = line_faults(hand('"none"', "", *changes), "l")
    assert found.sound is not None and not found.sound.lost
    leak = next(e for e in found.faults if (e.fault.site, e.fault.kind) == ("contact.a", "chafed-to-ground"))
    assert {each.operated for each in leak.lost} == {(), ("b",)}
    assert all(each.severities is not None and each.severities.outer for each in leak.lost)


# the hand-made line by hand


def one(found: LineFaults, name: str) -> FaultEffect:
    """One fault of a dictionary by its id."""
    return next(each for each in found.faults if each.fault.id == name)


def false_ohms(effect: FaultEffect, command: str, *operated: str) -> tuple[tuple[float, float], ...]:
    """Severities of a false command in one situation."""
    (entry,) = [each for each in effect.false if (each.command, each.operated) == (command, operated)]
    assert entry.severities is not None and entry.severities.exact
    return entry.severities.outer


def test_a_window_whose_edge_may_lie_at_full_scale_holds_what_is_above_it() -> None:
    """Down up to 98 ± 2 %: a leak to 12 V beside 1 kΩ up and 1 kΩ down reads down from 68 % on, and so does a short.

    (5/1000 + 12 x) / (2/1000 + x) is 3.4 V with x = 1.8/8600 S.
    """
    windows = ('low = "45 %"\nhigh = "55 %"', 'low = "70 %"\nhigh = "98 %"\nuncertainty = "2 %"')
    found = line_faults(
        hand('"1 kohm"', 'high = "75 %"', windows, ('low = "70 %"\nhigh = "75 %"', 'low = "45 %"\nhigh = "55 %"')), "l"
    )
    assert false_ohms(one(found, "input.p chafed-to-supply pin"), "down") == ((0.0, pytest.approx(8600.0 / 1.8)),)


def test_edges_found_by_substitution_move_with_the_pull() -> None:
    """Up from 250 to 400 Ω, found with this very pull: a leak reads up for these ohms, whatever 1 kΩ ± 10 % has."""
    loose = ('pull_up = { value = "1 kohm", tolerance = "0 %" }', 'pull_up = { value = "1 kohm", tolerance = "10 %" }')
    window = ('low = "20 %"\nhigh = "30 %"', 'low = "250 ohm"\nhigh = "400 ohm"\nfound = "substitution"')
    chafed = one(line_faults(hand('"none"', "", loose, window), "l"), "input.p chafed-to-ground pin")
    assert false_ohms(chafed, "up") == (pytest.approx((250.0, 400.0)),)
    # down is stated in percent and does not move: 45 % with 0.9 kΩ to 55 % with 1.1 kΩ
    assert false_ohms(chafed, "down") == (pytest.approx((900.0 * 0.45 / 0.55, 1100.0 * 0.55 / 0.45)),)


def test_what_is_harmless_lies_round_the_sound_part() -> None:
    """Up is 250 to 428.57 Ω of what hangs on 1 kΩ, down 818.18 to 1222.2 Ω; nothing else is a command."""
    truck = hand('"20 kohm"')
    found = line_faults(truck, "l")
    beside = [1.0 / (1.0 / ohm - 1.0 / 20e3) for ohm in (3000.0 / 7.0, 9000.0 / 11.0, 11000.0 / 9.0)]
    assert harmless(truck, one(found, "contact.b.resistor drifted")) == pytest.approx((beside[0], math.inf))
    assert harmless(truck, one(found, "contact.a.resistor drifted")) == pytest.approx((0.0, beside[1]))
    assert harmless(truck, one(found, "line.l.idle_resistor drifted")) == pytest.approx((11000.0 / 9.0, math.inf))
    assert harmless(truck, one(found, "line.l.wire resistive")) == pytest.approx(
        (0.0, 9000.0 / 11.0 - 1 / (1 / 333 + 1 / 20e3))
    )
    assert harmless(truck, one(found, "contact.a worn")) == pytest.approx((0.0, beside[1] - 333.0))
    assert harmless(truck, one(found, "input.p chafed-to-ground pin")) == pytest.approx((beside[2], math.inf))


def test_a_set_of_severities_by_its_ends() -> None:
    both = Severities(((1.0, 2.0), (5.0, 9.0)), ((1.0, 2.0),))
    assert (both.low_ohm, both.high_ohm, both.exact) == (1.0, 9.0, False)
    assert [both.holds(ohm) for ohm in (0.9, 1.0, 1.5, 2.0, 3.0, 5.0, 9.0, 9.1)] == [
        False,
        *[True] * 3,
        False,
        True,
        True,
        False,
    ]


def test_which_contacts_conduct_with_a_fault() -> None:
    """Nothing, a, and b pressed; contacts that are stuck, inverted, or taken for each other."""
    view = line_view(hand(), "l")
    faults = {each.id: each for each in sites(view)}
    pressed = [frozenset(each) for each in ((), ("a",), ("b",))]

    def conducting(*names: str) -> dict[str, list[bool]]:
        change = Change()
        for name in names:
            change = change.with_(change_of(view, faults[name]))
        found = contacts_conducting(view, change, pressed)
        assert found.shape == (3, len(view.branches))
        by_id = dict(zip((branch.id for branch in view.branches), found.T.tolist(), strict=True))
        assert not any(any(column) for name, column in by_id.items() if name not in ("contact.a", "contact.b"))
        return {name: by_id[f"contact.{name}"] for name in "ab"}

    a, b = [False, True, False], [False, False, True]
    assert conducting() == {"a": a, "b": b}
    assert conducting("contact.a stuck-closed") == {"a": [True] * 3, "b": b}
    assert conducting("contact.b stuck-open") == {"a": a, "b": [False] * 3}
    assert conducting("contact.a wrong-throw") == {"a": [True, False, True], "b": b}
    assert conducting("contact.a swapped contact.b") == {"a": b, "b": a}
    both = conducting("contact.a swapped contact.b", "contact.a wrong-throw")
    assert both == {"a": [True, True, False], "b": a}


DIVIDER = (
    ('form = "pull-up"', 'form = "divider"\ntop_resistor = "1 kohm"\nfeed_from = "battery"\nfeed_drop = "none"'),
    ('pull_up = { value = "1 kohm", tolerance = "0 %" }', 'pull_up = "none"'),
    ('run = "12 V"', 'run = "5 V"\ncrank = "2.5 V"'),
    ('low = "20 %"\nhigh = "30 %"', 'high = "30 %"'),
)


def test_a_pin_that_nothing_holds_may_read_any_command() -> None:
    """A divider on a pin without pulls: with the wire open nothing holds the pin. While cranking it reads half."""
    found = line_faults(hand('"none"', "", *DIVIDER), "l")
    assert found.sound is not None
    assert found.sound.idle_reads == ("idle",)  # in key state run; half of 5 V, which is down, while cranking
    # with b pressed a quarter of 5 V
    assert {(each.command, each.key_state, each.operated) for each in found.sound.false} == {
        ("down", "crank", ()), ("up", "crank", ("b",))
    }  # fmt: skip
    for name in ("line.l.wire open", "line.l.wire resistive"):
        afloat = one(found, name)
        assert set(afloat.commands) == {"up", "down"}
        assert set(afloat.idle_reads) == {"up", "down", "idle", "invalid"}
    entry = next(e for e in one(found, "line.l.wire resistive").false if (e.command, e.operated) == ("up", ()))
    assert entry.severities is not None and entry.severities.outer == ((math.inf, math.inf),)


def test_more_causes_than_are_listed_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three that vary: reference, battery and the return's offset. With room for two there is no dictionary."""
    changes = (
        ('run = "12 V"', 'run = { low = "10 V", high = "14 V" }'),
        ('reference = "5 V"', 'reference = { value = "5 V", tolerance = "2 %" }'),
        ('return_offset = "none"', 'return_offset = { low = "-0.05 V", high = "0.05 V" }'),
        ('leak_to_supply = "none"', 'leak_to_supply = "1 Mohm"'),
    )
    truck = hand('"none"', "", *changes)
    monkeypatch.setattr("pinproof.faults.questions.MOST_CAUSES", 3)
    assert line_faults(truck, "l").faults
    monkeypatch.setattr("pinproof.faults.questions.MOST_CAUSES", 2)
    none = line_faults(truck, "l")
    assert (none.sound, none.faults, none.situations, none.pairs, none.is_safe) == (None, (), 0, None, False)
    assert none.reason.startswith("Line l depends on 3 supplies, drops and offsets that vary, more than the 2")


BESIDE = """[[line]]
id = "m"
input = "p"
form = "divider"
idle = "rest"
top_resistor = "10 kohm"
feed_from = "battery"
feed_drop = "none"
idle_resistor = "none"
wire = "0 ohm"
source_wire = "0 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
[[line.window]]
meaning = "go"
low = "5 %"
high = "15 %"
[[line.window]]
meaning = "rest"
low = "70 %"
[[device]]
id = "other"
[[contact]]
id = "c"
line = "m"
device = "other"
kind = "normally open"
action = "momentary"
asks = "go"
resistor = "100 ohm"
"""


def test_a_line_lists_faults_of_its_own_parts() -> None:
    """Two lines on one pin, both without a pull: the parts of the second are there, and are no faults of the first."""
    truck = hand('"none"', "", *DIVIDER[:2], ('[[device]]\nid = "pod"', f'{BESIDE}[[device]]\nid = "pod"'))
    view = whole_view(line_view(truck, "l"))
    assert "contact.c.resistor" in {branch.id for branch in view.branches}
    places = {each.site for each in sites(view)}
    assert {"contact.a.resistor", "line.l.wire", "line.l.top_resistor"} <= places
    assert not any(place.startswith(("contact.c", "line.m")) for place in places)


# a line of free elements

BRANCHES = """
[[line.element]]
id = "w"
kind = "wire"
between = ["pin", "far"]
value = "0 ohm"
[[line.element]]
id = "ra"
kind = "resistor"
between = ["far", "x"]
value = "333 ohm"
[[line.element]]
id = "ca"
kind = "contact"
between = ["x", "return"]
contact = "a"
[[line.element]]
id = "rb"
kind = "resistor"
between = ["far", "y"]
value = "1 kohm"
[[line.element]]
id = "cb"
kind = "contact"
between = ["y", "return"]
contact = "b"
"""


def test_the_same_circuit_in_free_elements_has_the_same_faults() -> None:
    """The hand-made line drawn element by element: the same severities, under the elements' own names."""
    form = 'form = "pull-up"\nidle = "idle"\nidle_resistor = "none"\nwire = "0 ohm"\nsource_wire = "0 ohm"\n'
    truck = hand(
        '"none"',
        "",
        (form, 'form = "elements"\nidle = "idle"\nsource_side = "return"\n'),
        ("[[device]]", BRANCHES + "[[device]]"),
        ('resistor = "333 ohm"\n', ""),
        ('asks = "down"\nresistor = "1 kohm"\n', 'asks = "down"\n'),
    )
    drawn, usual = line_faults(truck, "l"), line_faults(hand(), "l")
    own = {
        "line.l.element.rb.value drifted": "contact.b.resistor drifted",
        "line.l.element.ra.value open": "contact.a.resistor open",
        "line.l.element.w.value resistive": "line.l.wire resistive",
        "contact.a worn": "contact.a worn",
        "contact.b stuck-closed": "contact.b stuck-closed",
        "contact.a swapped contact.b": "contact.a swapped contact.b",
        "input.p chafed-to-supply pin": "input.p chafed-to-supply pin",
        "line.l.node.far chafed-to-ground node far": "line.l.wire chafed-to-ground far",
        "line.l.node.x chafed-to-supply node x": "contact.a chafed-to-supply contact a",
        "line.l.node.x bridged line.l.node.y": "contact.a bridged contact.b",
    }
    for mine, theirs in own.items():
        got, wanted = one(drawn, mine), one(usual, theirs)
        assert (got.effect, got.idle_reads, got.lost, got.false) == (
            wanted.effect, wanted.idle_reads, wanted.lost, wanted.false
        )  # fmt: skip
    nodes = {"pin", "node far", "node x", "node y"}
    assert {each.fault.nodes[0] for each in drawn.faults if each.fault.kind == "chafed-to-ground"} == nodes
    bridged = [set(each.fault.nodes) for each in drawn.faults if each.fault.kind == "bridged"]
    assert len(bridged) == 6 and all(pair <= nodes and len(pair) == 2 for pair in bridged)
    assert harmless(truck, one(drawn, "line.l.element.rb.value drifted")) == pytest.approx((3000.0 / 7.0, math.inf))
    assert harmless(truck, one(drawn, "line.l.element.w.value resistive")) == pytest.approx(
        (0.0, 9000.0 / 11.0 - 333.0)
    )
    words = {name: fault_words(one(drawn, name).fault) for name in own}
    assert words["line.l.element.rb.value drifted"] == "element rb drifted"
    assert words["line.l.node.x bridged line.l.node.y"] == "bridge: node x to node y"
