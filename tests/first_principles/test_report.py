"""The report page: well formed, one file, readable by day and night, words for everything, nothing smuggled in."""

from __future__ import annotations

import base64
import html.parser
import itertools
import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import given, settings

from pinproof.design.model import Truck
from pinproof.drawings.axis import axis_of
from pinproof.drawings.measure import face, read_face
from pinproof.pack import report_html
from pinproof.pack.markup import Html, el
from pinproof.pack.parts import parts_of
from pinproof.pack.sentences import drift_sentence, worst_sentence
from pinproof.pack.style import DARK, LIGHT, PRINT
from pinproof.pack.typeface import subset
from pinproof.proof.results import LineProof, TruckProof
from pinproof.verdict import Verdict
from tests.first_principles.test_drawings_cases import budget, made, proofs, resistor, situation, truck, window

VOID = {"meta", "br", "hr"}


class Tree(html.parser.HTMLParser):
    """Elements of a page in order; fails on a tag that is not closed where it should be."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the element."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Elements of the drawings that close themselves."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        """Every end belongs to the last start."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Text that a reader sees (and the styles)."""
        if "style" not in self.open:
            self.text.append(data.replace("\u00a0", " "))

    def all(self, tag: str) -> list[dict[str, str]]:
        """Attributes of every element of this name."""
        return [attributes for name, attributes in self.elements if name == tag]


@dataclass(frozen=True)
class Cure:
    """What a cure must have to be printed."""

    what: str
    verdict: Verdict
    margin: float
    changes: Any


def page(**other: Any) -> str:
    """The page of the invented proof."""
    one, proof = made()
    return report_html(one, proof, generated_on="2026-03-01", **other)


