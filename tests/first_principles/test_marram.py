"""An awkward invented truck in US units, each number of harness and driveline against small sums of another kind.

Lengths come from a walk over the file's own runs, currents from Ohm's law, sizes and fuses from the rules of
docs/harness.md applied one by one, gears from fractions. Nothing of the engines is used for what is expected.
"""

from __future__ import annotations

import itertools
import math
import re
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pinproof.chain.drive_report import drive_report
from pinproof.chain.gear import gear_link
from pinproof.cli.show_gears import sums_words
from pinproof.design import DesignFault, Truck, load
from pinproof.drawings.plot import Plot
from pinproof.drawings.sheets import Grid, KeyRoom
from pinproof.driveline import DriveSums, convert, drive_sums, settings_sheet
from pinproof.harness import Harness, lay_out
from pinproof.harness.parts_list import parts_rows
from pinproof.harness.results import Wire
from pinproof.inhibit import built, truth_table
from pinproof.inhibit.bounds import Ask
from pinproof.inhibit.corners import possible
from pinproof.inhibit.from_design import start_circuit
from pinproof.inhibit.results import Cell, Row
from pinproof.inhibit.words import row_notes
from pinproof.network import Netlist
from pinproof.pack.formboard import formboard, tiles_of
from pinproof.pack.gears_page import charts, gears_blocks
from pinproof.verdict import Verdict

FILE = Path(__file__).parents[1] / "data" / "marram.toml"
PLAIN: dict[str, Any] = tomllib.loads(FILE.read_text(encoding="utf-8"))
IN_MM = {"in": 25.4, "ft": 304.8}


@pytest.fixture(scope="module")
def truck() -> Truck:
    return load(FILE)


@pytest.fixture(scope="module")
def harness(truck: Truck) -> Harness:
    return lay_out(truck)


# --- the tree, by a walk of its own ---------------------------------------------------------------------------------


def mm(text: str) -> int:
    number, unit = text.split()
    return math.ceil(float(number) * IN_MM[unit] - 1e-9)


RUNS = {each["id"]: (*each["between"], mm(each["length"])) for each in PLAIN["run"]}
RUNS["cord_run"] = (*RUNS["cord_run"][:2], mm("3.5 ft"))  # the wire in the coil


def way(start: str, end: str, banned: str = "") -> list[str] | None:
    """Runs from place to place, found depth first."""
    if start == end:
        return []
    for name, (a, b, _) in RUNS.items():
        if name != banned and start in (a, b):
            rest = way(b if start == a else a, end, name)
            if rest is not None:
                return [name, *rest]
    return None


def long(start: str, end: str) -> int:
    found = way(start, end)
    assert found is not None
    return sum(RUNS[name][2] for name in found)


def from_splice(harness: Harness, wire: Wire, splice: str, place: str) -> int:
    (one,) = [each for each in harness.splices if each.id == splice]
    a, b, length = RUNS[one.run]
    near = one.at_mm if one.from_place == a else length - one.at_mm
    return min(near + long(a, place), length - near + long(b, place))


def test_lengths_of_all_wires(harness: Harness) -> None:
    slack = 51  # 2 in, up to whole millimetres
    for wire in harness.wires:
        ends = (wire.a, wire.b)
        spliced = [each for each in ends if each.kind == "splice"]
        if spliced:
            (other,) = [each for each in ends if each.kind != "splice"]
            distance = from_splice(harness, wire, spliced[0].label, other.place)
        else:
            distance = long(wire.a.place, wire.b.place)
        strips = sum({"small": 5.08, "broad": 6.35}.get(e.terminal, 8.0 if e.kind == "splice" else 6.0) for e in ends)
        cut = math.ceil((distance + slack * (2 - len(spliced)) + strips) / 5 - 1e-9) * 5
        assert (wire.id, wire.distance_mm, wire.cut_mm) == (wire.id, distance, cut)
    assert len(harness.wires) == 43


def test_slots_of_the_splices(harness: Harness) -> None:
    """Four in dash_run from 254 mm on, 38.1 + 25 mm apart in whole millimetres; who leaves that way is nearest."""
    pitch = math.ceil(1.5 * 25.4 + 25)
    slots = range(254, 762 - 254 + 1, pitch)
    at = {each.id: (each.run, each.from_place, each.at_mm) for each in harness.splices}
    assert at["S01"] == ("dash_run", "kick_panel", slots[0])  # two wires to the panel, one on
    assert [at["S02"][2], at["S03"][2]] == [slots[-1], slots[-2]]  # one to the panel, two on
    assert at["S04"] == ("tail_left_run", "tail", 254)


# --- currents -------------------------------------------------------------------------------------------------------

V = 15.2


def of_watts(volts: float, watts: float, tolerance: float = 0.1) -> float:
    return V / (volts**2 / watts * (1 - tolerance))


