"""Commands that sentences name, as ways to the page that does the same.

Answers: how does this page read for somebody who clicks instead of typing?
Touches: nothing.
Why:     sentences come from the engines and are the same on the command line; each names what to type. On a page the
         page comes first, and the command stands behind it, small, for whoever likes it better.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pinproof.web.page import Ask

PAGES: Mapping[str, str] = {
    "new": "new", "next": "chain", "check": "text", "prove": "proof", "choose": "choose", "faults": "faults",
    "learn": "learn", "meter": "meter", "record": "record", "find": "find", "harness": "harness", "inhibit": "inhibit",
    "gears": "gears", "log": "log", "drawer": "drawer", "pack": "downloads",
}  # fmt: skip
"""The page that does what a command does."""
WITHOUT = frozenset({"adopt", "completion", "demo", "serve", "upgrade"})
"""Commands that no page stands for."""
OPTIONS: Mapping[tuple[str, str], str] = {("log", "--plan"): "log-plan", ("meter", "--begin-meter"): "instrument"}
"""Pages of their own for an option."""
BEGIN = "begin"
"""The place on a page where a draft is begun."""

_NAMES = "|".join(PAGES)
_WORDS = rf"pinproof (?P<{{0}}>{_NAMES})(?P<{{1}}>(?: (?:FILE|FOLDER|[\w-]+\.toml|-o|--[a-z-]+))*)"
_COMMAND = re.compile(
    r"(?P<kept><(?P<tag>code|kbd|pre|textarea|script|style|svg|option|title|a|button|summary|label|legend)\b.*?</(?P=tag)>)"
    rf"|(?P<other><[^>]*>)|\b{_WORDS.format('name', 'rest')}",
    re.DOTALL,
)
_CODE = re.compile(rf"<code>{_WORDS.format('name', 'rest')}</code>\Z")
_BEGINS = re.compile(r"(?:\A|[.!?]\s+|>\s*)\Z")


Way = Callable[[str, str], "tuple[str, str] | None"]


def linked(html: str, way: Way, file: str = "") -> str:
    """The same HTML in which a command that has a page is a link to it, with the command beside it.

    Parameters
    ----------
    way : callable
        Name of a page and a place on it to its title and address, or None where there is no way to it; an empty
        address is the page shown.
    file : str
        Name of the design file, put where a command says FILE.

    Examples
    --------
    >>> linked("<p>Ask <code>pinproof find</code>.</p>", lambda page, place: ("Find", "/find"))
    '<p>Ask the page <a href="/find">Find</a> <span class="command">(<code>pinproof find</code>)</span>.</p>'
    """
    if "pinproof " not in html:
        return html

    def told(found: re.Match[str]) -> str:
        if found["other"]:
            return found[0]
        one: re.Match[str] | None = found
        if found["kept"]:
            one = _CODE.match(found[0])
        if one is None:
            return found[0]
        begins = _BEGINS.search(html[max(0, found.start() - 40) : found.start()]) is not None
        return _way(one["name"], one["rest"], way, file, begins) or found[0]

    return _COMMAND.sub(told, html)


def ways_from(ask: Ask, has_design: bool) -> Way:
    """The way from the page shown to another one, as `linked` asks for it."""

    def way(name: str, place: str) -> tuple[str, str] | None:
        page = ask.site.page(name)
        if page.of_design and not has_design:
            return None
        if page is ask.page:
            return page.title, f"#{place}" if place else ""
        return page.title, ask.address(name, fragment=place) if has_design else ask.site.address(name)

    return way


def typed(command: str, file: str) -> str:
    """A command as it is typed for this file.

    >>> typed("pinproof faults", "heron.toml"), typed("pinproof log FILE --plan", "heron.toml")
    ('pinproof faults heron.toml', 'pinproof log heron.toml --plan')
    """
    name = command.split()[1]
    if "FILE" not in command and ".toml" not in command and name not in ("new", "drawer"):
        command = command.replace(name, f"{name} FILE", 1)
    return command.replace("FILE", file)


def _way(name: str, rest: str, way: Way, file: str, begins: bool) -> str:
    options = re.findall(r"--[a-z-]+", rest)
    page = next((OPTIONS[name, each] for each in options if (name, each) in OPTIONS), PAGES[name])
    there = way(page, BEGIN if "--begin" in options else "")
    if there is None:
        return ""
    title, address = there
    command = typed(f"pinproof {name}{rest}", file) if file else f"pinproof {name}{rest}"
    the = "The" if begins else "the"
    link = (
        f'{the} page <a href="{escape(address)}">{escape(title)}</a>'
        if address
        else f"{'T' if begins else 't'}his page"
    )
    return f'{link} <span class="command">(<code>{escape(command)}</code>)</span>'
