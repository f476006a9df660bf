"""Why no values will do, and what is tried against it: each trial changes one thing, by as much as it says."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from pinproof.choose import Parting, choose
from pinproof.choose.build import Row, build, sites_of
from pinproof.choose.collide import NO_WINDOW, _meant, collision_of
from pinproof.choose.parts import as_it_stands
from pinproof.choose.results import Collision
from pinproof.choose.search import solve
from pinproof.design import Truck, loads
from pinproof.errors import NoSolution
from pinproof.proof import prove_line
from pinproof.proof.situations import Requirement, Situation
from pinproof.wiring import line_view
from tests.first_principles.test_choose_pick import (
    DEVICES,
    DIRECTLY,
    FEED,
    HEAD,
    NARROW,
    NO_DIVISION_KNOWN,
    WINDOWS,
    truck_text,
)

VALUES = ('resistor = "to choose" #', 'resistor = "4.22k" #')
TAPS = ('"1.2k"', '"415 ohm"')
UNSURE = ('low = "900 ohm"\nhigh = "1500 ohm"', 'low = "900 ohm"\nhigh = "1500 ohm"\nuncertainty = "20 ohm"')


def explained(truck: Truck) -> tuple[Collision, dict[str, tuple[Truck, float | None]]]:
    """The collision of a line whose values stand, and what each trial was asked with."""
    line = truck.line("taps")
    as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
    built = build(truck, line, as_is)
    asked: list[tuple[Truck, float | None]] = []

    def again(other: Truck, tolerance: float | None) -> tuple[float, bool]:
        asked.append((other, tolerance))
        return float(len(asked)), True

    proof = prove_line(truck, line, drift=False)
    found = collision_of(truck, built, solve(built.problem), proof, again)
    assert sorted(each.margin for each in found.tried) == [float(n + 1) for n in range(len(asked))]
    return found, {each.what: asked[int(each.margin) - 1] for each in found.tried}


def test_each_trial_changes_one_thing() -> None:
    """Fed line with every kind of spread: the trucks that values are chosen for again, and nothing else in them."""
    truck = loads(truck_text(VALUES, UNSURE, *NARROW, *FEED, resistors=TAPS))
    line = truck.line("taps")
    found, trials = explained(truck)
    assert [each.margin for each in found.tried] == sorted((each.margin for each in found.tried), reverse=True)

    def lines(**changed: object) -> Truck:
        other = replace(line, **changed)  # type: ignore[arg-type]
        return replace(truck, lines=tuple(other if each is line else each for each in truck.lines))

    assert line.leak_to_ground is not None and line.leak_to_supply is not None
    assert line.return_offset is not None and line.feed_drop is not None
    drop = line.feed_drop
    worn = {each.id: each.closed for each in truck.contacts}
    assert {each.high for each in worn.values()} == {5.0}
    new = tuple(replace(each, closed=replace(each.closed, value=0.0, high=0.0)) for each in truck.contacts)
    dry = tuple(replace(each, open=replace(each.open, low=5e6)) for each in truck.contacts if each.open is not None)
    sharp = tuple(replace(w, uncertainty=0.0, uncertainty_low=0.0, uncertainty_high=0.0) for w in line.windows)
    down = next(window for window in line.windows if window.meaning == "down")
    wider = tuple(replace(w, low=396.0, high=436.0) if w is down else w for w in line.windows)  # 400 to 432 Ω
    wanted = {
        "parts of 0.5 %": (truck, 0.005),
        "parts of 0.1 %": (truck, 0.001),
        "a leak to ground of no less than 2 MΩ": (lines(leak_to_ground=replace(line.leak_to_ground, low=2e6)), None),
        "a leak to the supply of no less than 20 MΩ": (lines(leak_to_supply=replace(line.leak_to_supply, low=2e7)),
                                                       None),
        "the coder's return taken to the controller's own ground (offset within ±0.02 V)": (
            lines(return_offset=replace(line.return_offset, value=0.0, low=-0.02, high=0.02)), None),
        "a feed whose drop is known exactly": (lines(feed_drop=replace(drop, low=drop.value, high=drop.value)), None),
        "contacts that never wear": (replace(truck, contacts=new), None),
        "open contacts that leak 10 times less": (replace(truck, contacts=dry), None),
        "window edges measured exactly": (lines(windows=sharp), None),
        "a window for down wider by 25%": (lines(windows=wider), None),
    }  # fmt: skip
    assert trials.keys() == wanted.keys()
    for what, (other, tolerance) in wanted.items():
        assert trials[what] == (other, tolerance), what


def test_what_is_exact_already_is_not_tried() -> None:
    """No leak, no offset, exact contacts and edges, parts of 0.5 %: finer parts and a wider window are left."""
    truck = loads(
        truck_text(
            VALUES,
            *NARROW,
            ('tolerance = "1 %"\ntempco', 'tolerance = "0.5 %"\ntempco'),
            ('closed = { low = "0 ohm", high = "5 ohm" }', 'closed = "0 ohm"'),
            ('open = "500 kohm"', 'open = "none"'),
            ('return_offset = { low = "-0.05 V", high = "0.05 V" }', 'return_offset = "none"'),
            ('leak_to_ground = "200 kohm"', 'leak_to_ground = "none"'),
            ('leak_to_supply = "2 Mohm"', 'leak_to_supply = "none"'),
            resistors=TAPS,
        )
    )
    _, trials = explained(truck)
    assert trials.keys() == {"parts of 0.1 %", "a window for down wider by 25%"}


@pytest.mark.parametrize(
    ("down", "value", "wider"),
    [
        (("300 ohm", "550 ohm"), "5 ohm", (268.75, 581.25)),  # far from both neighbours
        (("300 ohm", "880 ohm"), "5 ohm", (227.5, 890.0)),  # up begins at 900 Ω: as far as the middle of the gap
        (("20 ohm", "820 ohm"), "1.05 kohm", (0.0, 860.0)),  # no ohms below none
        (("1520 ohm", "2400 ohm"), "5 ohm", (1510.0, 2450.0)),  # up ends at 1500, manual begins at 2500 Ω
    ],
)
def test_a_wider_window_keeps_clear_of_its_neighbours(
    down: tuple[str, str], value: str, wider: tuple[float, float]
) -> None:
    windows = ('low = "300 ohm"\nhigh = "550 ohm"', f'low = "{down[0]}"\nhigh = "{down[1]}"')
    truck = loads(truck_text(VALUES, windows, resistors=('"1.5k"', f'"{value}"')))
    found, trials = explained(truck)
    if down[0] == "1520 ohm":  # 5 Ω is too low, and up lies below
        assert found.meanings == ("down", "up")
        assert found.text.endswith("into the window of down; it reaches towards up.")
    elif value == "5 ohm":  # nothing lies below
        assert found.meanings == ("down", NO_WINDOW)
        assert found.text.endswith("no values bring its span into the window of down.")
    other, _ = trials["a window for down wider by 25%"]
    after = {window.meaning: (window.low, window.high) for window in other.line("taps").windows}
    assert after.pop("down") == pytest.approx(wider)
    before = {window.meaning: (window.low, window.high) for window in truck.line("taps").windows}
    assert after == {meaning: ends for meaning, ends in before.items() if meaning != "down"}


def test_a_wider_window_may_overlap_one_of_its_own_meaning() -> None:
    """Down from 400 to 600 Ω, and from 300 to 420 Ω as well: the first grows by an eighth of its width on each side."""
    down = '[[line.window]]\nmeaning = "down"\nlow = "{}"\nhigh = "{}"\nwith_pull = "1 kohm"\nbasis = "measured"\n'
    both = down.format("400 ohm", "600 ohm") + down.format("300 ohm", "420 ohm")
    assert down.format("300 ohm", "550 ohm") in WINDOWS
    windows = WINDOWS.replace(down.format("300 ohm", "550 ohm"), both)
    _, trials = explained(loads(truck_text(VALUES, windows=windows, resistors=('"1.5k"', '"5 ohm"'))))
    other, _ = trials["a window for down wider by 25%"]
    ends = [(window.low, window.high) for window in other.line("taps").windows if window.meaning == "down"]
    assert ends == [(375.0, 625.0), (300.0, 420.0)]


def test_a_window_without_an_edge_is_not_widened() -> None:
    """Nothing pressed reads 200 kΩ at least by the leak; idle from 500 kΩ up cannot be had, and has one edge only."""
    truck = loads(truck_text(VALUES, ('low = "10 kohm"', 'low = "500 kohm"'), resistors=TAPS))
    found, trials = explained(truck)
    assert (found.meanings[0], found.operated) == ("automatic", ())
    assert "a leak to ground of no less than 2 MΩ" in trials
    assert not any("wider" in what for what in trials)


def test_two_meanings_that_no_values_bring_together() -> None:
    """E3: what holds up beside the lever's resistor loses manual. Of a narrow window too few values come near."""
    how = {"source": "E3", "low_ohm": 100.0, "high_ohm": 10e3, "runners_up": 0, "try_changes": False}
    both = choose(loads(truck_text()), "taps", **how).collision  # type: ignore[arg-type]
    assert both is not None and (both.meanings, both.key_state, both.tried) == (("up", "manual"), "run", ())
    assert both.text.endswith("values that hold it would make lever_manual miss, and the other way round.")
    alone = choose(loads(truck_text(*NARROW)), "taps", **how).collision  # type: ignore[arg-type]
    assert alone is not None and alone.meanings == ("down", "up")
    assert alone.text.endswith("no values bring its span into the window of down; it reaches towards up.")


