"""A day of the invented truck Marram, driven by a small program here, with planted defects, and read back by hand.

Taps, commands, ratio and pin volts come from sums of this file; what the log must show is counted anew from the CSV.
"""

from __future__ import annotations

import csv
import math
import random
from pathlib import Path
from typing import Any

import pytest

from pinproof.design import load
from pinproof.logs import LogReport, load_map, open_log, prove_log

FILE = Path(__file__).parents[1] / "data" / "marram.toml"
GEAR = {1: 3.06, 2: 1.63, 3: 1.0, 4: 0.70}
TURN_M = 86.6 * 0.3048 / 9 * 1.0075 * 0.98  # middle of growth and wear
OUT_RPM_PER_MPH = 0.44704 * 60 / TURN_M * 4.56
GAP = (120.9, 125.6)  # nothing written between
BACK_AT, BACK_BY = 180.0, 37.0
SAG = (141.0, 143.5)
HEAD = ("Time", "Engine RPM", "Turbine RPM", "Output RPM", "Speed", "Tap Up", "Tap Down", "Gear Cmd", "Gear", "Lever",
        "Manual", "Battery", "ATF Temp", "Line Pressure", "Tap Pin")  # fmt: skip
UNITS = ("s", "rpm", "rpm", "rpm", "mph", "", "", "", "", "", "", "V", "°F", "psi", "V")
ROLES = {
    "Engine RPM": ("engine", "rpm"), "Turbine RPM": ("turbine", "rpm"), "Output RPM": ("output", "rpm"),
    "Speed": ("road", "mph"), "Tap Up": ("tap_up", "code"), "Tap Down": ("tap_down", "code"),
    "Gear Cmd": ("gear_commanded", "code"), "Gear": ("gear", "code"), "Manual": ("mode", "code"),
    "Battery": ("supply", "V"), "ATF Temp": ("oil", "°F"), "Tap Pin": ("pin.taps", "V"),
}  # fmt: skip


def pin_v(tap: str) -> float:
    """5 V behind 1.5 kΩ into 5.1 kΩ and the tapped resistor, by nodal conductances."""
    return 5 / 1500 / (1 / 1500 + 1 / 5100 + {"": 0.0, "u": 1 / 360.4, "d": 1 / 1800.4}[tap])


def planned() -> list[tuple[float, str, str]]:
    """A tap every three seconds, up in 2, down above, one of each defect at the first fitting tap from there on."""
    wanted = [("missed", "", 12), ("doubled", "u", 22), ("reversed", "d", 30), ("slow", "", 44)]
    out: list[tuple[float, str, str]] = []
    gear = 2
    for number in range(70):
        way = "u" if gear == 2 else "d"
        defect = "ok"
        if wanted and number >= wanted[0][2] and gear < 4 and wanted[0][1] in ("", way):
            defect = wanted.pop(0)[0]
        if defect != "missed":
            step = (1 if way == "u" else -1) * (-1 if defect == "reversed" else 1) * (2 if defect == "doubled" else 1)
            gear += step
        out.append((20.0 + 3.0 * number, way, defect))
    return out


