"""A draft answered by form: the same tables as filled in by hand, nothing counts too early, answers are kept."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from typing import Any

import pytest

from pinproof.chain.drive_report import drive_report
from pinproof.design import loads
from pinproof.design.begin_drive import with_drive_section
from pinproof.design.begin_harness import with_harness_draft
from pinproof.design.begin_inhibit import with_inhibit_draft
from pinproof.design.draft_blanks import DraftForm, draft_form
from pinproof.design.fill_draft import filled
from pinproof.design.messages import EditFault
from pinproof.harness import lay_out
from pinproof.inhibit.from_design import start_circuit
from tests.first_principles.test_begin_drafts import FILES
from tests.first_principles.test_begin_drafts import filled as by_hand

GIVEN = {
    "crank.low": "7 V", "crank.high": "11 V", "insulation": "125 °C", "length": "1.2 m", "amps": "1.5 A",
    "offset.low": "-0.1 V", "offset.high": "0.1 V", "coil.low": "60 ohm", "coil.high": "110 ohm", "pull_in.low": "3 V",
    "pull_in.high": "6 V", "drop_out.low": "1 V", "drop_out.high": "2.5 V", "place": "dash",
    "roll_out.value": "30.1 m", "axle.ratio": "5", "gear": "3, 2, 1", "most": "6500 rpm",
}  # fmt: skip
CHECKS = {"harness": lay_out, "inhibit": start_circuit, "drive": lambda truck: drive_report(truck, lambda _: "")}
DRAFTS = {"harness": with_harness_draft, "inhibit": with_inhibit_draft, "drive": with_drive_section}


def answers(form: DraftForm) -> dict[str, str]:
    """An answer for everything that is asked."""
    found: dict[str, str] = {}
    for blank in form.blanks:
        if not blank.asked:
            continue
        if blank.path.endswith(".cavity"):
            found[blank.path] = str(1 + sum(path.endswith(".cavity") for path in found))
        elif ".mid." in blank.path:
            found[blank.path] = "open"
        else:
            found[blank.path] = next(text for end, text in GIVEN.items() if blank.path.endswith(f".{end}"))
    return found


def plain(text: str) -> dict[str, Any]:
    """What a file says."""
    return tomllib.loads(text.removeprefix("\ufeff"))


def stated(text: str, table: str) -> Mapping[str, Any]:
    """One table of a file."""
    found: Mapping[str, Any] = plain(text)[table]
    return found


@pytest.mark.parametrize("key", ["harness", "inhibit", "drive"])
@pytest.mark.parametrize("name", list(FILES))
def test_answers_make_what_filling_in_by_hand_makes(name: str, key: str) -> None:
    """In one go, or begun today and gone on with tomorrow; and the engine of the table takes it."""
    text = FILES[name]
    if key in plain(text):
        with pytest.raises(EditFault, match="table already"):
            draft_form(text, key)
        return
    form = draft_form(text, key, "a.toml")
    given = answers(form)
    whole = filled(form, given, CHECKS[key])
    assert (whole.wrong, whole.open, whole.counts) == ((), (), True)
    if key != "drive":
        assert plain(whole.text) == plain(by_hand(DRAFTS[key](text)))
    first = dict(list(given.items())[:2])
    begun = filled(form, first, CHECKS[key])
    assert not begun.counts and set(begun.open) == set(given) - set(first)
    assert plain(begun.text) == plain(text), "what is not whole counts for nothing"
    again = draft_form(begun.text, key, "a.toml")
    assert {each.path: each.text for each in again.blanks if each.asked and each.text} == first
    assert plain(filled(again, {k: v for k, v in given.items() if k not in first}, CHECKS[key]).text) == plain(
        whole.text
    )


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_only_the_lines_of_the_draft_change(end: str) -> None:
    """Every other line stays, in its order, with the file's own line ends; words that ask to fill it in go."""
    text = FILES["heron"].replace("\n", end)
    form = draft_form(text, "harness", "a.toml")
    done = filled(form, answers(form), lay_out)
    before, after = text.splitlines(keepends=True), done.text.splitlines(keepends=True)
    steps = difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    changed = [line for tag, first, last, _, _ in steps if tag != "equal" for line in before[first:last]]
    assert changed and all("signal" in line or "resistor" in line for line in changed), changed  # places and nets
    assert done.text.count("\n") == done.text.count(end)
    assert "Replace each" in form.text and "Replace each" not in done.text


@pytest.mark.parametrize(
    ("path", "text", "said"),
    [
        ("drive.axle.ratio", "4,1x", "not a ratio of turns"),
        ("drive.engine.most", "5500", "unit is missing"),
        ("drive.gear", "3, two, 1", "not a ratio of turns"),
        ("drive.guard.margin", "5 m", "margin|percent|ratio"),
    ],
)
def test_a_wrong_answer_is_told_where_it_is_though_others_are_open(path: str, text: str, said: str) -> None:
    """The field's own path, what was read and what would be right; nothing would be written."""
    form = draft_form(FILES["heron"], "drive", "a.toml")
    found = filled(form, {path: text})
    assert found.text == "" and len(found.wrong) == 1
    assert found.wrong[0].path.startswith(path) and re.search(said, found.wrong[0].message)


def test_half_a_range_is_read_and_kept_open() -> None:
    """One end known, the other not: what is typed is checked, and the line waits for its other end."""
    form = draft_form(FILES["heron"], "inhibit", "a.toml")
    at = "relay.start_relay.pull_in"
    assert filled(form, {f"{at}.low": "5 volts of it"}).wrong[0].path == f"{at}.low"
    found = filled(form, {f"{at}.low": "5 V"})
    assert f"{at}.high" in found.open and f"{at}.low" not in found.open
    assert '#pull_in = { low = "5 V", high = "?" }' in found.text


