"""A circuit drawing shows the netlist it was given, and nothing in it collides."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design import loads
from pinproof.design.begin_harness import with_harness_draft
from pinproof.design.begin_inhibit import with_inhibit_draft
from pinproof.design.model import UNKNOWN, Cavity, Contact, Element, Line, Plug, Truck, Value
from pinproof.drawings import Drawing
from pinproof.drawings.circuit import circuit
from pinproof.examples import example_path
from pinproof.harness import lay_out
from pinproof.pack.figures import line_figures
from pinproof.proof import prove
from pinproof.wiring import LineView, contact_node, line_view
from tests.first_principles.test_begin_drafts import filled
from tests.first_principles.test_drawings import assert_sound
from tests.first_principles.test_drawings_cases import INF, resistor, truck, value

SVG = "{http://www.w3.org/2000/svg}"
IDS = st.text(alphabet="abcdefgh_-XYZ0123456789éЖ名", min_size=1, max_size=30)


def leak(ohm: float, path: str) -> Value:
    """A leakage of at least so many ohms."""
    return Value(INF, ohm, INF, "resistance", path, f"{ohm} ohm")


@st.composite
def trucks(draw: st.DrawFn) -> Truck:
    """A truck with one line of any form: with and without enable, idle resistor, leaks, pulls, free elements."""
    names = tuple(draw(st.lists(IDS, min_size=1, max_size=7, unique=True)))
    one = truck(names, line_id=draw(IDS))
    line_id = one.lines[0].id
    form = draw(st.sampled_from(["pull-up", "pull-down", "ladder", "divider", "elements"]))
    parallel = form in ("pull-up", "pull-down", "divider")
    to_feed = form == "pull-down" or (form == "ladder" and draw(st.booleans()))
    enable = draw(st.sampled_from([None, names[0]])) if parallel else None
    maybe = lambda name: draw(st.sampled_from([None, resistor(1000.0, f"line.{line_id}.{name}")]))  # noqa: E731
    wire = value(0.0, 0.5, 1.0, "resistance", f"line.{line_id}.wire")
    line = Line(
        line_id, "tap_pin", form, "automatic", "feed" if to_feed else "return", enable=enable,  # type: ignore[arg-type]
        taps_fed=draw(st.sampled_from(["through enable", "directly"])) if enable else None,
        idle_resistor=maybe("idle_resistor") if parallel else None,
        top_resistor=resistor(1000.0, f"line.{line_id}.top_resistor") if form == "divider" else None,
        end_resistor=maybe("end_resistor") if form == "ladder" else None,
        wire=None if form == "elements" else wire,
        source_wire=None if form == "elements" else replace(wire, path=f"line.{line_id}.source_wire"),
        return_offset=value(-0.1, 0.0, 0.1, "voltage", f"line.{line_id}.return_offset"),
        feed_from=draw(st.sampled_from(["battery", "reference"])),
        feed_drop=value(0.0, 0.2, 0.5, "voltage", f"line.{line_id}.feed_drop"),
        series_diode=draw(st.sampled_from([None, value(0.0, 0.7, 1.0, "voltage", f"line.{line_id}.series_diode")])),
        leak_to_ground=draw(st.sampled_from([None, leak(2e4, f"line.{line_id}.leak_to_ground")])),
        leak_to_supply=draw(st.sampled_from([None, leak(2e5, f"line.{line_id}.leak_to_supply")])),
        elements=draw(elements(line_id, names)) if form == "elements" else (), path=f"line.{line_id}",
    )  # fmt: skip
    contacts = []
    for contact in one.contacts:
        fitted = None if form == "elements" or draw(st.booleans()) else contact.resistor
        kind = draw(st.sampled_from(["normally open", "normally closed"]))
        contacts.append(_with(contact, fitted, kind))
    owner = replace(
        one.inputs[0], pull_down=draw(st.sampled_from([None, UNKNOWN, resistor(1e5, "input.tap_pin.pull_down")])),
        pull_up=draw(st.sampled_from([None, UNKNOWN, one.inputs[0].pull_up])),
        plug=draw(st.sampled_from([None, "tcu", "a-plug-with-a-name-of-some-length"])),
        cavity=draw(st.sampled_from([None, "B12", "cavity_of_many_letters_and_more"])),
        pull_up_to=draw(st.sampled_from(["reference", "battery"])),
        controller=draw(st.sampled_from(["", "gearbox <1>"])),
    )  # fmt: skip
    plugs = (Plug("tcu", cavities=(Cavity("B13", "feed"),)),)
    return replace(one, lines=(line,), contacts=tuple(contacts), inputs=(owner,), plugs=plugs)


def _with(contact: Contact, fitted: object, kind: str) -> Contact:
    return replace(contact, resistor=fitted, kind=kind)  # type: ignore[arg-type]


@st.composite
def elements(draw: st.DrawFn, line_id: str, names: tuple[str, ...]) -> tuple[Element, ...]:
    """A chain from the pin to the return with side branches, in which each contact stands once."""
    nodes = ["pin", *(f"n{index}" for index in range(draw(st.integers(0, 4)))), "return"]
    found = []
    for index, (a, b) in enumerate(itertools.pairwise(nodes)):
        path = f"line.{line_id}.element.r{index}"
        found.append(Element(f"r{index}", "resistor", (a, b), resistor=resistor(500.0, f"{path}.value"), path=path))
    others = [*nodes, "feed", "battery", "ground", "reference"]
    for name in names:
        a = draw(st.sampled_from(nodes[:-1]))
        b = draw(st.sampled_from([each for each in others if each != a]))
        found.append(Element(f"c_{name}", "contact", (a, b), contact=name, path=f"line.{line_id}.element.c_{name}"))
    return tuple(found)


def netlist_of_the_picture(drawing: Drawing, root: ET.Element) -> list[tuple[frozenset[str], int]]:
    """Pairs of joined nodes and the number of symbols between them, read back from dots, boxes, blades and names.

    Dots tell the uprights. An upright is the node whose name stands above it in the same panel, so a node that is
    drawn again in a further panel is the same one.
    """
    found, tops = [], _panel_tops(root)
    for group in root.iter(f"{SVG}g"):
        if group.get("class") != "pp-part":
            continue
        dots = [(float(each.attrib["cx"]), float(each.attrib["cy"])) for each in group.iter(f"{SVG}circle")]
        boxes = len(list(group.iter(f"{SVG}rect")))
        blades = sum("L" in each.attrib["d"] for each in group.iter(f"{SVG}path"))
        found.append((frozenset(_name_above(drawing, tops, x, y) for x, y in dots), boxes + blades))
    return found


def _panel_tops(root: ET.Element) -> list[float]:
    """Where the uprights of each panel begin, from top to bottom."""
    return [
        float(next(each.iter(f"{SVG}line")).attrib["y1"])
        for each in root.iter(f"{SVG}g")
        if each.get("class") == "pp-nodes"
    ]


def _name_above(drawing: Drawing, tops: list[float], x: float, y: float) -> str:
    """The lines of text centred over an upright, in its panel; without blanks, which a break takes away."""
    top = max(each for each in tops if each < y)
    before = max((each for each in tops if each < top), default=-INF)
    lines = [
        box
        for box in drawing.labels
        if abs((box.left + box.right) / 2.0 - x) < 2e-3 and before < box.top and box.bottom <= top + 1e-6
    ]
    assert lines, "an upright without a name"
    return "".join(box.text for box in sorted(lines, key=lambda box: box.top)).replace(" ", "")


@settings(max_examples=150)
@given(trucks(), st.sampled_from(["wide", "narrow"]))
def test_the_picture_is_the_netlist(one: Truck, layout: str) -> None:
    """Every branch is one symbol, rows join the uprights of their nodes, labels keep apart, alt text names all."""
    view = line_view(one, one.lines[0])
    drawing = circuit(view, layout=layout)
    assert drawing.width_mm == {"wide": 182.0, "narrow": 84.0}[layout]  # stands on A4 and Letter upright, or a phone
    root = assert_sound(drawing)
    assert _reach(root) <= drawing.width_mm - 0.3 + 1e-9
    rows = netlist_of_the_picture(drawing, root)
    assert sum(symbols for _, symbols in rows) == len(view.branches)
    assert all(len(ends) == 2 for ends, _ in rows)
    assert_beside_the_netlist(view, drawing, root)
    nodes = _nodes_drawn(view)
    uprights = {name for ends, _ in rows for name in ends}
    assert len(uprights) == len(nodes)
    assert _shape(_edges(rows)) == _shape(_contracted(view))
    for contact in one.contacts:
        if any(branch.contact == contact.id for branch in view.branches):
            assert contact.id in drawing.description


def assert_beside_the_netlist(view: LineView, drawing: Drawing, root: ET.Element) -> None:
    """The pin with its place, the fuse or the cavity of the feed, a diode, and a "?" for what is not known.

    The controller's frame is whole, and of all uprights only the pin and the controller's own rails pass through it.
    """
    owner, line = view.input, view.line
    beside = [each for each in root.iter(f"{SVG}g") if each.get("class") == "pp-beside"]
    fed = any(f"feed@{line.id}" in (branch.a, branch.b) for branch in view.branches)
    from_battery = fed and line.feed_from == "battery"
    back = line.source_side == "return" and any(f"return@{line.id}" in (b.a, b.b) for b in view.branches)
    unknown = [owner.pull_up, owner.pull_down].count(UNKNOWN)
    diode = line.series_diode is not None and (back or (fed and line.source_side == "feed"))
    rects = sum(each.get("fill") is None for group in beside for each in group.iter(f"{SVG}rect"))
    triangles = sum("z" in each.attrib["d"] for group in beside for each in group.iter(f"{SVG}path"))
    assert rects == unknown + from_battery
    assert triangles == diode
    assert sum(box.text == "?" for box in drawing.labels) == unknown
    assert f"pin {owner.id} (" in drawing.description
    assert ("fuse of the feed" in drawing.description) is from_battery
    assert ("from the controller's reference" in drawing.description) is (fed and not from_battery)
    for name, place in (("plug", owner.plug), ("cavity", owner.cavity)):
        assert not place or f"{name} {place}" in drawing.description
    cups = [each for each in root.iter(f"{SVG}path") if "a1.2 1.2" in each.attrib["d"]]
    assert len(cups) == 1 + (fed and not from_battery)
    (frame,) = [each for each in root.iter(f"{SVG}rect") if each.get("stroke-dasharray") == "1.6 1"]
    left, top, wide, high = (float(frame.attrib[name]) for name in ("x", "y", "width", "height"))
    tops = _panel_tops(root)
    inside = {
        _name_above(drawing, tops, float(each.attrib["x1"]), float(each.attrib["y2"]) + 1e-3)
        for group in root.iter(f"{SVG}g")
        if group.get("class") == "pp-nodes"
        for each in group.iter(f"{SVG}line")
        if each.attrib["x1"] == each.attrib["x2"]
        and left < float(each.attrib["x1"]) < left + wide
        and float(each.attrib["y1"]) < top + high
        and float(each.attrib["y2"]) > top
    }
    assert inside <= {"pin", "reference", "battery", "ground"}
    assert "pin" in inside
    assert (len(inside) > 1) is (owner.pull_up is not None or owner.pull_down is not None or len(cups) > 1)


def _reach(root: ET.Element) -> float:
    """The right end of everything drawn but the texts."""
    ends = [float(each.attrib[name]) for each in root.iter(f"{SVG}line") for name in ("x1", "x2")]
    ends += [float(each.attrib["x"]) + float(each.attrib["width"]) for each in root.iter(f"{SVG}rect")]
    ends += [float(each.attrib["cx"]) + float(each.attrib["r"]) for each in root.iter(f"{SVG}circle")]
    return max(ends)


def _edges(rows: list[tuple[frozenset[str], int]]) -> list[tuple[object, object, int]]:
    return [(*sorted(ends), symbols) for ends, symbols in rows]  # type: ignore[misc]


def _contracted(view: LineView) -> list[tuple[object, object, int]]:
    """Branches of the netlist, with a contact and its own resistor counted as one row of two symbols."""
    joined: dict[str, list[int]] = {}
    for index, branch in enumerate(view.branches):
        for node in (branch.a, branch.b):
            joined.setdefault(node, []).append(index)
    inner = {node for node in joined if node not in _nodes_drawn(view)}
    edges, used = [], set()
    for node in sorted(inner):
        first, second = (view.branches[index] for index in joined[node])
        outer = [each for branch in (first, second) for each in (branch.a, branch.b) if each != node]
        edges.append((outer[0], outer[1], 2))
        used |= set(joined[node])
    edges += [(b.a, b.b, 1) for index, b in enumerate(view.branches) if index not in used]
    return edges  # type: ignore[return-value]


def _nodes_drawn(view: LineView) -> set[str]:
    """Nodes of the view except those that only join a contact with its own resistor."""
    ends = [node for branch in view.branches for node in (branch.a, branch.b)]
    inner = {contact_node(view.line.id, branch.contact) for branch in view.branches if branch.contact}
    return {node for node in ends if view.line.form == "elements" or ends.count(node) != 2 or node not in inner}


def _shape(edges: list[tuple[object, object, int]]) -> list[tuple[int, list[tuple[int, int]]]]:
    """What two equal graphs share whatever their nodes are called: each node's edges with the far node's degree."""
    degree: dict[object, int] = {}
    for a, b, _ in edges:
        degree[a] = degree.get(a, 0) + 1
        degree[b] = degree.get(b, 0) + 1
    return sorted(
        (degree[node], sorted((symbols, degree[b if a == node else a]) for a, b, symbols in edges if node in (a, b)))
        for node in degree
    )


def test_a_resistor_to_choose_is_told() -> None:
    """Nothing is invented for a value that is not there yet."""
    one = truck(("a",))
    line = replace(
        one.lines[0], wire=value(0.0, 0.0, 1.0, "resistance", "line.taps.wire"),
        source_wire=value(0.0, 0.0, 1.0, "resistance", "line.taps.source_wire"),
        return_offset=value(0.0, 0.0, 0.0, "voltage", "line.taps.return_offset"),
    )  # fmt: skip
    contact = replace(one.contacts[0], resistor=resistor(None, "contact.a.resistor"))
    drawing = circuit(line_view(replace(one, lines=(line,), contacts=(contact,)), line))
    assert_sound(drawing)
    assert "resistor, to choose" in drawing.description
    assert "nan" not in drawing.svg


def test_the_fuse_and_an_unknown_pull_are_drawn() -> None:
    """The supply-fed example: battery, fuse, feed, and the controller's frame though its pull is not known."""
    text = example_path("sandpiper").read_text(encoding="utf-8")
    start = text.index("pull_down = {")
    truck_ = loads(text[:start] + 'pull_down = "unknown"' + text[text.index("\n", start) :])
    drawing = circuit(line_view(truck_, "taps"))
    assert_sound(drawing)
    assert "fuse of the feed (its rating is not in the file; the feed lies 50 to 250 mV below the battery) between" in (
        drawing.description
    )
    assert "gearbox controller: pull-down (pull resistor, not known yet) between the pin and ground" in (
        drawing.description
    )
    assert {"?", "tcu B12"} <= {box.text for box in drawing.labels}


