"""Drift, transit and swatch pictures: what is drawn stands where the number says, and is told in words."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinproof.design import load
from pinproof.drawings import drift_picture, drifts_of, swatch, transit_picture
from pinproof.drawings.swatches import SHADES
from pinproof.drawings.transit_picture import passage_of
from pinproof.errors import PinproofError
from pinproof.examples import NAMES, example_path
from pinproof.proof import LineProof, prove
from pinproof.proof.results import DriftBudget, Finding, SituationProof
from pinproof.quantities.markings import bands, letter_code, read_bands, read_letter_code
from pinproof.quantities.preferred import values_between
from pinproof.tables.load import load as load_table
from pinproof.verdict import Verdict
from pinproof.wiring import LineView, line_view
from tests.first_principles.test_drawings import assert_sound
from tests.first_principles.test_drawings_cases import INF, situation
from tests.first_principles.test_drawings_cases import NAMES as ANY_NAMES

SVG = "{http://www.w3.org/2000/svg}"
ENDS = st.one_of(st.floats(0.0, 1e7), st.sampled_from([0.0, 1e-12, 1e12, INF, 30.0]))


def line_with(*rows: SituationProof) -> LineProof:
    """A line with these rows."""
    return LineProof("taps", "tap_pin", "pull-up", Verdict.PASS, rows, {})


def row_with(*budgets: DriftBudget, operated: tuple[str, ...] = ("lever_up",)) -> SituationProof:
    """A situation that reads up, with these budgets."""
    return replace(situation(operated, ("up",), 0.4, 0.5, Verdict.PASS, 0.3), budgets=budgets)


@st.composite
def budgets(draw: st.DrawFn) -> DriftBudget:
    """Any budget: either way, in ohms or volts, at zero, without end, with and without a false command."""
    unit = draw(st.sampled_from(["ohm", "V"]))
    numbers = ENDS if unit == "ohm" else st.floats(-50.0, 50.0)
    return DriftBudget(
        f"contact.{draw(ANY_NAMES)}.closed", draw(st.sampled_from(["up", "down"])), draw(numbers),
        draw(st.one_of(st.none(), numbers)), draw(st.one_of(st.none(), numbers)), draw(ANY_NAMES), unit,
        draw(st.sampled_from(["measured", "assumed"])), draw(st.floats(0.0, 1e6)),
    )  # fmt: skip


@settings(max_examples=150)
@given(st.lists(budgets(), max_size=14), st.sampled_from(["wide", "narrow"]))
def test_any_budgets_make_a_sound_picture(found: list[DriftBudget], layout: str) -> None:
    """Labels keep apart, bars stay on the rule, everything drawn is told."""
    line = line_with(row_with(*found))
    drawing = drift_picture(line, layout=layout)
    assert (drawing is None) == (not drifts_of(line))
    if drawing is None:
        return
    root = assert_sound(drawing)
    assert drawing.width_mm == {"wide": 182.0, "narrow": 84.0}[layout]
    for rect in root.iter(f"{SVG}rect"):
        left, wide = float(rect.attrib["x"]), float(rect.attrib["width"])
        assert left >= -1e-3
        assert left + wide <= drawing.width_mm + 1e-3
    rows = [each for each in root.iter(f"{SVG}g") if each.get("class") == "pp-row"]
    counted = re.search(r"(\d+) more", drawing.description)
    assert len(rows) + int(counted[1] if counted else 0) == len(drifts_of(line))


def test_bars_stand_on_decades() -> None:
    """From 100 Ω to 10 kΩ is two decades, and a false command from 100 kΩ one more: bars in the ratio 2 to 1."""
    one = DriftBudget("contact.lever_up.closed", "up", 100.0, 1e4, 1e5, "down", "ohm", "assumed", 1.0)
    drawing = drift_picture(line_with(row_with(one)))
    assert drawing is not None
    root = assert_sound(drawing)
    row = next(each for each in root.iter(f"{SVG}g") if each.get("class") == "pp-row")
    works, lost, false = (float(each.attrib["width"]) for each in row.iter(f"{SVG}rect"))
    assert works == pytest.approx(2.0 * lost, rel=1e-3)
    assert false > 0.0
    for told in ("contact resistance of lever_up (closed)", "counted on: up to 100 Ω", "up is sure up to 10 kΩ",
                 "down may be read from 100 kΩ"):  # fmt: skip
        assert told in drawing.description


def test_a_fall_is_drawn_to_the_left_and_volts_evenly() -> None:
    """From 10 V down to 8 V and 4 V: bars of 2 and 4, the first one right of the second."""
    one = DriftBudget("supply.run", "down", 10.0, 8.0, 4.0, "down", "V", "assumed", 1.0)
    drawing = drift_picture(line_with(row_with(one)))
    assert drawing is not None
    row = next(each for each in ET.fromstring(drawing.svg).iter(f"{SVG}g") if each.get("class") == "pp-row")
    works, lost, _ = row.iter(f"{SVG}rect")
    assert 2.0 * float(works.attrib["width"]) == pytest.approx(float(lost.attrib["width"]), rel=1e-3)
    right_of_lost = float(lost.attrib["x"]) + float(lost.attrib["width"])
    assert float(works.attrib["x"]) == pytest.approx(right_of_lost, abs=2e-3)


def test_the_tightest_of_each_parameter_is_drawn_first() -> None:
    """Two situations with the same contact: only the smaller strain counts."""
    loose = DriftBudget("contact.a.closed", "up", 30.0, 900.0, None, "", "ohm", "assumed", 5.0)
    tight = replace(loose, lost_at=80.0, strain=1.0)
    other = replace(loose, parameter="contact.b.closed", strain=0.5)
    found = drifts_of(line_with(row_with(loose, other), row_with(tight, operated=("lever_down",))))
    assert [(each.budget.parameter, each.budget.lost_at) for each in found] == [
        ("contact.b.closed", 900.0), ("contact.a.closed", 80.0),
    ]  # fmt: skip


def passages() -> list[tuple[LineView, LineProof, Finding]]:
    """Every transit through a window in the examples."""
    found = []
    for name in NAMES:
        truck = load(example_path(name))
        for line in prove(truck, samples=0).lines:
            view = line_view(truck, line.line)
            found += [(view, line, each) for each in line.findings if passage_of(view, line, each) is not None]
    return found


@pytest.mark.parametrize("layout", ["wide", "narrow"])
def test_transits_of_the_examples(layout: str) -> None:
    """The curve falls by 1/e in one time constant (University Physics vol. 2, "RC Circuits"; seen: memory)."""
    every = passages()
    assert len(every) >= 3
    for view, line, finding in every:
        passage = passage_of(view, line, finding)
        drawing = transit_picture(view, line, finding, layout=layout)
        assert passage is not None
        assert drawing is not None
        assert_sound(drawing)
        start, final = passage.ends
        after_one = final + (start - final) * math.exp(-1.0)
        assert passage.reached_s(after_one) == pytest.approx(passage.tau_s, rel=1e-9)
        enter_s, leave_s = passage.inside_s()
        assert leave_s - enter_s == pytest.approx(passage.settle_s, rel=1e-9)
        assert passage.window.meaning in drawing.description
        assert "Debounce of the controller" in drawing.description


def test_a_debounce_that_is_too_short_is_told() -> None:
    """Words follow the numbers of the finding."""
    view, line, finding = passages()[0]
    short = replace(finding, numbers={**finding.numbers, "debounce_s": float(finding.numbers["bound_s"]) / 2.0})
    none = replace(finding, numbers={k: v for k, v in finding.numbers.items() if k != "debounce_s"})
    told = [transit_picture(view, line, each) for each in (finding, short, none)]
    words = [each.description for each in told if each is not None]
    assert "longer, so it hides this" in words[0]
    assert "not longer: this may count" in words[1]
    assert "not stated" in words[2]
    assert transit_picture(view, line, replace(finding, check="heat")) is None


def decoded(svg: str) -> tuple[list[str], str]:
    """Colour names and letter code as they stand on a swatch."""
    texts = {each.get("class"): [] for each in ET.fromstring(svg).iter(f"{SVG}text")}
    for each in ET.fromstring(svg).iter(f"{SVG}text"):
        texts[each.get("class")].append(each.text or "")
    return texts.get("pp-colour", []), texts["pp-code"][0]


@pytest.mark.parametrize("tolerance", [0.01, 0.05])
@pytest.mark.parametrize("ohm", values_between("E24", 10.0, 1e5) + values_between("E96", 100.0, 1e4))
def test_bands_and_codes_read_back(ohm: float, tolerance: float) -> None:
    """Whoever reads the drawing's own words gets the value that was drawn."""
    try:
        row = bands(ohm, tolerance, count=5)
    except PinproofError:
        row = ()
    drawing = swatch(row, letter_code(ohm, tolerance), "a value")
    assert_sound(drawing)
    names, code = decoded(drawing.svg)
    reading = read_bands(names)[0]
    assert (reading.direction, reading.ohm, reading.tolerance) == ("as listed", pytest.approx(ohm), tolerance)
    meant = read_letter_code(code)[0]
    assert (meant.ohm, meant.tolerance) == (pytest.approx(ohm), tolerance)
    fills = [each.attrib["fill"] for each in ET.fromstring(drawing.svg).iter(f"{SVG}rect")][1:]
    assert fills == [SHADES[name] for name in names]


def test_every_colour_of_the_code_has_its_own_shade() -> None:
    """The table's colours and the drawn ones are the same set, and no two look alike."""
    assert set(SHADES) == set(load_table("iec_60062_colours").column_values("colour"))
    assert len(set(SHADES.values())) == len(SHADES)


def test_a_value_without_bands_says_so() -> None:
    """Four digits fit no row of bands."""
    drawing = swatch((), "", "4.321 kΩ")
    assert_sound(drawing)
    assert "No row of bands says this value" in drawing.description


def test_unknown_layouts_are_refused() -> None:
    """A misspelt layout is an error, not a guess."""
    view, line, finding = passages()[0]
    with pytest.raises(ValueError, match="layout"):
        drift_picture(line, layout="broad")
    with pytest.raises(ValueError, match="layout"):
        transit_picture(view, line, finding, layout="broad")
