"""The report in a real browser: texts are as wide as they were measured, nothing overflows, no request leaves it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pinproof.pack import report_html
from tests.first_principles.test_drawings_cases import made

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MEASURED = """() => [...document.querySelectorAll('svg.pp-drawing text')]
    .filter(each => each.getClientRects().length)
    .map(each => {
        const wanted = parseFloat(each.getAttribute('textLength'));
        each.removeAttribute('textLength');
        return [each.textContent, wanted, each.getComputedTextLength()];
    })"""


@pytest.mark.browser
@pytest.mark.parametrize("width", [1000, 390])
def test_page_in_a_browser(browser: Browser, tmp_path: Path, width: int) -> None:
    """The carried typeface gives the measured widths to 1 % and 0.1 mm (hinting rounds a little)."""
    one, proof = made()
    path = tmp_path / "report.html"
    path.write_text(report_html(one, proof), encoding="utf-8")
    with browser.new_context(viewport={"width": width, "height": 800}, java_script_enabled=True) as context:
        page = context.new_page()
        asked: list[str] = []
        said: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.goto(path.as_uri())
        page.evaluate("() => document.fonts.ready.then(() => 1)")
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
        assert said == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate("[...document.fonts].map(font => font.status)") == ["loaded", "loaded"]
        texts = page.evaluate(MEASURED)
        assert len(texts) > 40
        for text, wanted, found in texts:
            assert found == pytest.approx(wanted, rel=0.01, abs=0.1), text


@pytest.mark.browser
def test_only_one_layout_is_shown(browser: Browser, tmp_path: Path) -> None:
    """A wide window and paper show the wide charts, a phone the narrow ones."""
    one, proof = made()
    path = tmp_path / "report.html"
    path.write_text(report_html(one, proof), encoding="utf-8")
    shown = (
        "[...document.querySelectorAll('figure > div')].filter(each => each.offsetHeight).map(each => each.className)"
    )
    for width, media, wanted in ((1000, "screen", "wide"), (390, "screen", "narrow"), (390, "print", "wide")):
        with browser.new_context(viewport={"width": width, "height": 800}) as context:
            page = context.new_page()
            page.emulate_media(media=media)  # type: ignore[arg-type]
            page.goto(path.as_uri())
            assert set(page.evaluate(shown)) == {wanted}