def test_a_trial_that_parts_the_meanings_says_so() -> None:
    """A margin of 0 and above parts them; trials without any choice are left out."""
    truck = loads(truck_text(VALUES, *NARROW, resistors=TAPS))
    line = truck.line("taps")
    as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
    built = build(truck, line, as_is)
    best, proof = solve(built.problem), prove_line(truck, line, drift=False)
    answers = iter([(0.0, True), (-0.1, True), (0.2, False)])

    def again(_other: Truck, _tolerance: float | None) -> tuple[float, bool]:
        try:
            return next(answers)
        except StopIteration:
            raise NoSolution("No choice of parts can be made.") from None

    tried = collision_of(truck, built, best, proof, again).tried
    assert [(each.margin, each.parts, each.proven) for each in tried] == [
        (0.2, True, False), (0.0, True, True), (-0.1, False, True)
    ]  # fmt: skip
    assert all(isinstance(each, Parting) for each in tried)
    quiet = collision_of(truck, built, best, proof, None)
    assert quiet.tried == ()
    assert math.isclose(quiet.margin, float(best.margins.min()))


# in which reading it misses

PERCENT = tuple(
    (f'{edges}with_pull = "1 kohm"\n', percent)
    for edges, percent in (
        ('low = "10 kohm"\n', 'low = "90 %"\n'),
        ('low = "2.5 kohm"\nhigh = "7 kohm"\n', 'low = "72 %"\nhigh = "87 %"\n'),
        ('low = "900 ohm"\nhigh = "1500 ohm"\n', 'low = "45 %"\nhigh = "60 %"\n'),
        ('low = "300 ohm"\nhigh = "550 ohm"\n', 'low = "20 %"\nhigh = "35 %"\n'),
    )
)


