"""What all tests share: reproducible random search, the project's place, and the programs the drawing tests need.

A test that needs a browser or `pdftoppm` fails when there is none; it is never skipped, because a skipped test
reads like a passed one. `python3 dev.py test` installs what is missing or says how to.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

import dev

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# "fixed" draws the same examples on every machine; HYPOTHESIS_PROFILE=search looks for new ones.
settings.register_profile("fixed", derandomize=True, deadline=None, database=None)
settings.register_profile("search", derandomize=False, deadline=None, max_examples=1000, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fixed"))

# No sandbox: CI runs as root. The rest keeps Chromium from calling home in the background.
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="session")
def project_root() -> Path:
    """Folder that holds dev.py, src/ and docs/."""
    return dev.ROOT


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Path of a Chromium-family browser."""
    found = dev.find_chromium()
    if found is None:
        pytest.fail(dev.missing_programs_advice(["chromium"]), pytrace=False)
    return found


@pytest.fixture(scope="session")
def pdftoppm_path() -> str:
    """Path of the program that turns PDF pages into images."""
    found = dev.find_pdftoppm()
    if found is None:
        pytest.fail(dev.missing_programs_advice(["pdftoppm"]), pytrace=False)
    return found


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Browser]:
    """A running headless browser; open a fresh context per test: `with browser.new_context() as context`."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium_path, args=CHROMIUM_ARGUMENTS)
        yield running
        running.close()
