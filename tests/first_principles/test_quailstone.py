"""A second awkward invented truck: numbers and promises of every paper against nodal analysis of its own.

Each line is written down once more by hand, as a list of branches, and solved with numpy at every corner of its box;
nothing of `pinproof.network` is used. Expected limits, ohms, watts and shares are worked out here, none is pasted.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pinproof.chain.choosing import text_with
from pinproof.choose import choose
from pinproof.cli.show import choice_words
from pinproof.design import Truck, load
from pinproof.design.load import loads
from pinproof.faults import against, keep_racing, line_faults
from pinproof.find import Diagnosis, read
from pinproof.find.hypotheses import hypotheses
from pinproof.find.looks import look_by_id
from pinproof.find.weights import weights_of
from pinproof.find.words import look_words, repair_words
from pinproof.meter import bench_sheet, expected, starter, stations
from pinproof.meter.sheet import Taken
from pinproof.pack.bench import probe_words
from pinproof.pack.card_keep import keep_lines
from pinproof.pack.substitutes import substitutes_of
from pinproof.proof import TruckProof, prove
from pinproof.wiring import line_view

FILE = Path(__file__).parents[1] / "data" / "quailstone.toml"
FREE = 1e14  # ohms that stand for no path
SUPPLY = {"run": (9.0, 16.0), "crank": (6.0, 10.5), "after_run": (11.2, 12.9)}
Piece = tuple[float, float, float]  # least and greatest ohms at 20 °C, tempco of known sign


@pytest.fixture(scope="module")
def truck() -> Truck:
    return load(FILE)


@pytest.fixture(scope="module")
def proof(truck: Truck) -> TruckProof:
    return prove(truck, samples=0)


class Part:
    """One branch: pieces in series that one corner moves together."""

    def __init__(self, a: str, b: str, *pieces: Piece) -> None:
        self.a, self.b, self.pieces = a, b, pieces


Parts = dict[str, Part]


def coder(ohm: float, tolerance: float, ppm: float, reach_k: float, ageing: float = 0.005) -> Piece:
    heat = ppm * 1e-6 * reach_k
    return (
        ohm * (1 - tolerance) * (1 - ageing) * (1 - heat), ohm * (1 + tolerance) * (1 + ageing) * (1 + heat), 0.0
    )  # fmt: skip


def known(ohm: float, tolerance: float, ppm: float) -> Piece:
    low, high, _ = coder(ohm, tolerance, 0.0, 0.0)
    return low, high, ppm * 1e-6


def gap(ohm: float) -> Piece:
    return ohm, FREE, 0.0


ORDER = ("lever_manual", "lever_up", "lever_down", "paddle_up", "paddle_down")
CODES = {  # lever 50 K and wheel 50 K from 20 °C (-30 °C), pillar 65 K (185 °F), axle 90 K (230 °F)
    "lever_manual": coder(4300, 0.01, 100, 50), "lever_up": known(390, 0.004, -350),
    "lever_down": coder(1800, 0.02, 200, 50), "paddle_up": known(390, 0.05, 1000),
    "paddle_down": coder(1800, 0.02, 200, 50), "near": coder(18e3, 0.02, 200, 50), "far": coder(1500, 0.02, 200, 50),
}  # fmt: skip


def taps(pressed: tuple[str, ...]) -> Parts:
    parts = {
        "pull": Part("battery", "pin", coder(2200, 0.03, 50, 90, 0.0)),
        "down": Part("pin", "ground", (61.2e3, 74.8e3, 0)),
        "wet": Part("pin", "return", gap(56e3)), "live": Part("pin", "battery", gap(82e3)),
        "wire": Part("pin", "far end", (0.1, 2.0, 0)), "source": Part("return", "bus", (0.1, 1.5, 0)),
        "idle": Part("bus", "far end", coder(10e3, 0.01, 100, 65)),
    }  # fmt: skip
    for name in ORDER:
        closed = (0.02, 25.0 if name.startswith("paddle") else 45.0, 0.0)
        opened = gap(90e3 if name == "lever_up" else 150e3)
        parts[name] = Part("bus", "far end", CODES[name], closed if name in pressed else opened)
    return parts


def axle(pressed: tuple[str, ...]) -> Parts:
    closed = (0.02, 60.0, 0.0)
    return {
        "pull": Part("reference", "pin", (4465, 4935, 0)), "wet": Part("pin", "return", gap(100e3)),
        "live": Part("pin", "battery", gap(470e3)), "w_pin": Part("pin", "a", (0.1, 2.0, 0)),
        "w_signal_return": Part("c", "ground", (0.1, 2.0, 0)), "r_lock": Part("a", "b", coder(1000, 0.02, 200, 90)),
        "r_bias": Part("a", "c", coder(6800, 0.02, 200, 90)), "r_seated": Part("a", "d", coder(5100, 0.02, 200, 90)),
        "lock_on": Part("b", "return", closed if "lock_on" in pressed else gap(150e3)),
        "unseated": Part("c", "d", gap(150e3) if "unseated" in pressed else closed),
    }  # fmt: skip


def lamps(pressed: tuple[str, ...]) -> Parts:
    parts = {
        "down": Part("pin", "ground", (4465, 4935, 0)), "wet": Part("pin", "return", gap(82e3)),
        "live": Part("pin", "battery", gap(220e3)), "wire": Part("pin", "far end", (0.1, 2.0, 0)),
        "source": Part("feed", "bus", (0.1, 2.0, 0)),
    }  # fmt: skip
    for name in ("near", "far"):
        parts[name] = Part("bus", "far end", CODES[name], (0.02, 45.0, 0.0) if name in pressed else gap(150e3))
    return parts


LINES: Mapping[str, tuple[Callable[[tuple[str, ...]], Parts], str, Mapping[str, tuple[float, float]]]] = {
    "taps": (taps, "battery", {"offset": (-0.03, 0.12)}),
    "axle": (axle, "reference", {"offset": (-0.05, 0.25), "reference": (4.9, 5.1)}),
    "lamps": (lamps, "battery", {"offset": (-0.05, 0.05), "drop": (0.1, 0.6)}),
}
Change = Callable[[Parts], None]


class Solved:
    """Every corner of one situation of a line: volts of its nodes, ohms of its branches."""

    def __init__(
        self, line: str, pressed: tuple[str, ...], state: str = "run", change: Change | None = None, **other: Any
    ) -> None:
        make, self.divisor, causes = LINES[line]
        self.parts = make(pressed)
        if change is not None:
            change(self.parts)
        ends: dict[str, tuple[float, ...]] = {"battery": SUPPLY[state], **causes, **other}
        if any(piece[2] for part in self.parts.values() for piece in part.pieces):
            ends["temperature"] = (-30.0, 110.0)
        for name, part in self.parts.items():
            ends["." + name] = (0.0, 1.0) if any(piece[0] != piece[1] for piece in part.pieces) else (0.0,)
        both = np.array(list(itertools.product(*ends.values())))
        at = {name: both[:, i] for i, name in enumerate(ends)}
        heat = at.get("temperature", np.full(len(both), 20.0)) - 20.0
        self.volts = {"battery": at["battery"], "ground": 0 * heat, "return": at["offset"]}
        if "reference" in at:
            self.volts["reference"] = at["reference"]
        if "drop" in at:
            self.volts["feed"] = at["battery"] - at["drop"]
        nodes = sorted({end for part in self.parts.values() for end in (part.a, part.b)} - set(self.volts))
        place = {node: i for i, node in enumerate(nodes)}
        siemens = np.zeros((len(both), len(nodes), len(nodes))) + 1e-15 * np.eye(len(nodes))
        amps = np.zeros((len(both), len(nodes), 1))
        self.ohms = {}
        for name, part in self.parts.items():
            ohm = sum(np.where(at["." + name] == 0, low, high) * (1 + k * heat) for low, high, k in part.pieces)
            self.ohms[name] = np.maximum(ohm, 1e-9)
            for one, two in ((part.a, part.b), (part.b, part.a)):
                if one in place:
                    siemens[:, place[one], place[one]] += 1 / self.ohms[name]
                    if two in place:
                        siemens[:, place[one], place[two]] -= 1 / self.ohms[name]
                    else:
                        amps[:, place[one], 0] += self.volts[two] / self.ohms[name]
        found = np.linalg.solve(siemens, amps)[:, :, 0]
        self.volts |= {node: found[:, i] for node, i in place.items()}

    @property
    def share(self) -> tuple[float, float]:
        found = np.clip(self.volts["pin"] / self.volts[self.divisor], 0.0, 1.0)
        return float(found.min()), float(found.max())

    def amps(self, name: str) -> Any:
        part = self.parts[name]
        return np.abs(self.volts[part.a] - self.volts[part.b]) / self.ohms[name]


def put(name: str, *pieces: Piece) -> Change:
    def change(parts: Parts) -> None:
        parts[name] = Part(parts[name].a, parts[name].b, *pieces)

    return change


EDGES: Mapping[str, Mapping[str, tuple[float, float, float, float]]] = {  # low, high, how far each may be off
    "taps": {
        meaning: tuple(each / 1023 for each in counts)  # type: ignore[misc]
        for meaning, counts in {
            "shorted": (-9e9, 30, 0, 4), "up": (95, 205, 5, 6), "down": (270, 405, 6, 6), "manual": (470, 640, 6, 8),
            "automatic": (710, 940, 8, 8), "open": (985, 9e9, 6, 0),
        }.items()
    },
    "axle": {
        "locked": (0.09, 0.24, 0.01, 0.012), "free": (0.32, 0.46, 0.01, 0.01), "unseated": (0.505, 0.68, 0.01, 0.015),
    },
    "lamps": {
        meaning: tuple(each / 13.2 for each in volts)  # type: ignore[misc]
        for meaning, volts in {
            "off": (-9e9, 1.2, 0, 0.1), "near": (1.9, 4.1, 0.1, 0.12), "far": (5.2, 9e9, 0.15, 0),
        }.items()
    },
}  # fmt: skip
ERROR = {"taps": 0.006, "axle": 0.01, "lamps": 0.005}
NEEDS = {
    "taps": {
        (): "automatic", ("lever_manual",): "manual", ("lever_manual", "lever_up"): "up",
        ("lever_manual", "lever_down"): "down", ("lever_manual", "paddle_up"): "up",
        ("lever_manual", "paddle_down"): "down",
    },
    "axle": {(): "free", ("lock_on",): "locked", ("unseated",): "unseated"},
    "lamps": {(): "off", ("near",): "near", ("far",): "far"},
}  # fmt: skip


def edges(line: str, meaning: str, sign: float) -> tuple[float, float]:
    low, high, off_low, off_high = EDGES[line][meaning]
    return low + sign * (off_low + ERROR[line]), high - sign * (off_high + ERROR[line])


def holds(line: str, meaning: str, share: tuple[float, float]) -> bool:
    low, high = edges(line, meaning, 1.0)
    return low <= share[0] and share[1] <= high


def could(line: str, meaning: str, share: tuple[float, float]) -> bool:
    low, high = edges(line, meaning, -1.0)
    return share[1] >= low and share[0] <= high


@pytest.mark.parametrize(("number", "line"), list(enumerate(LINES)))
def test_spans_and_margins(proof: TruckProof, number: int, line: str) -> None:
    """Every situation in every key state. Where one heat moves two resistors the engine brackets; the bracket holds."""
    for row in proof.lines[number].situations:
        low, high = Solved(line, row.operated, row.key_state).share
        loose = 1e-4 if {"lever_up", "paddle_up"} <= set(row.operated) else 1e-6
        assert row.low <= low + 1e-9 and high - 1e-9 <= row.high
        assert (row.low, row.high) == pytest.approx((low, high), abs=loose)
        meaning = NEEDS[line].get(row.operated)
        if meaning is None or row.key_state == "crank":
            continue
        sure_low, sure_high = edges(line, meaning, 1.0)
        stated = EDGES[line][meaning]
        half = (min(stated[1], 1.0) - max(stated[0], 0.0)) / 2
        assert row.margin == pytest.approx(min(low - sure_low, sure_high - high) / half, abs=1e-3)


LIMITS = [  # line, pressed, what the number becomes, and which way it moves
    ("taps", (), "line.taps.leak_to_ground", lambda ohm: put("wet", gap(ohm)), -1),
    ("taps", (), "contact.lever_up.open", lambda ohm: put("lever_up", CODES["lever_up"], gap(ohm)), -1),
    (
        "taps", ("lever_manual", "paddle_up"), "contact.paddle_up.resistor",
        lambda ohm: put("paddle_up", (ohm, ohm, 0.0), (0.02, 25.0, 0.0)), 1,
    ),
    ("taps", ("lever_manual", "paddle_up"), "line.taps.wire", lambda ohm: put("wire", (0.1, ohm, 0.0)), 1),
    ("lamps", (), "contact.far.open", lambda ohm: put("far", CODES["far"], gap(ohm)), -1),
    ("lamps", (), "line.lamps.leak_to_supply", lambda ohm: put("live", gap(ohm)), -1),
    ("axle", ("unseated",), "input.axle_pin.pull_up", lambda ohm: put("pull", (4465.0, ohm, 0.0)), 1),
    ("axle", (), "line.axle.element.w_signal_return.value", lambda ohm: put("w_signal_return", (0.1, ohm, 0.0)), 1),
]  # fmt: skip


@pytest.mark.parametrize(("line", "pressed", "path", "change", "way"), LIMITS)
def test_a_number_may_move_as_far_as_is_said_and_no_further(
    proof: TruckProof, line: str, pressed: tuple[str, ...], path: str, change: Callable[[float], Change], way: int
) -> None:
    rows = next(each for each in proof.lines if each.line == line).situations
    row = next(each for each in rows if each.key_state == "run" and each.operated == pressed)
    budget = next(
        each for each in row.budgets if each.parameter == path and each.direction == ("up" if way > 0 else "down")
    )
    assert budget.lost_at is not None
    meaning = NEEDS[line][pressed]
    inside, beyond = (
        Solved(line, pressed, change=change(budget.lost_at * (1 + way * by))).share for by in (-0.002, 0.002)
    )
    assert holds(line, meaning, inside) and not holds(line, meaning, beyond)


def test_a_broken_wire_that_may_read_as_nobody_pressing_is_said_to(truck: Truck, proof: TruckProof) -> None:
    """Wet to ground and with a weak pull the open pin stays at 92.8 %: automatic may reach to 93.3 %."""

    def cut(parts: Parts) -> None:
        del parts["wire"]

    share = Solved("taps", (), change=cut).share
    assert could("taps", "automatic", share) and not holds("taps", "automatic", share) and could("taps", "open", share)
    (told,) = [
        each.text for each in proof.lines[0].findings
        if each.check == "broken-wire" and each.subject == "line.taps.wire"
    ]  # fmt: skip
    assert "With nothing pressed it may be read as `automatic`, as from a sound line, or as `open`" in told
    found = line_faults(truck, "taps")
    (broken,) = [each for each in found.faults if (each.fault.site, each.fault.kind) == ("line.taps.wire", "open")]
    assert set(broken.idle_reads) == {"automatic", "open", "invalid"} and not broken.unnoticed


def test_one_outside_check_finds_every_command_lost_unnoticed(truck: Truck) -> None:
    found = line_faults(truck, "axle")
    hidden = [each for each in found.of("command lost") if each.unnoticed]
    lost = {one.operated for each in hidden for one in each.lost}
    assert lost == {("lock_on",), ("unseated",)}
    assert "press lock_on, unseated and see" in against(truck, found).outside_check


@pytest.mark.parametrize(
    ("line", "pressed", "site", "kind", "command", "name"),
    [
        ("axle", (), "w_pin.value", "resistive", "unseated", "w_pin"),
        ("axle", (), "r_bias.value", "drifted", "locked", "r_bias"),
        ("lamps", ("far",), "contact.far", "worn", "near", "far"),
    ],
)
def test_severities_end_where_the_reading_leaves_the_window(
    truck: Truck, line: str, pressed: tuple[str, ...], site: str, kind: str, command: str, name: str
) -> None:
    (fault,) = [
        each for each in line_faults(truck, line).faults if each.fault.site.endswith(site) and each.fault.kind == kind
    ]
    seen = 0
    for false in fault.false:
        if (false.operated, false.command) != (pressed, command) or false.severities is None:
            continue
        own = (CODES[name],) if kind == "worn" else ()
        for low, high in false.severities.outer:
            for ohm, seen_there in (
                (low * 0.998, False),
                (low * 1.002, True),
                (high * 0.998, True),
                (high * 1.002, False),
            ):
                share = Solved(line, pressed, false.key_state, put(name, *own, (ohm, ohm, 0.0))).share
                assert could(line, command, share) is seen_there
                seen += 1
    assert seen == 12  # three key states


def test_what_is_left_when_a_station_is_unplugged(truck: Truck) -> None:
    def without(*names: str) -> Change:
        def change(parts: Parts) -> None:
            for name in names:
                del parts[name]

        return change

    kept = {each.station: each for each in keep_racing(truck, "taps")}
    wheel, lever = without("paddle_up", "paddle_down"), without("lever_manual", "lever_up", "lever_down")
    for pressed, meaning in kept["wheel"].left:
        assert holds("taps", meaning, Solved("taps", pressed, change=wheel).share)
    assert {meaning for _, meaning in kept["wheel"].left} == {"manual", "up", "down"}
    for pressed, meaning in kept["lever"].also_read:
        assert could("taps", meaning, Solved("taps", pressed, change=lever).share)
    assert holds("taps", "automatic", Solved("taps", (), change=lever).share)


def test_the_card_does_not_call_a_proven_line_unproven(truck: Truck) -> None:
    (axle_told,) = [str(each) for each in keep_lines(truck, line_view(truck, "axle"))]
    assert "no coded wire and no station to unplug" in axle_told and "Nothing was proven" not in axle_told
    (lamps_told,) = [str(each) for each in keep_lines(truck, line_view(truck, "lamps"))]
    assert "You then have no command; it reads off." in lamps_told  # there is no manual on this line
    text = FILE.read_text(encoding="utf-8").replace('pull_up = { value = "4.7 kohm"', 'pull_up = "unknown" #', 1)
    text = text.replace('compares = "reference"', 'compares = "unknown"\nfull_scale = "5 V"', 1)
    unknown = loads(text, FILE.name)
    (told,) = [str(each) for each in keep_lines(unknown, line_view(unknown, "axle"))]
    assert "Nothing was proven for axle: the pull of input axle_pin is unknown." in told


def test_heat_and_stand_ins(truck: Truck, proof: TruckProof) -> None:
    """Watts by V²/R at the worst corner; in place of a lost resistor no value that a 1 W body would not stand."""
    watts = {
        each.subject: each.numbers for line in proof.lines for each in line.findings if each.check == "heat"
    }  # fmt: skip
    low, _, tempco = CODES["paddle_up"]
    cold = low * (1 - 50 * tempco)
    shorted = (16.03 / (cold + 0.12)) ** 2 * cold
    assert watts["contact.paddle_up.resistor"]["short_to_battery_w"] == pytest.approx(shorted, rel=1e-3)
    burnt = (16.0 - 0.1 + 0.05) ** 2 / CODES["far"][0]  # coded wire on the return
    assert watts["lamps"]["contact.far.resistor"] == pytest.approx(burnt, rel=1e-3)
    carries = 1.0 * (155 - 110) / (155 - 70)  # 1 W at 230 °F
    (told,) = [each.range for each in substitutes_of(truck, proof) if "far (line lamps)" in each.places]
    assert told == "510 Ω to 4.3 kΩ"
    assert burnt * 1500 / 510 < carries < burnt * 1500 / 470  # E24: 470, 510
    for ohm, good in ((510.0, True), (5100.0, True), (5600.0, False)):  # the windows alone would let 5.1 kΩ be
        reading = Solved("lamps", ("far",), change=put("far", coder(ohm, 0.02, 200, 50), (0.02, 45.0, 0.0))).share
        assert holds("lamps", "far", reading) is good
    pin = max(
        float(Solved("taps", (), battery=(24.0,)).volts["pin"].max()),
        float(Solved("taps", ("lever_manual",), battery=(24.0,)).volts["pin"].max()),
    )
    (over,) = [each for each in proof.lines[0].findings if each.subject == "tap_pin" and each.check == "heat"]
    assert over.numbers["pin_v"] == pytest.approx(pin, rel=1e-6)
    assert over.cure.startswith("It takes no fault")  # its own pull does it, no battery wire need touch


def test_wetting_currents(proof: TruckProof) -> None:
    told = {name: a for line in proof.lines for each in line.findings if each.check == "wetting"
            for name, a in {**each.numbers, each.subject: each.numbers.get("least_a")}.items()}  # fmt: skip
    for line, pressed, name in (
        ("taps", ("lever_manual", "paddle_up"), "paddle_up"), ("axle", ("lock_on",), "lock_on"),
        ("lamps", ("near",), "near"), ("lamps", ("far",), "far"),
    ):  # fmt: skip
        by_hand = min(float(Solved(line, pressed, state).amps(name).min()) for state in ("run", "after_run"))
        assert told[name] == pytest.approx(by_hand, rel=2e-3)


def test_weak_numbers_are_told_in_words_and_as_the_file_states_them(proof: TruckProof) -> None:
    rows = [each for line in proof.lines for each in line.rests_on]
    assert not any("line.axle" in each.what for each in rows)
    assert any("the element r_bias of axle reaches" in each.what for each in rows)
    assert any(each.text == "tempco 1000 ppm/K" for each in rows)


def test_a_device_in_which_a_resistor_sits_is_not_odd(truck: Truck) -> None:
    """The pillar holds the far-end resistor and no contact."""
    assert not truck.warnings
    text = FILE.read_text(encoding="utf-8").replace('at = "pillar"', 'at = "wheel"')
    (told,) = loads(text, FILE.name).warnings
    assert "device.pillar" in told


def test_ohms_at_the_plug(truck: Truck) -> None:
    """As built: not aged, 10 to 30 °C, contacts up to 3 Ω above their least. Works: the whole dry box."""

    def ends(pressed: tuple[str, ...], at: int, built: bool) -> float:
        sign = (-1, 1)[at]

        def ohm(nominal: float, tolerance: float, ppm: float, reach_k: float) -> float:
            heat = 1 + sign * ppm * 1e-6 * (10 if built else reach_k)
            return nominal * (1 + sign * tolerance) * (1 if built else 1 + sign * 0.005) * heat

        def sorted_heat(ppm: float) -> float:
            both = [1 + ppm * 1e-6 * (each - 20) for each in ((10, 30) if built else (-30, 110))]
            return (min(both), max(both))[at]

        each = {
            "lever_manual": ohm(4300, 0.01, 100, 50), "lever_down": ohm(1800, 0.02, 200, 50),
            "paddle_down": ohm(1800, 0.02, 200, 50), "lever_up": ohm(390, 0.004, 0, 0) * sorted_heat(-350),
            "paddle_up": ohm(390, 0.05, 0, 0) * sorted_heat(1000),
        }  # fmt: skip
        worn = {name: 3.02 if built else 25.0 if name.startswith("paddle") else 45.0 for name in each}
        branches = [each[name] + (worn[name] if at else 0.02) for name in pressed] + [ohm(10e3, 0.01, 100, 65)]
        return (0.2, 3.5)[at] + 1 / sum(1 / one for one in branches)

    view, seen = line_view(truck, "taps"), 0
    for station in stations(truck):
        if (station.line, station.kind) == ("taps", "ohms"):
            band = expected(view, station)
            assert band.as_built is not None and band.works is not None
            for said, built in ((band.as_built, True), (band.works, False)):
                by_hand = [ends(station.operated, at, built) for at in (0, 1)]
                assert (said.low, said.high) == pytest.approx(by_hand, rel=1e-9)
                seen += 2
    assert seen == 48


def test_volts_at_the_pin(truck: Truck) -> None:
    """The proof's whole box with the meter's 10 MΩ in it, and 10 mV for offsets of the meter."""

    def metered(parts: Parts) -> None:
        parts["meter"] = Part("pin", "ground", (10e6, 10e6, 0.0))

    for station in stations(truck):
        if station.kind == "volts" and station.line in ("axle", "lamps"):
            band = expected(line_view(truck, station.line), station)
            pin = Solved(station.line, station.operated, change=metered).volts["pin"]
            assert band.works is not None
            assert (band.works.low, band.works.high) == pytest.approx((pin.min() - 0.01, pin.max() + 0.01), abs=1e-6)


def test_a_contact_that_passes_as_open_passes_as_stray_volts_too(truck: Truck) -> None:
    """14 MΩ across both contacts is good isolation; with the controller unplugged the meter alone holds the pin."""
    said = {"lamps/ohms/idle": "14.2 Mohm", "lamps/stray/idle": f"{12.6 * 10 / (10 + 14.2):.2f} V"}
    taken = {name: Taken(text) for name, text in said.items()}
    sheet = bench_sheet(truck, starter(), taken)
    found = {name: sheet.row(name).judgement for name in said}
    assert found["lamps/ohms/idle"] is not None and found["lamps/ohms/idle"].outcome.name == "AS_BUILT"
    assert found["lamps/stray/idle"] is not None and found["lamps/stray/idle"].outcome.name == "WORKS"
    hard = bench_sheet(truck, starter(), {"lamps/stray/idle": Taken("15.9 V")}).row("lamps/stray/idle").judgement
    assert hard is not None and hard.outcome.name == "WRONG"


def test_a_wire_to_the_controllers_ground_hangs_free_while_it_is_unplugged(truck: Truck) -> None:
    """Without a clip lead from that cavity to chassis a sound coder reads OL at rest."""
    alone = [each for each in stations(truck) if each.id == "axle/wire/w_signal_return"]
    assert alone[0].probe_words == ("c", "the controller's ground cavity of this plug")
    ohms = next(each for each in stations(truck) if each.id == "axle/ohms/idle")
    assert any("join its cavity to the switches' return" in each for each in ohms.cautions)
    assert not any("controller's own ground" in each for each in stations(truck) if each.line == "taps"
                   for each in each.cautions)  # fmt: skip
    assert any("join its cavity to the switches' return" in each for each in probe_words(line_view(truck, "axle")))
    look = look_by_id(line_view(truck, "axle"), "ohms idle")
    assert "controller's ground cavity joined to chassis" in look_words(look, truck.line("axle"))


def test_a_resistive_wire_is_not_measured_like_a_resistor(truck: Truck) -> None:
    view = line_view(truck, "axle")
    all_of = hypotheses(view, weights_of().in_service)
    said = {each.name: repair_words(all_of, each.name, view.line) for each in all_of}
    wire, part = (f"line.axle.element.{name}.value high" for name in ("w_signal_return", "r_bias"))
    assert said[wire].startswith("Look at the terminals at both ends of that wire")
    assert said[part].startswith("Measure that resistor")


def test_a_chosen_value_is_neither_measured_nor_borrowed(truck: Truck) -> None:
    text = FILE.read_text(encoding="utf-8").replace('"390 ohm", tolerance = "0.4 %"', '"392 ohm", tolerance = "0.4 %"')
    before = loads(text, FILE.name)
    assert before.entries()["contact.lever_up.resistor"].basis == "measured"
    found = choose(before, "taps", source="E12")
    assert found.values["contact.lever_up.resistor"] == 390.0
    after = loads(text_with(text, found, "E12", FILE.name), FILE.name).entries()["contact.lever_up.resistor"]
    assert after.basis == "assumed"
    as_sorted = text_with(FILE.read_text(encoding="utf-8"), found, "E12", FILE.name)  # there it is 390 Ω already
    assert loads(as_sorted, FILE.name).entries()["contact.lever_up.resistor"].basis == "measured"


def test_odds_of_a_dead_paddle_by_hand(truck: Truck) -> None:
    """The weights of docs/find.md, shared among the places; severities log-uniform, a tenth a decade outside."""

    def chance(low: float, high: float, least: float, most: float) -> float:
        def part(one: float, other: float) -> float:
            inside = min(np.log10(most), np.log10(other)) - max(np.log10(least), np.log10(one))
            return max(float(inside), 0.0) / float(np.log10(other / one))

        return 0.9 * part(low, high) + 0.05 * part(low / 10, low) + 0.05 * part(high, high * 10)

    def to_reach(share: float, beside: float) -> float:  # ohms beside 68 kΩ and `beside` that give this share
        total = 2200 * share / (1 - share)
        return 1 / (1 / total - 1 / 68e3 - 1 / beside)

    # wire, source wire, five branches, and where a terminal or a conductor breaks also the two stations
    low, high = EDGES["taps"]["automatic"][:2]
    branch = to_reach(low, 10e3)  # the far-end resistor stays
    pressed = 1 / (1 / 390 + 1 / 10e3)
    wire = to_reach(low, FREE) - pressed, to_reach(high, FREE) - pressed
    stuck, gone = 14 / 5 * (0.5 + 0.5 * chance(10, 100e3, branch, FREE)), 11 / 9
    loose = 7 / 9 * (0.5 + 0.5 * chance(0.1, 1e5, branch, FREE))
    crimp = 11 / 7 * (0.25 + 0.75 * chance(1, 10e3, branch, FREE)) + 18 / 7 * chance(1, 10e3, branch, FREE)
    dead = stuck + gone + loose + crimp + 6 / 6 * (0.5 + 0.5 * chance(1, 1e6, branch, FREE))
    joint = 7 / 9 * 0.5 * chance(0.1, 1e5, *wire) + (11 / 7 * 0.75 + 18 / 7) * chance(1, 10e3, *wire)
    source = joint + 5 * chance(1, 1e3, *wire)
    diagnosis = Diagnosis(truck, "taps")
    found = diagnosis.posterior([read(diagnosis, "meaning paddle_up=automatic")])
    odds = {each.name: each.probability for each in found.classes}
    assert odds["branch paddle_up high"] / odds["source high"] == pytest.approx(dead / source, rel=0.1)
    assert odds["branch paddle_up high"] / odds["wire high"] == pytest.approx(dead / joint, rel=0.1)
    assert odds["branch paddle_up high"] > 0.5 and found.first.name == "branch paddle_up high"


def test_the_feed_of_a_divider_hangs_free_while_ohms_are_read(truck: Truck) -> None:
    """Joined to the return the top resistor lies beside the coder: the book's own figures are without it."""
    text = FILE.read_text(encoding="utf-8")
    head, _, tail = text.partition("# --- supply-fed line")
    divider = tail.replace('form = "pull-down"', 'form = "divider"\ntop_resistor = { value = "2.2k", at = "stalk" }')
    divided = loads(f"{head}# --- supply-fed line{divider}", FILE.name)
    view = line_view(divided, "lamps")
    station = next(each for each in stations(divided) if each.id == "lamps/ohms/far")
    assert expected(view, station).nominal == pytest.approx(1502.6, abs=25)  # far and its contact, no 2.2 kΩ beside it
    told = " ".join(probe_words(view))
    assert "join nothing to the empty holder" in told and "clip lead" not in told


