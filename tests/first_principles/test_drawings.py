"""What the drawings promise: labels never touch, nothing leaves the canvas, the XML is whole, words are there."""

from __future__ import annotations

import itertools
import math
import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design.model import Truck
from pinproof.drawings import Drawing, reading_chart, words
from pinproof.drawings.axis import CannotShow, axis_of
from pinproof.drawings.fold import fold, is_required, severity
from pinproof.drawings.measure import (
    FILES,
    MissingGlyph,
    MissingTypeface,
    drawable,
    face,
    has_glyph,
    reach_mm,
    read_face,
    width_mm,
    wrap,
)  # fmt: skip
from pinproof.drawings.place import LabelBox, Placer, spread
from pinproof.drawings.svg import Canvas
from pinproof.proof.results import LineProof, SituationProof
from pinproof.verdict import Verdict
from tests.first_principles.test_drawings_cases import INF, made, proofs, situation, truck, window

SVG = "{http://www.w3.org/2000/svg}"


def assert_sound(drawing: Drawing) -> ET.Element:
    """No two labels overlap, none leaves the canvas, every text of the XML has its box, and there are words."""
    root = ET.fromstring(drawing.svg)
    for box in drawing.labels:
        assert box.inside(drawing.width_mm, drawing.height_mm), box
    for one, other in itertools.combinations(drawing.labels, 2):
        assert not one.overlaps(other, gap_mm=-1e-6), (one, other)
    shown = [element.text for element in root.iter(f"{SVG}text")]
    assert shown == [box.text for box in drawing.labels]
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert title.text == drawing.title != ""
    assert desc is not None
    assert desc.text == drawing.description != ""
    assert root.get("role") == "img"
    assert set((root.get("aria-labelledby") or "").split()) == {title.get("id"), desc.get("id")}
    for element in root.iter():
        for name, text in element.attrib.items():
            assert "nan" not in text.split(), (element.tag, name, text)
            if name in ("x", "y", "x1", "x2", "y1", "y2", "width", "height"):
                assert math.isfinite(float(text.removesuffix("mm")))
            if name in ("width", "height"):
                assert float(text.removesuffix("mm")) >= 0.0
    return root


@settings(max_examples=150)
@given(proofs(), st.sampled_from(["wide", "narrow"]), st.sampled_from(["as given", "volts", "ohms"]))
def test_labels_of_any_proof_keep_apart(case: tuple[Truck, LineProof], layout: str, unit: str) -> None:
    """Long names, odd letters, up to 40 situations, any span and window."""
    one, line = case
    root = assert_sound(reading_chart(line, truck=one, layout=layout, unit=unit))
    for rect in root.iter(f"{SVG}rect"):
        left, wide = float(rect.attrib["x"]), float(rect.attrib["width"])
        assert left >= -1e-3
        assert left + wide <= float(root.attrib["width"].removesuffix("mm")) + 0.21


def test_many_situations_are_counted_not_dropped() -> None:
    """64 situations fold to the rows asked for; rows drawn and rows counted add up."""
    names = tuple(f"contact_{index}" for index in range(6))
    sets = [combo for size in range(7) for combo in itertools.combinations(names, size)]
    rows = tuple(
        situation(
            each, ("up",) if len(each) < 2 else ("up", "invalid"), 0.5, 0.6, Verdict.PASS, 0.01 * number,
            rule=3 if len(each) < 2 else 5,
        )
        for number, each in enumerate(sets)
    )  # fmt: skip
    line = LineProof("taps", "tap_pin", "pull-up", Verdict.PASS, rows, {"reference": (window("up", 0.4, 0.7, 0.0),)})
    drawing = reading_chart(line, truck=truck(names), most_rows=20)
    assert_sound(drawing)
    assert len(rows) == 64
    assert "Not drawn: 44 more combinations (44 pass)" in drawing.description
    assert drawing.height_mm < 269.0  # stands on a page of A4 with 14 mm margins


