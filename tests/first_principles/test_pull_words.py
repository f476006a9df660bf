"""How a pull is measured: the sums are Ohm's law, every face says the same words, and what they say to write works."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.chain.actions import next_actions
from pinproof.chain.links import chain_of
from pinproof.chain.outlook import outlooks
from pinproof.cli import group
from pinproof.design import Truck, load, loads
from pinproof.design.pull_words import (
    CAREFUL_V,
    FIRST_FED_OHM,
    PULL_DOWN_SUM,
    PULL_UP_SUM,
    TOLERANCE,
    is_key,
    pull_measurement,
    pull_measurement_of,
)
from pinproof.design.starter import FORMS
from pinproof.examples import example_path
from pinproof.observe import spaces_of, windows_in
from pinproof.proof import prove
from pinproof.quantities import parse

PULLS_OHM = (470.0, 1e3, 2.2e3, 4.7e3, 10e3)


def run(folder: Path, *arguments: str) -> Result:
    """One call of the program on a file of this folder; only deliberate ends."""
    result = CliRunner().invoke(group, [arguments[0], str(folder / arguments[1]), *arguments[2:]])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result


def summed(formula: str, **symbols: float) -> float:
    """What a reader gets who puts numbers for the symbols of the printed sum."""
    right = formula.partition("=")[2].translate(str.maketrans({"×": "*", "÷": "/", "−": "-"}))
    value = eval(right, {"__builtins__": {}}, dict(symbols))
    return float(value)


@pytest.mark.parametrize("pull_ohm", PULLS_OHM)
@pytest.mark.parametrize("load_ohm", [470.0, 1e3, 10e3])
def test_the_printed_sums_are_ohms_law(pull_ohm: float, load_ohm: float) -> None:
    """A pin is a source behind its pull, or a pull to ground; two resistors divide, by Kirchhoff."""
    source_v, supply_v = 5.0, 12.6
    loaded_v = source_v * load_ohm / (load_ohm + pull_ohm)
    assert summed(PULL_UP_SUM, R=load_ohm, Vopen=source_v, Vloaded=loaded_v) == pytest.approx(pull_ohm, rel=1e-12)
    pin_v = supply_v * pull_ohm / (load_ohm + pull_ohm)
    assert summed(PULL_DOWN_SUM, R=load_ohm, Vpin=pin_v, Vsupply=supply_v) == pytest.approx(pull_ohm, rel=1e-12)


@pytest.mark.parametrize("meter", [0.008, 0.015])
def test_the_tolerance_that_is_named_covers_the_meter(meter: float) -> None:
    """Every corner of three readings with such a meter, at half the volts, lies within what the text says."""
    named = {
        float(error) / 100.0: parse(reach, "tolerance")
        for reach, error in re.findall(r'"([\d.]+ %)" if (?:the meter is )?within ([\d.]+) %', TOLERANCE)
    }
    worst = 0.0
    for r_error, one, other in itertools.product((-meter, meter), repeat=3):
        got = summed(PULL_DOWN_SUM, R=1e3 * (1 + r_error), Vpin=6.3 * (1 + one), Vsupply=12.6 * (1 + other))
        also = summed(PULL_UP_SUM, R=1e3 * (1 + r_error), Vopen=5.0 * (1 + one), Vloaded=2.5 * (1 + other))
        worst = max(worst, abs(got / 1e3 - 1.0), abs(also / 1e3 - 1.0))
    assert worst <= named[meter]
    assert worst > 0.6 * named[meter]  # it is not stated far too wide either


@pytest.mark.parametrize("sides", [("pull_up",), ("pull_down",), ("pull_up", "pull_down")])
def test_it_begins_with_what_can_hurt_and_ends_with_what_to_write(sides: tuple[str, ...]) -> None:
    """Chocks, battery, fuse first; sum, choice of R and key for each side; the pin's limit asked if not known."""
    found = pull_measurement("tap_pin", sides)  # type: ignore[arg-type]
    assert found.text.startswith("Wheels chocked, brake on, lever in park")
    for word in ("Battery", "1 A fuse"):
        assert word in found.caution
    joined = " ".join(found.how)
    for side, formula, half in (
        ("pull_up", PULL_UP_SUM, "half of Vopen"),
        ("pull_down", PULL_DOWN_SUM, "a third of Vsup"),
    ):
        assert (formula in joined) == (side in sides)
        assert (half in joined) == (side in sides)
        key = f'{side} = {{ value = "…", tolerance = "…", basis = "measured" }}'
        assert (key in found.how) == (side in sides)
    assert 'max_pin = "… V"' in found.how
    limited = pull_measurement("tap_pin", sides, max_pin="16 V")  # type: ignore[arg-type]
    assert not any("max_pin" in each for each in limited.how)
    if "pull_down" in sides:
        assert f"below {CAREFUL_V}" in joined
        assert "below 16 V" in " ".join(limited.how)


