"""A third awkward invented truck: its numbers and instructions against nodal analysis of its own.

A ladder to supply behind a fuse, a change-over switch at a controller that can be taught, a divider fed by the
reference of a second controller. Each is written down once more as a list of branches and solved with numpy at every
corner of its box; nothing of `pinproof.network` is used, and no expected number is pasted.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from pinproof.chain.actions import next_actions
from pinproof.choose import choose
from pinproof.choose.drawer import Drawer
from pinproof.choose.drawer import Part as DrawerPart
from pinproof.cli import group
from pinproof.design import Truck, load
from pinproof.design.load import loads
from pinproof.faults import against, line_faults
from pinproof.find import Diagnosis, read
from pinproof.find.hypotheses import hypotheses
from pinproof.find.looks import look_by_id
from pinproof.find.weights import weights_of
from pinproof.find.words import look_words, repair_words
from pinproof.meter import bench_sheet, expected, starter, stations
from pinproof.meter.sheet import Taken
from pinproof.pack.bench import probe_words
from pinproof.proof import TruckProof, prove
from pinproof.record.drift import drift
from pinproof.wiring import line_view

FILE = Path(__file__).parents[1] / "data" / "mossgate.toml"
OPEN = 1e15  # ohms that stand for no path
SUPPLY = {"run": (10.5, 15.2), "crank": (6.5, 11.0)}
Span = tuple[float, float]
Branch = tuple[str, str, tuple[Span, ...]]  # two nodes; pieces in series, all of them low or all of them high
Branches = dict[str, Branch]


@pytest.fixture(scope="module")
def truck() -> Truck:
    return load(FILE)


@pytest.fixture(scope="module")
def proof(truck: Truck) -> TruckProof:
    return prove(truck, samples=0)


def part(ohm: float, reach_k: float, *, new: bool = False) -> Span:
    """1 %, 100 ppm/K; half a percent of ageing unless it is new."""
    off = [(1 + s * 0.01) * (1 if new else 1 + s * 0.005) * (1 + s * 1e-4 * reach_k) for s in (-1, 1)]
    return ohm * off[0], ohm * off[1]


CLOSED, NEW = (0.01, 30.0), (0.01, 3.01)
WHEEL_K, LEVER_K, DASH_K, CASE_K, BENCH_K = 50.0, 65.0, 50.0, 65.0, 10.0


def taps(pressed: tuple[str, ...], new: bool = False) -> Branches:
    def contact(name: str, leak: float) -> tuple[Span, ...]:
        return ((NEW if new else CLOSED) if name in pressed else (leak, OPEN),)

    wheel, lever = (BENCH_K, BENCH_K) if new else (WHEEL_K, LEVER_K)
    return {
        "down": ("pin", "ground", ((1728.0, 1872.0),)), "wet": ("pin", "return", ((60e3, OPEN),)),
        "live": ("pin", "battery", ((150e3, OPEN),)), "wire": ("pin", "n0", ((0.1, 2.5),)),
        "source": ("feed", "s", ((0.1, 1.5),)), "r1": ("n0", "n1", (part(270, wheel, new=new),)),
        "r2": ("n1", "n2", (part(680, wheel, new=new),)), "r3": ("n2", "n3", (part(1600, lever, new=new),)),
        "end": ("n3", "s", (part(8200, lever, new=new),)), "up": ("n1", "s", contact("paddle_up", 100e3)),
        "dn": ("n2", "s", contact("paddle_down", 100e3)), "man": ("n3", "s", contact("lever_manual", 220e3)),
    }  # fmt: skip


def mode(pressed: tuple[str, ...], new: bool = False) -> Branches:
    reach_k = BENCH_K if new else DASH_K
    closed = NEW if new else CLOSED
    return {
        "pull": ("reference", "pin", ((3201.0, 3399.0),)), "down": ("pin", "ground", ((20.9e3, 23.1e3),)),
        "wet": ("pin", "return", ((80e3, OPEN),)), "live": ("pin", "battery", ((400e3, OPEN),)),
        "wire": ("pin", "far", ((0.1, 2.0),)), "source": ("return", "s", ((0.1, 2.0),)),
        "road": (
            "s", "far", (part(1500, reach_k, new=new), (220e3, OPEN) if "road_throw" in pressed else closed)
        ),
        "rock": (
            "s", "far", (part(5100, reach_k, new=new), closed if "rock_throw" in pressed else (220e3, OPEN))
        ),
    }  # fmt: skip


def ranges(pressed: tuple[str, ...], new: bool = False) -> Branches:
    reach_k = BENCH_K if new else CASE_K
    closed = NEW if new else CLOSED
    return {
        "down": ("pin", "ground", ((90e3, 110e3),)), "wet": ("pin", "return", ((200e3, OPEN),)),
        "live": ("pin", "battery", ((1e6, OPEN),)), "wire": ("pin", "far", ((0.1, 2.0),)),
        "source": ("return", "s", ((0.1, 2.0),)), "top": ("feed", "far", (part(2200, reach_k, new=new),)),
        "idle": ("s", "far", (part(10e3, reach_k, new=new),)),
        "low": ("s", "far", (part(1300, reach_k, new=new), (220e3, OPEN) if "low_range" in pressed else closed)),
    }  # fmt: skip


LINES: dict[str, tuple[Callable[..., Branches], dict[str, Span]]] = {
    "taps": (taps, {"offset": (-0.05, 0.15), "drop": (0.05, 0.45)}),
    "mode": (mode, {"offset": (-0.02, 0.02), "reference": (4.925, 5.075)}),
    "range": (ranges, {"offset": (-0.02, 0.02), "reference": (4.925, 5.075), "drop": (0.0, 0.03)}),
}


def solved(line: str, pressed: tuple[str, ...], state: str = "run", extra: Branches | None = None) -> dict[str, Any]:
    """Volts of every node at every corner, the corners that cannot matter to a passive net left in."""
    make, causes = LINES[line]
    branches = {**make(pressed), **(extra or {})}
    free = {"battery": SUPPLY[state], **causes}
    ends = {**free, **{f".{name}": (0.0, 1.0) for name, each in branches.items() if any(a != b for a, b in each[2])}}
    corners = np.array(list(itertools.product(*ends.values())))
    at = {name: corners[:, i] for i, name in enumerate(ends)}
    nil = np.zeros(len(corners))
    volts = {"battery": at["battery"], "ground": nil, "return": at["offset"], "reference": at.get("reference", nil)}
    volts["feed"] = (at["reference"] if line == "range" else at["battery"]) - at.get("drop", nil)
    nodes = sorted({end for each in branches.values() for end in each[:2]} - set(volts))
    place = {node: i for i, node in enumerate(nodes)}
    matrix = np.zeros((len(corners), len(nodes), len(nodes)))
    amps = np.zeros((len(corners), len(nodes), 1))
    for name, (a, b, pieces) in branches.items():
        high = at.get(f".{name}", nil) == 1.0
        siemens = 1.0 / sum(np.where(high, most, least) for least, most in pieces)
        for one, two in ((a, b), (b, a)):
            if one in place:
                matrix[:, place[one], place[one]] += siemens
                if two in place:
                    matrix[:, place[one], place[two]] -= siemens
                else:
                    amps[:, place[one], 0] += volts[two] * siemens
    found = np.linalg.solve(matrix, amps)[:, :, 0]
    return volts | {node: found[:, i] for node, i in place.items()}


def share(line: str, pressed: tuple[str, ...], state: str = "run") -> Span:
    volts = solved(line, pressed, state)
    seen = np.clip(volts["pin"] / volts["battery" if line == "taps" else "reference"], 0.0, 1.0)
    return float(seen.min()), float(seen.max())


def between(branches: Branches, a: str, b: str, high: bool) -> float:
    """Ohms between two nodes with every branch low or every branch high."""
    nodes = sorted({end for each in branches.values() for end in each[:2]} - {b})
    matrix = np.zeros((len(nodes), len(nodes))) + 1e-15 * np.eye(len(nodes))
    for one, two, pieces in branches.values():
        siemens = 1.0 / sum(piece[high] for piece in pieces)
        for x, y in ((one, two), (two, one)):
            if x in nodes:
                matrix[nodes.index(x), nodes.index(x)] += siemens
                if y in nodes:
                    matrix[nodes.index(x), nodes.index(y)] -= siemens
    amps = np.zeros(len(nodes))
    amps[nodes.index(a)] = 1.0
    return float(np.linalg.solve(matrix, amps)[nodes.index(a)])


EDGES = {
    "automatic": (100, 240, 6, 6, 1023), "manual": (300, 505, 6, 7, 1023), "down": (560, 745, 7, 7, 1023),
    "up": (790, 945, 7, 7, 1023), "high": (1150, 1750, 20, 20, 4095), "low": (3000, 3600, 20, 20, 4095),
}  # fmt: skip


@pytest.mark.parametrize("line", ["mode", "range", "taps"])
def test_spans_and_margins(proof: TruckProof, line: str) -> None:
    """Every situation in both key states."""
    (rows,) = [each.situations for each in proof.lines if each.line == line]
    seen = 0
    for row in rows:
        low, high = share(line, row.operated, row.key_state)
        assert (row.low, row.high) == pytest.approx((low, high), abs=1e-9)
        if line != "mode" and row.meaning and row.key_state == "run":
            a, b, off_a, off_b, full = EDGES[row.meaning]
            error = 0.005 if line == "taps" else 0.004
            inside = min(low - (a + off_a) / full - error, (b - off_b) / full - error - high)
            assert row.margin == pytest.approx(inside / ((b - a) / full / 2), rel=1e-9)
            seen += 1
    assert len(rows) == {"taps": 12, "mode": 6, "range": 4}[line] and seen == {"taps": 4, "mode": 0, "range": 2}[line]


def dry(branches: Branches) -> Branches:
    """With battery and controller off, and no leak: what an ohmmeter meets."""
    return {
        name: each for name, each in branches.items()
        if name not in ("pull", "down", "wet", "live") and not any(piece[1] == OPEN for piece in each[2])
    }  # fmt: skip


@pytest.mark.parametrize("line", ["mode", "range", "taps"])
def test_ohms_at_the_plug(truck: Truck, line: str) -> None:
    """As built: not aged, 10 to 30 °C, contacts up to 3 Ω above their least. Works: the whole dry box."""
    view, seen = line_view(truck, line), 0
    for station in stations(truck):
        if (station.line, station.kind) != (line, "ohms") or station.operated == ("road_throw",):
            continue
        band = expected(view, station)
        assert band.as_built is not None and band.works is not None
        to = "feed" if line == "taps" else "return"
        for said, new in ((band.as_built, True), (band.works, False)):
            made = dry(LINES[line][0](station.operated, new))
            made.pop("top", None)  # the feed hangs free
            by_hand = [between(made, "pin", to, high) for high in (False, True)]
            assert (said.low, said.high) == pytest.approx(by_hand, rel=1e-6)
            seen += 2
    assert seen == {"taps": 24, "mode": 8, "range": 8}[line]


@pytest.mark.parametrize("line", ["mode", "range", "taps"])
def test_volts_at_the_pin(truck: Truck, line: str) -> None:
    """The proof's box with the meter's 10 MΩ on the pin, and 10 mV for what no element stands for."""
    view, meter = line_view(truck, line), {"meter": ("pin", "ground", ((10e6, 10e6),))}
    listed = [each for each in stations(truck) if (each.line, each.kind) == (line, "volts")]
    for station in listed:
        band = expected(view, station)
        pin = solved(line, station.operated, extra=meter)["pin"]
        assert band.works is not None
        assert (band.works.low, band.works.high) == pytest.approx((pin.min() - 0.01, pin.max() + 0.01), abs=1e-6)
    assert len(listed) == {"taps": 6, "mode": 3, "range": 2}[line]


def test_heat_and_current_into_the_pin(proof: TruckProof) -> None:
    """The ladder's first resistor with the coded wire on ground; the sleeping controller's pin at 0 V."""
    findings = proof.lines[0].findings
    (heat,) = [each for each in findings if each.check == "heat" and each.subject == "contact.paddle_up.resistor"]
    low = part(270, WHEEL_K)[0]
    ways = low + 0.1 + 1.0 / (1.0 / 0.01 + 1.0 / (part(680, WHEEL_K)[0] + 0.01))
    burnt = ((15.2 - 0.05 + 0.05) / (ways + 0.1)) ** 2 * low
    assert heat.numbers["short_to_ground_w"] == pytest.approx(burnt, rel=2e-3)
    (over,) = [each for each in findings if each.check == "heat" and each.subject == "tap_pin"]
    jump = solved("taps", ("paddle_up", "lever_manual"))
    most = float((jump["pin"] / jump["battery"]).max()) * 24.0
    assert over.numbers["pin_v"] == pytest.approx(most, rel=5e-3)


# --- a return that ends in the controller ------------------------------------------------------------------------


def with_windows() -> Truck:
    """The taught controller once its windows are known."""
    windows = "".join(
        f'[[line.window]]\nmeaning = "{name}"\n{edges}\nbasis = "measured"\n'
        for name, edges in (("road", 'low = "0.1"\nhigh = "0.42"'), ("rock", 'low = "0.45"\nhigh = "0.7"'))
    )
    text = FILE.read_text(encoding="utf-8").replace('windows = "free"\n', "")
    return loads(text.replace("[[line.situation]]", windows + "\n[[line.situation]]", 1), FILE.name)


def test_a_chafe_does_not_show_while_the_return_hangs_free() -> None:
    """Unplugged, cavity 4 has no way to chassis. With a clip lead there, as the paper asks, it has."""
    held = ("road_throw", "rock_throw")
    coder = dry(mode(held, new=True))
    chafed: Branches = {**coder, "chafe": ("pin", "chassis", ((700.0, 700.0),))}
    clipped: Branches = {**chafed, "clip": ("return", "chassis", ((0.1, 0.1),))}
    sound, hanging, read_ohm = (between(each, "pin", "return", False) for each in (coder, chafed, clipped))
    assert hanging == pytest.approx(sound, rel=1e-6) and read_ohm < 700.5

    known = with_windows()
    view = line_view(known, "mode")
    asked = look_words(look_by_id(view, "ohms road_throw+rock_throw"), view.line)
    assert "cavity 4 of plug tcu, where that return ends, joined to chassis" in asked
    diagnosis = Diagnosis(known, "mode")
    told = [f"ohms road_throw+rock_throw={read_ohm:.1f} ohm", "meaning road_throw+rock_throw=road"]
    found = diagnosis.posterior([read(diagnosis, each) for each in told])
    assert found.first.name == "pin or far to ground"


@pytest.mark.parametrize(("line", "cavity"), [("mode", "cavity 4 of plug tcu"), ("range", "cavity 9 of plug tcu")])
def test_every_paper_asks_for_the_clip_lead(truck: Truck, line: str, cavity: str) -> None:
    clip = f"join {cavity} to chassis with a clip lead"
    listed = {each.id: each for each in stations(truck) if each.line == line}
    for name in (f"{line}/ohms/idle", f"{line}/stray/idle"):
        assert any(clip in each for each in listed[name].cautions)
    assert any(clip in each for each in probe_words(line_view(truck, line)))
    assert f"against {cavity}, joined to chassis with a clip lead, with it" in against(
        truck, line_faults(truck, line)
    ).outside_check.replace("with each", "with it")
    drop = listed[f"{line}/drop/run"]  # before the controller is in, nothing joins the two points
    assert (drop.step, drop.controller_plugged, drop.probe_words[0]) == (8, True, cavity)
    assert not any("clip lead" in each for one in stations(truck) if one.line == "taps" for each in one.cautions)


def test_a_bolted_return_is_read_where_it_was(truck: Truck) -> None:
    text = FILE.read_text(encoding="utf-8").replace('returns_to = "tcu.4"', 'returns_to = "tunnel_ground"')
    text = text.replace('return_offset = { low = "-0.02 V", high = "0.02 V", basis = "measured" }',
                        'return_offset = { low = "-0.05 V", high = "0.15 V", basis = "measured" }')  # fmt: skip
    listed = {each.id: each for each in stations(loads(text, FILE.name))}
    assert listed["mode/drop/run"].step == 7
    assert not any("clip lead" in each for each in listed["mode/ohms/idle"].cautions)


# --- a contact that opens ----------------------------------------------------------------------------------------


def test_a_contact_that_opens_is_measured_at_rest(truck: Truck) -> None:
    """While operated a good one shows OL: "measure across it while pressing" would call it broken."""
    said = {}
    for line in ("range", "mode", "taps"):
        view = line_view(truck, line)
        all_of = hypotheses(view, weights_of().in_service)
        said |= {each.name: repair_words(all_of, each.name, view.line) for each in all_of}
    for name in ("low_range", "road_throw"):
        assert "measure across it at rest" in said[f"branch {name} high"]
        assert "do not leave it unplugged" in said[f"branch {name} always on"]
    for name in ("rock_throw", "paddle_up"):
        assert "measure across it while pressing" in said[f"branch {name} high"]
        assert "do not leave it unplugged" not in said[f"branch {name} always on"]
    _, pulled = share("range", ("low_range",))  # what an unplugged contact reads: the command itself
    assert EDGES["low"][0] / 4095 < pulled < EDGES["low"][1] / 4095
    assert "return wire and cavity 9 of plug tcu" in said["source high"] or "fuse" in said["source high"]


# --- what to do next ---------------------------------------------------------------------------------------------


def test_the_same_turns_are_not_asked_for_twice(truck: Truck, proof: TruckProof) -> None:
    """Windows of a controller that is taught: one action, and it says to teach first."""
    pot = [each.what for each in next_actions(truck, proof) if "Put a potentiometer" in each.what]
    assert len(pot) == 1 and "a controller that is taught is taught first" in pot[0]


# --- the drawer --------------------------------------------------------------------------------------------------


def test_odd_parts_of_the_drawer(truck: Truck) -> None:
    """Chosen values hold by hand; a pair strays as its parts do: for R1 ∥ R2 each by the share of the other."""
    wide = DrawerPart(2200.0, 0.02, 2)
    odd = {  # name: ohms as measured, how far they may be off with a meter of 0.8 % + 2
        262.4: (262.4, 0.008 * 262.4 + 0.2), 711.3: (711.3, 0.008 * 711.3 + 0.2), 1558.0: (1558.0, 0.008 * 1558 + 2),
        7940.0: (7940.0, 0.008 * 7940 + 20),
    }  # fmt: skip
    measured = [
        DrawerPart(nominal, None, 1, measured_ohm=ohm, measured_uncertainty_ohm=off)
        for nominal, (ohm, off) in odd.items()
    ]
    found = choose(truck, "taps", source=Drawer((*measured, wide, DrawerPart(10e3, 0.01, 4))), explain=False)
    names = ("contact.paddle_up", "contact.paddle_down", "contact.lever_manual")
    ohms = [found.values[f"{name}.resistor"] for name in names]
    assert ohms[2] == 1558.0 and found.values["line.taps.end_resistor"] == 7940.0
    alone = 1 / (1 / 262.4 + 1 / 2200)
    assert ohms[0] in (pytest.approx(alone), pytest.approx(262.4))
    assert ohms[1] in (pytest.approx(1 / (1 / 711.3 + 1 / 10e3)), pytest.approx(711.3))
    (pair,) = Drawer((measured[0], wide)).made(200.0, 250.0)
    lowest, highest = (
        1 / (1 / (262.4 + s * odd[262.4][1]) + 1 / (2200 * (1 + s * 0.02))) for s in (-1, 1)
    )  # fmt: skip
    assert (pair.low_ohm, pair.high_ohm) == pytest.approx((lowest, highest), rel=1e-9)


# --- readings ----------------------------------------------------------------------------------------------------


def test_an_open_display_with_nothing_held_is_asked_about_in_words_that_can_be_done(truck: Truck) -> None:
    judged = bench_sheet(truck, starter(), {"mode/ohms/idle": Taken("OL")}).row("mode/ohms/idle").judgement
    assert judged is not None
    (doubt,) = [each.question for each in judged.doubts if each.kind == "open"]
    assert doubt.endswith("is no switch held?")  # the rocker's throw opens while it is held


def test_three_dates_of_a_contact_that_wears() -> None:
    """A level line must pass within the meter's error of every reading: 1 % and five digits of 1 Ω."""
    days = [0.0, 14 * 86400.0, 40 * 86400.0]
    for ohms, word in (
        ((2556.0, 2570.0, 2612.0), "steady"), ((2556.0, 2590.0, 2625.0), "drifts up"),
        ((2625.0, 2560.0, 2625.0), "jumps"),
    ):  # fmt: skip
        reach = [0.01 * each + 5.0 for each in ohms]
        level = max(o - r for o, r in zip(ohms, reach, strict=True)) <= min(
            o + r for o, r in zip(ohms, reach, strict=True)
        )
        assert level is (word == "steady")
        assert drift(days, ohms, reach).word == word


