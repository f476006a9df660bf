"""One awkward invented truck through the rooms, each number against a sum of another kind: series and parallel by hand.

The ladder is solved from its far end by hand, every corner of its box tried; nothing of `pinproof.network` is used.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from pinproof.design import DesignFault, Truck, load
from pinproof.faults import keep_racing
from pinproof.harness import lay_out
from pinproof.harness.steps import build_steps
from pinproof.inhibit import InhibitReport
from pinproof.meter import bench_sheet, expected, starter, stations
from pinproof.meter.judge import judge_words
from pinproof.meter.sheet import Taken
from pinproof.pack.card import card_html
from pinproof.pack.card_keep import keep_lines
from pinproof.pack.gears_page import cover_words as driveline_words
from pinproof.pack.inhibit_page import cover_words as inhibit_words
from pinproof.proof import TruckProof, prove
from pinproof.verdict import Verdict
from pinproof.wiring import line_view

FILE = Path(__file__).parents[1] / "data" / "saltlark.toml"
FREE = 1e15  # ohms that stand for no path
HEAT = 50 * 100e-6  # wheel, lever and panel reach 70 °C: 50 K from 20 °C
RUN, CRANK = (9.5, 15.0), (6.5, 11.0)


@pytest.fixture(scope="module")
def truck() -> Truck:
    return load(FILE)


@pytest.fixture(scope="module")
def proof(truck: Truck) -> TruckProof:
    return prove(truck, samples=0)


def part(ohm: float) -> tuple[float, float]:
    """1 %, 1 % ageing and heat."""
    return ohm * 0.99 * 0.99 * (1 - HEAT), ohm * 1.01 * 1.01 * (1 + HEAT)


def corners(**ends: tuple[float, float]) -> Mapping[str, Any]:
    both = np.array(list(itertools.product(*ends.values())))
    return {name: both[:, at] for at, name in enumerate(ends)}


def par(*ohm: Any) -> Any:
    return 1.0 / sum(1.0 / each for each in ohm)


def ladder(pressed: str, supply: tuple[float, float]) -> Mapping[str, Any]:
    """Pin volts and the current of the lever's contact at every corner of the box; `pressed` of u, d, m."""
    contact = {"u": (40e3, FREE), "d": (40e3, FREE), "m": (100e3, FREE)}
    at = corners(
        up=(2166 * 0.98, 2166 * 1.02), down=(46e3 * 0.77, 46e3 * 1.23), ref=(5.02 * 0.993, 5.02 * 1.007),
        off=(-0.02, 0.02), wet=(20e3, FREE), live=(200e3, FREE), battery=supply, r1=part(360), r2=part(560),
        r3=part(1500), end=part(100e3), wire=(0.0, 1.2), back=(0.0, 1.0),
        **{name: (1e-9, 20.0) if name in pressed else contact[name] for name in "udm"},
    )  # fmt: skip
    z3 = par(at["m"], at["end"])
    z2 = par(at["d"], at["r3"] + z3)
    z1 = par(at["u"], at["r2"] + z2)
    coder = at["wire"] + at["r1"] + z1 + at["back"]
    siemens = 1 / at["up"] + 1 / at["down"] + 1 / at["wet"] + 1 / at["live"] + 1 / coder
    pin = (at["ref"] / at["up"] + at["off"] / at["wet"] + at["battery"] / at["live"] + at["off"] / coder) / siemens
    lever_a = (pin - at["off"]) / coder * z1 / (at["r2"] + z2) * z2 / (at["r3"] + z3) * z3 / at["m"]
    return {**at, "pin": pin, "share": pin / at["ref"], "lever_a": lever_a}


LADDER = {
    (): "", ("paddle_up",): "u", ("paddle_down",): "d", ("lever_manual",): "m",
    ("paddle_up", "lever_manual"): "um", ("paddle_down", "lever_manual"): "dm",
}  # fmt: skip


@pytest.mark.parametrize(("state", "supply"), [("run", RUN), ("crank", CRANK)])
@pytest.mark.parametrize("operated", LADDER)
def test_spans_of_the_ladder(
    proof: TruckProof, operated: tuple[str, ...], state: str, supply: tuple[float, float]
) -> None:
    share = ladder(LADDER[operated], supply)["share"]
    row = next(each for each in proof.lines[0].situations if (each.key_state, each.operated) == (state, operated))
    assert (row.low, row.high) == pytest.approx((share.min(), share.max()), abs=1e-7)


