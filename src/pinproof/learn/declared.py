"""A dataclass from a tree that was read, with every field held against its declaration.

Answers: is what a session's file says what this program writes there, or damaged?
Touches: nothing.
"""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import is_dataclass
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")
LARGEST = 1e15
"""No ohms, volts, ratios or counts of a session are larger, save infinite ones. [1]"""


_KINDS: dict[type, dict[str, Any]] = {}


def _kinds(of: type) -> dict[str, Any]:
    if of not in _KINDS:
        _KINDS[of] = get_type_hints(of)
    return _KINDS[of]


def made_of(of: type[T], tree: Any) -> T:
    """The dataclass `of` with these fields.

    Raises
    ------
    TypeError
        A field is missing or unknown, or holds something else than is declared.
    """
    if not isinstance(tree, Mapping):
        raise TypeError(f"{of.__name__} is no table")
    kinds = _kinds(of)
    for name, value in tree.items():
        if name in kinds and not _fits(value, kinds[name]):
            raise TypeError(f"{name[:40]} is {str(value)[:40]!r}")
    return of(**tree)


def _fits(value: Any, kind: Any) -> bool:
    origin, inner = get_origin(kind), get_args(kind)
    if kind is float:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return number and (abs(value) < LARGEST or value == float("inf"))
    if kind is int:
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < LARGEST
    if kind in (str, bool):
        return isinstance(value, kind)
    if kind is type(None):
        return value is None
    if origin is Literal:
        return isinstance(value, str) and value in inner
    if origin in (Union, types.UnionType):
        return any(_fits(value, each) for each in inner)
    if origin is tuple:
        if not isinstance(value, tuple):
            return False
        if len(inner) == 2 and inner[1] is ...:
            return all(_fits(each, inner[0]) for each in value)
        return len(value) == len(inner) and all(_fits(*pair) for pair in zip(value, inner, strict=True))
    return isinstance(kind, type) and is_dataclass(kind) and isinstance(value, kind)
