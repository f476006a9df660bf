"""The pages as HTML: all there, every link and anchor leads somewhere, no network, nothing wider than the screen."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tools.site import build, order, page

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = build.ROOT


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder, built once."""
    folder = tmp_path_factory.mktemp("site") / "pages"
    build.build(folder)
    return folder


def test_every_page_of_the_project_is_in_the_order() -> None:
    """README, changes and everything in docs, each once."""
    listed = order.pages()
    wanted = {path.relative_to(ROOT).as_posix() for path in (ROOT / "docs").rglob("*.md")}
    wanted |= {path.relative_to(ROOT).as_posix() for path in (ROOT / "docs").rglob("*.ipynb")}
    assert len(listed) == len(set(listed))
    assert set(listed) == wanted | {"README.md", "CHANGELOG.md"}


def test_every_link_and_anchor_leads_somewhere(site: Path) -> None:
    """Inside the folder; and nothing is loaded from a network."""
    assert build.broken(site) == []


def test_a_broken_link_is_told(site: Path, tmp_path: Path) -> None:
    """A missing file, a missing anchor, an anchor twice, something from a network: each in a sentence."""
    import shutil

    copy = tmp_path / "copy"
    shutil.copytree(site, copy)
    path = copy / "docs" / "gallery.html"
    text = path.read_text(encoding="utf-8")
    more = '<a href="nowhere.html">x</a><a href="faults.html#nothing">x</a><img src="https://example.org/x.png">'
    path.write_text(text.replace("</main>", f'{more}<p id="text"></p></main>'), encoding="utf-8")
    said = build.broken(copy)
    assert len(said) == 4
    for part in (
        "nowhere.html: there is no such file",
        "#nothing: there is no such anchor",
        "stands twice",
        "a network",
    ):
        assert any(part in each for each in said), part


def test_a_folder_with_other_files_is_left_alone(tmp_path: Path) -> None:
    """Only what this wrote is written anew."""
    (tmp_path / "mine.txt").write_text("x", encoding="utf-8")
    with pytest.raises(build.Occupied, match="holds other files"):
        build.build(tmp_path)
    assert [each.name for each in tmp_path.iterdir()] == ["mine.txt"]
    assert build.main(["-o", str(tmp_path)]) == 2


def test_the_same_project_gives_the_same_pages(site: Path, tmp_path: Path) -> None:
    """Built twice, into a folder that holds an earlier build: the same bytes, and nothing left over."""
    folder = tmp_path / "again"
    build.build(folder)
    (folder / "old.html").write_text("x", encoding="utf-8")
    build.build(folder)
    files = sorted(each.relative_to(folder) for each in folder.rglob("*") if each.is_file())
    assert files == sorted(each.relative_to(site) for each in site.rglob("*") if each.is_file())
    assert [name for name in files if (folder / name).read_bytes() != (site / name).read_bytes()] == []


@pytest.mark.parametrize(
    ("heading", "anchor"),
    [("## [[line.window]]", "linewindow"), ("## 1. The `source` behind the pin", "1-the-source-behind-the-pin"),
     ("## Units, words_and more", "units-words_and-more")],
)  # fmt: skip
def test_headings_have_the_anchors_that_links_expect(heading: str, anchor: str) -> None:
    """As hosts of repositories make them; a second one gets a number."""
    made = page.rendered("docs/gallery.md", f"{heading}\n\n{heading}\n")
    assert re.findall(r'<h2 id="([^"]+)"', made.body) == [anchor, f"{anchor}-1"]


def test_links_go_to_pages_and_files() -> None:
    """A page becomes HTML, a file comes along, the world outside is left alone."""
    made = page.rendered(
        "docs/find.md", "[a](faults.md#words) [b](../README.md) [c](gallery/x.pdf) [d](https://x.y) [e](#e)"
    )
    assert re.findall(r'href="([^"]+)"', made.body) == [
        "faults.html#words", "../index.html", "gallery/x.pdf", "https://x.y", "#e",
    ]  # fmt: skip
    assert made.files == {"docs/gallery/x.pdf"}


def test_the_search_knows_commands_keys_checks_and_headings(site: Path) -> None:
    """Its index names them with the place they stand at."""
    text = (site / "search-index.js").read_text(encoding="utf-8")
    listed, finds = (json.loads(each) for each in re.findall(r"=(.*);\n", text))
    at = {(words, listed[number][1], anchor) for words, number, anchor in finds}
    for wanted in [("prove", "docs/reference/commands.html", "prove"),
                   ("--samples", "docs/reference/commands.html", "prove--samples"),
                   ("taps_fed", "docs/reference/design-file.html", "line-taps_fed"),
                   ("pin-span", "docs/reference/checks.html", "log-pin-span"),
                   ("DesignFault", "docs/reference/errors.html", "designfault")]:  # fmt: skip
        assert wanted in at, wanted


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_pages_in_a_browser_from_the_disk(site: Path, browser: Browser, width: int) -> None:
    """Opened as files with the network off: no page is wider than the screen, no error, the search finds."""
    with browser.new_context(viewport={"width": width, "height": 850}, offline=True) as context:
        tab = context.new_page()
        errors: list[str] = []
        tab.on("pageerror", lambda error: errors.append(str(error)))
        tab.on("requestfailed", lambda request: errors.append(request.url))
        for name in order.pages():
            tab.goto((site / order.address(name)).as_uri())
            assert tab.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, name
        tab.goto((site / "index.html").as_uri())
        if width == 390:
            tab.get_by_text("Pages and search").click()
        tab.get_by_label("Find a command").fill("taps_fed")
        tab.locator("#way-found a").first.click()
        assert tab.url.endswith("docs/reference/design-file.html#line-taps_fed")
        assert errors == []


@pytest.mark.browser
def test_pages_print_without_their_frame(site: Path, browser: Browser) -> None:
    """On paper there is the text, and no way through the pages."""
    with browser.new_context(viewport={"width": 800, "height": 850}) as context:
        tab = context.new_page()
        tab.goto((site / "docs" / "faults.html").as_uri())
        tab.emulate_media(media="print")
        assert not tab.locator("nav").is_visible() and tab.locator("main h1").is_visible()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(site: Path, browser: Browser, scheme: str) -> None:
    """Accessibility rules on pages of each make, by day and by night."""
    from axe_playwright_python.sync_playwright import Axe

    with browser.new_context(viewport={"width": 1280, "height": 850}, color_scheme=scheme) as context:  # type: ignore[arg-type]
        tab = context.new_page()
        for name in ("index.html", "docs/reference/commands.html", "docs/gallery.html", "docs/examples/sandpiper.html"):
            tab.goto((site / name).as_uri())
            found = Axe().run(tab).response["violations"]
            told = [(each["id"], each["nodes"][0]["html"][:160]) for each in found]
            assert told == [], (name, told)
