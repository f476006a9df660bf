"""The checker's faults against sums done by hand: voltage dividers and one or two nodal equations, in fractions."""

from __future__ import annotations

import dataclasses
import itertools
import random
from collections.abc import Iterable, Sequence
from fractions import Fraction as F
from typing import Any

import pytest

from tests.truth.faults import (
    GRID,
    Bench,
    Fault,
    exact_extremes,
    fault_effect,
    fault_grid,
    fault_report,
    sample_faults,
    sample_situations,
    single_faults,
    skipped,
)
from tests.truth.generate import generate
from tests.truth.judge import all_spaces, look, situations
from tests.truth.test_truth_itself import LINE, PIN, contact, r, truck
from tests.truth.truck import INF, Element, Line, Number, Pull, Resistor, SituationRule, Span, Truck, Window

NEAR = 1e-12


def par(*ohms: Number) -> F:
    """Resistances side by side, in ohm."""
    return 1 / sum((F(1) / F(x) for x in ohms if x != INF), start=F(0))


def share(ohm: Number) -> F:
    """Reading of `ohm` to ground under the 1 kohm pull-up, divided by the reference."""
    return F(1) if ohm == INF else F(ohm) / (F(ohm) + 1000)


def window(meaning: str, low: str | None, high: str | None, fault: bool = False) -> Window:
    return Window(meaning, low, high, "ratio", fault=fault, basis="measured")


WINDOWS = (
    window("shorted", None, "0.02", True),
    window("up", "0.45", "0.50"),
    window("down", "0.65", "0.75"),
    window("automatic", "0.85", "0.94"),
    window("open", "0.97", None, True),
)
CODED = dataclasses.replace(LINE, idle_resistor=r("9000"), windows=WINDOWS)
PLAIN = truck([contact("up", "1000"), contact("down", "3000")], CODED)  # reads 9/10, 9/19 and 9/13


def the(t: Truck, site: str, kind: str, *detail: str) -> Fault:
    """The one fault of that name."""
    found = [f for f in single_faults(t, "taps") if (f.site, f.kind, f.detail) == (site, kind, detail)]
    assert len(found) == 1, (site, kind, detail, found)
    return found[0]


def readings(
    t: Truck, fault: Fault, operated: Iterable[str] = (), at: Number | None = None, key: str = "run"
) -> tuple[F, F]:
    """Exact extremes, after a check that the quick sum gives the same."""
    pressed = tuple(operated)
    slow = exact_extremes(t, "taps", fault, pressed, at, key)
    quick = fault_grid(t, "taps", fault, pressed, key, None if at is None else [at])
    assert slow.low is not None
    assert slow.high is not None
    [(low, high)] = next(iter(quick["readings"].values()))
    assert abs(low - slow.low) < NEAR
    assert abs(high - slow.high) < NEAR
    assert quick["floating"] == [slow.floating]
    return slow.low, slow.high


def one(t: Truck, fault: Fault, operated: Iterable[str] = (), at: Number | None = None) -> F:
    low, high = readings(t, fault, operated, at)
    assert low == high
    return low


# ---------------------------------------------------------------- which faults there are


def test_the_list_of_a_small_pull_up() -> None:
    found = {(f.site, f.kind, f.detail) for f in single_faults(PLAIN, "taps")}
    want: set[tuple[str, str, tuple[str, ...]]] = set()
    for path in ("contact.up.resistor", "contact.down.resistor", "line.taps.idle_resistor"):
        want |= {(path, k, ()) for k in ("open", "shorted", "drifted", "decade-low", "decade-high")}
    for path in ("contact.up", "contact.down"):
        want |= {(path, k, ()) for k in ("stuck-closed", "stuck-open", "worn", "wrong-throw")}
    for path in ("line.taps.wire", "line.taps.source_wire"):
        want |= {(path, k, ()) for k in ("open", "resistive")}
    for node in ("pin", "far", "source", "~up", "~down"):
        want |= {("line.taps", k, (node,)) for k in ("chafed-to-ground", "chafed-to-supply")}
    want |= {("line.taps", "bridged", ("~up", "~down")), ("contact.up", "swapped", ("down",))}
    assert found == want
    assert len(single_faults(PLAIN, "taps")) == len(want)
    graded = {"drifted", "worn", "resistive", "chafed-to-ground", "chafed-to-supply", "bridged"}
    assert all(f.severity == (f.kind in graded) for f in single_faults(PLAIN, "taps"))


def test_swaps_need_another_device_or_another_meaning() -> None:
    same = contact("up2", asks="up")
    t = truck([contact("up"), same], CODED)
    assert not [f for f in single_faults(t, "taps") if f.kind == "swapped"]
    t = truck([contact("up"), dataclasses.replace(same, device="wheel")], CODED)
    assert [f.detail for f in single_faults(t, "taps") if f.kind == "swapped"] == [("up2",)]


def test_stations_and_the_manual_node() -> None:
    line = dataclasses.replace(CODED, enable="manual", taps_through_enable=True)
    contacts = [contact("manual", "2000"), contact("up", station="wheel"), contact("down", "3000", station="wheel")]
    t = truck(contacts, line)
    assert [f.detail for f in single_faults(t, "taps") if f.kind == "unplugged"] == [("wheel",)]
    pairs = {f.detail for f in single_faults(t, "taps") if f.kind == "bridged"}
    assert pairs == {("manual", "~up"), ("manual", "~down"), ("~up", "~down")}
    assert not the(t, "line.taps", "chafed-to-ground", "manual").note
    bare = truck([contact("manual", None), *contacts[1:]], line)
    assert the(bare, "line.taps", "chafed-to-ground", "manual").note


