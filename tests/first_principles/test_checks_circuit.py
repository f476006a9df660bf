"""The checks on whole lines, against closed formulas, second methods and bounds.

The trucks are invented for these tests.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design import loads
from pinproof.observe import pin_spans, spaces_of, windows_in
from pinproof.proof.checks import NAMES, run_all
from pinproof.proof.checks.breaks import EFFECTS, breaks
from pinproof.proof.checks.common import could_be, edited, listed, surely_is, widest_windows
from pinproof.proof.checks.heat import powers_w
from pinproof.proof.checks.reach import reach
from pinproof.proof.checks.sampled_yield import count_right, draw, readings_of, sampled_yield, substituted_reading
from pinproof.proof.checks.transit import time_constant_s, transit
from pinproof.proof.checks.wetting import film_budget_ohm, least_currents_a, wetting
from pinproof.proof.judging import Judged, judge_line, shared_corners, unproven_reason
from pinproof.proof.results import DriftBudget, Finding, as_json
from pinproof.verdict import Verdict
from pinproof.wiring import LineView, line_view
from tests.truth.generate import generate
from tests.truth.writer import write

PULL_UP = {
    "pull_up": '{ value = "1 kohm", tolerance = "2 %" }',
    "pull_down": '"none"',
    "reference": '{ value = "5 V", tolerance = "1 %" }',
    "compares": '"reference"',
    "error": '"0.5 %"',
}
RETURN_LINE = {
    "form": '"pull-up"',
    "idle": '"automatic"',
    "enable": '"gate"',
    "taps_fed": '"directly"',
    "idle_resistor": '"none"',
    "wire": '{ low = "0 ohm", high = "1 ohm" }',
    "source_wire": '{ low = "0 ohm", high = "1 ohm" }',
    "return_offset": '{ low = "-0.05 V", high = "0.05 V" }',
    "leak_to_ground": '"100 kohm"',
    "leak_to_supply": '"500 kohm"',
}
RETURN_WINDOWS = (("automatic", 0.90, None), ("manual", 0.72, 0.86), ("up", 0.50, 0.64), ("down", 0.20, 0.36))
PULL_DOWN = {
    "pull_up": '"none"',
    "pull_down": '{ value = "2.2 kohm", tolerance = "2 %" }',
    "compares": '"battery"',
    "error": '"0.5 %"',
}
FEED_LINE = {
    **RETURN_LINE,
    "form": '"pull-down"',
    "taps_fed": '"through enable"',
    "return_offset": '"none"',
    "feed_from": '"battery"',
    "feed_drop": '{ low = "0 V", high = "0.1 V" }',
}
FEED_WINDOWS = (("automatic", None, 0.15), ("manual", 0.25, 0.40), ("up", 0.55, 0.68), ("down", 0.75, 0.95))
# id, action, asks, resistor, further entries
CONTACTS = (
    ("gate", "maintained", "manual", "3.9k", {}),
    ("raise", "momentary", "up", "2k", {"with": '["gate"]'}),
    ("lower", "momentary", "down", "430 ohm", {"with": '["gate"]'}),
)
FEED_CONTACTS = (
    ("gate", "maintained", "manual", "4.7k", {}),
    ("raise", "momentary", "up", "1.8k", {"with": '["gate"]'}),
    ("lower", "momentary", "down", "430 ohm", {"with": '["gate"]'}),
)
HEAD = """format = 1
id = "pp-000001"
name = "invented"
[supply]
run = {{ low = "10.5 V", high = "15.5 V", value = "13.8 V" }}
{supply}
[temperature]
low = "-10 °C"
high = "80 °C"
[defaults]
tolerance = "1 %"
tempco = "100 ppm/K"
ageing = "0.5 %"
closed = {{ low = "0 ohm", high = "20 ohm" }}
open = "200 kohm"
"""


def entries(pairs: dict[str, str]) -> str:
    """Lines of a TOML table."""
    return "".join(f"{key} = {value}\n" for key, value in pairs.items())


def view_of(
    pin: dict[str, str] = PULL_UP,
    line: dict[str, str] = RETURN_LINE,
    windows: tuple[Any, ...] = RETURN_WINDOWS,
    contacts: tuple[Any, ...] = CONTACTS,
    supply: str = "",
    exclusive: str = "[]",
    window_more: str = "",
) -> LineView:
    """A line of an invented truck, from its design text."""
    text = HEAD.format(supply=supply)
    text += f'[[input]]\nid = "tap"\ncontroller = "box"\n{entries(pin)}'
    text += f'[[line]]\nid = "taps"\ninput = "tap"\n{entries(line)}'
    for meaning, low, high in windows:
        text += f'[[line.window]]\nmeaning = "{meaning}"\nbasis = "measured"\n{window_more}'
        text += "".join(f'{side} = "{edge}"\n' for side, edge in (("low", low), ("high", high)) if edge is not None)
    text += f'[[device]]\nid = "pod"\nexclusive = {exclusive}\n'
    for name, action, asks, resistor, more in contacts:
        text += f'[[contact]]\nid = "{name}"\nline = "taps"\ndevice = "pod"\nkind = "normally open"\n'
        text += f'action = "{action}"\nasks = "{asks}"\nresistor = "{resistor}"\n{entries(more)}'
    truck = loads(text)
    return line_view(truck, truck.lines[0])


def pull_up_view(**changes: Any) -> LineView:
    """A line to ground on a pulled-up pin."""
    return view_of(**changes)


def pull_down_view(**changes: Any) -> LineView:
    """A line from the battery on a pulled-down pin."""
    wanted = {"pin": PULL_DOWN, "line": FEED_LINE, "windows": FEED_WINDOWS, "contacts": FEED_CONTACTS, **changes}
    return view_of(**wanted)


def judged_of(view: LineView) -> tuple[Judged, ...]:
    """Everything judged of a line."""
    return tuple(judge_line(view))


def of(findings: tuple[Finding, ...], check: str) -> list[Finding]:
    """Findings of one check."""
    return [each for each in findings if each.check == check]


def everything(view: LineView, samples: int = 500) -> tuple[Finding, ...]:
    """All checks of a line."""
    judged = judged_of(view)
    return run_all(view, judged, [row for state in judged for row in state.rows], samples=samples, seed=3)


# --- names ---


def test_every_check_has_its_heading(project_root: Path) -> None:
    """docs/checks.md explains each check, and no other; each says what it proves, why, the cure and the source."""
    text = (project_root / "docs" / "checks.md").read_text(encoding="utf-8")
    sections = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    assert [section.splitlines()[0].strip() for section in sections] == list(NAMES)
    for section in sections:
        for part in ("What it proves.", "Why it matters.", "The cure.", "The source."):
            assert f"**{part}**" in section, f"{section.splitlines()[0]} lacks {part}"


@pytest.mark.parametrize("view", [pull_up_view(), pull_down_view()], ids=["pull-up", "pull-down"])
def test_findings_are_whole(view: LineView) -> None:
    """Every finding has a known name, a sentence that ends, and numbers a program can read."""
    findings = everything(view)
    assert {each.check for each in findings} <= set(NAMES)
    assert {"reach", "broken-wire", "short", "transit", "wetting", "heat", "yield"} <= {each.check for each in findings}
    for each in findings:
        assert each.text.endswith(".")
        assert "nan" not in each.text
        assert each.subject
        json.dumps(as_json(each), allow_nan=False)


def test_names_are_listed_as_people_do() -> None:
    """None, one, two, three."""
    assert [listed("abc"[:count]) for count in range(4)] == ["", "a", "a and b", "a, b and c"]


# --- reach ---


def test_taps_fed_directly_are_alive_in_automatic() -> None:
    """Each tap alone is a command; fed through the enable contact none is."""
    view = pull_up_view()
    alone = [each for each in reach(view, judged_of(view)) if "While gate is not operated" in each.text]
    assert {each.numbers["pressed"]: each.numbers["commands"] for each in alone if "," not in each.subject}[
        "lower"
    ] == "down"
    assert all("enable contact" in each.cure for each in alone)
    assert all(each.verdict is None for each in alone)
    through = pull_up_view(line={**RETURN_LINE, "taps_fed": '"through enable"'}, contacts=FEED_CONTACTS)
    texts = [each.text for each in reach(through, judged_of(through))]
    assert any("no tap can be read as a command" in text for text in texts)


def test_two_presses_that_read_as_a_third_command() -> None:
    """2 kΩ beside 2 kΩ is 1 kΩ: with a command there, two ups are taken for it, and the finding counts."""
    contacts = (
        ("a", "momentary", "up", "2k", {}),
        ("b", "momentary", "up", "2k", {}),
        ("c", "momentary", "horn", "1k", {}),
    )
    line = {key: value for key, value in RETURN_LINE.items() if key not in ("enable", "taps_fed")}
    windows = (("automatic", 0.90, None), ("up", 0.60, 0.72), ("horn", 0.42, 0.58))
    view = pull_up_view(line=line, windows=windows, contacts=contacts)
    both = next(each for each in reach(view, judged_of(view)) if each.subject == "a+b")
    assert both.verdict is Verdict.FAIL
    assert both.numbers["commands"] == "horn"
    assert "Nobody pressed `horn`" in both.text


# --- broken and shorted wires ---


def test_broken_wire_of_a_plain_line_looks_like_nobody_pressing() -> None:
    """Both wires, either form; every command is lost, and the finding says why an idle resistor buys nothing."""
    for view in (pull_up_view(), pull_down_view()):
        found = of(breaks(view, judged_of(view)), "broken-wire")
        assert [each.numbers["effect"] for each in found] == ["command lost", "command lost"]
        assert all("cannot be told from nobody pressing" in each.text for each in found)
        assert "reaches the rail" in found[0].cure


def test_idle_resistor_makes_a_broken_wire_visible() -> None:
    """With 10 kΩ at the far end idle reads 0.91 and an open wire 1: above the idle window's upper edge."""
    windows = (("automatic", 0.87, 0.95), ("manual", 0.67, 0.80), ("up", 0.49, 0.62), ("down", 0.20, 0.36))
    view = pull_up_view(line={**RETURN_LINE, "idle_resistor": '"10k"'}, windows=windows)
    assert judged_of(view)[0].rows[0].verdict is Verdict.PASS
    found = of(breaks(view, judged_of(view)), "broken-wire")
    assert [each.numbers["effect"] for each in found] == ["reads as fault", "reads as fault"]
    assert all(each.numbers["certainty"] == "surely" for each in found)


