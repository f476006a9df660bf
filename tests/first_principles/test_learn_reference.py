"""An open pin that stands off its reference: one pull from a low reference, or the reference divided by two pulls.

Truth: Ohm's law. A pull-up of 2.15 kΩ to 5.02 V and a pull-down of 47 kΩ; the readings are worked out here.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.chain.learn_begin import NotThus, line_of, opened
from pinproof.chain.learning import Learning
from pinproof.cli import group
from pinproof.design import load
from pinproof.design.model import Resistor
from pinproof.examples import example_path
from pinproof.learn import PinReading, VoltMeter, fit_source, load_session, pulls_of, session_path
from pinproof.learn.pulls import off_stated_v
from pinproof.learn.stock import INF

UP, DOWN, REF = 2150.0, 47_000.0, 5.02
LOADS = (INF, 1000.0, 4700.0)
STATED = (4.95, 5.05)
FINE = VoltMeter(gain=0.005, offset_v=0.01)


def volts(load: float, down: float = DOWN) -> float:
    """The pin with a load to ground, both pulls in place. [V]"""
    return REF / UP / (1.0 / UP + 1.0 / down + 1.0 / load)


def readings(down: float = DOWN) -> list[PinReading]:
    return [PinReading(round(volts(load, down), 3), load) for load in LOADS]


def adds(down: float = DOWN) -> list[str]:
    words = ("open", "load=1k", "load=4k7")
    typed = [f"{word} volts={volts(load, down):.3f}" for word, load in zip(words, LOADS, strict=True)]
    return [part for each in [*typed, "ac=0.004"] for part in ("--add", each)]


def run(*args: object, say: str | None = None) -> Result:
    return CliRunner().invoke(group, ["learn", *map(str, args)], input=say)


@pytest.fixture
def design(tmp_path: Path) -> Path:
    path = tmp_path / "truck.toml"
    text = example_path("wagtail").read_text(encoding="utf-8")
    stated = 'reference = { value = "5 V", tolerance = "1 %", basis = "assumed" }'
    path.write_text(re.sub(r"(?m)^reference = .*$", stated, text), encoding="utf-8")
    return path


def work_on(design: Path) -> Learning:
    truck = load(design)
    line = line_of(truck)
    path = session_path(design, line.input)
    session, seen = opened(truck, line, path, None)
    return Learning(truck, path, session, seen)


def test_the_open_volts_are_the_reference_only_where_both_agree() -> None:
    """Divided by 47 kΩ the pin stands 0.1 V under the least that is stated, with 0.036 V of uncertainty."""
    divided, plain = fit_source(readings(), FINE), fit_source(readings(INF), FINE)
    assert off_stated_v(divided, STATED) < 0.0 and pulls_of(divided, stated_v=STATED) is None
    found = pulls_of(plain, stated_v=STATED)
    assert found is not None and found.up_ohm == pytest.approx(UP, rel=0.01) and found.down_ohm is None
    assert off_stated_v(plain, (4.0, 4.5)) > 0.0 and pulls_of(plain, stated_v=(4.0, 4.5)) is None
    assert pulls_of(divided) is None, "none is stated: 5 V ±2 % is usual"
    assert pulls_of(divided, stated_v=(4.5, 5.5)) is not None, "within what is stated there is no doubt"


def test_the_measured_reference_tells_both_pulls() -> None:
    found = pulls_of(fit_source(readings(), FINE), reference_v=REF, u_reference_v=0.005, stated_v=STATED)
    assert found is not None and found.up_ohm is not None and found.down_ohm is not None
    assert abs(found.up_ohm - UP) <= found.up_tolerance * found.up_ohm
    assert abs(found.down_ohm - DOWN) <= found.down_tolerance * found.down_ohm


def test_without_the_reference_neither_is_written(design: Path) -> None:
    before = design.read_text(encoding="utf-8")
    result = run(design, *adds(), "--write")
    told = " ".join(result.output.split())
    assert result.exit_code == 1 and design.read_text(encoding="utf-8") == before
    assert "Pulls not told apart" in told and "--told reference_v" in told
    assert "the reference really is 4.8 V" in told
    down = 5.0 / (5.0 - volts(INF)) / (1.0 / UP + 1.0 / DOWN)
    named = re.search(r"there is a pull-down too: about (\d+) kΩ", told)
    assert named is not None and float(named[1]) * 1e3 == pytest.approx(down, rel=0.02)
    plain = json.loads(run(design, "--json").stdout)
    assert plain["pulls"] is None and not plain["learned"]


def test_told_the_reference_both_are_written(design: Path) -> None:
    assert run(design, *adds(), "--told", f"reference_v={REF}", "--write").exit_code == 1, "no edges yet"
    pin = load(design).inputs[0]
    for pull, ohm in ((pin.pull_up, UP), (pin.pull_down, DOWN)):
        assert isinstance(pull, Resistor) and pull.ohm is not None
        assert pull.basis == "measured" and abs(pull.ohm - ohm) <= pull.tolerance * pull.ohm
    assert pin.reference is not None and pin.reference.value == REF and pin.reference.basis == "measured"


def test_told_a_low_reference_it_is_a_pull_up_alone(design: Path) -> None:
    """The same readings and the other answer: the reference really is what the open pin shows."""
    run(design, *adds(), "--told", f"reference_v={volts(INF):.3f}", "--write")
    pin = load(design).inputs[0]
    assert isinstance(pin.pull_up, Resistor)
    assert pin.pull_up.ohm == pytest.approx(1.0 / (1.0 / UP + 1.0 / DOWN), rel=0.01)
    assert pin.reference is not None and pin.reference.value == pytest.approx(volts(INF), abs=1e-3)


def test_the_guided_session_asks_for_it(design: Path) -> None:
    run(design, *adds())
    asked = run(design, say=f"{REF}\nstop\nn\n")
    told = " ".join(asked.output.split())
    assert "at the controller's reference pin" in told and "pull-down 4" in told, told
    left = load_session(session_path(design, "button_pin"))[0].told
    assert left["reference_v"] == str(REF)


def test_do_not_know_is_an_answer_and_it_is_asked_again_another_day(design: Path) -> None:
    run(design, *adds())
    before = design.read_text(encoding="utf-8")
    for _ in range(2):
        asked = run(design, say="?\nstop\ny\n")
        assert "at the controller's reference pin" in " ".join(asked.output.split())
        assert "reference and pulls stay as the file has them" in " ".join(asked.output.split())
        assert asked.output.count("volts >") == 1, "once a session"
        assert design.read_text(encoding="utf-8") == before
    again = " ".join(run(design, say="?\nvolts\n?\nstop\ny\n").output.split())
    assert again.count("volts >") == 2 and "No volts were left out" not in again


def test_a_reference_below_the_open_pin_is_questioned(design: Path) -> None:
    run(design, *adds())
    work = work_on(design)
    doubts: list[str] = []
    work.question = doubts.append
    asked = work.asked()
    assert asked is not None and asked.volts is not None and asked.volts.at == "reference"
    with pytest.raises(NotThus, match="above 0 V"):
        work.answer_volts(asked.volts, "0")
    assert not doubts and work.session.told.get("reference_v") is None
    work.answer_volts(asked.volts, "4.5")
    assert len(doubts) == 1 and "below" in doubts[0]
    assert work.found.pulls is None and "above the reference as read" in work.found.why_not
    assert not work.found.asks_reference


def test_a_pin_that_agrees_is_not_asked_about(design: Path) -> None:
    run(design, *adds(INF))
    work = work_on(design)
    assert work.found.pulls is not None and not work.found.asks_reference
    asked = work.asked()
    assert asked is not None and asked.volts is None


@pytest.mark.parametrize(
    ("typed", "ac", "low", "high"),
    [("ac=0.004", 0.004, None, None), ("min=4.7 max=4.79", None, 4.7, 4.79), ("open ac=0.9", 0.9, None, None)],
)
def test_the_look_at_the_open_pin_is_taken_as_it_is_asked_for(
    design: Path, typed: str, ac: float | None, low: float | None, high: float | None
) -> None:
    run(design, "--add", "open volts=4.98", "--add", typed)
    looks = load_session(session_path(design, "button_pin"))[0].looks
    assert [(each.volts_v, each.ac_v, each.low_v, each.high_v) for each in looks] == [(4.98, ac, low, high)]
    assert json.loads(run(design, "--json").stdout)["strobed"] is (ac == 0.9)


@pytest.mark.parametrize("typed", ["min=4.7", "max=5", "volts=4.98 ac=0.01"])
def test_half_a_look_is_refused_with_the_right_text(design: Path, typed: str) -> None:
    refused = run(design, "--add", typed)
    assert refused.exit_code == 2
    assert "names no load" in refused.output
    assert '"ac=0.01" or "min=0.1 max=4.98"' in " ".join(refused.output.split())


def test_half_a_look_does_not_pass_for_a_steady_pin(design: Path) -> None:
    run(design, "--add", "open volts=4.98")
    work = work_on(design)
    with pytest.raises(NotThus, match="neither AC nor both"):
        work.answer_look("min=0.1")
    assert not work.session.looks and work.found.strobed is None