def test_a_reading_that_may_be_as_built_is_not_asked_about(truck: Truck) -> None:
    """301 Ω is another situation's figure; 3.010 kΩ is this one's own, read on a cold morning."""

    def doubts(station: str, text: str) -> list[str]:
        judged = bench_sheet(truck, starter(), {station: Taken(text, ambient_c=8.0)}).row(station).judgement
        assert judged is not None
        return [each.kind for each in judged.doubts]

    assert doubts("taps/ohms/lever_manual", "3.010k") == []
    assert doubts("taps/ohms/lever_manual", "301.0 ohm") == ["decade", "other-situation"]
    assert doubts("taps/ohms/paddle_down", "345.0 ohm") == ["other-situation"]  # two switches exchanged
    assert doubts("taps/ohms/lever_manual+paddle_down", "112.8k") == ["decade"]


def test_values_chosen_for_either_way_of_judging_say_which(truck: Truck) -> None:
    """Two rows of one situation, one failing and one passing, are no contradiction only with how it is judged."""
    either = 'compares = "unknown"\nfull_scale = "16 V"\nerror = { value = "0.5 %"'
    text = FILE.read_text(encoding="utf-8").replace('compares = "battery"\nerror = { value = "0.5 %"', either)
    found = choose(loads(text, FILE.name), "lamps", source="E12", explain=False)
    table = choice_words(found).partition("tightest first")[2].splitlines()[1:]
    columns = next(each for each in table if "operated" in each).split()
    assert columns == ["key", "reads", "operated", "wanted", "margin", "verdict"]
    assert {each.split()[1] for each in table if each.strip().startswith("run ")} == {"volts", "battery"}
    known = choice_words(choose(truck, "lamps", source="E12", explain=False))
    assert " reads " not in known.partition("tightest first")[2].splitlines()[1]
