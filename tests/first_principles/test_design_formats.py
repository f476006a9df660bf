"""Older design files open, newer ones are refused with what to do, and nothing is written but at its owner's word."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.cli.cmd_upgrade import command
from pinproof.design import DesignFault, EditFault, formats, load, loads
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.edit import set_values, with_values
from pinproof.design.formats import Step, under_drive
from pinproof.design.keys import FORMAT
from pinproof.design.upgrade import upgrade
from pinproof.examples import NAMES, example_path

DATA = Path(__file__).parents[1] / "data" / "formats"
PUBLISHED = sorted(DATA.glob("[0-9]*/*.toml"))
OLD_DRIVE = DATA / "driveline-file" / "sandpiper-drive.toml"


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_published_example_opens(path: Path) -> None:
    """Every version of every example, of every format."""
    assert int(path.parent.name) <= FORMAT
    assert load(path).format == FORMAT


def test_every_example_of_today_is_kept_too() -> None:
    """Each example stands in the folder of today's format, at least in one version."""
    kept = {path.stem.rpartition("-")[0] for path in (DATA / str(FORMAT)).glob("*.toml")}
    assert set(NAMES) <= kept


def old_layout() -> str:
    """A design file of a made-up format 0: the real tables of the old driveline file, at the top of the design."""
    design = (DATA / "1" / "sandpiper-1.toml").read_text(encoding="utf-8")
    drive = OLD_DRIVE.read_text(encoding="utf-8")
    tables = drive[drive.index("[tyre]") :]
    return design.replace("format = 1", "format = 0  # ours", 1) + "\n# the gearbox\n" + tables


def _change(text: str, file: str) -> str:
    """The step: what the old driveline file had goes under [drive]."""
    head, mark, tables = text.partition("# the gearbox\n")
    if not mark:
        return text
    return f"{head}# the gearbox\n{under_drive(tables, file)[0]}"


