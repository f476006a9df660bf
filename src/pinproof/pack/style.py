"""The look of a page: colours of both schemes, type, tables that fold on a phone, paper.

Answers: how does the page look on a screen by day, by night and on paper?
Touches: nothing.
Sources: contrast is judged by WCAG 2.2, success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for marks).
"""

from __future__ import annotations

# Names of the colours: what they are for. Both schemes hold the same names.
LIGHT = {
    "paper": "#fcfbf7",
    "panel": "#f1efe7",
    "ink": "#16222b",
    "soft": "#46535c",
    "line": "#8a9299",
    "pass": "#17603a",
    "hold": "#744d00",
    "open": "#37488a",
    "fail": "#9c1420",
}
DARK = {
    "paper": "#12181c",
    "panel": "#1d252b",
    "ink": "#e8ebe9",
    "soft": "#b6c0c6",
    "line": "#6f7b83",
    "pass": "#83d3a0",
    "hold": "#e9bd63",
    "open": "#aebcf6",
    "fail": "#ff9f98",
}
PRINT = {**dict.fromkeys(LIGHT, "#000000"), "paper": "#ffffff", "panel": "#ffffff", "line": "#666666"}


def variables(colours: dict[str, str]) -> str:
    """The colours as custom properties."""
    return "".join(f"--{name}:{colour};" for name, colour in colours.items())


_RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);font:400 1.0625rem/1.5 "Pinproof Text","Pinproof Text 2",
"Source Sans Pro",sans-serif;font-kerning:none;font-variant-ligatures:none;overflow-wrap:break-word}
main,footer{max-width:62rem;margin:0 auto;padding:0 1rem}
header{max-width:62rem;margin:0 auto;padding:1.25rem 1rem 0}
h1{font-size:1.9rem;line-height:1.2;margin:0 0 .3rem;font-weight:600}
h2{font-size:1.4rem;line-height:1.25;margin:2.2rem 0 .6rem;font-weight:600}
h3{font-size:1.12rem;line-height:1.3;margin:1.5rem 0 .4rem;font-weight:600}
p,ul,ol{margin:.4rem 0 .8rem}
ul,ol{padding-left:1.3rem}
li{margin:.25rem 0}
b,strong,th{font-weight:600}
.soft{color:var(--soft)}
.rule{height:.85rem;margin:.7rem 0 1.1rem;border-top:2px solid var(--ink);
background:repeating-linear-gradient(90deg,var(--ink) 0 1px,transparent 1px 2rem) 0 0/100% 100% no-repeat,
repeating-linear-gradient(90deg,var(--line) 0 1px,transparent 1px .4rem) 0 0/100% 50% no-repeat}
.answer{background:var(--panel);border-top:.35rem solid currentColor;padding:.9rem 1.1rem;margin:0 0 1rem}
.answer>*{color:var(--ink)}
.answer h2{margin:0 0 .4rem}
.answer .word{font-size:1.55rem;line-height:1.3;font-weight:600;color:inherit;margin:0 0 .3rem}
.mark{display:inline-block;width:.82em;height:.82em;margin-right:.4em;vertical-align:-.05em}
.verdict{white-space:nowrap;font-weight:600}
.pp-pass,.v-pass{color:var(--pass)}
.pp-hold,.v-hold{color:var(--hold)}
.pp-open,.v-open{color:var(--open)}
.pp-fail,.v-fail{color:var(--fail)}
figure{margin:.8rem 0 1rem}
.pp-drawing{display:block;width:100%;height:auto;color:var(--ink);
font-family:"Pinproof Text","Pinproof Text 2","Source Sans Pro","DejaVu Sans",sans-serif}
.narrow{display:none}
table{border-collapse:collapse;width:100%;margin:.5rem 0 1rem;font-size:1rem}
caption{text-align:left;font-weight:600;padding:.2rem 0 .4rem}
th,td{text-align:left;vertical-align:top;padding:.4rem .8rem .4rem 0;border-top:1px solid var(--line)}
.whole{white-space:nowrap}
.blank{display:block;min-height:2.2rem;border:1px solid var(--line)}
thead th{border-top:0;border-bottom:2px solid var(--ink);padding-top:.1rem}
.care{border:2px solid var(--ink);padding:.6rem 1.1rem .3rem;margin:1rem 0}
.care h2{margin-top:.4rem}
footer{padding-bottom:2.5rem}
code{font:inherit;overflow-wrap:anywhere}
li code,td code{font-weight:600}
@media screen and (max-width:46rem){
.wide{display:none}
.narrow{display:block}
h1{font-size:1.6rem}
table,tbody,tr,td,tbody th{display:block;width:100%}
caption{display:block}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
tr{border-top:2px solid var(--ink);padding:.45rem 0}
td,tbody th{border:0;padding:.1rem 0}
.whole{white-space:normal}
td[data-label]::before{content:attr(data-label) ": ";color:var(--soft)}
}
@media print{
@page{margin:14mm}
html{font-size:9.4pt}
body{line-height:1.35}
h2{margin:1.5rem 0 .4rem}h3{margin:1rem 0 .3rem}
p,ul,ol{margin:.3rem 0 .5rem}
th,td{padding:.22rem .8rem .22rem 0}
header,main,footer{max-width:none;padding-left:0;padding-right:0}
h2,h3{break-after:avoid}
figure,tr,li,.answer,.care{break-inside:avoid}
.answer{border:1.5pt solid #000}
}
"""


def page_css() -> str:
    """Every rule of the page but the typeface."""
    return (
        f":root{{color-scheme:light dark;{variables(LIGHT)}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{variables(DARK)}}}}}\n"
        f"@media print{{:root{{color-scheme:light;{variables(PRINT)}}}}}\n" + _RULES.strip() + "\n"
    )
