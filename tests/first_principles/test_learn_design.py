"""What was learned, written into a design: windows no larger than what was visited, everything else untouched."""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import replace

import pytest

from pinproof.design import DesignFault, loads
from pinproof.design.comments import PULL_KNOWN, PULL_NOT_KNOWN, WINDOWS_NOT_KNOWN
from pinproof.design.model import Resistor
from pinproof.design.starter import design_text, starter_sheet
from pinproof.examples import example_path
from pinproof.learn import (
    LearnedWindow,
    Observation,
    Scale,
    State,
    accept,
    begin,
    edges,
    learned_text,
    missing_meanings,
    propose,
    update,
    windows_of,
)
from pinproof.learn.pulls import Pulls
from pinproof.learn.session import (
    Session,
    found_of,
    load_session,
    refreshed,
    save_session,
    session_text,
    side_of,
)
from pinproof.learn.source import PinReading, VoltMeter

OPEN = float("inf")
TEXT = example_path("wagtail").read_text(encoding="utf-8")
PULLS = Pulls(1066.5, 0.0123, "reference", None, 0.0, OPEN, 96e3, 5.0, "pull-up")


def learned(thresholds: list[float], meanings: list[str], *, side: str = "ground", hidden: float = 0.05) -> State:
    """A search at a pin without hysteresis, all its loads true, to the end."""
    scale = Scale(1.0, 0.0, 1000.0, assumed=False) if side == "ground" else Scale(0.0, 1.0, 1000.0, assumed=False)
    state = begin(side, scale, hidden=hidden, least_ohm=0.0 if side == "ground" else 220.0)  # type: ignore[arg-type]
    while (step := propose(state)) is not None:
        reading = scale.reading(step.ohm)
        state = update(state, step, Observation(meanings[sum(reading > each for each in thresholds)]))
    return accept(state, hidden)


@pytest.mark.parametrize("side", ["ground", "supply"])
def test_a_window_is_never_larger_than_what_was_visited(side: str) -> None:
    state = learned([0.1, 0.25, 0.4, 0.6], ["up", "invalid", "down", "invalid", "automatic"], side=side)
    found = windows_of(state)
    assert {each.meaning for each in found} == {"up", "down", "automatic"}
    for window in found:
        low, high = window.sure
        if window.maybe:
            assert low >= high, "nothing sure in it"
            continue
        mine = [state.bounds(v)[1] for v in state.visits if v.meaning == window.meaning]
        assert low >= min(mine) * 0.999 or window.low is None
        assert high <= max(mine) * 1.001 or window.high is None
        for visit in state.visits:
            if visit.meaning != window.meaning:
                assert not low < state.bounds(visit)[1] < high


def test_edges_may_lie_anywhere_in_their_brackets() -> None:
    """Stated edge ± uncertainty covers the bracket, rounding included."""
    state = learned([0.1, 0.25, 0.4, 0.6], ["up", "invalid", "down", "invalid", "automatic"])
    limits = [(each.low_ohm, each.high_ohm) for each in edges(state)]
    for window in windows_of(state):
        for end in (window.low, window.high):
            if end is None:
                continue
            low, high = next(pair for pair in limits if pair[0] <= end.middle_ohm <= pair[1])
            reach = float(end.off_text)
            assert end.middle_ohm - reach <= low and high <= end.middle_ohm + reach


def test_a_stretch_that_was_not_accepted_parts_a_window() -> None:
    state = learned([0.5], ["low", "high"], hidden=0.2)
    assert len(windows_of(state)) == 2
    cautious = windows_of(replace(state, accepted=0.0))
    assert len(cautious) > 4
    visited = sorted(state.bounds(v)[1] for v in state.visits)
    for low, high in itertools.pairwise(visited):
        middle = (low + min(high, 1e6)) / 2.0
        if state.scale.reading(high) - state.scale.reading(low) > 2.0 * state.resolution:
            assert not any(each.sure[0] < middle < each.sure[1] for each in cautious), "nobody looked there"
            assert any(each.reach[0] <= middle <= each.reach[1] for each in cautious)


def test_an_edge_that_is_only_roughly_known_leaves_the_other_end_sharp() -> None:
    """One narrow bracket, one as wide as a third of the scale: the window keeps what was visited."""
    state = learned([0.25, 0.5], ["low", "up", "high"], hidden=0.2)
    early = replace(state, visits=tuple(v for v in state.visits if not 0.45 < state.scale.reading(v.ohm) < 0.9))
    up = [each for each in windows_of(early) if each.meaning == "up"]
    low, high = up[0].low, up[-1].high
    assert low is not None and high is not None
    assert low.off_ohm < 0.03 * low.middle_ohm < high.off_ohm, "each end has its own uncertainty"
    assert up[0].sure[0] < up[0].sure[1]
    assert up[-1].reach[1] > 1000.0 > up[-1].sure[1], "the edge at half scale lies within what it may reach"


