"""Which resistors the owner can get: asked once, kept in the file, and heeded by choosing, cures and orders."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.chain.actions import next_actions
from pinproof.chain.adopt import adopted
from pinproof.chain.interview import AnswerFault, question, understand
from pinproof.choose import choose, cures
from pinproof.cli import group
from pinproof.design import Truck, load, loads
from pinproof.design.comments import with_comment
from pinproof.design.edit import with_values
from pinproof.errors import NoSolution
from pinproof.examples import example_path
from pinproof.proof import prove
from pinproof.proof.checks.breaks import broken_wire_room
from pinproof.proof.prove import states_of
from pinproof.quantities.preferred import in_series
from pinproof.wiring import line_view

LISTED = ("--switched", "ground", "--controls", "lever", "--list", "up 1 V, down 2 V", "--pull", "1 kohm 2 % measured")


def run(folder: Path, *arguments: str) -> Result:
    """One call of the program on a file of this folder; only deliberate ends."""
    result = CliRunner().invoke(group, [arguments[0], str(folder / arguments[1]), *arguments[2:]])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result


def sandpiper(parts: str, *changes: tuple[str, str]) -> Truck:
    """The example with a [parts] table and texts exchanged."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return loads(text.replace("[[input]]", f"[parts]\n{parts}\n\n[[input]]", 1))


def test_parts_are_read_and_changed_in_place() -> None:
    """All keys reach the model; the editor changes them, and makes the table where it is missing."""
    truck = sandpiper(
        'series = "E24"\ntolerance = { value = "2 %", basis = "published" }\nat_hand = true\ndrawer = "d.toml"'
    )
    assert (truck.parts.series, truck.parts.at_hand, truck.parts.drawer) == ("E24", True, "d.toml")
    assert truck.parts.tolerance is not None
    assert (truck.parts.tolerance.value, truck.parts.tolerance.basis) == (0.02, "published")
    assert truck.entries()["parts.tolerance"] is truck.parts.tolerance
    bare = example_path("sandpiper").read_text(encoding="utf-8")
    assert loads(bare).parts.series == ""
    once = with_values(bare, {"parts.series": "E12"})
    twice = with_values(once, {"parts.series": "E48", "parts.at_hand": True})
    assert (loads(twice).parts.series, loads(twice).parts.at_hand) == ("E48", True)
    assert twice.startswith(bare)


@pytest.mark.parametrize(
    ("answer", "series", "tolerance", "at_hand", "guessed"),
    [
        ("E24 1 %", "E24", "1 %", False, ""),
        ("have E24 1%", "E24", "1 %", True, ""),
        ("an assortment of E12, 5 percent", "E12", "5 %", True, ""),
        ("1 %", "E96", "1 %", False, "series"),
        ("5%", "E24", "5 %", False, "series"),
        ("e 96", "E96", "1 %", False, "tolerance"),
    ],
)
def test_what_an_answer_says_and_what_it_does_not(
    answer: str, series: str, tolerance: str, at_hand: bool, guessed: str
) -> None:
    """What was not said is taken, and told."""
    said = understand(question("parts"), answer)
    assert (said.series, said.tolerance, said.at_hand, said.guessed) == (series, tolerance, at_hand, guessed)
    assert f"{series} {tolerance}" in said.text
    assert ("was named" in said.text) == bool(guessed)


@pytest.mark.parametrize("answer", ["1 % assortment", "a drawer full", "my box, 5 %", "some"])
def test_an_assortment_without_a_series_is_asked_again(answer: str) -> None:
    """No series is made up for parts that lie there: the words that would be right are told."""
    with pytest.raises(AnswerFault, match="E24 1 %"):
        understand(question("parts"), answer)


def test_new_writes_what_was_said_and_choose_takes_it(tmp_path: Path) -> None:
    """E24 from the interview, E24 in the file, E24 from `choose`; every option on the line comes before the file."""
    made = run(tmp_path, "new", "t.toml", *LISTED, "--parts", "E24 1 %", "--json")
    assert json.loads(made.stdout)["parts"]["series"] == "E24"
    path = tmp_path / "t.toml"
    assert load(path).parts.series == "E24"
    for options, series in (((), "E24"), (("--series", "e12"), "E12"), (("--parts", "E48 1 %"), "E48")):
        found = json.loads(run(tmp_path, "choose", "t.toml", *options, "--json").stdout)
        assert found["source"] == series
        assert all(in_series(series, ohm) for ohm in found["values"].values())
    assert not all(in_series("E24", ohm) for ohm in found["values"].values())  # the last set must tell them apart
    said = run(tmp_path, "choose", "t.toml").output
    assert "Values from E24 (as [parts] in the file says), parts of 1 %." in said
    both = run(tmp_path, "choose", "t.toml", "--parts", "E48", "--series", "E24")
    assert both.exit_code == 2
    assert "leave out --series" in both.output