def test_a_tyre_by_its_size_needs_no_way_rolled() -> None:
    """One of three is enough; both at once is a fault of the file."""
    form = draft_form(FILES["heron"], "drive", "a.toml")
    given = {**answers(form), "drive.tyre.roll_out.value": "", "drive.tyre.size": "35x12.50R17"}
    found = filled(form, given, CHECKS["drive"])
    assert found.counts and found.open == ()
    tyre = stated(found.text, "drive")["tyre"]
    assert tyre["size"] == "35x12.50R17" and "roll_out" not in tyre and "turns" not in tyre
    both = filled(form, {**given, "drive.tyre.roll_out.value": "30 m"}, CHECKS["drive"])
    assert "exactly one" in both.wrong[0].message


@pytest.mark.parametrize("ratios", ["2.9, 1", "4.1, 2.9, 2.1, 1.5, 1.2, 1"])
def test_as_many_gears_as_are_answered(ratios: str) -> None:
    """The draft shows three; the truck has what it has, named from 1 up, and going on with it keeps them."""
    form = draft_form(FILES["heron"], "drive", "a.toml")
    wanted = [each.strip() for each in ratios.split(",")]
    begun = draft_form(filled(form, {"drive.gear": ratios, "drive.transfer": "1, 2.5"}).text, "drive", "a.toml")
    rest = {path: text for path, text in answers(form).items() if path != "drive.gear"}
    drive = stated(filled(begun, rest, CHECKS["drive"]).text, "drive")
    assert [(each["name"], each["ratio"]) for each in drive["gear"]] == [
        (str(n), one) for n, one in enumerate(wanted, 1)
    ]
    assert [each["name"] for each in drive["transfer"]] == ["high", "low"]


def test_other_detents_ask_for_other_pairs() -> None:
    """What lies between two neighbours is asked for the lever's own detents; what was answered stays."""
    form = draft_form(FILES["pull-up"], "inhibit", "a.toml")
    lever = next(each.path for each in form.blanks if each.path.startswith("device.lever") and each.several)
    given = {**answers(form), lever: "P, R, N, D, M"}
    found = filled(form, given)
    pair = "switch.park_neutral.mid.D|M"
    assert found.open == (pair,) and not found.counts
    again = draft_form(found.text, "inhibit", "a.toml")
    assert pair in [each.path for each in again.blanks if each.asked]
    assert filled(again, {pair: "either"}, start_circuit).counts


def test_it_is_used_early_only_on_a_word() -> None:
    """What lies between two detents may be left open: used so when that is asked for, and told as open."""
    form = draft_form(FILES["heron"], "inhibit", "a.toml")
    pair = "switch.park_neutral.mid.R|N"
    given = {**answers(form), pair: ""}
    waits = filled(form, given, start_circuit)
    assert (waits.counts, waits.can_count, waits.open) == (False, True, (pair,))
    assert plain(waits.text) == plain(FILES["heron"])
    used = filled(form, given, start_circuit, early=True)
    assert used.counts and loads(used.text).inhibit is not None and '"R|N" = "?"' in used.text
    coil = {**answers(form), "relay.start_relay.coil.low": ""}
    assert not filled(form, coil, start_circuit, early=True).counts, "without its ohms nothing can be proven"


def test_what_the_engine_refuses_does_not_count() -> None:
    """A relay that lets go above where it pulls in: told, and nothing is written."""
    form = draft_form(FILES["heron"], "inhibit", "a.toml")
    found = filled(form, {**answers(form), "relay.start_relay.drop_out.high": "9 V"}, start_circuit)
    assert found.text == "" and "below pull_in" in found.wrong[0].message


def test_lines_that_the_owner_added_behind_a_sign_stay() -> None:
    """A lamp that somebody is about to add is no part of the form and is not touched."""
    text = FILES["heron"]
    begun = filled(draft_form(text, "harness", "a.toml"), {}).text
    lamp = '\n#[[load]]\n#id = "lamp"\n#amps = "?"\n'
    form = draft_form(begun + lamp, "harness", "a.toml")
    assert not any("lamp" in each.path for each in form.blanks)
    done = filled(form, answers(form), lay_out)
    assert done.counts and done.text.endswith(lamp)


def test_a_switch_between_coil_and_ground_is_added() -> None:
    """A key that the draft does not show may be answered; begun, it is shown again, and emptied it is gone."""
    form = draft_form(FILES["pull-up"], "inhibit", "a.toml")
    at = "relay.start_relay"
    given = {**answers(form), f"{at}.high_side": "key_start", f"{at}.low_side": "park_neutral"}
    ways = {path: text for path, text in given.items() if path.endswith("_side")}
    begun = draft_form(filled(form, ways).text, "inhibit", "a.toml")
    assert next(each.text for each in begun.blanks if each.path == f"{at}.low_side") == "park_neutral"
    for one in (form, begun):
        relay = stated(filled(one, given, start_circuit).text, "relay")[0]
        assert (relay["high_side"], relay["low_side"]) == (["key_start"], ["park_neutral"])
    both = {**answers(form), f"{at}.high_side": "key_start, park_neutral", f"{at}.low_side": ""}
    emptied = filled(begun, both, start_circuit)
    assert emptied.counts and "low_side" not in stated(emptied.text, "relay")[0]