@pytest.mark.parametrize("pull_ohm", [470.0, 1e3, 2.2e3, 4.7e3, 10e3])
def test_the_second_measurement_stays_below_what_an_unknown_pin_may_see(pull_ohm: float) -> None:
    """With R as the words have it, from a rested 12.6 V battery: below the careful volts. Equal to the pull: above."""
    found = pull_measurement("tap_pin", ("pull_down",))
    assert any("nearest to twice what the sum gave" in each for each in found.how)
    r_ohm, careful_v = max(2.0 * pull_ohm, 1000.0), float(CAREFUL_V.split()[0])
    assert 12.6 * pull_ohm / (pull_ohm + r_ohm) < careful_v
    assert 12.6 * pull_ohm / (pull_ohm + pull_ohm) > careful_v
    first_ohm = float(FIRST_FED_OHM.split()[0]) * 1e3
    assert 12.6 * pull_ohm / (pull_ohm + first_ohm) < careful_v
    fed = pull_measurement("tap_pin", ("pull_down",), feed="reference")
    assert any("nearest to what the sum gave" in each for each in fed.how)  # 5 V halved is 2.5 V


def plain(text: str) -> str:
    """Text of a file or a terminal with its line breaks and comment signs taken out."""
    return " ".join(text.replace("#", " ").split())


CASES = [("--starter", form) for form in FORMS] + [
    ("--switched", switched, "--list", "up 2.88k, down 1.27k") for switched in ("fuse", "chassis", "5 V", "?")
]


@pytest.mark.parametrize("options", CASES, ids=lambda options: options[1])
def test_every_face_says_the_same(options: tuple[str, ...], tmp_path: Path) -> None:
    """The file's comment, `next` in words and as JSON, and the proof's cure hold the same lines; `new` names it."""
    made = run(tmp_path, "new", "t.toml", *options)
    assert made.exit_code == 0, made.output
    truck = load(tmp_path / "t.toml")
    found = pull_measurement_of(truck.inputs[0], truck.lines[0])
    lines = [found.caution, *found.how]
    assert f"Find out first: {found.what}" in plain(made.output) and "pinproof next" in made.output
    file, told = (tmp_path / "t.toml").read_text(encoding="utf-8"), run(tmp_path, "next", "t.toml").output
    for line in lines:
        assert plain(line) in plain(file)
        assert plain(line) in plain(told)
        if is_key(line):
            assert any(each.lstrip("# ") == line for each in file.splitlines())
            assert any(each.strip() == line for each in told.splitlines())
    actions = json.loads(run(tmp_path, "next", "t.toml", "--json").output)["actions"]
    action = next(each for each in actions if not each["order_today"])
    assert [action["caution"], *action["steps"]] == lines
    cures = [
        each.cure for line in prove(truck, samples=0).lines for each in line.findings if each.check == "unknown-pull"
    ]
    assert set(cures) - {""} == ({found.text} if "--list" in options else set())


@pytest.mark.parametrize(("switched", "side"), [("fuse", "pull_down"), ("chassis", "pull_up")])
def test_what_it_says_to_write_works_and_the_list_follows(switched: str, side: str, tmp_path: Path) -> None:
    """The key put in with numbers: the file loads, no list keeps an old pull, the line is proven with the new one."""
    run(tmp_path, "new", "t.toml", "--switched", switched, "--list", "up 2.88k, down 1.27k", "--controls", "lever")
    path = tmp_path / "t.toml"
    text = path.read_text(encoding="utf-8")
    assert "with_pull =" not in [each.split('"')[0].strip() for each in text.splitlines()]
    key = next(each for each in pull_measurement("tap_pin", (side,)).how if each.startswith(side))  # type: ignore[arg-type]
    for pull in ("680 ohm", "2.2 kohm"):
        filled = key.replace('value = "…"', f'value = "{pull}"').replace('tolerance = "…"', 'tolerance = "5 %"')
        truck = loads(
            text.replace(f'{side} = "unknown"', filled).replace('compares = "unknown"', 'compares = "battery"')
        )
        entries = [each for each in truck.lines[0].targets if each.kind == "ohm"]
        assert {each.with_pull_ohm for each in entries} == {parse(pull, "resistance")}
        assert all(each.own_pull for each in entries)
        assert prove(truck, samples=0).lines[0].situations
        assert (
            f"this pin's own pull, {pull.replace('ohm', 'Ω')}"
            in chain_of(truck, prove(truck, samples=0)).link("meaning").text
        )