def test_a_contact_without_resistor_has_no_node_of_its_own() -> None:
    t = truck([contact("up", None), contact("down")], CODED)
    assert not [f for f in single_faults(t, "taps") if "~up" in f.detail or f.site == "contact.up.resistor"]


def test_samples_come_from_the_seed_and_every_kind_has_a_turn() -> None:
    a = sample_faults(PLAIN, "taps", random.Random(3), 15)
    assert a == sample_faults(PLAIN, "taps", random.Random(3), 15)
    assert a != sample_faults(PLAIN, "taps", random.Random(4), 15)
    kinds = {f.kind for f in single_faults(PLAIN, "taps")}
    assert {f.kind for f in a} == kinds
    everything = sample_faults(PLAIN, "taps", random.Random(3), 1000)
    assert sorted(f.label for f in everything) == sorted(f.label for f in single_faults(PLAIN, "taps"))
    some = sample_situations(PLAIN, "taps", random.Random(3), 3)
    assert frozenset() in some
    assert len(set(some)) == 3


def test_the_grid_runs_from_nothing_to_infinity() -> None:
    assert list(GRID) == sorted(set(GRID))
    assert (GRID[0], GRID[1], GRID[-2], GRID[-1]) == (0, F(1, 10), 10**7, INF)
    steps = [float(b) / float(a) for a, b in itertools.pairwise(GRID[1:-1])]
    assert max(steps) < 2.16


# ---------------------------------------------------------------- each kind, by hand, on a pull-up


def test_resistor_open_and_shorted() -> None:
    assert one(PLAIN, the(PLAIN, "contact.up.resistor", "open"), ["up"]) == F(9, 10)
    assert one(PLAIN, the(PLAIN, "contact.up.resistor", "shorted"), ["up"]) == 0
    assert one(PLAIN, the(PLAIN, "line.taps.idle_resistor", "open")) == 1
    assert one(PLAIN, the(PLAIN, "line.taps.idle_resistor", "open"), ["up"]) == F(1, 2)
    assert one(PLAIN, the(PLAIN, "line.taps.idle_resistor", "shorted"), ["up"]) == 0


@pytest.mark.parametrize(("at", "branch"), [(F(4000), F(4000)), (F(0), F(0)), (INF, INF)])
def test_resistor_drifted(at: Number, branch: Number) -> None:
    want = F(0) if branch == 0 else share(par(branch, 9000))
    assert one(PLAIN, the(PLAIN, "contact.up.resistor", "drifted"), ["up"], at) == want


def test_drift_takes_the_place_of_the_range_and_the_others_keep_theirs() -> None:
    line = dataclasses.replace(CODED, idle_resistor=r("9000", "10"))
    t = truck([contact("up", "1000"), contact("down", "3000")], line)
    low, high = readings(t, the(t, "contact.up.resistor", "drifted"), ["up"], F(2000))
    assert (low, high) == (share(par(2000, 8100)), share(par(2000, 9900)))
    assert one(t, the(t, "line.taps.idle_resistor", "drifted"), ["up"], F(500)) == share(par(1000, 500))


def test_decades_keep_the_tolerance() -> None:
    t = truck([dataclasses.replace(contact("up"), resistor=r("1000", "10"))], CODED)
    low, high = readings(t, the(t, "contact.up.resistor", "decade-low"), ["up"])
    assert (low, high) == (share(par(90, 9000)), share(par(110, 9000)))
    low, high = readings(t, the(t, "contact.up.resistor", "decade-high"), ["up"])
    assert (low, high) == (share(par(9000, 9000)), share(par(11000, 9000)))


def test_contact_stuck() -> None:
    t = truck([contact("up", closed=Span("10", "60"), open_ohm="50000"), contact("down", "3000")], CODED)
    closed = (share(par(1010, 9000)), share(par(1060, 9000)))
    opened = (share(par(51000, 9000)), share(9000))
    assert readings(t, the(t, "contact.up", "stuck-closed")) == closed
    assert readings(t, the(t, "contact.up", "stuck-closed"), ["up"]) == closed
    assert readings(t, the(t, "contact.up", "stuck-open"), ["up"]) == opened
    assert readings(t, the(t, "contact.up", "stuck-open")) == opened
    assert readings(t, the(t, "contact.up", "wrong-throw")) == closed
    assert readings(t, the(t, "contact.up", "wrong-throw"), ["up"]) == opened


def test_a_normally_closed_contact_stuck() -> None:
    t = truck([dataclasses.replace(contact("up"), normally_open=False)], CODED)
    assert one(t, the(t, "contact.up", "stuck-open")) == F(9, 10)
    assert one(t, the(t, "contact.up", "stuck-closed"), ["up"]) == F(9, 19)
    assert one(t, the(t, "contact.up", "wrong-throw")) == F(9, 10)
    assert one(t, the(t, "contact.up", "wrong-throw"), ["up"]) == F(9, 19)