AMPS = {
    "fan": of_watts(12, 130, 0.08), "brain": 3.2, "backup_lamp": of_watts(12.8, 27), "lamp_left": of_watts(12.8, 8),
    "lamp_right": of_watts(12.8, 8), "clock": 0.9, "start_relay": V / 62, "thrower": V / 1.3, "fan_relay": V / 70,
}  # fmt: skip
LAMPS, KEYED = ("backup_lamp", "lamp_left", "lamp_right"), ("brain", "fan_relay")
ALL = sum(AMPS.values()) - AMPS["start_relay"]  # held in park or neutral; the backup lamp wants reverse, and takes more
FEEDS = {
    "lamp_feed": LAMPS, "fan_feed": ("fan",), "start_feed": ("start_relay",), "throw_feed": ("thrower",),
    "clock_feed": ("clock",), "keyed": KEYED,
}  # fmt: skip
CARRIES = {  # loads behind each wire, read off the circuit
    2: LAMPS, 3: ("fan",), 4: ("start_relay",), 5: ("thrower",), 6: ("clock",), 7: KEYED, 9: KEYED, 10: KEYED,
    11: ("brain",), 12: ("fan_relay",), 13: LAMPS, 14: ("backup_lamp",), 15: LAMPS[1:], 16: ("fan",),
    17: ("start_relay",), 18: ("thrower",), 19: ("clock",), 20: ("brain",), 21: ("clock", "start_relay"), 22: LAMPS,
    23: ("clock",), 24: ("start_relay",), 25: ("backup_lamp",), 26: ("lamp_left",), 27: ("lamp_right",),
    28: ("thrower",), 29: ("fan",), 30: KEYED, 31: ("start_relay",), 32: ("start_relay",), 33: ("backup_lamp",),
    34: ("lamp_left",), 35: ("lamp_right",), 36: LAMPS[1:], 37: ("thrower",), 38: ("thrower",), 39: ("fan",),
    40: ("fan",), 41: ("fan_relay",),
}  # fmt: skip


def number(wire: Wire) -> int:
    return int(wire.id[1:])


def amps(wire: Wire) -> float:
    if number(wire) in (1, 8):
        return ALL
    if number(wire) in (42, 43):
        return wire.current_a
    return sum(AMPS[each] for each in CARRIES[number(wire)])


def test_currents_of_all_wires(harness: Harness) -> None:
    for wire in harness.wires:
        assert wire.current_a == pytest.approx(amps(wire), rel=1e-9), wire.id


def test_the_coded_wires_current_is_the_dearest_tap(harness: Harness) -> None:
    """5.05 V behind the least pull into the least of everything; the contact takes no volts."""
    least = 360 * 0.99 * 0.99 * (1 - 40e-6 * 100)  # wheel_rim reaches 140 °F, 40 K from 20 °C
    idle, other = 5100 * 0.99 * 0.99 * (1 - 40e-6 * 100), 200e3 + 1800 * 0.99 * 0.99 * (1 - 40e-6 * 100)
    coder = 1 / (1 / least + 1 / idle + 1 / other)
    wire_a = (5.05 + 0.02) / (1500 * 0.98 + coder)
    for wire in harness.wires[-2:]:
        assert wire.current_a == pytest.approx(wire_a, rel=1e-3)


# --- fuses ----------------------------------------------------------------------------------------------------------

RATINGS = (0.5, 1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40)
MINI = {each["id"]: each.get("family") == "mini" for each in PLAIN["feed"]}
GATES = ((110, math.inf), (135, 0.75), (160, 0.25), (200, 0.15), (350, 0.04), (600, 0.02))  # percent, shortest seconds
INRUSH = {"fan": (4, 0.18), "backup_lamp": (9, 0.04), "lamp_left": (9, 0.04), "lamp_right": (9, 0.04)}


def stands(rating: float, loads: tuple[str, ...]) -> bool:
    running = sum(AMPS[each] for each in loads)
    if running > 0.8 * rating:
        return False
    for one in loads:
        times, seconds = INRUSH.get(one, (1, 0.0))
        percent = 100 * (running + (times - 1) * AMPS[one]) / rating
        if percent > 110 and next(least for gate, least in GATES if gate >= percent) <= seconds:
            return False
    return True


def test_fuses_are_the_smallest_that_stand_load_and_inrush(harness: Harness) -> None:
    found = {each.feed: each for each in harness.fuses}
    for feed, loads in FEEDS.items():
        made = [one for one in RATINGS if not MINI.get(feed) or 2 <= one <= 30]  # no 0.5 A to be had in miniature
        assert found[feed].rating_a == next(one for one in made if stands(one, loads)), feed
    assert found["bar"].rating_a == 60 and ALL <= 0.8 * 60
    assert [found[each].rating_a for each in FEEDS] == [15, 40, 2, 15, 2, 5]


