"""One newcomer's whole way, in a browser: from an empty folder to a book in hand, a reading and a found fault."""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pinproof.web.routes import PAGES as ROUTES
from tests.browser.test_web_browser import AT_REST, opened, tab_to, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

PULL = "set:input.tap_pin.pull_up"
MOST_S = 240.0
PUT_AWAY = """[...document.querySelectorAll('details.fold:not([open]) p, details.fold:not([open]) th[scope=row]')].find(
    (each) => each.textContent.trim().length > 12 &&
      !each.closest('.wrong, .tablebar, details:not(.fold)')).textContent"""


def squeezed(text: str) -> str:
    """Without blanks: what a line or a column broke is whole again."""
    return re.sub(r"\s+", "", text)


def press(page: Page, selector: str, most: int = 400) -> None:
    """Tab there, Enter, and the next page."""
    tab_to(page, selector, most)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def worked(page: Page) -> None:
    """Wait until the long work of this page is over and its page has come back by itself."""
    end = time.monotonic() + MOST_S
    while page.locator("[data-job]").count():
        assert time.monotonic() < end
        page.wait_for_timeout(300)


def printed_text(pdftoppm_path: str, pdf: Path) -> str:
    """The words of a PDF, by the program that comes with pdftoppm."""
    program = Path(pdftoppm_path).with_name(Path(pdftoppm_path).name.replace("pdftoppm", "pdftotext"))
    done = subprocess.run([str(program), "-layout", str(pdf), "-"], capture_output=True, check=True)
    return " ".join(done.stdout.decode("utf-8").split())


