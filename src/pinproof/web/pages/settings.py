"""Units and theme, kept in two cookies of this browser."""

from __future__ import annotations

from typing import Any

from pinproof.web.page import Action, Ask, Done, Page, Parameter

CHOICES = {"units": ("metric", "us"), "theme": ("auto", "light", "dark")}


def result(ask: Ask) -> dict[str, Any]:
    """What is set, and what can be."""
    return {"units": ask.settings.units, "theme": ask.settings.theme, "choices": CHOICES}


def _keep(ask: Ask) -> Done:
    kept = {name: ask.text(name) for name, words in CHOICES.items() if ask.text(name) in words}
    return Done(kept, ask.back(ask.site.address("workspace")), cookies=kept)


PAGE = Page(
    "settings", "/settings", "Units and looks", "Which units and which theme does this browser show?", result,
    "settings.html",
    actions=(
        Action(
            "keep", "Keeps units or theme for this browser.", _keep,
            (
                Parameter("units", "Metric or US units.", words=CHOICES["units"]),
                Parameter("theme", "By the system, light, or dark.", words=CHOICES["theme"]),
                Parameter("back", "Address to go back to."),
            ),
        ),
    ),
    menu=False,
)  # fmt: skip
