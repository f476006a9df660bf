"""How the pages look: the project's own page style, with what long pages of text need beside it; the search."""

from __future__ import annotations

from collections.abc import Iterable

from pinproof.pack.style import page_css
from pinproof.pack.typeface import font_css

_RULES = """
.frame{display:grid;grid-template-columns:15.5rem minmax(0,1fr);gap:0 2rem;max-width:84rem;margin:0 auto}
nav{border-right:1px solid var(--line);padding:1.2rem 1rem 2rem}
nav>details{position:sticky;top:1rem;max-height:calc(100vh - 2rem);overflow-y:auto}
nav h2{font-size:.95rem;margin:1rem 0 .15rem;color:var(--soft);font-weight:400}
nav ul{list-style:none;padding:0;margin:0}
nav li{margin:0}
nav li a{display:block;padding:.2rem .5rem;border-left:3px solid transparent;color:var(--ink);text-decoration:none;
font-size:1rem;line-height:1.3}
nav li a:hover,nav li a:focus-visible{border-left-color:var(--line);text-decoration:underline}
nav li a[aria-current]{border-left-color:var(--ink);font-weight:600}
nav summary{display:none}
.frame>main{max-width:58rem;margin:0;padding:1rem 1rem 3rem;min-width:0;width:100%}
a{color:var(--ink);text-underline-offset:.15em}
:focus-visible{outline:3px solid var(--open);outline-offset:2px}
.jump{position:absolute;left:-99rem}
.jump:focus{left:1rem;top:.5rem;background:var(--panel);padding:.4rem .8rem;z-index:2}
h1{margin-top:.6rem}
h1,h2,h3,h4{scroll-margin-top:1rem}
h4{font-size:1.05rem;line-height:1.3;margin:1.2rem 0 .3rem;font-weight:600}
a[id]{scroll-margin-top:1rem}
tr:has(a:target),:target{background:var(--panel)}
pre{background:var(--panel);border-left:3px solid var(--line);padding:.7rem .9rem;overflow-x:auto;margin:.6rem 0 1rem;
line-height:1.35}
pre,pre code,code{font-family:ui-monospace,"DejaVu Sans Mono",Consolas,Menlo,monospace;font-size:.86em}
pre code{font-size:1em;overflow-wrap:normal;white-space:pre}
pre{font-size:.86rem}
li code,td code{font-weight:400}
td code,li code,p code{background:var(--panel);padding:.05em .25em}
.scroll{overflow-x:auto}
td,th{overflow-wrap:break-word;min-width:4.5rem}
td code{overflow-wrap:anywhere}
@media screen and (min-width:46.01rem){td:first-child code{white-space:nowrap}}
main img{display:block;max-width:100%;height:auto;background:#fcfbf7;padding:.6rem;margin:.6rem 0 1.2rem}
.out{border-left:3px solid var(--line);padding-left:.9rem;margin:0 0 1.2rem;overflow-x:auto}
.out pre{border-left:0;margin:0}
.find{margin:0 0 .6rem}
.find[hidden]{display:none!important}
.find label{display:block;color:var(--soft);font-size:.95rem;margin-bottom:.2rem}
.find input{width:100%;font:inherit;color:var(--ink);background:var(--paper);border:1px solid var(--line);
padding:.35rem .5rem}
#way-found li a small{display:block;color:var(--soft)}
.turn{display:flex;justify-content:space-between;gap:1rem;flex-wrap:wrap;border-top:1px solid var(--line);
padding-top:.8rem;margin-top:2.5rem}
@media screen and (min-width:60.01rem){
nav details>:not(summary){display:block}
nav details::details-content{content-visibility:visible;block-size:auto}
}
@media screen and (max-width:60rem){
.frame{display:block}
nav{border-right:0;border-bottom:1px solid var(--line);padding:.4rem 1rem}
nav>details{position:static;max-height:none;overflow:visible}
nav summary{display:block;padding:.6rem 0;font-weight:600;cursor:pointer}
nav li a{padding:.55rem .5rem}
}
@media screen and (max-width:46rem){
td:empty{display:none}
td[data-label]::before{display:inline}
pre{font-size:.8rem}
}
@media print{
nav,.jump,.turn{display:none}
.frame{display:block;max-width:none}
.frame>main{max-width:none;padding:0}
pre,pre code{white-space:pre-wrap;font-size:8pt}
.scroll{overflow:visible}
main img{padding:0}
a{text-decoration:none}
}
"""

SEARCH = """"use strict";
(function () {
  const box = document.querySelector(".find");
  const input = document.getElementById("way-find");
  const list = document.getElementById("way-found");
  const up = document.body.dataset.up || "";
  const ways = document.querySelector(".ways");
  const wide = matchMedia("(min-width: 60.01rem)");
  const open = () => { if (wide.matches) { ways.open = true; } };
  open();
  wide.addEventListener("change", open);
  box.hidden = false;
  function show() {
    const words = input.value.toLowerCase().split(/\\s+/).filter(Boolean);
    list.replaceChildren();
    if (!words.length) { return; }
    const hits = [];
    for (const [text, page, anchor] of PINPROOF_FINDS) {
      const low = text.toLowerCase();
      if (words.every((word) => low.includes(word) || PINPROOF_PAGES[page][0].toLowerCase().includes(word))
          && words.some((word) => low.includes(word))) {
        hits.push([low === words.join(" ") ? 0 : low.startsWith(words[0]) ? 1 : 2, text, page, anchor]);
      }
    }
    hits.sort((a, b) => a[0] - b[0]);
    for (const [, text, page, anchor] of hits.slice(0, 12)) {
      const item = document.createElement("li");
      const link = document.createElement("a");
      const where = document.createElement("small");
      link.href = up + PINPROOF_PAGES[page][1] + (anchor ? "#" + anchor : "");
      link.textContent = text;
      where.textContent = PINPROOF_PAGES[page][0];
      link.append(where);
      item.append(link);
      list.append(item);
    }
    if (!hits.length) {
      const item = document.createElement("li");
      item.textContent = "Nothing has these words in its name.";
      list.append(item);
    }
  }
  input.addEventListener("input", show);
})();
"""


def style(letters: Iterable[str]) -> str:
    """All rules, with the letters of the typefaces that the pages use."""
    return f"{font_css(letters)}\n{page_css()}{_RULES.strip()}\n"