# --- a pin learned -----------------------------------------------------------------------------------------------

REFERENCE_V, UP_OHM, DOWN_OHM = 5.03, 3340.0, 21300.0
NAMES, RISING, FALLING = ("shorted", "road", "rock", "open"), (0.03, 0.46, 0.80), (0.02, 0.435, 0.78)


class Pin:
    """A pin with a pull-down beside its pull-up, and hysteresis."""

    def __init__(self) -> None:
        self.now: int | None = None

    def at(self, ohm: float) -> float:
        return (1 / UP_OHM) / (1 / UP_OHM + 1 / DOWN_OHM + (1 / ohm if ohm else 1e9))

    def put(self, ohm: float, *, fresh: bool = False) -> str:
        x = self.at(ohm)
        if fresh or self.now is None:
            self.now = sum(x >= (a + b) / 2 for a, b in zip(RISING, FALLING, strict=True))
        while self.now < 3 and x >= RISING[self.now]:
            self.now += 1
        while self.now > 0 and x < FALLING[self.now - 1]:
            self.now -= 1
        return NAMES[self.now]


def unknown_pulls(folder: Path) -> Path:
    text = FILE.read_text(encoding="utf-8")
    text = text.replace(
        'pull_up = { value = "3.3 kohm", tolerance = "3 %", basis = "measured" }', 'pull_up = "unknown"'
    )
    text = text.replace('pull_down = { value = "22 kohm", tolerance = "5 %", basis = "measured" }',
                        'pull_down = "unknown"')  # fmt: skip
    file = folder / "mossgate.toml"
    file.write_text(text, encoding="utf-8")
    return file


