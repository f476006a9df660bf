"""The pages in a real browser: no rule of access broken, nothing sticks out, no request leaves, keys suffice."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PAGES = (
    "/", "/new", "/d/{}/chain", "/d/{}/truck", "/d/{}/proof", "/d/{}/faults", "/d/{}/downloads", "/d/{}/history",
    "/d/{}/text",
    "/d/{}/limits?line=shift&knob=wear", "/settings", "/share", "/join", "/d/{}/nothing", "/d/none/chain",
    "/d/{}/choose", "/d/{}/drawer", "/d/{}/harness", "/d/{}/inhibit", "/d/{}/gears", "/d/{}/log", "/d/{}/log/map",
    "/d/{}/log/plan",
)  # fmt: skip
AT_REST = "() => document.fonts.ready.then(() => 1)"


def opened(browser: Browser, width: int = 1280, scheme: str = "light") -> tuple[Any, Page, list[str], list[str]]:
    """A fresh window, its page, the addresses that it asked for and what its console said."""
    context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    return context, page, asked, said


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_every_page_by_day_and_night(browser: Browser, pages_at: Callable[..., Any], width: int, scheme: str) -> None:
    """Axe finds nothing, no page is wider than the window, the console is silent, only this server is asked."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("heron")
    context, page, asked, said = opened(browser, width, scheme)
    with context:
        for path in PAGES:
            page.goto(served.address + path.format("heron"))
            page.evaluate(AT_REST)
            page.wait_for_load_state("networkidle")
            found = Axe().run(page).response["violations"]
            assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == [], path
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
            assert paper == ("rgb(252, 251, 247)" if scheme == "light" else "rgb(18, 24, 28)"), path
        path = served.folder / "heron.toml"
        text = path.read_text(encoding="utf-8")
        page.goto(f"{served.address}/d/heron/truck?saved=1")
        path.write_text(text + "# changed\n", encoding="utf-8")
        page.fill('[name="set:name"]', "Heron two")
        page.click("text=Save into heron.toml >> nth=0")
        page.wait_for_selector("text=What you changed")
        assert [each["id"] for each in Axe().run(page).response["violations"]] == []
        path.write_text(text.replace('"1.5k"', '"1k5O"'), encoding="utf-8")
        for name in ("truck", "proof", "text"):
            page.goto(f"{served.address}/d/heron/{name}")
            assert [each["id"] for each in Axe().run(page).response["violations"]] == [], name
        expected = ("status of 404", "status of 409", "status of 422")  # two of the pages are meant to be missing
        assert [text for text in said if not any(each in text for each in expected)] == []
        assert [url for url in asked if not url.startswith(served.address)] == []


