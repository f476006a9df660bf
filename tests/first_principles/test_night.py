"""At night with the card, a 10-euro meter and no network: faults of our own, solved here, down the card's tree.

The circuits are written out by hand from the files and solved by nodal analysis in this file; nothing of the product's
own network is used for what the display and the meter show. Faults and severities: common practice, no source.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from pinproof.design import Truck, load
from pinproof.examples import example_path
from pinproof.find import Diagnosis, Session, read
from pinproof.find.looks import Look
from pinproof.find.tree import Band, Leaf, Node, decision_tree
from pinproof.find.words import repair_words
from pinproof.pack.card import card_html
from pinproof.pack.card_find import ALL_RIGHT, otherwise
from pinproof.proof import prove
from pinproof.proof.situations import requirement
from pinproof.wiring import line_view
from tests.web_client import client_of, folder_with

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DATA = Path(__file__).resolve().parent.parent / "data"
OPEN_OHM = 50e6
OL_OHM = 40e6  # a cheap meter's last range
Parts = dict[str, tuple[str, str, float]]


# ---------------------------------------------------------------- a solver of our own


def node_volts(
    edges: list[tuple[str, str, float]], held: dict[str, float], fed: dict[str, float] | None = None
) -> dict[str, float]:  # fmt: skip
    """Volts of every node: `edges` in ohms, `held` nodes in volts, `fed` currents in amps."""
    fed = fed or {}
    free = sorted({n for a, b, _ in edges for n in (a, b)} - set(held))
    at = {name: k for k, name in enumerate(free)}
    matrix, right = np.eye(len(free)) * 1e-12, np.array([fed.get(name, 0.0) for name in free])
    for a, b, ohm in edges:
        for here, there in ((a, b), (b, a)):
            if here in at:
                matrix[at[here], at[here]] += 1.0 / ohm
                if there in at:
                    matrix[at[here], at[there]] -= 1.0 / ohm
                else:
                    right[at[here]] += held[there] / ohm
    found = np.linalg.solve(matrix, right)
    return {**held, **{name: float(found[k]) for name, k in at.items()}}


@dataclass
class Mock:
    """One line as it is wired tonight. `windows`: word, share from, share to, whether it means a fault."""

    file: str
    line: str
    parts: Parts
    contacts: dict[str, tuple[str, str]]
    pulls: list[tuple[str, float]]
    windows: list[tuple[str, float, float, bool]]
    source: str
    full: str = "reference"
    extra: list[tuple[str, str, float]] = field(default_factory=list)
    worn: dict[str, float] = field(default_factory=dict)
    stuck: set[str] = field(default_factory=set)
    offset_v: float = 0.0
    names_faults: bool = False

    def edges(self, operated: set[str]) -> list[tuple[str, str, float]]:
        """Everything that conducts on the harness side."""
        switched = [
            (a, b, self.worn.get(name, 1.0) if name in operated | self.stuck else OPEN_OHM)
            for name, (a, b) in self.contacts.items()
        ]
        return [*self.parts.values(), *self.extra, *switched]

    def word(self, operated: set[str]) -> str:
        """What the display says with the key on."""
        held = {"ground": 0.0, "reference": 5.0, "battery": 13.6, "return": self.offset_v}
        pulls = [("pin", rail, ohm) for rail, ohm in self.pulls]
        share = node_volts([*self.edges(operated), *pulls], held)["pin"] / held[self.full]
        for word, low, high, is_fault in self.windows:
            if low <= share <= high:
                return word if self.names_faults or not is_fault else "invalid"
        return "invalid"

    def ohm(self, to: str, operated: set[str]) -> float:
        """What the meter shows from the pin to a node, controller unplugged."""
        if to == "wire":
            return self.parts["wire"][2]
        if to == "source":
            return self.parts["source"][2] + self.parts.get("fuse", ("", "", 0.0))[2]
        shown = node_volts(self.edges(operated), {to: 0.0}, {"pin": 1e-6}).get("pin", math.inf) / 1e-6
        return math.inf if shown > OL_OHM else shown

    def shows(self, look: Look) -> str | float:
        """A look, done."""
        operated = set(look.situation.operated)
        if look.kind == "meaning":
            return self.word(operated)
        to = {"ohms": self.source, "chassis": "ground", "plus": "battery"}.get(look.kind, look.kind)
        found = self.ohm(to, operated)
        return math.inf if found > OL_OHM else found


def _percent(*rows: tuple[str, float, float, bool]) -> list[tuple[str, float, float, bool]]:
    return [(word, low / 100.0, high / 100.0, is_fault) for word, low, high, is_fault in rows]


def dunlin() -> Mock:
    """Pull-up, an idle resistor, taps on the lever, and on the wheel behind a coiled cord."""
    return Mock(
        "dunlin", "taps",
        {"wire": ("pin", "far", 0.4), "source": ("src", "return", 0.4), "idle": ("far", "src", 3900.0),
         "lu": ("far", "lu", 270.0), "ld": ("far", "ld", 1000.0), "cord": ("far", "hub", 0.3),
         "wu": ("hub", "wu", 270.0), "wd": ("hub", "wd", 1000.0)},
        {"lever_up": ("lu", "src"), "lever_down": ("ld", "src"), "wheel_up": ("wu", "src"),
         "wheel_down": ("wd", "src")},
        [("reference", 1000.0)],
        _percent(("shorted", -9, 9, True), ("up", 14, 26, False), ("down", 37, 52, False),
                 ("automatic", 73, 86, False), ("open", 93, 200, True)),
        "return",
    )  # fmt: skip


def heron() -> Mock:
    """Pull-up with an idle resistor; two paddles."""
    return Mock(
        "heron", "shift",
        {"wire": ("pin", "far", 0.4), "source": ("src", "return", 0.4), "idle": ("far", "src", 3900.0),
         "m": ("far", "m", 1500.0), "pu": ("far", "pu", 270.0), "pd": ("far", "pd", 1000.0)},
        {"manual": ("m", "src"), "paddle_up": ("pu", "src"), "paddle_down": ("pd", "src")},
        [("reference", 1000.0)],
        _percent(("shorted", -9, 9, True), ("up", 13, 23, False), ("down", 31, 40, False), ("manual", 48, 58, False),
                 ("automatic", 73, 85, False), ("open", 93, 200, True)),
        "return", offset_v=0.1,
    )  # fmt: skip


def sandpiper() -> Mock:
    """Fed from the battery through a fuse and the lever's own contact."""
    return Mock(
        "sandpiper", "taps",
        {"wire": ("pin", "far", 0.4), "source": ("load side", "src", 0.4), "fuse": ("battery", "load side", 0.1),
         "m": ("en", "far", 8250.0), "lu": ("lu", "far", 4420.0), "ld": ("ld", "far", 1300.0),
         "wu": ("wu", "far", 4420.0), "wd": ("wd", "far", 1300.0)},
        {"lever_manual": ("src", "en"), "lever_up": ("en", "lu"), "lever_down": ("en", "ld"),
         "wheel_up": ("en", "wu"), "wheel_down": ("en", "wd")},
        [("ground", 1000.0)],
        _percent(("automatic", -1, 5, False), ("manual", 7, 15, False), ("up", 20, 30, False), ("down", 41, 52, False)),
        "load side", "battery",
    )  # fmt: skip


