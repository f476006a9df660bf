"""Searches for a fault that are going on: what a line's engine has worked out is kept for the next question.

Answers: the diagnosis of one version of a line with what was told; where a search stands.
Touches: nothing. Only the last few are kept: each holds many thousand drawn trucks.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from pinproof.find import Advice, Diagnosis, Session

MOST_KEPT = 4
MOST_ANSWERS = 60


@dataclass
class Search:
    """One diagnosis with the answers it gave so far. Its lock lets one question be worked out at a time."""

    diagnosis: Diagnosis
    lock: threading.Lock = field(default_factory=threading.Lock)
    answers: OrderedDict[Any, Any] = field(default_factory=OrderedDict)

    def once(self, key: Any, make: Callable[[], Any]) -> Any:
        """What `make` gives, made once for this key."""
        with self.lock:
            if key not in self.answers:
                self.answers[key] = make()
                while len(self.answers) > MOST_ANSWERS:
                    self.answers.popitem(last=False)
            return self.answers[key]

    def advice(self, session: Session) -> Advice:
        """Where the search stands."""
        key = ("advice", session.seen, session.now, session.without, session.twice)
        found: Advice = self.once(key, session.advice)
        return found


class Searches:
    """The last few diagnoses."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[Any, Search] = OrderedDict()
        self._ahead = threading.Semaphore(1)

    def ahead(self, search: Search) -> None:
        """Work out the first question before somebody asks for it, one search at a time."""

        def work() -> None:
            try:
                search.advice(Session(search.diagnosis))
            finally:
                self._ahead.release()

        if self._ahead.acquire(blocking=False):
            threading.Thread(target=work, daemon=True).start()

    def known(self, key: Any) -> Search | None:
        """The search with this key, if it is there."""
        with self._lock:
            return self._kept.get(key)

    def of(self, key: Any, make: Callable[[], Diagnosis]) -> Search:
        """The search with this key, made if it is not there (any more). What `make` raises goes up."""
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
                return found
        made = Search(make())
        with self._lock:
            kept = self._kept.setdefault(key, made)
            self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            return kept