def run(file: Path, *words: str) -> Result:
    return CliRunner().invoke(group, ["learn", str(file), "--input", "mode_pin", *words])


def test_a_key_turned_on_upon_a_load_does_not_spoil_what_was_learned(tmp_path: Path) -> None:
    """One true reading with the key turned on upon it must not widen an edge over readings that say otherwise."""
    file, pin, dice = unknown_pulls(tmp_path), Pin(), random.Random(4)

    def meter(volts: float) -> str:  # 1 % + 5 digits, 0.6 % of it the same each time
        return f"{volts * 1.006 + dice.choice((-0.02, 0.01, 0.03)):.2f}"

    words = ["--meter", "1 % + 5", "--told", "reference_v=5.03"]
    for text, ohm in (("open", float("inf")), ("load=1k", 996.0), ("load=3.3k", 3311.0)):
        words += ["--add", f"{text} volts={meter(pin.at(ohm) * REFERENCE_V)}"]
    assert run(file, *words).exit_code == 1
    falling = ("open", "20k", "7.94k", "5k", "3.158k", "2911", "2.53k", "2.42k", "2.2k", "1.558k", "1.1k", "711",
               "524", "316", "131", "110", "0")  # fmt: skip
    words = []
    for text in falling:
        ohm = float("inf") if text == "open" else float(text.replace("k", "")) * (1e3 if "k" in text else 1.0)
        pin.put(float("inf"))
        words += ["--add", f"{'open' if text == 'open' else 'load=' + text} means={pin.put(ohm)} from=above"]
    words += ["--add", f"load=2.2k means={pin.put(2200.0, fresh=True)} from=key"]
    run(file, *words)
    done = run(file, "--accept", "15 %", "--write")
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    learned = load(file)
    line, owner = learned.line("mode"), learned.input_of(learned.line("mode"))
    assert {each.meaning for each in line.windows} == set(NAMES)
    for number, meaning in ((1, "road"), (2, "rock")):  # the true edges, either way, lie in what is written
        (window,) = [each for each in line.windows if each.meaning == meaning]
        assert window.low is not None and window.uncertainty_low is not None
        for edge in (RISING[number - 1], FALLING[number - 1]):
            ohm = 1 / ((1 / edge - 1) / UP_OHM - 1 / DOWN_OHM)
            assert window.low - window.uncertainty_low <= ohm <= window.low + window.uncertainty_low
    (shorted,) = [each for each in line.windows if each.meaning == "shorted"]
    assert shorted.high is not None and shorted.high + (shorted.uncertainty_high or 0.0) < 316.0
    for pull, true in ((owner.pull_up, UP_OHM), (owner.pull_down, DOWN_OHM)):
        assert pull is not None and not isinstance(pull, str)
        assert pull.ohm is not None and abs(pull.ohm - true) <= pull.tolerance * pull.ohm


