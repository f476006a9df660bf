"""What a proof says of itself: what it rests on and in which order, its margins, windows as the file has them."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.cli.show import headline, truck_words
from pinproof.design import Truck, load, loads
from pinproof.proof import TruckProof, margin_percent, prove, resting_words
from pinproof.proof.budgets import Level, Parameter, parameters_of, strain
from pinproof.proof.doubts import Share, doubt_of, shares_of
from pinproof.proof.judging import Judged
from pinproof.proof.outlook import Outlook, Tried
from pinproof.proof.prove import states_of
from pinproof.proof.results import DriftBudget, Finding, LineProof, RestsOn, SituationProof
from pinproof.proof.situations import Requirement, Situation
from pinproof.verdict import Verdict
from pinproof.verdict.doubt import USUAL_ERROR
from pinproof.wiring import line_view

EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "pinproof" / "examples"
NAMES = ("sandpiper", "heron", "wagtail")


def truck_of(name: str, *changes: tuple[str, str]) -> Truck:
    """An invented example with some of its text replaced."""
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return loads(text, f"{name}.toml")


def proof_of(name: str, *changes: tuple[str, str]) -> TruckProof:
    """Its proof, without the sampled yield."""
    return prove(truck_of(name, *changes), samples=0)


LOOSE_SPREAD = (
    ('tempco = { value = "100 ppm/K", basis = "published" }', 'tempco = "100 ppm/K"'),
    ('ageing = { value = "1 %", basis = "published" }', 'ageing = "1 %"'),
)


# what it rests on


@pytest.mark.parametrize("name", NAMES)
def test_a_default_stands_once_with_its_own_line(name: str) -> None:
    """And says how many parts use it: counted here from the text of the file."""
    truck = load(EXAMPLES / f"{name}.toml")
    proof = prove(truck, samples=0)
    lines = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8").splitlines()
    numbers = [each.number for each in proof.rests_on]
    assert len(numbers) == len(set(numbers))
    shared = [each for each in proof.rests_on if each.default.startswith("defaults.")]
    assert shared
    for each in shared:
        key = each.default.removeprefix("defaults.")
        assert each.line is not None
        assert re.match(rf"{key}\s*=", lines[each.line - 1])
        if key in ("closed", "open"):
            own = sum(bool(re.match(rf"{key}\s*=", line)) for line in lines) - 1
            assert len(each.parts) == len(truck.contacts) - own
            assert each.parameter in each.parts


def test_a_default_that_two_lines_share_stands_once() -> None:
    """The truck's list joins the lists of its lines."""
    a = RestsOn("contact.a.closed", "assumed", "1 ohm", 5, 2.0, "", "defaults.closed", ("contact.a.closed",))
    b = RestsOn("contact.b.closed", "assumed", "1 ohm", 5, 1.0, "", "defaults.closed", ("contact.b.closed",))
    proof = proof_of("sandpiper")
    line = proof.lines[0].__class__(**{**proof.lines[0].__dict__, "rests_on": (a,)})
    other = proof.lines[0].__class__(**{**proof.lines[0].__dict__, "rests_on": (b,)})
    both = proof.__class__(**{**proof.__dict__, "lines": (line, other)})
    assert both.rests_on == (b,)


def test_the_doubt_of_a_coding_resistor_is_that_of_its_spread() -> None:
    """1 % published, 1 % ageing assumed, 100 ppm/K assumed over 60 K, by hand. Its ohms are chosen, not in doubt."""
    truck = truck_of("sandpiper", *LOOSE_SPREAD)
    view = line_view(truck, "taps")
    branch = next(each for each in view.branches if each.id == "contact.lever_down.resistor")
    by_hand = 0.01 * 0.05 + 0.01 * 0.50 + (100e-6 * 60.0) * 0.50 + (100e-6 * 60.0) * 0.50  # tempco, temperature range
    assert doubt_of(truck, branch) == pytest.approx(by_hand, rel=1e-12)
    pull = next(each for each in view.branches if each.kind == "pull")
    assert doubt_of(truck, pull) == USUAL_ERROR["measured"]


def test_borrowed_ohms_are_in_doubt_themselves() -> None:
    """A sealed switch of another truck: what is printed on its resistor nobody has read."""
    truck = truck_of("sandpiper", ('resistor = "1.3k"', 'resistor = { value = "1.3k", basis = "borrowed" }'))
    entry = truck.contact("lever_down").resistor
    assert entry is not None
    assert max(shares_of(truck, entry), key=lambda each: each.doubt).name == "ohms"
    first = prove(truck, samples=0).rests_on[0]
    assert first.parameter in ("contact.lever_down.resistor", "contact.wheel_down.resistor")
    assert first.basis == "borrowed"