@pytest.mark.parametrize(
    ("operated", "sure", "stated"),
    [
        (("paddle_up", "lever_manual"), (238.0, 497.0), (222.0, 519.0)),
        (("paddle_down", "lever_manual"), (718.0, 1234.0), (700.0, 1269.0)),
        (("lever_manual",), (1697.0, 3130.0), (1650.0, 3240.0)),
    ],
)
def test_margins_against_edges_that_move_with_the_pulls(
    proof: TruckProof, operated: tuple[str, ...], sure: tuple[float, float], stated: tuple[float, float]
) -> None:
    """An edge was found with ohms on this very pin: it lies where those ohms put it, at the same pulls."""
    at = ladder(LADDER[operated], RUN)

    def edge(ohm: float, up: Any, down: Any) -> Any:
        return par(ohm, down) / (par(ohm, down) + up)

    room = min(
        (at["share"] - edge(sure[0], at["up"], at["down"])).min(),
        (edge(sure[1], at["up"], at["down"]) - at["share"]).min(),
    )
    half = (edge(stated[1], 2166.0, 46e3) - edge(stated[0], 2166.0, 46e3)) / 2
    row = next(each for each in proof.lines[0].situations if (each.key_state, each.operated) == ("run", operated))
    assert row.margin == pytest.approx((room - 0.01) / half, abs=2e-3)  # pulls between their ends are not tried here


LOCK = {("arm",): (), ("arm", "lock_on"): ("on",), ("arm", "lock_off"): ("off",)}


@pytest.mark.parametrize("operated", LOCK)
def test_spans_of_the_line_that_is_fed_through_a_contact(proof: TruckProof, operated: tuple[str, ...]) -> None:
    ohm = {"on": part(2.4e3), "off": part(11e3)}
    open_ = dict.fromkeys(ohm, (1e6, FREE))
    at = corners(
        pull=(9.5e3, 10.5e3), battery=RUN, lost=(0.0, 0.4), off=(-0.1, 0.1), wet=(150e3, FREE), live=(1e6, FREE),
        arm=(1e-9, 20.0), r=part(22e3), on=ohm["on"], off_r=ohm["off"], wire=(0.0, 1.2), back=(0.0, 1.2),
        on_c=(1e-9, 20.0) if "on" in LOCK[operated] else open_["on"],
        off_c=(1e-9, 20.0) if "off" in LOCK[operated] else open_["off"],
    )  # fmt: skip
    coder = at["back"] + at["arm"] + par(at["r"], at["on"] + at["on_c"], at["off_r"] + at["off_c"]) + at["wire"]
    feed = at["battery"] - at["lost"]
    siemens = 1 / at["pull"] + 1 / at["wet"] + 1 / at["live"] + 1 / coder
    share = (feed / coder + at["off"] / at["wet"] + at["battery"] / at["live"]) / siemens / at["battery"]
    row = next(each for each in proof.lines[1].situations if (each.key_state, each.operated) == ("run", operated))
    assert (row.low, row.high) == pytest.approx((share.min(), share.max()), abs=1e-7)


def test_a_contact_that_another_lies_across_does_not_count_as_dry(proof: TruckProof) -> None:
    """With a paddle pressed nothing flows through the lever's contact, and nobody minds: its least is without."""
    (found,) = [each for each in proof.lines[0].findings if each.check == "wetting"]
    by_hand = ladder("m", RUN)["lever_a"].min()
    assert found.numbers["lever_manual"] == pytest.approx(by_hand, rel=1e-6)
    assert by_hand == pytest.approx(0.92e-3, abs=0.01e-3) and "lever_manual 0 A" not in found.text


def test_a_dead_paddle_is_no_good_report(truck: Truck) -> None:
    """Alone a paddle may read automatic, as far as the rules go; a sound one cannot: it reads up in every truck."""
    view = line_view(truck, "taps")
    station = next(each for each in stations(truck) if each.id == "taps/reported/paddle_up")
    wanted = expected(view, station)
    assert wanted.words == ("up",)
    assert judge_words(station, wanted, "automatic").outcome.name == "WRONG"
    assert judge_words(station, wanted, "up").outcome.name == "AS_BUILT"
    ohms = next(each for each in stations(truck) if each.id == "taps/ohms/idle")
    assert ohms.probe_words[1] == "cavity 8 of plug box_plug (the switches' return)"


def test_a_reading_that_may_be_its_own_asks_for_no_other_switch(truck: Truck) -> None:
    """Alone and with the lever held a paddle shows the same ohms within a fifth of an ohm."""

    def doubts(text: str) -> list[str]:
        judged = (
            bench_sheet(truck, starter(), {"taps/ohms/paddle_up": Taken(text)}).row("taps/ohms/paddle_up").judgement
        )
        assert judged is not None
        return [each.kind for each in judged.doubts]

    assert doubts("361.2 ohm") == []
    assert "other-situation" in doubts("0.922k")


