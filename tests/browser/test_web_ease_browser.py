"""The pages for a tired hand: answered by keys, pressed by thumb, read at twice the size, the focus always seen."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.test_web_browser import AT_REST, opened, tab_to, until
from tests.browser.test_web_truck_side import nominal_kohm

if TYPE_CHECKING:
    from playwright.sync_api import Page

THUMB_PX = 44.0  # WCAG 2.2, success criterion 2.5.5
PAGES = (
    "/", "/new", "/d/heron/chain", "/d/heron/truck", "/d/heron/proof", "/d/heron/faults", "/d/heron/inhibit",
    "/d/heron/harness", "/d/heron/gears", "/d/heron/meter", "/d/heron/find", "/d/heron/log", "/d/heron/downloads",
    "/d/heron/drawer", "/instrument",
)  # fmt: skip
TOO_SMALL = """least => [...document.querySelectorAll('a,button,input,select,summary,textarea')].filter((each) => {
  const style = getComputedStyle(each), box = each.getBoundingClientRect();
  if (!box.width || box.left < -500 || style.opacity === '0' || each.closest('.unseen, thead')) return false;
  if (['radio', 'checkbox', 'range'].includes(each.type)) return false; // their label is what is pressed
  const inText = each.tagName === 'A' && style.display === 'inline' &&
    each.parentElement.textContent.trim().length > each.textContent.trim().length + 12;
  return !inText && box.height < least - 0.5;
}).map((each) => `${each.tagName} ${each.textContent.trim().slice(0, 30)} ${each.getBoundingClientRect().height}`)"""
STICKS_OUT = """() => [...document.querySelectorAll('main *, header *, footer *')].filter((each) => {
  if (each.closest('.unseen, thead, svg, .roll, pre, textarea, .skip')) return false;
  const style = getComputedStyle(each), box = each.getBoundingClientRect();
  return box.width > 0 && (box.right > innerWidth + 1 ||
    (each.tagName !== 'INPUT' && ['hidden', 'clip'].includes(style.overflowX) &&
      each.scrollWidth > each.clientWidth + 1));
}).map((each) => `${each.tagName} ${each.className} ${each.textContent.trim().slice(0, 30)}`)"""
HIDDEN_FOCUS = """() => {
  const each = document.activeElement;
  if (!each || each === document.body) return '';
  const seen = getComputedStyle(each).opacity === '0' ? each.parentElement : each, box = seen.getBoundingClientRect();
  if (box.height > innerHeight * 0.7) return '';
  const at = [[box.left + box.width / 2, box.top + box.height / 2], [box.left + 6, box.top + 4],
    [box.left + 6, box.bottom - 4]];
  const hidden = at.filter(([x, y]) => {
    const top = document.elementFromPoint(x, y);
    return !top || !(seen.contains(top) || top.contains(seen));
  });
  return hidden.length > 1 ? `${each.tagName} ${each.name ?? ''} ${each.textContent.trim().slice(0, 30)}` : '';
}"""
OPEN_ALL = "document.querySelectorAll('details').forEach((each) => { each.open = true; })"
CUT_MARKERS = """() => [...document.querySelectorAll('.fold:not([open]) > summary')].filter((each) =>
  parseFloat(getComputedStyle(each).paddingLeft) + parseFloat(getComputedStyle(each).textIndent) < 0).length"""


def focus_is_seen(page: Page, presses: int, key: str = "Tab") -> None:
    """Press a key so often; whatever has the focus is not covered and not out of sight."""
    for _ in range(presses):
        page.keyboard.press(key)
        hidden = page.evaluate(HIDDEN_FOCUS)
        assert hidden == "", f"{page.url}: {hidden}"


@pytest.mark.browser
def test_a_driveline_is_answered_by_keys(browser: Any, pages_at: Callable[..., Any]) -> None:
    """What is wrong is told at its field while one types; what is open is kept; the last answer brings the result."""
    served = pages_at("heron")
    path = served.folder / "heron.toml"
    before = tomllib.loads(path.read_text(encoding="utf-8"))
    context, page, _, said = opened(browser)

    def type_into(name: str, text: str) -> None:
        tab_to(page, f'[name="set:{name}"]', most=200)
        page.keyboard.press("Control+A")
        page.keyboard.type(text)

    with context:
        page.goto(f"{served.address}/d/heron/gears")
        type_into("drive.tyre.size", "35x12.50R17")
        type_into("drive.axle.ratio", "4,1x")
        page.wait_for_selector('[name="set:drive.axle.ratio"][aria-invalid]')
        place = page.locator('[name="set:drive.axle.ratio"]').get_attribute("aria-describedby")
        assert place is not None and "4,1x" in page.locator(f"#{place.split()[-1]}").inner_text()
        page.keyboard.press("Control+A")
        page.keyboard.type("4.10")
        page.wait_for_selector('[name="set:drive.axle.ratio"]:not([aria-invalid])')
        type_into("drive.gear", "3.1, 1.8, 1")
        until(page, "document.querySelector('[data-summary]').textContent === '1 of 4 open'")
        assert '#ratio = "4.10"' in page.locator("[data-written]").text_content()
        with page.expect_navigation():
            page.keyboard.press("Enter")
        text = path.read_text(encoding="utf-8")
        assert tomllib.loads(text) == before and '#ratio = "4.10"' in text
        type_into("drive.engine.most", "5500 rpm")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert "drive" in tomllib.loads(path.read_text(encoding="utf-8"))
        assert page.locator("#speeds").count() == 1 and page.locator("#begin").count() == 0
        assert said == []


@pytest.mark.browser
def test_a_thumb_finds_everything_also_at_twice_the_text(browser: Any, pages_at: Callable[..., Any]) -> None:
    """On a phone what is pressed is large enough, and the signs of what opens are not cut off.

    With the browser's own text size doubled (WCAG 2.2, 1.4.4) no page is wider than the window and no text is cut.
    """
    served = pages_at("heron")
    context, page, _, _ = opened(browser, 390)
    with context:
        session = context.new_cdp_session(page)
        session.send("Page.enable")
        for path in PAGES:
            page.goto(served.address + path)
            page.evaluate(AT_REST)
            assert page.evaluate(CUT_MARKERS) == 0, path
            page.evaluate(OPEN_ALL)
            assert page.evaluate(TOO_SMALL, THUMB_PX) == [], path
            session.send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
            assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
            assert page.evaluate(STICKS_OUT) == [], path
            session.send("Page.setFontSizes", {"fontSizes": {"standard": 16, "fixed": 13}})


@pytest.mark.browser
def test_what_has_the_focus_is_seen(browser: Any, pages_at: Callable[..., Any]) -> None:
    """By Tab there and back: not behind the bar at the edge, not in a head of a table that a phone hides."""
    served = pages_at("heron")
    context, page, _, _ = opened(browser, 390)
    with context:
        for name in ("faults", "find", "gears"):
            page.goto(f"{served.address}/d/heron/{name}")
            page.evaluate(AT_REST)
            page.evaluate(OPEN_ALL)
            page.wait_for_load_state("networkidle")
            focus_is_seen(page, 24)
            focus_is_seen(page, 8, "Shift+Tab")


@pytest.mark.browser
def test_the_second_word_is_in_reach(browser: Any, pages_at: Callable[..., Any]) -> None:
    """A wrong reading that is kept asks once more, and says so where the thumb is."""
    served = pages_at("heron")
    context, page, _, _ = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/d/heron/meter?at=shift/ohms/manual")
        off = float(nominal_kohm(page, served.address, "shift/ohms/manual")) * 0.7
        page.fill("#typed", f"{off:.3f}")
        page.click(".units label:has-text('kΩ')")
        page.wait_for_selector("[data-sure] input:visible")
        with page.expect_navigation():
            page.click(".thumb .go")
        page.evaluate("scrollTo(0, 0)")
        told = page.locator(".tick:has-text('Not kept yet')")
        box = told.bounding_box()
        assert box is not None and box["y"] + box["height"] <= 844.0 and box["height"] >= THUMB_PX
        told.click()
        with page.expect_navigation():
            page.click(".thumb .go")
        kept = page.request.get(f"{served.address}/d/heron/record.json").json()["readings"]
        assert len(kept) == 1