def test_contact_worn_only_where_it_conducts() -> None:
    fault = the(PLAIN, "contact.up", "worn")
    assert one(PLAIN, fault, ["up"], F(2000)) == F(9, 13)
    assert one(PLAIN, fault, ["up"], INF) == F(9, 10)
    assert one(PLAIN, fault, ["up"], F(0)) == F(9, 19)
    row = fault_grid(PLAIN, "taps", fault, [])
    assert len(row["grid"]) == len(row["kept"]) == len(GRID)
    assert all(row["kept"])


def test_wires() -> None:
    for wire in ("line.taps.wire", "line.taps.source_wire"):
        assert one(PLAIN, the(PLAIN, wire, "open"), ["up"]) == 1
        assert one(PLAIN, the(PLAIN, wire, "resistive"), ["up"], F(500)) == share(F(900) + 500)
        assert one(PLAIN, the(PLAIN, wire, "resistive"), ["up"], INF) == 1


WIRED = truck(
    [contact("up", "1000"), contact("down", "3000")],
    dataclasses.replace(CODED, wire=Span("100", "100"), source_wire=Span("200", "200")),
)


@pytest.mark.parametrize("s", [F(0), F(400), INF])
def test_chafed_to_ground(s: Number) -> None:
    def beside(ohm: F) -> F:
        return F(0) if s == 0 else par(ohm, s)

    t = WIRED
    assert one(t, the(t, "line.taps", "chafed-to-ground", "pin"), (), s) == share(beside(F(9300)))
    assert one(t, the(t, "line.taps", "chafed-to-ground", "far"), (), s) == share(100 + beside(F(9200)))
    assert one(t, the(t, "line.taps", "chafed-to-ground", "source"), (), s) == share(9100 + beside(F(200)))
    branch = par(9200, INF if s == INF else 1000 + F(s))  # up is not operated: its resistor hangs on the chafe
    assert one(t, the(t, "line.taps", "chafed-to-ground", "~up"), (), s) == share(100 + branch)


def test_a_chafe_goes_to_the_return_not_to_the_controllers_ground() -> None:
    line = dataclasses.replace(CODED, return_offset=Span("0.5", "0.5"))
    t = truck([contact("up"), contact("down", "3000")], line)
    assert one(t, the(t, "line.taps", "chafed-to-ground", "pin"), (), F(0)) == F("0.1")  # 0.5 V of 5 V
    assert one(t, the(t, "line.taps", "chafed-to-ground", "pin"), (), F(1000)) == F("0.1") + share(900) * F("0.9")


def test_a_chafe_to_chassis_does_not_have_the_volts_of_the_series_diode() -> None:
    line = dataclasses.replace(CODED, return_offset=Span("0.5", "0.5"), series_diode=Span("0.7", "0.7"))
    t = truck([contact("up"), contact("down", "3000")], line)
    chafed = the(t, "line.taps", "chafed-to-ground", "pin")
    assert one(t, chafed, (), F(0)) == F("0.1")  # 0.5 V of 5 V, not 1.2 V
    # 5 V through 1000 ohm, 1.2 V through 9000 ohm, 0.5 V through 2000 ohm
    siemens = F(1) / 1000 + F(1) / 9000 + F(1) / 2000
    assert one(t, chafed, (), F(2000)) == (F(5) / 1000 + F("1.2") / 9000 + F("0.5") / 2000) / siemens / 5


def test_chafed_to_supply() -> None:
    pin = dataclasses.replace(PIN, compares="volts", full_scale_v="16")
    t = truck([contact("up"), contact("down", "3000")], CODED, pin)  # battery 10 V to 14 V, pull-up from 5 V
    for s in (F(0), F(4000)):
        low, high = readings(t, the(t, "line.taps", "chafed-to-supply", "~up"), (), s)
        for volts, battery in ((low, 10), (high, 14)):
            total = 1 / F(1000) + 1 / F(9000) + 1 / (1000 + s)
            assert volts == (F(5) / 1000 + F(battery) / (1000 + s)) / total
    low, high = readings(t, the(t, "line.taps", "chafed-to-supply", "pin"), ["up"], F(0))
    assert (low, high) == (F(10), F(14))
    low, high = readings(t, the(t, "line.taps", "chafed-to-supply", "far"), ["up"], INF)
    assert low == high == 5 * share(900)


def test_chafed_source_node_lifts_the_ground_of_every_branch() -> None:
    pin = dataclasses.replace(PIN, compares="volts", full_scale_v="16")
    t = truck([contact("up")], dataclasses.replace(WIRED.lines[0], wire=Span("0", "0")), pin, run=Span("12", "12"))
    # the pin sees the source node through 900 ohm; that node has 200 ohm to ground and 1000 ohm to 12 V
    inner, volts = par(200, 1000), F(12) * 200 / 1200  # the source node as a source of its own (Thevenin)
    want = volts + (5 - volts) * (900 + inner) / (1900 + inner)
    assert one(t, the(t, "line.taps", "chafed-to-supply", "source"), ["up"], F(1000)) == want


def test_bridged_branches() -> None:
    fault = the(PLAIN, "line.taps", "bridged", "~up", "~down")
    assert one(PLAIN, fault, ["up"], F(0)) == share(par(1000, 3000, 9000))
    assert one(PLAIN, fault, ["up"], F(600)) == share(par(1000, 3600, 9000))
    assert one(PLAIN, fault, ["down"], F(600)) == share(par(1600, 3000, 9000))
    assert one(PLAIN, fault, ["up"], INF) == F(9, 19)
    assert one(PLAIN, fault, [], F(0)) == F(9, 10)  # no way to ground in either


