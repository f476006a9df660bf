"""Work that is done ahead of the one who waits for it.

Answers: the same things in the same order, made in a thread of their own.
Units:   none.
Touches: nothing.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar, cast

DEPTH = 2
_LONGEST_WAIT_S = 30.0
_NO_MORE = object()
Given = TypeVar("Given")
Made = TypeVar("Made")


def ahead(made: Generator[Made, None, None], depth: int = DEPTH) -> Iterator[Made]:
    """What a generator yields, up to `depth` of it made before it is asked for.

    An error is raised where it would have been. When the caller stops early, the generator is closed in its thread.
    """
    box: queue.Queue[tuple[str, Any]] = queue.Queue(maxsize=depth)
    stop = threading.Event()

    def put(kind: str, what: Any = None) -> None:
        while not stop.is_set():
            try:
                box.put((kind, what), timeout=0.2)
                return
            except queue.Full:
                continue

    def work() -> None:
        try:
            for each in made:
                put("made", each)
                if stop.is_set():
                    break
            made.close()
            put("end")
        except BaseException as error:  # told to the one who waits
            put("error", error)

    thread = threading.Thread(target=work, name="log reader", daemon=True)
    thread.start()
    try:
        while True:
            kind, what = box.get()
            if kind == "end":
                return
            if kind == "error":
                raise what
            yield what
            del what  # not kept while the next is waited for
    finally:
        stop.set()
        thread.join(timeout=_LONGEST_WAIT_S)


def several_at_once(make: Callable[[Given], Made], given: Iterable[Given], threads: int = 2) -> Iterator[Made]:
    """What `make` makes of each, in the order given, so many of them in the making at the same time.

    `given` is asked in the caller's own thread; where it fails, what was begun before is given out first. For work that
    leaves the interpreter's lock to others.
    """
    pool = ThreadPoolExecutor(threads, thread_name_prefix="log reader")
    waiting: deque[Future[Made]] = deque()
    failed: Exception | None = None
    source = iter(given)
    try:
        while True:
            try:
                each = next(source, _NO_MORE)
            except Exception as error:  # raised below, when its turn has come
                failed, each = error, _NO_MORE
            if each is _NO_MORE:
                break
            waiting.append(pool.submit(make, cast("Given", each)))
            if len(waiting) > threads:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    if failed is not None:
        raise failed
