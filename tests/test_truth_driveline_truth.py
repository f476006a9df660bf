"""The driveline's sums against the checker that was written without sight of them: a small run, and the same from the
command line's JSON. The large run is `dev.py truth N --drive`."""

from __future__ import annotations

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pinproof.cli import group
from pinproof.driveline import Span
from pinproof.driveline.tyre import rolled
from tests.truth import driveline_truth as dt
from tests.truth import driveline_verdicts as dv
from tests.truth.agree_driveline_truth import Outcome, compare, compare_made
from tests.truth.driveline_trucks import HEAD, Made, make

SEEDS = range(9000, 9040)


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    return [compare(seed) for seed in SEEDS]


def test_engine_and_checker_agree(outcomes: list[Outcome]) -> None:
    assert not {each.seed: each.disagreements[:3] for each in outcomes if each.disagreements}


def test_the_run_reached_what_it_is_for(outcomes: list[Outcome]) -> None:
    seen: Counter[str] = sum((each.seen for each in outcomes), Counter())
    assert seen["drivelines"] == len(SEEDS) and seen["numbers"] > 8_000 and seen["skip lines"] >= 5
    for check in ("up line", "down line", "landing", "separation", "lead", "limiter"):
        assert seen[f"{check} pass"] >= 3 and seen[f"{check} fail"] >= 3, check
    for check in ("up line", "separation", "lead", "limiter"):
        assert seen[f"{check} not shown"] >= 3, check
    for mark in ("keep", "unsafe", "pointless", "hunts", "not known"):
        assert seen[f"mark {mark}"] >= 10, mark
    for kind in ("tyre by size", "tyre by roll_out", "tyre by revolutions", "slip led", "limiter unknown"):
        assert seen[kind] >= 3, kind
    assert seen["ties"] < 0.1 * sum(seen[f"mark {m}"] for m in ("keep", "unsafe", "hunts", "not known", "pointless"))


@pytest.mark.parametrize(
    ("where", "wrong"),
    [
        ("lines.hunts_with", lambda up, down: (up.load, up.before, up.after) == (down.load, down.after, down.before)),
        ("lines.above_most", lambda engine, most, limiter: ""),
        ("borrowed.above_most", lambda engine, most, limiter: ""),
        ("leads.ANY_LOAD", "no such load"),
        ("leads.gained_rpm", lambda climb, time: Span.exact(climb.value * time.value)),
        ("sums.gained_m_per_s", lambda latency, push: 0.0),
        ("tyre.USUAL_FACTOR", Span(3.0, 3.05, 3.1)),
        ("lines.SAFE_SEPARATION", 0.12),
        ("borrowed.HUNTS_BELOW", 0.03),
    ],
)
def test_a_wrong_engine_is_noticed(monkeypatch: pytest.MonkeyPatch, where: str, wrong: Any) -> None:
    monkeypatch.setattr(f"pinproof.driveline.{where}", wrong)
    rolled.cache_clear()
    try:
        assert any(compare(seed).disagreements for seed in range(9000, 9160)), f"no seed shows that {where} is wrong"
    finally:
        rolled.cache_clear()


@pytest.mark.parametrize("seed", [9000, 9002, 9005, 9011, 9017, 9023])
def test_the_command_says_what_the_checker_says(tmp_path: Path, seed: int) -> None:
    """From files on disk to the JSON that a program reads: the verdict, the exit code, and the permitted speeds."""
    made = make(seed)
    path = tmp_path / "d.toml"
    path.write_text(made.text, encoding="utf-8")
    for name, text in made.tables.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    result = CliRunner().invoke(group, ["gears", str(path), "--json"])
    told = json.loads(result.stdout)
    d = dt.read(made.text)
    whole = dv.whole(d, made.tables)
    assert whole.tie or (told["verdict"], result.exit_code) == (whole.word, 0 if whole.word == dv.PASS else 1)
    assert told["rolling_m"]["low"] == pytest.approx(float(d.circumference.low), rel=1e-9)
    assert [(x["transfer"], x["gear"]) for x in told["downshifts"]] == [(r, g) for r in d.ranges for g in d.names[:-1]]
    for each in told["downshifts"]:
        wanted = max(Fraction(0), dt.permitted(d, each["transfer"], each["gear"]).low)
        assert each["permitted_m_per_s"] == pytest.approx(float(wanted), rel=1e-9, abs=1e-12)
    marks = Counter(c["mark"] for t in told["borrowed"] for _, cells in t["rows"] for c in cells if c["converted"])
    ours = Counter(
        cell.mark.word
        for donor in d.donors
        for rng in d.ranges
        for cell in dv.converted(d, rng, donor, *dv.table(made.tables[donor.file])).values()
    )
    assert marks == ours


PLAIN = (
    HEAD.format(seed="x")
    + """[drive]
tyre = { size = "39x12.50R17", factor = "3.05", growth = "none", wear = "none" }
axle = { ratio = "5.00" }
transfer = [{ name = "high", ratio = "1" }]
[[drive.gear]]
name = "1"
ratio = "4.00"
climb = "2000 rpm/s"
[[drive.gear]]
name = "2"
ratio = "2.40"
[[drive.gear]]
name = "3"
ratio = "1.55"
[drive.converter]
slip = "none"
[drive.guard]
margin = "5 %"
latency = "0.5 s"
acceleration = "2 m/s2"
"""
)


