"""The command line as a user meets it: exit codes, JSON, files written, refusals."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pinproof import __version__
from pinproof.cli import COMMANDS, group
from pinproof.examples import NAMES, example_path

VERDICTS = {"sandpiper": ("pass", 0), "heron": ("fail", 1), "wagtail": ("would hold if", 1)}


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