def wagtail() -> Mock:
    """A ladder of two buttons; windows midway between a stranger's three readings with 1 kΩ."""
    edges = [ohm / (ohm + 1000.0) for ohm in (220.0, 820.0, 10e3)]
    low, high = (edges[0] + edges[1]) / 2.0, (edges[1] + edges[2]) / 2.0
    return Mock(
        "wagtail", "buttons",
        {"wire": ("pin", "far", 0.4), "source": ("src", "return", 0.4), "u": ("far", "t1", 220.0),
         "d": ("t1", "t2", 620.0), "end": ("t2", "src", 8200.0)},
        {"button_up": ("t1", "src"), "button_down": ("t2", "src")},
        [("reference", 1000.0)],
        [("up", -1.0, low, False), ("down", low, high, False), ("automatic", high, 2.0, False)],
        "return",
    )  # fmt: skip


def quailstone() -> Mock:
    """Pull-up to the battery, an idle resistor, lever and paddles."""
    counts = (("shorted", -9, 30, True), ("up", 95, 205, False), ("down", 270, 405, False), ("manual", 470, 640, False),
              ("automatic", 710, 940, False), ("open", 985, 2000, True))  # fmt: skip
    return Mock(
        "quailstone", "taps",
        {"wire": ("pin", "far", 0.5), "source": ("src", "return", 0.5), "idle": ("far", "src", 10e3),
         "m": ("far", "m", 4300.0), "lu": ("far", "lu", 390.0), "ld": ("far", "ld", 1800.0),
         "wu": ("far", "wu", 390.0), "wd": ("far", "wd", 1800.0)},
        {"lever_manual": ("m", "src"), "lever_up": ("lu", "src"), "lever_down": ("ld", "src"),
         "paddle_up": ("wu", "src"), "paddle_down": ("wd", "src")},
        [("battery", 2200.0), ("ground", 68e3)],
        [(word, low / 1023.0, high / 1023.0, is_fault) for word, low, high, is_fault in counts],
        "return", "battery", offset_v=0.03,
    )  # fmt: skip


