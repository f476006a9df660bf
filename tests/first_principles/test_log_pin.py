"""Checks of the pin, the surroundings and the script on recordings made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinproof.design import Truck, load
from pinproof.examples import example_path
from pinproof.logs import LogReport, ScriptFault, as_json, load_script, prove_log, script_of
from pinproof.logs.checks.pin import margins, trend_of, two_heaps
from pinproof.logs.pin import INVALID, decode
from pinproof.logs.plan import test_plan as plan_of
from pinproof.logs.prove import NoLog
from pinproof.logs.settings import settings_of
from pinproof.verdict import Verdict
from tests.log_stand_in import Day, Made, many_taps, recut

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_SHOWN
MANUAL, UP, DOWN, IDLE = 0.109, 0.252, 0.455, 0.005  # within the proof's spans of the example


@pytest.fixture(scope="module")
def truck() -> Truck:
    """Sandpiper: compares with the battery, debounce 30 ms."""
    return load(example_path("sandpiper"))


def with_pin(made: Made, *, up: float = UP, down: float = DOWN, idle_to: float = 3.0, unit: str = "ratio") -> Made:
    """A pin that follows the taps; in automatic, then in manual from `idle_to` on."""
    tapped_up, tapped_down = made.values["tap_up"] > 0.0, made.values["tap_down"] > 0.0
    pin = np.where(tapped_up, up, np.where(tapped_down, down, MANUAL))
    for begin in np.arange(0.0, idle_to, 0.6):
        pin[(made.time_s >= begin) & (made.time_s < begin + 0.3)] = IDLE
    made.values["pin.taps"] = pin * (made.values["supply"] if unit == "V" else 1.0)
    made.units = {**made.units, "pin.taps": unit}
    return made


def test_taps_are_found_from_the_pin_alone(truck: Truck) -> None:
    """Without tap channels, volts at the pin divided by the supply give the same 64 taps."""
    made = with_pin(many_taps(32).made(), unit="V")
    del made.values["tap_up"], made.values["tap_down"]
    report = prove_log(truck, made)
    assert report.logs[0].taps_from == "pin.taps"
    assert (report.check("missed-tap").verdict, report.check("missed-tap").numbers["valid"]) == (PASS, 64.0)
    for check in ("pin-window", "pin-span", "reversed-tap", "press-length"):
        assert report.check(check).verdict is PASS, report.check(check).text


def test_a_press_shorter_than_the_debounce_is_no_tap(truck: Truck) -> None:
    """10 ms on the pin is passed over; 30 ms is excluded, since nobody knows whether it counted."""
    for length_s, excluded in ((0.01, {}), (0.03, {"too short": 1})):
        day = many_taps(32)
        at = day.seconds
        day.seconds += 20.0
        day.tap(at + 5.0, "up", delay_s=None, length_s=length_s)
        made = with_pin(day.made())
        del made.values["tap_up"], made.values["tap_down"]
        report = prove_log(truck, made)
        assert report.check("missed-tap").verdict is PASS
        assert report.excluded == excluded


def test_decoding_takes_nominal_edges_and_belongs_them_to_the_window(truck: Truck) -> None:
    """An edge is inside; between windows is invalid; NaN stays NaN."""
    line = settings_of(truck).lines[0]
    code = decode(np.array([0.0, 0.05, 0.06, 0.20, 0.30, 0.36, np.nan]), line)
    assert code.tolist()[:6] == [0.0, 0.0, INVALID, 2.0, 2.0, INVALID]
    assert np.isnan(code[6])


def test_pin_window(truck: Truck) -> None:
    """A reading in no window for 0.3 s fails; for 0.1 s it is a passage; within the reading error it is none."""
    for reading, seconds, wanted in ((0.36, 0.3, FAIL), (0.36, 0.1, PASS), (0.3005, 0.3, PASS)):
        made = with_pin(many_taps(32).made())
        rows = (made.time_s >= 30.5) & (made.time_s < 30.5 + seconds)
        made.values["pin.taps"][rows] = reading
        assert prove_log(truck, made).check("pin-window").verdict is wanted, (reading, seconds)


def test_pin_span_finds_what_the_windows_do_not(truck: Truck) -> None:
    """30 % is still "up" to the controller, but no truck of the proof reads so."""
    report = prove_log(truck, with_pin(many_taps(32).made(), up=0.295))
    assert report.check("pin-window").verdict is PASS
    check = report.check("pin-span")
    assert check.verdict is FAIL
    assert check.findings[0].numbers["reading"] == pytest.approx(0.295)


def test_pin_span_of_a_maintained_meaning(truck: Truck) -> None:
    """Manual at 14 % for the whole log."""
    made = with_pin(many_taps(32).made())
    pin = made.values["pin.taps"]
    pin[pin == MANUAL] = 0.14
    assert prove_log(truck, made).check("pin-span").verdict is FAIL


def test_volts_without_the_supply_are_not_compared(truck: Truck) -> None:
    """The pin is compared with the battery: without its volts the span is not shown."""
    made = with_pin(many_taps(32).made(), unit="V")
    del made.values["supply"]
    report = prove_log(truck, made)
    assert report.check("pin-span").verdict is OPEN and "supply" in report.check("pin-span").needs


def test_pin_meaning(truck: Truck) -> None:
    """The controller's word against the reading; up and down swapped in the controller fails."""
    words = ("automatic", "manual", "up", "down")
    for swapped, wanted in ((False, PASS), (True, FAIL)):
        day = Day(seconds=200.0)
        for number in range(20):
            day.tap(5.0 + 8.0 * number, "down" if number % 2 else "up", length_s=0.6)
        made = with_pin(day.made(), idle_to=0.0)
        pin = made.values["pin.taps"]
        for begin in range(170, 194, 4):
            pin[(made.time_s >= begin) & (made.time_s < begin + 2)] = IDLE
        late = np.roll(pin, 3)
        up, down = (3.0, 2.0) if swapped else (2.0, 3.0)
        made.values["meaning.taps"] = np.where(
            late > 0.4, down, np.where(late > 0.2, up, np.where(late > 0.08, 1.0, 0.0))
        )
        made.labels = {**made.labels, "meaning.taps": words}
        assert prove_log(truck, made).check("pin-meaning").verdict is wanted