def test_a_direction_that_nobody_looked_at_is_allowed_its_hysteresis() -> None:
    """The same pin, falling alone: what is surely a meaning ends 2 % of full scale above each edge."""
    state = learned([0.25, 0.5], ["low", "up", "high"])
    falling = replace(state, visits=tuple(v for v in state.visits if v.direction == "falling"))
    for one, other in zip(windows_of(falling), windows_of(state), strict=True):
        assert one.sure[0] >= other.sure[0] and one.sure[1] <= other.sure[1] * 1.001
        if one.low is not None:
            edge = max(x for x in (0.25, 0.5) if x <= state.scale.reading(one.low.high_ohm))
            assert state.scale.reading(one.sure[0]) >= edge + 0.02


def test_each_edge_has_its_own_uncertainty_in_the_file() -> None:
    """Stated for one edge it goes before the one for both; without that edge it is a fault."""
    one = """[[line.window]]
meaning = "up"
low = "200 ohm"
high = "400 ohm"
uncertainty = "10 ohm"
uncertainty_low = "5 %"
found = "substitution"
basis = "measured"
"""
    other = one.replace('"up"', '"automatic"').replace("200", "900").replace("400", "2000")
    text = TEXT[: TEXT.index("[[line.target]]")] + one + other + TEXT[TEXT.index("[[device]]") :]
    window = loads(text.replace('asks = "down"', 'asks = "up"')).lines[0].windows[0]
    assert window.edge("low") == (190.0, 210.0) and window.edge("high") == (390.0, 410.0) and window.unsure
    with pytest.raises(DesignFault, match="no edge"):
        loads(text.replace('low = "200 ohm"\n', ""))


def test_nothing_but_the_learned_changes() -> None:
    truck = loads(TEXT)
    line = truck.lines[0]
    state = learned([0.1, 0.25, 0.4, 0.6], ["up", "invalid", "down", "invalid", "automatic"])
    after = learned_text(
        TEXT, truck, line, pulls=PULLS, reference=(4.98, 0.004), windows=windows_of(state), note="12.6 V"
    )
    changed = loads(after)
    pull = changed.inputs[0].pull_up
    assert isinstance(pull, Resistor) and pull.basis == "measured"
    assert pull.ohm == 1066.0, "to the place of the second digit of its uncertainty"
    assert PULLS.up_ohm is not None
    assert pull.ohm * (1.0 - pull.tolerance) <= PULLS.up_ohm * (1.0 - PULLS.up_tolerance), "the rounding is inside"
    assert pull.ohm * (1.0 + pull.tolerance) >= PULLS.up_ohm * (1.0 + PULLS.up_tolerance)
    assert changed.inputs[0].reference is not None and changed.inputs[0].reference.basis == "measured"
    windows = changed.lines[0].windows
    assert [each.meaning for each in windows] == ["up", "down", "automatic"]
    assert all(each.by_substitution and each.basis == "measured" and each.note == "12.6 V" for each in windows)
    old, new = tomllib.loads(TEXT), tomllib.loads(after)
    for tree in (old, new):
        tree["line"][0].pop("target", None)
        tree["line"][0].pop("window", None)
        for key in ("pull_up", "reference"):
            tree["input"][0].pop(key)
    assert old == new
    kept = [line for line in TEXT.splitlines() if line.lstrip().startswith("#") or "  #" in line or " # " in line]
    assert all(line in after for line in kept)
    assert after.count("\n\n\n") == 0 and "[[line.window]]\nmeaning" in after


def test_comments_inside_old_windows_stay_and_line_ends_too() -> None:
    text = TEXT.replace('reading = "220 ohm"', 'reading = "220 ohm" # told by a stranger # twice').replace("\n", "\r\n")
    truck = loads(text)
    window = learned([0.1, 0.4], ["up", "down", "automatic"])
    after = learned_text(text, truck, truck.lines[0], windows=windows_of(window))
    assert "# told by a stranger # twice" in after
    assert "\n" not in after.replace("\r\n", "")
    again = learned_text(after, loads(after), loads(after).lines[0], windows=windows_of(window))
    assert again == after or loads(again).lines == loads(after).lines


def test_a_line_that_was_free_gets_windows() -> None:
    head, _, tail = TEXT.partition("[[line.target]]")
    text = (
        head.replace('leak_to_supply = "none"', 'leak_to_supply = "none"\nwindows = "free" # for now')
        + tail[tail.index("[[device]]") :]
    )
    truck = loads(text)
    assert truck.lines[0].free
    state = learned([0.1, 0.4], ["up", "down", "automatic"])
    after = learned_text(text, truck, truck.lines[0], windows=windows_of(state))
    assert [each.meaning for each in loads(after).lines[0].windows] == ["up", "down", "automatic"]


