"""The pages in the order of the job's chain, so that reading from first to last is the way of the job."""

from __future__ import annotations

NOTEBOOK = "docs/examples/sandpiper.ipynb"

ORDER: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Begin", (
        "README.md",
        "docs/install.md",
        "docs/tutorials/up-and-down.md",
        "docs/tutorials/what-does-this-pin-want.md",
        "docs/tutorials/after-the-river.md",
        "docs/gallery.md",
    )),
    ("Switch and resistor", ("docs/design-file.md", "docs/drawer.md")),
    ("Wire", ("docs/harness.md", "docs/inhibit.md")),
    ("Pin and reading", ("docs/learn.md", "docs/meter.md")),
    ("Meaning", ("docs/checks.md",)),
    ("Gear", ("docs/driveline.md",)),
    ("Log", ("docs/logs.md", "docs/log-files.md")),
    ("Repair", ("docs/faults.md", "docs/find.md")),
    ("In the browser", ("docs/web.md",)),
    ("References", (
        "docs/reference/commands.md",
        "docs/reference/design-file.md",
        "docs/reference/checks.md",
        "docs/reference/errors.md",
        "docs/reference/library.md",
        NOTEBOOK,
    )),
    ("Behind it", (
        "docs/validation.md",
        "docs/benchmarks.md",
        "docs/architecture.md",
        "docs/glossary.md",
        "CHANGELOG.md",
    )),
)  # fmt: skip


def pages() -> tuple[str, ...]:
    """Every page, first to last."""
    return tuple(each for _, group in ORDER for each in group)


def address(path: str) -> str:
    """Where a page of the project stands in the folder."""
    if path == "README.md":
        return "index.html"
    stem, _, ending = path.rpartition(".")
    return f"{stem}.html" if ending in ("md", "ipynb") else path