@pytest.mark.browser
@pytest.mark.slow
def test_from_an_empty_folder_to_a_book_and_a_found_fault(
    browser: Any, pages_at: Callable[..., Any], pdftoppm_path: str, tmp_path: Path
) -> None:
    """Interview with open answers, chain, pin, values, proof, book, reading, search; by keys where one would."""
    served = pages_at()
    context, page, asked, said = opened(browser)
    with context:
        page.set_default_timeout(90_000)
        page.goto(f"{served.address}/")
        assert "Nothing here yet" in page.inner_text("main")
        press(page, 'a[href="/new"]')

        # the interview: what is not known stays open; questions that the answers make idle go away
        tab_to(page, "#q-name")
        page.keyboard.type("Dune truck")
        tab_to(page, '[name="switched"]')
        page.keyboard.press("ArrowDown")  # round from "don't know", the last one, to the first
        page.keyboard.press("ArrowDown")
        assert page.locator('[name="switched"]:checked').get_attribute("value") == "chassis"
        page.wait_for_selector('[data-question="compares"]', state="hidden")
        tab_to(page, "#q-list")
        page.keyboard.type("up 13")
        page.keyboard.press("Tab")
        page.wait_for_selector("#wrong-list:has-text('of what?')")
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Control+A")
        page.keyboard.type("up 10 to 25 %, down 30 to 50 %, manual 55 to 75 %")
        page.keyboard.press("Tab")
        page.wait_for_selector("#wrong-list", state="hidden")
        page.wait_for_selector('[data-question="whose"]', state="visible")
        page.check('[name="whose"][value="measured"]')
        tab_to(page, "#q-file")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.url.endswith("/d/dune-truck/chain")
        first = page.locator(".deed").all_inner_texts()
        assert any("pull-up inside tap_pin" in each for each in first), "the chain says what to find out first"
        page.reload()
        assert page.locator(".deed").all_inner_texts() == first

        # the pin: measured, typed, seen, saved
        press(page, 'nav a[href$="/truck"]:not([aria-current])')
        page.fill(f'[name="{PULL}"]', "1 kohm")
        page.wait_for_selector(f'[name="{PULL}"][aria-invalid]')  # a pull wants its tolerance, and says so
        with page.expect_navigation():
            page.locator("form.beside button").first.press("Enter")
        assert (
            "What you typed is still here" in page.inner_text("main")
            and page.input_value(f'[name="{PULL}"]') == "1 kohm"
        )
        page.fill(f'[name="{PULL}.tolerance"]', "5 %")
        page.select_option('[name="basis:input.tap_pin.pull_up"]', "measured")
        page.wait_for_selector("#live[data-turn]")
        with page.expect_navigation():
            page.locator("form.beside button").first.press("Enter")
        text = (served.folder / "dune-truck.toml").read_text(encoding="utf-8")
        assert 'pull_up = { value = "1 kohm"' in text and "# Wheels chocked" in text, "comments stay"

        # values
        page.goto(f"{served.address}/d/dune-truck/choose")
        with page.expect_navigation():
            page.locator('form[action$="/choose/run"] button').press("Enter")
        page.reload()  # in the middle of the work: it goes on
        worked(page)
        assert "to choose" in text
        with page.expect_navigation():
            page.locator('form[action$="/choose/write"] button').press("Enter")
        chosen = (served.folder / "dune-truck.toml").read_text(encoding="utf-8")
        assert "to choose" not in re.sub(r"#.*", "", chosen)

        # proof
        page.goto(f"{served.address}/d/dune-truck/proof")
        word = page.locator(".answer .word").inner_text()
        assert re.search(r"holds|fail|would hold", word, re.IGNORECASE), word
        assert page.locator("tbody tr[data-row]").count() >= 4
        papers = {}
        for name in ("chain", "proof"):
            page.goto(f"{served.address}/d/dune-truck/{name}")
            page.evaluate(AT_REST)
            page.wait_for_load_state("networkidle")
            papers[name] = tmp_path / f"{name}.pdf"
            papers[name].write_bytes(page.pdf(format="A4"))

        # book
        press(page, 'nav a[href$="/downloads"]')
        with page.expect_navigation():
            page.locator('form[action$="/downloads/make"] button').first.press("Enter")
        worked(page)
        with page.expect_download() as waiting:
            page.click("a:has-text('book.pdf')")
        book = tmp_path / "book.pdf"
        waiting.value.save_as(book)
        assert book.read_bytes()[:5] == b"%PDF-" and waiting.value.suggested_filename == "dune-truck-book.pdf"
        assert "Dune truck" in printed_text(pdftoppm_path, book)

        # a reading
        page.goto(f"{served.address}/d/dune-truck/meter?at=taps/ohms/lever_manual")
        should = page.locator(".should").inner_text()
        nominal = next(
            each["nominal"]
            for each in page.request.get(f"{served.address}/d/dune-truck/meter.json").json()["stations"]
            if each["station"] == "taps/ohms/lever_manual"
        )
        shown = f"{nominal / 1e3:.4f}"
        page.fill("#typed", shown)
        page.click(".units label:has-text('kΩ')")
        page.wait_for_selector("[data-said] .outcome")
        page.reload()
        assert page.input_value("#typed") == "" and page.locator(".should").inner_text() == should
        page.locator("#typed").focus()
        page.keyboard.type(shown)
        tab_to(page, '[name="unit"]')
        page.keyboard.press("ArrowRight")
        assert page.locator('[name="unit"]:checked').get_attribute("value") == "k"
        with page.expect_navigation():
            page.keyboard.press("Enter")
        kept = page.request.get(f"{served.address}/d/dune-truck/record.json").json()["readings"]
        assert len(kept) == 1

        # a fault
        page.goto(f"{served.address}/d/dune-truck/find")
        with page.expect_navigation():
            page.locator("button.go").press("Enter")
        assert page.locator("h1.what").inner_text()

        assert [each for each in said if "status of 422" not in each] == []  # the save without a tolerance was refused
        assert [url for url in asked if not url.startswith((served.address, "blob:", "data:"))] == []
    for name, wanted in (("chain", "From switch to repair"), ("proof", "Every situation")):
        printed = printed_text(pdftoppm_path, papers[name])
        assert wanted in printed and "Dune truck" in printed, name
        assert "Save into" not in printed and "Undo" not in printed, name


