"""Compare or write the references: python -m tools.reference [--write]."""

from __future__ import annotations

import sys

from tools.reference import ROOT, pages


def main(arguments: list[str]) -> int:
    """Ends with 1 if a page is stale and was not written."""
    write = "--write" in arguments
    stale = []
    for name, text in pages().items():
        path = ROOT / name
        if path.is_file() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if write:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
    said = "written anew" if write else "stale; `python3 dev.py docs` writes it anew"
    print("\n".join(f"{name}: {said}" for name in stale) or "All references are as the code says.")
    return 0 if write or not stale else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