@given(proofs(), st.integers(2, 30))
def test_folding_never_hides_the_worst(case: tuple[Truck, LineProof], most: int) -> None:
    """Every row left out does at least as well as every row of its group that is drawn."""
    rows = case[1].situations
    folded = fold(rows, most)
    assert len(folded.rows) <= max(most, 2)
    for required in (True, False):
        shown = [severity(row) for row in folded.rows if is_required(row) is required]
        group = sorted(severity(row) for row in rows if is_required(row) is required)
        assert sorted(shown) == group[: len(shown)]
        assert bool(shown) is bool(group)
    drawn = len(folded.rows) + sum(int(re.findall(r"Not drawn: (\d+)", note)[0]) for note in folded.notes)
    assert drawn == len(rows)


def test_bar_and_window_stand_where_the_reading_is() -> None:
    """A reading of 25 to 75 % covers the middle half of the rule; its window's frame covers the sure part."""
    row = situation(("a",), ("up",), 0.25, 0.75, Verdict.PASS, 0.5)
    line = LineProof("taps", "tap_pin", "pull-up", Verdict.PASS, (row,), {"reference": (window("up", 0.1, 0.9, 0.05),)})
    root = assert_sound(reading_chart(line, truck=truck(("a",)), legend=False))
    rule_left, rule_width = 46.0, 182.0 - 46.0 - 46.0
    bars = [each for each in root.iter(f"{SVG}rect") if each.get("class") == "pp-bar"]
    assert [(float(b.attrib["x"]), float(b.attrib["width"])) for b in bars] == [
        pytest.approx((rule_left + 0.25 * rule_width, 0.5 * rule_width), abs=1e-3)
    ]
    for sure in (each for each in root.iter(f"{SVG}rect") if each.get("class") == "pp-sure"):
        assert float(sure.attrib["x"]) == pytest.approx(rule_left + 0.15 * rule_width, abs=1e-3)
        assert float(sure.attrib["width"]) == pytest.approx(0.70 * rule_width, abs=1e-3)


def test_a_bracket_is_not_drawn_as_exact() -> None:
    """What is attained is solid, what only bounds it is dashed; the exact row has no dashes."""
    exact = situation(("a",), ("up",), 0.3, 0.7, Verdict.PASS, 0.5)
    bracket = replace(exact, exact=False, inner_low=0.4, inner_high=0.6)
    drawn = []
    for row in (exact, bracket):
        line = LineProof("taps", "tap_pin", "pull-up", Verdict.PASS, (row,), {"reference": ()})
        root = assert_sound(reading_chart(line, truck=truck(("a",)), legend=False))
        solid = [float(r.attrib["width"]) for r in root.iter(f"{SVG}rect") if r.get("class") == "pp-bar"]
        drawn.append((solid, sum(r.get("stroke-dasharray") is not None for r in root.iter(f"{SVG}rect"))))
    assert drawn == [([pytest.approx(36.0)], 0), ([pytest.approx(18.0)], 2)]


def test_verdicts_differ_by_shape_and_word() -> None:
    """Without any colour the four verdicts still differ, in their paths and in their words."""
    shapes, told = set(), set()
    for verdict in Verdict:
        row = situation(("a",), ("up",), 0.3, 0.7, verdict, 0.5)
        line = LineProof("taps", "tap_pin", "pull-up", verdict, (row,), {"reference": ()})
        root = assert_sound(reading_chart(line, truck=truck(("a",)), legend=False))
        marks = [p for p in root.iter(f"{SVG}path") if (p.get("class") or "").startswith("pp-")]
        shapes.add(tuple((re.sub(r"[\d. -]+", "#", p.attrib["d"]), "fill" in p.attrib) for p in marks))
        told |= {t.text for t in root.iter(f"{SVG}text") if t.text == verdict.value}
    assert len(shapes) == 4
    assert told == {verdict.value for verdict in Verdict}


def test_only_ink_is_used() -> None:
    """No colour is written into a drawing, so it turns with the page and prints in grey."""
    one, proof = made()
    root = assert_sound(reading_chart(proof.lines[0], truck=one))
    used = {element.get(name) for element in root.iter() for name in ("fill", "stroke") if element.get(name)}
    assert used == {"currentColor", "none"}