def test_what_measuring_cannot_improve_is_not_measured_first() -> None:
    """Chosen resistors with a published tolerance rank below every supply, leak and contact that nobody measured."""
    proof = proof_of("sandpiper", *LOOSE_SPREAD)
    spread = [i for i, each in enumerate(proof.rests_on) if each.default in ("defaults.ageing", "defaults.tempco")]
    unmeasured = [
        i for i, each in enumerate(proof.rests_on)
        if each.parameter.endswith((".closed", ".open", ".leak_to_ground", ".leak_to_supply", ".error"))
    ]  # fmt: skip
    assert spread
    assert unmeasured
    assert max(unmeasured) < min(spread)
    assert "defaults.tolerance" not in [each.number for each in proof.rests_on]  # published
    assert not [each for each in proof.rests_on if each.number.endswith(".resistor")]


@pytest.mark.parametrize("name", NAMES)
def test_the_order_is_by_strain_and_then_by_basis(name: str) -> None:
    """Drift left ÷ what may be wrong, least first; where two tie the number that is less sure comes first."""
    proof = proof_of(name)
    order = ("assumed", "borrowed", "published", "measured")
    keys = [(each.strain, order.index(each.basis)) for each in proof.rests_on]
    assert keys == sorted(keys)
    assert {each.basis for each in proof.rests_on} <= {"assumed", "borrowed"}
    for row in proof.situations:
        mine = [(each.strain, order.index(each.basis)) for each in row.budgets]
        assert mine == sorted(mine)


def test_a_tie_is_settled_by_the_basis() -> None:
    """The number that is less sure comes first, of budgets as of numbers that a verdict rests on."""
    order = ["assumed", "borrowed", "published", "measured"]
    tied = [DriftBudget("x", "up", 1.0, 2.0, None, "", "ohm", basis, 1.5) for basis in reversed(order)]
    assert [each.basis for each in sorted(tied, key=lambda each: each.urgency)] == order
    leaned = [RestsOn("x", basis, "", None, 1.5, "") for basis in reversed(order)]
    assert [each.basis for each in sorted(leaned, key=lambda each: each.urgency)] == order
    sooner = dataclasses.replace(tied[0], strain=1.0)
    assert min([*tied, sooner], key=lambda each: each.urgency) == sooner


def test_strain_is_drift_over_doubt() -> None:
    """A factor for ohms: ln(1.5 / 1.2) over 20 %. Nothing in doubt never comes first."""
    assert strain("ohm", 1200.0, 1500.0, 0.20) == pytest.approx(math.log(1.25) / 0.2, rel=1e-8)
    assert strain("ohm", 1200.0, 1500.0, 0.0) == math.inf


def test_the_reading_error_is_leaned_on_too() -> None:
    """Widening the stated error to the number that is told takes the margin to nothing; one more and it is lost."""
    proof = proof_of("sandpiper")
    found = next(each for each in proof.rests_on if each.parameter == "input.tap_pin.error")
    limit = float(re.search(r"At ([\d.]+) % of full scale", found.what)[1])  # type: ignore[index]
    assert found.text == "0.5 %"
    assert proof_of("sandpiper", ('error = "0.5 %"', f'error = "{limit - 0.06:.3f} %"')).verdict is Verdict.PASS
    assert proof_of("sandpiper", ('error = "0.5 %"', f'error = "{limit + 0.06:.3f} %"')).verdict is not Verdict.PASS


def test_every_parameter_has_a_doubt() -> None:
    """Sizes are shares: from nothing to a half."""
    view = line_view(truck_of("wagtail"), "buttons")
    for state in states_of(view):
        for situation in state.situations:
            for each in parameters_of(view, state, situation.key):
                assert 0.0 <= each.doubt <= 0.5 + 1e-12


# words


@pytest.mark.parametrize(
    ("margin", "told"),
    [(0.0669, "6.6 %"), (-6.021, "-602.1 %"), (-0.00001, "-0.1 %"), (0.0, "0.0 %"), (0.3, "30.0 %"), (1.0, "100.0 %"),
     (-0.3, "-30.0 %"), (math.nan, "none"), (-math.inf, "none"), (math.inf, "no edge in reach")],
)  # fmt: skip
def test_a_margin_is_told_in_percent_and_never_looks_better(margin: float, told: str) -> None:
    """One decimal, cut towards the worse; -0.0 is no number."""
    assert margin_percent(margin) == told


@pytest.mark.parametrize("name", NAMES)
def test_one_unit_and_one_number_of_decimals_in_a_table(name: str) -> None:
    """Every number of the table of situations has one decimal and stands in percent."""
    said = truck_words(proof_of(name), every=True)
    rows = [line for line in said.splitlines() if re.match(r"  (run|crank|after_run) ", line)]
    assert rows
    for row in rows:
        numbers = re.findall(r"-?\d+(?:\.\d+)?(?= %| to )", row)
        assert numbers
        assert all(re.fullmatch(r"-?\d+\.\d", each) for each in numbers), row
    assert "-0.0" not in said
    assert not re.search(r"margin of -?\d", said)