def test_a_tolerance_of_the_parts_is_fitted() -> None:
    """Parts of 5 % from [parts] are what is proven and written, whatever the resistors stated before."""
    truck = sandpiper('series = "E24"\ntolerance = "5 %"')
    found = choose(truck, "taps", runners_up=0, explain=False)
    assert {each.tolerance for each in found.resistors} == {0.05}
    assert all(text == "5 %" for path, text in found.changes.items() if path.endswith(".tolerance"))
    finer = choose(truck, "taps", tolerance=0.01, runners_up=0, explain=False)
    assert finer.margin > found.margin


def test_cures_take_the_parts_name_them_and_come_cheapest_first() -> None:
    """Each names its series, and values that hold; among those that hold, and the rest, the effort rises."""
    truck = sandpiper('series = "E24"', ('leak_to_ground = "20 kohm"', 'leak_to_ground = "4 kohm"'))
    proof = prove(truck, samples=0).lines[0]
    offered = cures(truck, "taps", proof)
    assert offered
    for cure in offered:
        assert cure.source == "E24"
        assert "from E24" in cure.text
        assert cure.what in cure.text
        assert all(in_series("E24", ohm) for ohm in cure.values.values())
        assert all(cure.changes[path] for path in cure.values)
    order = [(cure.verdict.exit_code != 0 and cure.verdict.value != "would hold if", cure.effort) for cure in offered]
    assert order == sorted(order)


@pytest.mark.parametrize("has_room", [True, False])
def test_what_an_idle_resistor_does_is_one_fact(has_room: bool) -> None:
    """Where the broken-wire check says that it cannot make a broken wire show, the cure says so too; else neither."""
    bare = idle_truck(has_room)
    proof = prove(bare, samples=0).lines[0]
    found = next(each for each in proof.findings if each.check == "broken-wire" and each.subject.endswith(".wire"))
    assert ("cannot make a broken wire show" in found.cure) == (not has_room)
    offered = [each for each in cures(bare, "l", proof) if "idle resistor" in each.what]
    assert len(offered) == 1
    assert ("cannot be told from" in offered[0].what) == (not has_room)
    changed = loads(with_values(idle_text(has_room), offered[0].changes))
    view = line_view(changed, "l")
    assert broken_wire_room(view, states_of(view)) is has_room
    after = prove(changed, samples=0).lines[0]
    broken = next(each for each in after.findings if each.check == "broken-wire" and each.subject.endswith(".wire"))
    assert ("cannot be told from" in broken.text) == (not has_room)


def idle_text(has_room: bool) -> str:
    """A pull-up line without an idle resistor that fails by its leaks; the idle window with and without room above."""
    high = 'high = "90 %"\n' if has_room else ""
    return f"""format = 1
id = "pp-idle"
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
pull_up = {{ value = "1 kohm", tolerance = "1 %", basis = "measured" }}
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
leak_to_ground = "3 kohm"
leak_to_supply = "none"
[[line.window]]
meaning = "up"
low = "30 %"
high = "50 %"
basis = "published"
[[line.window]]
meaning = "automatic"
low = "{"60 %" if has_room else "74.8 %"}"
{high}basis = "published"
[[device]]
id = "d"
[[contact]]
id = "up"
line = "l"
device = "d"
kind = "normally open"
action = "momentary"
asks = "up"
resistor = "2k"
"""


def idle_truck(has_room: bool) -> Truck:
    """`idle_text`, loaded."""
    return loads(idle_text(has_room))


def test_what_lies_at_hand_is_not_ordered() -> None:
    """An assortment of the series covers its values; one that is not in it is ordered; without it all are."""
    for parts, ordered in (('series = "E96"', True), ('series = "E96"\nat_hand = true', False)):
        truck = sandpiper(parts)
        assert any(each.order_today for each in next_actions(truck, prove(truck, samples=0))) == ordered
    some = sandpiper('series = "E24"\nat_hand = true')
    order = next(each for each in next_actions(some, prove(some, samples=0)) if each.order_today)
    assert "8.25 kΩ" in order.what  # not of E24
    assert "1.3 kΩ" not in order.what  # of E24
    open_yet = sandpiper('series = "E24"\nat_hand = true', ('resistor = "1.3k"', 'resistor = "to choose"'))
    assert not any(each.order_today for each in next_actions(open_yet, prove(open_yet, samples=0)))
    wanted = sandpiper('series = "E12"', ('resistor = "1.3k"', 'resistor = "to choose"'))
    first = next_actions(wanted, prove(wanted, samples=0))[0]
    assert "assortment of E12" in first.what


