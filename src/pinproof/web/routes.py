"""The one list of pages. Routes, data twins, menu, /api.json and docs/web.md all follow it.

Answers: which pages there are, in the order of the menu.
Touches: nothing.
"""

from __future__ import annotations

from pinproof.web.page import Page
from pinproof.web.pages import (
    card,
    chain,
    choose,
    downloads,
    drawer,
    faults,
    find,
    gears,
    harness,
    inhibit,
    instrument,
    jobs,
    learn,
    log,
    log_map,
    meter,
    new,
    proof,
    record,
    settings,
    share,
    text,
    truck,
    workspace,
)

PAGES: tuple[Page, ...] = (
    workspace.PAGE,
    new.PAGE,
    chain.PAGE,
    truck.PAGE,
    choose.PAGE,
    drawer.PAGE,
    proof.PAGE,
    faults.PAGE,
    inhibit.PAGE,
    harness.PAGE,
    learn.PAGE,
    meter.PAGE,
    record.PAGE,
    find.PAGE,
    card.PAGE,
    gears.PAGE,
    log.PAGE,
    downloads.PAGE,
    text.PAGE,
    chain.VERDICT,
    chain.STATE,
    proof.LIMITS,
    downloads.FILE,
    harness.ONE,
    gears.TABLE,
    log_map.PAGE,
    log.STRETCH,
    log.PLAN,
    log.ONE,
    record.LIST,
    card.SAVED,
    instrument.PAGE,
    jobs.PAGE,
    settings.PAGE,
    share.PAGE,
    share.JOIN,
)