def driven(path: Path) -> list[tuple[float, str, str]]:
    chance = random.Random(11)
    taps = planned()
    presses = [(at, at + 0.18 + 0.05 * chance.random(), way) for at, way, _ in taps]
    commands: list[tuple[float, int]] = [(0.0, 2)]
    slides: list[tuple[float, float, int, int]] = []
    for at, way, defect in taps:
        step = (1 if way == "u" else -1) * (-1 if defect == "reversed" else 1)
        for again in range({"missed": 0, "doubled": 2}.get(defect, 1)):
            when, old = at + 0.06 + 0.02 * chance.random() + 0.45 * again, commands[-1][1]
            commands.append((when, old + step))
            lasts = 1.7 if defect == "slow" else 0.30 + 0.05 * chance.random()
            slides.append((when + 0.1, when + 0.1 + lasts, old, old + step))
    rows: list[list[Any]] = []
    for tick in range(24000):
        t = tick * 0.01
        mph = 50 + 1.5 * math.sin(2 * math.pi * t / 40)
        output = mph * OUT_RPM_PER_MPH
        now = [each for each in slides if each[0] <= t < each[1]]
        done = [each for each in slides if each[1] <= t]
        shown = done[-1][3] if done else 2
        if now:
            share = (t - now[0][0]) / (now[0][1] - now[0][0])
            share = share * share * (3 - 2 * share)
            ratio = GEAR[now[0][2]] * (1 - share) + GEAR[now[0][3]] * share
        else:
            ratio = GEAR[shown]
        turbine = output * ratio * (1 + 0.0005 * chance.gauss(0, 1))
        tap = next((way for begin, end, way in presses if begin <= t < end), "")
        volts = (10.3 if SAG[0] <= t < SAG[1] else 13.9) + 0.02 * chance.gauss(0, 1)
        if GAP[0] < t < GAP[1]:
            continue
        stamp = t if t < BACK_AT - 1e-9 else t - BACK_BY
        command = [gear for at, gear in commands if at <= t][-1]
        rows.append([
            f"{stamp:.2f}", f"{turbine / (0.96 - 0.01 * math.sin(t)):.0f}", f"{turbine:.0f}", f"{output:.1f}",
            f"{mph:.2f}", int(tap == "u"), int(tap == "d"), command, shown, 5 if t >= 9.9 else 4, int(t >= 10.0),
            f"{volts:.2f}", f"{190 + 5 * math.sin(t / 50):.1f}", f"{95 + 3 * chance.gauss(0, 1):.0f}",
            f"{pin_v(tap) + 0.004 * chance.gauss(0, 1):.3f}",
        ])  # fmt: skip
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([HEAD, UNITS, *rows])
    return taps


def map_text() -> str:
    text = 'format = 1\nlogger = "own"\n[file]\nkind = "text"\nencoding = "utf-8"\ndelimiter = ","\ndecimal = "."\n'
    text += 'skip_lines = 0\nunit_row = true\nconfirmed = true\n[time]\nheader = "Time"\nkind = "number"\nunit = "s"\n'
    text += 'confirmed = true\n[[channel]]\nrole = "lever"\nheader = "Lever"\nunit = "code"\n'
    text += 'codes = { "4" = "D", "5" = "M" }\nconfirmed = true\n'
    for header, (role, unit) in ROLES.items():
        text += f'[[channel]]\nrole = "{role}"\nheader = "{header}"\nunit = "{unit}"\nconfirmed = true\n'
    return text


