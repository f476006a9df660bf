"""Templates, style, scripts and typefaces, all from the installed package.

Answers: the HTML of a page; the bytes of a static file under an address that changes with its content.
Touches: the package's own files, read once.
"""

from __future__ import annotations

import functools
import gzip
import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from pinproof import __version__
from pinproof.drawings import Drawing, words
from pinproof.drawings.measure import face
from pinproof.pack.card import PRINT_SIZES
from pinproof.pack.card_style import DAY, NIGHT, card_css
from pinproof.pack.markup import marked, unbroken
from pinproof.pack.sections import VERDICT_CLASSES, mark, verdict_words
from pinproof.pack.style import DARK, LIGHT, PRINT, variables
from pinproof.pack.typeface import FAMILY, subset
from pinproof.quantities import format_value
from pinproof.record.history import time_words
from pinproof.verdict import Verdict

HERE = Path(__file__).parent
KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".ttf": "font/ttf",
    ".svg": "image/svg+xml",
}
LETTERS = "".join(map(chr, range(32, 127))) + "\u00a0ÄÖÜäöüßàáâçèéêëìíîïñòóôøùúûýåæ°±²³µ·×÷ΔΩ–—‘’“”…→←−≤≥∞"
_TURNS = re.compile("[\u202a-\u202e\u2066-\u2069]")  # Unicode Standard Annex 9, section 2: explicit formatting
_TYPED = re.compile(r'(<textarea.*?</textarea>|\svalue="[^"]*")', re.DOTALL)
INLINE_STYLE = ' style="font-kerning:none;font-variant-ligatures:none"'


@dataclass(frozen=True)
class Static:
    """One file ready to be sent."""

    kind: str
    data: bytes
    packed: bytes  # gzip


def _style() -> str:
    night = variables(DARK)
    return (
        f':root{{color-scheme:light;{variables(LIGHT)}}}\n:root[data-theme="dark"]{{color-scheme:dark;{night}}}\n'
        f'@media screen and (prefers-color-scheme:dark){{:root[data-theme="auto"]{{color-scheme:dark;{night}}}}}\n'
        f"@media print{{:root:root{{color-scheme:light;{variables(PRINT)}}}}}\n"
        + _faces()
        + (HERE / "static" / "pinproof.css").read_text(encoding="utf-8")
    )


def _faces() -> str:
    return "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{weight};font-display:swap;'
        f'src:url(type-{weight}.ttf) format("truetype")}}\n'
        for weight in (400, 600)
    )


def _card_style() -> str:
    """The field card's own look where it is shown among the pages, with a way back and the theme that was chosen."""
    chosen = (
        f'@media screen{{:root[data-theme="light"]{{color-scheme:light;{variables(DAY)}}}'
        f':root[data-theme="dark"]{{color-scheme:dark;{variables(NIGHT)}}}}}\n'
    )
    around = (HERE / "static" / "around-card.css").read_text(encoding="utf-8")
    return _faces() + card_css("a4", PRINT_SIZES[-1][1]) + chosen + around


@functools.cache
def static_files() -> dict[str, Static]:
    """Every static file by its name."""
    found: dict[str, bytes] = {"pinproof.css": _style().encode("utf-8")}
    for path in sorted((HERE / "static").iterdir()):
        if path.suffix in KINDS and path.name not in ("pinproof.css", "around-card.css"):
            found[path.name] = path.read_bytes()
    found["card.css"] = _card_style().encode("utf-8")
    for name, weight in (("type-400.ttf", "regular"), ("type-600.ttf", "strong")):
        one = face(weight)
        found[name] = subset(one, [ord(each) for each in LETTERS if ord(each) in one.glyphs], FAMILY)
    return {
        name: Static(KINDS[Path(name).suffix], data, gzip.compress(data, 9, mtime=0)) for name, data in found.items()
    }


@functools.cache
def static_version() -> str:
    """Part of every static address: another program version or file, another address."""
    whole = hashlib.sha256(__version__.encode())
    for name, one in sorted(static_files().items()):
        whole.update(name.encode() + one.data)
    return whole.hexdigest()[:12]


def static_address(name: str) -> str:
    """Where a static file lives; KeyError for a name that does not exist."""
    assert static_files()[name]
    return f"/static/{static_version()}/{name}"


def svg_of(drawing: Drawing | str) -> Markup:
    """A drawing for a page: the same SVG as in the book. Its one inline style stands in the style sheet instead."""
    text = drawing if isinstance(drawing, str) else drawing.svg
    return Markup(text.replace(INLINE_STYLE, "", 1))


def both_layouts(wide: Drawing, narrow: Drawing) -> Markup:
    """A drawing in the layout of a page and in that of a phone; the style sheet shows one."""
    return Markup('<figure><div class="wide">{}</div><div class="narrow">{}</div></figure>').format(
        svg_of(wide), svg_of(narrow)
    )


def verdict_html(verdict: Verdict | str) -> Markup:
    """Shape and word of a verdict."""
    return Markup(verdict_words(Verdict(verdict)))


def mark_html(verdict: Verdict | str) -> Markup:
    """The shape alone; the word must stand beside it."""
    return Markup(mark(Verdict(verdict)))


def said(text: str) -> Markup:
    """A text of the engines: words between backticks are set apart, numbers keep their units."""
    return Markup(marked(str(text)))


def when(utc: str | float) -> str:
    """A time as the record's words have it: a text as it is kept, or seconds since 1970."""
    if isinstance(utc, str):
        return time_words(utc)
    try:
        return time_words(datetime.fromtimestamp(utc, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
    except (OverflowError, ValueError, OSError):
        return "at a time that is not known"


@functools.cache
def environment() -> Environment:
    """The templates: everything is escaped unless it is Markup, and a missing name is an error.

    All are read at once: whoever updates the program while it runs never gets new templates under old code.
    """
    texts = {each.name: each.read_text(encoding="utf-8") for each in sorted((HERE / "templates").glob("*.html"))}
    env = Environment(
        loader=DictLoader(texts), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    env.filters |= {
        "said": said,
        "sentence": lambda text: said(words.sentence(str(text))),
        "parameter": words.parameter,
        "operated": lambda names: words.operated(tuple(names)),
        "key_state": words.key_state,
        "when": when,
        "unbroken": lambda text: unbroken(str(text)),
        "plain_json": lambda value: json.dumps(value, ensure_ascii=False),
        "verdict_class": lambda verdict: VERDICT_CLASSES[Verdict(verdict)],
    }
    env.globals |= {
        "static": static_address, "svg": svg_of, "both": both_layouts, "verdict": verdict_html, "mark": mark_html,
        "value": format_value, "version": __version__,
    }  # fmt: skip
    return env


def page_html(template: str, context: dict[str, Any]) -> str:
    """A whole page."""
    html: str = environment().get_template(template).render(context)
    return html if _TURNS.search(html) is None else _turns_shown(html)


def _turns_shown(html: str) -> str:
    """Marks that turn the reading direction of what follows, shown in words: with them a name could print as another.

    What can be typed over (text boxes and fields) keeps them, so that saving does not change a file.
    """
    parts = _TYPED.split(html)
    parts[::2] = [_TURNS.sub(lambda found: f"[U+{ord(found[0]):04X}]", each) for each in parts[::2]]
    return "".join(parts)