def test_the_alternative_text_tells_every_row() -> None:
    """Whoever cannot see the chart hears every situation, its span, margin and verdict."""
    one, proof = made()
    told = reading_chart(proof.lines[0], truck=one).description
    assert "lever_manual + lever_up reads 53.13 to 56.88 %, should read up: pass, margin 51 %." in told
    assert "lever_manual + lever_down reads 29.56 to 41.11 %, should read down: fail, 44 % past the edge." in told
    assert "has no settled reading" in told
    assert told.count("lever_manual") == sum("lever_manual" in r.operated for r in proof.lines[0].situations[:9]) + 0
    assert "automatic (idle, assumed), sure from 90.9 to 100 %" in told


def test_same_input_same_bytes() -> None:
    """Nothing depends on the hash seed, a clock or a counter."""
    one, proof = made()
    assert reading_chart(proof.lines[0], truck=one).svg == reading_chart(proof.lines[0], truck=one).svg


def test_readings_in_ohms_are_those_of_the_divider() -> None:
    """v/v_ref = R/(R + pull), so 0.5 is the pull itself, 0.75 three times the pull, 1 an open line."""
    one = truck(("a",))
    axis = axis_of(one, one.lines[0], "reference", "ohms")
    assert [axis.text(reading) for reading in (0.0, 0.5, 0.75, 1.0)] == ["0 Ω", "1 kΩ", "3 kΩ", "open"]
    for place, text in axis.marks(10):
        assert axis.text(place, 3) == text
    assert axis_of(one, one.lines[0], None, "volts").text(0.5) == "2.5 V"


def test_ohms_are_refused_where_they_would_mislead() -> None:
    """Plain volts and a second pull give no single resistance for a reading."""
    volts = truck(("a",), compares="volts")
    with pytest.raises(CannotShow, match="plain volts"):
        axis_of(volts, volts.lines[0], None, "ohms")
    one = truck(("a",))
    both = replace(one, inputs=(replace(one.inputs[0], pull_down=one.inputs[0].pull_up),))
    with pytest.raises(CannotShow, match="more than one"):
        axis_of(both, both.lines[0], None, "ohms")
    with pytest.raises(ValueError, match="no reading space"):
        axis_of(one, one.lines[0], "battery", "ratio")


@given(st.floats(1e-3, 1e3), st.integers(2, 20))
def test_marks_of_the_rule_span_it_evenly(full: float, most: int) -> None:
    """First mark 0, last mark full scale, never more than asked for, none too close to the last."""
    one = truck(("a",), compares="volts")
    owner = one.inputs[0]
    assert owner.full_scale is not None
    scaled = replace(one, inputs=(replace(owner, full_scale=replace(owner.full_scale, value=full)),))
    places = [place for place, _ in axis_of(scaled, scaled.lines[0], None, "as given").marks(most)]
    assert places[0] == 0.0
    assert places[-1] == pytest.approx(full)
    assert len(places) <= most + 1
    steps = [b - a for a, b in itertools.pairwise(places)]
    assert all(step == pytest.approx(steps[0]) for step in steps[:-1])


@given(st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(0.1, 30.0)), max_size=12))
def test_spread_labels_keep_order_and_gap(wanted: list[tuple[float, float]]) -> None:
    """Labels stay in order, 1 apart, inside 0 to 100; if they fit at their wishes they stay there."""
    wanted.sort()
    wishes, widths = [w for w, _ in wanted], [w for _, w in wanted]
    placed = spread(wishes, widths, 0.0, 100.0, 1.0)
    assert (placed is None) == (sum(widths) + max(len(widths) - 1, 0) > 100.0)
    if placed is None:
        return
    edges = [(c - w / 2.0, c + w / 2.0) for c, w in zip(placed, widths, strict=True)]
    assert all(a[1] + 1.0 <= b[0] + 1e-9 for a, b in itertools.pairwise(edges))
    assert all(low >= -1e-9 and high <= 100.0 + 1e-9 for low, high in edges)
    free = [(x - w / 2.0, x + w / 2.0) for x, w in wanted]
    if all(a[1] + 1.0 <= b[0] for a, b in itertools.pairwise(free)) and all(l >= 0 and h <= 100 for l, h in free):  # noqa: E741
        assert placed == pytest.approx(wishes)


