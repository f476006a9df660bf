"""Markdown to a page: headings with anchors as links elsewhere expect them, links followed, tables that fold."""

from __future__ import annotations

import json
import posixpath
import re
from dataclasses import dataclass, field
from html import escape
from urllib.parse import quote, unquote

from markdown_it import MarkdownIt
from markdown_it.token import Token

from tools.site.order import NOTEBOOK, ORDER, address, pages

ELSEWHERE = re.compile(r"[a-z][a-z0-9+.-]*:")
ANCHOR = re.compile(r'<a id="([^"]+)"></a>(?:\[?`)?')


@dataclass
class Page:
    """One page: its title, its body, the files it shows or links to, and what the search finds in it."""

    path: str
    title: str
    body: str
    files: set[str] = field(default_factory=set)
    finds: list[tuple[str, str]] = field(default_factory=list)  # words and the anchor they stand at


def slug(text: str, taken: dict[str, int]) -> str:
    """The anchor of a heading, as the hosts of repositories make it; a second one gets a number."""
    plain = re.sub(r"[^\w\- ]", "", text.lower()).replace(" ", "-")
    count = taken.get(plain, 0)
    taken[plain] = count + 1
    return f"{plain}-{count}" if count else plain


def rendered(path: str, text: str) -> Page:
    """A page of the project as HTML."""
    if path.endswith(".ipynb"):
        return _notebook(path, text)
    reader = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
    tokens = reader.parse(text)
    page = Page(path, path, "")
    taken: dict[str, int] = {}
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            words = _words(tokens[at + 1])
            anchor = slug(words, taken)
            token.attrSet("id", anchor)
            if page.title == path and token.tag == "h1":
                page.title = words
            page.finds.append((words, anchor))
        if token.type == "inline":
            _follow(token, page)
    _label(tokens, page)
    body: str = reader.renderer.render(tokens, reader.options, {})
    body = body.replace("<table>", '<div class="scroll"><table>').replace("</table>", "</table></div>")
    page.body = body.replace("<pre>", '<pre tabindex="0">')  # what scrolls can be reached by keyboard
    return page


def _words(token: Token) -> str:
    """The text of a heading or a cell, without its marks."""
    return "".join(
        each.content if each.type in ("text", "code_inline") else " " if each.type == "softbreak" else ""
        for each in token.children or []
    )


def _follow(token: Token, page: Page) -> None:
    """Turn links to pages into links to their HTML, and note the files that must come along."""
    for each in token.children or []:
        key = {"link_open": "href", "image": "src"}.get(each.type)
        if key is None:
            continue
        target = str(each.attrGet(key) or "")
        if ELSEWHERE.match(target) or target.startswith("#"):
            continue
        name, hash_sign, anchor = target.partition("#")
        whole = posixpath.normpath(posixpath.join(posixpath.dirname(page.path), unquote(name)))
        if whole in pages() and not whole.endswith(".ipynb"):
            whole = address(whole)
        elif whole == NOTEBOOK:
            page.files.add(whole)
            whole = address(whole)
        else:
            page.files.add(whole)
        each.attrSet(key, quote(relative(page.path, whole)) + hash_sign + anchor)


def relative(path: str, target: str) -> str:
    """A target of the folder as seen from a page."""
    return posixpath.relpath(target, posixpath.dirname(address(path)) or ".")


def _label(tokens: list[Token], page: Page) -> None:
    """Give each cell its column's head, for screens too narrow for a table; note anchored rows for the search."""
    heads: list[str] = []
    column = 0
    for at, token in enumerate(tokens):
        if token.type == "thead_open":
            heads = []
        elif token.type == "th_open":
            heads.append(_words(tokens[at + 1]))
        elif token.type == "tr_open":
            column = 0
        elif token.type == "td_open":
            if len(heads) > 1 and column < len(heads) and heads[column]:
                token.attrSet("data-label", heads[column])
            column += 1
            found = ANCHOR.match(tokens[at + 1].content)
            if found is not None:
                page.finds.append((_words(tokens[at + 1]), found[1]))


def _notebook(path: str, text: str) -> Page:
    """A notebook with its outputs as a page."""
    cells = json.loads(text)["cells"]
    parts: list[str] = []
    page = Page(path, path, "")
    for cell in cells:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            made = rendered(f"{path}.md", source)
            page.title = made.title if page.title == path else page.title
            page.finds += made.finds
            parts.append(made.body)
            continue
        parts.append(f'<pre tabindex="0"><code>{escape(source)}</code></pre>')
        for output in cell["outputs"]:
            data = output.get("data", {})
            rich = data.get("text/html") or data.get("image/svg+xml")
            plain = "".join(output.get("text") or data.get("text/plain") or [])
            shown = "".join(rich) if rich else f'<pre tabindex="0">{escape(plain)}</pre>'
            parts.append(f'<div class="out">{shown}</div>')
    page.files.add(path)
    name = posixpath.basename(path)
    parts.append(f'<p>The notebook itself: <a href="{quote(name)}">{escape(name)}</a></p>')
    page.body = "\n".join(parts)
    return page


def framed(page: Page, titles: dict[str, str]) -> str:
    """The whole file of a page: head, way through the pages, body, next and previous."""
    up = relative(page.path, "style.css").removesuffix("style.css")
    listed = pages()
    at = listed.index(page.path)
    before = _turn(page.path, listed[at - 1], titles, "Before") if at else ""
    after = _turn(page.path, listed[at + 1], titles, "Next") if at + 1 < len(listed) else ""
    groups = "\n".join(
        f"<section><h2>{escape(group)}</h2><ul>"
        + "".join(f"<li>{_link(page.path, each, titles[each], page.path)}</li>" for each in members)
        + "</ul></section>"
        for group, members in ORDER
    )
    title = page.title if page.title.startswith("Pinproof") else f"{page.title} · Pinproof"
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(title)}</title>
<link rel="stylesheet" href="{up}style.css">
</head><body data-up="{up}">
<a class="jump" href="#text">To the text</a>
<div class="frame">
<nav aria-label="All pages"><details class="ways"><summary>Pages and search</summary>
<div class="find" hidden><label for="way-find">Find a command, key, check or heading</label>
<input id="way-find" type="search" autocomplete="off" spellcheck="false">
<ul id="way-found" aria-live="polite"></ul></div>
{groups}
</details></nav>
<main id="text">
{page.body}
<p class="turn">{before}{after}</p>
</main>
</div>
<script src="{up}search-index.js"></script>
<script src="{up}search.js"></script>
</body></html>
"""


def _link(here: str, there: str, title: str, current: str) -> str:
    mark = ' aria-current="page"' if there == current else ""
    return f'<a href="{quote(relative(here, address(there)))}"{mark}>{escape(title)}</a>'


def _turn(here: str, there: str, titles: dict[str, str], word: str) -> str:
    return f"<span>{word}: {_link(here, there, titles[there], here)}</span>"
