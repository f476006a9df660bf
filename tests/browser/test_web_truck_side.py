"""Meter, search, learning, record and card in a real browser: by day and night, with one thumb and with keys alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.test_web_browser import AT_REST, opened, tab_to

if TYPE_CHECKING:
    from playwright.sync_api import Page

PAPERS = {
    ("page", "light"): "rgb(252, 251, 247)", ("page", "dark"): "rgb(18, 24, 28)",
    ("card", "light"): "rgb(255, 255, 255)", ("card", "dark"): "rgb(0, 0, 0)",
}  # fmt: skip
ADDRESSES = (
    "/d/heron/meter", "/d/heron/meter?at=shift/ohms/idle", "/d/heron/meter?at=truck/eyes/all",
    "/d/heron/meter?at=shift/reported/idle", "/d/heron/meter?at=shift/volts/idle&kept=shift/ohms/manual",
    "/instrument", "/d/heron/record", "/d/heron/record?strike=1", "/d/heron/find",
    "/d/heron/find?line=shift&go=1", "/d/heron/find?line=shift&go=1&look=ohms%20idle",
    "/d/heron/find?line=shift&go=1&look=volts%20idle&did=read:ohms%20idle=OL&why=line%20sound",
    "/d/heron/find?line=shift&go=1&no=meter,display", "/d/heron/learn", "/d/heron/card",
)  # fmt: skip


def keep(page: Page, address: str, station: str, **fields: str) -> None:
    """Put one reading on record by the data side."""
    base = page.request.get(f"{address}/d/heron/meter.json").json()["hash"]
    data = {"base": base, "station": station, "sure": "yes", **fields}
    answer = page.request.post(f"{address}/d/heron/meter/keep.json", data=data)
    assert answer.ok, answer.text()


def nominal_kohm(page: Page, address: str, station: str) -> str:
    """What new parts most likely read at a station, in kilohms, as it would be typed."""
    listed = page.request.get(f"{address}/d/heron/meter.json").json()["stations"]
    ohm = next(each["nominal"] for each in listed if each["station"] == station)
    return f"{ohm / 1e3:.4f}"


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_every_state_by_day_and_night(browser: Any, pages_at: Callable[..., Any], width: int, scheme: str) -> None:
    """Axe finds nothing, nothing is wider than the window, the console is silent, only this server is asked."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("heron")
    context, page, asked, said = opened(browser, width, scheme)
    with context:
        page.set_default_timeout(60_000)
        keep(page, served.address, "shift/ohms/manual", typed="1.500", unit="k")
        keep(page, served.address, "shift/ohms/manual", typed="1.800", unit="k")
        for path in ADDRESSES:
            page.goto(served.address + path)
            if path.endswith("/card"):
                page.wait_for_selector(".around")
            page.evaluate(AT_REST)
            found = Axe().run(page).response["violations"]
            assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == [], path
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            kind = "card" if path.endswith("/card") else "page"
            assert page.evaluate("getComputedStyle(document.body).backgroundColor") == PAPERS[kind, scheme], path
        learned = Axe()
        page.goto(f"{served.address}/d/heron/learn")
        page.click("button.go")
        assert [each["id"] for each in learned.run(page).response["violations"]] == []
        assert said == []
        assert [url for url in asked if not url.startswith(served.address)] == []


@pytest.mark.browser
def test_a_reading_with_one_thumb(browser: Any, pages_at: Callable[..., Any]) -> None:
    """At 390 px: what is pressed is large, stays in reach, and the reading is judged before it is kept."""
    served = pages_at("heron")
    context, page, _, said = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/d/heron/meter?at=shift/ohms/manual")
        page.evaluate(AT_REST)
        for selector in (".units label span", ".units .key", ".thumb .go", ".thumb a.do"):
            for box in [each.bounding_box() for each in page.locator(selector).all()]:
                assert box is not None and box["height"] >= 44.0 and box["width"] >= 44.0, selector
        keep_box = page.locator(".thumb .go").bounding_box()
        assert keep_box is not None and keep_box["y"] + keep_box["height"] <= 844.0, "in reach without scrolling"
        good = nominal_kohm(page, served.address, "shift/ohms/manual")
        page.fill("#typed", "99.90")
        page.click(".units label:has-text('kΩ')")
        page.wait_for_selector("[data-said] .outcome")
        assert "wrong" in page.locator("[data-said]").inner_text()
        assert page.locator("[data-sure]").is_visible()
        from axe_playwright_python.sync_playwright import Axe

        assert [each["id"] for each in Axe().run(page).response["violations"]] == []
        page.fill("#typed", good)
        page.wait_for_selector(f"[data-said] .read:has-text('{good}k')")
        assert page.locator("[data-sure]").is_hidden()
        with page.expect_navigation():
            page.click(".thumb .go")
        assert page.locator("details.just").count() == 1
        assert page.locator("#typed").input_value() == "", "the next one is never filled in"
        assert said == []


@pytest.mark.browser
def test_enter_keeps_what_was_typed_and_never_presses_ol(browser: Any, pages_at: Callable[..., Any]) -> None:
    """Keys alone: type, Tab to the unit, Enter. The first button of the form is not OL."""
    served = pages_at("heron")
    context, page, _, _ = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/meter?at=shift/ohms/manual")
        page.locator("#typed").focus()
        good = nominal_kohm(page, served.address, "shift/ohms/manual")
        page.keyboard.type(good)
        assert page.locator("#typed").input_value() == good
        tab_to(page, '[name="unit"]')
        page.keyboard.press("ArrowRight")
        assert page.locator('[name="unit"]:checked').get_attribute("value") == "k"
        with page.expect_navigation():
            page.keyboard.press("Enter")
        kept = page.request.get(f"{served.address}/d/heron/record.json").json()["readings"]
        assert [each["text"] for each in kept] == [f"{good}k"], page.locator("main").inner_text()


@pytest.mark.browser
def test_a_search_survives_reload_and_the_way_back(browser: Any, pages_at: Callable[..., Any]) -> None:
    """Toggles, an answer, reload: the same question. Undo: the one before."""
    served = pages_at("heron")
    context, page, _, said = opened(browser, 390)
    with context:
        page.set_default_timeout(60_000)
        page.goto(f"{served.address}/d/heron/find")
        page.click("label:has-text('Water')")
        assert page.locator('[name="water"]').is_checked()
        with page.expect_navigation():
            page.click("button.go")
        first = page.locator("h1.what").inner_text()
        with page.expect_navigation():
            page.locator("button.key").first.click()
        second = page.locator("h1").first.inner_text()
        page.reload()
        assert page.locator("h1").first.inner_text() == second
        with page.expect_navigation():
            page.click("text=Undo >> nth=0")
        assert page.locator("h1.what").inner_text() == first
        assert said == []


@pytest.mark.browser
def test_the_card_is_saved_and_stands_alone(browser: Any, pages_at: Callable[..., Any], tmp_path: Any) -> None:
    """The saved file opens from the disk, with its own style and no request."""
    served = pages_at("wagtail")
    context, page, asked, said = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/d/wagtail/card")
        page.wait_for_selector(".around", timeout=90_000)
        with page.expect_download() as waiting:
            page.click("text=Save this card")
        saved = tmp_path / "card.html"
        waiting.value.save_as(saved)
        asked.clear()
        page.goto(saved.as_uri())
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
        assert said == []
