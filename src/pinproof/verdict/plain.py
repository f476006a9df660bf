"""Results as plain JSON values: the part that every room has in common.

Answers: what a frozen result, a list, a verdict or a number looks like as JSON.
Touches: nothing.
How:     each room's `as_json` says what is its own and hands the rest to `plain`, with itself as the way down.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from enum import Enum
from typing import Any

Walk = Callable[[Any], Any]


def plain(result: Any, walk: Walk, *, infinite: bool = True) -> Any:
    """A result as dictionaries, lists, texts, numbers and null.

    Parameters
    ----------
    result : object
        A frozen dataclass, a mapping, a tuple or list, an enumeration's word, a number, a text or None.
    walk : callable
        The room's own `as_json`, for what is inside.
    infinite : bool
        True: infinite numbers are "inf" and "-inf"; False: null. What is no number is null either way.

    Examples
    --------
    >>> from pinproof.verdict import Verdict
    >>> from pinproof.verdict.plain import plain
    >>> def walk(result):
    ...     return plain(result, walk)
    >>> walk({"verdict": Verdict.PASS, "ohm": (1.5, float("inf"), float("nan"))})
    {'verdict': 'pass', 'ohm': [1.5, 'inf', None]}
    """
    if isinstance(result, float):
        if math.isfinite(result):
            return result
        return None if math.isnan(result) or not infinite else "inf" if result > 0.0 else "-inf"
    if isinstance(result, Enum):
        return result.value
    if dataclasses.is_dataclass(result) and not isinstance(result, type):
        return fields_of(result, walk)
    if isinstance(result, dict):
        return {str(key): walk(value) for key, value in result.items()}
    if isinstance(result, tuple | list):
        return [walk(each) for each in result]
    return result


def fields_of(result: Any, walk: Walk) -> dict[str, Any]:
    """The fields of a dataclass, each as JSON, in their order."""
    return {each.name: walk(getattr(result, each.name)) for each in dataclasses.fields(result)}
