"""Checked rows of the wiring tables made into the model.

Answers: the studs, feeds, loads, joints and stock of a file in which no fault was found.
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pinproof.design.model import Value
from pinproof.design.model_harness import (
    Cable,
    Driver,
    Feed,
    HarnessRules,
    Joint,
    Load,
    Relay,
    RelayContact,
    Seal,
    Stud,
    Switch,
    Terminal,
    WireChoice,
)
from pinproof.design.rows import Row

_LENGTHS = ("slack", "splice_worth", "splice_clear", "breakout_clear", "splice_length", "support", "support_end", "tie")
_SHARES = ("spare_wires", "spare_parts")
_NEVER_LISTED = ("contact", "from", "fuse", "insulation", "age")


def harness_tables(truck: Row) -> dict[str, Any]:
    """Fields of `Truck` that come from the wiring tables."""
    rules = truck.get("harness")
    plain = {
        "joints": ("joint", Joint), "studs": ("stud", Stud), "terminals": ("terminal", Terminal),
        "seals": ("seal", Seal), "switches": ("switch", Switch), "loads": ("load", Load),
        "drivers": ("driver", Driver),
    }  # fmt: skip
    found: dict[str, Any] = {
        field: tuple(made(**_fields(row)) for row in truck.rows(table)) for field, (table, made) in plain.items()
    }
    return found | {
        "harness": None if rules is None else _rules(rules),
        "cables": tuple(_cable(row) for row in truck.rows("cable")),
        "feeds": tuple(_feed(row) for row in truck.rows("feed")),
        "relays": tuple(_relay(row) for row in truck.rows("relay")),
        "wire_choices": tuple(WireChoice(**_stated(row, ()), path=row.path) for row in truck.rows("wire")),
    }


def _stated(row: Row, without: Iterable[str]) -> dict[str, Any]:
    """What a row states, by key; a key that was left out keeps the model's own default."""
    return {name: value for name, value in row.values.items() if name not in without}


def _fields(row: Row, *without: str) -> dict[str, Any]:
    """As `_stated`, with the row's path; a required number that is "none" stands as None."""
    return {**_stated(row, without), "path": row.path}


def _rules(row: Row) -> HarnessRules:
    stated: dict[str, Any] = {}
    for name, value in _stated(row, ("shrink", "sleeves")).items():
        if name in _LENGTHS:
            stated[f"{name}_m"] = value.value
        elif name in _SHARES:
            stated[name] = value.value
        elif name == "splice_limit":
            stated["splice_limit_c"] = value.value
        elif name == "pair_ohm":
            stated[name] = value.high
        else:
            stated[name] = value
    return HarnessRules(**stated, shrink_m=row.get("shrink", ()), sleeves_m=row.get("sleeves", ()))


def _cable(row: Row) -> Cable:
    known = {name: _known(row.get(name)) for name in ("insulation", "age")}
    return Cable(**_fields(row, *_NEVER_LISTED), **known)


def _known(value: Any) -> Any:
    return None if isinstance(value, str) else value


def _feed(row: Row) -> Feed:
    fuse = row.get("fuse")
    fuse_a = fuse.value if isinstance(fuse, Value) else 0.0 if fuse == "none" else None
    return Feed(**_fields(row, *_NEVER_LISTED), from_=row.get("from"), fuse_a=fuse_a)


def _relay(row: Row) -> Relay:
    contacts = tuple(RelayContact(**_fields(one)) for one in row.rows("contact"))
    return Relay(**_fields(row, *_NEVER_LISTED), contacts=contacts)
