"""Weights of causes: the shipped table, the owner's copy of it, and what symptoms do to them.

Answers: how likely is each mechanism before anything was looked at.
Units:   per cent, scaled to 1 later.
Touches: the shipped table; an owner's file only through text that is handed in.
Sources: docs/find.md; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

from pinproof.design.load import toml_of
from pinproof.errors import PinproofError, printable

Column = Literal["new build", "in service"]
COLUMNS: tuple[Column, ...] = ("new build", "in service")
LEAST_UNLISTED = 0.01
UNLISTED, SOUND = "not on this list", "nothing wrong on this line"
SYMPTOMS = ("water", "worked-on", "steering", "loads", "intermittent", "never-worked", "shifts-by-itself")

_FLEXING = ("broken conductor at a flexing place", "terminal not seated", "fretting or contact growth")
_LOOSE = ("chafe to ground", "chafe to supply", "terminal not seated", "fretting or contact growth", "cold solder",
          "broken conductor at a flexing place")  # fmt: skip


@dataclass
class CausesFault(PinproofError, ValueError):
    """An owner's table of weights that cannot be used."""

    name: str
    read: str
    right: str

    def __str__(self) -> str:
        told = printable(f"{self.name}: {self.read[:300]}. Right would be {self.right}.")
        return f"{told} `pinproof find --write-causes` writes a table."


@dataclass(frozen=True)
class Weights:
    """Per cent of each cause, by column."""

    new_build: Mapping[str, float]
    in_service: Mapping[str, float]

    def column(self, column: Column) -> dict[str, float]:
        """One column."""
        return dict(self.new_build if column == "new build" else self.in_service)


def table_text() -> str:
    """The shipped table, as an owner may edit it."""
    return files("pinproof.find").joinpath("causes.toml").read_text(encoding="utf-8")


def weights_of(text: str | None = None, name: str = "causes") -> Weights:
    """Weights from an owner's table, or the shipped ones.

    Raises
    ------
    CausesFault
        Not TOML, an unknown cause, a weight that is not a number from 0 to 100, nothing above 0.
    """
    shipped = _parsed(table_text(), "shipped table")
    if text is None:
        return _weights(shipped)
    own = _parsed(text, name)
    for cause, row in own.items():
        if cause not in shipped:
            raise CausesFault(name, f'"{cause}" is not a cause', "one of " + ", ".join(f'"{each}"' for each in shipped))
        if not isinstance(row, dict) or set(row) != {"new_build", "in_service"}:
            raise CausesFault(name, f'"{cause}" has {row!r}', "{ new_build = 2, in_service = 18 }")
        for column, weight in row.items():
            if isinstance(weight, bool) or not isinstance(weight, int | float) or not 0.0 <= weight <= 100.0:
                raise CausesFault(name, f'"{cause}".{column} is {weight!r}', "a number of per cent, 0 to 100")
    merged = _weights(shipped | own)
    for column in COLUMNS:
        if not any(weight > 0.0 for cause, weight in merged.column(column).items() if cause not in (UNLISTED, SOUND)):
            raise CausesFault(name, f'no cause of "{column}" has a weight', "at least one above 0")
    return merged


def _parsed(text: str, name: str) -> dict[str, dict[str, float]]:
    try:
        table = toml_of(text)
    except (ValueError, RecursionError) as fault:  # thousands of digits or brackets are no TOMLDecodeError
        raise CausesFault(name, f"not TOML: {fault}", "a table [cause]") from None
    if set(table) != {"cause"} or not isinstance(table["cause"], dict):
        raise CausesFault(name, f"tables {', '.join(table) or 'none'}", "one table [cause]")
    return table["cause"]


def _weights(table: dict[str, dict[str, float]]) -> Weights:
    return Weights(
        {cause: float(row["new_build"]) for cause, row in table.items()},
        {cause: float(row["in_service"]) for cause, row in table.items()},
    )


def with_symptoms(weights: Weights, column: Column, said: frozenset[str]) -> dict[str, float]:
    """One column with the multipliers of what was said. `worked-on` acts on places and is not done here."""
    if "never-worked" in said:
        column = "new build"
    out = weights.column(column)

    def times(factor: float, *causes: str) -> None:
        for cause in causes:
            out[cause] *= factor

    if "water" in said:
        times(10.0, "pin-to-pin leak")
        times(2.0, "fretting or contact growth")
    if "steering" in said:
        times(10.0, *_FLEXING)
    if "loads" in said:
        times(10.0, "ground or reference")
    if "intermittent" in said:
        times(3.0, *_LOOSE)
        times(0.2, "wrong resistor")
    if "never-worked" in said:
        times(5.0, "setting or lever code", "wrong throw")
    return out