def test_room_for_an_idle_resistor_is_seen() -> None:
    """An idle window with an upper edge leaves room; the advice claims no values."""
    windows = (("automatic", 0.90, 0.9999), ("manual", 0.72, 0.86), ("up", 0.50, 0.64), ("down", 0.20, 0.36))
    line = {**RETURN_LINE, "leak_to_ground": '"none"', "leak_to_supply": '"none"', "return_offset": '"none"'}
    view = pull_up_view(pin={**PULL_UP, "error": '"0 %"'}, line=line, windows=windows)
    cures = [each.cure for each in breaks(view, judged_of(view))]
    assert not any("reaches the rail" in cure for cure in cures)


def test_ladder_chafed_at_a_tap_gives_that_command() -> None:
    """The tap's node on the return is the tap's contact closed: a false command, surely, with the same reading."""
    contacts = (("raise", "momentary", "up", "430 ohm", {}), ("lower", "momentary", "down", "1.5k", {}))
    line = {key: value for key, value in RETURN_LINE.items() if key not in ("enable", "taps_fed", "idle_resistor")}
    line = {**line, "form": '"ladder"', "ladder_to": '"ground"', "end_resistor": '"none"'}
    windows = (("automatic", 0.90, None), ("down", 0.55, 0.75), ("up", 0.20, 0.40))
    view = pull_up_view(line=line, windows=windows, contacts=contacts)
    judged = judged_of(view)
    found = {each.subject: each for each in breaks(view, judged) if each.subject.startswith("tap ")}
    for name, command in (("raise", "up"), ("lower", "down")):
        chafed = found[f"tap {name} to ground"]
        assert chafed.numbers["effect"] == "false command"
        assert chafed.text.startswith("FALSE COMMAND")
        assert chafed.verdict is None
        assert command in str(chafed.numbers["reads_as"])


