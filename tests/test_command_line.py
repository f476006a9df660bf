"""The command line as a user meets it: exit codes, JSON, files written, refusals."""

from __future__ import annotations

import itertools
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof import __version__
from pinproof.cli import COMMANDS, group
from pinproof.examples import NAMES, example_path

VERDICTS = {"sandpiper": ("pass", 0), "heron": ("fail", 1), "wagtail": ("would hold if", 1), "dunlin": ("pass", 0)}


def run(*args: object) -> Result:
    """One command, in this process."""
    return CliRunner().invoke(group, [str(arg) for arg in args])


def copy_of(name: str, folder: Path) -> Path:
    """An example the test may change."""
    path = folder / f"{name}.toml"
    path.write_text(example_path(name).read_text(encoding="utf-8"), encoding="utf-8")
    return path


@pytest.mark.parametrize("name", NAMES)
def test_examples_end_as_they_are_meant_to(name: str) -> None:
    """One is proven, one fails, one rests on assumed windows; a new example says here how it ends."""
    verdict, code = VERDICTS.get(name, ("pass", 0))
    result = run("prove", example_path(name), "--json", "--no-cures", "--samples", 100)
    plain = json.loads(result.stdout)
    assert (plain["verdict"], result.exit_code) == (verdict, code)
    assert plain["situations"]
    for row in plain["situations"]:
        wanted = {"operated", "allowed", "meaning", "low", "high", "unit", "bound", "margin", "weakest", "verdict"}
        assert wanted <= row.keys()


@pytest.mark.parametrize("args", [["new", "truck.toml"], ["gears", "heron.toml", "--begin"]])
def test_a_question_without_an_answer_ends_with_2(tmp_path: Path, args: list[str]) -> None:
    """The end of the input is no answer: nothing is written, and the code is not that of a verdict."""
    copy_of("heron", tmp_path)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    result = CliRunner().invoke(group, [args[0], str(tmp_path / args[1]), *args[2:]], input="")
    assert result.exit_code == 2 and "Stopped before the end" in result.stderr and "Aborted" not in result.output
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before


def test_a_break_ends_every_command_with_2(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl+C in the middle of the sums, as at a question."""

    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("pinproof.cli.common.load", broken)
    for command in ("check", "prove", "next", "gears", "harness", "inhibit", "faults", "choose"):
        result = run(command, example_path("heron"))
        assert result.exit_code == 2 and "Stopped before the end" in result.stderr, command


def test_prove_writes_one_page_without_references_to_elsewhere(tmp_path: Path) -> None:
    """The report is one file that needs no network."""
    report = tmp_path / "new folder" / "proof.html"
    result = run("prove", example_path("wagtail"), "--report", report, "--samples", 100, "--no-cures")
    assert result.exit_code == 1
    page = report.read_text(encoding="utf-8")
    assert "<svg" in page
    assert "http-equiv" not in page
    assert not any(f'{attribute}="http' in page for attribute in ("src", "href"))
    assert [each.name for each in report.parent.iterdir()] == ["proof.html"]


def test_a_failing_line_is_told_how_to_be_cured() -> None:
    """The cure is named, and it was proven again."""
    plain = json.loads(run("prove", example_path("heron"), "--json", "--samples", 0).stdout)
    cures = plain["cures"]["shift"]
    assert cures[0]["verdict"] == "pass"
    assert "ground" in cures[0]["what"]


def test_choose_writes_values_and_keeps_comments(tmp_path: Path) -> None:
    """Only the values change; every comment stays; the old file is kept."""
    path = copy_of("wagtail", tmp_path)
    before = path.read_text(encoding="utf-8").splitlines()
    result = run("choose", path, "--series", "E24", "--write", "--json")
    plain = json.loads(result.stdout)
    assert plain["certificate"]["optimal"]
    assert plain["margin"] > 0.5
    after = path.read_text(encoding="utf-8").splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert 1 <= len(changed) <= 3
    assert all("resistor" in new for _, new in changed)
    assert any(each != path for each in tmp_path.iterdir())
    proof = json.loads(run("prove", path, "--json", "--samples", 0, "--no-cures").stdout)
    assert min(row["margin"] for row in proof["situations"] if row["margin"] != "inf") == pytest.approx(plain["margin"])


def test_a_bad_file_ends_with_two_and_names_the_lines(tmp_path: Path) -> None:
    """Nothing is calculated, nothing is written."""
    path = copy_of("heron", tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace('"270 ohm"', '"27O ohm"'), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pinproof", "prove", str(path), "--report", str(tmp_path / "r.html")],
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "contact.paddle_up.resistor" in done.stderr
    assert "letter O" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "r.html").exists()


def test_a_missing_file_is_a_sentence(tmp_path: Path) -> None:
    """No traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "pinproof", "check", str(tmp_path / "none.toml")],
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "none.toml" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_one_example(name: str) -> None:
    """`pinproof COMMAND --help` shows an example of its use."""
    result = run(name, "--help")
    assert result.exit_code == 0
    assert f"Example: pinproof {name}" in " ".join(result.output.split())


def test_version_and_mistyped_command() -> None:
    """The nearest command is named."""
    assert __version__ in run("--version").output
    result = run("prov")
    assert result.exit_code == 2
    assert 'Did you mean "prove"?' in result.output


