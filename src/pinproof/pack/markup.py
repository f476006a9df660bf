"""HTML text that cannot be broken by what people write into a design file.

Answers: how is an element written so that every plain text in it is escaped?
Touches: nothing.
"""

from __future__ import annotations

import re
from html import escape

from pinproof.drawings.measure import one_line

# A number and its unit stay on one line.
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:[GMkmµn]?(?:Ω|V|A|W|F|s)|%|°C|ppm/K)(?![\w]))")
_VOID = {"meta", "br", "hr"}


class Html(str):
    """Text that is HTML already. Everything else is escaped when it is put into an element."""


def el(tag: str, *children: str, **attributes: str) -> Html:
    """An element. Plain children and attribute values are escaped, `Html` children are taken as they are.

    Attribute names lose a trailing "_" and turn "_" into "-": `class_`, `aria_label`.

    Examples
    --------
    >>> el("p", "5 < 6 ", el("b", "yes"), class_="small")
    '<p class="small">5 &lt; 6 <b>yes</b></p>'
    """
    named = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(one_line(text), quote=True)}"'
        for name, text in attributes.items()
    )
    if tag in _VOID:
        return Html(f"<{tag}{named}>")
    return Html(f"<{tag}{named}>{join(*children)}</{tag}>")


def marked(text: str) -> Html:
    """A text in which `words` between backticks, ids and keys, are set apart."""
    pieces = text.split("`")
    if len(pieces) % 2 == 0:  # a lone backtick is just that
        return join(text)
    return join(*(el("code", piece) if index % 2 else piece for index, piece in enumerate(pieces)))


def join(*children: str) -> Html:
    """Pieces one after the other, plain ones escaped."""
    return Html("".join(one if isinstance(one, Html) else _plain(one) for one in children))


def unbroken(text: str) -> str:
    """The text with every number bound to its unit."""
    return _BEFORE_UNIT.sub("\u00a0", text)


def _plain(text: str) -> str:
    return escape(unbroken(one_line(text)), quote=False)