def test_a_pin_that_nothing_holds_may_read_anything() -> None:
    """A divider on a pin without pulls and leaks: with the coded wire broken the pin floats."""
    pin = {**PULL_UP, "pull_up": '"none"'}
    line = {
        **RETURN_LINE,
        "form": '"divider"',
        "top_resistor": '"1k"',
        "feed_from": '"reference"',
        "feed_drop": '"none"',
    }
    line |= {"leak_to_ground": '"none"', "leak_to_supply": '"none"'}
    view = pull_up_view(pin=pin, line=line)
    broken = of(breaks(view, judged_of(view)), "broken-wire")[0]
    assert broken.numbers["effect"] == "false command"
    assert "reads anything" in broken.text


@pytest.mark.parametrize("view", [pull_up_view(), pull_down_view()], ids=["pull-up", "pull-down"])
@pytest.mark.parametrize("fault", ["open", "ground", "battery"])
def test_what_lies_behind_a_fault_does_not_matter(view: LineView, fault: str) -> None:
    """The view cut down to what the pin sees reads the same as the whole circuit with the fault in it."""
    joined = {"open": [], "ground": [("taps:far", "return@taps")], "battery": [("taps:far", "battery")]}[fault]
    opened = ["line.taps.wire"] if fault == "open" else []
    space = spaces_of(view.truck, view.input)[0]
    operated = [each.key for each in judged_of(view)[0].situations]
    small = pin_spans(edited(view, opened, joined), "run", space, operated)
    large = pin_spans(edited(view, opened, joined, whole=True), "run", space, operated)
    assert len(edited(view, opened, joined).branches) < len(view.branches)
    for one, other in zip(small.readings, large.readings, strict=True):
        assert (one.low, one.high) == pytest.approx((other.low, other.high), abs=1e-12)