@pytest.mark.browser
def test_an_edit_with_keys_only(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """From the first page to a saved value and back with undo, without a mouse."""
    served = pages_at("heron")
    path = served.folder / "heron.toml"
    before = path.read_text(encoding="utf-8")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/")
        tab_to(page, "a.big")
        page.keyboard.press("Enter")
        page.wait_for_url("**/chain")
        tab_to(page, 'nav a[href$="/truck"]:not([aria-current])')
        page.keyboard.press("Enter")
        page.wait_for_url("**/truck")
        tab_to(page, '[name="set:contact.manual.resistor"]', most=400)
        page.keyboard.press("Control+A")
        page.keyboard.type("1.69k")
        page.wait_for_selector("#live[data-turn]")
        assert "not saved" in page.locator("[data-changed]").inner_text()
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert path.read_text(encoding="utf-8") == before.replace('"1.5k"', '"1.69k"')
        tab_to(page, "[data-undo]", most=600)
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert path.read_text(encoding="utf-8") == before
        assert said == []


def until(page: Page, told: str, most_s: float = 30.0) -> None:
    """Wait until an expression is true; from outside, because the pages' policy forbids evaluation inside."""
    end = time.monotonic() + most_s
    while not page.evaluate(told):
        assert time.monotonic() < end, told
        page.wait_for_timeout(20)


def tab_to(page: Page, selector: str, most: int = 120) -> None:
    """Press Tab until the focus is on this element."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"{selector} is not reached by the Tab key")


@pytest.mark.browser
def test_two_tabs_and_an_editor(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """The second one to save sees both versions, nothing typed is lost; an open page says that the file changed."""
    served = pages_at("heron")
    path = served.folder / "heron.toml"
    context, first, _, _ = opened(browser)
    with context:
        second = context.new_page()
        for page in (first, second):
            page.goto(f"{served.address}/d/heron/truck")
        first.fill('[name="set:contact.manual.resistor"]', "1.6k")
        with first.expect_navigation():
            first.click("text=Save into heron.toml >> nth=0")
        second.fill('[name="set:contact.paddle_up.resistor"]', "300 ohm")
        second.wait_for_selector(".notice", timeout=8000)
        assert "changed meanwhile" in second.locator(".notice").inner_text()
        second.click("text=Save into heron.toml >> nth=0")
        second.wait_for_selector("text=What you changed")
        row = second.locator("tbody tr").first.inner_text()
        assert "270 ohm" in row and "300 ohm" in row
        assert '-resistor = "1.5k"' in second.locator("pre").inner_text()
        assert "300 ohm" not in path.read_text(encoding="utf-8")
        with second.expect_navigation():
            second.click("text=Put mine into the file as it is now")
        text = path.read_text(encoding="utf-8")
        assert '"1.6k"' in text and '"300 ohm"' in text and "# the paddles are latched" in text
        path.write_text(text.replace("1.6k", "1.62k"), encoding="utf-8")  # an editor
        second.wait_for_selector(".notice", timeout=8000)


@pytest.mark.browser
def test_a_fault_is_told_at_its_field(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """What cannot be read is marked and told while one types; the panel says that it is of before."""
    served = pages_at("heron")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/truck")
        box = page.locator('[name="set:contact.manual.resistor"]')
        box.fill("1k5O")
        page.wait_for_selector('[name="set:contact.manual.resistor"][aria-invalid]')
        told = page.locator(f"#{box.get_attribute('aria-describedby')}")
        assert "1k5O" in told.inner_text()
        assert page.locator("#live[data-stale]").count() == 1
        box.fill("1k5")
        page.wait_for_selector('[name="set:contact.manual.resistor"]:not([aria-invalid])')
        assert said == []


@pytest.mark.browser
def test_a_click_on_the_chart_answers(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """The situation that is clicked is told; the address holds it, so that it can be passed on."""
    served = pages_at("heron")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/proof", wait_until="networkidle")  # the chart's module is there
        page.locator(".wide .pp-row").nth(1).click()
        until(page, "document.querySelector('#picked h3').textContent.startsWith('manual, ')")
        assert "situation=" in page.url
        page.reload()
        assert page.locator("#picked h3").inner_text().startswith("manual, ")
        page.locator('[data-pick$="/"]').focus()
        page.keyboard.press("Enter")
        until(page, "document.querySelector('#picked h3').textContent.startsWith('nothing operated')")
        assert page.evaluate("document.activeElement.id") == "picked"
        assert said == []


@pytest.mark.browser
def test_a_slider_shows_when_a_meaning_is_lost(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """By key: as contacts wear, up is lost at the step that is marked, and not before."""
    served = pages_at("sandpiper")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/sandpiper/proof")
        page.wait_for_selector('[data-region="limits-wear"] b')
        marked = page.locator('[data-region="limits-wear"] b').first.inner_text().replace("\u00a0", " ")
        slider = page.locator("#knob-wear")
        slider.focus()
        live = page.locator("#live")
        for _ in range(12):
            held = "pass" in live.locator(".said").first.inner_text()
            if not held:
                break
            turn = live.get_attribute("data-turn")
            page.keyboard.press("ArrowRight")
            until(page, f"(document.querySelector('#live').dataset.turn ?? null) !== {json.dumps(turn)}")
        assert not held
        assert page.locator('output[for="knob-wear"]').inner_text() == marked
        assert slider.get_attribute("aria-valuetext") == marked
        assert said == []


@pytest.mark.browser
def test_tables_sort_and_say_so(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """A heading is a button; the order is told to a screen reader."""
    served = pages_at("heron")
    context, page, _, _ = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/proof")
        table = page.locator("table", has=page.locator("[data-row]"))
        head = table.locator("thead th").nth(2)
        head.locator("button").focus()
        page.keyboard.press("Enter")
        assert head.get_attribute("aria-sort") == "ascending"
        cells = table.locator("tbody td:nth-child(3)").all_inner_texts()
        numbers = [float(each.split()[0]) for each in cells]
        assert numbers == sorted(numbers) and len(numbers) == 5


@pytest.mark.browser
def test_a_guest_joins_with_a_clean_address(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """The token is posted and leaves the address; nothing that was asked for holds it."""
    served = pages_at("heron", shared=("127.0.0.1",))
    token = served.site.sessions.token()
    context, page, asked, _ = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/join")
        assert "This device is in" in page.inner_text("main")  # this machine needs no token
        answer = page.request.post(f"{served.address}/join/token.json", data={"token": token})
        assert answer.ok
        assert served.site.sessions.guests == 1
        assert not any(token in url for url in asked)


@pytest.mark.browser
def test_pages_without_script(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """Without scripts every page still shows its result, and the form saves."""
    served = pages_at("heron")
    with browser.new_context(java_script_enabled=False) as context:
        page = context.new_page()
        page.goto(f"{served.address}/d/heron/proof?wear=3&line=shift")
        assert "What if, not as the file states" in page.inner_text("#live")
        page.goto(f"{served.address}/d/heron/truck")
        page.fill('[name="set:name"]', "Heron two")
        page.click("text=Save into heron.toml >> nth=0")
        assert 'name = "Heron two"' in (served.folder / "heron.toml").read_text(encoding="utf-8")


@pytest.mark.browser
def test_the_band_fills_by_itself(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """A page opened first shows the chain's verdicts as soon as they are worked out, told by shape and word."""
    served = pages_at("heron")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/text")
        page.wait_for_selector(".wire .w-fail")
        assert page.locator(".wire li").count() == 9
        assert "wire, fail" in page.locator(".wire .w-fail").first.inner_text().replace("\n", "")
        assert said == []