def test_swapped_contacts() -> None:
    fault = the(PLAIN, "contact.up", "swapped", "down")
    assert one(PLAIN, fault, ["up"]) == F(9, 13)
    assert one(PLAIN, fault, ["down"]) == F(9, 19)
    assert one(PLAIN, fault, ["up", "down"]) == share(par(1000, 3000, 9000))
    row = fault_grid(PLAIN, "taps", fault, ["up"])
    assert row["required"] == "up"  # the hand still asks for up
    assert row["false"] == {"down": [True]}


def test_swapped_contacts_keep_their_own_kind() -> None:
    t = truck([contact("up"), dataclasses.replace(contact("down", "3000"), normally_open=False)], CODED)
    # up's hand moves the normally closed contact, down's hand the normally open one
    fault = the(t, "contact.up", "swapped", "down")
    assert one(t, fault) == share(par(3000, 9000))
    assert one(t, fault, ["up"]) == F(9, 10)
    assert one(t, fault, ["down"]) == share(par(1000, 3000, 9000))


def test_unplugged_station() -> None:
    t = truck([contact("up", station="wheel"), contact("down", "3000")], CODED)
    fault = the(t, "line.taps", "unplugged", "wheel")
    assert one(t, fault, ["up"]) == F(9, 10)
    assert one(t, fault, ["up", "down"]) == F(9, 13)
    leaky = truck([contact("up", station="wheel", open_ohm="20000")], CODED)
    assert one(leaky, the(leaky, "line.taps", "unplugged", "wheel")) == F(9, 10)  # its leakage is gone too


# ---------------------------------------------------------------- the other forms, by hand


def test_taps_through_the_enable() -> None:
    line = dataclasses.replace(CODED, enable="manual", taps_through_enable=True)
    t = truck([contact("manual", "2000"), contact("up", with_=("manual",)), contact("down", "3000")], line)
    # with the enable open, up joins its own resistor and the enable's in a loop through the far end: nothing flows
    assert one(t, the(t, "contact.manual", "stuck-open"), ["manual", "up"]) == F(9, 10)
    assert one(t, the(t, "contact.manual", "stuck-closed"), ["up"]) == share(par(2000, 1000, 9000))
    assert one(t, the(t, "line.taps", "chafed-to-ground", "manual"), [], F(0)) == share(par(2000, 9000))
    # manual held up from a chafe of 300 ohm: the enable's own resistor and up's both hang on it
    chafe = par(2000, 1000) + 300
    assert one(t, the(t, "line.taps", "chafed-to-ground", "manual"), ["up"], F(300)) == share(par(chafe, 9000))
    assert one(t, the(t, "line.taps", "bridged", "manual", "~up"), ["manual"], F(500)) == share(par(2000, 1500, 9000))
    stations = truck([contact("manual", "2000", station="lever"), contact("up")], line)
    assert one(stations, the(stations, "line.taps", "unplugged", "lever"), ["manual", "up"]) == F(9, 10)


def test_taps_fed_directly() -> None:
    t = truck([contact("manual", "2000"), contact("up")], dataclasses.replace(CODED, enable="manual"))
    assert one(t, the(t, "contact.manual", "stuck-open"), ["manual", "up"]) == F(9, 19)
    assert one(t, the(t, "line.taps", "bridged", "~manual", "~up"), ["up"], F(0)) == share(par(2000, 1000, 9000))


LADDER = truck(
    [contact("a", "100"), contact("b", "200", station="wheel"), contact("c", "300")],
    dataclasses.replace(LINE, form="ladder", ladder_to="ground", end_resistor=r("700")),
)


def test_ladder() -> None:
    t = LADDER
    assert one(t, the(t, "contact.b.resistor", "open"), ["c"]) == 1
    assert one(t, the(t, "contact.b.resistor", "shorted"), ["c"]) == share(400)
    assert one(t, the(t, "line.taps.end_resistor", "drifted"), [], F(5000)) == share(5600)
    assert one(t, the(t, "contact.b", "stuck-closed"), ["c"]) == share(300)
    assert one(t, the(t, "contact.a", "worn"), ["a"], F(900)) == share(100 + par(900, 1200))
    assert one(t, the(t, "line.taps", "chafed-to-ground", "n2"), [], F(500)) == share(300 + par(500, 1000))
    assert one(t, the(t, "line.taps", "bridged", "n1", "n3"), ["c"], F(500)) == share(100 + par(500, 500))
    assert one(t, the(t, "line.taps", "bridged", "n1", "n3"), ["c"], F(0)) == share(100)
    assert one(t, the(t, "contact.a", "swapped", "c"), ["a"]) == share(600)
    unplugged = the(t, "line.taps", "unplugged", "wheel")
    assert unplugged.note
    assert one(t, unplugged, ["c"]) == 1
    assert one(t, unplugged, ["a"]) == share(100)
    assert {f.detail[0] for f in single_faults(t, "taps") if f.kind == "chafed-to-ground"} == {
        *("pin", "far", "source", "n1", "n2", "n3")
    }
    bare = truck([contact("a", None, station="wheel"), contact("b", "200")], t.lines[0])
    assert one(bare, the(bare, "line.taps", "unplugged", "wheel"), ["b"]) == share(200)  # no resistor, so no gap