def test_what_one_knob_turns_on_surges_together(tmp_path: Path) -> None:
    """Two lamps of 24 W on one knob: 9 times both for 40 ms, 70 ms for one of them; the backup lamp runs beside."""
    text = FILE.read_text(encoding="utf-8").replace('watts = "8 W"', 'watts = "24 W"')
    text = text.replace('largest = "10 AWG"', 'largest = "4 AWG"').replace('largest = "0.17 in"', 'largest = "0.4 in"')
    text = text.replace('id = "lamp_right"', 'id = "lamp_right"\nnote = "slow"')
    head, _, tail = text.partition('note = "slow"')
    file = tmp_path / "bright.toml"
    file.write_text(head + tail.replace('inrush_time = "40 ms"', 'inrush_time = "70 ms"', 1), encoding="utf-8")
    one, backup = of_watts(12.8, 24), AMPS["backup_lamp"]
    surges = ((2 * 9 * one + backup, 0.04), (9 * one + one + backup, 0.07), (2 * one + 9 * backup, 0.04))

    def holds(rating: float, peaks: tuple[tuple[float, float], ...]) -> bool:
        return 2 * one + backup <= 0.8 * rating and all(
            next((least for gate, least in GATES if gate * rating / 100 >= peak), 0.0) > seconds
            for peak, seconds in peaks
        )

    apart = ((10 * one + backup, 0.04), *surges[1:])
    wanted, alone = (next(one for one in RATINGS if holds(one, peaks)) for peaks in (surges, apart))
    (found,) = [each for each in lay_out(load(file)).fuses if each.feed == "lamp_feed"]
    assert wanted > alone and found.rating_a == wanted


# --- sizes ----------------------------------------------------------------------------------------------------------

TABLE_150 = {22: 5, 20: 7, 18: 9, 16: 11, 14: 14, 12: 19, 10: 26, 8: 57}  # AC 43.13-1B, table 11-9, A
TABLE_105 = {22: 3, 20: 4, 18: 6, 16: 7, 14: 10, 12: 13, 10: 17, 8: 38}
CARRY = {4: 125, 2: 170}


def area_mm2(gauge: int) -> float:
    return math.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2


Size = tuple[str, float, float, float]  # name, area in mm², rating in °C, A at 70 °C
SIZES: list[Size] = []
for each in PLAIN["cable"]:
    if each.get("salvaged"):
        area = 32 * math.pi / 4 * (0.0071 * 25.4) ** 2
        slope = math.log(TABLE_105[18] / TABLE_105[20]) / math.log(area_mm2(18) / area_mm2(20))
        carry = TABLE_105[18] * (area / area_mm2(18)) ** slope * math.sqrt((85 - 70) / (105 - 70))
        SIZES.append((f"{area:.2f} mm² (old_loom)", area, 85.0, carry))
    else:
        gauge = int(each["size"].split()[0])
        SIZES.append((each["size"], area_mm2(gauge), 150.0, CARRY.get(gauge) or TABLE_150[gauge]))
SIZES.sort(key=lambda one: one[1])
HOTTEST = {"bell_run": (230 - 32) / 1.8, "nose_run": (200 - 32) / 1.8}
START = (1, 4, 5, 8, 17, 18, 21, 24, 28, 31, 32, 37, 38)  # no salvaged wire here
PATHS = {  # wires out and back
    "brain": (1, 8, 7, 30, 9, 10, 11, 20), "fan_relay": (1, 8, 7, 30, 9, 10, 12, 41),
    "fan": (1, 8, 3, 16, 39, 40, 29), "start_relay": (1, 8, 4, 17, 31, 32, 24, 21),
    "thrower": (1, 8, 5, 18, 37, 38, 28), "clock": (1, 8, 6, 19, 23, 21),
    "backup_lamp": (1, 8, 2, 13, 14, 33, 25, 22), "lamp_left": (1, 8, 2, 13, 15, 36, 34, 26, 22),
    "lamp_right": (1, 8, 2, 13, 15, 36, 35, 27, 22),
}  # fmt: skip
ALLOWED = {"brain": 0.03, "start_relay": 0.03, "thrower": 0.08}


def through(harness: Harness, run: str) -> list[Wire]:
    """Wires in a run, by the walk."""
    return [each for each in harness.wires if run in each.runs]


def factor(harness: Harness, run: str) -> float:
    here = through(harness, run)
    busy = sum(amps(each) >= 1 for each in here)
    if busy <= max(3, 0.2 * len(here)):
        return 1.0
    return next(k for most, k in ((3, 1.0), (6, 0.8), (9, 0.7), (20, 0.5), (30, 0.45)) if busy <= most)


def allowed_a(size: Size, hot: float, k: float) -> float:
    return size[3] * math.sqrt(max(size[2] - hot, 0) / (size[2] - 70)) * k if hot < size[2] else 0.0


def ohm_per_m(size: Size) -> float:
    return 19.5e-3 / size[1]


