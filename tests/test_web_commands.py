"""Next steps are ways to a page first, with the command behind it; nothing says "None" or leaves a command bare."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click import Context

from pinproof.cli import group
from pinproof.design.starter import design_text, starter_sheet
from pinproof.web.commands import OPTIONS, PAGES, WITHOUT, linked
from pinproof.web.routes import PAGES as ROUTES
from tests.web_client import client_of, folder_with


def way(page: str, place: str) -> tuple[str, str] | None:
    """An address for every page but one, which is the page shown."""
    return None if page == "drawer" else (page.title(), "" if page == "proof" else f"/{page}")


def test_every_command_is_known() -> None:
    """A new command gets its page here, or is told to have none; each page is one of the route list."""
    assert {*PAGES, *WITHOUT} == set(group.list_commands(Context(group)))
    assert {*PAGES.values(), *OPTIONS.values()} <= {each.name for each in ROUTES}


@pytest.mark.parametrize(
    ("html", "wanted"),
    [
        ("<p>None yet; <code>pinproof harness FILE --begin</code> drafts one.</p>",
         '<p>None yet; the page <a href="/harness">Harness</a> '
         '<span class="command">(<code>pinproof harness a.toml --begin</code>)</span> drafts one.</p>'),
        ("<p>Waits. <code>pinproof faults</code> lists it.</p>",
         '<p>Waits. The page <a href="/faults">Faults</a> '
         '<span class="command">(<code>pinproof faults a.toml</code>)</span> lists it.</p>'),
        ("<p>Do it: pinproof log FILE --plan</p>",
         '<p>Do it: the page <a href="/log-plan">Log-Plan</a> '
         '<span class="command">(<code>pinproof log a.toml --plan</code>)</span></p>'),
        ("<p>See <code>pinproof prove</code>.</p>",
         '<p>See this page <span class="command">(<code>pinproof prove a.toml</code>)</span>.</p>'),
    ],
)  # fmt: skip
def test_a_command_becomes_a_way(html: str, wanted: str) -> None:
    """The sentence stays whole; a page that is shown is "this page"."""
    assert linked(html, way, "a.toml") == wanted


@pytest.mark.parametrize(
    "html",
    [
        "<pre># Then: pinproof gears FILE</pre>", "<textarea>`pinproof gears FILE`</textarea>",
        '<a href="/x">pinproof gears</a>', '<input value="pinproof gears">',
        "<p><code>pinproof upgrade a.toml</code></p>",
        "<p><code>pinproof drawer</code></p>", "<p>Pinproof gears up.</p>", "<kbd>pinproof gears a.toml</kbd>",
    ],
)  # fmt: skip
def test_what_is_typed_quoted_or_has_no_page_stays(html: str) -> None:
    """Texts of the file, boxes, links, and commands without a page are as they were."""
    assert linked(html, way, "a.toml") == html


@pytest.mark.parametrize("form", ["pull-up", "pull-down"])
def test_a_newcomer_is_led_by_links(tmp_path: Path, form: str) -> None:
    """On every page of a bare design: no command where its page is a click away; each way leads somewhere."""
    (tmp_path / "bare.toml").write_text(design_text(starter_sheet(form, "pp-bare")), encoding="utf-8")
    client, site = client_of(tmp_path)
    ways: set[str] = set()
    for page in ROUTES:
        if not page.of_design or page.path_parameters != ["design"] or not page.template:
            continue
        query = {"limits": "?line=taps&knob=wear", "log-stretch": "?log=none.csv&from=0&to=1"}.get(page.name, "")
        answer = client.get(page.path.replace("{design}", "bare") + query)
        assert answer.status_code in (200, 404), (page.name, answer.status_code)
        html = answer.text
        assert ">None<" not in html and ">None." not in html, page.name
        quiet = r"<(pre|textarea)\b.*?</\1>|<(span|p) class=\"(?:soft )?command\">.*?</\2>"
        shown = re.sub(quiet, "", html, flags=re.DOTALL)
        bare = re.findall(rf"pinproof (?:{'|'.join(PAGES)})\b[^<]*", shown)
        assert bare == [], (page.name, bare)
        ways |= {each.partition("#")[0] for each in re.findall(r'page <a href="([^"]+)">', html)}
    assert {"/d/bare/harness", "/d/bare/gears", "/d/bare/log", "/d/bare/log/plan", "/d/bare/inhibit"} <= ways
    assert all(client.get(each).status_code == 200 for each in ways)
    site.jobs.stop_all()


def test_what_to_do_next_has_its_page_and_its_field(tmp_path: Path) -> None:
    """Each action of the chain leads to where it is done; a number that is measured leads to its fields."""
    (tmp_path / "bare.toml").write_text(design_text(starter_sheet("pull-up", "pp-bare")), encoding="utf-8")
    folder_with(tmp_path, "dunlin", "heron")
    client, site = client_of(tmp_path)
    for name in ("bare", "dunlin", "heron"):
        html = client.get(f"/d/{name}/chain").text
        deeds = html.split('<div class="deed">')[1:]
        assert deeds
        for deed in deeds:
            assert 'class="ways"' in deed, deed[:300]
        for address in re.findall(rf'href="(/d/{name}/truck(?:\?[^"#]*)?#[^"]+)"', html):
            page, _, place = address.partition("#")
            assert f'id="{place}"' in client.get(page).text, address
    site.jobs.stop_all()
