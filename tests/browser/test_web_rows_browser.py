"""Rows in a real browser: shift lines added on a phone, judged while one types; readings sorted by their time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pinproof.design.drive_rows import rows_of
from tests.browser.test_web_browser import AT_REST, opened
from tests.browser.test_web_ease_browser import STICKS_OUT, THUMB_PX, TOO_SMALL
from tests.test_web_record import measured

ROW = "drive.shift.+2."


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_a_line_is_added_judged_and_saved(browser: Any, pages_at: Callable[..., Any], width: int, scheme: str) -> None:
    """One more row, a speed without its unit, then with it: told at its box, then what comes of it; then saved."""
    from axe_playwright_python.sync_playwright import Axe

    served = pages_at("sandpiper")
    path = served.folder / "sandpiper.toml"
    context, page, asked, said = opened(browser, width, scheme)
    with context:
        page.goto(f"{served.address}/d/sandpiper/gears/lines")
        page.click("text=One more shift line")
        assert page.evaluate("document.activeElement.name") == f"set:{ROW}from"
        page.select_option(f'[name="set:{ROW}from"]', "2")
        page.select_option(f'[name="set:{ROW}to"]', "1")
        assert page.get_attribute(f'[name="set:{ROW}at"]', "placeholder") == "80 km/h"
        page.fill(f'[name="set:{ROW}at"]', "90")
        page.wait_for_selector(f'[name="set:{ROW}at"][aria-invalid="true"]')
        assert "90 km/h" in page.locator('[id$="new2-at-wrong"]').inner_text()
        page.evaluate(AT_REST)
        assert [(each["id"], each["nodes"][0]["html"][:200]) for each in Axe().run(page).response["violations"]] == []
        assert page.evaluate(STICKS_OUT) == []
        if width < 400:
            assert page.evaluate(TOO_SMALL, THUMB_PX) == []
        page.fill(f'[name="set:{ROW}at"]', "90 km/h")
        page.wait_for_selector('[data-summary]:has-text("1 row added")')
        assert "2 → 1" in page.locator("[data-outcome]").inner_text(), "it would over-speed, and is told before a save"
        page.locator("details:has([data-written])").evaluate("each => { each.open = true; }")
        assert 'road = "90 km/h"' in page.locator("[data-written]").inner_text()
        with page.expect_navigation():
            page.click(".at-end button")
        assert page.url.endswith("/d/sandpiper/gears?saved=1")
        assert "1 row added" in page.locator(".saved").inner_text()
        assert "Unsafe: down line, 2 → 1" in page.locator(".answer .word").first.inner_text()
        assert rows_of(path.read_text(encoding="utf-8"))[5].texts["at"] == "90 km/h"
        assert said == [] and [url for url in asked if not url.startswith(served.address)] == []


@pytest.mark.browser
def test_readings_are_sorted_by_their_time(browser: Any, pages_at: Callable[..., Any]) -> None:
    """A press on "Taken" puts the earliest first, another one the latest, also within one minute of one year."""
    served = pages_at("heron")
    measured(
        served.folder, ("2026-03-01T10:00:05Z", 1500.0, "1.500k"), ("2026-03-06T10:00:00Z", 1501.0, "1.501k"),
        ("2026-03-01T10:00:40Z", 1502.0, "1.502k"),
    )  # fmt: skip
    context, page, _, said = opened(browser)
    with context:
        page.goto(f"{served.address}/d/heron/record")
        table = page.locator("table", has=page.locator("th:has-text('Taken')"))
        orders = []
        for _ in range(2):
            table.locator("th:has-text('Taken') button").click()
            orders.append([each.split()[0] for each in table.locator("tbody td[data-label='Read']").all_inner_texts()])
        assert orders == [["1.500k", "1.502k", "1.501k"], ["1.501k", "1.502k", "1.500k"]]
        assert said == []
