"""The blocks of a printed page as a page for the screen, so that both say the same.

Answers: how do headings, lists, tables, verdicts and drawings look as HTML?
Touches: nothing.
Beside:  `blocks` makes the data; `pages` sets it as a PDF.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pinproof.drawings import Drawing
from pinproof.pack.blocks import MARKS, Block, Cell
from pinproof.pack.markup import Html, el, join
from pinproof.pack.sections import VERDICT_CLASSES, mark
from pinproof.pack.style import page_css
from pinproof.pack.whole_page import whole_page

_VERDICTS = {name: verdict for verdict, name in MARKS.items()}
_BREAK = "\u200b"  # where a printed word may be broken; a page says it with an element that nobody copies


def blocks_html(body: Sequence[Block], title: str, foot: str, drawings: Mapping[str, Drawing]) -> str:
    """A whole page of these blocks.

    Parameters
    ----------
    body : sequence of Block
    title, foot : str
        Of the page; below it.
    drawings : mapping of name to Drawing
        Those that the blocks name, each with ids of its own.
    """
    content = Html(
        "\n".join([el("main", *(_block(each, drawings) for each in body)), el("footer", el("p", foot, class_="soft"))])
    )
    return whole_page(title, content, page_css() + "pre{white-space:pre-wrap}")


def piece_html(body: Sequence[Block], drawings: Mapping[str, Drawing]) -> Html:
    """These blocks as a piece of a page that has a frame of its own."""
    return Html("\n".join(_block(each, drawings) for each in body))


def _block(one: Block, drawings: Mapping[str, Drawing]) -> Html:
    kind = one["kind"]
    if kind == "heading":
        return el(f"h{one['level']}", _text(one["text"]))
    if kind == "para":
        return el("p", *_runs(one["runs"]), **({"class_": "soft"} if one["soft"] else {}))
    if kind == "list":
        return el("ul", *(el("li", *_runs(each)) for each in one["items"]))
    if kind == "steps":
        return el("ol", *(el("li", *_runs(each)) for each in one["items"]))
    if kind == "verdict":
        verdict = _VERDICTS[one["mark"]]
        told = [el("p", *_runs(each)) for each in one["paras"]]
        word = el("p", mark(verdict), _text(one["text"]), class_="word")
        return el("section", word, *told, class_=f"answer {VERDICT_CLASSES[verdict]}")
    if kind == "care":
        return el(
            "section",
            el("h2", _text(one["title"])),
            el("ul", *(el("li", *_runs(i)) for i in one["items"])),
            class_="care",
        )
    if kind == "figure":
        return el("figure", Html(drawings[one["svg"].removesuffix(".svg")].svg))
    if kind == "table":
        return _table(one, drawings)
    raise ValueError(f"no block of kind {kind!r}")


def _runs(runs: Sequence[Sequence[str | bool]]) -> list[Html]:
    return [el("b" if strong else "span", _text(str(text))) for text, strong in runs]


def _text(text: str) -> Html:
    """The text escaped, with its places for a line's end."""
    return Html("<wbr>".join(join(piece) for piece in text.split(_BREAK)))


def _table(one: Block, drawings: Mapping[str, Drawing]) -> Html:
    head = el("thead", el("tr", *(el("th", _text(each), scope="col") for each in one["heads"])))
    rows = [
        el(
            "tr",
            *(
                el("td", *_cell(cell, drawings), data_label=name.replace(_BREAK, ""))
                for name, cell in zip(one["heads"], row, strict=True)
            ),
        )
        for row in one["rows"]
    ]
    return el("table", el("caption", _text(one["caption"])), head, el("tbody", *rows))


def _cell(cell: Cell, drawings: Mapping[str, Drawing]) -> list[Html]:
    made: list[Html] = []
    if cell.get("mark"):
        made.append(
            el("span", mark(_VERDICTS[cell["mark"]]), class_=f"verdict {VERDICT_CLASSES[_VERDICTS[cell['mark']]]}")
        )
    if cell.get("svg"):
        made.append(Html(drawings[cell["svg"].removesuffix(".svg")].svg))
    made += _runs(cell.get("runs") or [])
    if "blank_mm" in cell:
        made.append(el("span", class_="blank"))
    made += [el("div", *_runs(each)) for each in cell.get("below", ())]
    return made