def assert_sound(text: str) -> Tree:
    """One file: whole, without script or address, with language, headings in order and named tables."""
    tree = Tree(text)
    assert text.startswith('<!doctype html>\n<html lang="en">')
    assert not tree.all("script")
    assert not tree.all("img")
    assert not tree.all("link")
    assert not re.search(r"(?:src|href)=\"(?!#)|url\((?!data:font/ttf;base64,)|@import", text)
    assert [each for each in re.findall(r"https?://[^\"' <)]+", text) if "www.w3.org/2000/svg" not in each] == []
    levels = [int(tag[1]) for tag, _ in tree.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert len(tree.all("table")) == len(tree.all("caption"))
    assert all(each.get("scope") in ("col", "row") for each in tree.all("th"))
    idents = [attributes["id"] for _, attributes in tree.elements if "id" in attributes]
    assert len(idents) == len(set(idents))
    for link in tree.all("a"):
        assert link["href"].removeprefix("#") in idents
    for svg in tree.all("svg"):
        assert svg.get("aria-hidden") == "true" or set(svg["aria-labelledby"].split()) <= set(idents)
    assert not any(name.startswith("on") for _, attributes in tree.elements for name in attributes)
    return tree


def test_the_page_is_sound_and_the_same_every_time() -> None:
    """Same input, same bytes."""
    cure = Cure("Fit 470 Ω", Verdict.PASS, 0.1234, {"contact.lever_down.resistor": "470 Ω"})
    assert_sound(page(cures=(cure,)))
    assert page() == page()


def test_the_answer_comes_first_and_says_what_it_rests_on() -> None:
    """Verdict in words, the deciding situation, what to measure first, before any chart."""
    tree = assert_sound(page())
    text = " ".join(tree.text)
    first = text[: text.index("What each situation reads")]
    assert "Does not hold" in first
    assert "With lever_manual + lever_down operated, the pin reads 29.56 to 41.11 %" in first
    assert (
        "Measure first: edges of the window manual (line taps), then contact resistance of lever_up (closed)" in first
    )


@pytest.mark.parametrize(
    ("verdict", "told"),
    [
        (Verdict.PASS, "Proven: every situation reads as it may."),
        (Verdict.WOULD_HOLD, "Would hold if the windows are as assumed."),
        (Verdict.NOT_SHOWN, "Not shown: the numbers do not prove it."),
        (Verdict.FAIL, "Does not hold."),
    ],
)
def test_every_verdict_has_its_headline(verdict: Verdict, told: str) -> None:
    """And a page that is not a pass never says "Proven"."""
    one, proof = made()
    line = replace(proof.lines[0], verdict=verdict)
    text = " ".join(assert_sound(report_html(one, replace(proof, verdict=verdict, lines=(line,)))).text)
    assert told in text
    assert ("Proven" in text) == (verdict is Verdict.PASS)


def test_all_that_was_found_is_told() -> None:
    """Every situation, finding, cure, weak number, warning, caution and date is on the page."""
    one, proof = made()
    cure = Cure("Fit 470 Ω", Verdict.WOULD_HOLD, -0.0301, ["lever_down becomes 470 Ω"])
    text = " ".join(assert_sound(report_html(one, proof, cures=(cure,), generated_on="2026-03-01")).text)
    for wanted in (
        *(each.text for each in proof.lines[0].findings), *(each.cure for each in proof.lines[0].findings),
        "lever_down becomes 470 Ω", "-3.1 %", "2.3 kohm (line 41)", proof.warnings[0],
        "2026-03-01", proof.text_hash, proof.id, "4K42F", "design aid, not an approval", "negative off first",
        "1 A or less", "Chocks", "start inhibit",
    ):  # fmt: skip
        assert wanted in text, wanted
    assert text.index("Not shown") < text.index("Cautions and notes") < text.index("In order")
    assert "bypass" not in text


def test_names_cannot_smuggle_markup() -> None:
    """Whatever stands in a name, note or finding is shown as text."""
    one, proof = made()
    evil = "<script>alert(1)</script>\"'&<img src=x onerror=y>\u0000\u001b"
    line = replace(
        proof.lines[0], reason=evil,
        situations=(replace(proof.lines[0].situations[0], operated=(evil,), why=evil, weakest=evil),),
        findings=(replace(proof.lines[0].findings[0], text=evil, subject=evil, cure=evil, check=evil),),
        rests_on=(replace(proof.lines[0].rests_on[0], text=evil, parameter=evil, what=evil, basis=evil),),
    )  # fmt: skip
    whole = replace(proof, name=evil, id=evil, lines=(line,), warnings=(evil,))
    text = report_html(one, whole, cures=(Cure(evil, Verdict.PASS, 1.0, evil),), generated_on=evil)
    tree = assert_sound(text)
    assert "alert(1)" in " ".join(tree.text)
    assert "\u0000" not in text
    assert "\u001b" not in text


@settings(max_examples=40)
@given(proofs(most=12))
def test_any_proof_makes_a_sound_page(case: tuple[Truck, LineProof]) -> None:
    """Odd names, floating pins, lines without windows or situations."""
    one, line = case
    proof = TruckProof(one.id, one.name, one.text_hash, line.verdict, (line,))
    text = report_html(one, proof)
    assert_sound(text)
    for svg in re.findall(r"<svg xmlns.*?</svg>", text, flags=re.DOTALL):
        ET.fromstring(svg)


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _mixed(ink: str, paper: str, opacity: float) -> str:
    parts = [round(int(ink[i : i + 2], 16) * opacity + int(paper[i : i + 2], 16) * (1.0 - opacity)) for i in (1, 3, 5)]
    return "#" + "".join(f"{part:02x}" for part in parts)


def test_the_contrast_formula_is_the_standards() -> None:
    """Black on white is 21:1, and #777777 on white 4.48:1, as WCAG's own examples say (from memory: no oracle)."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert _contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("colours", [LIGHT, DARK, PRINT])
def test_colours_can_be_told_from_the_paper(colours: dict[str, str]) -> None:
    """Text 4.5:1 (WCAG 2.2, 1.4.3), lines and marks 3:1 (1.4.11), on the page and on the panel."""
    for ground in (colours["paper"], colours["panel"]):
        for name in ("ink", "soft", "pass", "hold", "open", "fail"):
            assert _contrast(colours[name], ground) >= 4.5, name
        assert _contrast(colours["line"], ground) >= 3.0 or ground == colours["panel"]
        assert _contrast(_mixed(colours["ink"], ground, 0.8), ground) >= 4.5  # soft texts of a drawing
        assert _contrast(_mixed(colours["ink"], ground, 0.55), ground) >= 3.0  # hatching


def test_a_cut_down_typeface_keeps_widths_and_outlines() -> None:
    """Glyphs, advances and outlines equal those of the whole file; composite letters bring their parts."""
    whole = face("regular")
    codes = [ord(each) for each in "AéÅΩ g%0"]
    small = read_face(subset(whole, codes, "Test"))
    assert {code: whole.glyphs[code] for code in codes} == small.glyphs
    places = small.table("loca")
    old_places = whole.table("loca")
    for glyph in small.glyphs.values():
        assert small.advances[glyph] == whole.advances[glyph]
        start, end = struct.unpack_from(">II", places, 4 * glyph)
        old_start, old_end = struct.unpack_from(">II", old_places, 4 * glyph)
        original = whole.table("glyf")[old_start:old_end]
        assert small.table("glyf")[start : start + len(original)] == original
        assert end - start >= len(original)
    assert len(small.data) < len(whole.data) / 10
    checksum = sum(struct.unpack(f">{len(small.data) // 4}I", small.data)) & 0xFFFFFFFF
    assert checksum == 0xB1B0AFBA  # the sum the specification asks of a whole file


def test_the_page_carries_every_letter_it_shows() -> None:
    """Each character of the page that a shipped typeface has is in one of the faces the page carries."""
    text = page()
    faces = [read_face(base64.b64decode(data)) for data in re.findall(r"base64,([A-Za-z0-9+/=]+)", text)]
    assert len(faces) >= 2
    shown = set("".join(Tree(text).text)) - {"\n"}
    missing = {each for each in shown if not any(ord(each) in one.glyphs for one in faces)}
    assert missing == set()


def test_elements_escape_plain_text_only() -> None:
    """Html stays as it is, everything else becomes text; a number keeps its unit on the line."""
    assert el("p", "410 Ω or 2 Volt, 3 %.") == "<p>410\u00a0Ω or 2 Volt, 3\u00a0%.</p>"
    assert el("p", "<b>", Html("<i></i>"), title='"<') == '<p title="&quot;&lt;">&lt;b&gt;<i></i></p>'


def test_parts_are_told_with_bands_and_code() -> None:
    """4.42 kΩ ±1 % is yellow yellow red brown brown and 4K42F (IEC 60062)."""
    one = truck(("a", "b"))
    contacts = (one.contacts[0], replace(one.contacts[1], resistor=resistor(None, "contact.b.resistor")))
    first, second = parts_of(replace(one, contacts=contacts))
    assert (first.value, first.tolerance, first.colours, first.code) == (
        "4.42 kΩ", "±1 %", "yellow, yellow, red, brown, brown", "4K42F",
    )  # fmt: skip
    assert (second.value, second.colours, second.code) == ("to choose", "", "")


def test_drifts_are_told_in_plain_sentences() -> None:
    """Both ways, with and without a false command, and where a range is already too wide."""
    row = situation(("up",), ("up",), 0.4, 0.5, Verdict.PASS, 0.3)
    told = drift_sentence(budget("contact.up.closed", "up", 410.0, 1200.0, "down"), row)
    assert told == (
        "With up operated, contact resistance of up (closed) may rise to 410 Ω, and it still works "
        "(counted on: up to 50 Ω); above 1.2 kΩ it can be taken for down."
    )
    assert "may only rise to 20 Ω, less than is counted on" in drift_sentence(
        budget("contact.up.closed", "up", 20.0, None), row
    )
    assert "this works however far it falls" in drift_sentence(budget("contact.up.open", "down", None, None), row)
    assert "below 8 kΩ it can be taken for down" in drift_sentence(
        budget("line.taps.leak_to_ground", "down", None, 8000.0, "down"), row
    )
    assert "above that it can be taken for down" in drift_sentence(
        budget("line.taps.wire", "up", 300.0, 300.0, "down"), row
    )


def test_a_repeated_cure_is_told_once() -> None:
    """Five contacts of the same kind need one cure, told after the last; ids between backticks are set apart."""
    one, proof = made()
    found = tuple(
        replace(proof.lines[0].findings[0], subject=f"c{number}", text=f"`c{number}` is dry.", cure="Use `gold`.")
        for number in range(5)
    )
    text = report_html(one, replace(proof, lines=(replace(proof.lines[0], findings=found),)))
    assert_sound(text)
    assert text.count("Cure: Use <code>gold</code>.") == 1
    assert all(f"<code>c{number}</code> is dry." in text for number in range(5))


@pytest.mark.parametrize(
    ("verdict", "allowed", "wanted"),
    [
        (Verdict.FAIL, ("up",), "but up is from 40 to 50 %: it can be taken for down."),
        (Verdict.NOT_SHOWN, ("up",), "it can be taken for down, as far as the numbers show."),
        (Verdict.PASS, ("up",), "inside, margin 10 %."),
        (Verdict.FAIL, ("idle", "invalid"), "it can be taken for up, which nobody asked for."),
        (Verdict.NOT_SHOWN, ("idle", "invalid"), "whether it can be taken for up is not shown."),
        (Verdict.PASS, ("idle", "invalid"), "clear of it, margin 10 %."),
    ],
)
def test_the_deciding_situation_is_told(verdict: Verdict, allowed: tuple[str, ...], wanted: str) -> None:
    """What it reads, against what, and what that does to the driver."""
    one = truck(("a",))
    row = situation(("a",), allowed, 0.41, 0.45, verdict, 0.1, window="up", reads_as=("up", "down", "invalid"))
    told = worst_sentence(row, axis_of(one, one.lines[0], None, "as given"), (window("up", 0.4, 0.5, 0.0),))
    assert told.startswith("With a operated, the pin reads 41 to 45 %")
    assert told.endswith(wanted)