def test_sizes_are_the_smallest_that_meet_every_rule(harness: Harness) -> None:
    wires = {number(each): each for each in harness.wires}
    loops = {one: sum(wires[n].cut_mm for n in path) / 1000 for one, path in PATHS.items()}
    for n, wire in wires.items():
        if n in (19, 42, 43):  # the owner's choice; the coded ones below
            continue
        loads = CARRIES.get(n, tuple(AMPS))
        share = min(ALLOWED.get(each, 0.10) for each in loads)
        limit = share * 14 / max(loops[each] for each in loads)
        runs = wire.runs or ("",)

        def holds(size: Size, wire: Wire = wire, runs: tuple[str, ...] = runs, limit: float = limit) -> bool:
            if "loom" in size[0] and number(wire) in START:
                return False
            for run in runs:
                crowd = len(through(harness, run)) if run else 1
                least = area_mm2(18) if not run else area_mm2(22 if crowd >= 3 else 20)
                hot = HOTTEST.get(run or f"{wire.a.place}_run", 70.0)
                may = allowed_a(size, hot, factor(harness, run) if run else 1.0)
                if size[1] < least - 1e-9 or amps(wire) > may or wire.fuse_a > may:
                    return False
                warm = hot + (size[2] - hot) * (amps(wire) / may) ** 2
                if amps(wire) * ohm_per_m(size) * (1 + 0.00393 * (warm - 20)) > limit:
                    return False
            return True

        assert wire.sizing is not None
        wanted = next(size[0] for size in SIZES if holds(size))
        assert (wire.id, wire.sizing.size) == (wire.id, wanted)


def test_the_coded_way_has_no_more_ohms_than_the_proof_assumed(harness: Harness) -> None:
    loom = next(one for one in SIZES if "loom" in one[0])
    for wire, ways in ((harness.wires[-2], 1), (harness.wires[-1], 1)):
        assert wire.sizing is not None and wire.sizing.size == loom[0]
        ohm = ohm_per_m(loom) * (1 + 0.00393 * 50) * wire.cut_mm / 1000 + ways * 0.02
        assert ohm < 1.5
        (row,) = [each for each in wire.sizing.checks if each.rule == "coded"]
        assert row.holds and row.need == pytest.approx(ohm * 1000, rel=1e-9)


PINS = {7: 1, 8: 1, 11: 1, 20: 1, 41: 1, 31: 1, 32: 1, 4: 1, 2: 1, 3: 1, 5: 1, 6: 1}  # cavities that a wire ends in


def test_volts_lost_count_what_others_draw_through_the_same_contacts(harness: Harness) -> None:
    """The main pin of the bar carries all there is, whichever load is asked; kill switch and key what is keyed."""
    wires = {number(each): each for each in harness.wires}
    use = {each.load: each.drop_v for each in harness.loads}
    keyed = AMPS["brain"] + AMPS["fan_relay"]
    contact_v = {
        "brain": keyed * (2.5e-3 + 10e-3),
        "start_relay": AMPS["start_relay"] * (1.45 + 0.75),
        "thrower": AMPS["thrower"] * (4e-3 + 15e-3),
        "fan": AMPS["fan"] * (3e-3 + 15e-3),
    }
    for load_, volts in contact_v.items():
        for n in PATHS[load_]:
            one = next(each for each in SIZES if each[0] == str(wires[n].sizing and wires[n].sizing.size))
            hot = max(HOTTEST.get(run, 70.0) for run in wires[n].runs or (f"{wires[n].a.place}_run",))
            copper = ohm_per_m(one) * (1 + 0.00393 * (hot - 20)) * wires[n].cut_mm / 1000
            volts += amps(wires[n]) * (copper + 0.02 * PINS.get(n, 0))
        assert use[load_] == pytest.approx(volts, rel=1e-9), load_
    told = {each.path: each.text for each in harness.findings if each.code == "drop-in-all"}
    assert f"{use['brain']:.2f} V are lost, the custom allows 0.42 V" in told["load.brain"]


def test_cable_at_hand_is_counted_once_for_all_its_colours(truck: Truck, harness: Harness) -> None:
    """26 ft of loom are there in all: what one colour takes the next has not, and no more of it can be ordered."""
    rows = [each for each in parts_rows(truck, harness) if str(each[0]).startswith("old_loom")]
    left = 26.0
    for row in rows:
        assert float(row[4]) == pytest.approx(math.floor(left * 10 + 1e-6) / 10)
        mine = [each for each in harness.wires if each.sizing is not None and each.sizing.cable == "old_loom"]
        need = sum(each.cut_mm for each in mine if row[0] == f"old_loom {each.colour}")
        left -= need / 304.8
        assert (float(row[3]), float(row[5])) == (0.0, 0.0)
    assert len(rows) == 3 and left > 0


