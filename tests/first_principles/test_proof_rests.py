"""Drift budgets and what a verdict rests on, by hand: one button behind 1.5 kohm on a pin pulled up through 1 kohm.

Pressed, the share of the reference at the pin is S / (S + P): S the coder with the leak beside it, P the pull. Each
budget is that equation solved for one number, with all others at their worst end. The trucks are invented.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from pinproof.design import Truck
from pinproof.observe import spaces_of
from pinproof.proof import prove, prove_line
from pinproof.proof.budgets import levels_of
from pinproof.proof.doubts import Share, doubt_of, shares_of
from pinproof.proof.judging import judge_line, judge_state
from pinproof.proof.rests import _part_words, _told, rests_on
from pinproof.proof.results import DriftBudget, SituationProof
from pinproof.verdict import Verdict
from pinproof.wiring import line_view
from tests.first_principles.test_proof_shared import truck_of

WINDOWS = """[[line.window]]
meaning = "up"
low = "51 %"
high = "69 %"
basis = "borrowed"
[[line.window]]
meaning = "automatic"
low = "80 %"
basis = "measured"
"""
CHANGES = (
    ('tolerance = "0 %"\ntempco', 'tolerance = "1 %"\ntempco'),
    ('closed = { low = "0 ohm", high = "0 ohm" }', 'closed = { low = "0 ohm", high = "20 ohm" }'),
    ('open = "none"', 'open = "200 kohm"'),
    ('value = "1 kohm", tolerance = "20 %"', 'value = "1 kohm", tolerance = "5 %", basis = "borrowed"'),
    ('\nwire = { low = "0 ohm", high = "0 ohm" }', '\nwire = { low = "0 ohm", high = "1 ohm", basis = "measured" }'),
    ('leak_to_ground = "none"', 'leak_to_ground = "100 kohm"'),
)


def button(*changes: tuple[str, str]) -> Truck:
    """The truck of this file, with some of its text replaced."""
    return truck_of(*CHANGES, *changes, windows=WINDOWS)


def rows_of(truck: Truck) -> dict[tuple[str, ...], SituationProof]:
    """Its situations by what is operated."""
    return {row.operated: row for row in prove(truck, samples=0).situations}


def beside(*ohm: float) -> float:
    """Resistances in parallel; below zero takes one away again."""
    return 1.0 / sum(1.0 / each for each in ohm)


def share_ohm(share: float, pull_ohm: float) -> float:
    """The coder that reads this share through a pull."""
    return pull_ohm * share / (1.0 - share)


TOP, BOTTOM = share_ohm(0.69, 950.0), share_ohm(0.51, 1050.0)  # the coder at the edges, at the worst pull
LEAST, MOST = 1485.0, 1515.0  # of the resistor
# parameter, direction: where the range ends, where the meaning is lost
PRESSED = {
    ("line.taps.wire", "up"): (1.0, TOP - MOST - 20.0),
    ("contact.raise.closed", "up"): (20.0, TOP - MOST - 1.0),
    ("contact.raise.resistor", "up"): (MOST, TOP - 21.0),
    ("contact.raise.resistor", "down"): (LEAST, beside(BOTTOM, -100e3)),
    ("line.taps.leak_to_ground", "down"): (100e3, beside(BOTTOM, -LEAST)),
    ("input.tap.pull_up", "up"): (1050.0, beside(LEAST, 100e3) * 0.49 / 0.51),
    ("input.tap.pull_up", "down"): (950.0, (MOST + 21.0) * 0.31 / 0.69),
}
DOUBT = {"wire": 0.02, "closed": 0.5, "resistor": 0.01 * 0.5, "leak_to_ground": 0.5, "pull_up": 0.2}


def test_drift_budgets_of_a_pressed_button_by_hand() -> None:
    """Nothing else can move it out of its window, and no drift of one number makes it another command."""
    found = {(each.parameter, each.direction): each for each in rows_of(button())["raise",].budgets}
    assert set(found) - {("line.taps.source_wire", "up")} == set(PRESSED)
    for key, (end, lost) in PRESSED.items():
        one = found[key]
        assert (one.end, one.lost_at) == (pytest.approx(end), pytest.approx(lost)), key
        assert (one.false_at, one.false_as, one.unit, one.exact) == (None, "", "ohm", True)
        doubt = DOUBT[key[0].rsplit(".", 1)[1]]
        assert one.strain == pytest.approx(abs(math.log(lost / end)) / doubt, rel=1e-8), key
    row = rows_of(button())["raise",]
    assert [each.strain for each in row.budgets] == sorted(each.strain for each in row.budgets)
    assert row.weakest == row.budgets[0].parameter == "input.tap.pull_up"


def test_drift_budgets_of_nothing_pressed_tell_where_a_command_begins() -> None:
    """The leak and the open contact can pull the pin below 80 %, and into the window of up from above."""
    found = {(each.parameter, each.direction): each for each in rows_of(button())[()].budgets}
    idle, up = share_ohm(0.80, 1050.0), share_ohm(0.69, 1050.0)
    leak = found["line.taps.leak_to_ground", "down"]
    other = 200e3 + LEAST
    assert (leak.lost_at, leak.false_at) == (pytest.approx(beside(idle, -other)), pytest.approx(beside(up, -other)))
    contact = found["contact.raise.open", "down"]
    assert contact.end == 200e3
    assert contact.lost_at == pytest.approx(beside(idle, -100e3) - LEAST)
    assert contact.false_at == pytest.approx(beside(up, -100e3) - LEAST)
    pull = found["input.tap.pull_up", "up"]
    behind = beside(100e3, other)
    assert (pull.lost_at, pull.false_at) == (pytest.approx(behind * 0.20 / 0.80), pytest.approx(behind * 0.31 / 0.69))
    assert {each.false_as for each in (leak, contact, pull)} == {"up"}
    assert ("input.tap.pull_up", "down") not in found
    assert ("contact.raise.resistor", "down") not in found  # 200 kohm are still before it


def test_a_supply_drifts_by_a_factor_and_not_below_zero() -> None:
    """Fed from the battery through 1.5 kohm onto a pull-down of 1 kohm, read as volts: 0.4 of the supply at the pin.
    Windows of up from 2 to 8 V: lost below 5 V and above 20 V. The drop of the feed counts in volts."""
    truck = truck_of(
        ('pull_up = { value = "1 kohm", tolerance = "20 %" }\npull_down = "none"',
         'pull_up = "none"\npull_down = { value = "1 kohm", tolerance = "0 %" }'),
        ('compares = "reference"', 'compares = "volts"\nfull_scale = "16 V"'),
        ('form = "pull-up"', 'form = "pull-down"\nfeed_from = "battery"\nfeed_drop = "0 V to 0.5 V"'),
        windows='[[line.window]]\nmeaning = "up"\nlow = "2 V"\nhigh = "8 V"\nbasis = "measured"\n'
        '[[line.window]]\nmeaning = "automatic"\nhigh = "1 V"\nbasis = "measured"\n',
    )  # fmt: skip
    row = rows_of(truck)["raise",]
    assert (row.low, row.high) == (pytest.approx(0.4 * 9.5), pytest.approx(0.4 * 15.0))
    found = {(each.parameter, each.direction): each for each in row.budgets}
    low, high = found["supply.run", "down"], found["supply.run", "up"]
    assert (low.end, low.lost_at) == (10.0, pytest.approx(5.5))  # the drop takes 0.5 V
    assert (high.end, high.lost_at) == (15.0, pytest.approx(20.0))
    assert high.strain == pytest.approx(math.log(20.0 / 15.0) / 0.5, rel=1e-8)
    assert low.false_at is None  # below lies idle, which is no command
    drop = found["line.taps.feed_drop", "up"]
    assert (drop.end, drop.lost_at) == (0.5, pytest.approx(5.0))
    assert drop.strain == pytest.approx((5.0 - 0.5) / 0.5 / 0.5, rel=1e-8)
    back = found["line.taps.feed_drop", "down"]
    assert (back.end, back.lost_at) == (0.0, pytest.approx(-5.0))  # 15 V + 5 V
    idle = rows_of(truck)[()]
    assert not [each for each in idle.budgets if each.unit == "V"]  # nothing is connected


def row_of(**more: Any) -> SituationProof:
    """A judged situation that reads 0.4 to 0.6."""
    stated: dict[str, Any] = {
        "key_state": "run", "space": "reference", "operated": ("raise",), "allowed": ("up",), "meaning": "up",
        "rule": 3, "low": 0.4, "high": 0.6, "inner_low": 0.4, "inner_high": 0.6, "unit": "1", "exact": True,
        "verdict": Verdict.PASS, "margin": 0.1, "window": "up", "side": "low", "reads_as": ("up",),
    }  # fmt: skip
    return SituationProof(**{**stated, **more})


# where meanings are lost and commands begin

SEVERAL = """[[line.window]]
meaning = "down"
low = "5 %"
high = "15 %"
basis = "measured"
[[line.window]]
meaning = "shorted"
high = "3 %"
fault = true
basis = "measured"
[[line.window]]
meaning = "manual"
low = "20 %"
high = "30 %"
basis = "measured"
[[line.window]]
meaning = "up"
low = "35 %"
high = "65 %"
basis = "measured"
[[line.window]]
meaning = "automatic"
low = "90 %"
basis = "measured"
[[line.window]]
meaning = "race"
low = "75 %"
high = "85 %"
basis = "measured"
"""


def levels(how: str, of: tuple[str, ...], allowed: tuple[str, ...], row: SituationProof) -> set[tuple[float, str, str]]:
    """The levels of a reading of 0.4 to 0.6 with a reading error of 1 %."""
    truck = truck_of(('error = "0 %"', 'error = "1 %"'), windows=SEVERAL)
    view = line_view(truck, "taps")
    (state,) = judge_line(view)
    need = dataclasses.replace(state.requirements[0], how=how, of=of, allowed=allowed)
    state = dataclasses.replace(state, rows=(row,), requirements=(need,))
    return {(round(each.at, 9), each.side, each.command) for each in levels_of(view, state, 0, {})}


def test_the_levels_of_what_must_read_one_meaning() -> None:
    """Its own edges at their nearest, and the next command on either side at its furthest; idle and faults are none."""
    own = {(0.36, "low", ""), (0.64, "high", "")}
    foreign = {(0.31, "low", "manual"), (0.74, "high", "race")}
    assert levels("inside", ("up",), ("up",), row_of()) == own | foreign
    assert levels("inside", ("up", "manual"), ("up", "manual"), row_of()) == own | {
        (0.16, "low", "down"), (0.74, "high", "race")
    }  # fmt: skip
    top = row_of(low=0.92, high=0.98, window="automatic", meaning="automatic")
    assert levels("inside", ("automatic",), ("automatic",), top) == {(0.91, "low", ""), (0.86, "low", "race")}
    assert levels("inside", ("automatic",), ("automatic",), dataclasses.replace(top, window="")) == {
        (0.91, "low", ""), (0.86, "low", "race")
    }  # fmt: skip


def test_the_levels_of_what_must_keep_clear() -> None:
    """Idle among what is forbidden: the meaning is lost there, and the next command begins further on."""
    found = levels("clear", ("manual", "automatic"), ("up", "race", "invalid"), row_of())
    assert found == {(0.31, "low", ""), (0.89, "high", ""), (0.31, "low", "manual")}
    touching = row_of(low=0.31, high=0.31)  # just there: it lies below, not above
    assert levels("clear", ("manual",), ("invalid",), touching) == {(0.31, "low", ""), (0.31, "low", "manual")}


# what the verdict rests on

EDGE = 0.69 - (MOST + 21.0) / (MOST + 21.0 + 950.0)  # from the reading's high end to the upper edge of up
HALF = (0.69 - 0.51) / 2.0


def test_what_the_verdict_rests_on_by_hand() -> None:
    """Borrowed: the pull and the window of up. Assumed: leak, contact, tolerance. Measured: wire, idle. The reading
    error of 0 % counts as if it were 1 % of full scale. Each in units of how wrong a number of its basis may be."""
    truck = button()
    proof = prove_line(truck, truck.line("taps"), samples=0)
    found = {each.number: each for each in proof.rests_on}
    low = {name: min(abs(math.log(lost / end)) for (path, _), (end, lost) in PRESSED.items() if path.endswith(name))
           for name in ("pull_up", "resistor", "closed")}  # fmt: skip
    idle_leak = beside(share_ohm(0.80, 1050.0), -(200e3 + LEAST))
    strains = {
        "input.tap.pull_up": low["pull_up"] / 0.2,
        "defaults.closed": low["closed"] / 0.5,
        "defaults.tolerance": low["resistor"] / (0.01 * 0.5),
        "line.taps.window.up": EDGE / 0.69 / 0.2,
        "input.tap.error": EDGE / 0.01 / 0.5,
        "line.taps.leak_to_ground": math.log(100e3 / max(idle_leak, beside(BOTTOM, -LEAST))) / 0.5,
        "defaults.open": math.log(200e3 / (beside(share_ohm(0.80, 1050.0), -100e3) - LEAST)) / 0.5,
    }
    told = {number: each.strain for number, each in found.items() if number in strains}
    assert told == {number: pytest.approx(value, rel=1e-6) for number, value in strains.items()}
    others = set(found) - set(strains)
    assert others <= {"line.taps.source_wire"}  # assumed too: it is in the file without a basis
    lines = truck.source_lines
    pull = found["input.tap.pull_up"]
    assert (pull.basis, pull.default, pull.parts, pull.line) == ("borrowed", "", (), lines["input.tap.pull_up"])
    assert pull.what == "At 1.41 kΩ, raise would no longer surely read as up."
    closed = found["defaults.closed"]
    assert (closed.parameter, closed.parts) == ("contact.raise.closed", ("contact.raise.closed",))
    assert (closed.default, closed.line) == ("defaults.closed", lines["defaults.closed"])
    spread = found["defaults.tolerance"]
    assert (spread.parameter, spread.parts, spread.text) == ("defaults.tolerance", ("contact.raise.resistor",), "1 %")
    assert spread.what == (
        f"Were it so large that the resistor of raise reaches {kilo(beside(BOTTOM, -100e3))}, raise would no longer "
        "surely read as up."
    )
    window = found["line.taps.window.up"]
    assert (window.basis, window.text) == ("borrowed", "window up")
    assert window.what == f"raise keeps {100.0 * EDGE:.2g} % of full scale from its edge."
    error = found["input.tap.error"]
    assert error.what == f"At {100.0 * EDGE:.2g} % of full scale, raise would no longer surely read as up."


def kilo(ohm: float) -> str:
    """Three digits in kilohm, for the sentence."""
    return f"{ohm / 1000.0:.3g} kΩ"


def test_numbers_that_were_measured_are_not_leaned_on() -> None:
    """The same with everything measured: nothing is left to measure."""
    sure = ', basis = "measured" }'
    truck = button(
        ('high = "20 ohm" }', f'high = "20 ohm"{sure}'),
        ('open = "200 kohm"', f'open = {{ value = "200 kohm"{sure}'),
        ('tolerance = "1 %"\ntempco', f'tolerance = {{ value = "1 %"{sure}\ntempco'),
        ('tolerance = "5 %", basis = "borrowed"', 'tolerance = "5 %", basis = "measured"'),
        ('leak_to_ground = "100 kohm"', f'leak_to_ground = {{ value = "100 kohm"{sure}'),
        ('source_wire = { low = "0 ohm", high = "0 ohm" }', f'source_wire = {{ low = "0 ohm", high = "0 ohm"{sure}'),
        ('error = "0 %"', f'error = {{ value = "0 %"{sure}'),
        ('meaning = "up"\nlow = "51 %"\nhigh = "69 %"\nbasis = "borrowed"',
         'meaning = "up"\nlow = "51 %"\nhigh = "69 %"\nbasis = "measured"'),
    )  # fmt: skip
    assert prove_line(truck, truck.line("taps"), samples=0).rests_on == ()


def test_an_edge_that_is_passed_is_told_with_how_far() -> None:
    """1.4 kohm at the most stay inside; a window that ends at 60 % does not hold 1.5 kohm. Its reading error then
    needs no room. In volts the same, of 5 V."""
    for compares, unit in (("reference", "% of full scale"), ("volts", "V")):
        truck = button(
            ('compares = "reference"', f'compares = "{compares}"\nfull_scale = "5 V"' if unit == "V" else
             'compares = "reference"'),
            ('reference = { value = "5 V", tolerance = "2 %" }', 'reference = { value = "5 V", tolerance = "0 %" }'),
            ('high = "69 %"', 'high = "60 %"'),
        )  # fmt: skip
        view = line_view(truck, "taps")
        (space,) = spaces_of(truck, view.input)
        state = judge_state(view, "run", space)
        past = (0.69 - EDGE) - 0.60
        found = {each.number: each for each in rests_on(view, [], [state])}
        size = f"{100.0 * past:.2g} %" if unit != "V" else f"{5.0 * past:.3g}"
        window = found["line.taps.window.up"]
        assert window.what == f"raise reaches {size} {unit.removeprefix('% ')} past its edge."
        assert window.strain == pytest.approx(past / 0.60 / 0.2, rel=1e-6)
        assert ", nothing operated would no longer surely" in found["input.tap.error"].what  # only idle has room


def test_a_number_that_nobody_measured_is_in_doubt_as_a_whole() -> None:
    """A guessed pull by half of itself, borrowed ohms of a switch by a fifth: not only by their tolerance."""
    guessed = button(('tolerance = "5 %", basis = "borrowed"', 'tolerance = "5 %", basis = "assumed"'))
    found = {each.number: each for each in prove_line(guessed, guessed.line("taps"), samples=0).rests_on}
    up, down = PRESSED["input.tap.pull_up", "up"], PRESSED["input.tap.pull_up", "down"]
    least = min(math.log(up[1] / up[0]), math.log(down[0] / down[1]))
    assert found["input.tap.pull_up"].strain == pytest.approx(least / 0.5, rel=1e-6)
    sealed = button(('resistor = "1.5k"', 'resistor = { value = "1.5k", basis = "borrowed" }'))
    found = {each.number: each for each in prove_line(sealed, sealed.line("taps"), samples=0).rests_on}
    one = found["contact.raise.resistor"]
    least = math.log(LEAST / PRESSED["contact.raise.resistor", "down"][1])
    assert one.strain == pytest.approx(least / 0.2, rel=1e-6)
    assert (one.basis, one.text, one.default) == ("borrowed", "1.5k", "")
    assert one.what == f"At {kilo(LEAST / math.exp(least))}, raise would no longer surely read as up."
    own = button(
        ('resistor = "1.5k"', 'resistor = { value = "1.5k", tolerance = { value = "1 %", basis = "assumed" } }')
    )
    one = {each.number: each for each in prove_line(own, own.line("taps"), samples=0).rests_on}[
        "contact.raise.resistor"
    ]
    assert one.text == "tolerance 1 %"
    assert one.what.startswith("Were it so large that the resistor of raise reaches ")


def test_a_situation_without_an_edge_in_reach_leans_on_none() -> None:
    """Room without end is not told as a number."""
    truck = button()
    view = line_view(truck, "taps")
    (state,) = judge_line(view)
    assert {each.number for each in rests_on(view, [], [state])} == {"line.taps.window.up", "input.tap.error"}
    endless = tuple(dataclasses.replace(row, margin=math.inf) for row in state.rows)
    assert rests_on(view, [], [dataclasses.replace(state, rows=endless)]) == ()


def test_only_what_does_not_hold_asks_for_help() -> None:
    """Pressed it fails; nothing pressed would hold if its guessed window is right, and needs no better number."""
    truck = button(
        ('high = "69 %"', 'high = "60 %"'), ('low = "80 %"\nbasis = "measured"', 'low = "80 %"\nbasis = "assumed"')
    )
    view = line_view(truck, "taps")
    (state,) = judge_line(view)
    assert {row.operated: row.verdict for row in state.rows} == {(): Verdict.WOULD_HOLD, ("raise",): Verdict.FAIL}
    helping = [each for each in rests_on(view, [], [state]) if each.what.startswith("Known exactly")]
    assert {each.number for each in helping} == {"input.tap.pull_up", "defaults.closed"}
    assert all(each.what.endswith(" to the margin of raise.") for each in helping)


@pytest.mark.parametrize(
    ("lost", "false", "text"),
    [
        (470.0, 330.0, "At 470 Ω, raise would no longer surely read as up."),
        (None, 330.0, "At 470 Ω, raise could read as down."),
    ],
)
def test_what_would_happen_in_words(lost: float | None, false: float, text: str) -> None:
    """A command that nobody gave is told where no meaning is lost before it."""
    budget = DriftBudget("x", "down", 500.0, lost, false, "down", "ohm", "assumed", 1.0)
    assert _told(row_of(), budget, "At 470 Ω") == text
    both = row_of(operated=("raise", "lower"), meaning="")
    assert _told(both, dataclasses.replace(budget, lost_at=470.0), "At 470 Ω") == (
        "At 470 Ω, raise + lower would no longer surely read as allowed."
    )
    assert _part_words("line.taps.idle_resistor") == "idle resistor of taps"
    assert _part_words("line.taps.element.top") == "line.taps.element.top"


# how wrong a coder resistor may be


def test_the_shares_of_a_spread_by_hand() -> None:
    """From 20 °C to 80 °C and to -10 °C: 60 K count. A default's basis is that of [defaults], an own one its own."""
    truck = button(
        ('low = "20 °C"\nhigh = "20 °C"', 'low = "-10 °C"\nhigh = "80 °C"\nbasis = "measured"'),
        ('tempco = "0 ppm/K"', 'tempco = { value = "100 ppm/K", basis = "published" }'),
        ('resistor = "1.5k"', 'resistor = { value = "1.5k", ageing = "2 %", basis = "borrowed" }'),
    )
    resistor = truck.contact("raise").resistor
    assert resistor is not None
    found = {each.name: each for each in shares_of(truck, resistor)}
    assert found["tolerance"] == Share("tolerance", 0.01, "assumed", "defaults.tolerance")
    assert found["tempco"] == Share("tempco", pytest.approx(0.006), "published", "defaults.tempco")
    assert found["temperature"] == Share("temperature", pytest.approx(0.006), "measured", "temperature")
    assert (found["ageing"].size, found["ageing"].default) == (0.02, "")
    assert found["ohms"] == Share("ohms", 1.0, "borrowed", "")
    branch = next(each for each in line_view(truck, "taps").branches if each.kind == "resistor")
    ageing = {"assumed": 0.5, "borrowed": 0.2, "published": 0.05}[found["ageing"].basis]
    by_hand = 0.01 * 0.5 + 0.02 * ageing + 0.006 * 0.05 + 0.006 * 0.02 + 0.20
    assert doubt_of(truck, branch) == pytest.approx(by_hand)
    cold = button(('low = "20 °C"\nhigh = "20 °C"', 'low = "-40 °C"\nhigh = "30 °C"'), ('"0 ppm/K"', '"100 ppm/K"'))
    resistor = cold.contact("raise").resistor
    assert resistor is not None
    assert {each.name: each.size for each in shares_of(cold, resistor)} == {
        "tolerance": 0.01, "tempco": pytest.approx(0.006), "temperature": pytest.approx(0.006)
    }  # fmt: skip
    still = button().contact("raise").resistor
    assert still is not None
    assert [each.name for each in shares_of(button(), still)] == ["tolerance"]


