"""The driveline sums against a plain reckoning over every corner of the box, and identities that must hold.

Every interval on generated drivelines: `tests/truth/agree_driveline.py`.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.cli.show_gears import sums_words
from pinproof.design import loads
from pinproof.driveline import DriveFault, DriveSums, Span, drive_sums
from pinproof.driveline.lines import permitted, road, rpm
from pinproof.verdict import Verdict

BOX = {
    "way": (30.0, 30.3),
    "growth": (0.0, 0.02),
    "wear": (0.0, 0.03),
    "axle": (4.9, 5.1),
    "transfer": (1.0, 1.0),
    "gear1": (3.95, 4.05),
    "gear2": (2.4, 2.4),
    "gear3": (1.5, 1.6),
    "slip": (-0.01, 0.08),
    "most": (6450.0, 6500.0),
    "limiter": (6300.0, 6400.0),
}
LINES = """
[[drive.shift]]
from = "1"
to = "2"
load = "full"
engine = "{up}"
[[drive.shift]]
from = "2"
to = "1"
load = "full"
output = "{down}"
"""


def text_of(
    box: dict[str, tuple[float, float]], lines: str = "", guard: tuple[float, float, float] = (5, 0.5, 2)
) -> str:
    """A design file with a driveline of three gears."""

    def span(name: str, unit: str = "", scale: float = 1.0) -> str:
        low, high = (f"{end * scale:.12g}{unit}" for end in box[name])
        return f'{{ low = "{low}", high = "{high}" }}'

    return f"""