def test_refusals_speak_the_owners_units(tmp_path: Path) -> None:
    text = FILE.read_text(encoding="utf-8")
    short = tmp_path / "short.toml"
    short.write_text(text.replace('on_hand = "26 ft"', 'on_hand = "20 ft"'), encoding="utf-8")
    with pytest.raises(DesignFault, match=r"25\.16 ft wanted, 20 ft there"):
        lay_out(load(short))
    thin = tmp_path / "thin.toml"
    cut = re.sub(r'\[\[cable\]\]\nid = "new_[24]"\n(?:.+\n)+?days = 6\n', "", text)
    thin.write_text(cut.replace("60 A", "50 A"), encoding="utf-8")
    with pytest.raises(DesignFault) as fault:
        lay_out(load(thin))
    told = str(fault.value)
    assert "mV/m" not in told and "mV/ft" in told
    need, have = (float(each) for each in re.findall(r"([0-9.]+) mV/ft", told)[:2])
    gauge = next(one for one in range(8, -4, -1) if area_mm2(one) >= area_mm2(8) * have / need)
    assert f"about {gauge} AWG" in told


# --- driveline, in fractions ----------------------------------------------------------------------------------------

MPH, FT = Fraction(44704, 100000), Fraction(3048, 10000)
AROUND = tuple(
    Fraction("86.6") * FT / 9 * (1 + way * Fraction(4, 1000)) * grown * worn
    for way, grown, worn in ((-1, 1, Fraction(96, 100)), (1, Fraction(1015, 1000), 1))
)  # least and greatest
GEARS = {"1": Fraction("3.06"), "2": Fraction("1.63"), "3": Fraction(1), "4": Fraction("0.7")}
REDUCTION = {"high": Fraction("4.56"), "low": Fraction("4.56") * Fraction("2.72")}
PASSED = (Fraction(88, 100), Fraction(1))  # turbine ÷ engine


@pytest.fixture(scope="module")
def sums(truck: Truck) -> DriveSums:
    return drive_sums(truck, [float(40 * MPH)])


def output(speed: Fraction, reduction: Fraction) -> tuple[Fraction, Fraction]:
    return speed * 60 / AROUND[1] * reduction, speed * 60 / AROUND[0] * reduction


def same(found: Any, low: Fraction, high: Fraction) -> bool:
    return (found.low, found.high) == pytest.approx((float(low), float(high)), rel=1e-9)


def test_speeds_in_every_gear(sums: DriveSums) -> None:
    assert same(sums.rolling_m, *AROUND)
    for row in sums.gears:
        overall = REDUCTION[row.transfer] * GEARS[row.gear]
        least, most = (around / (60 * overall) for around in AROUND)
        assert same(row.per_1000_rpm_m_per_s, 1000 * least, 1000 * most)
        assert row.reach_m_per_s is not None
        assert same(row.reach_m_per_s, 5500 * PASSED[0] * least, 5500 * most)
        assert same(row.most_m_per_s, 5600 * PASSED[0] * least, 5600 * most)
    for at in sums.at:
        low, high = (each * GEARS[at.gear] for each in output(40 * MPH, REDUCTION[at.transfer]))
        assert same(at.turbine_rpm, low, high) and same(at.engine_rpm, low, high / PASSED[0])
    assert len(sums.gears) == len(sums.at) == 8


def test_safe_downshifts_and_latest_upshifts(sums: DriveSums) -> None:
    gained = Fraction(6, 10) * 6 * FT
    for row in sums.downshifts:
        limit = 5600 * PASSED[0] / GEARS[row.gear]
        kept = limit * Fraction(94, 100)
        assert row.limit_rpm.low == pytest.approx(float(limit), rel=1e-12)
        road = kept * AROUND[0] / (60 * REDUCTION[row.transfer]) - gained
        assert row.permitted_m_per_s == pytest.approx(float(road), rel=1e-9)
        turns = kept - output(gained, REDUCTION[row.transfer])[1]
        assert row.permitted_rpm == pytest.approx(float(turns), rel=1e-9)
    latest = {each.gear: each.latest_rpm for each in sums.leads}
    assert latest == pytest.approx({"1": 5500 - 3300 * 0.4, "2": 5500 - 1900 * 0.4, "3": 5500 - 950 * 0.4})


LINES = {("1", "2"): 31, ("2", "3"): 62, ("3", "4"): 41, ("4", "3"): 34, ("3", "2"): 30, ("2", "1"): 21, ("3", "1"): 24}


def test_lines_by_road_speed_in_both_ranges(sums: DriveSums) -> None:
    for row in sums.lines:
        low, high = output(LINES[row.before, row.after] * MPH, REDUCTION[row.transfer])
        assert same(row.output_rpm, low, high)
        assert same(row.engine_rpm, low * GEARS[row.before], high * GEARS[row.before] / PASSED[0])
        assert same(row.engine_after_rpm, low * GEARS[row.after], high * GEARS[row.after] / PASSED[0])
    assert len(sums.lines) == 14
    verdicts = {(each.check, each.subject): str(each.verdict) for each in sums.checks}
    permitted = {(each.transfer, each.gear): each.permitted_rpm for each in sums.downshifts}
    for row in sums.lines:
        subject = f"{row.before} → {row.after}, {row.load}, {row.transfer}"
        if row.kind == "down":
            wanted = "pass" if row.output_rpm.high <= permitted[row.transfer, row.after] else "fail"
            assert verdicts["down line", subject] == wanted
        else:
            wanted = "pass" if row.engine_rpm.high < 5500 else "fail" if row.engine_rpm.low >= 5500 else "not shown"
            assert verdicts["up line", subject] == wanted


