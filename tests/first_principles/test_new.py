"""`pinproof new`: whatever is answered, what is written loads, and something useful comes next."""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinproof.chain.actions import next_actions
from pinproof.chain.interview import QUESTIONS, AnswerFault, Question, is_dont_know, question, read_list, understand
from pinproof.chain.sheet import checked, sheet_of
from pinproof.chain.values import fit_to_list
from pinproof.cli import group
from pinproof.design import UNKNOWN, Truck, load, loads
from pinproof.design.starter import FORMS, INPUT_ID, LINE_ID, design_text, starter_sheet
from pinproof.proof import prove
from pinproof.proof.unknown import coder_ohms
from pinproof.wiring import line_view

DONT_KNOW = ("", "?", "  ", "Don't know", "don’t know", "DK", "no idea")
GOOD: dict[str, tuple[str, ...]] = {
    "name": ("Curlew", 'quote " and \\ slash', "Ω µ"),
    "switched": ("1", "2", "3", "4", "ground", "5v"),
    "controls": ("1", "1,2", "1,2,3", "2,3", "3", "slot, wheel"),
    "taps-fed": ("1", "2"),
    "list": (
        "up 2.88k, down 1.27k, manual 8.25k", "up 2,88k; down 1,27k", "up 1 V, down 2 V",
        "up 20 %, down 40 %, manual 60 %",
        "up 2.7k to 3.05k, down 1.1k to 1.4k with 1k", "+ 300 ohm, - 900 ohm, auto open", "left 1k, right 2k",
        "up 3 V, down 7 V", "up 10 % to 20 %, down 30 % to 40 %", "manual 1k", "up 1k, down 1k", "up open, down 2k",
    ),
    "list-is": ("1", "2"),
    "whose": ("1", "2", "3", "4"),
    "pull": ("1k", "1 kohm 5 % measured", "4k7 published"),
    "compares": ("1", "2"),
    "supply": ("9 to 16 V", "10.5-15.2 measured", "11 V to 13 V"),
    "temperature": ("-10 to 60 °C", "14 to 140 °F", "0 to 40 C"),
    "parts": ("E24 1 %", "E12", "5%"),
}  # fmt: skip


def answers_of(**given_texts: str) -> dict[str, Any]:
    """Answers as the interview would hold them; what is not given is "don't know"."""
    return {each.key: understand(each, given_texts.get(each.key.replace("-", "_"), "")) for each in QUESTIONS}