def test_short_to_ground_reads_the_offset() -> None:
    """The far end on the return: the pin lies between the offset and what a wire of 1 Ω adds (I = 5.05/981 A)."""
    view = pull_up_view(line={**RETURN_LINE, "leak_to_supply": '"none"'})
    short = next(each for each in of(breaks(view, judged_of(view)), "short") if "ground" in each.subject)
    least_v, most_v = 0.0, 0.05 + (5.05 - 0.05) / 981.0
    assert short.numbers["low"] == pytest.approx(least_v)
    assert float(short.numbers["high"]) * 4.95 == pytest.approx(most_v, abs=2e-4)


# --- transit ---


def filtered(**more: str) -> LineView:
    """The pull-up line with 100 nF at the pin."""
    return pull_up_view(pin={**PULL_UP, "filter_capacitance": '"100 nF"', **more}, exclusive='[["raise", "lower"]]')


def test_time_constant_is_the_pull_beside_the_path() -> None:
    """100 nF × (1 kΩ + 2 % beside the pressed path at its highest); idle: beside the open contacts."""
    view = filtered()
    press = 1.0 / 1020.0 + 1.0 / (2000.0 * 1.01 * 1.005 * 1.006 + 20.0 + 1.0 + 1.0)
    got = time_constant_s(view, [frozenset(), frozenset({"raise"})])
    assert got[0] == pytest.approx(1020.0 * 100e-9, rel=1e-9)
    assert got[1] == pytest.approx(100e-9 / press, rel=1e-3)


