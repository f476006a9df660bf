"""Checks of taps and shifts on recordings made by hand: pass, fail, not shown, and the awkward edges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinproof.design import Truck, load
from pinproof.examples import example_path
from pinproof.logs import LogReport, as_json, prove_log
from pinproof.logs.checks import CHECKS
from pinproof.verdict import Verdict
from tests.log_stand_in import Day, Made, many_taps, recut

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN


@pytest.fixture(scope="module")
def truck() -> Truck:
    """Sandpiper with its driveline."""
    return load(example_path("sandpiper"))


def verdict(report: LogReport, check: str) -> Verdict:
    """Of one check."""
    return report.check(check).verdict


def with_end(day: Day, seconds: float = 30.0) -> float:
    """Makes room behind a drive; where it begins."""
    begin = day.seconds
    day.seconds += seconds
    return begin


def test_a_clean_drive_passes_what_it_can_and_shows_nothing_else(truck: Truck) -> None:
    """64 taps pass the checks of taps; what has no channel or too little time is not shown, never pass or fail."""
    report = prove_log(truck, many_taps(32).made())
    assert not [each.check for each in report.checks if each.verdict is FAIL]
    for check in ("missed-tap", "doubled-tap", "reversed-tap", "tap-delay", "shift-time", "bounce", "press-length",
                  "gear-agrees", "gear-slip", "driveline-numbers", "flare", "locked-slip", "supply"):  # fmt: skip
        assert verdict(report, check) is PASS, report.check(check).text
    for check in ("unasked-shift", "pin-window", "limp", "temperature", "press-count", "false-tap"):
        assert verdict(report, check) is OPEN
    assert report.verdict is OPEN
    assert [each.check for each in report.checks] == list(CHECKS)


def test_too_few_taps_are_not_shown_and_say_what_they_show(truck: Truck) -> None:
    """58 taps are one too few for 5 %."""
    report = prove_log(truck, many_taps(29).made())
    check = report.check("missed-tap")
    assert (check.verdict, check.numbers["valid"]) == (OPEN, 58.0)
    assert "under 5.1 %" in check.text and "59 are needed" in check.text


def test_a_missed_tap_fails_with_its_place(truck: Truck) -> None:
    """The evidence is the tap itself."""
    day = many_taps(30)
    at = with_end(day) + 5.0
    day.tap(at, "up", delay_s=None)
    check = prove_log(truck, day.made()).check("missed-tap")
    assert check.verdict is FAIL and check.numbers["missed"] == 1.0
    (finding,) = check.findings
    assert finding.from_s == pytest.approx(at, abs=0.011) and finding.picture is not None


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"mode": 0.0}, "lever not manual"),
        ({"limp": 1.0}, "limp"),
        ({"refused": 1.0}, "refused"),
        ({"oil": 10.0}, "cold"),
        ({"engine": 6300.0}, "limiter"),
        ({"output": 1200.0}, "under-speed guard"),
        ({"gear_commanded": 6.0}, "top gear"),
        ({"gear_commanded": np.nan}, "not steady"),
    ],
)  # fmt: skip
def test_a_refusal_is_no_miss(truck: Truck, change: dict[str, float], reason: str) -> None:
    """Each reason takes its unanswered tap out of the count, and is named."""
    day = many_taps(30)
    at = with_end(day, 60.0) + 30.0
    day.tap(at, "up", delay_s=None)
    made = day.made()
    for role, value in change.items():
        column = made.values.setdefault(role, np.zeros(len(made.time_s)))
        column[(made.time_s > at - 4.0) & (made.time_s < at + 4.0)] = value
    report = prove_log(truck, made)
    assert verdict(report, "missed-tap") is PASS
    assert report.excluded == {reason: 1}


def test_a_downshift_above_the_permitted_speed_may_be_refused_or_held(truck: Truck) -> None:
    """Refused: no miss. Held: the late step is no unasked shift; a second late step is."""
    day = many_taps(30)
    at = with_end(day, 60.0) + 20.0
    day.tap(at, "down", delay_s=None)
    day.shift(at + 3.0, "down")
    made = day.made()
    beyond = (made.time_s > at - 5.0) & (made.time_s < at + 2.0)
    for role in ("output", "turbine", "engine", "road"):
        made.values[role][beyond] *= 1.0
    fast = 1700.0
    made.values["output"][beyond] = fast
    report = prove_log(truck, made)
    assert report.excluded == {"over-speed guard": 1}  # into 1 only 1294 rpm are permitted
    assert report.check("unasked-shift").numbers["explained, held request"] == 1.0
    assert verdict(report, "unasked-shift") is OPEN


def test_an_unasked_shift_fails(truck: Truck) -> None:
    """With a fast tap channel nothing can hide."""
    day = many_taps(30)
    at = with_end(day) + 10.0
    day.shift(at, "up")
    check = prove_log(truck, day.made()).check("unasked-shift")
    assert check.verdict is FAIL
    assert check.findings[0].from_s == pytest.approx(at, abs=0.02)


def test_an_unasked_shift_with_a_slow_tap_channel_is_not_shown(truck: Truck) -> None:
    """At 10 Hz a tap of 80 ms can hide."""
    day = many_taps(30, rate_hz=10.0)
    at = with_end(day) + 10.0
    day.shift(at, "up")
    assert verdict(prove_log(truck, day.made()), "unasked-shift") is OPEN


def test_an_upshift_at_the_limiter_is_not_unasked_unless_the_controller_holds(truck: Truck) -> None:
    """The design does not say what happens at the limiter: left out, and told."""
    day = many_taps(30)
    at = with_end(day) + 10.0
    day.shift(at, "up")
    made = day.made()
    made.values["engine"][(made.time_s > at - 2.0) & (made.time_s <= at)] = 6400.0
    report = prove_log(truck, made)
    explained = [key for key in report.check("unasked-shift").numbers if key.startswith("explained")]
    assert (verdict(report, "unasked-shift") is OPEN) == (explained == ["explained, limiter"])


def test_a_forced_downshift_is_not_unasked(truck: Truck) -> None:
    """Below 1500 rpm of the turbine the controller may shift down by itself."""
    day = many_taps(30)
    at = with_end(day, 40.0) + 20.0
    day.tap(at - 10.0, "up")
    day.shift(at, "down")
    made = day.made()
    made.values["output"][(made.time_s > at - 3.0)] = 800.0
    report = prove_log(truck, made)
    assert report.check("unasked-shift").numbers["explained, forced down"] == 1.0


def test_a_doubled_tap_fails(truck: Truck) -> None:
    """Two steps after one press."""
    day = many_taps(30)
    at = with_end(day) + 5.0
    day.tap(at, "up", steps=2)
    report = prove_log(truck, day.made())
    assert verdict(report, "doubled-tap") is FAIL
    assert verdict(report, "unasked-shift") is OPEN  # the second step belongs to the tap


def test_two_quick_taps_are_two_taps(truck: Truck) -> None:
    """Two presses 0.4 s apart with two steps are nothing wrong; the second is not counted as valid."""
    day = many_taps(30)
    at = with_end(day) + 5.0
    day.tap(at, "up")
    day.tap(at + 0.4, "up")
    report = prove_log(truck, day.made())
    assert not [each.check for each in report.checks if each.verdict is FAIL and "tap" in each.check]
    assert report.excluded == {"shift in progress": 1}


def test_reversed_taps(truck: Truck) -> None:
    """One is enough where nothing hides; with a slow channel at least three and most."""
    day = many_taps(30)
    at = with_end(day) + 5.0
    day.taps.append((at, 0.15, "up"))
    day.shift(at + 0.06, "down")
    report = prove_log(truck, day.made())
    assert verdict(report, "reversed-tap") is FAIL
    assert report.check("missed-tap").numbers["missed"] == 0.0

    def slow(turned: int) -> LogReport:
        day = Day(seconds=120.0, rate_hz=10.0, gear=3)
        for number in range(turned):
            day.taps.append((10.0 + 10.0 * number, 0.3, "down" if number % 2 else "up"))
            day.shift(10.1 + 10.0 * number, "up" if number % 2 else "down")
        return prove_log(truck, day.made(begin_gear=3))

    assert verdict(slow(2), "reversed-tap") is OPEN
    assert verdict(slow(6), "reversed-tap") is FAIL


def test_slow_commands_fail_and_a_slow_log_cannot_tell(truck: Truck) -> None:
    """A delay of 250 ms at 100 Hz is surely too long; at 10 Hz the check is not shown; 145 ms is neither."""
    slow, near = Day(seconds=300.0), Day(seconds=300.0)
    for day, delay_s in ((slow, 0.25), (near, 0.145)):
        for number in range(30):
            day.tap(5.0 + 8.0 * number, "down" if number % 2 else "up", delay_s=delay_s, length_s=0.2)
    assert verdict(prove_log(truck, slow.made()), "tap-delay") is FAIL
    assert verdict(prove_log(truck, near.made()), "tap-delay") is FAIL  # the median limit is 100 ms
    at_limit = Day(seconds=300.0)
    for number in range(30):
        at_limit.tap(5.0 + 8.0 * number, "down" if number % 2 else "up", delay_s=0.10, length_s=0.2)
    check = prove_log(truck, at_limit.made()).check("tap-delay")
    assert check.verdict is OPEN and check.numbers["median_least_s"] < 0.1 < float(check.numbers["median_most_s"])
    assert verdict(prove_log(truck, many_taps(30, rate_hz=10.0).made()), "tap-delay") is OPEN


def test_a_step_that_needs_no_tap_times_no_tap(truck: Truck) -> None:
    """Rolling out, the box shifts down by itself after a tap that it overlooked: that says nothing of its delay."""
    day = many_taps(30)
    at_s = with_end(day)
    day.tap(at_s + 5.0, "up")
    day.tap(at_s + 12.0, "down", delay_s=0.75)
    late = day.made()
    assert verdict(prove_log(truck, late), "tap-delay") is PASS  # one of 62 is not 5 %
    worst = prove_log(truck, late).check("shift-time")
    assert worst.verdict is FAIL and "62 taps" in worst.text
    slow = late.time_s > at_s + 10.0
    for role in ("output", "turbine", "engine", "road"):
        late.values[role] = np.where(slow, late.values[role] * 0.5, late.values[role])
    report = prove_log(truck, late)
    assert "61 taps" in report.check("shift-time").text
    assert verdict(report, "shift-time") is PASS and verdict(report, "missed-tap") is PASS


def test_a_slow_shift_fails(truck: Truck) -> None:
    """1.3 s from tap to the new ratio."""
    assert verdict(prove_log(truck, many_taps(30).made(takes_s=1.3)), "shift-time") is FAIL


def test_bounce_is_one_press_and_a_second_step_from_it_fails(truck: Truck) -> None:
    """Opened for 20 ms inside a press: one press with bounce; not shown while one step came, fail with two."""

    def bounced(steps: int) -> LogReport:
        day = many_taps(30)
        at = with_end(day) + 5.0
        day.tap(at, "up", steps=steps)
        made = day.made()
        made.values["tap_up"][(made.time_s > at + 0.045) & (made.time_s < at + 0.065)] = 0.0
        return prove_log(truck, made)

    one, two = bounced(1), bounced(2)
    assert verdict(one, "bounce") is OPEN and one.check("bounce").numbers["bounced"] == 1.0
    assert one.check("bounce").numbers["presses"] == 61.0
    assert verdict(two, "bounce") is FAIL


def test_an_open_of_80_ms_is_unclear(truck: Truck) -> None:
    """Neither bounce nor surely a second tap: one tap, left out, and two steps of it are no fault."""
    day = many_taps(30)
    at = with_end(day) + 5.0
    day.tap(at, "up", length_s=0.3, steps=2)
    made = day.made()
    made.values["tap_up"][(made.time_s > at + 0.095) & (made.time_s < at + 0.175)] = 0.0
    report = prove_log(truck, made)
    assert report.excluded == {"unclear bounce": 1}
    assert verdict(report, "doubled-tap") is PASS


def test_a_gap_across_a_shift_is_no_evidence(truck: Truck) -> None:
    """A tap whose answer falls into a gap is left out, and so is the step that appears behind it."""
    day = many_taps(30)
    at = with_end(day) + 10.0
    day.tap(at, "up")
    made = day.made()
    keep = (made.time_s < at + 0.03) | (made.time_s > at + 1.5)
    first_after = int(np.flatnonzero(made.time_s > at + 1.5)[0])
    dropped = int((~keep).sum())
    torn = Made(
        made.time_s[keep], {r: v[keep] for r, v in made.values.items()}, labels=made.labels, units=made.units,
        gaps=(first_after - dropped,),
    )  # fmt: skip
    report = prove_log(truck, torn)
    assert verdict(report, "missed-tap") is PASS and verdict(report, "unasked-shift") is OPEN
    assert report.excluded == {"beside a gap": 1}
    assert verdict(report, "time-base") is OPEN and report.logs[0].left_out_s == pytest.approx(5.5, abs=0.1)


def test_held_samples_widen_the_brackets(truck: Truck) -> None:
    """A tap channel that only repeats 10 Hz samples in rows of 100 Hz is judged as one of 10 Hz."""
    made = many_taps(32).made()
    rates = {"tap_up": (10.0, "held"), "tap_down": (10.0, "held")}
    held = Made(made.time_s, made.values, labels=made.labels, units=made.units, rates=rates)
    report = prove_log(truck, held)
    assert verdict(report, "tap-delay") is OPEN and verdict(report, "doubled-tap") is OPEN
    assert verdict(report, "missed-tap") is PASS


def test_steps_from_the_reported_gear_and_from_the_ratio(truck: Truck) -> None:
    """Without a commanded gear the reported one serves, without both the ratio."""
    for drop, source in ((("gear_commanded",), "gear"), (("gear_commanded", "gear"), "turbine ÷ output")):
        report = prove_log(truck, many_taps(32).made(drop=drop))
        assert report.logs[0].steps_from == source
        assert verdict(report, "missed-tap") is PASS, report.check("missed-tap").text


def test_several_logs_are_one_proof(truck: Truck) -> None:
    """Counts are added, the limit is worked out once, and one fault in one log fails the day."""
    first, second = many_taps(16).made(), many_taps(16).made()
    first.name, second.name = "a.csv", "b.csv"
    report = prove_log(truck, [first, second])
    assert (verdict(report, "missed-tap"), report.check("missed-tap").numbers["valid"]) == (PASS, 64.0)
    day = many_taps(16)
    day.tap(with_end(day) + 5.0, "up", delay_s=None)
    report = prove_log(truck, [first, day.made()])
    assert verdict(report, "missed-tap") is FAIL


CHUNKS: list[Any] = [[1], [7, 1, 400], [1000], [131_072], [50_000, 3]]


@pytest.mark.parametrize("sizes", CHUNKS[1:])
def test_how_a_log_is_cut_changes_nothing(truck: Truck, sizes: Sequence[int]) -> None:
    """Bounce, missed tap, doubled tap, and a gap, whatever the chunks are."""
    made = eventful()
    whole, cut = (as_json(prove_log(truck, each)) for each in (made, recut(made, sizes)))
    assert whole == cut


@given(st.lists(st.integers(1, 3000), min_size=1, max_size=4))
def test_no_cut_changes_anything(sizes: list[int]) -> None:
    """The same for any sizes, on a short piece."""
    truck = load(example_path("sandpiper"))
    made = eventful(pairs=2)
    assert as_json(prove_log(truck, made)) == as_json(prove_log(truck, recut(made, sizes)))


def eventful(pairs: int = 30) -> Made:
    """A drive with a bit of everything."""
    day = many_taps(pairs)
    at = with_end(day, 40.0)
    day.tap(at + 3.0, "up", delay_s=None)
    day.tap(at + 8.0, "up", steps=2)
    day.tap(at + 14.0, "down")
    made = day.made()
    made.values["tap_up"][(made.time_s > at + 8.045) & (made.time_s < at + 8.065)] = 0.0
    made.values["turbine"][(made.time_s > at + 20.0) & (made.time_s < at + 24.0)] *= 1.06
    made.gaps = (int((at + 30.0) * day.rate_hz),)
    return made
