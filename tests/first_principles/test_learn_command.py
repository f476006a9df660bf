"""`pinproof learn` as a user meets it: guided, one reading at a time, written; refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof.cli import group
from pinproof.design import load
from pinproof.examples import example_path
from pinproof.learn import load_session

EDGES = [0.12, 0.28, 0.45, 0.62]
MEANINGS = ["up", "invalid", "down", "invalid", "automatic"]
PULL = 1066.0
VOLTS = ["open volts=4.98 supply=12.6 ac=0.01", "load=1k volts=2.41", "load=470 volts=1.53"]


def run(*args: object, say: str | None = None) -> Result:
    """One command, in this process."""
    return CliRunner().invoke(group, ["learn", *map(str, args)], input=say)


@pytest.fixture
def design(tmp_path: Path) -> Path:
    path = tmp_path / "truck.toml"
    path.write_text(example_path("wagtail").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def session_file(design: Path) -> Path:
    return design.with_name("truck.learn.button_pin.json")


def adds(*readings: str) -> list[str]:
    return [word for reading in readings for word in ("--add", reading)]


def shown(ohm: float | None) -> str:
    reading = 0.996 if ohm is None else 0.996 * ohm / (ohm + PULL)
    return MEANINGS[sum(reading > each for each in EDGES)]


def play(design: Path, most: int = 60) -> dict[str, object]:
    """Answer every step that is asked for, through --json and --add alone."""
    run(design, *adds(*VOLTS), "--told", "date=2026-03-01", "--json")
    return play_edges(design, most)


def play_edges(design: Path, most: int = 60) -> dict[str, object]:
    """The same for the meanings only."""
    plain = json.loads(run(design, "--json").stdout)
    for _ in range(most):
        step = plain["next"]
        if step is None or step["optional"]:
            break
        stock = load_session(session_file(design))[0].search.stock
        names = [f"{stock[i].ohm:g}" for i in step["parts"]]
        ohm = None if step["ohm"] == "inf" else step["ohm"]
        name = {"open": "open", "short": "short"}.get(
            step["join"], ("+" if step["join"] == "series" else "//").join(names)
        )
        plain = json.loads(run(design, *adds(f"load={name} means={shown(ohm)}"), "--json").stdout)
    return plain


def test_a_whole_pin_is_learned_and_written(design: Path) -> None:
    plain = play(design)
    assert [(e["below"], e["above"]) for e in plain["edges"]] == [  # type: ignore[attr-defined,union-attr]
        ("up", "invalid"), ("invalid", "down"), ("down", "invalid"), ("invalid", "automatic")
    ]  # fmt: skip
    for edge, at in zip(plain["edges"], EDGES, strict=True):  # type: ignore[call-overload,arg-type]
        low, high = edge["falling"]["low_ohm"], edge["falling"]["high_ohm"]
        assert low <= PULL * at / 0.996 / (1.0 - at / 0.996) <= high
    before = design.read_text(encoding="utf-8")
    result = run(design, "--accept", "30 %", "--write")
    assert result.exit_code == 0, result.output
    assert "The change:" in result.output and "+pull_up" in result.output
    truck = load(design)
    assert truck.inputs[0].pull_up.basis == "measured"  # type: ignore[union-attr]
    assert {w.meaning for w in truck.lines[0].windows} == {"up", "down", "automatic"}
    assert all("2026-03-01" in w.note and "12.6 V" in w.note for w in truck.lines[0].windows)
    assert design.with_name("truck.toml.bak").read_text(encoding="utf-8") == before
    assert run(design, "--json").exit_code == 0


def test_unseen_stretches_end_with_1_and_are_named(design: Path) -> None:
    play(design)
    result = run(design, "--csv")
    assert result.exit_code == 1
    assert result.output.startswith("kind,load_ohm,volts_v")
    assert "Not looked at" in run(design, "--accept", "2 %").output


def test_guided_says_the_cautions_and_shows_each_sum(design: Path) -> None:
    result = run(design, say="4.98\n2.41\n1.53\nac=0.01\nautomatic\nback\nautomatic\nup\n?\nstop\nn\n")
    assert result.exit_code == 1, result.output
    for said in ("Wheels chocked", "load dump", "1 A or less", "supply output", "static"):
        assert " ".join(said.split()) in " ".join(result.output.split())
    assert "The sum: 1 kΩ × (4.98 V − 2.41 V) ÷ 2.41 V" in result.output
    assert result.output.index("nothing on the pin") < result.output.index(
        "from the pin to the controller's own ground, key"
    )
    session, _ = load_session(session_file(design))
    assert len(session.readings) == 3 and [v.meaning for v in session.search.visits] == ["automatic", "up"]
    again = run(design, say="stop\n")
    assert "volts 3, meanings 2." in again.output, "taken up where it was left"


def test_guided_without_any_volts_still_learns_edges(design: Path) -> None:
    result = run(design, say="?\nautomatic\nup\nstop\n")
    assert "spaced as for 1 kΩ" in result.output
    assert len(load_session(session_file(design))[0].search.visits) == 2


def test_a_slipped_digit_is_asked_back(design: Path) -> None:
    result = run(design, say="4.98\n24.1\nn\n2.41\nstop\n")
    assert "above the 4.98 V of the open pin" in result.output
    assert [each.volts_v for each in load_session(session_file(design))[0].readings] == [4.98, 2.41]


def test_a_clamp_and_a_strobe_are_not_written(design: Path) -> None:
    run(design, *adds("open volts=4.00", "load=10k volts=4.00", "load=1k volts=2.41", "load=300 volts=1.09"))
    result = run(design, "--write")
    assert "clamp" in result.output and "Nothing to write" in result.output
    session_file(design).unlink()
    result = run(design, *adds("open volts=2.50 ac=0.9", "load=1k volts=1.21"), "--write")
    assert "strobed" in result.output and "Nothing to write" in result.output


def test_a_measured_resistor_and_the_potentiometer(design: Path) -> None:
    run(design, *adds("open means=automatic", "load=220 means=up"))
    result = run(design, *adds("part=220 ohms=2.21k"))
    assert "off its printed value" in result.output
    session_file(design).unlink()
    run(design, "--pot", *adds("open means=automatic"))
    result = run(design, *adds("pot=1.712k means=invalid", "pot=1.735k means=automatic"))
    assert "invalid | automatic" in result.output, result.output
    assert run(design, *adds("pot=1.7k means=automatic from=below")).exit_code == 2


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        ("load=1k", "says nothing of what was seen"),
        ("volts=3", "names no load"),
        ("load=1k volts=two", "two"),
        ("load=1k+2k+3k means=up", "one resistor or two"),
        ("lod=1k volts=2", 'There is no "lod"'),
        ("load=1k means=up from=left", "from=above"),
        ("part=123 ohms=5", "not in the stock"),
        ("short volts=0", "Volts with the pin shorted"),
        ("x" * 400, "400 characters"),
    ],
)
def test_a_reading_that_cannot_be_read_says_why(design: Path, reading: str, said: str) -> None:
    result = run(design, "--add", reading)
    text = f"{result.output}{result.exception}"
    assert said in text
    assert not isinstance(result.exception, AssertionError | KeyError | TypeError | IndexError)
    assert not session_file(design).exists() or load_session(session_file(design))[0].readings == ()


def test_a_foreign_or_damaged_session_is_refused(design: Path) -> None:
    run(design, *adds(*VOLTS))
    other = design.with_name("other.toml")
    other.write_text(example_path("heron").read_text(encoding="utf-8"), encoding="utf-8")
    result = run(other, "--take", session_file(design), "--json")
    assert result.exit_code == 2 and "another design" in result.output
    session_file(design).write_text("{}", encoding="utf-8")
    result = run(design, "--json")
    assert "session" in str(result.exception)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e400", "1e308"])
def test_a_session_with_no_number_is_refused(design: Path, number: str) -> None:
    """Found by mutating session files at random: such a number came through as far as the output."""
    run(design, *adds(*VOLTS))
    text = session_file(design).read_text(encoding="utf-8")
    session_file(design).write_text(text.replace("4.98", number, 1), encoding="utf-8")
    result = run(design, "--json")
    assert result.exit_code != 0 and "damaged" in str(result.exception), result.output


def test_what_is_missing_is_named_and_only_the_source_is_written(design: Path) -> None:
    run(design, *adds(*VOLTS, "open means=automatic", "short means=up", "load=1k means=up"))
    result = run(design, "--write")
    assert "not surely known yet: up, down" in result.output
    truck = load(design)
    assert truck.inputs[0].pull_up.basis == "measured" and truck.lines[0].targets  # type: ignore[union-attr]


def test_volts_that_were_not_known_are_asked_once_more(design: Path) -> None:
    """The first reading is put off: edges first, then the volts again; read then, the rest of them is asked too."""
    first = run(design, say="?\nstop\n").stdout
    assert "After the edges the volts are asked for once more" in " ".join(first.split())
    session, _ = load_session(session_file(design))
    assert session.told["volts"] == "skipped" and not session.readings
    plain = play_edges(design)
    assert plain["next"] is None or plain["next"]["optional"]  # type: ignore[index]
    again = run(design, say="4.98\nstop\n").stdout
    assert "  volts > " in again, "asked once more when the edges are known"
    session, _ = load_session(session_file(design))
    assert [each.volts_v for each in session.readings] == [4.98] and "volts" not in session.told
    assert "  volts > " in run(design, say="stop\n").stdout, "and the next load's volts as well"


def test_volts_are_given_later_by_name(design: Path) -> None:
    """By the word at any question, by --add, and in a session begun anew; left out twice they stay out of the way."""
    said = run(design, say="?\nvolts\n4.98\nstop\n").stdout
    assert said.count("  volts > ") >= 3, "the word brings the question back, and its answer the next load"
    assert load_session(session_file(design))[0].readings[0].volts_v == 4.98
    session_file(design).unlink()
    run(design, say="?\nstop\n")
    named = run(design, *adds(*VOLTS), "--json")
    plain = json.loads(named.stdout)
    assert plain["source"] is not None and "volts" not in plain["told"]
    session_file(design).unlink()
    run(design, say="?\nstop\n")
    play_edges(design)
    twice = run(design, say="?\nstop\nn\n").stdout
    assert "--add" in twice and load_session(session_file(design))[0].told["volts"] == "left out"
    assert "  volts > " in run(design, say="stop\nn\n").stdout, "another day they are asked for again"