def test_passage_is_bounded_by_every_sampled_truck() -> None:
    """Random trucks settle from one reading to the next; none stays longer in a foreign window than the bound."""
    view = filtered(debounce='"20 ms"')
    state = judged_of(view)[0]
    told = {str(each.numbers["command"]): float(each.numbers["settle_s"]) for each in transit(view, (state,))}
    assert told
    rng = np.random.Generator(np.random.PCG64(11))
    sample = draw(view, "run", state.space, 400, rng)
    windows = {each.meaning: each.largest() for each in state.windows}
    taus = time_constant_s(view, [each.key for each in state.situations])
    longest = dict.fromkeys(told, 0.0)
    for i, before in enumerate(state.situations):
        for j, after in enumerate(state.situations):
            if len(before.key ^ after.key) != 1:
                continue
            may = {*state.requirements[i].allowed, *state.requirements[j].allowed}
            start = readings_of(view, state.space, sample, before.key)
            final = readings_of(view, state.space, sample, after.key)
            t = np.linspace(0.0, 8.0, 4001)[:, None]
            path = final + (start - final) * np.exp(-t)
            for command in told:
                if command not in may:
                    low, high = windows[command]
                    inside = ((path >= low) & (path <= high)).sum(axis=0) * (8.0 / 4000) * taus[j]
                    longest[command] = max(longest[command], float(inside.max()))
    for command, settle_s in told.items():
        assert 0.5 * settle_s < longest[command] <= settle_s + 0.003 * taus[0]


@pytest.mark.parametrize(
    ("debounce", "bounce", "verdict"),
    [('"20 ms"', '"5 ms"', None), ('"5 ms"', '"5 ms"', Verdict.NOT_SHOWN), (None, '"5 ms"', None)],
)
def test_passage_against_the_debounce(debounce: str | None, bounce: str, verdict: Verdict | None) -> None:
    """Bounce counts whole; a bound that reaches the debounce leaves the line not shown; without one nothing counts."""
    contacts = tuple((*each[:4], {**each[4], "bounce": bounce}) for each in CONTACTS)
    pin = {**PULL_UP, "filter": '"1 ms"'} | ({"debounce": debounce} if debounce else {})
    view = pull_up_view(pin=pin, contacts=contacts)
    found = of(transit(view, judged_of(view)), "transit")
    assert found
    assert {each.verdict for each in found} == {verdict}
    for each in found:
        assert float(each.numbers["bound_s"]) == pytest.approx(float(each.numbers["settle_s"]) + 0.005)
        assert ("not stated" in each.text) == (debounce is None)


def test_a_pin_without_filter_says_what_to_find_out() -> None:
    """Neither filter nor debounce: one note with a cure."""
    (note,) = transit(pull_up_view(), judged_of(pull_up_view()))
    assert note.verdict is None
    assert "No filter" in note.text
    assert "debounce" in note.cure


def test_detents_swept_on_the_way_are_named() -> None:
    """Three maintained positions of one lever: the middle one is passed."""
    contacts = (
        ("one", "maintained", "up", "2k", {}),
        ("two", "maintained", "manual", "3.9k", {}),
        ("three", "maintained", "down", "430 ohm", {}),
    )
    line = {key: value for key, value in RETURN_LINE.items() if key not in ("enable", "taps_fed")}
    view = pull_up_view(line=line, contacts=contacts, exclusive='[["one", "two", "three"]]')
    texts = [each.text for each in transit(view, judged_of(view))]
    assert any("sweeps two (`manual`)" in text for text in texts)


# --- wetting ---