@given(st.lists(st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 40.0)), max_size=15))
def test_placed_labels_never_overlap(anchors: list[tuple[float, float]]) -> None:
    """Whatever the anchors, labels find free places or say that there are none."""
    placer = Placer(60.0, 40.0)
    placer.block(20.0, 10.0, 30.0, 30.0)
    found = [placer.place("x", 9.0, 4.0, anchor, [(anchor[0] + 1.0, anchor[1] - 2.0)]) for anchor in anchors]
    boxes = [box for box in found if box is not None]
    blocked = LabelBox("", 20.0, 10.0, 30.0, 30.0)
    for one, other in itertools.combinations([*boxes, blocked], 2):
        assert not one.overlaps(other)
    assert all(box.inside(60.0, 40.0) for box in boxes)


def test_widths_are_those_of_the_typeface() -> None:
    """Against the tables read another way: format 12 of cmap, and the raw metrics."""
    one = face("regular")
    data = one.data
    start = one.tables["cmap"][0]
    places = [
        struct.unpack_from(">HHI", data, start + 4 + 8 * i) for i in range(struct.unpack_from(">H", data, start + 2)[0])
    ]
    at = start + next(offset for platform, encoding, offset in places if (platform, encoding) == (3, 10))
    assert struct.unpack_from(">H", data, at)[0] == 12
    checked = 0
    for group in range(struct.unpack_from(">I", data, at + 12)[0]):
        first, last, glyph = struct.unpack_from(">III", data, at + 16 + 12 * group)
        for code in range(first, min(last, 0xFFFE) + 1):
            assert one.glyphs.get(code) == glyph + code - first, hex(code)
            advance = struct.unpack_from(">H", data, one.tables["hmtx"][0] + 4 * (glyph + code - first))[0]
            assert width_mm(chr(code), 1000.0) == pytest.approx(advance)
            checked += 1
    assert checked == len(one.glyphs) > 1000


def test_a_missing_glyph_is_an_error_and_not_a_guess() -> None:
    """Widths are never guessed; text for a drawing is made drawable first and stays distinct."""
    with pytest.raises(MissingGlyph, match=r"U\+540D"):
        width_mm("名", 3.0)
    assert drawable("名\n名b") == "(U+540D) (U+540D)b"
    assert width_mm(drawable("名"), 3.0) > 0.0
    assert all(has_glyph(each) for each in "Ωµ±%°≤→✕é")
    assert width_mm("✕", 1.0) > 0.0  # from the second face