@pytest.fixture
def format_0(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that knows the step from the made-up format 0."""
    monkeypatch.setattr(formats, "STEPS", {0: Step("the driveline stands under [drive].", _change)})


@pytest.mark.usefixtures("format_0")
def test_an_older_file_opens_with_every_step_told(tmp_path: Path) -> None:
    """It is read as the newest format, says so, and stays on the disk as it was."""
    path = tmp_path / "old.toml"
    path.write_text(old_layout(), encoding="utf-8")
    truck = load(path)
    assert truck.format == FORMAT and truck.drive is not None and len(truck.drive.gears) == 6
    assert truck.warnings[0] == "Format 0 became 1: the driveline stands under [drive]."
    assert "unchanged on disk" in truck.warnings[1] and "pinproof upgrade old.toml" in truck.warnings[1]
    assert path.read_text(encoding="utf-8") == old_layout()


@pytest.mark.usefixtures("format_0")
def test_an_older_file_is_not_changed_by_the_way(tmp_path: Path) -> None:
    """A command that would write one value refuses, says what comes first, and writes nothing."""
    path = tmp_path / "old.toml"
    path.write_text(old_layout(), encoding="utf-8")
    with pytest.raises(EditFault, match="format 0.*pinproof upgrade old.toml"):
        set_values(path, {"name": "Other"})
    with pytest.raises(EditFault, match="format 0"):
        with_values(old_layout(), {"contact.lever_up.resistor": "4.7k"})
    bare = (DATA / "1" / "sandpiper-1.toml").read_text(encoding="utf-8").replace("format = 1", "format = 0", 1)
    with pytest.raises(EditFault, match="format 0"):
        with_drive_section(bare)
    assert path.read_text(encoding="utf-8") == old_layout()


@pytest.mark.usefixtures("format_0")
def test_the_owner_writes_it_in_the_newest_format(tmp_path: Path) -> None:
    """Comments stay, the number is the new one, the file as it was is kept; a second time there is nothing to do."""
    path = tmp_path / "old.toml"
    path.write_text(old_layout(), encoding="utf-8", newline="\n")
    done = CliRunner().invoke(command, [str(path)])
    assert done.exit_code == 0, done.output
    assert "Format 0 became 1" in done.output and "before-upgrade" in done.output
    text = path.read_text(encoding="utf-8")
    assert "format = 1  # ours" in text and "# the gearbox" in text and "# A stranger's table" in text
    assert (tmp_path / "old.toml.before-upgrade").read_text(encoding="utf-8") == old_layout()
    assert load(path).warnings == ()
    again = CliRunner().invoke(command, [str(path)])
    assert again.exit_code == 0 and "Nothing was written" in again.output
    assert sorted(each.name for each in tmp_path.iterdir()) == ["old.toml", "old.toml.bak", "old.toml.before-upgrade"]


@pytest.mark.usefixtures("format_0")
def test_an_earlier_copy_is_never_written_over(tmp_path: Path) -> None:
    """A second upgrade finds another name."""
    path = tmp_path / "old.toml"
    for name in ("old.toml.before-upgrade", "old.toml"):
        (tmp_path / name).write_text(old_layout(), encoding="utf-8")
    assert upgrade(path).kept.endswith(".before-upgrade-2")


@pytest.mark.usefixtures("format_0")
def test_several_steps_follow_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """From -1 over 0 to 1, each told."""
    first = Step("nothing.", lambda text, file: text)
    monkeypatch.setattr(formats, "STEPS", {**formats.STEPS, -1: first})
    text, told = formats.brought_up(old_layout().replace("format = 0", "format = -1"), {"format": -1}, "f")
    assert [each[:12] for each in told[:2]] == ["Format -1 be", "Format 0 bec"]
    assert "is of format -1" in told[2]
    assert tomllib.loads(text)["format"] == 1


def test_a_newer_file_is_refused_with_what_to_do() -> None:
    """Where, what was read, what this program reads, and where to get the other."""
    text = example_path("heron").read_text(encoding="utf-8").replace("format = 1", f"format = {FORMAT + 1}")
    with pytest.raises(DesignFault) as caught:
        loads(text, "heron.toml")
    (fault,) = caught.value.faults
    assert fault.line == text[: text.index("format =")].count("\n") + 1
    assert f"format {FORMAT + 1}; this program reads up to format {FORMAT}" in fault.message
    assert "newer program" in fault.message


@pytest.mark.parametrize("number", ["0", "-3", "true", '"1"', "1.0"])
def test_a_format_that_never_was(number: str) -> None:
    """No step leads there: refused as any other wrong value."""
    text = example_path("heron").read_text(encoding="utf-8").replace("format = 1", f"format = {number}", 1)
    with pytest.raises(DesignFault, match="format"):
        loads(text)


def test_the_old_driveline_file_is_taken_over(tmp_path: Path) -> None:
    """Its tables say under [drive] what they said; answers of the log go to [drive.log]; the rest is a comment."""
    design = tmp_path / "truck.toml"
    design.write_bytes((DATA / "1" / "sandpiper-1.toml").read_bytes())
    old = tmp_path / "drive.toml"
    extra = 'lever_code = "5"\nheld_request = "3 s"\n'
    old.write_text(OLD_DRIVE.read_text(encoding="utf-8") + extra, encoding="utf-8")
    done = CliRunner().invoke(command, [str(design), "--driveline", str(old)])
    assert done.exit_code == 0, done.output
    text = design.read_text(encoding="utf-8")
    raw, before = tomllib.loads(text)["drive"], tomllib.loads(OLD_DRIVE.read_text(encoding="utf-8"))
    for name in ("tyre", "axle", "transfer", "gear", "converter", "engine", "guard", "sensor", "shift", "borrowed"):
        assert raw[name] == before[name], name
    assert raw["log"] == {"auto_repeat": "off", "at_limiter": "hold", "held_request": "3 s"}
    assert "# no place for it any more: lever_code" in text and "lever_code" in done.output
    assert "# A stranger's table, from a truck with other tyres and another axle." in text
    drive = load(design).drive
    assert drive is not None and drive.gears[0].ratio.value == 4.0


@pytest.mark.parametrize(
    ("old", "said"),
    [
        ('format = 1\n[tyre]\nsize = "31x10.50R15"\n[axle.x]\n[settings.enable]\nvalue = "x"\n[gear]\n', "drive.axle"),
        ('[tyre]\nsize = "x"\n[settings]\n"auto_repeat" = "off"\n', "by hand"),
        ("x = [", "not TOML"),
        ("x = 1", "no driveline file"),
    ],
)
def test_what_cannot_be_taken_over_is_refused(tmp_path: Path, old: str, said: str) -> None:
    """Nothing is written then."""
    design, drive = tmp_path / "truck.toml", tmp_path / "drive.toml"
    design.write_bytes((DATA / "1" / "sandpiper-1.toml").read_bytes())
    drive.write_text(old, encoding="utf-8")
    with pytest.raises((DesignFault, EditFault), match=said):
        upgrade(design, drive)
    assert design.read_bytes() == (DATA / "1" / "sandpiper-1.toml").read_bytes()
    assert sorted(each.name for each in tmp_path.iterdir()) == ["drive.toml", "truck.toml"]


def test_a_design_with_a_driveline_takes_no_other(tmp_path: Path) -> None:
    """It would stand there twice."""
    design = tmp_path / "truck.toml"
    design.write_bytes(example_path("sandpiper").read_bytes())
    with pytest.raises(EditFault, match="already"):
        upgrade(design, OLD_DRIVE)