DOWN = truck(
    [contact("up", "3000")],
    dataclasses.replace(LINE, form="pull-down", feed_from="battery", source_wire=Span("100", "100")),
    dataclasses.replace(PIN, pull_up=None, pull_down=Pull("1000", "0"), compares="battery"),
)


def test_pull_down() -> None:
    assert one(DOWN, the(DOWN, "line.taps.source_wire", "open"), ["up"]) == 0
    assert one(DOWN, the(DOWN, "line.taps.source_wire", "resistive"), ["up"], F(1000)) == F(1, 5)
    # source node: 100 ohm to the battery, 100 ohm to ground, 4000 ohm through the pin
    assert one(DOWN, the(DOWN, "line.taps", "chafed-to-ground", "source"), ["up"], F(100)) == F(10, 81)
    assert one(DOWN, the(DOWN, "line.taps", "chafed-to-supply", "~up"), [], F(1000)) == F(1, 5)
    assert one(DOWN, the(DOWN, "line.taps", "chafed-to-supply", "source"), ["up"], F(0)) == F(1, 4)
    assert one(DOWN, the(DOWN, "contact.up.resistor", "decade-low"), ["up"]) == F(1000, 1400)


def test_divider() -> None:
    line = dataclasses.replace(LINE, form="divider", feed_from="reference", top_resistor=r("1000"), windows=WINDOWS)
    t = truck([contact("up", "1000"), contact("down", "3000")], line, dataclasses.replace(PIN, pull_up=None))
    assert one(t, the(t, "line.taps.top_resistor", "drifted"), ["up"], F(4000)) == F(1, 5)
    assert one(t, the(t, "line.taps.top_resistor", "open"), ["up"]) == 0
    assert one(t, the(t, "line.taps.top_resistor", "shorted"), ["up"]) == 1
    assert one(t, the(t, "line.taps.top_resistor", "decade-high"), ["up"]) == F(1, 11)
    assert one(t, the(t, "line.taps", "chafed-to-ground", "far"), ["up"], F(1000)) == F(1, 3)
    assert one(t, the(t, "line.taps.source_wire", "open"), ["up"]) == 1
    assert readings(t, the(t, "line.taps.wire", "open"), ["up"]) == (F(0), F(1))  # the pin hangs on nothing


NETWORK: Line = dataclasses.replace(
    LINE,
    form="elements",
    wire=None,
    source_wire=None,
    source_side="return",
    elements=(
        Element("w1", "wire", ("pin", "a"), wire=Span("0", "0")),
        Element("r1", "resistor", ("a", "b"), resistor=r("1000")),
        Element("r2", "resistor", ("a", "c"), resistor=r("3000")),
        Element("r3", "resistor", ("b", "c"), resistor=r("500")),
        Element("k1", "contact", ("b", "return"), contact="up"),
        Element("k2", "contact", ("c", "return"), contact="down"),
    ),
    windows=WINDOWS,
)


def test_elements() -> None:
    t = truck([contact("up", None, station="wheel"), contact("down", None)], NETWORK)
    here = "line.taps.element"
    assert one(t, the(t, f"{here}.w1", "open"), ["up"]) == 1
    assert one(t, the(t, f"{here}.w1", "resistive"), ["up"], F(250)) == share(250 + par(1000, 3500))
    assert one(t, the(t, f"{here}.r3", "open"), ["up"]) == share(1000)
    assert one(t, the(t, f"{here}.r3", "shorted"), ["up"]) == share(750)
    assert one(t, the(t, f"{here}.r3", "drifted"), ["up"], F(3000)) == share(par(1000, 6000))
    assert one(t, the(t, "contact.up", "worn"), ["up"], F(250)) == share(par(1000, 3500) + 250)
    assert one(t, the(t, "contact.up", "swapped", "down"), ["up"]) == share(par(3000, 1500))
    assert one(t, the(t, "line.taps", "unplugged", "wheel"), ["up"]) == 1
    assert one(t, the(t, "line.taps", "chafed-to-ground", "c"), [], F(0)) == share(par(3000, 1500))
    assert one(t, the(t, "line.taps", "bridged", "b", "c"), ["up"], F(500)) == share(par(1000, 3250))
    assert {f.detail for f in single_faults(t, "taps") if f.kind == "bridged"} == {
        *itertools.combinations(("a", "b", "c", "pin"), 2)
    }
    assert {f.site for f in single_faults(t, "taps") if f.kind == "resistive"} == {f"{here}.w1"}


# ---------------------------------------------------------------- no reading, any reading


def test_a_dead_short_has_no_reading() -> None:
    fault = the(PLAIN, "line.taps", "chafed-to-supply", "source")  # its source wire is 0 ohm
    row = fault_grid(PLAIN, "taps", fault, ["up"], grid=[F(0), F(1)])
    assert row["no_answer"] == [True, False]
    assert row["shorted"] == [True, False]
    assert row["kept"] == [None, True]
    assert row["false"] == {"down": [False, False]}
    assert exact_extremes(PLAIN, "taps", fault, ["up"], F(0)).low is None
    assert fault_report(PLAIN, "taps", fault)["undecided"]