def test_a_drop_begins_where_the_engine_can_be(sums: DriveSums) -> None:
    """A road speed in low range asks 10 559 rpm of an engine that is held at 5500: nothing is ever shifted there."""
    for row in sums.steps:
        lines = [each for each in sums.lines if (each.before, each.after) == (row.before, row.after)]
        within = [each for each in lines if each.engine_rpm.value <= 5500]
        top = max(within, key=lambda each: each.engine_rpm.value)
        assert same(row.before_rpm, Fraction(top.engine_rpm.low), Fraction(top.engine_rpm.high))
        assert row.start == f"line, {top.load}, {top.transfer}" and row.before_rpm.value <= 5500
        low, high = output(LINES[row.before, row.after] * MPH, REDUCTION[top.transfer])
        old, new = GEARS[row.before], GEARS[row.after]
        assert row.drop_rpm[0] == pytest.approx(float(low * (old - new / PASSED[0])), rel=1e-9)
        assert row.drop_rpm[2] == pytest.approx(float(high * (old / PASSED[0] - new)), rel=1e-9)


def test_pulses_of_the_sensors(sums: DriveSums) -> None:
    for row in sums.sensors:
        turns = Fraction(1) if row.place == "wheel" else REDUCTION[row.transfer]
        teeth = 55 if row.place == "wheel" else 32
        assert same(row.per_m, teeth * turns / AROUND[1], teeth * turns / AROUND[0])


def test_the_cure_of_a_skip_shift_names_lines_that_are_compared(sums: DriveSums) -> None:
    (one,) = [each for each in sums.checks if each.subject == "3 → 1, kick"]
    assert one.cure == "Write the up line out of 1 or into 3 at this load as a [[drive.shift]]."


def test_what_can_cost_the_engine_is_told_first(truck: Truck, sums: DriveSums) -> None:
    """Three down lines over-speed in low range; a landing that labours is not the first thing to read at night."""
    verdict, text, _ = gear_link(truck)
    assert verdict is Verdict.FAIL and "Unsafe: down line, 3 → 2, any load, low. It shifts at" in text
    told = [each for each in sums_words(sums, sums.checks).splitlines() if "[unsafe]" in each]
    assert [each.split(",")[0] for each in told[:4]] == ["  - [unsafe] down line"] * 3 + ["  - [unsafe] up line"]


def test_no_paper_says_enter_what_over_speeds(truck: Truck, sums: DriveSums) -> None:
    """30 mph is safe in high range and 5443 to 6593 rpm in low: the sheet says so, and of which range it speaks."""
    (row,) = [each for each in settings_sheet(truck, sums) if each.what == "3 → 2, any load"]
    ranges = {name: output(30 * MPH, REDUCTION[name]) for name in REDUCTION}
    for name, (low, high) in ranges.items():
        assert f"{math.floor(low)} to {math.ceil(high)} rpm in {name}" in row.value
    assert row.reason.startswith("NOT AS IT STANDS in low range: It shifts at 3339 to 3560 rpm")
    printed = str(gears_blocks(truck, charts(truck)))
    assert "NOT AS IT STANDS in low range: see What does not hold. 30 mph" in printed
    assert "One turn of the wheel is 110.4 to 117.7 in" in printed


DONOR = {"1": Fraction("2.84"), "2": Fraction("1.55"), "3": Fraction(1), "4": Fraction("0.7")}


def test_a_borrowed_table_keeps_the_donors_engine_speed(truck: Truck) -> None:
    """Own mph = donor's × donor's way to the engine ÷ own, in the gear before going up, after going down."""
    assert truck.drive is not None
    (borrowed,) = truck.drive.borrowed
    text = FILE.with_name("marram-borrowed.csv").read_text(encoding="utf-8")
    for table in convert(truck, borrowed, text):
        for cell in table.cells:
            before, after = re.findall(r"\d", cell.row)
            gear = before if before < after else after
            donor = Fraction(1609344, 1000) / 655  # metres a turn
            own = Fraction("86.6") * FT / 9 * Fraction(10075, 10000) * Fraction(98, 100)
            turns = Fraction(cell.read) / donor * Fraction("3.55") * DONOR[gear]
            speed = turns * own / (REDUCTION[table.transfer] * GEARS[gear]) * MPH
            assert cell.enter is not None and cell.enter / float(MPH) == pytest.approx(float(speed / MPH), abs=0.0501)


