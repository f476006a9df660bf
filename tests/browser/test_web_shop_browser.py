"""The shop's pages with their results, in a real browser: access, width, console, keys; long work shown and stopped."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pinproof.examples import companions
from tests.browser.test_web_browser import AT_REST, opened, tab_to
from tests.first_principles.test_inhibit_design import SWITCHED
from tests.truth.agree_logs import make_case
from tests.truth.log_designs import design_text
from tests.truth.log_files_out import write

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

LOG = "/d/sim/log?logs=day1.csv&map=day1-map.toml"
STRETCH = "/d/sim/log/stretch?logs=day1.csv&map=day1-map.toml&log=day1.csv&from=60&to=100"


def filled(folder: Path) -> None:
    """A start circuit, a simulated drive with its log and map, a borrowed table, a drawer."""
    (folder / "start.toml").write_text(SWITCHED, encoding="utf-8")
    truck, planted, logged = make_case(3, "missed")
    write(logged, folder, "day1", 3)
    (folder / "sim.toml").write_text(design_text(truck, planted), encoding="utf-8")
    for each in companions("sandpiper"):
        (folder / each.name).write_bytes(each.read_bytes())
    part = '[[part]]\nohm = "1.5k"\ntolerance = "1 %"\ncount = 4\nmeasured_ohm = "1.497k"\nmeter = "0.1 % + 2"\n'
    (folder / "drawer.toml").write_text(f"format = 1\n{part}", encoding="utf-8")


def done(page: Page, action: str, shows: str) -> None:
    """Begin long work by its button and wait until its page shows the result by itself."""
    with page.expect_navigation():
        page.locator(f'form[action$="{action}"] button:not([type])').first.click()
    page.wait_for_selector(shows, timeout=240_000)


@pytest.mark.browser
def test_results_by_day_and_night(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """Axe finds nothing on any result, no page is wider than the window, the console is silent."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("wagtail", "dunlin", "sandpiper")
    filled(served.folder)
    context, page, asked, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/wagtail/choose")
        done(page, "/choose/run", ".part svg")
        assert page.locator(".part svg").count() == 3
        page.goto(f"{served.address}/d/start/inhibit")
        done(page, "/inhibit/prove", ".loud")
        assert page.locator(".loud").count() >= 1
        page.goto(f"{served.address}/d/sim/log")
        done(page, "/log/prove", "#check-missed-tap")
        assert "missed-tap" in page.inner_text("main")
    for scheme in ("light", "dark"):
        for width in (1280, 390):
            context, page, asked, said = opened(browser, width, scheme)
            with context:
                for path in (
                    "/d/wagtail/choose", "/d/start/inhibit", "/d/dunlin/harness", "/d/sandpiper/gears",
                    "/d/wagtail/drawer",
                    LOG, STRETCH, "/d/sim/log/map?log=day1.csv", "/d/sim/log/plan",
                ):  # fmt: skip
                    page.goto(served.address + path)
                    page.evaluate(AT_REST)
                    page.evaluate("() => document.querySelectorAll('details').forEach((each) => { each.open = true; })")
                    found = Axe().run(page).response["violations"]
                    assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == [], (path, width, scheme)
                    assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
                assert said == []
                assert [url for url in asked if not url.startswith(served.address)] == []


@pytest.mark.browser
def test_long_work_is_stopped_by_key_and_nothing_is_left(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """The proof of a whole truck's start is begun and stopped without a mouse; its process ends."""
    served = pages_at("dunlin")
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/dunlin/inhibit")
        tab_to(page, 'form[action$="/inhibit/prove"] button')
        with page.expect_navigation():
            page.keyboard.press("Enter")
        page.wait_for_selector("[data-job-text]:has-text('Faults of the start circuit')", timeout=60_000)
        tab_to(page, 'form[action$="/stop"] button')
        page.keyboard.press("Enter")
        page.wait_for_selector("text=Not worked out yet for this version", timeout=20_000)
        end = time.monotonic() + 20.0
        while served.site.jobs._processes:
            assert time.monotonic() < end
            time.sleep(0.1)
        assert said == []


@pytest.mark.browser
def test_a_part_is_added_by_keys(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """Typed, refused with the reason beside it, corrected, kept; the stock is then offered for choosing."""
    served = pages_at("heron")
    context, page, _, _ = opened(browser, 390)
    with context:
        page.goto(f"{served.address}/d/heron/drawer")
        tab_to(page, "#ohm")
        page.keyboard.type("1.5kk")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert "1.5kk" in page.inner_text("[role=alert]") and page.input_value("#ohm") == "1.5kk"
        page.fill("#ohm", "1.5k")
        page.fill("#tolerance", "1 %")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert "1 resistor of 1 kind" in page.inner_text("main")
        page.click("text=Choose resistors from this drawer")
        assert page.input_value("#parts") == "drawer"


@pytest.mark.browser
def test_a_copied_table_of_wires_has_no_breaks_in_it(browser: Browser, pages_at: Callable[..., Any]) -> None:
    """What is copied pastes as columns, and the list sorts by length."""
    served = pages_at("dunlin")
    context, page, _, _ = opened(browser)
    with context:
        context.grant_permissions(["clipboard-read", "clipboard-write"])
        page.goto(f"{served.address}/d/dunlin/harness")
        table = page.locator("table", has=page.locator("caption", has_text="Wire list"))
        head = table.locator("thead th", has_text="Cut mm")
        head.locator("button").click()
        cuts = [int(each) for each in table.locator("tbody td:nth-child(4)").all_inner_texts()]
        wires = page.request.get(f"{served.address}/d/dunlin/harness.json").json()["harness"]["wires"]
        assert cuts == sorted(each["cut_mm"] for each in wires)
        table.locator("xpath=preceding-sibling::div[1]").locator("button").click()
        text = str(page.evaluate("navigator.clipboard.readText()"))
        rows = text.splitlines()
        assert len(rows) == 1 + len(wires) and rows[0].startswith("Wire\tNet\tColour, size\tCut mm\tFrom\tTo")
        assert "\u200b" not in text and all(row.count("\t") == 8 for row in rows)
