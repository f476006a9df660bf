"""Building stones of the book as parts of a page, so that book and page say the same.

Answers: how do these blocks look between other things of a page?
Touches: nothing.
Beside:  `pack.blocks` makes them, `pack.block_html` sets whole files of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from pinproof.drawings import Drawing
from pinproof.pack.blocks import MARKS, Block, Cell
from pinproof.pack.in_us import table_us
from pinproof.pack.markup import Html, el
from pinproof.pack.sections import VERDICT_CLASSES, mark
from pinproof.web.render import svg_of

Drawings = Mapping[str, Drawing | tuple[Drawing, Drawing]]
"""Drawings by name; a pair is one for a wide window and one for a phone."""
_VERDICTS = {name: verdict for verdict, name in MARKS.items()}
_BREAK = "\u200b"  # places where a printed cell may break; whoever copies a name from a page must not get them
DENSE_FROM = 7  # columns


def fragment(body: Sequence[Block], drawings: Drawings | None = None, *, units: str = "metric") -> Markup:
    """These blocks as HTML. Headings of level 1 are left out: the page has its own.

    With `units` "us" columns of bare millimetres are shown in inches; sentences are turned with the whole page.
    """
    shown = [each for each in body if not (each["kind"] == "heading" and each["level"] == 1)]
    if units == "us":
        shown = [table_us(each) if each["kind"] == "table" else each for each in shown]
    return Markup("\n".join(_block(each, drawings or {}) for each in shown))


def _block(one: Block, drawings: Drawings) -> Html:
    kind = one["kind"]
    if kind == "heading":
        return el(f"h{one['level']}", _whole(one["text"]))
    if kind == "para":
        return el("p", *_runs(one["runs"]), **({"class_": "soft"} if one["soft"] else {}))
    if kind in ("list", "steps"):
        return el("ul" if kind == "list" else "ol", *(el("li", *_runs(each)) for each in one["items"]))
    if kind == "verdict":
        verdict = _VERDICTS[one["mark"]]
        told = [el("p", *_runs(each)) for each in one["paras"]]
        word = el("p", mark(verdict), _whole(one["text"]), class_="word")
        return el("section", word, *told, class_=f"answer {VERDICT_CLASSES[verdict]}")
    if kind == "care":
        items = el("ul", *(el("li", *_runs(each)) for each in one["items"]))
        return el("div", el("p", el("b", _whole(one["title"]))), items, class_="care")
    if kind == "figure":
        drawn = drawings[one["svg"].removesuffix(".svg")]
        if isinstance(drawn, tuple):
            wide, narrow = (Html(svg_of(each)) for each in drawn)
            return el("figure", el("div", wide, class_="wide"), el("div", narrow, class_="narrow"))
        rolls = el("div", Html(svg_of(drawn)), class_="roll", tabindex="0", role="group", aria_label=_whole(one["alt"]))
        return el("figure", rolls)
    if kind == "table":
        return _table(one)
    raise ValueError(f"no block of kind {kind!r}")


def _whole(text: str) -> str:
    return text.replace(_BREAK, "")


def _runs(runs: Sequence[Sequence[str | bool]]) -> list[Html]:
    return [el("b" if strong else "span", _whole(str(text))) for text, strong in runs]


def _table(one: Block) -> Html:
    heads = [_whole(each) for each in one["heads"]]
    named = [each or el("span", "Sign", class_="unseen") for each in heads]
    head = el("thead", el("tr", *(el("th", each, scope="col") for each in named)))
    rows = []
    for row in one["rows"]:
        first, *rest = row
        cells = [el("td", *_cell(cell), data_label=name) for name, cell in zip(heads[1:], rest, strict=True)]
        rows.append(el("tr", el("th", *_cell(first), scope="row"), *cells))
    dense = {"class_": "dense"} if len(heads) >= DENSE_FROM else {}
    return el("table", el("caption", _whole(one["caption"])), head, el("tbody", *rows), **dense)


def _cell(cell: Cell) -> list[Html]:
    if "blank_mm" in cell:
        return [el("span", el("span", "blank", class_="unseen"), class_="to-write")]
    told = _runs(cell.get("runs") or [])
    if not cell.get("mark"):
        return told
    verdict = _VERDICTS[cell["mark"]]
    return [el("span", mark(verdict), *told, class_=f"verdict {VERDICT_CLASSES[verdict]}")]