def test_least_current_is_ohms_law() -> None:
    """One tap, no leaks: lowest reference less highest offset over the largest path."""
    line = {key: value for key, value in RETURN_LINE.items() if key not in ("enable", "taps_fed")}
    line |= {"leak_to_ground": '"none"', "leak_to_supply": '"none"'}
    contacts = (("raise", "momentary", "up", "2k", {"material": '"silver"', "open": '"none"'}),)
    view = pull_up_view(line=line, contacts=contacts, windows=(("automatic", 0.9, None), ("up", 0.5, 0.8)))
    judged = judged_of(view)
    path_ohm = 1020.0 + 2000.0 * 1.01 * 1.005 * 1.006 + 20.0 + 1.0 + 1.0
    # the temperature reaches 60 K from 20 °C: 100 ppm/K makes 0.6 %
    assert least_currents_a(view, judged)["raise"] == pytest.approx((4.95 - 0.05) / path_ohm, rel=1e-9)
    budgets = (
        DriftBudget("contact.raise.closed", "up", 20.0, 410.0, 300.0, "", "ohm", "assumed", 1.0),
        DriftBudget("contact.raise.open", "down", 2e5, 1e4, None, "", "ohm", "assumed", 1.0),
    )
    rows = [dataclasses.replace(row, budgets=budgets) for row in judged[0].rows]
    (caution,) = wetting(view, judged, rows)
    assert caution.verdict is None
    assert "410 Ω" in caution.text
    assert caution.numbers["film_ohm"] == 410.0
    assert film_budget_ohm(view.truck.contacts[0], judged[0].rows) is None


def test_gold_has_enough_current() -> None:
    """No caution for gold, whatever flows."""
    contacts = tuple((*each[:4], {**each[4], "material": '"gold"'}) for each in CONTACTS)
    view = pull_up_view(contacts=contacts)
    (note,) = wetting(view, judged_of(view), [])
    assert note.text.startswith("Enough current")


# --- heat ---


def test_heat_of_a_shorted_node_is_joules_law() -> None:
    """Form "pull-down", far end on ground, 430 Ω at its least and 15.5 V: V²/R with nothing else in the way."""
    view = pull_down_view(supply='jump_start = "24 V"\nload_dump = "35 V"')
    hot = {one.case.key: one for one in powers_w(view, judged_of(view))["contact.lower.resistor"]}
    least_ohm = 430.0 * 0.99 * 0.995 * 0.994
    assert hot["short_to_ground"].power_w == pytest.approx(15.5**2 / least_ohm, rel=1e-9)
    assert "lower" in hot["short_to_ground"].operated
    assert hot["jump_start"].power_w / hot["run"].power_w == pytest.approx((24.0 / 15.5) ** 2, rel=0.01)
    assert hot["load_dump"].power_w > hot["jump_start"].power_w > hot["run"].power_w
    loud = next(each for each in everything(view) if each.subject == "contact.lower.resistor")
    assert "quarter-watt part burns" in loud.text
    assert loud.cure == "Fit a body of 1 W."
    assert loud.verdict is None


def test_cool_resistors_make_one_note() -> None:
    """Large resistors never pass a quarter of a watt, and the pin is told only if it sees too much."""
    contacts = tuple((*each[:3], ohms, each[4]) for each, ohms in zip(CONTACTS, ("39k", "20k", "4.3k"), strict=True))
    view = pull_up_view(contacts=contacts, pin={**PULL_UP, "max_pin": '"16 V"'})
    found = of(everything(view), "heat")
    assert len(found) == 1
    assert found[0].text.startswith("All 3 resistors")
    hurt = pull_up_view(contacts=contacts, pin={**PULL_UP, "max_pin": '"6 V"'})
    pin = next(each for each in of(everything(hurt), "heat") if each.subject == "tap")
    assert pin.numbers["pin_v"] == pytest.approx(15.5)