@pytest.mark.parametrize(("typed", "digit_v"), [("5.03", 0.01), ("5.0", 0.1), ("5030mV", 0.001)])
def test_the_told_reference_is_as_sure_as_the_meter_and_its_digits(tmp_path: Path, typed: str, digit_v: float) -> None:
    """1 % of the reading and five steps of the last digit that was told, as for every other reading."""
    file = unknown_pulls(tmp_path)
    words = ["--meter", "1 % + 5", "--told", f"reference_v={typed}", "--write"]
    for text, ohm in (("open", float("inf")), ("load=1k", 1000.0), ("load=3.3k", 3300.0)):
        words += ["--add", f"{text} volts={Pin().at(ohm) * REFERENCE_V:.2f}"]
    run(file, *words)
    reference = load(file).input_of(load(file).line("mode")).reference
    assert reference is not None and reference.basis == "measured"
    told = 5.0 if typed == "5.0" else 5.03
    reach = 0.01 * told + 5 * digit_v
    assert (reference.high - reference.low) / 2 == pytest.approx(reach, rel=0.06)
    assert reference.low <= told - reach * 0.999 and told + reach * 0.999 <= reference.high


@pytest.mark.parametrize("idle_ohm", [11e3, OPEN])
def test_how_to_see_whether_the_slot_feeds_the_taps(tmp_path: Path, idle_ohm: float) -> None:
    """With a far-end resistor nothing ever reads open: what tells is whether a tap changes the ohms, slot off."""

    def ohms(tap: bool, through: bool) -> float:
        start = "manual" if through else "s"
        closed = 0.5 if tap else OPEN
        made: Branches = {
            "idle": ("s", "far", ((idle_ohm, idle_ohm),)), "slot": ("s", "manual", ((OPEN, OPEN),)),
            "code": ("manual", "far", ((3300.0, 3300.0),)), "tap": (start, "far", ((1500.0, 1500.0), (closed, closed))),
        }  # fmt: skip
        return between(made, "far", "s", False)

    assert ohms(True, through=True) == pytest.approx(ohms(False, through=True), rel=0.02)
    assert ohms(True, through=False) < 0.5 * ohms(False, through=False)
    file = tmp_path / "bog.toml"
    words = {
        "name": "Bog", "switched": "fuse", "controls": "slot, wheel", "taps-fed": "directly", "whose": "borrowed",
        "list": "up 270 ohm, down 950 ohm, manual 2.55k, rest 10.8k", "list-is": "total", "compares": "battery",
        "pull": "1.8 kohm 4 % measured", "supply": "10.5 to 15.2 V", "temperature": "-15 to 85 °C",
    }  # fmt: skip
    options = [each for key, value in words.items() for each in (f"--{key}", value)]
    assert CliRunner().invoke(group, ["new", str(file), *options]).exit_code == 0
    begun = load(file)
    told = [each.what for each in next_actions(begun, prove(begun, samples=0)) if "through enable" in each.what]
    assert len(told) == 1 and "with no tap and with one pressed. Both alike" in told[0]


def test_checks_from_outside_of_a_contact_that_opens(truck: Truck) -> None:
    """At rest it conducts and pressed it does not: beeping it out at rest finds no stuck one, a press shows no wear."""
    found = line_faults(truck, "range")
    said = {each.fault.kind: against(truck, found).remedies[each.fault.id].check for each in found.of("false command")
            if each.fault.site == "contact.low_range"}  # fmt: skip
    assert said["worn"].startswith("Measure the contact at rest")
    bare = line_faults(truck, "taps")
    pressed = [against(truck, bare).remedies[each.fault.id].check for each in bare.of("false command")
               if (each.fault.site, each.fault.kind) == ("contact.paddle_up", "worn")]  # fmt: skip
    assert pressed and pressed[0].startswith("Measure the pressed contact")