def having(mock: Mock, part: str, ohm: float) -> Mock:
    """With another value of one part."""
    a, b, _ = mock.parts[part]
    mock.parts[part] = (a, b, ohm)
    return mock


def changed(mock: Mock, **what: Any) -> Mock:
    """With something set."""
    for name, value in what.items():
        setattr(mock, name, value)
    return mock


def swapped(mock: Mock) -> Mock:
    """With the paddles' plugs swapped."""
    mock.contacts["paddle_up"], mock.contacts["paddle_down"] = mock.contacts["paddle_down"], mock.contacts["paddle_up"]
    return mock


FAULTS: dict[str, tuple[Callable[[], Mock], set[str]]] = {
    "open resistor": (lambda: having(heron(), "pd", OPEN_OHM), {"branch paddle_down high"}),
    "worn contact": (lambda: changed(sandpiper(), worn={"lever_up": 6000.0}), {"branch lever_up high"}),
    "chafe to ground": (lambda: changed(dunlin(), extra=[("far", "ground", 0.5), ("return", "ground", 0.05)]),
                        {"pin or far to ground"}),
    "chafe to ground, its window shown by name": (
        lambda: changed(dunlin(), extra=[("far", "ground", 0.5), ("return", "ground", 0.05)], names_faults=True),
        {"pin or far to ground", "controller pin"}),
    "wrong resistor": (lambda: having(wagtail(), "d", 6200.0), {"branch button_down high"}),
    "swapped plugs": (lambda: swapped(heron()), {"paddle_up and paddle_down swapped"}),
    "bridge of two paddles": (lambda: changed(dunlin(), extra=[("wu", "wd", 0.3)]),
                              {"contact wheel_up and contact wheel_down bridged",
                               "contact lever_up and contact wheel_down bridged"}),
    "blown fuse": (lambda: having(sandpiper(), "fuse", OPEN_OHM), {"source high"}),
    "ground 0.8 V off": (lambda: changed(heron(), offset_v=0.8), set()),
    "stuck contact": (lambda: changed(quailstone(), stuck={"lever_down"}),
                      {"branch lever_down always on", "contact lever_down to ground"}),
    "coil cord, wheel turned": (lambda: having(dunlin(), "cord", OPEN_OHM), {"station.wheel unplugged"}),
    "pull drifted": (lambda: changed(wagtail(), pulls=[("reference", 2400.0)]), {"setting"}),
}  # fmt: skip


@cache
def truck_of(name: str) -> Truck:
    """An example, or one of the test's own trucks."""
    own = DATA / f"{name}.toml"
    return load(own if own.exists() else example_path(name))


@cache
def tree_of(name: str, line: str) -> Node | Leaf:
    """The card's tree of a line."""
    return decision_tree(truck_of(name), line)


@cache
def card_of(name: str) -> str:
    """The card as text."""
    truck = truck_of(name)
    views = {line.id: line_view(truck, line) for line in truck.lines}
    return card_html(truck, prove(truck, samples=0), views, made_on="2026-03-01")


def plain(text: str) -> str:
    """A page without its marks."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def holds(bands: tuple[Band, ...], look: Look, shown: str | float) -> Band | None:
    """The band that a reading is in."""
    if look.kind == "meaning":
        return next((band for band in bands if band.words == shown), None)
    assert isinstance(shown, float)
    return next((b for b in bands if b.low <= shown < b.high or (math.isinf(shown) and math.isinf(b.high))), None)


def followed(mock: Mock) -> tuple[Leaf | None, int]:
    """Where the card's tree ends for a faulty truck, and how many looks it took; None beside the tree."""
    at, looks = tree_of(mock.file, mock.line), 0
    while isinstance(at, Node):
        band = holds(tuple(b for b, _, _ in at.outcomes), at.look, mock.shows(at.look))
        looks += 1
        if band is None:
            return None, looks
        at = next(then for b, _, then in at.outcomes if b is band)
    return at, looks


@pytest.mark.parametrize("make", [dunlin, heron, sandpiper, wagtail, quailstone])
def test_our_circuits_read_what_the_files_ask(make: Callable[[], Mock]) -> None:
    """Before anything is broken, every situation that is looked at means what it must, by our own solver."""
    mock = make()
    diagnosis = Diagnosis(truck_of(mock.file), mock.line, draws=(2, 8))
    for look in diagnosis.looks:
        if look.kind == "meaning":
            wanted = requirement(diagnosis.truck, diagnosis.view.line, look.situation, "run").means
            assert mock.shows(look) == wanted, look.id