# --- yield ---


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32 - 1), form=st.sampled_from(["pull-up", "pull-down"]))
def test_every_sampled_truck_lies_inside_the_bounds(seed: int, form: str) -> None:
    """The worst-case spans hold whatever is drawn."""
    view = SAMPLED[form]
    state = JUDGED[form]
    rng = np.random.Generator(np.random.PCG64(seed))
    sample = draw(view, "run", state.space, 200, rng)
    for situation, span in zip(state.situations, state.spans.readings, strict=True):
        reading = readings_of(view, state.space, sample, situation.key)
        assert span.low - 1e-12 <= reading.min()
        assert reading.max() <= span.high + 1e-12


SAMPLED = {"pull-up": pull_up_view(), "pull-down": pull_down_view()}
JUDGED = {name: judged_of(view)[0] for name, view in SAMPLED.items()}


def test_yield_of_a_proven_line_is_whole_and_repeats() -> None:
    """Where the bounds pass nothing is missed; the same seed gives the same count; no samples give nothing."""
    view, judged = SAMPLED["pull-up"], (JUDGED["pull-up"],)
    assert all(row.verdict is Verdict.PASS for row in judged[0].rows if judged[0].requirements)
    (whole,) = sampled_yield(view, judged, 2000, 7)
    assert whole.numbers["share"] == 1.0
    assert whole.verdict is None
    assert sampled_yield(view, judged, 2000, 7) == (whole,)
    assert sampled_yield(view, judged, 0, 7) == ()


def test_yield_of_a_window_at_the_middle_is_half() -> None:
    """A window edge at the nominal reading splits symmetric trucks: pull and resistor alike, everything else none.

    r/(r+p) > 1/2 exactly when r > p, and r and p are drawn alike, so the share is 1/2: within 5 standard errors.
    """
    line = {key: value for key, value in RETURN_LINE.items() if key not in ("enable", "taps_fed")}
    none = '{ low = "0 ohm", high = "0 ohm" }'
    line |= {"leak_to_ground": '"none"', "leak_to_supply": '"none"', "return_offset": '"none"'}
    line |= {"wire": none, "source_wire": none}
    more = {"closed": none, "open": '"none"'}
    contacts = (("raise", "momentary", "up", "1k", more),)
    pin = {**PULL_UP, "error": '"0 %"', "pull_up": '{ value = "1k", tolerance = "2.11 %" }'}
    windows = (("automatic", 0.9, None), ("up", 0.5, 0.6))
    view = pull_up_view(pin=pin, line=line, contacts=contacts, windows=windows)
    hits, missed = count_right(view, judged_of(view)[0], 20_000, 1)
    assert missed == (("raise",),)
    assert hits / 20_000 == pytest.approx(0.5, abs=5 * 0.5 / math.sqrt(20_000) + 0.005)


def test_substituted_edges_are_those_of_the_proof() -> None:
    """Edges in ohms found on this pin, truck by truck, equal what the proof gets at the same pulls and supplies."""
    windows = (("automatic", "9 kohm", None), ("manual", "2.6 kohm", "6 kohm"), ("up", "1 kohm", "1.8 kohm"))
    windows += (("down", "250 ohm", "560 ohm"),)
    view = pull_up_view(windows=windows, window_more='found = "substitution"\n')
    state = judged_of(view)[0]
    sample = draw(view, "run", state.space, 3, np.random.Generator(np.random.PCG64(2)))
    column = next(i for i, branch in enumerate(view.branches) if branch.kind == "pull")
    for row in range(3):
        shared = {view.branches[column].id: 1.0 / sample.conducting_s[row, column]}
        shared |= {name: float(volts[row]) for name, volts in sample.cause_v.items()}
        known = {each.meaning: each for each in windows_in(view.truck, view.line, state.space, shared)}
        at = substituted_reading(view, state.space, sample, np.full(3, 1800.0))
        assert known["up"].upper is not None
        assert at[row] == pytest.approx(known["up"].upper.nominal, rel=1e-12)
    widest = {each.meaning: each for each in widest_windows(view, state)}
    for corner in shared_corners(view, "run", state.space):
        for each in windows_in(view.truck, view.line, state.space, corner):
            assert widest[each.meaning].largest()[0] <= each.largest()[0]
            assert each.largest()[1] <= widest[each.meaning].largest()[1]
    assert sampled_yield(view, (state,), 500, 1)[0].numbers["share"] == 1.0
    assert everything(view)