# a truck of several lines, and a reading that is none


def test_a_truck_has_the_worst_verdict_of_its_lines_and_none_without() -> None:
    """Pass beside fail is fail. A truck without lines is not shown."""
    good = prove(button(), samples=0)
    assert good.verdict is good.lines[0].verdict is Verdict.PASS
    bad = prove(button(('high = "69 %"', 'high = "60 %"')), samples=0)
    assert bad.verdict is Verdict.FAIL
    assert prove(dataclasses.replace(button(), lines=()), samples=0).verdict is Verdict.NOT_SHOWN
    volts = button(
        ('compares = "reference"', 'compares = "volts"\nfull_scale = "5.5 V"'), ('error = "0 %"', 'error = "1 %"')
    )
    assert prove(volts, samples=0).lines[0].reading_error == {"volts": pytest.approx(0.055)}


def test_a_pin_that_nothing_holds_fails_and_says_so() -> None:
    """No pull and no leak: with the contact open nothing holds the pin: it may read anything."""
    loose = truck_of(
        ('pull_up = { value = "1 kohm", tolerance = "20 %" }', 'pull_up = "none"'),
        windows=WINDOWS.replace('"borrowed"', '"measured"'),
    )
    row = rows_of(loose)[()]
    assert (row.verdict, row.low, row.high) == (Verdict.FAIL, 0.0, 1.0)
    assert row.why == "nothing holds the pin in some corner of the box: it floats, and may read anything"
    assert row.margin < 0.0 and not row.budgets
    assert rows_of(loose)["raise",].why == ""  # 1.5 kohm to ground hold it