def run(folder: Path, *arguments: str, typed: str | None = None) -> Result:
    """One call of the program; what is no deliberate end counts as a traceback."""
    result = CliRunner().invoke(group, [*arguments[:1], str(folder / arguments[1]), *arguments[2:]], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result


def test_twelve_questions_at_most_and_each_has_its_option() -> None:
    """No path through the interview asks more than twelve; every question can be answered by an option."""
    from pinproof.cli.cmd_new import ANSWER_OPTIONS

    assert len(QUESTIONS) <= 12
    assert [key for key, _ in ANSWER_OPTIONS] == [each.key for each in QUESTIONS]
    assert set(GOOD) == {each.key for each in QUESTIONS}


@pytest.mark.parametrize("word", DONT_KNOW)
@pytest.mark.parametrize("each", QUESTIONS, ids=lambda each: each.key)
def test_dont_know_is_always_an_answer(each: Question, word: str) -> None:
    """Every question takes every way of saying it."""
    assert is_dont_know(word)
    assert understand(each, word) is None


def test_dont_know_throughout_gives_a_valid_file_and_a_useful_next(tmp_path: Path) -> None:
    """The builder who knows nothing at all still gets a file, and the measurement that decides most."""
    result = run(tmp_path, "new", "truck.toml", typed="?\n" * 12)
    assert result.exit_code == 0, result.output
    truck = load(tmp_path / "truck.toml")
    assert truck.warnings == ()
    assert truck.inputs[0].pull_up is UNKNOWN
    assert truck.inputs[0].pull_down is UNKNOWN
    assert "which way the pin of tap_pin is pulled" in " ".join(result.output.split())
    assert "Near 0 V: go on with" in " ".join((tmp_path / "truck.toml").read_text(encoding="utf-8").split())
    following = run(tmp_path, "next", "truck.toml", "--json")
    assert following.exit_code == 1
    actions = json.loads(following.output)["actions"]
    assert [each["order_today"] for each in actions] == [True, False, False]
    assert actions[1]["parameters"] == [f"input.{INPUT_ID}.pull_up", f"input.{INPUT_ID}.pull_down"]
    assert all(each["minutes"] > 0 and each["why"] for each in actions)


def test_every_assumed_number_says_how_to_find_it(tmp_path: Path) -> None:
    """A line with an assumed number has a comment beside or above it."""
    run(tmp_path, "new", "truck.toml", "--no-questions")
    lines = (tmp_path / "truck.toml").read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if 'basis = "assumed" }' in line and "#" not in line:
            above = [each for each in lines[max(0, number - 4) : number] if each.startswith("#")]
            assert any("find" in each for each in above), line


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    """Refused before a single question is asked; the file stays as it was."""
    path = tmp_path / "truck.toml"
    path.write_text("mine", encoding="utf-8")
    for extra in ((), ("--no-questions",), ("--starter", "ladder"), ("--list", "up 1k, down 2k")):
        result = run(tmp_path, "new", "truck.toml", *extra, typed="?\n" * 12)
        assert result.exit_code == 2
        assert "nothing was written" in result.output
        assert "1. What" not in result.output
    assert path.read_text(encoding="utf-8") == "mine"
    assert [each.name for each in tmp_path.iterdir()] == ["truck.toml"]


def test_stopping_half_way_writes_nothing(tmp_path: Path) -> None:
    """End of input in the middle of the questions leaves no file behind."""
    result = run(tmp_path, "new", "truck.toml", typed="Curlew\n1\n")
    assert result.exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_a_bad_answer_is_asked_again_with_what_would_be_right(tmp_path: Path) -> None:
    """The question comes once more; the answers before it are kept."""
    typed = "Curlew\n2\n?\n?\nup 2880, down 1270\nup 2.88k, down 1.27k\n?\n?\nnine to ten\n?\n?\n?\n"
    result = run(tmp_path, "new", "truck.toml", typed=typed)
    assert result.exit_code == 0, result.output
    assert '2880 of what? Write "2880 ohm"' in result.output
    assert result.output.count("What does the pin want") == 2
    assert result.output.count("Lowest and highest supply") == 2
    assert load(tmp_path / "truck.toml").name == "Curlew"


def test_the_resistor_beside_another_is_the_parallel_remainder(tmp_path: Path) -> None:
    """A list of totals: 1.27 kΩ beside 8.25 kΩ takes 1.50 kΩ. Checked here by hand: 1/(1/1270 − 1/8250) = 1501 Ω."""
    answers = answers_of(switched="fuse", controls="1,2,3", list="up 2.88k, down 1.27k, manual 8.25k")
    truck = checked(sheet_of(answers, "pp-1"), "list")
    found = {each.contact: each for each in fit_to_list(truck, truck.lines[0], "E96")}
    by_hand = {"up": 1 / (1 / 2880 - 1 / 8250), "down": 1 / (1 / 1270 - 1 / 8250)}
    assert found["lever_manual"].ohm == 8250.0
    for contact, meaning in (("lever_up", "up"), ("wheel_up", "up"), ("lever_down", "down"), ("wheel_down", "down")):
        assert found[contact].ohm == pytest.approx(by_hand[meaning], rel=0.012)  # half a step of E96
    assert found["lever_down"].ohm == 1500.0
    assert found["lever_down"].shows_ohm == pytest.approx(1 / (1 / 1500 + 1 / 8250), rel=1e-3)  # 0.7 Ω of wire


def test_a_known_pull_does_not_change_what_gives_the_list() -> None:
    """The ohms of a list are read with the controller unplugged, so the pull is not in them."""
    texts = {"switched": "ground", "controls": "1,2", "list": "up 2.88k, down 1.27k, manual 8.25k"}
    without = checked(sheet_of(answers_of(**texts), "pp-1"), "list")
    known = checked(sheet_of(answers_of(**texts, pull="1k"), "pp-1"), "list")
    assert fit_to_list(known, known.lines[0]) == fit_to_list(without, without.lines[0])


def test_what_is_not_known_is_taken_at_its_worse() -> None:
    """Taps that are fed nobody knows how count as alive in automatic; a form nobody knows leaves both pulls unknown."""
    truck = checked(sheet_of(answers_of(controls="1,2,3"), "pp-1"), "list")
    assert truck.lines[0].taps_fed == "directly"
    assert (truck.inputs[0].pull_up, truck.inputs[0].pull_down) == (UNKNOWN, UNKNOWN)
    fused = checked(sheet_of(answers_of(switched="fuse"), "pp-1"), "list")
    assert fused.inputs[0].compares == "unknown"
    assert (fused.supply.run.low, fused.supply.run.high) == (9.0, 16.0)


def test_parts_of_a_list_become_totals() -> None:
    """The other way round: parts 8.25 k and 1.5 k are 1269 Ω together, and that is what the pin wants."""
    answers = answers_of(switched="fuse", controls="1,2", list="up 4.42k, down 1.5k, manual 8.25k", list_is="parts")
    truck = checked(sheet_of(answers, "pp-1"), "list")
    wanted = {each.meaning: each.reading for each in truck.lines[0].targets if each.kind == "ohm"}
    assert wanted["down"] == pytest.approx(1 / (1 / 1500 + 1 / 8250), rel=1e-3)
    assert wanted["up"] == pytest.approx(1 / (1 / 4420 + 1 / 8250), rel=1e-3)
    assert wanted["manual"] == pytest.approx(8250.0, rel=1e-3)
    assert truck.contact("lever_down").resistor.ohm == 1500.0  # type: ignore[union-attr]


def test_a_total_that_cannot_be_is_said_and_left_to_choose(tmp_path: Path) -> None:
    """Beside 8.25 kΩ nothing gives 9 kΩ."""
    result = run(tmp_path, "new", "t.toml", "--switched", "ground", "--list", "up 9k, down 1.27k, manual 8.25k")
    assert result.exit_code == 0, result.output
    assert "lever_up: none" in result.output
    assert load(tmp_path / "t.toml").contact("lever_up").resistor.ohm is None  # type: ignore[union-attr]


def test_fitted_values_show_the_list_in_the_proofs_own_circuit() -> None:
    """`coder_ohms`, which the proof uses, agrees with what the fit says the wire shows."""
    answers = answers_of(switched="chassis", controls="1,2,3", list="up 500 ohm, down 1.4k, manual 3.3k")
    sheet = sheet_of(answers, "pp-1")
    truck = checked(sheet, "list")
    found = fit_to_list(truck, truck.lines[0], "E192")
    values = {each.contact: f"{each.ohm} ohm" for each in found}
    filled = checked(dataclasses.replace(sheet, resistors=values), "list")
    view = line_view(filled, LINE_ID)
    for each in found:
        _, nominal_ohm, _ = coder_ohms(view, filled.contact(each.contact).command_set)
        assert nominal_ohm == pytest.approx(each.shows_ohm, rel=1e-12)
        assert abs(each.off) < 0.007  # half a step of E192


@pytest.mark.parametrize("form", FORMS)
def test_starter_files_load_and_lead_on(form: str, tmp_path: Path) -> None:
    """One commented file per form; nothing known, nothing faulty, something to do."""
    result = run(tmp_path, "new", "s.toml", "--starter", form, "--name", "Plover")
    assert result.exit_code == 0, result.output
    truck = load(tmp_path / "s.toml")
    assert (truck.lines[0].form, truck.name, truck.warnings) == (form, "Plover", ())
    actions = next_actions(truck, prove(truck, samples=0))
    assert len(actions) == 3
    assert any("Read the volts" in step for each in actions for step in each.steps)


def test_a_starter_takes_no_answers(tmp_path: Path) -> None:
    """What would be silently dropped is refused."""
    result = run(tmp_path, "new", "s.toml", "--starter", "ladder", "--list", "up 1k, down 2k")
    assert result.exit_code == 2
    assert not (tmp_path / "s.toml").exists()


@pytest.mark.parametrize("form", FORMS)
def test_starter_text_is_the_same_every_time(form: Any) -> None:
    """Text depends on the sheet alone."""
    assert design_text(starter_sheet(form, "pp-1")) == design_text(starter_sheet(form, "pp-1"))


def test_options_answer_without_questions(tmp_path: Path) -> None:
    """One option per question, results as JSON."""
    result = run(
        tmp_path, "new", "t.toml", "--switched", "ground", "--list", "up 1 V, down 2 V", "--whose", "published",
        "--pull", "1 kohm 2 % measured", "--supply", "10 to 15 V", "--temperature", "14 to 140 °F",
        "--parts", "E24 1 %", "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    truck = load(tmp_path / "t.toml")
    assert said["id"] == truck.id
    assert said["verdict"] == "would hold if"  # targets only: the windows are assumed
    assert said["choice"]["margin"] > 0.0
    assert (truck.temperature.low, truck.temperature.high) == pytest.approx((-10.0, 60.0))
    assert {each.basis for each in truck.lines[0].targets if each.meaning != "automatic"} == {"published"}
    for contact in truck.contacts:
        assert contact.resistor is not None
        assert contact.resistor.ohm == said["choice"]["values"][f"contact.{contact.id}.resistor"]


@pytest.mark.parametrize(
    ("option", "text", "said"),
    [
        ("--list", "up", "is not a command and its reading"),
        ("--list", "up 1k, down 2 V", "mixes"),
        ("--list", "up 1k, up 2k", "twice"),
        ("--list", "up 1k, down 1k", "same reading"),
        ("--list", "d 1k, up 2k", 'Is "d" down or drive'),
        ("--pull", "0 ohm", "more than 0"),
        ("--pull", "12 V", "a voltage"),
        ("--supply", "16 to 9 V", "larger one"),
        ("--switched", "9", "none of them"),
        ("--parts", "no.toml", "There is no file"),
        ("--temperature", "-400 to 20 °C", "temperature"),
        ("--list-is", "total", "does not go with"),
    ],
)
def test_a_bad_option_is_told_and_nothing_is_written(option: str, text: str, said: str, tmp_path: Path) -> None:
    """Exit 2, the option's name, what would be right."""
    result = run(tmp_path, "new", "t.toml", option, text)
    assert result.exit_code == 2
    assert option in result.output
    assert said in " ".join(result.output.split())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("switched", ["fuse", "chassis", "sensor ground", "5 V", ""])
@pytest.mark.parametrize("listed", ["", *GOOD["list"][:6]])
def test_every_form_with_every_kind_of_list_loads_and_is_proven(switched: str, listed: str) -> None:
    """The file loads without fault, and the proof of it ends in a verdict."""
    for controls, fed in itertools.product(("", "1,2,3"), ("", "1", "2")):
        answers = answers_of(switched=switched, list=listed, controls=controls, taps_fed=fed)
        truck = checked(sheet_of(answers, "pp-1"), "list")
        assert prove(truck, samples=0).verdict.exit_code == 1  # never proven from a list alone


def test_a_slot_without_a_code_feeds_the_taps_or_is_left_out() -> None:
    """No manual in the list: the slot's switch is on the wire only if the taps get their power through it."""
    listed = "up 1k, down 2k"
    through = checked(sheet_of(answers_of(list=listed, controls="1,2", taps_fed="1"), "pp-1"), "list")
    assert through.contact("lever_manual").resistor is None
    assert through.contact("lever_manual").asks == "automatic"
    direct = checked(sheet_of(answers_of(list=listed, controls="1,2", taps_fed="2"), "pp-1"), "list")
    assert [each.id for each in direct.contacts] == ["lever_up", "lever_down"]


TEXTS = st.one_of(
    st.text(max_size=40),
    st.sampled_from([text for texts in GOOD.values() for text in texts]),
    st.sampled_from(
        [
            "up 1e999k",
            "up -1k, down 2k",
            "up 0 ohm, down 1 ohm",
            "1 kohm ±",
            "9..16",
            "V to V",
            '"""',
            "\\u0000",
            "1,2,3,",
        ]
    ),
    st.from_regex(r"\A(up|down|manual|x) ?[=:]? ?[0-9.,]{1,6} ?(k|V|%|ohm|to|-)? ?[0-9]{0,3}(k|V|%)?\Z"),
)


@st.composite
def some_answers(draw: st.DrawFn) -> dict[str, str]:
    """One text per question: nonsense, good answers of this question or another, or "don't know"."""
    out = {}
    for each in QUESTIONS:
        out[each.key] = draw(st.one_of(st.sampled_from(("", *GOOD[each.key])), TEXTS))
    return out


@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(some_answers())
def test_any_answers_end_in_a_valid_file_or_in_a_question_asked_again(texts: dict[str, str]) -> None:
    """As the interview goes: an answer is kept only if the file with it loads. Nothing but `AnswerFault` comes out."""
    answers: dict[str, Any] = {}
    truck: Truck | None = None
    refused: list[tuple[str, str, str]] = []
    for each in QUESTIONS:
        if not each.needed(answers):
            continue
        for text in (texts[each.key], "?"):  # asked again, a tired builder gives up
            try:
                tried = {**answers, each.key: understand(each, text)}
                truck = checked(sheet_of(tried, "pp-1"), each.key)
            except AnswerFault as fault:
                refused.append((each.key, text, str(fault)))
                continue
            answers = tried
            break
    assert [one for one in refused if one[1] == "?" or not one[2]] == []
    assert truck is not None
    written = design_text(sheet_of(answers, "pp-1"))
    again = loads(written)
    assert len(again.lines) == 1
    if len(again.contacts) <= 5:
        assert next_actions(again, prove(again, samples=0))


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(st.lists(TEXTS.filter(lambda text: "\n" not in text and "\r" not in text), max_size=30))
def test_the_program_never_ends_in_a_traceback(tmp_path_factory: pytest.TempPathFactory, typed: list[str]) -> None:
    """Typed into the program itself: a file that loads, or no file and a deliberate end."""
    folder = tmp_path_factory.mktemp("new")
    result = run(folder, "new", "t.toml", typed="".join(f"{text}\n" for text in typed))
    assert result.exit_code in (0, 1, 2)
    if result.exit_code == 0:
        load(folder / "t.toml")
    else:
        assert not (folder / "t.toml").exists()


@settings(max_examples=300)
@given(
    st.one_of(
        st.text(max_size=60), st.from_regex(r"\A[a-z+-]{1,4} ?[0-9.,kVR% -]{1,12}(, [a-z]{1,4} [0-9.kV%]{1,6})?\Z")
    )
)
def test_reading_a_list_never_fails_but_deliberately(text: str) -> None:
    """Any text is a list or an `AnswerFault` that says what would be right."""
    with contextlib.suppress(AnswerFault):
        found = understand(question("list"), text)
        assert found is None or found.entries


def test_lists_as_people_write_them() -> None:
    """Signs, decimal commas, ranges, a pull at the end."""
    assert read_list("up=2,88k,down=1,27k").meanings == ("up", "down")
    assert [each.low for each in read_list("up=2,88k,down=1,27k").entries] == ["2,88k", "1,27k"]
    assert read_list("+ 2.1 V; - 0.8 V; auto 4.9V").meanings == ("up", "down", "automatic")
    assert read_list("up 2.7k to 3.05k, down 1.2-1.3k with pull-up of 1k").pull == "1k"
    assert read_list("up 2.7k to 3.05k").entries[0].high == "3050 ohm"
    assert read_list("idle open, up 35 %").kind == "ratio"