@pytest.fixture(scope="module")
def day(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[LogReport, list[tuple[float, str, str]], list[dict[str, str]]]:
    folder = tmp_path_factory.mktemp("marram")
    taps = driven(folder / "day.csv")
    (folder / "logger.toml").write_text(map_text(), encoding="utf-8")
    report = prove_log(load(FILE), [open_log([folder / "day.csv"], load_map(folder / "logger.toml"))])
    with (folder / "day.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))[1:]
    return report, taps, rows


def times(rows: list[dict[str, str]]) -> list[float]:
    """Seconds from the first row: what comes after the clock was set back follows 10 ms after the row before."""
    out, moved = [], 0.0
    for row in rows:
        stamp = float(row["Time"]) + moved
        if out and stamp < out[-1]:
            moved += out[-1] + 0.01 - stamp
            stamp = out[-1] + 0.01
        out.append(stamp)
    return out


def at(taps: list[tuple[float, str, str]], defect: str) -> float:
    (one,) = [when for when, _, what in taps if what == defect]
    return one


def test_each_planted_defect_is_found_at_its_time(day: Any) -> None:
    report, taps, _ = day
    for check, defect in (("missed-tap", "missed"), ("doubled-tap", "doubled"), ("reversed-tap", "reversed")):
        found = report.check(check)
        (one,) = [each for each in found.findings if str(each.verdict) == "fail"]
        assert str(found.verdict) == "fail" and one.from_s == pytest.approx(at(taps, defect), abs=0.0101)
    assert str(report.check("shift-time").verdict) == "fail"
    told = report.check("supply").text
    assert "0:02:21.0 to 0:02:23.5" in told and str(report.check("supply").verdict) == "fail"


def test_time_base_tells_gap_and_clock(day: Any) -> None:
    report, _, rows = day
    found = {each.subject: each.text for each in report.check("time-base").findings}
    assert "together 4.7 s" in found["gap"] and "0:02:00.9" in found["gap"]
    assert "36.99 s" in found["clock set back"] and "0:03:00.0" in found["clock set back"]
    assert ". The rest moved to 10 ms after the last row" in found["clock set back"]
    assert times(rows)[-1] == pytest.approx(239.99, abs=0.011)


def test_counts_and_numbers_are_those_of_the_file(day: Any) -> None:
    report, _, rows = day
    clock = times(rows)
    pressed = [i for i in range(1, len(rows)) for key in ("Tap Up", "Tap Down") if rows[i][key] > rows[i - 1][key]]
    assert report.check("bounce").text.startswith(f"{len(pressed)} presses")
    edges = (0.0, GAP[0], GAP[1], BACK_AT, clock[-1])
    near = [i for i in pressed if min(abs(clock[i] - edge) for edge in edges) <= 2.0 + 1e-6]
    assert report.excluded == {"beside a gap": len(near)}
    sound = [i for i in pressed if i not in near]
    assert report.check("missed-tap").numbers["valid"] == len(sound)
    supply = [float(row["Battery"]) for row in rows]
    assert f"seen {min(supply):.2f}" in report.check("supply").text
    most = max(float(row["Engine RPM"]) for row in rows)
    assert f"{most:.0f} rpm" in report.check("over-speed").text
    downs = [i for i in range(1, len(rows)) if int(rows[i]["Gear Cmd"]) == int(rows[i - 1]["Gear Cmd"]) - 1]
    clear = [i for i in downs if min(abs(clock[i] - edge) for edge in edges) > 2.0]
    assert report.check("downshift-guard").text.startswith(f"{len(clear)} of {len(clear)} downshifts")


def ratio(row: dict[str, str]) -> float:
    return float(row["Turbine RPM"]) / float(row["Output RPM"])


def test_delays_and_shift_times_lie_around_those_read_by_hand(day: Any) -> None:
    report, taps, rows = day
    clock = times(rows)
    delays, new_ratio = [], []
    for when, _, defect in taps:
        if defect in ("missed", "reversed", "doubled") or not 2 < when < 237:
            continue
        first = next((i for i, t in enumerate(clock) if t >= when - 0.005), None)
        if first is None or min(abs(when - edge) for edge in (*GAP, BACK_AT)) <= 2.01 or GAP[0] < when < GAP[1]:
            continue
        old = rows[first - 1]["Gear Cmd"]
        step = next(i for i in range(first, len(rows)) if rows[i]["Gear Cmd"] != old)
        delays.append(clock[step] - clock[first])
        goal = GEAR[int(rows[step]["Gear Cmd"])]
        there = next(i for i in range(step, len(rows)) if abs(ratio(rows[i]) / goal - 1) <= 0.03)
        new_ratio.append(clock[there] - clock[first])
    delays.sort()
    median = delays[len(delays) // 2]
    shown = report.check("tap-delay").numbers
    assert shown["median_least_s"] - 1e-6 <= median <= shown["median_most_s"] + 1e-6
    worst = report.check("shift-time").numbers
    assert worst["worst_least_s"] - 0.011 <= max(new_ratio) <= worst["worst_most_s"] + 0.011


def test_ratios_pin_and_texts(day: Any) -> None:
    report, _, _ = day
    text = report.check("driveline-numbers").text
    assert "-0.0 %" not in text and "output against road speed" in text
    assert str(report.check("driveline-numbers").verdict) == "pass" == str(report.check("pin-span").verdict)
    assert report.check("lever-code").text.startswith("Manual engaged once")
    assert report.check("manual-engages").text.startswith("The lever was put to manual once")
    offers = " ".join(str(each) for each in report.offers)
    for tap in ("u", "d", ""):
        assert f"{pin_v(tap) / 5 * 100:.1f}" in offers
