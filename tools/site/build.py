"""The folder of pages, and whether every link in it leads somewhere."""

from __future__ import annotations

import argparse
import json
import posixpath
import shutil
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

from tools.site.look import SEARCH, style
from tools.site.order import address, pages
from tools.site.page import Page, framed, rendered

ROOT = Path(__file__).resolve().parents[2]
MARK = ".pinproof-site"
USUAL = ROOT / "dist" / "site"


class Occupied(Exception):
    """The folder holds something else."""


def build(folder: Path) -> list[Page]:
    """Write every page into a folder, and what they need; a folder of an earlier build is made anew.

    Raises
    ------
    Occupied
        The folder holds files and was not written by this.
    """
    if folder.exists() and any(folder.iterdir()):
        if not (folder / MARK).is_file():
            raise Occupied(f"{folder} holds other files. Name an empty folder, or a new one.")
        shutil.rmtree(folder)
    made = [rendered(path, (ROOT / path).read_text(encoding="utf-8")) for path in pages()]
    titles = {page.path: page.title for page in made}
    letters = set("0123456789")
    for page in made:
        whole = framed(page, titles)
        letters |= set(whole)
        _write(folder / address(page.path), whole)
        for name in page.files:
            source = ROOT / name
            if source.is_file():
                target = folder / name
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source, target)
    _write(folder / "style.css", style(letters))
    _write(folder / "search.js", SEARCH)
    _write(folder / "search-index.js", _index(made))
    _write(folder / MARK, "Written by `python3 dev.py site`; the next build writes this folder anew.\n")
    return made


def _index(made: list[Page]) -> str:
    listed = [[page.title, address(page.path)] for page in made]
    finds = [[words, at, anchor] for at, page in enumerate(made) for words, anchor in page.finds]
    plain = [json.dumps(each, ensure_ascii=False, separators=(",", ":")) for each in (listed, finds)]
    return f"const PINPROOF_PAGES={plain[0]};\nconst PINPROOF_FINDS={plain[1]};\n"


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


class Reader(HTMLParser):
    """The ids, links and loaded things of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.ids.append(given["id"])
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        if tag in ("img", "script") and "src" in given:
            self.loads.append(given["src"])
        if tag == "link" and "href" in given:
            self.loads.append(given["href"])


def read(path: Path) -> Reader:
    """What a page holds."""
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    return reader


def broken(folder: Path) -> list[str]:
    """A sentence for each link, anchor or picture of our pages that leads nowhere, and each that needs a network."""
    ours = {address(path): read(folder / address(path)) for path in pages()}
    said: list[str] = []
    for name, reader in ours.items():
        twice = {each for each in reader.ids if reader.ids.count(each) > 1}
        said += [f'{name}: the anchor "{each}" stands twice' for each in sorted(twice)]
        for target in reader.loads:
            if urlsplit(target).scheme or target.startswith("//"):
                said.append(f"{name} loads {target} from a network")
        for target in (*reader.links, *reader.loads):
            parts = urlsplit(target)
            if parts.scheme or target.startswith("//"):
                continue
            there = (
                posixpath.normpath(posixpath.join(posixpath.dirname(name), unquote(parts.path))) if parts.path else name
            )
            if not (folder / there).is_file():
                said.append(f"{name} links to {target}: there is no such file")
            elif parts.fragment and there in ours and unquote(parts.fragment) not in ours[there].ids:
                said.append(f"{name} links to {target}: there is no such anchor")
    return said


def main(arguments: list[str]) -> int:
    """Build, look at every link; 1 if one leads nowhere, 2 if the folder is taken."""
    parser = argparse.ArgumentParser(prog="site", description="Write the pages of the project as HTML.")
    parser.add_argument("-o", "--output", type=Path, default=USUAL, metavar="FOLDER", help="default: dist/site")
    folder = parser.parse_args(arguments).output
    try:
        made = build(folder)
    except Occupied as reason:
        print(reason, file=sys.stderr)
        return 2
    said = broken(folder)
    print("\n".join(said) if said else f"{len(made)} pages, every link leads somewhere. Open {folder / 'index.html'}")
    return 1 if said else 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT / "src"))
    sys.exit(main(sys.argv[1:]))