def test_a_margin_that_runs_away(truck: Truck) -> None:
    """Manual creeps from 11 % to 13.4 % in an hour: its edge at 15 % is reached within the next."""
    for end, wanted in ((0.134, FAIL), (0.111, PASS)):
        made = Day(seconds=3600.0, rate_hz=20.0).made()
        rng = np.random.default_rng(3)
        made.values["pin.taps"] = np.linspace(0.11, end, len(made.time_s)) + rng.normal(0.0, 2e-4, len(made.time_s))
        made.units = {**made.units, "pin.taps": "ratio"}
        assert prove_log(truck, made).check("pin-margin").verdict is wanted
    short = with_pin(many_taps(4).made())
    assert prove_log(truck, short).check("pin-margin").verdict is OPEN


def test_trend_is_least_squares() -> None:
    """Against numpy's polynomial fit; a straight line has no band."""
    at = np.arange(10.0) * 300.0
    rng = np.random.default_rng(5)
    margin = 0.8 - 1e-4 * at + rng.normal(0.0, 0.01, 10)
    made = trend_of(at, margin)
    assert made is not None
    slope, height = np.polyfit(at, margin, 1)
    assert (made.slope, made.now) == (pytest.approx(slope), pytest.approx(slope * at[-1] + height))
    exact = trend_of(at, 0.8 - 1e-4 * at)
    assert exact is not None and exact.high - exact.low == pytest.approx(0.0, abs=1e-12)
    assert trend_of(at[:5], margin[:5]) is None