def ohm_truck(pull: str, with_pull: str = "", tolerance: str = "5 %") -> Truck:
    """A pull-up line with windows in ohms."""
    stated = f'with_pull = "{with_pull}"\n' if with_pull else ""
    known = pull if pull == '"unknown"' else f'{{ value = "{pull}", tolerance = "{tolerance}", basis = "measured" }}'
    windows = "".join(
        f'[[line.window]]\nmeaning = "{name}"\nlow = "{low}"\n{edge}{stated}basis = "published"\n'
        for name, low, edge in (("up", "900 ohm", 'high = "1400 ohm"\n'), ("automatic", "9 kohm", ""))
    )
    return loads(f"""format = 1
id = "pp-ohm"
[supply]
run = "10 V to 15 V"
[temperature]
low = "0 °C"
high = "50 °C"
[defaults]
tolerance = "1 %"
tempco = "100 ppm/K"
ageing = "1 %"
closed = "0 ohm to 1 ohm"
open = "none"
[[input]]
id = "p"
pull_up = {known}
pull_down = "none"
reference = "5 V"
compares = "reference"
error = "0 %"
[[line]]
id = "l"
input = "p"
form = "pull-up"
idle = "automatic"
idle_resistor = "none"
wire = "0 ohm to 1 ohm"
source_wire = "0 ohm to 1 ohm"
return_offset = "none"
leak_to_ground = "none"
leak_to_supply = "none"
{windows}
[[device]]
id = "d"
[[contact]]
id = "up"
line = "l"
device = "d"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = "1.1k"
""")


@pytest.mark.parametrize("pull_ohm", [680.0, 1000.0, 3300.0])
def test_ohms_that_name_no_pull_mean_the_pins_own(pull_ohm: float) -> None:
    """Edges lie at E/(E+p) with the nominal pull of the input, by hand; the same as with that pull written out."""
    own, stated = ohm_truck(f"{pull_ohm} ohm"), ohm_truck(f"{pull_ohm} ohm", f"{pull_ohm} ohm")
    (space,) = spaces_of(own, own.inputs[0])
    (found,) = (each for each in windows_in(own, own.lines[0], space) if each.meaning == "up")
    assert found.lower.nominal == pytest.approx(900.0 / (900.0 + pull_ohm), rel=1e-12)
    assert found.upper.nominal == pytest.approx(1400.0 / (1400.0 + pull_ohm), rel=1e-12)
    assert windows_in(stated, stated.lines[0], space) == windows_in(own, own.lines[0], space)


def test_a_list_for_another_pull_is_shown_and_asked_about() -> None:
    """Stated beside a pin of another pull: the meaning link names it, `next` asks; within the tolerance it does not."""
    truck = ohm_truck("2.2 kohm", "1 kohm")
    proof = prove(truck, samples=0)
    assert "meant with a pull of 1 kΩ" in chain_of(truck, proof).link("meaning").text
    asked = [each for each in next_actions(truck, proof) if "which pull" in each.what]
    assert asked[0].parameters == ("line.l.window.up.with_pull", "line.l.window.automatic.with_pull")
    near = ohm_truck("1.03 kohm", "1 kohm")
    assert not any("which pull" in each.what for each in next_actions(near, prove(near, samples=0)))


def test_a_pull_that_the_list_names_stays_while_the_pins_own_is_tried() -> None:
    """With the list's own pull fixed, only pins near it hold; without, the list moves along and far more do."""
    named, bare = ohm_truck('"unknown"', "1 kohm"), ohm_truck('"unknown"')
    (with_name,), (without,) = outlooks(named, named.lines[0]), outlooks(bare, bare.lines[0])
    assert 0 < len(with_name.single_ohm) < len(without.single_ohm)
    for tried in with_name.tried:
        alone = prove(ohm_truck(f"{tried.pull_ohm!r} ohm", "1 kohm"), drift=False)
        holds = all(row.verdict.rank >= 2 for row in alone.lines[0].situations)
        assert holds == (tried.pull_ohm in with_name.single_ohm)


def test_beside_a_known_pull_that_one_is_the_resistor() -> None:
    """The other pull of the pin serves as R: the text names it, and its sum gives what Kirchhoff gives."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    assert 'pull_up = "none"' in text
    truck = loads(text.replace('pull_up = "none"', 'pull_up = "unknown"\nreference = "5 V"'))
    found = pull_measurement_of(truck.inputs[0], truck.lines[0])
    assert found.sides == ("pull_up",)
    step = found.steps[1]
    formula = step.partition("Sum: ")[2].partition(". If")[0]
    down_ohm, up_ohm, source_v = 1000.0, 4700.0, 5.0
    pin_v = source_v * down_ohm / (down_ohm + up_ohm)
    assert summed(formula, R=down_ohm, Vsupply=source_v, Vpin=pin_v) == pytest.approx(up_ohm, rel=1e-12)


def test_another_form_is_advised_only_where_the_form_takes_sides() -> None:
    """A ladder, a divider and free elements fit a pin that is pulled either way."""
    both = ("pull_up", "pull_down")
    for form in ("", "pull-up", "pull-down"):
        assert "begin a new file" in pull_measurement("tap_pin", both, form=form).text
    for form in ("ladder", "divider", "elements"):
        assert "begin a new file" not in pull_measurement("tap_pin", both, form=form).text
    assert "begin a new file" not in pull_measurement("tap_pin", ("pull_up",)).text
    text = example_path("sandpiper").read_text(encoding="utf-8")
    truck = loads(text)
    line = replace(truck.lines[0], form="elements")
    assert "begin a new file" not in pull_measurement_of(truck.inputs[0], line, both).text