# --- diode and back-feed ---


def test_diode_that_always_conducts_forward() -> None:
    """Feed above a pull to ground: current can only run out of the feed."""
    view = pull_down_view(line={**FEED_LINE, "series_diode": '{ low = "0 V", high = "0.3 V" }'})
    (found,) = of(everything(view), "diode")
    assert found.verdict is Verdict.PASS
    assert float(found.numbers["forward_v"]) >= 0.0


def test_diode_that_may_turn_round() -> None:
    """A pin pulled to the battery above a feed that may lie 0.5 V lower: current would run into the feed.

    Idle resistor and no other load: open circuit the diode's end stands at the battery, 0.5 V above the feed, and a
    further drop of at least 0.1 V is wanted for it to count as conducting.
    """
    pin = {
        **PULL_DOWN,
        "pull_up": '{ value = "10k", tolerance = "1 %" }',
        "pull_up_to": '"battery"',
        "pull_down": '"none"',
    }
    line = {**FEED_LINE, "feed_drop": '{ low = "0 V", high = "0.5 V" }', "idle_resistor": '"10k"'}
    line |= {"series_diode": '{ low = "0.1 V", high = "0.3 V" }', "leak_to_ground": '"none"'}
    view = pull_down_view(pin=pin, line=line)
    (found,) = of(everything(view), "diode")
    assert found.verdict is Verdict.NOT_SHOWN
    assert found.numbers["forward_v"] == pytest.approx(-0.6)


def test_back_feed_is_ohms_law() -> None:
    """The highest battery voltage over the least resistance on the way; none without a battery feed."""
    view = pull_down_view()
    (found,) = of(everything(view), "back-feed")
    both = (
        1.0 / (430.0 * 0.99 * 0.995 * 0.994)
        + 1.0 / (1800.0 * 0.99 * 0.995 * 0.994)
        + 1.0 / (4700.0 * 0.99 * 0.995 * 0.994)
    )
    assert found.numbers["current_a"] == pytest.approx(15.5 * both, rel=1e-9)
    assert of(everything(pull_up_view()), "back-feed") == []


# --- windows as notes see them ---


def test_sure_implies_possible() -> None:
    """What surely is in a window could be in it, for every window and span at hand."""
    for name, view in SAMPLED.items():
        for window in widest_windows(view, JUDGED[name]):
            for reading in JUDGED[name].spans.readings:
                assert could_be(reading, window) or not surely_is(reading, window)
    assert EFFECTS[0] == "none"


# --- awkward trucks ---


@pytest.mark.parametrize("seed", range(30))
def test_checks_agree_with_the_proof_on_awkward_trucks(seed: int) -> None:
    """Generated trucks with leaks, offsets, floating pins and gaps: no check fails, and none contradicts the bounds.

    A line whose bounds pass misses no sampled truck; a finding counts against a line only where the proof found it too,
    or where it is a passage or a diode.
    """
    truck = loads(write(generate(seed)))
    for line in truck.lines:
        view = line_view(truck, line)
        if unproven_reason(truck, line, view):
            continue
        judged = judged_of(view)
        rows = [row for state in judged for row in state.rows]
        findings = run_all(view, judged, rows, samples=300, seed=seed)
        for each in findings:
            assert each.check in NAMES
            json.dumps(as_json(each), allow_nan=False)
            if each.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN) and each.check not in ("transit", "diode"):
                same = [row for row in rows if "+".join(row.operated) == each.subject]
                assert each.verdict in {row.verdict for row in same}
        if all(row.verdict in (Verdict.PASS, Verdict.WOULD_HOLD) for row in rows if row.key_state == "run"):
            assert [each.numbers["share"] for each in of(findings, "yield")] == [1.0]