def test_two_stations_show_as_two_heaps(truck: Truck) -> None:
    """Half of the presses read 1.5 % more: told, and no fault while both lie in the span."""
    rng = np.random.default_rng(7)
    noise = rng.normal(0.0, 2e-4, 40)
    assert two_heaps(0.24 + noise, 0.05) is None
    heaps = two_heaps(np.where(np.arange(40) % 2, 0.24, 0.262) + noise, 0.05)
    assert heaps == (pytest.approx(0.24, abs=1e-3), pytest.approx(0.262, abs=1e-3))
    day = Day(seconds=400.0)
    made = day_of_two_stations(day)
    told = [each for each in prove_log(truck, made).check("pin-span").findings if "two heaps" in each.text]
    assert len(told) == 1 and told[0].verdict is None


def day_of_two_stations(day: Day) -> Made:
    """Thirty taps up, each followed by one down; every second one from a station that reads more."""
    for number in range(40):
        day.tap(5.0 + 9.0 * number, "down" if number % 2 else "up")
    made = with_pin(day.made())
    for number in range(0, 40, 4):
        made.values["pin.taps"][(made.time_s >= 5.0 + 9.0 * number - 1e-6) & (made.time_s < 5.15 + 9.0 * number)] = (
            0.237
        )
    return made


def test_margins_are_in_parts_of_half_the_window(truck: Truck) -> None:
    """The middle of the window has margin 1, an edge 0."""
    window = settings_of(truck).lines[0].window("up")
    assert window is not None
    assert margins(np.array([0.25, 0.20, 0.31]), window).tolist() == pytest.approx([1.0, 0.0, -0.2])


def test_supply(truck: Truck) -> None:
    """Below the run range with the engine running fails; while cranking the crank range counts."""
    for volts, engine, wanted in ((9.9, 2000.0, FAIL), (10.45, 2000.0, OPEN), (9.0, 250.0, PASS), (13.0, 2000.0, PASS)):
        made = Day(seconds=120.0).made()
        rows = (made.time_s >= 50.0) & (made.time_s < 52.0)
        made.values["supply"][rows], made.values["engine"][rows] = volts, engine
        assert prove_log(truck, made).check("supply").verdict is wanted, (volts, engine)


def test_a_sag_that_begins_beside_a_gap_is_judged_by_what_lies_clear_of_it(truck: Truck) -> None:
    """Within 2 s of a gap nothing counts; a sag that goes on beyond that is seen all the same."""
    for until_s, wanted in ((61.9, PASS), (62.05, PASS), (62.5, FAIL), (64.0, FAIL)):
        made = Day(seconds=200.0).made(gaps=(6000,))
        made.values["supply"][6030 : round(until_s * 100.0)] = 9.0
        check = prove_log(truck, made).check("supply")
        if wanted is FAIL:
            assert check.verdict is FAIL, until_s
            assert check.findings[0].from_s == pytest.approx(62.0)
        else:
            assert check.verdict is not FAIL, until_s


def test_a_single_low_sample_is_no_sag(truck: Truck) -> None:
    """One sample alone is a glitch, not a finding."""
    made = Day(seconds=120.0).made()
    made.values["supply"][5000] = 3.0
    report = prove_log(truck, made)
    assert report.check("supply").verdict is PASS


def test_temperature(truck: Truck) -> None:
    """Too hot at the coder for 20 s fails; the air alone can never pass."""
    made = Day(seconds=900.0, rate_hz=10.0).made()
    made.values["coder_temperature"] = np.full(len(made.time_s), 60.0)
    assert prove_log(truck, made).check("temperature").verdict is PASS
    made.values["coder_temperature"][1000:1200] = 85.0
    assert prove_log(truck, made).check("temperature").verdict is FAIL
    made.values["ambient"] = made.values.pop("coder_temperature")
    assert prove_log(truck, made).check("temperature").verdict is OPEN


SESSION = """format = 1
[[phase]]
kind = "key on, engine off"
from = "0 s"
to = "200 s"
up = 10
down = {down}
held = "0.5 s"
"""