def test_a_drawer_of_any_name_is_kept_and_used(tmp_path: Path) -> None:
    """Named in the interview: in the file as seen from it, used by `choose` and `next`; a missing one is told."""
    stock = tmp_path / "shop" / "stock.toml"
    for ohm in ("100 ohm", "220 ohm", "330 ohm", "680 ohm", "1k"):
        done = CliRunner().invoke(group, ["drawer", "add", ohm, "1 %", "--count", "5", "--drawer", str(stock)])
        assert done.exit_code == 0, done.output
    made = run(tmp_path, "new", "trucks/t.toml", *LISTED, "--parts", str(stock))
    assert made.exit_code == 0, made.output
    path = tmp_path / "trucks" / "t.toml"
    assert load(path).parts.drawer == "../shop/stock.toml"
    assert json.loads(run(tmp_path, "choose", "trucks/t.toml", "--json").stdout)["source"] == "drawer"
    assert json.loads(run(tmp_path, "choose", "trucks/t.toml", "--series", "E24", "--json").stdout)["source"] == "E24"
    assert "Order today" not in run(tmp_path, "next", "trucks/t.toml").output
    stock.unlink()
    missing = run(tmp_path, "next", "trucks/t.toml")
    assert "is not there" in missing.stderr
    refused = CliRunner().invoke(group, ["choose", str(path)])
    assert isinstance(refused.exception, NoSolution)  # the program itself ends with 2 and its words
    assert 'names the drawer "../shop/stock.toml"' in str(refused.exception)


def test_a_comment_beside_a_changed_value_says_the_new_truth(tmp_path: Path) -> None:
    """What this program wrote is replaced; what the owner wrote stays."""
    run(tmp_path, "new", "t.toml", "--switched", "ground", "--controls", "lever", "--list", "up 2k, down 700 ohm",
        "--pull", "1 kohm 2 % measured", "--parts", "E24 1 %")  # fmt: skip
    path = tmp_path / "t.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count("# from E24: gives the ohms of the list") == 2
    mine = text.replace("# from E24: gives the ohms of the list", "# blue bag, from E24", 1)
    path.write_text(mine, encoding="utf-8", newline="\n")
    done = run(tmp_path, "choose", "t.toml", "--series", "E48", "--write")
    assert done.exit_code == 1, done.output  # targets: would hold if
    after = path.read_text(encoding="utf-8")
    assert "gives the ohms of the list" not in after
    assert after.count("# chosen from E48 by pinproof choose") == 1
    assert after.count("# blue bag, from E24") == 1
    again = with_comment(after.replace("\n", "\r\n"), ["contact.lever_down.resistor"], "new")
    assert "# new\r\n" in again


def test_new_says_which_two_meanings_collide(tmp_path: Path) -> None:
    """Windows that no values fit: the two are named, in words and as JSON, and nothing is recommended."""
    windows = ("--switched", "ground", "--controls", "lever", "--pull", "1 kohm 5 % measured", "--parts", "E24 1 %",
               "--list", "up 2.7k to 3.05k, down 2.4k to 2.6k")  # fmt: skip
    said = " ".join(run(tmp_path, "new", "t.toml", *windows).output.split())
    assert re.search(r"No values of E24 hold in the worst case\. (up and down|down and up) collide\.", said)
    plain = json.loads(run(tmp_path, "new", "u.toml", *windows, "--json").stdout)
    assert plain["choice"] is None
    assert re.search(r"(up and down|down and up) collide", plain["not_chosen_because"])


def test_what_another_owner_has_at_hand_is_not_taken_over() -> None:
    """His drawer and his assortment stay his; the series stays."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    text = text.replace(
        "[[input]]", '[parts]\nseries = "E24"\nat_hand = true # his\ndrawer = "his.toml"\n\n[[input]]', 1
    )
    taken = loads(adopted(text, "pp-new1").text)
    assert (taken.parts.series, taken.parts.at_hand, taken.parts.drawer) == ("E24", False, "")
