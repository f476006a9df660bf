"""The field card: one file without script, readable by day and night, usable with a thumb, on both sides of a sheet."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pinproof.design import Truck, load, loads
from pinproof.drawings import words
from pinproof.examples import NAMES, example_path
from pinproof.faults import keep_racing
from pinproof.pack import bench
from pinproof.pack.card import card_html
from pinproof.pack.card_style import DAY, NIGHT
from pinproof.pack.order import order_of
from pinproof.pack.style import PRINT
from pinproof.proof import TruckProof, prove
from pinproof.wiring import line_view
from tests.first_principles.test_report import Tree, _contrast

if TYPE_CHECKING:
    from playwright.sync_api import Browser


TARGETS = """() => [...document.querySelectorAll('a, label, summary')].filter(each => each.checkVisibility())
    .map(each => each.getBoundingClientRect()).map(box => [box.width, box.height])"""


def many_buttons(count: int, lines: int) -> str:
    """An invented truck with more situations than one sheet has room for."""
    text = example_path("wagtail").read_text(encoding="utf-8")
    head, _, rest = text.partition("[[input]]")
    body = re.sub(r"(?m)^(plug|cavity|place) = .*\n", "", "[[input]]" + rest.partition("[[place]]")[0])
    out = [head]
    for line in range(lines):
        one = body
        for name in ("button_pin", "buttons", "pod", "button_up", "button_down"):
            one = re.sub(rf'"{name}"', f'"{name}_{line}"', one)
        for more in range(count):
            one += (
                f'\n[[contact]]\nid = "spare_{more}_of_line_{line}"\nline = "buttons_{line}"\ndevice = "pod_{line}"\n'
                'kind = "normally open"\naction = "momentary"\nasks = "up"\nresistor = "1k"\n'
            )
        out.append(one)
    return "\n".join(out)


def card_of(truck: Truck, proof: TruckProof, paper: str = "a4") -> str:
    """The card of a truck."""
    views = {line.id: line_view(truck, line) for line in truck.lines}
    return card_html(truck, proof, views, paper=paper, made_on="2026-03-01")


def example(name: str) -> tuple[Truck, TruckProof]:
    """An example and its proof."""
    truck = load(example_path(name))
    return truck, prove(truck, samples=0)


@pytest.mark.parametrize("name", NAMES)
def test_the_card_is_one_sound_file(name: str) -> None:
    """No script, no address, a language, headings in order, links that lead somewhere."""
    truck, proof = example(name)
    text = card_of(truck, proof).replace('<input type="checkbox">', "")
    tree = Tree(text)
    assert text.startswith('<!doctype html>\n<html lang="en">')
    assert not any(tree.all(tag) for tag in ("script", "img", "link", "iframe"))
    assert not re.search(r"(?:src|href)=\"(?!#)|url\((?!data:font/ttf;base64,)|@import|https?://", text)
    assert not any(name.startswith("on") for _, attributes in tree.elements for name in attributes)
    idents = [attributes["id"] for _, attributes in tree.elements if "id" in attributes]
    assert len(idents) == len(set(idents))
    assert {link["href"].removeprefix("#") for link in tree.all("a")} == set(idents)
    assert len(tree.all("h1")) == 1


@pytest.mark.parametrize("name", NAMES)
def test_the_card_tells_all_that_is_needed(name: str) -> None:
    """Pins, figures of each required situation, weakest links, spares, checks, cautions, date and fingerprint."""
    truck, proof = example(name)
    text = " ".join("".join(Tree(card_of(truck, proof).replace('<input type="checkbox">', "")).text).split())
    for line in truck.lines:
        view = line_view(truck, line)
        assert bench.pin_words(view) in text
        for row in bench.required(bench.bench_rows(view)):
            assert words.operated(row.operated) in text
            assert bench.ohms(row.nominal_ohm) in text
    for each in order_of(truck, proof):
        assert f"{each.spares} × {each.what}" in text
    for told in ("Five-minute check", "Weakest links", "negative off first", "1 A or less", "Chocks", "start inhibit",
                 "2026-03-01", proof.text_hash[:12]):  # fmt: skip
        assert told in text
    assert ("no permission to race" in text) == (name not in ("sandpiper", "dunlin"))
    assert "bypass" not in text


@pytest.mark.parametrize("colours", [DAY, NIGHT, PRINT])
def test_contrast_by_day_and_night(colours: dict[str, str]) -> None:
    """Text 7:1 (WCAG 2.2, 1.4.6), lines 3:1."""
    for name in ("ink", "soft", "pass", "hold", "open", "fail"):
        assert _contrast(colours[name], colours["paper"]) >= 7.0, name
    assert _contrast(colours["line"], colours["paper"]) >= 3.0


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_the_card_on_a_phone(browser: Browser, tmp_path: Path, name: str, scheme: str) -> None:
    """390 px wide: nothing sticks out, nothing is fetched, a thumb finds every target, no rule of access is broken."""
    from axe_playwright_python.sync_playwright import Axe

    path = tmp_path / "card.html"
    path.write_text(card_of(*example(name)), encoding="utf-8")
    with browser.new_context(viewport={"width": 390, "height": 844}) as context:
        page = context.new_page()
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        page.evaluate("() => document.fonts.ready.then(() => 1)")
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        sizes = page.evaluate(TARGETS)
        assert len(sizes) > 10
        assert all(width >= 44 and height >= 44 for width, height in sizes), sizes
        colours = DAY if scheme == "light" else NIGHT
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert paper == "rgb({}, {}, {})".format(*(int(colours["paper"][i : i + 2], 16) for i in (1, 3, 5)))
        page.locator("label").first.click()
        assert page.locator("input").first.is_checked()
        found = Axe().run(page).response["violations"]
        assert [each["id"] for each in found] == []


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    "source", [*NAMES, "5 buttons on 1 line", "1 button on 4 lines", "9 buttons on 1 line", "2 buttons on 3 lines"]
)
def test_the_card_prints_on_two_sides(
    browser: Browser, pdftoppm_path: str, tmp_path: Path, source: str, paper: str
) -> None:
    """Front and back of one sheet, whatever the design; what had no room is counted."""
    if source in NAMES:
        truck, proof = example(source)
    else:
        buttons, lines = (int(each) for each in re.findall(r"\d+", source))
        truck = loads(many_buttons(buttons, lines))
        proof = prove(truck, samples=0, drift=False)
    path, pdf = tmp_path / "card.html", tmp_path / "card.pdf"
    path.write_text(card_of(truck, proof, paper), encoding="utf-8")
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(path.as_uri())
        page.pdf(path=str(pdf), prefer_css_page_size=True)
    subprocess.run([pdftoppm_path, "-gray", "-r", "20", str(pdf), str(tmp_path / "side")], check=True)
    sides = sorted(tmp_path.glob("side-*.pgm"))
    assert len(sides) == 2
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s", sides[0].read_bytes())
    assert head is not None
    wide_in = {"a4": 210.0 / 25.4, "letter": 8.5}[paper]
    assert int(head[1]) == pytest.approx(wide_in * 20.0, abs=1.5)


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
def test_the_search_opens_under_a_thumb_with_the_network_off(browser: Browser, tmp_path: Path, name: str) -> None:
    """Tapping outcomes leads from the first look to a cause and what to do, one outcome of a look open at a time."""
    path = tmp_path / "card.html"
    path.write_text(card_of(*example(name)), encoding="utf-8")
    with browser.new_context(viewport={"width": 390, "height": 844}, offline=True) as context:
        page = context.new_page()
        page.goto(path.as_uri())
        headings = page.locator("h2").all_inner_texts()
        assert headings[0] == "To keep racing"
        assert not page.locator(".end").first.is_visible()
        for _ in range(8):
            closed = page.locator(".tree details:not([open]) > summary:visible")
            before = page.locator(".tree details[open]").count()
            closed.nth(0).click()
            assert page.locator(".tree details[open]").count() == before + 1 or before > 0
            if page.locator(".end:visible").count():
                break
        end = page.locator(".end:visible").first
        assert end.is_visible()
        assert page.locator(".tree li:visible").first.inner_text().strip()
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        # Another outcome of the first look closes the one that was open.
        page.locator(".tree > div > details > summary").nth(1).click()
        assert page.locator(".tree > div > details[open]").count() == 1


@pytest.mark.parametrize("name", NAMES)
def test_what_to_unplug_is_proven(name: str) -> None:
    """The card's first words are those of the netlist: every station, and the coded wire itself."""
    truck, proof = example(name)
    text = " ".join("".join(Tree(card_of(truck, proof).replace('<input type="checkbox">', "")).text).split())
    for line in truck.lines:
        for each in keep_racing(truck, line):
            assert each.is_safe
            if each.station:
                assert f"Unplug station {each.station}. You then have only" in text
                assert not {c.id for c in truck.contacts_of(line) if c.station == each.station} & {
                    contact for operated, _ in each.left for contact in operated
                }
        kind = "manual command" if "manual" in line.meanings else "command"
        assert f"You then have no {kind}; it reads" in text