@pytest.mark.parametrize(
    ("down", "rate_hz", "wanted"), [(10, 100.0, PASS), (11, 100.0, FAIL), (10, 5.0, PASS), (10, 2.0, OPEN)]
)
def test_press_count(truck: Truck, down: int, rate_hz: float, wanted: Verdict) -> None:
    """Presses of half a second need a sample every quarter."""
    day = Day(seconds=210.0, rate_hz=rate_hz)
    for number in range(20):
        day.tap(5.0 + 9.0 * number, "down" if number % 2 else "up", length_s=0.5, delay_s=None)
    script = script_of(SESSION.format(down=down))
    assert prove_log(truck, day.made(), script).check("press-count").verdict is wanted


DETENTS = """format = 1
[[phase]]
kind = "detents"
from = "0 s"
to = "50 s"
detents = ["park", "drive", "manual", "drive", "park"]
"""


@pytest.mark.parametrize(
    ("codes", "wanted"), [((0, 1, 2, 1, 0), PASS), ((0, 1, 1, 1, 0), FAIL), ((0, 1, 2, 3, 0), FAIL)]
)
def test_detents(truck: Truck, codes: tuple[int, ...], wanted: Verdict) -> None:
    """One code for two detents, and two codes for one, both fail."""
    made = Day(seconds=60.0).made()
    made.values["lever"] = np.repeat(np.array([*codes, codes[-1]], dtype=float), len(made.time_s) // 6)
    made.labels = {"lever": ("P", "D", "M", "X")}
    assert prove_log(truck, made, script_of(DETENTS)).check("detents").verdict is wanted


def scripted(up: int, down: int) -> str:
    """A drive of counted taps."""
    return (
        f'format = 1\n[[phase]]\nkind = "drive"\nfrom = "0 s"\nto = "260 s"\nup = {up}\ndown = {down}\nrefused_up = 1\n'
    )


def test_scripted_steps_prove_taps_without_a_tap_channel(truck: Truck) -> None:
    """At 10 Hz, no tap channel, 33 pressed up with one refused, 32 down."""
    made = many_taps(32, rate_hz=10.0).made(drop=("tap_up", "tap_down"))
    report = prove_log(truck, made, script_of(scripted(33, 32)))
    assert report.check("scripted-steps").verdict is PASS, report.check("scripted-steps").text
    assert report.check("missed-tap").verdict is OPEN
    assert prove_log(truck, made, script_of(scripted(34, 32))).check("scripted-steps").verdict is FAIL


def test_false_taps(truck: Truck) -> None:
    """Hands off for 3.2 h without a tap passes; one tap fails; less time is not shown."""
    for hours, taps, wanted in ((3.2, 0, PASS), (0.5, 0, OPEN), (0.5, 1, FAIL)):
        day = Day(seconds=hours * 3600.0, rate_hz=50.0)
        for _ in range(taps):
            day.tap(100.0, "up", delay_s=None)
        script = script_of(f'format = 1\n[[phase]]\nkind = "hands off"\nfrom = "0 s"\nto = "{day.seconds - 1:.0f} s"')
        made = day.made(drop=("turbine", "output", "road", "oil"))
        assert prove_log(truck, made, script).check("false-tap").verdict is wanted


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "format"),
        ("format = 1", "one [[phase]]"),
        ('format = 1\n[[phase]]\nkind = "walk"\nfrom = "0 s"\nto = "1 s"', "none of"),
        ('format = 1\n[[phase]]\nkind = "drive"\nfrom = "5 s"\nto = "1 s"\nup = 1', "not after"),
        ('format = 1\n[[phase]]\nkind = "drive"\nfrom = "0 s"\nto = "9"\nup = 1', "not a time"),
        ('format = 1\n[[phase]]\nkind = "drive"\nfrom = "0 s"\nto = "9 s"\nup = 1\nrefused_up = 2', "more than the up"),
        ('format = 1\n[[phase]]\nkind = "drive"\nfrom = "0 s"\nto = "9 s"\nup = -1', "no count"),
        ('format = 1\n[[phase]]\nkind = "drive"\nfrom = "0 s"\nto = "9 s"\nupp = 1', "unknown key"),
        ('format = 1\n[[phase]]\nkind = "detents"\nfrom = "0 s"\nto = "9 s"', "two positions"),
        ("format = 1\n[[phase", "no TOML"),
    ],
)  # fmt: skip
def test_a_bad_script_says_what_is_wrong(text: str, said: str) -> None:
    """Where, what was read, what would be right."""
    with pytest.raises(ScriptFault) as fault:
        script_of(text)
    assert said in str(fault.value)