def test_pulls_become_none_where_they_stand() -> None:
    text = TEXT.replace('pull_down = "none"', 'pull_down = { value = "10 kohm", tolerance = "5 %" } # a guess')
    truck = loads(text)
    after = learned_text(text, truck, truck.lines[0], pulls=PULLS)
    assert 'pull_down = "none" # a guess' in after


def test_missing_meanings_are_named() -> None:
    truck = loads(TEXT)
    state = learned([0.4], ["up", "automatic"])
    assert missing_meanings(truck, truck.lines[0], windows_of(state)) == ("down",)
    with pytest.raises(DesignFault):
        learned_text(TEXT, truck, truck.lines[0], windows=windows_of(state))


def test_fault_meanings_are_written_as_faults() -> None:
    state = replace(learned([0.05, 0.4], ["shorted", "up", "automatic"]), faults=("shorted",))
    by = {each.meaning: each for each in windows_of(state)}
    assert isinstance(by["shorted"], LearnedWindow) and by["shorted"].fault and not by["up"].fault


def session_of() -> Session:
    truck = loads(TEXT)
    search = begin(side_of(truck.lines[0]), expected=("up", "down", "automatic"))
    readings = (
        PinReading(4.98, supply_v=12.6, reach=(0.005, 0.01, "6 V")),
        PinReading(2.41, 1000.0, 1.0, reach=(0.005, 0.01, "6 V")),
        PinReading(1.525, 470.0, 0.5, reach=(0.005, 0.01, "6 V")),
        PinReading(4.98, supply_v=14.4),
    )
    return Session(truck.id, truck.lines[0].id, VoltMeter(), search, readings, (), {"date": "2026-11-25"})


def test_a_session_file_is_exact_and_a_damaged_one_is_refused(tmp_path: object) -> None:
    path = tmp_path / "truck.learn.pin.json"  # type: ignore[operator]
    session = session_of()
    seen = save_session(path, session, None)
    again, hashed = load_session(path)
    assert again == session and hashed == seen
    path.write_text(session_text(session)[:200], encoding="utf-8")
    with pytest.raises(Exception, match="session"):
        load_session(path)
    path.write_text('{"session": 1, "readings": [{"load_ohm": "x"}]}', encoding="utf-8")
    with pytest.raises(Exception, match="session"):
        load_session(path)


def test_a_session_finds_the_source_and_spaces_the_search_by_it() -> None:
    truck = loads(TEXT)
    session = refreshed(session_of(), truck)
    found = found_of(session, truck)
    assert found.pulls is not None and found.pulls.up_ohm == pytest.approx(1066.0, rel=0.01)
    assert found.referred is not None and found.referred.kind == "regulated"
    assert session.search.scale.source_ohm == pytest.approx(1066.0, rel=0.01) and not session.search.scale.assumed
    assert session.search.least_ohm == 0.0


@pytest.mark.parametrize("eol", ["\n", "\r\n"])
def test_what_was_learned_is_no_longer_called_unknown(eol: str) -> None:
    """The starter's own sentences change with what they speak of; how to measure again stays, the owner's words too."""
    text = design_text(starter_sheet("ladder", "pp-test01"))
    text = text.replace("\npull_up = ", "\n# mine: behind the dash\npull_up = ", 1)
    text = text.replace("\n", eol)
    assert PULL_NOT_KNOWN in text and WINDOWS_NOT_KNOWN[0] in text
    truck = loads(text)
    state = learned([0.1, 0.25, 0.4, 0.6], ["up", "invalid", "down", "invalid", "automatic"])
    after = learned_text(text, truck, truck.lines[0], pulls=PULLS, windows=windows_of(state))
    assert PULL_NOT_KNOWN not in after and PULL_KNOWN in after and "# mine: behind the dash" in after
    assert "Vopen − Vloaded" in after
    assert not any(each in after for each in WINDOWS_NOT_KNOWN)
    only_pull = learned_text(text, truck, truck.lines[0], pulls=PULLS)
    assert all(each in only_pull for each in WINDOWS_NOT_KNOWN)


def test_a_measured_pull_is_not_called_assumed_behind() -> None:
    """The starter says `pull_down = "none" # assumed`; once measured that gainsays the basis. Other remarks stay."""
    text = design_text(starter_sheet("ladder", "pp-000001"))
    assert 'pull_down = "none" # assumed' in text
    truck = loads(text)
    pulls = replace(PULLS, down_ohm=46e3, down_tolerance=0.23)
    told = learned_text(text, truck, truck.lines[0], pulls=pulls)
    (row,) = [each for each in told.splitlines() if each.startswith("pull_down")]
    assert row.endswith("}") and "assumed" not in row and 'basis = "measured"' in row
    own = text.replace('pull_down = "none" # assumed', 'pull_down = "none" # assumed by Anna')
    assert "} # assumed by Anna" in learned_text(own, loads(own), truck.lines[0], pulls=pulls)
