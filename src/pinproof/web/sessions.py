"""Who may ask from another machine: one-time tokens, and the cookies they are changed for.

Answers: is this token good, is this cookie good, which token goes into the next QR code?
Touches: the system's source of random numbers and its clock. Nothing is written down: all ends with the server.
Limits:  a token serves once and for `TOKEN_S`; after `MOST_TRIES` wrong ones within `TRIES_S` none is looked at.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable

TOKEN_S = 600.0
SESSION_S = 43_200.0  # a long race day
MOST_TRIES, TRIES_S = 12, 60.0
MOST_SESSIONS = 20


class Sessions:
    """Tokens and sessions of one run of the server."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._token, self._token_from = "", 0.0
        self._sessions: dict[str, float] = {}
        self._wrong: deque[float] = deque()

    def token(self) -> str:
        """The token for the next guest: the same until it is used or too old."""
        with self._lock:
            if not self._token or self._clock() - self._token_from > TOKEN_S:
                self._token, self._token_from = secrets.token_urlsafe(18), self._clock()
            return self._token

    @property
    def is_blocked(self) -> bool:
        """Too many wrong tokens in the last minute."""
        now = self._clock()
        with self._lock:
            while self._wrong and now - self._wrong[0] > TRIES_S:
                self._wrong.popleft()
            return len(self._wrong) >= MOST_TRIES

    def join(self, token: str) -> str:
        """A new session for a good token, which is spent by that; "" for a wrong one."""
        if self.is_blocked:
            return ""
        now = self._clock()
        with self._lock:
            fresh = bool(self._token) and now - self._token_from <= TOKEN_S
            if not fresh or not hmac.compare_digest(token.encode("utf-8"), self._token.encode("utf-8")):
                self._wrong.append(now)
                return ""
            self._token = ""
            session = secrets.token_urlsafe(32)
            self._sessions[session] = now
            while len(self._sessions) > MOST_SESSIONS:
                self._sessions.pop(next(iter(self._sessions)))
            return session

    def knows(self, session: str) -> bool:
        """Whether this cookie belongs to a guest who joined."""
        now = self._clock()
        with self._lock:
            for known, begun in list(self._sessions.items()):
                if now - begun > SESSION_S:
                    del self._sessions[known]
                elif hmac.compare_digest(known.encode("utf-8"), session.encode("utf-8")):
                    return True
        return False

    @property
    def guests(self) -> int:
        """How many have joined."""
        with self._lock:
            return len(self._sessions)

    def end_all(self) -> None:
        """Every guest out, and the token spent."""
        with self._lock:
            self._sessions.clear()
            self._token = ""