def _with(*rows: str, engine: str = 'most = "6500 rpm", limiter = "6400 rpm"') -> Made:
    return Made(
        PLAIN.replace("[drive]\n", f"[drive]\nengine = {{ {engine} }}\n")
        + "".join(f"[[drive.shift]]\n{row}\n" for row in rows)
    )


def _said(made: Made) -> dict[tuple[str, str], str]:
    outcome = compare_made(0, made)
    assert not outcome.disagreements
    return {(check, subject): said.word for check, subject, said in dv.checks(dt.read(made.text))}


def test_a_line_for_any_load_is_compared_with_the_lines_of_each_load() -> None:
    """An upshift at any load and a downshift at full throttle above it: at full throttle they chase each other."""
    said = _said(
        _with('from = "2"\nto = "3"\noutput = "2000 rpm"', 'from = "3"\nto = "2"\nload = "full"\noutput = "2100 rpm"')
    )
    assert said["separation", "2 ↔ 3, full"] == "fail"


def test_an_upshift_above_the_most_is_unsafe_where_nothing_holds_the_engine() -> None:
    row = 'from = "2"\nto = "3"\nengine = "6700 rpm"'
    for engine in ('most = "6500 rpm", limiter = "unknown"', 'most = "6500 rpm", limiter = "6800 rpm"'):
        assert _said(_with(row, engine=engine))["up line", "2 → 3, any load"] == "fail"
    assert _said(_with(row))["up line", "2 → 3, any load"] == "fail"  # held at 6400: it never shifts


def test_a_borrowed_upshift_that_a_wide_limiter_may_stop_is_not_kept() -> None:
    """A limiter of 6400 to 6600 rpm may hold the engine below 2688 rpm × 2.40 = 6451 rpm, so that it never shifts."""
    made = _with(engine='most = "6500 rpm", limiter = "6400 rpm to 6600 rpm"')
    made.text += """[[drive.borrowed]]
id = "t"
file = "t.csv"
keyed_by = "output speed"
unit = "rpm"
holds = "shift speeds"
gears = "same"
"""
    made.tables["t.csv"] = "shift,low,full\n2>3,2600,2688\n"
    assert not compare_made(0, made).disagreements
    d = dt.read(made.text)
    cells = dv.converted(d, "high", d.donors[0], *dv.table(made.tables["t.csv"]))
    assert [cells[0, column].mark.word for column in (0, 1)] == ["keep", "not known"]


def test_a_line_for_any_load_meets_the_limiter_at_full_throttle() -> None:
    row = 'from = "1"\nto = "2"\nengine = "6300 rpm"'
    timed = 'most = "6500 rpm", limiter = "6400 rpm", upshift_time = "0.2 s"'
    assert _said(_with(row, engine=timed))["lead", "1 → 2, any load"] == "fail"
    assert _said(_with(f'{row}\nload = "half"', engine=timed))["lead", "1 → 2, half"] == "not shown"


# the checker itself, against arithmetic done by hand


def test_checker_by_hand() -> None:
    """39 in × 3.05 = 3.02133 m; 100 km/h = 1666.67 m/min → 551.63 rpm of the wheel, × 5 × 4 = 11 032.7 rpm; 6500 rpm →
    58.92 km/h in first; less 5 % and 1 m/s: 52.37 km/h; 6200 rpm × 1.55 ÷ 2.40 = 4004.2 rpm."""
    d = dt.read(_with().text)
    assert float(d.circumference.value) == pytest.approx(3.021330, abs=1e-6)
    hundred = dt.exact(Fraction(1000, 36))
    assert float(dt.engine_at_road(d, "high", "1", hundred).value) == pytest.approx(11032.7, abs=0.1)
    assert float(dt.limit(d, "high", "1").value) * 3.6 == pytest.approx(58.916, abs=0.001)
    assert float(dt.permitted(d, "high", "1").low) * 3.6 == pytest.approx(52.370, abs=0.001)
    assert float(dt.after_shift(d, "2", "3", dt.exact(6200)).value) == pytest.approx(4004.17, abs=0.01)


def test_checker_sizes() -> None:
    """315/75R16: 16 in and twice 75 % of 315 mm are 0.4064 + 0.4725 m."""
    assert dt.size_diameter_m("315/75R16") == Fraction("0.8789")
    assert dt.size_diameter_m("LT285/70-17") == Fraction("0.8308")
    assert dt.size_diameter_m("37x12.50R17") == Fraction("0.9398")


def test_checker_against_the_customary_us_sum() -> None:
    """rpm = mph × ratio × 336.135 ÷ D in inches, which takes π·D for the circumference: 60 mph × 20 × 336.135 ÷ 39."""
    d = dt.read(_with().text.replace('factor = "3.05"', 'factor = "3.14159265"'))
    found = dt.engine_at_road(d, "high", "1", dt.exact(dt.one("60 mph")))
    assert float(found.value) == pytest.approx(60 * 20 * 336.135 / 39, rel=5e-6)
