"""The socket, the browser window, and the names under which this machine can be reached.

Answers: `pinproof serve` as a running server.
Touches: one TCP port of this machine; with sharing, the local network; the system's browser.
"""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pinproof.errors import PinproofError
from pinproof.web.app import Site, make_app, make_site

DEFAULT_PORT = 8765
MOST_PORTS = 20


@dataclass
class PortTaken(PinproofError):
    """No port could be had."""

    port: int
    why: str

    def __str__(self) -> str:
        return f"Port {self.port} cannot be used ({self.why}). Give another one: --port {self.port + 1}"


def listen(port: int | None, *, everywhere: bool) -> socket.socket:
    """A socket on loopback, or on every address of this machine. Without a port, the first free one from 8765 on."""
    wishes = [port] if port is not None else list(range(DEFAULT_PORT, DEFAULT_PORT + MOST_PORTS))
    why = ""
    for each in wishes:
        one = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows: nobody else may take the same port
                one.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            one.bind(("0.0.0.0" if everywhere else "127.0.0.1", each))
        except (OSError, OverflowError) as error:
            one.close()
            why = getattr(error, "strerror", "") or str(error)
            continue
        one.listen(64)
        return one
    raise PortTaken(wishes[0], why)


def own_names() -> tuple[str, ...]:
    """Addresses of this machine in the local network, the likeliest first. Nothing is sent to find them."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): asks the routing table, sends no packet
        found.append(one.getsockname()[0])
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(dict.fromkeys(each for each in found if not each.startswith(("127.", "0."))))


def serve(
    folder: Path, *, port: int | None = None, share: bool = False, browser: bool = True,
    say: Callable[[str], None] = print,
) -> None:  # fmt: skip
    """Serve a folder until Ctrl+C."""
    import uvicorn

    names = own_names() if share else ()
    one = listen(port, everywhere=bool(names))
    chosen = one.getsockname()[1]
    site = make_site(folder, port=chosen, shared=names)
    address = f"http://127.0.0.1:{chosen}/"
    say(f"Pinproof shows {site.workspace.folder} at {address}")
    if share:
        say(_share_words(site, names, chosen))
    say("Ctrl+C ends it.")
    config = uvicorn.Config(
        make_app(site), log_level="warning", access_log=False, server_header=False, lifespan="off", proxy_headers=False,
        timeout_keep_alive=30, h11_max_incomplete_event_size=65_536, timeout_graceful_shutdown=2,
    )  # fmt: skip
    server = uvicorn.Server(config)
    if browser:
        threading.Timer(0.3, webbrowser.open, (address,)).start()
    try:
        server.run(sockets=[one])
    finally:
        site.jobs.stop_all()
        one.close()


def join_address(site: Site) -> str:
    """What the QR code holds. The token stands behind "#", which browsers do not send and servers cannot log."""
    return f"http://{site.shared[0]}:{site.port}/join#{site.sessions.token()}"


def _share_words(site: Site, names: tuple[str, ...], port: int) -> str:
    if not names:
        return "This machine has no address in a network, so nothing is shared."
    import io

    import segno

    out = io.StringIO()
    segno.make(join_address(site), error="m").terminal(out, compact=True)
    return (
        f"{out.getvalue()}\nScan this with a phone in the same network. The code serves one phone; the next one is at "
        f"http://127.0.0.1:{port}/share\nShare only in a network you trust: what travels is not encrypted."
    )
