"""The look of the field card: one hand, dirty fingers, sun or night; and one sheet of paper, both sides.

Answers: how does the card look at 390 px, by day, by night, and printed?
Touches: nothing.
Sources: WCAG 2.2, success criteria 1.4.6 (7:1 for text) and 2.5.5 (targets of 44 px).
"""

from __future__ import annotations

from pinproof.pack.style import DARK, LIGHT, PRINT, variables

DAY = {**LIGHT, "paper": "#ffffff", "panel": "#ffffff", "ink": "#05090c", "soft": "#333d44", "line": "#6b757c",
       "pass": "#0d4f2d", "hold": "#5c3d00", "open": "#2b3a78", "fail": "#8a0f1a"}  # fmt: skip
NIGHT = {**DARK, "paper": "#000000", "panel": "#000000", "ink": "#ffffff", "soft": "#d3dade", "line": "#8b979f"}
PAGES = {"a4": "A4", "letter": "letter"}

_RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;text-size-adjust:100%;scroll-padding-top:4rem}
body{margin:0;background:var(--paper);color:var(--ink);font:400 1.125rem/1.45 "Pinproof Text","Pinproof Text 2",
"Source Sans Pro",sans-serif;font-kerning:none;font-variant-ligatures:none;overflow-wrap:anywhere}
header,main,footer{max-width:46rem;margin:0 auto;padding:0 .9rem}
header{padding-top:.9rem}
h1{font-size:1.6rem;line-height:1.15;margin:0;font-weight:600}
h2{font-size:1.35rem;line-height:1.2;margin:1.8rem 0 .5rem;font-weight:600;border-bottom:.2rem solid var(--ink)}
p{margin:.3rem 0}
ul,ol{margin:.4rem 0;padding-left:1.5rem}
li{margin:.35rem 0}
b,strong,th{font-weight:600}
.soft{color:var(--soft)}
h3{font-size:1.125rem;line-height:1.3;margin:1.1rem 0 .2rem;font-weight:600}
nav{position:sticky;top:0;display:flex;gap:.3rem;padding:.5rem .6rem;background:var(--paper);
border-bottom:1px solid var(--line);max-width:46rem;margin:.6rem auto 0}
nav a{flex:1 1 auto;min-height:3rem;display:flex;align-items:center;justify-content:center;padding:0 .3rem;
border:2px solid var(--ink);color:var(--ink);text-decoration:none;font-weight:600;font-size:1rem}
nav a:focus-visible,input:focus-visible{outline:.25rem solid var(--open);outline-offset:.1rem}
.answer{font-size:1.3rem;font-weight:600;line-height:1.3;margin:.9rem 0}
.mark{display:inline-block;width:.82em;height:.82em;margin-right:.35em;vertical-align:-.05em}
.verdict{white-space:nowrap;font-weight:600}
.v-pass{color:var(--pass)}.v-hold{color:var(--hold)}.v-open{color:var(--open)}.v-fail{color:var(--fail)}
table,tbody,tr,td,tbody th{display:block;width:100%}
caption{display:block;text-align:left;font-weight:600;padding-bottom:.2rem}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
tr{border-top:.2rem solid var(--ink);padding:.5rem 0}
th{text-align:left}
tbody th{font-size:1.2rem;line-height:1.25;font-weight:400;padding-bottom:.2rem}
.means{font-weight:600;white-space:nowrap}
td strong{font-size:1.3rem}
td[data-label]::before{content:attr(data-label) ": ";color:var(--soft);display:block;font-size:1rem;line-height:1.3}
.check{list-style:none;padding:0}
.check li{margin:0;border-top:1px solid var(--line)}
.check label{display:flex;gap:.9rem;align-items:center;min-height:3.4rem;padding:.4rem 0}
.check input{flex:none;width:2rem;height:2rem;margin:0;accent-color:var(--ink)}
.check label:has(input:checked) span{text-decoration:line-through}
.care{border:.2rem solid var(--ink);padding:0 .8rem .3rem;margin-top:1.8rem}
.care h2{border:0;margin-top:.6rem}
.printed{display:none}
.keep ul{list-style:none;padding:0}
.keep li{border-left:.5rem solid var(--ink);padding:.2rem 0 .2rem .7rem;margin:.6rem 0;
font-size:1.2rem;line-height:1.35}
.short{margin:.8rem 0}.short a{color:var(--ink);
display:inline-flex;align-items:center;min-height:2.75rem;min-width:2.75rem}
.tree .look{font-weight:600;font-size:1.2rem;margin-top:.7rem}
.tree .setup{color:var(--soft)}
.tree details{margin:.45rem 0;border:2px solid var(--ink)}
.tree summary{list-style:none;display:flex;align-items:center;min-height:3.4rem;padding:.4rem .8rem;font-weight:600;
cursor:pointer}
.tree summary::-webkit-details-marker{display:none}
.tree summary::before{content:"";flex:none;width:.7rem;height:.7rem;margin-right:.8rem;border-right:.2rem solid;
border-bottom:.2rem solid;transform:rotate(-45deg)}
.tree details[open]>summary::before{transform:rotate(45deg)}
.tree details[open]>summary{background:var(--ink);color:var(--paper)}
.tree details>div{padding:0 .5rem .5rem}
.tree details details>div{padding:0 .25rem .4rem}
.tree summary:focus-visible{outline:.25rem solid var(--open);outline-offset:.1rem}
.end{font-weight:600;font-size:1.2rem}
footer{padding-bottom:2rem}
@media (min-width:46rem){
table{display:table;border-collapse:collapse}caption{display:table-caption}
thead{display:table-header-group;position:static;clip-path:none}tbody{display:table-row-group}
tr{display:table-row}td,tbody th,thead th{display:table-cell;width:auto;vertical-align:top;
padding:.4rem .8rem .4rem 0;border-top:1px solid var(--line)}
td[data-label]::before{content:none}
}
@media print{
body{line-height:1.3;font-size:1rem}
nav,.more{display:none}
.printed{display:block}
.keep li{font-size:1rem;border-left-width:2pt;margin:1mm 0;padding:0 0 0 2mm}
.short{margin:1mm 0}.short a{display:none}
ul.ways{padding-left:4mm}.ways li{font-size:.92rem;line-height:1.2}
header,main,footer{max-width:none;padding:0}
.back{break-before:page}
h1{font-size:1.5rem}h2{font-size:1.25rem;margin:2.6mm 0 1mm;border-width:1pt;break-after:avoid}
h3{font-size:1rem;margin:1.6mm 0 .6mm;break-after:avoid}
.answer{font-size:1.25rem;margin:1.5mm 0}
p,ul,ol{margin:.6mm 0}li{margin:.5mm 0}
table{display:table;border-collapse:collapse}caption{display:table-caption}
thead{display:table-header-group;position:static;clip-path:none}tbody{display:table-row-group}
tr{display:table-row;break-inside:avoid}
td,tbody th,thead th{display:table-cell;width:auto;vertical-align:top;padding:.7mm 2mm .7mm 0;font-size:1rem;
line-height:1.25;border-top:.4pt solid var(--line)}
td strong{font-size:1.15rem}
td[data-label]::before{content:none}
.check label{min-height:0;padding:.5mm 0;gap:2mm;line-height:1.25}
.check input{width:3mm;height:3mm}
.care{border-width:1pt;padding:0 2mm 1mm;margin-top:2.6mm;break-inside:avoid}
footer{display:none}
}
"""


def card_css(paper: str, print_pt: float) -> str:
    """Every rule of the card but the typeface; `paper` is "a4" or "letter", `print_pt` the size of type on it."""
    return (
        f":root{{color-scheme:light dark;{variables(DAY)}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{variables(NIGHT)}}}}}\n"
        f"@media print{{:root{{color-scheme:light;{variables(PRINT)}}}@page{{size:{PAGES[paper]};margin:10mm}}"
        f"html{{font-size:{print_pt:g}pt}}}}\n" + _RULES.strip() + "\n"
    )
