"""One newcomer's whole way, in a browser: from an empty folder to a book in hand, a reading and a found fault."""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.test_web_browser import AT_REST, opened, tab_to, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

PULL = "set:input.tap_pin.pull_up"
MOST_S = 240.0


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
    """Interview with open answers, chain, pin, values, proof, book, reading, search; by keys where one would use them."""
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
        page.keyboard.type("up 13 to 23 %, down 31 to 40 %, manual 48 to 58 %")
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
        page.select_option('[name="basis:input.tap_pin.pull_up"]', "measured")
        page.wait_for_selector("#live[data-turn]")
        tab_to(page, f'[name="{PULL}"], form.beside button')
        with page.expect_navigation():
            page.locator("form.beside button").first.press("Enter")
        text = (served.folder / "dune-truck.toml").read_text(encoding="utf-8")
        assert "1 kohm" in text, page.inner_text("main")[:1500]
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
        page.fill("#typed", f"{nominal:.1f}")
        page.wait_for_selector("[data-said] .outcome")
        page.reload()
        assert page.input_value("#typed") == "" and page.locator(".should").inner_text() == should
        page.locator("#typed").focus()
        page.keyboard.type(f"{nominal:.1f}")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        kept = page.request.get(f"{served.address}/d/dune-truck/record.json").json()["readings"]
        assert len(kept) == 1

        # a fault
        page.goto(f"{served.address}/d/dune-truck/find")
        with page.expect_navigation():
            page.locator("button.go").press("Enter")
        assert page.locator("h1.what").inner_text()

        assert said == []
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