def test_how_far_it_misses_is_told_in_the_reading_that_misses() -> None:
    """Pulled up to the battery: divided by it all holds, in fixed volts of 5 V full scale nothing does.

    Down is 20 to 35 % of 5 V, so half a window is 0.375 V.
    """
    to_battery = ('pull_down = "none"', 'pull_up_to = "battery"\npull_down = "none"')
    truck = loads(truck_text(VALUES, to_battery, *PERCENT, *NO_DIVISION_KNOWN, resistors=('"1.5k"', '"470 ohm"')))
    found, _ = explained(truck)
    assert (found.operated, found.unit) == (("lever_manual", "lever_down"), "V")
    assert found.short_by == pytest.approx(-found.margin * 0.375)
    row = min(prove_line(truck, truck.line("taps"), drift=False).situations, key=lambda each: each.margin)
    assert (row.space, row.operated) == ("volts", found.operated)
    assert found.short_by == pytest.approx(row.high - (1.75 - 0.015), rel=1e-6)  # an error of 0.3 % off each edge
    assert "misses by 3.1 V" in found.text
    assert found.meanings == ("down", "up")


def test_what_a_demand_is_called() -> None:
    """The meaning it asks for, else the contacts that are operated; what is kept apart, by its first meaning."""
    pressed, rest = Situation(("a", "b")), Situation(())
    clear = Requirement("clear", ("x",), ("x", "invalid"), "", 5)
    assert _meant(Row("run", "ratio", pressed, clear, ("x",))) == "a + b"
    assert _meant(Row("run", "ratio", rest, clear, ("x",))) == "nothing operated"
    assert _meant(Row("run", "ratio", rest, replace(clear, means="up"), ("x",))) == "up"
    assert _meant(Row("run", "ratio", pressed, None, ("x",))) == "a + b"
    assert _meant(Row("", "ratio", None, None, ("x", "y"))) == "x"


