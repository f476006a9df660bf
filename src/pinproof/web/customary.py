"""Lengths, speeds, temperatures, masses and forces of a page in US units, wherever they stand in its sentences.

Answers: how does this page read for somebody who thinks in inches and degrees Fahrenheit?
Touches: nothing.
Beside:  `pinproof.quantities.customary` turns plain text. What a file or a command says word for word stays as it
         is: code, text boxes, examples of what may be typed, and drawings, which are the same as in the book and carry
         their own scales.
Why:     sentences come from the engines with their units; they are written once and read in two systems.
"""

from __future__ import annotations

import re

from pinproof.quantities.customary import in_us

_KEPT = re.compile(
    r"(<(code|pre|textarea|script|style|svg|option|title)\b.*?</\2>"
    r"|<(p|span|div)\b[^>]*class=\"[^\"]*\b(?:hint|as-typed)\b[^\"]*\".*?</\3>"
    r"|<td\b[^>]*data-label=\"As the file[^>]*>.*?</td>"
    r"|<[^>]*>)",
    re.DOTALL,
)


def customary(html: str) -> str:
    """The same HTML with quantities of its text in US units.

    Examples
    --------
    >>> from pinproof.web.customary import customary
    >>> customary("<p>Cut at 1.9 m, at 0 to 70 °C.</p>")
    '<p>Cut at 74.8 in, at 32 to 158 °F.</p>'
    >>> customary("<code>1.9 m</code> 2.5 mm²")
    '<code>1.9 m</code> 2.5 mm²'
    """
    parts, at = [], 0
    for kept in _KEPT.finditer(html):
        parts += [in_us(html[at : kept.start()]), kept[0]]
        at = kept.end()
    return "".join([*parts, in_us(html[at:])])