def test_the_head_says_whose_the_verdict_is_where_only_a_copied_table_is_unsafe(tmp_path: Path) -> None:
    """The truck's own lines hold; the neighbour's do not."""
    text = FILE.read_text(encoding="utf-8")
    head, _, rest = text.partition("[[drive.shift]]")
    own = ('from = "1"\nto = "2"\nengine = "4000 rpm"', 'from = "2"\nto = "1"\nengine = "1500 rpm"')
    lines = "".join(f"[[drive.shift]]\n{each}\n" for each in own)
    text = head + lines + "[[drive.borrowed]]" + rest.partition("[[drive.borrowed]]")[2]
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    truck = load(file)
    table = FILE.with_name("marram-borrowed.csv").read_text(encoding="utf-8")
    report = drive_report(truck, lambda borrowed: table, [])
    said = sums_words(report.sums, report.checks)
    first, second = said.splitlines()[:2]
    assert first.startswith("UNSAFE") and "neighbour" in second and "UNSAFE is only what was borrowed" in second
    assert "The truck's own lines and limits" in " ".join(said.splitlines()[1:3])


# --- start inhibit --------------------------------------------------------------------------------------------------


def solved_v(ends: list[tuple[int, int]], siemens: Any) -> Any:
    """Node volts of nodes 0 … 5 between ground (6, 0 V) and battery (7, 12 V), by plain elimination."""
    laplace = np.zeros((8, 8))
    for (a, b), g in zip(ends, siemens, strict=True):
        laplace[[a, b], [a, b]] += g
        laplace[[a, b], [b, a]] -= g
    return np.linalg.solve(laplace[:6, :6], -laplace[:6, 7] * 12.0)


def test_two_relays_with_many_unknown_numbers_have_an_answer() -> None:
    """16 free conductances, two coils, one severity: more corners than are tried. What a dense solution finds
    at random places of the box lies within the outer set, and what is called shown lies within it too."""
    rng = np.random.default_rng(5)
    names = [*(f"n{i}" for i in range(6)), "ground", "battery"]
    ends = [(0, 6), (1, 6), (2, 7), *((a, b) for a in range(6) for b in range(a + 1, 6)), (3, 7), (4, 6)]
    net = Netlist(names[:6], names[6:], [(f"e{i}", names[a], names[b]) for i, (a, b) in enumerate(ends)])
    low = np.array([0.012, 0.012, 0.0, *([0.002] * 15), 0.005, 0.005])
    high = np.array([0.013, 0.013, 1.0, *([0.05] * 15), 0.02, 0.02])
    asked = np.array([[int(Ask.ABOVE), int(Ask.AT_MOST)]], dtype=np.int8)
    level_v = np.array([[6.0, 5.5]])
    (found,) = possible(net, 2, low[None], high[None], (0, 1), asked, level_v, np.array([[0.0, 12.0]]))
    hits = 0
    for _ in range(4000):
        ends_only = rng.random() < 0.5
        share = rng.integers(0, 2, len(ends)) if ends_only else rng.random(len(ends))
        g = low + (high - low) * share
        g[2] = 1.0 / 10.0 ** rng.uniform(-1, 5)
        v = solved_v(ends, g)
        if abs(v[0]) > 6.0 and abs(v[1]) <= 5.5:
            hits += 1
            assert any(each.holds(1.0 / g[2]) for each in found.outer)
    assert hits > 0
    for part in found.inner:
        assert any(whole.low_ohm <= part.low_ohm and part.high_ohm <= whole.high_ohm for whole in found.outer)


def test_a_cell_that_nobody_could_decide_is_not_called_chattering() -> None:
    """ "Can chatter" is said where a truck was found that does; "is not ruled out" where none was."""
    cell = Cell(True, "plugged", "cranks", Verdict.NOT_SHOWN, (0.0, 15.3), (0.0, 15.3), True, True, False, ())
    row = Row("P", False, True, (cell,), None)
    told = " ".join(row_notes(row))
    assert "it is not ruled out that a relay chatters" in told and "can chatter" not in told
    assert "as little as 0 V" not in told and "while a relay before it is open" in told


# --- the cover of the board -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_name_of_a_field_touches_a_run_or_a_sign(truck: Truck, harness: Harness, paper: str) -> None:
    """Read from the drawing itself: the box of each name's figures against points along every band."""
    svg = tiles_of(formboard(truck, harness), paper)[1][0].svg
    key, board = svg.partition('id="key-board"')[::2]
    (left, top) = (float(each) for each in re.findall(r"translate\(([-0-9.]+) ([-0-9.]+)\)", board)[0])
    written = re.findall(r'<text x="([-0-9.]+)" y="([-0-9.]+)" [^>]*textLength="([0-9.]+)"[^>]*>\d+-\d+</text>', key)
    names = [tuple(float(each) for each in one) for one in written]
    assert len(names) > 40
    bands = re.findall(r'<path d="(M[-0-9.ML ]+)"[^>]*stroke-width="([0-9.]+)" stroke-opacity="0.16"', board)
    assert len(bands) >= 13
    for path, width in bands:
        corners_ = [tuple(float(each) for each in one.split()) for one in re.split("[ML]", path) if one]
        for (x0, y0), (x1, y1) in itertools.pairwise(corners_):
            for share in np.linspace(0.0, 1.0, 200):
                x, y = left + x0 + share * (x1 - x0), top + y0 + share * (y1 - y0)
                rim = float(width) / 2 + 0.3
                assert not any(
                    nx - rim < x < nx + long_ + rim and ny - 1.8 - rim < y < ny + rim for nx, ny, long_ in names
                )