def test_a_short_at_one_corner_leaves_the_others() -> None:
    line = dataclasses.replace(CODED, source_wire=Span("0", "1"))
    pin = dataclasses.replace(PIN, compares="volts", full_scale_v="16")
    t = truck([contact("up")], line, pin, run=Span("12", "12"))
    row = fault_grid(t, "taps", the(t, "line.taps", "chafed-to-supply", "source"), ["up"], grid=[F(0)])
    assert (row["shorted"], row["no_answer"]) == ([True], [False])
    # from 5 V through 1000 ohm and from 12 V through 900 ohm
    want = (F(5) / 1000 + F(12) / 900) / (F(1) / 1000 + F(1) / 900)
    assert row["readings"]["volts"] == [(pytest.approx(float(want), abs=NEAR), pytest.approx(float(want), abs=NEAR))]


def test_rails_that_are_one_are_never_shorted() -> None:
    t = dataclasses.replace(DOWN, lines=(dataclasses.replace(DOWN.lines[0], source_wire=Span("0", "0")),))
    row = fault_grid(t, "taps", the(t, "line.taps", "chafed-to-supply", "source"), ["up"], grid=[F(0)])
    assert (row["shorted"], row["no_answer"]) == ([False], [False])  # the feed is the battery, with no drop
    dropped = dataclasses.replace(t, lines=(dataclasses.replace(t.lines[0], feed_drop=Span("1", "1")),))
    fault = the(dropped, "line.taps", "chafed-to-supply", "source")
    assert fault_grid(dropped, "taps", fault, ["up"], grid=[F(0)])["no_answer"] == [True]


def test_rings_of_contacts_that_may_be_zero() -> None:
    closed = Span("0", "50")
    line = dataclasses.replace(CODED, wire=Span("0", "1"), source_wire=Span("0", "1"))
    t = truck([contact("up", closed=closed), contact("down", "3000", closed=closed)], line)
    fault = the(t, "line.taps", "bridged", "~up", "~down")
    low, high = readings(t, fault, ["up", "down"], F(0))
    assert low == share(par(1000, 3000, 9000))
    assert high == share(par(par(1000, 3000) + 25, 9000) + 2)
    low, high = readings(t, the(t, "line.taps", "chafed-to-ground", "~up"), ["up"], F(0))
    # up's resistor hangs on the return itself; the idle resistor's end has 1 ohm and 50 ohm to it at most
    assert low == share(900)
    assert high == share(1 + par(1000, 9000 + par(1, 50)))


def test_a_floating_pin_may_read_anything() -> None:
    t = truck([contact("up")], CODED, dataclasses.replace(PIN, pull_up=None))
    row = fault_grid(t, "taps", the(t, "line.taps.wire", "open"), [])
    assert row["readings"] == {"reference": [(0.0, 1.0)]}
    assert row["floating"] == [True]
    assert row["false"] == {"up": [True], "down": [True]}
    assert row["kept"] == [False]


# ---------------------------------------------------------------- what is said of a fault


def test_false_commands_per_severity() -> None:
    # idle 9 kohm beside s: reads up from s = 900 ohm (0.45) to 1125 ohm (0.5), down from 2340.. to 4500 ohm (0.75)
    fault = the(PLAIN, "line.taps", "chafed-to-ground", "pin")
    grid = [F(850), F(950), F(1100), F(1200), F(2300), F(2400), F(4400), F(4600)]
    row = fault_grid(PLAIN, "taps", fault, [], grid=grid)
    assert row["false"]["up"] == [False, True, True, False, False, False, False, False]
    assert row["false"]["down"] == [False, False, False, False, False, True, True, False]
    assert row["required"] == "automatic"
    assert not any(row["kept"])
    assert fault_grid(PLAIN, "taps", fault, [], grid=[F(100000), INF])["kept"] == [True, True]
    report = fault_report(PLAIN, "taps", fault, operated_sets=[frozenset()], grid=grid)
    assert report["false"] == [([], "run", "up", 950, 1100), ([], "run", "down", 2400, 4400)]
    assert report["effect"] == "false command"


def test_the_largest_window_for_false_and_the_smallest_for_kept() -> None:
    wide = dataclasses.replace(window("up", "0.45", "0.50"), uncertainty="0.03")
    t = truck([contact("up")], dataclasses.replace(CODED, windows=(wide, *WINDOWS[3:])))
    drift = the(t, "contact.up.resistor", "drifted")
    ohm = [par_of(F(x)) for x in ("0.41", "0.43", "0.475", "0.52", "0.54")]  # up's resistor for these readings
    row = fault_grid(t, "taps", drift, ["up"], grid=ohm)
    assert row["kept"] == [False, False, False, False, False]  # 0.48 to 0.47: never surely inside
    chafe = the(t, "line.taps", "chafed-to-ground", "pin")
    assert fault_grid(t, "taps", chafe, [], grid=ohm)["false"]["up"] == [False, True, True, True, False]
    narrow = dataclasses.replace(wide, uncertainty="0.01")
    t = truck([contact("up")], dataclasses.replace(CODED, windows=(narrow, *WINDOWS[3:])))
    row = fault_grid(t, "taps", drift, ["up"], grid=[par_of(F(x)) for x in ("0.455", "0.465", "0.485", "0.495")])
    assert row["kept"] == [False, True, True, False]


def par_of(reading: F) -> F:
    """What, beside the 9 kohm idle resistor, makes the reading."""
    whole = 1000 * reading / (1 - reading)
    return 1 / (1 / whole - F(1, 9000))


def test_a_comparison_on_the_edge_is_marked() -> None:
    fault = the(PLAIN, "line.taps", "chafed-to-ground", "pin")
    row = fault_grid(PLAIN, "taps", fault, [], grid=[F(850), F(900), F(1000)])
    assert par_of(F("0.45")) == 900
    assert row["false_tie"]["up"] == [False, True, False]
    assert row["false_tie"]["down"] == [False, False, False]