def test_a_missing_typeface_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever installed half of it reads which package is missing."""
    monkeypatch.setitem(FILES, "regular", ("no_such_package", "a.ttf"))
    face.cache_clear()
    try:
        with pytest.raises(MissingTypeface, match="no_such_package"):
            face("regular")
    finally:
        face.cache_clear()
    broken = bytearray(face("second").data)
    start = face("second").tables["cmap"][0]
    broken[start + 2 : start + 4] = b"\0\0"  # no subtables at all
    with pytest.raises(ValueError, match="format 4"):
        read_face(bytes(broken))


@given(st.text(alphabet="ab_-/ \u03a9é", max_size=60), st.floats(4.0, 50.0))
def test_wrapped_lines_fit_and_keep_every_letter(text: str, most: float) -> None:
    """Only blanks may be lost, and no line is wider than asked."""
    lines = wrap(text, most, 3.0)
    assert "".join(lines).replace(" ", "") == re.sub(r"\s", "", text)
    assert all(width_mm(line, 3.0) <= most or len(line) == 1 for line in lines)


def test_markup_in_names_stays_text() -> None:
    """A label is text, whatever it looks like."""
    canvas = Canvas(60.0, 20.0, "a < b", '</desc><script>"&', "t")
    canvas.text(1.0, 10.0, 'R1 <390 & "x" ]]>', 3.0)
    root = assert_sound(canvas.finish())
    assert [each.tag for each in root] == [f"{SVG}title", f"{SVG}desc", f"{SVG}text"]


@given(
    st.floats(0.0, 100.0), st.floats(0.0, 100.0), st.floats(0.5, 40.0), st.floats(0.5, 20.0), st.sampled_from("/\\x-")
)
def test_hatching_stays_in_its_rectangle(left: float, top: float, wide: float, high: float, lean: str) -> None:
    """Every line of a hatch lies inside the rectangle, to the three decimals that are written."""
    canvas = Canvas(200.0, 200.0, "t", "d", "t")
    canvas.hatch(left, top, left + wide, top + high, pitch=0.8, lean=lean)
    for path in canvas.root.iter("path"):
        for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.attrib["d"]):
            assert left - 2e-3 <= float(x) <= left + wide + 2e-3
            assert top - 2e-3 <= float(y) <= top + high + 2e-3


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("contact.lever_up.closed", "contact resistance of lever_up (closed)"),
        ("contact.lever_up.open", "leakage across lever_up (open contact)"),
        ("contact.lever_up.resistor", "coding resistor of lever_up"),
        ("input.tap_pin.pull_up", "pull-up resistor inside input tap_pin"),
        ("line.taps.leak_to_ground", "leakage from the pin to ground (wet plug, line taps)"),
        ("line.taps.window.up", "edges of the window up (line taps)"),
        ("line.taps.window.up.low", "lower edge of the window up (line taps)"),
        ("line.taps.element.r_top.value", "element r_top of taps"),
        ("supply", "supply voltage"),
        ("supply.crank", "supply voltage while cranking"),
        ("something.else", "something.else"),
    ],
)
def test_parameters_are_named(path: str, told: str) -> None:
    """A path becomes words; one without words stays as it is."""
    assert words.parameter(path) == told


def _row(margin: float) -> SituationProof:
    return situation(("a",), ("up",), 0.1, 0.2, Verdict.PASS, margin)


@pytest.mark.parametrize(
    ("margin", "told"),
    [
        (0.3466, "margin 34 %"), (0.0299, "margin 2.9 %"), (1.0, "margin 100 %"), (0.1, "margin 10 %"),
        (-0.0301, "3.1 % past the edge"), (-0.12, "12 % past the edge"), (INF, "no edge in reach"),
        (-INF, "no margin"), (math.nan, "no margin"), (0.0, "margin 0 %"), (1e-7, "margin 0.00001 %"),
        (5e-324, "margin less than 0.0000001 %"),
    ],
)  # fmt: skip
def test_margins_never_look_better_than_they_are(margin: float, told: str) -> None:
    """A margin is cut, an overlap is raised."""
    assert words.margin(_row(margin)) == told


def test_reach_covers_every_letter_drawn() -> None:
    """Label boxes are as high as the tallest letter: é, Å, Ω and g lie within them (glyph boxes of the file)."""
    one = face("regular")
    loca, glyf = one.table("loca"), one.table("glyf")
    above, below = reach_mm(1.0)
    for letter in "éÅΩgqjµ|(/_%Q":
        glyph = one.glyphs[ord(letter)]
        start = struct.unpack_from(">I", loca, 4 * glyph)[0]
        _, _, low, _, high = struct.unpack_from(">hhhhh", glyf, start)
        assert high / one.units_per_em <= above, letter
        assert -low / one.units_per_em <= below, letter


def test_what_may_be_read_is_told_once() -> None:
    """A meaning that is allowed twice is named once, and "no command" stands last."""
    row = situation((), ("automatic", "invalid", "automatic", "up"), 0.1, 0.2, Verdict.PASS, 0.5)
    assert words.wanted(row) == "may read automatic, up or no command"
    assert words.wanted(replace(row, allowed=("up",))) == "should read up"
