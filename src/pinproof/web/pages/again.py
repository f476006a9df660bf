"""A page shown again after an answer that could not be taken: what was typed stays, and the reason stands beside it.

Answers: which finding shows this page again?
Touches: nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

from pinproof.errors import PinproofError
from pinproof.web.finding import Finding, finding_of
from pinproof.web.page import Ask


def at(ask: Ask, address: str) -> Ask:
    """The same request as if it had asked for this address, its query included."""
    _, _, query = address.partition("?")
    values = {**dict(parse_qsl(query, keep_blank_values=True)), **_path_values(ask)}
    return dataclasses.replace(ask, path=address, values=values)


def _path_values(ask: Ask) -> dict[str, str]:
    return {name: ask.values[name] for name in ask.page.path_parameters}


def shown_again(ask: Ask, address: str, fault: PinproofError, more: Mapping[str, Any]) -> Finding:
    """The page at an address with `wrong` in its context; programs get the fault alone."""
    told = finding_of(fault)
    if ask.is_json or ask.page.context is None:
        return told
    before = at(ask, address)
    context = dict(ask.page.context(before, ask.page.result(before)))
    plain, mark, query = address.partition("?")
    own = {"ask": before, "data_address": f"{plain}.json{mark}{query}"}
    return dataclasses.replace(
        told, template=ask.page.template, context={**context, **own, "wrong": str(told.what), "then": told.next, **more}
    )