@pytest.mark.parametrize("what", FAULTS)
def test_the_card_ends_at_the_cause_or_refutes_itself(what: str) -> None:
    """The cause comes first or is among causes called inseparable; else the number asked for at the end refutes it."""
    make, causes = FAULTS[what]
    mock = make()
    leaf, looks = followed(mock)
    assert leaf is not None and looks <= 6
    names = [name for name, _ in leaf.classes]
    if leaf.proof is not None and leaf.sure:
        stands = holds(leaf.proof.bands, leaf.proof.look, mock.shows(leaf.proof.look)) is not None
        assert stands == (names[0] in causes), (names, leaf.proof.look.id)
    else:
        assert causes & set(names[:2]), names


def test_what_all_read_right_is_not_called_a_fault() -> None:
    """Water of 5 kΩ that changes no meaning: the card says that all reads right before it names anything."""
    mock = changed(sandpiper(), extra=[("far", "ground", 5000.0)])
    leaf, _ = followed(mock)
    assert leaf is not None and not leaf.sure
    shown = plain(card_of("sandpiper"))
    assert ALL_RIGHT in shown
    assert f"{ALL_RIGHT} Begin looking at:" in shown


def test_a_tie_is_not_called_most_likely() -> None:
    """A stuck contact and its wire on ground read the same: the card says so and how the switch's plug tells them."""
    text = card_of("quailstone")
    ends = re.findall(r'class="end">([^<]*)</p><ol>(.*?)</ol>', text)
    odds = [(head, [float(p) for p in re.findall(r"</b> \((\d+)\s%\)", each)]) for head, each in ends]
    ties = [head for head, p in odds if len(p) > 1 and p[1] >= 0.5 * p[0] + 1.0 and p[0] > 50.0]
    assert ties and "Most likely:" not in ties
    assert "Unplug lever_down's switch and read again." in plain(text)


def test_ohms_say_which_pin_and_the_fuse_is_measured_first() -> None:
    """Set-up of the first ohms: the cavity; on a fed line the fuse in the hand. Key on means engine off."""
    fed, returned = plain(card_of("sandpiper")), plain(card_of("heron"))
    assert "The pin is cavity B12 of plug tcu, harness side. Take the feed's fuse out and measure it" in fed
    assert "The pin is cavity A7 of plug gearbox_plug, harness side." in returned
    assert "the feed's fuse out and measure it" not in returned
    assert "First: key on, engine off" in fed and "First: key on, controller" not in fed
    truck = truck_of("sandpiper")
    assert "Measure the fuse" in repair_words(Diagnosis(truck, "taps", draws=(2, 8)).hypotheses, "controller pin",
                                              truck.lines[0])  # fmt: skip


def test_paper_explains_its_short_words() -> None:
    """Each Ω word of the printed ways stands in the legend, and no window's inner name is printed."""
    found = set()
    for name in ("dunlin", "sandpiper", "wagtail", "heron"):
        text = card_of(name)
        legend = plain(text.split('class="printed soft">')[1].split("</p>")[0])
        ways = plain(text.split('class="printed ways">')[1].split("</ul>")[0])
        assert "invalid" not in ways
        used = set(re.findall(r"Ω (?:at plug|plus|chassis|source|wire|without)", ways))
        assert all(f"{each}: " in legend for each in used), (used, legend)
        found |= used
        assert "key on, engine off" in legend
        assert ("Nothing works: measure the feed's fuse first." in legend) == (name == "sandpiper")
    assert found


def test_to_keep_racing_says_when_it_helps() -> None:
    """A plug comes off with the key off, and unplugging helps only where the fault sits in it."""
    for name in ("dunlin", "sandpiper", "heron"):
        assert "Key off before a plug comes off. It helps where the fault sits in what you unplug" in plain(
            card_of(name)
        )


@pytest.mark.parametrize(("what", "helps"), [("coil cord, wheel turned", True), ("bridge of two paddles", True),
                                             ("chafe to ground", False)])  # fmt: skip