def test_demo_copies_the_example_and_never_over_a_changed_one(tmp_path: Path) -> None:
    """What the user changed in the copy stays."""
    first = run("demo", "wagtail", "-o", tmp_path)
    assert first.exit_code == 1
    copy = tmp_path / "wagtail.toml"
    copy.write_text(copy.read_text(encoding="utf-8").replace("a stranger's", "a friend's"), encoding="utf-8")
    run("demo", "wagtail", "-o", tmp_path)
    assert "a friend's" in copy.read_text(encoding="utf-8")
    assert (tmp_path / "wagtail.html").exists()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(shell: str) -> None:
    """Each shell gets its snippet."""
    assert "_PINPROOF_COMPLETE" in run("completion", shell).output


def crowded(folder: Path, compares: str = "battery") -> Path:
    """An invented truck whose paddles stay alive in automatic and whose wide leaks leave no room for any values."""
    path = folder / "crowded.toml"
    told = ("--switched", "fuse", "--controls", "slot, lever, wheel", "--taps-fed", "directly", "--compares", compares)
    listed = ("--list", "up 2.88k, down 1.27k, manual 8.25k", "--pull", "1.02k 5 % measured", "--parts", "E24 1 %")
    assert run("new", path, *told, *listed).exit_code == 0
    return path


def test_nothing_holds_is_told_with_the_situation_that_fails(tmp_path: Path) -> None:
    """The worst situation stands in the table though no one command is wanted of it, and the next step is named."""
    path = crowded(tmp_path)
    result = run("choose", path)
    assert result.exit_code == 1
    assert "NOTHING HOLDS" in result.stdout and f"Next: pinproof prove {path}" in result.stdout
    plain = json.loads(run("choose", path, "--json").stdout)
    worst = plain["margins"][0]
    assert worst["meaning"] == ""
    rows = [line.split("  ") for line in result.stdout.splitlines() if line.startswith("  run  ")]
    assert rows[0][2].strip() == (" + ".join(worst["operated"]) or "nothing operated")


def test_two_forbidden_commands_are_told_plainly(tmp_path: Path) -> None:
    """ "not down or manual" can be read two ways; "neither down nor manual" cannot."""
    out = run("prove", crowded(tmp_path), "--all", "--no-cures", "--samples", 0).stdout
    assert "neither down nor manual" in out
    assert "not down or" not in out


def test_a_reading_judged_two_ways_says_why(tmp_path: Path) -> None:
    """While it is not known what the controller divides by, the proof says that each situation stands there twice."""
    path = crowded(tmp_path, "?")
    both = run("prove", path, "--no-cures", "--samples", 0).stdout
    assert "16 situations" in both and 'compares = "unknown"' in both
    assert "16 situations" in run("check", path).stdout


def test_weights_that_are_no_text_are_refused(tmp_path: Path) -> None:
    """Bytes that are no UTF-8, found by mutating files at random: words and exit code 2."""
    from pinproof.errors import PinproofError

    causes = tmp_path / "causes.toml"
    causes.write_bytes(b"[cause]\n# \xc7\x28\n")
    asked = ["find", str(example_path("sandpiper")), "--causes", str(causes), "--saw", "idle=automatic"]
    result = CliRunner().invoke(group, asked)
    assert isinstance(result.exception, PinproofError)
    assert "causes.toml" in str(result.exception)


def test_find_asks_again_and_stops_at_q(tmp_path: Path) -> None:
    """An answer that cannot be read is asked for again, and nothing is left out for it; q and the end of input stop."""
    typed = "dead\nautomatic\nq\n"
    result = CliRunner().invoke(group, ["find", str(example_path("sandpiper")), "--ask"], input=typed)
    first = "what the controller reports with nothing pressed"
    assert result.stderr.count(first) == 2
    assert "meaning idle = automatic" in result.stdout
    ended = CliRunner().invoke(group, ["find", str(example_path("sandpiper")), "--ask"], input="")
    assert ended.exit_code == 1 and "Aborted" not in ended.output


def test_a_choice_for_a_controller_to_be_taught_is_told_as_a_gap(tmp_path: Path) -> None:
    """Without windows values are compared by the gap between readings; it is not called a margin of half a window."""
    path = tmp_path / "taught.toml"
    told = ("--switched", "chassis", "--controls", "slot, lever", "--pull", "1k 5 % measured")
    assert run("new", path, *told).exit_code == 0
    out = run("choose", path).stdout
    plain = json.loads(run("choose", path, "--json").stdout)
    gap = math.floor(plain["margin"] * 1000 + 1e-6) / 10
    assert f"smallest gap between two readings {gap:.1f} % of full scale" in out
    spans = sorted((row["low"], row["high"]) for row in plain_rows(path, plain, tmp_path))
    between = [later[0] - before[1] for before, later in itertools.pairwise(spans)]
    assert min(between) >= plain["margin"]


def plain_rows(path: Path, choice: dict[str, object], folder: Path) -> list[dict[str, float]]:
    """The situations of the proof with the values of a choice in the file."""
    assert choice["taught"]
    assert run("choose", path, "--write").exit_code == 1
    proof = json.loads(run("prove", path, "--json", "--no-cures", "--samples", 0).stdout)
    return list(proof["situations"])