def test_the_card_names_cavities_once(truck: Truck, proof: TruckProof) -> None:
    views = {line.id: line_view(truck, line) for line in truck.lines}
    html = card_html(truck, proof, views)
    assert "not stated" not in html.partition("Pin-out")[2].partition("</section>")[0]
    assert "<b>box_plug 8</b>: return of taps" in html and "<b>box_plug 7</b>" not in html


def test_unplugging_the_lever_leaves_paddles_that_still_shift(truck: Truck) -> None:
    """360 Ω of the paddle stay between pin and return when the lever's resistors are gone: that is up."""
    found = {each.station: each for each in keep_racing(truck, "taps")}
    assert found["lever"].left == () and found["lever"].also_read == (
        (("paddle_up",), "up"),
        (("paddle_down",), "down"),
    )
    assert found["wheel"].also_read == () == found[""].also_read
    told = [str(each) for each in keep_lines(truck, line_view(truck, "taps"))]
    (lever,) = [each for each in told if "station lever" in each]
    assert "no manual command" not in lever and "still be read: paddle_up (up) and paddle_down (down)" in lever
    assert any("no manual command" in each for each in told if "coded wire" in each)


def test_build_steps_write_ohms_as_a_meter_shows_them(truck: Truck) -> None:
    told = [f"{each.do} {each.check}" for each in build_steps(truck, lay_out(truck))]
    assert any("(100 kΩ" in each and "99 kΩ to 101 kΩ" in each for each in told)
    assert not any("e+0" in each or "computed 0 mΩ" in each for each in told)


def test_the_front_of_the_book_tells_what_else_does_not_hold(truck: Truck) -> None:
    assert driveline_words(truck).startswith("Driveline: of 19 checks 1 unsafe and 9 not known")
    cells = (SimpleNamespace(verdict=Verdict.PASS),)
    report = SimpleNamespace(
        verdict=Verdict.FAIL, coil="start_relay", form="H", permitted=("P", "N"), table=(SimpleNamespace(cells=cells),),
        defeats=(SimpleNamespace(hidden=True),), faults=(1, 2),
    )  # fmt: skip
    told = inhibit_words(cast(InhibitReport, report))
    assert told == (
        "Start inhibit: 1 of 1 cells of the table hold. 1 of 2 single faults let it crank in gear; of 1 of them nobody "
        "notices anything before. See its chapter."
    )
    assert inhibit_words(None) == ""


def test_what_is_missing_is_named_in_words(tmp_path: Path) -> None:
    text = FILE.read_text(encoding="utf-8")
    open_end = tmp_path / "open.toml"
    open_end.write_text(text.replace('value = "100 kohm", at', 'value = "to choose", at'), encoding="utf-8")
    assert prove(load(open_end), samples=0).lines[0].reason == "still to be chosen: end resistor of taps"
    open_end.write_text(text.replace('returns_to = "box_plug.8"', 'returns_to = "box_plug.18"'), encoding="utf-8")
    with pytest.raises(DesignFault, match=r'Below \[\[plug\]\] box_plug write: \[\[plug.cavity\]\] with id = "18"'):
        load(open_end)


def test_a_resistor_has_the_heat_of_where_it_sits(tmp_path: Path) -> None:
    """The paddle is in the cab, its resistor beside the exhaust: 95 K from 20 °C; 1 W there carries 0.47 W."""
    text = FILE.read_text(encoding="utf-8").replace('"360 ohm"', '{ value = "360 ohm", at = "lever" }')
    place = 'id = "lever_place"\ntemperature = { low = "-5 °C", high = '
    assert place + '"70 °C"' in text
    hot = tmp_path / "hot.toml"
    hot.write_text(text.replace(place + '"70 °C"', place + '"115 °C"'), encoding="utf-8")
    found = line_view(load(hot), "taps").branches
    (paddle,) = [each for each in found if each.id == "contact.paddle_up.resistor"]
    (end,) = [each for each in found if each.kind == "resistor" and each.id.startswith("line.")]
    for branch, ohm in ((paddle, 360.0), (end, 100e3)):
        low, high = ohm * 0.99 * 0.99 * (1 - 95e-4), ohm * 1.01 * 1.01 * (1 + 95e-4)
        assert (branch.low_ohm, branch.high_ohm) == pytest.approx((low, high), rel=1e-12)
    told = [each for each in prove(load(hot), samples=0).lines[0].findings if each.check == "heat"]
    short_w = (15.0 + 0.02) ** 2 / (360.0 * 0.99 * 0.99 * (1 - 95e-4))
    assert short_w > 0.47 and "No usual body up to 1 W" in told[0].cure