def test_the_wheel_unplugged_by_our_own_solver(what: str, helps: bool) -> None:
    """With the wheel off, dunlin's lever works where the fault was in the wheel, and only there."""
    mock = FAULTS[what][0]()
    gone = {"hub", "wu", "wd"}
    mock.parts = {name: part for name, part in mock.parts.items() if not {part[0], part[1]} & gone}
    mock.extra = [part for part in mock.extra if not {part[0], part[1]} & gone]
    mock.contacts = {name: nodes for name, nodes in mock.contacts.items() if not set(nodes) & gone}
    got = [mock.word(set()), mock.word({"lever_up"}), mock.word({"lever_down"})]
    assert (got == ["automatic", "up", "down"]) is helps


def test_where_the_tree_does_not_hold_it_says_what_to_measure() -> None:
    """Beside the tree: the ground's volts on a line with a return, the fuse's on a fed one."""
    for name, told in (("heron", "volts from the switches' return"), ("sandpiper", "both sides of the feed's fuse")):
        truck = truck_of(name)
        said = otherwise(line_view(truck, truck.lines[0]))
        assert told in said and said in plain(card_of(name))


def test_a_display_that_only_shows_no_command_is_believed() -> None:
    """A dead short behind a display that names no fault windows: ground, not "something not on the list"."""
    diagnosis = Diagnosis(truck_of("dunlin"), "taps")
    found = Session(diagnosis).adding(*(read(diagnosis, each) for each in (
        "meaning idle = invalid", "meaning lever_up = invalid", "volts idle = 0 at 13.6", "ohms idle = 0.9",
    ))).advice(outlooks=False).posterior  # fmt: skip
    assert found.first.name == "pin or far to ground" and found.first.probability > 0.95


def test_a_wheel_that_is_dead_as_a_whole_is_found() -> None:
    """Both paddles dead, the lever alive: the cord or its plug, not one paddle and not "not on the list"."""
    diagnosis = Diagnosis(truck_of("dunlin"), "taps")
    found = Session(diagnosis).adding(*(read(diagnosis, each) for each in (
        "meaning wheel_up = automatic", "meaning wheel_down = automatic", "meaning lever_up = up",
        "ohms wheel_up = 3.9k", "ohms wheel_down = 3.9k",
    ))).advice(outlooks=False)  # fmt: skip
    assert found.posterior.first.name == "station.wheel unplugged" and found.posterior.first.probability > 0.95
    assert "Push the plug of station wheel home" in repair_words(
        diagnosis.hypotheses, "station.wheel unplugged", diagnosis.view.line
    )


def test_a_blown_fuse_is_not_blamed_on_the_controller() -> None:
    """All ohms as built from the load side of the empty holder, nothing under power: the feed comes first."""
    diagnosis = Diagnosis(truck_of("sandpiper"), "taps")
    found = Session(diagnosis).adding(*(read(diagnosis, each) for each in (
        "meaning lever_manual+wheel_up = automatic", "meaning lever_manual = automatic",
        "ohms lever_manual+lever_up = 2.88k", "chassis idle = OL",
    ))).advice(outlooks=False).posterior  # fmt: skip
    assert found.first.name == "source high"
    assert found.of("source high") > 3.0 * found.of("controller pin")


def test_an_earlier_answer_can_be_corrected_on_the_page(tmp_path: Path) -> None:
    """Each answer so far has a way back to its question; the new answer takes the place of the old one."""
    client = client_of(folder_with(tmp_path, "heron"))[0]
    state = {"line": "shift", "go": "1", "did": "read:meaning manual=automatic;read:meaning idle=automatic"}
    page = client.get("/d/heron/find", params=state).text
    ways = re.findall(r'<a href="([^"]+)" aria-label="Correct: ([^"]+)"', page)
    assert len(ways) == 2
    asked = client.get(html.unescape(ways[0][0])).text
    assert 'name="at" value="meaning manual"' in asked
    answered = client.post("/d/heron/find/answer", data={**state, "at": "meaning manual", "press": "manual"})
    after = client.get(answered.headers["location"].replace("/find?", "/find.json?")).json()["search"]["readings"]
    assert {each["look"]: each["reading"] for each in after} == {
        "meaning idle": "automatic",
        "meaning manual": "manual",
    }
    ohms = client.get("/d/heron/find", params={**state, "look": "ohms idle"}).text
    assert "The pin: cavity A7 of plug gearbox_plug." in plain(ohms)


@pytest.mark.browser
@pytest.mark.parametrize("name", ["saltlark", "quailstone"])
def test_several_lines_print_on_two_sides(browser: Browser, tmp_path: Path, name: str) -> None:
    """The cautions do not fall onto a third page."""
    path = tmp_path / "card.html"
    path.write_text(card_of(name), encoding="utf-8")
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(path.as_uri())
        printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