def test_the_fuse_is_the_one_that_the_harness_has() -> None:
    """Given in the file, chosen by the harness, that of a feed before it, still to be chosen, or none at all."""
    text = filled(with_inhibit_draft(with_harness_draft(example_path("sandpiper").read_text(encoding="utf-8"))))
    chosen = {one.feed: one for one in lay_out(loads(text)).fuses}
    feed = "taps_feed"
    assert chosen[feed].chosen

    def told(text: str, chosen_a: dict[str, float]) -> str:
        drawing = circuit(line_view(loads(text), "taps"), chosen_a=chosen_a)
        assert_sound(drawing)
        return drawing.description

    rating = f"{chosen[feed].rating_a:g} A, chosen by the harness"
    drawn = line_figures(line_view(loads(text), "taps"), prove(loads(text), samples=0).lines[0], 1)[0]
    assert f"fuse of the feed ({rating}; the feed lies" in drawn.drawing.description
    assert "to be chosen by the harness" in told(text, {})
    head, at, tail = text.partition(f'id = "{feed}"')
    assert "(2 A; the feed" in told(head + at + tail.replace('fuse = "to choose"', 'fuse = "2 A"', 1), {})
    behind = head + at + tail.replace('fuse = "to choose"', 'fuse = "none"', 1)
    assert "(15 A of main, chosen by the harness; the feed" in told(behind, {"main": 15.0, feed: 2.0})
    bare = told(behind.replace('fuse = "to choose"', 'fuse = "none"', 1), {})
    assert "feed (no fuse on the way; the feed" in bare and "fuse of the feed" not in bare


def test_unknown_symbols_are_refused() -> None:
    """A branch of a kind nobody has drawn does not vanish."""
    from pinproof.drawings.svg import Canvas
    from pinproof.drawings.symbols import draw_symbol

    with pytest.raises(ValueError, match="no symbol"):
        draw_symbol(Canvas(10.0, 10.0, "t", "d", "t"), "relay", 1.0, 5.0)