def test_effects() -> None:
    assert fault_effect(PLAIN, "taps", the(PLAIN, "contact.up", "stuck-closed")) == "false command"
    assert fault_effect(PLAIN, "taps", the(PLAIN, "contact.up", "stuck-open")) == "command lost"
    lone = truck([contact("up")], CODED)
    assert fault_effect(lone, "taps", the(lone, "contact.up.resistor", "shorted")) == "command lost"
    twin = [contact("up", station="a"), contact("up2", asks="up", station="b")]
    spare = truck(twin, dataclasses.replace(CODED, windows=(window("up", "0.3", "0.6"), *WINDOWS[2:])))
    spare = dataclasses.replace(
        spare, lines=(dataclasses.replace(spare.lines[0], rules=(SituationRule(("up2",), ("automatic", "up")),)),)
    )
    gone = the(spare, "line.taps", "unplugged", "b")
    assert fault_effect(spare, "taps", gone) == "none"  # up2 may read automatic here, so nothing can be lost
    assert fault_effect(spare, "taps", the(spare, "line.taps", "unplugged", "a")) == "command lost"


def test_cranking_counts_for_false_commands_only() -> None:
    t = truck([contact("up"), contact("down", "3000")], CODED, crank=Span("6", "10"))
    row = fault_grid(t, "taps", the(t, "contact.up", "stuck-open"), ["up"], "crank")
    assert row["required"] is None
    assert row["kept"] == [None]
    assert row["false"] == {"down": [False]}
    report = fault_report(t, "taps", the(t, "contact.up", "stuck-open"), ["crank"])
    assert report["effect"] == "none"
    assert fault_report(t, "taps", the(t, "contact.up", "stuck-closed"), ["crank"])["effect"] == "false command"


def test_what_can_be_lost() -> None:
    def with_rule(*allowed: str) -> dict[str, Any]:
        line = dataclasses.replace(CODED, rules=(SituationRule(("up",), allowed),))
        t = truck([contact("up"), contact("down", "3000")], line)
        return fault_grid(t, "taps", the(t, "contact.up", "stuck-open"), ["up"])

    assert with_rule("up")["required"] == "up"
    assert with_rule("up", "invalid")["required"] is None
    assert with_rule("up", "automatic")["required"] is None
    assert with_rule("invalid")["required"] is None
    assert set(with_rule("invalid")["false"]) == {"up", "down"}
    assert set(with_rule("up", "down")["false"]) == set()
    both = fault_grid(PLAIN, "taps", the(PLAIN, "contact.up", "stuck-open"), ["up", "down"])
    assert (both["rule"], both["required"], both["false"]) == (5, None, {})


def test_idle_that_reads_as_fault() -> None:
    report = fault_report(PLAIN, "taps", the(PLAIN, "line.taps.wire", "open"))
    assert (report["effect"], report["idle_fault_some"], report["idle_fault_all"]) == ("command lost", True, True)
    report = fault_report(PLAIN, "taps", the(PLAIN, "contact.up", "stuck-open"))
    assert (report["idle_fault_some"], report["idle_fault_all"]) == (False, False)
    unsure = tuple(dataclasses.replace(w, uncertainty="0.05") if w.meaning == "open" else w for w in WINDOWS)
    t = truck([contact("up")], dataclasses.replace(CODED, windows=unsure))  # "open" from 0.92 or from 1.02
    report = fault_report(t, "taps", the(t, "line.taps.wire", "open"))
    assert (report["idle_fault_some"], report["idle_fault_all"]) == (True, False)


def test_the_answer_is_a_lower_bound() -> None:
    """A window that only severities between two of the grid can reach is missed by the grid, as the page says."""
    reached = share(par(1500, 9000))
    slit = window("down", str(float(reached) - 1e-4), str(float(reached) + 1e-4))
    t = truck([contact("up")], dataclasses.replace(CODED, windows=(WINDOWS[1], slit, WINDOWS[3])))
    fault = the(t, "contact.up.resistor", "drifted")
    assert fault_effect(t, "taps", fault) == "command lost"
    assert fault_report(t, "taps", fault, grid=[F(1500)])["effect"] == "false command"


def test_two_spaces_when_it_is_unknown_what_is_compared() -> None:
    pin = dataclasses.replace(PIN, pull_up_to="battery", compares="unknown", full_scale_v="16")
    t = truck([contact("up"), contact("down", "3000")], CODED, pin)
    row = fault_grid(t, "taps", the(t, "contact.up", "stuck-closed"), [])
    near = [pytest.approx(9 / 19, abs=NEAR)] * 2
    assert list(row["readings"]["battery"][0]) == near
    assert list(row["readings"]["volts"][0]) == [pytest.approx(x * 9 / 19, abs=1e-11) for x in (10, 14)]
    assert row["false"]["up"] == [True]


def test_a_second_window_of_the_same_meaning() -> None:
    t = truck([contact("up")], dataclasses.replace(CODED, windows=(*WINDOWS, window("up", "0.1", "0.2"))))
    row = fault_grid(t, "taps", the(t, "line.taps", "chafed-to-ground", "pin"), [], grid=[F(200), F(1000)])
    assert (row["false"]["up"], row["false"]["up#2"]) == ([False, True], [True, False])