def test_the_window_is_told_as_the_file_has_it() -> None:
    """41 to 52 % in the file; what the reading error takes off is said beside it, once."""
    said = " ".join(truck_words(proof_of("sandpiper")).split())
    assert "down is 41.0 to 52.0 %, and the reading must stay inside it by 0.5 % for the reading error" in said
    assert said.count("for the reading error") == 1
    none = " ".join(truck_words(proof_of("sandpiper", ('error = "0.5 %"', 'error = "0 %"'))).split())
    assert "down is 41.0 to 52.0 %;" in none
    unsure = ('low = "41 %"', 'low = "41 %"\nuncertainty = "0.2 %"')
    said = " ".join(truck_words(proof_of("sandpiper", unsure)).split())
    assert "inside it by 0.7 % for the reading error and the edge's uncertainty" in said


def test_what_gives_way_first_begins_with_what_does_not_hold() -> None:
    """Heron fails; its failing situations head the list."""
    proof = proof_of("heron")
    bad = {row.operated for row in proof.situations if row.verdict is Verdict.FAIL}
    assert bad
    said = truck_words(proof).split("What gives way first:")[1].split("Beside the windows")[0]
    first = said.index("may go")
    for operated in bad:
        assert 0 <= said.index(f"- {' + '.join(operated)}: does not hold") < first


def test_proven_says_what_it_rests_on() -> None:
    """The count is that of the list."""
    proof = proof_of("sandpiper")
    count = len(proof.rests_on)
    assert headline(proof) == f"PROVEN, resting on {count} assumed numbers"
    bare = proof.__class__(**{**proof.__dict__, "lines": tuple(
        line.__class__(**{**line.__dict__, "rests_on": ()}) for line in proof.lines
    )})  # fmt: skip
    assert headline(bare) == "PROVEN"
    assert "12 assumed and 1 borrowed numbers" in headline(proof_of("wagtail"))
    one = RestsOn("x", "borrowed", "", None, 1.0, "")
    assert resting_words((one,)) == "1 borrowed number"


# a pull that nobody measured


def _new(folder: Path, listed: str) -> tuple[Path, dict[str, object]]:
    file = folder / "t.toml"
    run = CliRunner().invoke(
        group, ["new", str(file), "--switched", "chassis", "--controls", "lever", "--list", listed, "--json"]
    )
    assert run.exit_code == 0, run.output
    return file, json.loads(run.stdout)


@pytest.mark.parametrize("listed", ["up 2.2k, down 470 ohm", "up 20 to 30 %, down 60 to 70 %"])
def test_prove_and_new_say_the_same_of_an_unknown_pull(tmp_path: Path, listed: str) -> None:
    """One result, one wording."""
    file, said = _new(tmp_path, listed)
    proof = prove(load(file), samples=0)
    told = [each for line in proof.lines for each in line.findings if each.check == "unknown-pull"]
    outlook = said["outlook"]
    assert isinstance(outlook, list)
    assert [each["text"] for each in outlook] == [each.text.split(": ", 1)[-1] for each in told]
    assert all(each.verdict is Verdict.NOT_SHOWN for each in told)
    for each, finding in zip(outlook, told, strict=True):
        assert finding.numbers["single_hold"] == len(each["single_ohm"])
        assert finding.numbers["all_hold"] == len(each["holding_ohm"])


def test_the_distance_to_a_target_in_words(tmp_path: Path) -> None:
    """On target, or percent with a sign; no minus nothing, and the meaning wants its ohms."""
    file, _ = _new(tmp_path, "up 2.21k, down 475 ohm")
    told = [
        each.text
        for line in prove(load(file), samples=0).lines
        for each in line.findings
        if each.check == "target-distance"
    ]
    assert told
    assert all("wants" in each and "are" not in each.split() for each in told)
    assert any("on target" in each for each in told)
    text = file.read_text(encoding="utf-8").replace("2k21", "2k32")
    far = [each.text for line in prove(loads(text), samples=0).lines for each in line.findings]
    assert any("+5.0 % off" in each for each in far)


@pytest.mark.parametrize(
    "kind",
    [DriftBudget, Finding, Judged, Level, LineProof, Outlook, Parameter, Requirement, RestsOn, Share, Situation,
     SituationProof, Tried, TruckProof],
)  # fmt: skip
def test_a_result_cannot_be_changed(kind: type) -> None:
    """What was proven stays as it was proven: faces hand one result on to each other."""
    one = object.__new__(kind)
    for each in dataclasses.fields(kind):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(one, each.name, None)
