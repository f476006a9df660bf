"""Work done ahead of the one who waits: order, errors at their place, an end when nobody waits any more."""

from __future__ import annotations

import threading
import time
from collections.abc import Generator, Iterator

from pinproof.logs.ahead import ahead, several_at_once


def counting(to: int, closed: list[int], fail_at: int = -1) -> Generator[int, None, None]:
    try:
        for k in range(to):
            if k == fail_at:
                raise KeyError(k)
            yield k
    finally:
        closed.append(to)


def test_the_same_in_the_same_order() -> None:
    closed: list[int] = []
    assert list(ahead(counting(50, closed))) == list(range(50))
    assert closed == [50]
    assert list(several_at_once(lambda k: k * k, range(50))) == [k * k for k in range(50)]


def test_slow_ones_do_not_change_the_order() -> None:
    def slow(k: int) -> int:
        time.sleep(0.01 if k % 2 else 0.0)
        return k

    assert list(several_at_once(slow, range(12), threads=3)) == list(range(12))


def until_it_fails(made: Iterator[int]) -> tuple[list[int], str]:
    """What came before the error, and the kind of error."""
    got: list[int] = []
    try:
        for k in made:
            got.append(k)
    except (KeyError, ValueError) as error:
        return got, type(error).__name__
    return got, ""


def test_an_error_comes_where_it_would_have_come() -> None:
    assert until_it_fails(ahead(counting(9, [], fail_at=4))) == ([0, 1, 2, 3], "KeyError")
    assert until_it_fails(several_at_once(int, counting(9, [], fail_at=4))) == ([0, 1, 2, 3], "KeyError")


def test_an_error_of_the_work_itself() -> None:
    def bad(k: int) -> int:
        if k == 3:
            raise ValueError(k)
        return k

    assert until_it_fails(several_at_once(bad, range(9))) == ([0, 1, 2], "ValueError")


def test_who_stops_early_leaves_no_thread_and_no_open_generator() -> None:
    before = threading.active_count()
    closed: list[int] = []
    some: Iterator[int] = ahead(counting(1_000_000, closed))
    assert [next(some), next(some)] == [0, 1]
    some.close()  # type: ignore[attr-defined]
    assert closed == [1_000_000]
    made: list[int] = []

    def noted(k: int) -> int:
        made.append(k)
        return k

    more = several_at_once(noted, range(1_000_000))
    assert next(more) == 0
    more.close()  # type: ignore[attr-defined]
    assert len(made) < 10
    assert threading.active_count() == before


def test_no_more_is_made_than_is_waited_for() -> None:
    taken: list[int] = []

    def given() -> Iterator[int]:
        for k in range(100):
            taken.append(k)
            yield k

    made = several_at_once(int, given(), threads=2)
    next(made)
    assert len(taken) <= 3
    made.close()  # type: ignore[attr-defined]