@pytest.mark.parametrize("at_mm", [0.5, 5.0, 8.0])
def test_a_name_keeps_clear_of_an_upright_run_or_is_left_out(at_mm: float) -> None:
    """A field of 10 mm on the key, a run from top to foot: the name stands half a millimetre beside it or nowhere."""
    grid = Grid(0.0, 0.0, 100.0, 150.0, 1, 1, ((0, 0),))
    lines = Plot()
    lines.polyline([(at_mm, -1.0), (at_mm, 16.0)], 1.0)
    names = KeyRoom(0.0, 0.0, 0.1, 0.1).names(grid, lines)
    for box in names.values():
        assert box.right <= at_mm - 0.99 or box.left >= at_mm + 0.99
    assert bool(names) == (at_mm != 5.0)


def without_the_fans_relay(crank: str) -> str:
    """The same start circuit with nothing else that a relay works."""
    text = FILE.read_text(encoding="utf-8")
    text = re.sub(r'\[\[relay\]\]\nid = "fan_relay"\n(?:.+\n)+?\[\[relay.contact\]\]\n(?:.+\n)+', "", text)
    text = re.sub(r"\[\[driver\]\]\n(?:.+\n)+", "", text)
    for old, new in (
        ('high_side = ["fan_relay.main"]', 'high_side = ["lamp_on"]'),
        ('[[plug.cavity]]\nid = "5"\nsignal = "fan_relay.minus"\n', ""),
        ('watts = "130 W"\ntolerance = "8 %"\ninrush = 4\ninrush_time = "180 ms"', 'watts = "30 W"'),
        ('largest = "10 AWG"', 'largest = "4 AWG"'), ('largest = "0.17 in"', 'largest = "0.4 in"'),
        ('cable = "old_loom"', 'size = "18 AWG"'), ('crank = { low = "7 V"', f'crank = {{ low = "{crank}"'),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    return text


def test_truth_table_of_two_relays_by_ohms_law(tmp_path: Path) -> None:
    """Battery, button, lever, coil in a row; then battery, contact, coil. Wires and pins by hand, to 20 mV."""
    file = tmp_path / "two.toml"
    file.write_text(without_the_fans_relay("7.6 V"), encoding="utf-8")
    truck = load(file)
    rows = {each.position: each for each in truth_table(built(start_circuit(truck)))}
    assert [str(each.cells[0].verdict) for each in rows.values()].count("pass") == 8
    assert {name for name, row in rows.items() if str(row.cells[0].verdict) != "pass"} == {"N|D"}
    assert all(str(cell.verdict) == "pass" for row in rows.values() for cell in row.cells[1:])
    harness = lay_out(truck)

    def wires_ohm(*nets: str) -> float:
        mine = [one for one in harness.wires if one.net in nets and "clock" not in one.a.label + one.b.label]
        return sum(
            19.5e-3 / (one.sizing.area_m2 * 1e6) * (1 + 0.00393 * (90 if "bell_run" in one.runs else 50))
            * one.cut_mm / 1000 for one in mine if one.sizing is not None and "lamp" not in one.a.label + one.b.label
        )  # fmt: skip

    ohm = 2.5 + 1.5 + 2 * 0.02 + wires_ohm("start_feed", "start_button.b", "pn.b")
    ohm += sum(
        19.5e-3 / (one.sizing.area_m2 * 1e6) * (1 + 0.00393 * 50) * one.cut_mm / 1000
        for one in harness.wires if one.sizing is not None and one.net == "floor"
        and ("start_relay" in one.a.label or {one.a.label, one.b.label} == {"S03", "floor"})
    )  # fmt: skip
    first_v = 6.9 * (62 + ohm) / 62 + 0.08  # the first relay asks for more battery than the second, 7 V behind little
    assert rows["P"].least_supply_v == pytest.approx(first_v, abs=0.02)
    assert rows["P"].cells[0].pull_v[1] == pytest.approx(15.2 + 0.1, abs=1e-6)  # no ohms, the block at -0.1 V
    leak_v = (15.2 + 0.1) * 2.1 / (1e6 + 2.1)  # over the open contact, which leaks 1 MΩ
    assert rows["R"].cells[0].hold_v[1] == pytest.approx(leak_v, rel=1e-3)