def test_a_script_of_another_log_is_refused(truck: Truck, tmp_path) -> None:
    """A phase names its log where there are several, and one that is there."""
    made = many_taps(2).made()
    with pytest.raises(ScriptFault, match="none of made.csv"):
        prove_log(truck, made, script_of(scripted(1, 1).replace("[[phase]]", '[[phase]]\nlog = "other.csv"')))
    with pytest.raises(ScriptFault, match="write which one"):
        prove_log(truck, [made, many_taps(2).made()], script_of(scripted(1, 1)))
    with pytest.raises(ScriptFault, match="cannot be read"):
        load_script(tmp_path / "none.toml")
    with pytest.raises(NoLog):
        prove_log(truck, [])


def test_offers_are_what_was_seen(truck: Truck) -> None:
    """Supply over ten minutes and the settled readings."""
    made = Day(seconds=700.0, rate_hz=20.0).made()
    made.values["supply"] = np.linspace(13.2, 14.1, len(made.time_s))
    (offer,) = [each for each in prove_log(truck, made).offers if each.path == "supply.run"]
    assert (offer.low, offer.high) == (pytest.approx(13.2, abs=0.05), pytest.approx(14.1, abs=0.05))
    assert 'basis = "measured"' in offer.text


def test_the_plan_holds_only_what_is_open(truck: Truck) -> None:
    """Every check has a step or a reason, but for the clock, which any log shows; passed checks need none."""
    whole = plan_of(truck)
    answered = {check for session in whole.sessions for step in session.steps for check in step.proves}
    assert answered | {"time-base"} >= set(whole.open) and not whole.unanswered
    report: LogReport = prove_log(truck, with_pin(many_taps(32).made()))
    rest = plan_of(truck, report)
    assert "missed-tap" not in rest.open and "detents" in rest.open
    for plan in (whole, rest):
        script_of(plan.script)
        for session in plan.sessions:
            assert session.cautions
        as_json(plan)
    bare = replace(truck, drive=None)
    assert "downshift-guard" in {c for s in plan_of(bare).sessions for step in s.steps for c in step.proves}
    assert plan_of(bare).unanswered["over-speed"].startswith("The design says nothing of the driveline")


def test_a_log_without_anything_shows_nothing(truck: Truck) -> None:
    """One channel, three rows: every check is not shown but the clock's, and nothing breaks."""
    made = Made(np.array([0.0, 0.1, 0.2]), {"engine": np.array([900.0, 901.0, np.nan])})
    report = prove_log(truck, made)
    assert {each.verdict for each in report.checks} == {OPEN, PASS}
    assert [each.check for each in report.checks if each.verdict is PASS] == ["time-base"]
    empty = Made(np.empty(0), {"engine": np.empty(0), "pin.taps": np.empty(0)}, units={"pin.taps": "ratio"})
    assert prove_log(truck, empty).verdict is OPEN


def test_a_truck_without_a_driveline_still_has_its_taps(truck: Truck) -> None:
    """Taps in the top gear of the log are not known as such; all else of taps stands."""
    bare = replace(truck, drive=None)
    report = prove_log(bare, with_pin(many_taps(32).made()))
    assert report.check("pin-window").verdict is PASS
    assert report.check("gear-slip").verdict is OPEN
    assert not [each for each in report.checks if each.verdict is FAIL]


def test_pin_checks_do_not_hang_on_chunks(truck: Truck) -> None:
    """Presses, lost readings and blocks are the same for any cut."""
    made = with_pin(many_taps(8).made())
    made.values["pin.taps"][(made.time_s > 20.0) & (made.time_s < 20.4)] = 0.36
    one, other = (as_json(prove_log(truck, each)) for each in (made, recut(made, [997, 13])))
    assert one == other