# which demands there are


def test_each_situation_is_asked_for_what_it_must_read() -> None:
    """Running, each situation inside its window; cranking, clear of foreign commands, where there are any."""

    def asked(text: str) -> set[tuple[str, tuple[str, ...], str, tuple[str, ...]]]:
        truck = loads(text)
        line = truck.line("taps")
        as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
        built = build(truck, line, as_is)
        assert len(built.rows) == len(built.problem.demands) == len(built.problem.spreads)
        assert [each.spread for each in built.problem.demands] == list(range(len(built.rows)))
        return {
            (row.key_state, row.situation.operated, demand.how, tuple(w.meaning for w in demand.windows))
            for row, demand in zip(built.rows, built.problem.demands, strict=True)
            if row.situation is not None
        }

    up, down, manual = ("lever_manual", "lever_up"), ("lever_manual", "lever_down"), ("lever_manual",)
    commands = ("manual", "up", "down")
    assert asked(truck_text(VALUES, resistors=TAPS)) == {
        ("run", (), "inside", ("automatic",)), ("run", manual, "inside", ("manual",)), ("run", up, "inside", ("up",)),
        ("run", down, "inside", ("down",)), ("crank", (), "clear", commands),
        ("crank", manual, "clear", ("up", "down")),
        ("crank", up, "clear", ("manual", "down")), ("crank", down, "clear", ("manual", "up")),
    }  # fmt: skip
    # with one command only nothing is foreign to it while cranking
    windows = WINDOWS[: WINDOWS.index('[[line.window]]\nmeaning = "up"')]
    alone = HEAD + windows + DEVICES.replace('exclusive = [["lever_up", "lever_down"]]\n', "")
    assert asked(alone.replace('"to choose"', '"4.22k"')) == {
        ("run", (), "inside", ("automatic",)), ("run", manual, "inside", ("manual",)),
        ("crank", (), "clear", ("manual",)),
    }  # fmt: skip


def test_meanings_to_be_taught_are_kept_apart_by_twice_the_error() -> None:
    """0.3 % of full scale either way: 0.6 % of a ratio, and 30 mV of 5 V where readings may be volts."""
    text = truck_text(VALUES, *NO_DIVISION_KNOWN, windows='windows = "free"\n', resistors=TAPS)
    truck = loads(text)
    line = truck.line("taps")
    as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
    built = build(truck, line, as_is)
    for row, demand in zip(built.rows, built.problem.demands, strict=True):
        scale = {"battery": 1.0, "volts": 5.0}[row.space]
        assert (demand.keep, demand.scale) == (pytest.approx(0.006 * scale), scale)
    assert {row.space for row in built.rows} == {"battery", "volts"}


def test_a_tap_alone_is_kept_from_foreign_commands() -> None:
    """Taps fed directly, to be taught: all pairs of the four meanings first, then each tap alone against the others."""
    truck = loads(truck_text(VALUES, *DIRECTLY, windows='windows = "free"\n', resistors=TAPS))
    line = truck.line("taps")
    as_is = {site.resistor.path: as_it_stands(site) for site in sites_of(truck, line_view(truck, line))}
    built = build(truck, line, as_is)
    first = [set(row.meanings) for row in built.rows if row.situation is None]
    assert sorted(map(sorted, first)) == sorted(map(sorted, itertools.combinations(
        ("automatic", "manual", "up", "down"), 2)))  # fmt: skip
    then = [(row.situation.operated, row.meanings) for row in built.rows if row.situation is not None]
    assert set(then) == {(("lever_up",), ("manual",)), (("lever_up",), ("down",)), (("lever_down",), ("manual",)),
                         (("lever_down",), ("up",))}  # fmt: skip
    assert [demand.group for demand in built.problem.demands] == [0] * 6 + [1] * 4
    spreads = built.problem.spreads
    for row, demand in zip(built.rows, built.problem.demands, strict=True):
        names = {spreads[demand.spread].name, spreads[demand.other].name}
        assert names == {"+".join(row.situation.operated) if row.situation else row.meanings[0], row.meanings[-1]}
    # cranking a command may be lost, so only the running situations of a meaning count
    assert {len(each.members) for each in spreads} == {1}
