"""A positive number that may lie anywhere in a range, and the four rules of reckoning with it.

Answers: between which ends does a product or a quotient lie?
Units:   whatever the numbers carry; the caller's names say which.
Touches: nothing.
Sources: interval arithmetic; with every number once in a formula the ends are attained (any textbook on intervals).
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.design.model import Value


@dataclass(frozen=True)
class Span:
    """``0 <= low <= value <= high``; `value` is the nominal."""

    low: float
    value: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.value <= self.high:
            raise ValueError(f"not a span of positive numbers in order: {self.low}, {self.value}, {self.high}")

    @staticmethod
    def exact(value: float) -> Span:
        """A single number."""
        return Span(value, value, value)

    @staticmethod
    def of(value: Value) -> Span:
        """A number of the file."""
        return Span(value.low, value.value, value.high)

    @property
    def is_exact(self) -> bool:
        """True if the range is a single number."""
        return self.low == self.high

    def __mul__(self, other: Span | float) -> Span:
        by = other if isinstance(other, Span) else Span.exact(other)
        return Span(self.low * by.low, self.value * by.value, self.high * by.high)

    __rmul__ = __mul__

    def __truediv__(self, other: Span | float) -> Span:
        by = other if isinstance(other, Span) else Span.exact(other)
        if by.low <= 0.0:
            raise ValueError("divided by a range that reaches zero")
        return Span(self.low / by.high, self.value / by.value, self.high / by.low)


def remains(share: Value | None) -> Span:
    """1 − share: what a slip passes on, what wear leaves. 1 where there is none. A negative slip is the overrun."""
    if share is None:
        return Span.exact(1.0)
    return Span(1.0 - share.high, 1.0 - share.value, 1.0 - share.low)