def test_what_is_skipped_says_so() -> None:
    w = Window("up", "500", "1500", "ohm", substitution=True)
    t = truck([contact("up")], dataclasses.replace(CODED, windows=(w,)))
    assert skipped(t, "taps") == "edges found by substitution"
    fault = the(t, "contact.up", "stuck-closed")
    assert fault_grid(t, "taps", fault, [])["exact"] is False
    with pytest.raises(ValueError, match="substitution"):
        fault_effect(t, "taps", fault)
    shared = dataclasses.replace(contact("up"), resistor=r("1000", tempco="300", known=True))
    t = truck([shared], dataclasses.replace(CODED, idle_resistor=r("9000", tempco="-200", known=True)))
    assert skipped(t, "taps") == "resistors share a temperature"


# ---------------------------------------------------------------- against the slow sum, and against the checker itself


def thinned(t: Truck, rng: random.Random, share_kept: float) -> Truck:
    """The same truck with most ranges shrunk to one end, so that every vertex can be solved in fractions."""

    def thin(x: Any) -> Any:
        if isinstance(x, Span):
            end = rng.choice([x.low, x.high])
            return x if rng.random() < share_kept else Span(end, end)
        if isinstance(x, Resistor):
            return x if rng.random() < share_kept / 2 else Resistor(x.ohm, "0", "0", "0")
        if isinstance(x, Pull):
            return x if rng.random() < share_kept else Pull(x.ohm, "0")
        if isinstance(x, tuple):
            return tuple(thin(y) for y in x)
        if dataclasses.is_dataclass(x) and not isinstance(x, type | Window):
            return dataclasses.replace(x, **{f.name: thin(getattr(x, f.name)) for f in dataclasses.fields(x)})
        if isinstance(x, dict):
            return {k: thin(v) for k, v in x.items()}
        return x

    def few_leaks(line: Line) -> Line:
        lost = {n: None for n in ("leak_to_ground", "leak_to_supply") if rng.random() > share_kept}
        return dataclasses.replace(line, **lost)  # type: ignore[arg-type]

    out: Truck = thin(t)
    contacts = [dataclasses.replace(c, open_ohm=c.open_ohm if rng.random() < 0.2 else None) for c in out.contacts]
    return dataclasses.replace(out, contacts=tuple(contacts), lines=tuple(few_leaks(x) for x in out.lines))


def test_generated_trucks_against_every_vertex_in_fractions() -> None:
    looked = shorts = floats = 0
    kinds: set[str] = set()
    forms: set[str] = set()
    for seed in range(60):
        rng = random.Random(seed)
        t = thinned(generate(seed), rng, 0.25)
        line = t.lines[0]
        if skipped(t, line.id):
            continue
        bench = Bench(t, line.id)
        grid: Sequence[Number] = [F(0), F(1), F(300), F(50000), INF]
        hard = [f for f in single_faults(t, line.id) if f.kind == "chafed-to-supply"]
        for fault in [*sample_faults(t, line.id, rng, 6), *rng.sample(hard, 2)]:
            operated = rng.choice(situations(t, line))
            # rings and shorts come with 0 ohm
            at = 0 if fault in hard else rng.choice((0, 0, 1, 2, 3, 4)) if fault.severity else 0
            ohm = grid[at] if fault.severity else None
            row = fault_grid(t, line.id, fault, operated, "run", grid, bench)
            space = rng.choice(all_spaces(t, line))
            slow = exact_extremes(t, line.id, fault, operated, ohm, "run", space)
            assert row["no_answer"][at] == (slow.low is None), (seed, fault)
            assert row["floating"][at] == slow.floating, (seed, fault)
            assert row["shorted"][at] == slow.shorted, (seed, fault)
            if slow.low is not None and slow.high is not None:
                low, high = row["readings"][space.name][at]
                assert abs(low - slow.low) < 1e-11 * space.full, (seed, fault, operated, ohm)
                assert abs(high - slow.high) < 1e-11 * space.full, (seed, fault, operated, ohm)
            looked += 1
            shorts += slow.shorted
            floats += slow.floating
            kinds.add(fault.kind)
            forms.add(line.form)
    assert looked > 300
    assert shorts > 0
    assert floats > 0
    assert len(kinds) > 10
    assert len(forms) == 5


@pytest.mark.parametrize("seed", [1, 2, 6, 11, 12, 13, 19, 20])
def test_a_fault_of_no_severity_is_no_fault(seed: int) -> None:
    """At the harmless end of its severity a chafe or a bridge leaves the reading as it was, and that reading is the
    one the checker gives without any fault."""
    t = generate(seed)
    line = t.lines[0]
    assert not skipped(t, line.id)
    bench, rng = Bench(t, line.id), random.Random(seed)
    harmless = [f for f in single_faults(t, line.id) if f.kind in ("chafed-to-ground", "chafed-to-supply", "bridged")]
    for operated in sample_situations(t, line.id, rng, 3):
        for space, wins in bench.tried:
            found = look(t, line, operated, "run", space, wins)[0]
            want = [pytest.approx(x, abs=1e-11 * float(space.full)) for x in (found.reading.low, found.reading.high)]
            for fault in [None, *rng.sample(harmless, min(3, len(harmless)))]:
                row = fault_grid(t, line.id, fault, operated, "run", [INF], bench)
                assert list(row["readings"][space.name][0]) == want, fault