@pytest.mark.browser
def test_the_proof_begins_short_on_a_phone(browser: Any, pages_at: Callable[..., Any]) -> None:
    """Verdict and the weakest situation first; the rest stands behind headings that open; on paper all is open."""
    served = pages_at("heron")
    context, page, _, said = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/d/heron/proof")
        page.evaluate(AT_REST)
        until(page, "document.querySelectorAll('details[data-fold]').length >= 5")
        assert page.locator("details[data-fold][open]").count() == 0
        top = page.locator("#picked h3").bounding_box()
        assert top is not None and top["y"] < 844.0, "the weakest situation is on the first screen"
        height = page.evaluate("document.documentElement.scrollHeight")
        assert height < 4 * 844, height
        page.locator("details[data-fold] > summary").first.press("Enter")
        assert page.locator("details[data-fold][open]").count() == 1
    context, page, _, said = opened(browser, 1280)
    with context:
        page.goto(f"{served.address}/d/heron/proof")
        page.evaluate(AT_REST)
        assert page.locator("details[data-fold]:not([open])").count() == 0
        assert said == []


@pytest.mark.browser
@pytest.mark.parametrize("name", ["harness", "gears", "faults", "truck"])
def test_long_pages_are_short_on_a_phone(
    browser: Any, pages_at: Callable[..., Any], name: str, pdftoppm_path: str, tmp_path: Path
) -> None:
    """Headings that open; an address with a place opens that one; a wide window shows all; axe finds nothing."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("dunlin", "sandpiper")
    design = "sandpiper" if name == "gears" else "dunlin"
    wide: dict[int, float] = {}
    for width in (390, 1280):
        context, page, _, said = opened(browser, width)
        with context:
            page.goto(f"{served.address}/d/{design}/{name}")
            page.evaluate(AT_REST)
            page.wait_for_load_state("networkidle")
            closed = page.locator("details.fold:not([open])")
            assert (closed.count() > 1) == (width == 390)
            wide[width] = page.evaluate("document.documentElement.scrollHeight")
            if width == 390:
                found = Axe().run(page).response["violations"]
                assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == []
                before = closed.count()
                closed.last.locator("summary").first.press("Enter")
                assert closed.count() == before - 1
                put_away = str(page.evaluate(PUT_AWAY))
                paper = tmp_path / "page.pdf"
                paper.write_bytes(page.pdf(format="A4"))
                assert squeezed(put_away)[:12] in squeezed(printed_text(pdftoppm_path, paper)), "on paper all is open"
            assert said == []
    assert wide[390] < 8 * 844, wide
    if name == "harness":
        context, page, _, _ = opened(browser, 390)
        with context:
            page.goto(f"{served.address}/d/dunlin/harness#parts")
            page.wait_for_selector("details.fold[open] #parts")


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_on_every_page_of_the_route_list(browser: Any, pages_at: Callable[..., Any], scheme: str) -> None:
    """Whatever is added to the list is looked at without being named here; by night in US units."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("sandpiper")
    values = {"design": "sandpiper", "job": "none", "table": "friend"}
    query = {"limits": "?line=taps&knob=wear", "log-stretch": "?log=none.csv&from=0&to=1"}
    context, page, asked, _ = opened(browser, 1280, scheme)
    with context:
        page.set_default_timeout(60_000)
        if scheme == "dark":
            page.context.add_cookies([{"name": "units", "value": "us", "url": served.address}])
        looked = 0
        for one in ROUTES:
            path = re.sub(r"{(\w+)}", lambda found: values.get(found[1], "none"), one.path) + query.get(one.name, "")
            if page.request.get(served.address + path).headers.get("content-disposition"):
                continue  # a file to be saved
            page.goto(served.address + path)
            if one.name == "card":
                page.wait_for_selector(".around", timeout=90_000)
            page.evaluate(AT_REST)
            found = Axe().run(page).response["violations"]
            assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == [], one.name
            looked += 1
        assert looked >= 25
        assert [url for url in asked if not url.startswith(served.address)] == []
