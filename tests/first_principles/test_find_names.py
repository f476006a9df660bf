"""Names of looks as the bench sheet has them, refusals with the nearest name, and why a step is asked for."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.design import load
from pinproof.find import Diagnosis, LookFault, Session, looks, read
from pinproof.find.likelihood import Seen
from pinproof.find.next_step import named_bits
from pinproof.find.session import NOT_LISTED, TOLD
from pinproof.meter import stations

FILE = Path("tests/data/saltlark.toml")
STATION_KINDS = ("ohms", "chassis", "reported", "volts")


@pytest.fixture(scope="module")
def taps() -> Diagnosis:
    return Diagnosis(load(FILE), "taps", draws=(2, 40))


@pytest.mark.parametrize("line", ["taps", "lock"])
def test_every_station_of_the_sheet_that_can_be_a_look_is_one(line: str) -> None:
    diagnosis = Diagnosis(load(FILE), line, draws=(1, 1))
    kinds = {each.kind for each in looks(diagnosis.view)}
    asked = 0
    for station in stations(diagnosis.truck):
        parts = station.id.split("/")
        if parts[0] != line or parts[1] not in STATION_KINDS or ("chassis" not in kinds and parts[1] == "chassis"):
            continue
        if parts[1] == "volts" and station.kind != "voltage":
            continue
        by_station = diagnosis.look(station.id)
        word = {"reported": "meaning"}.get(parts[1], parts[1])
        assert by_station == diagnosis.look(f"{word} {parts[2]}") and by_station.kind == word
        asked += 1
    assert asked >= 10


def test_a_situation_that_no_step_asks_for_may_be_read(taps: Diagnosis) -> None:
    """One paddle without the lever: the sheet has it, the search does not ask for it, its ohms are evidence."""
    assert "ohms paddle_up" not in {each.id for each in taps.looks}
    seen = read(taps, "ohms paddle_up = OL")
    assert seen.look.situation.operated == ("paddle_up",)
    assert read(taps, "taps/ohms/paddle_up = OL").look == seen.look
    before, after = taps.posterior(()), taps.posterior((read(taps, "ohms paddle_up = 102.4k"),))
    assert after.first.name == "branch paddle_up high", "as with nothing pressed: the paddle does nothing"
    assert after.of("branch paddle_up high") > 1.5 * before.of("branch paddle_up high")
    sound = taps.posterior((read(taps, "ohms paddle_up = 362"),))
    assert sound.of("branch paddle_up high") < before.of("branch paddle_up high")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("ohms padle_up = 1", 'Nearest is "ohms paddle_up".'),
        ("taps/ohms/paddle_upp = 1", 'Nearest is "ohms paddle_up".'),
        ("without weel = 1", 'Nearest is "without wheel".'),
        ("lock/ohms/idle = 1", "Write --line lock."),
        ("taps/sweep/paddle_up = 1", "Right would be one of: meaning, volts, ohms"),
        ("lok/ohms/idle = 1", "Right would be one of: meaning, volts, ohms"),
        ("ohms paddle_up+paddle_down = 1", "Right would be one of: ohms idle, ohms paddle_up,"),
    ],
)
def test_a_name_that_is_none_is_refused_with_the_nearest(taps: Diagnosis, text: str, told: str) -> None:
    with pytest.raises(LookFault) as caught:
        read(taps, text)
    assert told in str(caught.value) and text.partition(" =")[0] in str(caught.value)


def test_the_command_takes_a_station_name() -> None:
    told = CliRunner().invoke(group, ["find", str(FILE), "--line", "taps", "--read", "ohms paddle_up=OL"])
    assert told.exit_code == 1 and "ohms paddle_up = OL" in told.output


def told_why(diagnosis: Diagnosis, *seen: Seen) -> tuple[str, float, float]:
    """Why the next step is asked for, what it tells of the likely causes on the list, and that with "not listed"."""
    session = Session(diagnosis).adding(*seen)
    advice = session.advice()
    assert advice.step is not None
    found = advice.posterior
    names = [each.name for each in found.classes if each.probability >= TOLD and each.name != NOT_LISTED]
    bits = [
        named_bits(diagnosis, session.seen, advice.step.look, found, some) for some in (names, [*names, NOT_LISTED])
    ]
    return advice.why, bits[0], bits[1]


def test_why_is_told_where_likely_causes_would_show_the_same() -> None:
    diagnosis = Diagnosis(load(FILE), "taps")
    why, named, with_off_list = told_why(diagnosis, read(diagnosis, "ohms paddle_up+lever_manual = OL"))
    assert "whether the cause is on this list at all" in why
    assert named < 0.15 and with_off_list > 4.0 * named
    told = CliRunner().invoke(group, ["find", str(FILE), "--line", "taps", "--read", "ohms paddle_up+lever_manual=OL"])
    assert "whether the cause is on this list at all" in " ".join(told.output.split())


def test_why_is_not_told_where_a_step_parts_the_likely_causes() -> None:
    diagnosis = Diagnosis(load(FILE), "taps")
    why, _, _ = told_why(diagnosis, read(diagnosis, "meaning paddle_up+lever_manual = manual"))
    assert why == ""


def test_among_one_class_a_look_tells_nothing(taps: Diagnosis) -> None:
    found = taps.posterior(())
    look = taps.look("ohms idle")
    assert named_bits(taps, (), look, found, ["wire high"]) == pytest.approx(0.0, abs=1e-9)
    assert named_bits(taps, (), look, found, ["wire high", "branch paddle_up high"]) > 0.05
