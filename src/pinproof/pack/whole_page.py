"""A page of HTML in one file: styles and typefaces inside, nothing fetched.

Answers: the frame that the report, the field card and the log report share.
Touches: nothing.
"""

from __future__ import annotations

from pinproof.drawings.measure import one_line
from pinproof.pack.markup import Html, el
from pinproof.pack.typeface import font_css


def whole_page(title: str, content: Html, css: str) -> str:
    """The page, with the letters it uses of each typeface.

    Parameters
    ----------
    title : str
        Plain text, of the window.
    content : Html
        What stands in the body.
    css : str
        Style rules beside those of the typefaces.
    """
    letters = set(content) | set(title) | set("0123456789")
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("title", one_line(title)),
        Html(f"<style>\n{font_css(letters)}\n{css}</style>"),
    )
    return f"<!doctype html>\n{el('html', head, el('body', content), lang='en')}\n"