format = 1
id = "pp-x"
temperature = "20 °C"
[supply]
run = "13.8 V"
[drive.tyre]
roll_out = {span("way", " m")}
turns = "10"
growth = {span("growth", " %", 100.0)}
wear = {span("wear", " %", 100.0)}
[drive.axle]
ratio = {span("axle")}
[[drive.transfer]]
name = "high"
ratio = {span("transfer")}
[[drive.gear]]
name = "1"
ratio = {span("gear1")}
[[drive.gear]]
name = "2"
ratio = {span("gear2")}
[[drive.gear]]
name = "3"
ratio = {span("gear3")}
[drive.converter]
slip = {span("slip", " %", 100.0)}
[drive.engine]
most = {span("most", " rpm")}
limiter = {span("limiter", " rpm")}
[drive.guard]
margin = "{guard[0]} %"
latency = "{guard[1]} s"
acceleration = "{guard[2]} m/s2"
[[drive.sensor]]
id = "s"
place = "turbine"
teeth = "60"
{lines}"""


def sums_of(box: dict[str, tuple[float, float]], lines: str = "", at: float = 20.0) -> DriveSums:
    return drive_sums(loads(text_of(box, lines)), [at])


def corners(box: dict[str, tuple[float, float]]) -> Iterator[dict[str, float]]:
    """Every truck at a corner of the box, with its circumference worked out."""
    for ends in itertools.product(*box.values()):
        truck = dict(zip(box, ends, strict=True))
        truck["around"] = truck["way"] / 10.0 * (1.0 + truck["growth"]) * (1.0 - truck["wear"])
        yield truck


def attained(found: Span, values: list[float]) -> None:
    assert found.low == pytest.approx(min(values), rel=1e-9)
    assert found.high == pytest.approx(max(values), rel=1e-9)


boxes = st.fixed_dictionaries(
    {
        name: st.tuples(st.floats(0.0, 0.02), st.floats(0.0, 0.02)).map(
            lambda off, low=low, high=high: (low - off[0] * abs(low), high + off[1] * abs(high))
        )
        for name, (low, high) in BOX.items()
    }
)


@settings(max_examples=15)
@given(boxes, st.floats(3.0, 60.0))
def test_every_range_is_attained_by_a_truck_of_the_box(box: dict[str, tuple[float, float]], speed: float) -> None:
    sums = sums_of(box, at=speed)
    trucks = list(corners(box))
    for gear in ("1", "2", "3"):
        name = f"gear{gear}"

        def overall(truck: dict[str, float], name: str = name) -> float:
            return truck["axle"] * truck["transfer"] * truck[name]

        row = sums.gear("high", gear)
        at = next(each for each in sums.at if each.gear == gear)
        wheel = [speed * 60.0 / truck["around"] for truck in trucks]
        turbine = [turns * overall(truck) for turns, truck in zip(wheel, trucks, strict=True)]
        attained(at.turbine_rpm, turbine)
        attained(at.engine_rpm, [t / (1.0 - truck["slip"]) for t, truck in zip(turbine, trucks, strict=True)])
        reach = [t["limiter"] * (1.0 - t["slip"]) / overall(t) * t["around"] / 60.0 for t in trucks]
        assert row.reach_m_per_s is not None
        attained(row.reach_m_per_s, reach)
        pulses = next(each for each in sums.sensors if each.gear == gear)
        attained(pulses.per_m, [60.0 * overall(t) / t["around"] for t in trucks])


@settings(max_examples=15)
@given(boxes, st.booleans())
def test_a_permitted_downshift_never_over_speeds_and_is_no_tighter_than_asked(
    box: dict[str, tuple[float, float]], overrun: bool
) -> None:
    """At the permitted speed the worst truck, quicker by what it gains, has exactly the margin left."""
    if overrun:
        box = {**box, "slip": (-0.06, -0.02)}  # then the turbine is the quicker one
    sums = sums_of(box)
    for gear in ("1", "2"):
        found = sums.downshift("high", gear)
        left = []
        for truck in corners(box):
            then = found.permitted_m_per_s + 0.5 * 2.0
            turbine = then * 60.0 / truck["around"] * truck["axle"] * truck["transfer"] * truck[f"gear{gear}"]
            left.append(1.0 - max(turbine, turbine / (1.0 - truck["slip"])) / truck["most"])
        assert min(left) == pytest.approx(0.05, abs=1e-9)


@settings(max_examples=15)
@given(boxes, st.floats(3000.0, 6000.0))
def test_drop_after_a_shift_is_attained(box: dict[str, tuple[float, float]], engine: float) -> None:
    """Slip before and after are two numbers, so each corner is taken with both."""
    up = LINES.format(up=f"{engine:.6f} rpm", down="100 rpm")
    step = sums_of(box, up).steps[0]
    after = [
        engine * (1.0 - before) * two / one / (1.0 - then)
        for before, then in itertools.product(box["slip"], repeat=2)
        for one, two in itertools.product(box["gear1"], box["gear2"])
    ]
    attained(step.after_rpm, after)
    assert step.drop_rpm[0] == pytest.approx(engine - max(after), abs=1e-6)
    assert step.drop_rpm[2] == pytest.approx(engine - min(after), abs=1e-6)


@pytest.mark.parametrize(
    ("limiter", "reach", "start"),
    [
        ((6300.0, 6400.0), (6300.0, 6350.0, 6400.0), "the limiter"),
        ((6500.0, 6600.0), (6450.0, 6475.0, 6500.0), "the engine's most"),
        ((6400.0, 6500.0), (6400.0, 6450.0, 6500.0), "the lower of limiter and most"),
        (None, (6450.0, 6475.0, 6500.0), "the engine's most"),
    ],
)
def test_a_drop_begins_at_what_the_engine_can_reach(
    limiter: tuple[float, float] | None, reach: tuple[float, float, float], start: str
) -> None:
    """Where a shift has no line: never above the limiter, and it says what it begins from; a line goes first."""
    text = text_of({**BOX, "limiter": limiter or BOX["limiter"]}, LINES.format(up="6200 rpm", down="100 rpm"))
    if limiter is None:
        text = re.sub(r"(?m)^limiter = .*$", 'limiter = "unknown"', text)
    sums = drive_sums(loads(text))
    first, second = sums.steps
    assert (first.before_rpm.value, first.start) == (6200.0, "line, full")
    assert (second.before_rpm.low, second.before_rpm.value, second.before_rpm.high) == pytest.approx(reach)
    assert (second.start, second.load) == (start, "") and sums.reach_rpm == second.before_rpm
    landed = [reach[2] * two * (1.0 - one) / 2.4 / (1.0 - other)
              for two in BOX["gear3"] for one, other in itertools.product(BOX["slip"], repeat=2)]  # fmt: skip
    assert second.after_rpm.high == pytest.approx(max(landed))
    assert start in sums_words(sums, sums.checks)


def test_the_invented_example_by_hand() -> None:
    """Axle 5.00, circumference 3.0213 m (39 in × 3.05): worked with a pocket calculator."""
    box = {name: (low, low) for name, (low, _) in BOX.items()}
    box |= {"way": (30.213, 30.213), "axle": (5.0, 5.0), "gear1": (4.0, 4.0), "gear3": (1.55, 1.55), "slip": (0.0, 0.0)}
    box |= {"most": (6500.0, 6500.0)}
    sums = sums_of(box, LINES.format(up="6200 rpm", down="1000 rpm"), at=100.0 / 3.6)
    assert [round(each.engine_rpm.value) for each in sums.at] == [11033, 6620, 4275]
    assert sums.at[0].output_rpm.value == pytest.approx(2758.2, abs=0.1)
    limits = [each.limit_m_per_s.value * 3.6 for each in sums.downshifts]
    assert limits == pytest.approx([58.9, 98.2], abs=0.05)
    told = [each.permitted_m_per_s * 3.6 for each in sums.downshifts]
    assert told == pytest.approx([58.91 * 0.95 - 3.6, 98.19 * 0.95 - 3.6], abs=0.05)
    assert sums.steps[0].after_rpm.value == pytest.approx(3720.0, abs=1e-6)
    assert sums.at[0].engine_rpm.is_exact, "a box of one truck gives bare numbers"


def verdicts(lines: str, **changed: tuple[float, float]) -> dict[str, Verdict]:
    sums = sums_of({**BOX, **changed}, lines)
    return {each.check: each.verdict for each in sums.checks}


def test_an_up_line_above_the_limiter_never_shifts() -> None:
    found = {
        up: verdicts(LINES.format(up=f"{up} rpm", down="900 rpm"))["up line"] for up in (6200, 6299, 6301, 6399, 6400)
    }
    assert found[6200] is found[6299] is Verdict.PASS
    assert found[6301] is found[6399] is Verdict.NOT_SHOWN
    assert found[6400] is Verdict.FAIL


def test_a_limiter_above_the_most_is_told() -> None:
    lines = LINES.format(up="6000 rpm", down="900 rpm")
    assert verdicts(lines)["limiter"] is Verdict.PASS
    assert verdicts(lines, limiter=(6400.0, 6460.0))["limiter"] is Verdict.NOT_SHOWN
    assert verdicts(lines, limiter=(6510.0, 6600.0))["limiter"] is Verdict.FAIL


def test_down_line_is_judged_at_the_permitted_speed() -> None:
    """Just below and just above, whichever quantity it is given in."""
    permitted_rpm = sums_of(BOX).downshift("high", "1").permitted_rpm
    permitted_m_per_s = sums_of(BOX).downshift("high", "1").permitted_m_per_s
    for key, unit, edge in (("output", "rpm", permitted_rpm), ("road", "m/s", permitted_m_per_s)):
        for share, verdict in ((0.9999, Verdict.PASS), (1.0001, Verdict.FAIL)):
            lines = LINES.format(up="6000 rpm", down="100 rpm").replace(
                'output = "100 rpm"', f'{key} = "{edge * share:.9f} {unit}"'
            )
            assert verdicts(lines)["down line"] is verdict, (key, share)


def test_separation_needs_a_tenth_and_hunts_below_a_twentieth() -> None:
    """Both in road speed: tyre, axle and slip cancel, so the sum is exact."""
    lines = LINES.format(up="6000 rpm", down="100 rpm").replace('engine = "6000 rpm"', 'road = "50 km/h"')
    found = {
        down: verdicts(lines.replace('output = "100 rpm"', f'road = "{down} km/h"'))["separation"]
        for down in ("44.99", "45.1", "47.4", "47.6", "51")
    }
    assert [found[each] for each in ("44.99", "45.1", "47.4", "47.6", "51")] == [
        Verdict.PASS, Verdict.NOT_SHOWN, Verdict.NOT_SHOWN, Verdict.FAIL, Verdict.FAIL
    ]  # fmt: skip


def test_a_line_without_its_partner_is_not_known() -> None:
    only_up = LINES.format(up="6000 rpm", down="900 rpm").split("[[drive.shift]]")[1]
    assert verdicts(f"[[drive.shift]]{only_up}")["separation"] is Verdict.NOT_SHOWN
    assert verdicts("")["up line"] is Verdict.NOT_SHOWN


@given(st.floats(0.1, 100.0), st.floats(0.0, 0.4), st.floats(0.0, 0.4))
def test_what_is_shown_holds_the_range(value: float, down: float, up: float) -> None:
    span = Span(value * (1.0 - down), value, value * (1.0 + up))
    for text, scale in ((rpm(span), 1.0), (road(span, "metric"), 1.0 / 3.6), (road(span, "us"), 0.44704)):
        low, high = (float(part) for part in (text.rsplit(" ", 1)[0].split(" to ") * 2)[:2])
        tiny = 0.5 if span.is_exact else 1e-5
        assert low * scale <= span.low + tiny and high * scale >= span.high - tiny


def test_a_permitted_speed_is_cut() -> None:
    found = sums_of(BOX).downshift("high", "2")
    output, speed = permitted(found, "metric")
    assert float(output.split()[0]) <= found.permitted_rpm and float(speed.split()[0]) / 3.6 <= found.permitted_m_per_s


def test_a_long_shift_downhill_leaves_nothing() -> None:
    sums = drive_sums(loads(text_of(BOX, guard=(5, 5.0, 5.0))))
    assert sums.downshift("high", "1").permitted_m_per_s == 0.0
    assert permitted(sums.downshift("high", "1"), "metric") == ("never", "never")
    braking = drive_sums(loads(text_of(BOX, guard=(5, 0.5, -4.0))))
    free = drive_sums(loads(text_of(BOX, guard=(5, 0.0, 2.0))))
    assert braking.downshift("high", "1") == free.downshift("high", "1"), "braking earns nothing"


def test_low_range_divides_road_limits_and_leaves_output_limits() -> None:
    high, low = sums_of(BOX).downshift("high", "2"), sums_of({**BOX, "transfer": (2.0, 2.0)}).downshift("high", "2")
    assert low.limit_rpm == high.limit_rpm
    assert low.limit_m_per_s.low == pytest.approx(high.limit_m_per_s.low / 2.0, rel=1e-12)
    assert math.isclose(low.permitted_m_per_s + 1.0, (high.permitted_m_per_s + 1.0) / 2.0, rel_tol=1e-9)


LEAD = """
[[drive.shift]]
from = "1"
to = "2"
load = "{load}"
engine = "{up} rpm"
[[drive.shift]]
from = "2"
to = "1"
load = "{load}"
output = "300 rpm"
"""


def lead(up: int, load: str = "full", climb: str = "1000 rpm/s to 2000 rpm/s", more: str = "") -> dict[str, Verdict]:
    """Limiter 6300 to 6400; the engine gains 100 to 400 rpm while the shift takes hold."""
    text = text_of(BOX, LEAD.format(load=load, up=up))
    text = text.replace('name = "1"\n', f'name = "1"\nclimb = "{climb}"\n').replace(
        'name = "2"\n', f'name = "2"\nclimb = "{climb}"\n'
    )
    text = text.replace("[drive.guard]", f'upshift_time = "0.1 s to 0.2 s"\n{more}\n[drive.guard]')
    return {each.subject: each.verdict for each in drive_sums(loads(text)).checks if each.check == "lead"}


def test_a_line_that_the_climbing_engine_outruns() -> None:
    """6300 − 400 is the latest safe line; from 6400 − 100 on every truck runs into the limiter."""
    found = {up: lead(up)["1 → 2, full"] for up in (5900, 5901, 6300, 6301)}
    assert list(found.values()) == [Verdict.PASS, Verdict.NOT_SHOWN, Verdict.NOT_SHOWN, Verdict.FAIL]
    assert lead(6301, load="half")["1 → 2, half"] is Verdict.NOT_SHOWN, "at half load it may climb not at all"
    assert lead(5900, load="half")["1 → 2, half"] is Verdict.PASS


def test_the_controllers_own_lead_must_be_what_the_engine_gains() -> None:
    found = {own: lead(5000, more=f'lead = "{own} rpm"')["at the limiter in 2"] for own in (400, 399, 100, 99)}
    assert list(found.values()) == [Verdict.PASS, Verdict.NOT_SHOWN, Verdict.NOT_SHOWN, Verdict.FAIL]


def test_a_lead_that_nobody_wrote_is_not_known() -> None:
    assert verdicts(LINES.format(up="6000 rpm", down="900 rpm"))["lead"] is Verdict.NOT_SHOWN
    sums = drive_sums(loads(text_of(BOX, LINES.format(up="6000 rpm", down="900 rpm"))))
    told = next(each for each in sums.checks if each.check == "lead")
    assert "engine.upshift_time, climb of gear 1" in told.cure


def test_a_skip_shift_is_judged_by_the_same_sums() -> None:
    """3 to 1: the permitted speed of gear 1; it hunts with the line that leads up out of 1."""
    edge = sums_of(BOX).downshift("high", "1").permitted_rpm
    both = LINES.format(up="6000 rpm", down="300 rpm").replace('from = "2"\nto = "1"', 'from = "3"\nto = "1"')
    for share, verdict in ((0.9999, Verdict.PASS), (1.0001, Verdict.FAIL)):
        found = verdicts(both.replace('"300 rpm"', f'"{edge * share:.9f} rpm"'))
        assert found["down line"] is verdict
    near = sums_of(BOX, both.replace('"300 rpm"', '"1400 rpm"'))
    pair = next(each for each in near.checks if each.check == "separation")
    assert pair.subject == "3 → 1 with 1 → 2, full" and pair.verdict is Verdict.NOT_SHOWN


def test_a_skip_up_lands_where_its_ratios_say() -> None:
    box = {name: (low, low) for name, (low, _) in BOX.items()}
    lines = LINES.format(up="6000 rpm", down="300 rpm").replace('to = "2"', 'to = "3"')
    row = next(each for each in sums_of(box, lines).lines if each.kind == "up")
    assert row.engine_after_rpm.value == pytest.approx(6000.0 * 1.5 / 3.95, rel=1e-12)


def test_a_design_without_a_driveline_is_told_what_to_do() -> None:
    with pytest.raises(DriveFault, match="--begin"):
        drive_sums(loads(text_of(BOX).partition("[drive.tyre]")[0]))
