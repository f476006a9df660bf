"""Who may ask, for how much, and with which rules the answer is shown.

Answers: is this request from this machine or an invited one, under a name that is ours, from a page of ours?
Touches: nothing. It stands before every page as ASGI middleware.
Sources: Fetch Standard (WHATWG) for Origin and Sec-Fetch-Site; Content Security Policy Level 3 (W3C); RFC 9110 for
         status 413 and 421. Names that lead here though another page asked (DNS rebinding) are met by the Host check.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.exceptions import HTTPException

from pinproof.web.finding import Finding

if TYPE_CHECKING:
    from pinproof.web.sessions import Sessions

Scope = dict[str, Any]
Send = Callable[[Any], Awaitable[None]]
LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = (
    (b"content-security-policy", CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), payment=(), usb=()"),
    (b"x-frame-options", b"DENY"),
)
LONGEST_ADDRESS = 4_000
_QUERY_SIGNS = "!\"#$%&'()*+,/:;<=>?@[\\]^`{|} "
ONCE = frozenset({"host", "origin", "content-length", "sec-fetch-site", "sec-fetch-mode"})  # may not come twice


def is_loopback(host: str) -> bool:
    """Whether a client's address is this machine's own."""
    try:
        address = ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return bool((mapped or address).is_loopback)


class Gate:
    """ASGI middleware. `shared` are the names of this machine that guests may use, empty without sharing."""

    def __init__(
        self, app: Callable[..., Awaitable[None]], *, port: int, sessions: Sessions, shared: tuple[str, ...] = (),
        limits: Callable[[str], int], refuse: Callable[..., Awaitable[None]],
    ) -> None:  # fmt: skip
        self.app = app
        self.port = port
        self.sessions = sessions
        self.shared = frozenset(shared)
        self.limits = limits
        self.refuse = refuse

    async def __call__(self, scope: Any, receive: Callable[[], Awaitable[Any]], send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        if not scope.get("query_string", b"").isascii():  # as a browser would have sent it
            scope = {**scope, "query_string": quote(scope["query_string"], safe=_QUERY_SIGNS).encode("ascii")}
        sent = _with_headers(send, scope["path"])
        try:
            self.check(scope)
        except Finding as fault:
            await self.refuse(scope, receive, sent, fault)
            return
        limit = self.limits(scope["path"])
        await self.app(scope, _Counted(receive, limit), sent)

    def check(self, scope: Scope) -> None:
        """Finding for whoever may not ask."""
        headers: dict[str, str] = {}
        for raw_name, raw_value in scope["headers"]:
            name, value = raw_name.decode("latin-1").lower(), raw_value.decode("latin-1")
            if name in ONCE and headers.get(name, value) != value:
                raise Finding(400, f"{name} came twice and differs.", "Open the page here and do it from it.", name)
            headers[name] = value
        client = (scope.get("client") or ("", 0))[0]
        here = is_loopback(client)
        scope.setdefault("state", {})["local"] = here
        if len(scope["path"]) + len(scope.get("query_string", b"")) > LONGEST_ADDRESS:
            raise Finding(400, "This address is longer than any of this program's.", "Go back to the first page.")
        names = LOCAL_NAMES if here else self.shared
        host = headers.get("host", "")
        if host.lower() not in {f"{name}:{self.port}" for name in names | (self.shared if here else frozenset())}:
            raise Finding(
                421, f'"{host[:80]}" is not a name under which this program answers.',
                f"Open http://127.0.0.1:{self.port}/ on the machine it runs on.", "Host",
            )  # fmt: skip
        self._check_origin(scope["method"], headers, host)
        length = headers.get("content-length", "")
        limit = self.limits(scope["path"])
        if length and (not length.isdecimal() or len(length) > 18 or int(length) > limit):
            raise too_large(limit)
        path = scope["path"]
        open_path = path in ("/join", "/join.json", "/join/token", "/join/token.json") or path.startswith("/static/")
        if not here and not open_path:
            session = cookie_of(headers.get("cookie", ""), f"pinproof-{self.port}")
            if not session or not self.sessions.knows(session):
                raise Finding(
                    403, "This device has not joined.",
                    "Scan the code that the share page shows on the machine the program runs on.",
                )  # fmt: skip

    def _check_origin(self, method: str, headers: Mapping[str, str], host: str) -> None:
        origin, site = headers.get("origin", ""), headers.get("sec-fetch-site", "")
        foreign = bool(origin) and origin.lower() != f"http://{host.lower()}"
        moves = method not in ("GET", "HEAD")
        crossed = site in ("cross-site", "same-site")
        if foreign or (crossed and (moves or headers.get("sec-fetch-mode") != "navigate")):
            raise Finding(
                403, f"Another page ({(origin or site)[:80]}) asked for this. It was not done.",
                "Open the page here and do it from it.", "Origin",
            )  # fmt: skip


def too_large(limit: int) -> Finding:
    """What was sent is larger than this address takes."""
    return Finding(413, f"What was sent is larger than {limit / 1e6:g} MB.", "Send a smaller file.")


def cookie_of(header: str, name: str) -> str:
    """One cookie of a Cookie header; "" if it is not there."""
    for part in header.split(";"):
        key, _, value = part.strip().partition("=")
        if key == name:
            return value
    return ""


class _Counted:
    """`receive` that stops at a number of bytes."""

    def __init__(self, receive: Callable[[], Awaitable[Any]], limit: int) -> None:
        self._receive, self._left = receive, limit

    async def __call__(self) -> Any:
        message = await self._receive()
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            if self._left < 0:
                raise HTTPException(413)
        return message


def _with_headers(send: Send, path: str) -> Send:
    async def sent(message: Any) -> None:
        if message["type"] == "http.response.start":
            own = [pair for pair in message.get("headers", []) if pair[0].lower() != b"server"]
            named = {name.lower() for name, _ in own}
            extra = [pair for pair in HEADERS if pair[0] not in named]
            if b"cache-control" not in named and not path.startswith("/static/"):
                extra.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*own, *extra]}
        await send(message)

    return sent
