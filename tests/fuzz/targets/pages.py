"""Requests to the pages, in process: paths, queries, headers, bodies; up to four requests after each other."""

from __future__ import annotations

import asyncio
import json
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote_to_bytes, urlencode

from pinproof.design.load import text_hash
from pinproof.examples import example_path
from pinproof.web.app import Site, all_addresses, make_app, make_site
from pinproof.web.jobs import STOPPED, Job, Jobs
from pinproof.web.openapi import description
from pinproof.web.routes import PAGES
from tests.fuzz import mutate
from tests.fuzz.oracle import Broken
from tests.fuzz.target import Run, Target

DESIGN = "wagtail"
LOG = "Time,Engine,Tap\n" + "".join(f"{at / 10:.1f},{1500 + at},{at % 7 == 0:d}\n" for at in range(40))
FILES = {
    f"{DESIGN}.toml": example_path(DESIGN).read_bytes(),
    "day1.csv": LOG.encode(),
    "logger.toml": b'format = 1\n[time]\nheader = "Time"\nunit = "s"\nconfirmed = true\n[[channel]]\nrole = "engine"\n'
    b'header = "Engine"\nunit = "rpm"\nconfirmed = true\n',
    "drawer.toml": b'format = 1\n[[part]]\nohm = "1.5 kohm"\ntolerance = "1 %"\ncount = 10\n',
}
HASH = text_hash(FILES[f"{DESIGN}.toml"])
NEXT = b"\n%%%%\n"
VALUES = {
    "design": DESIGN, "base": HASH, "design_base": HASH, "line": "buttons", "input": "button_pin",
    "list": "up 2.88k, down 1.27k",
    "name": "Dune", "paper": "a4", "low": "10 ohm", "high": "100 kohm", "tolerance": "1 %", "parts": "E24 1 %",
    "ohm": "4k7",
    "count": "3", "station": "source", "typed": "1.2k", "at": "ohms idle", "press": "OL", "told": "water",
    "did": "ohms idle=OL",
    "go": "1", "logs": "day1.csv", "log": "day1.csv", "map": "logger.toml", "text": "format = 1\n", "token": "x",
    "job": "x",
    "units": "us", "theme": "dark", "sliders": '{"wear": 2}', "changes": '{"name": "Other"}', "knob": "wear",
    "from": "0",
    "to": "2", "table": "x", "number": "1", "why": "slip", "session": "", "accuracy": "0.5 % + 2", "role:N": "engine",
    "time:header": "Time", "switched": "fuse", "controls": "lever", "saved": "1", "state": "run", "situation": "up",
}  # fmt: skip


class NoJobs(Jobs):
    """Long work that is stopped before it begins: no process for each call."""

    def _follow(self, job: Job, work: str, arguments: tuple[Any, ...]) -> None:
        job.state = STOPPED


def seeds() -> Sequence[bytes]:
    """Every address once, filled in; actions as a form, as JSON, as a form of parts."""
    made = []
    for path, methods in description(PAGES)["paths"].items():
        for method, operation in methods.items():
            filled = path
            for name in (each["name"] for each in operation["parameters"] if each["in"] == "path"):
                filled = filled.replace(f"{{{name}}}", quote(VALUES.get(name, "x")))
            query = {
                one["name"]: VALUES.get(one["name"], "1") for one in operation["parameters"] if one["in"] == "query"
            }
            address = filled + (f"?{urlencode(query)}" if query else "")
            if method == "get":
                made += [
                    f"GET {address}\n\n".encode(),
                    f"GET {address.replace('.json', '', 1)}\ncookie: units=us\n\n".encode(),
                ]
                continue
            content = next(iter(operation["requestBody"]["content"].values()))
            fields = {name: VALUES.get(name, "") for name in content["schema"]["properties"]}
            head = f"POST {address}\n"
            form = "content-type: application/x-www-form-urlencoded\n\n"
            made.append((head.replace(".json", "", 1) + form + urlencode(fields)).encode())
            made.append((head + "content-type: application/json\n\n" + json.dumps(fields)).encode())
            parted = "".join(
                f'--b\r\ncontent-disposition: form-data; name="{name}"'
                + ('; filename="day2.csv"' if name in ("file", "list") else "") + f"\r\n\r\n{value}\r\n"
                for name, value in fields.items()
            )  # fmt: skip
            made.append((head + "content-type: multipart/form-data; boundary=b\n\n" + parted + "--b--\r\n").encode())
    return made


def _request(data: bytes) -> tuple[str, bytes, bytes, list[tuple[bytes, bytes]], bytes]:
    """Method, raw path, query, headers and body of one request; anything reads as some request."""
    head, _, body = data.partition(b"\n\n")
    first, *rest = head.split(b"\n")
    method, _, address = first.partition(b" ")
    path, _, query = address.partition(b"?")
    headers = [
        (name.strip().lower(), value.strip()) for name, _, value in (each.partition(b":") for each in rest) if name
    ]
    name = method.decode("latin-1")
    return (
        name if name in ("GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS") else "POST",
        path or b"/",
        query,
        headers,
        body,
    )


class Asker:
    """Asks the application without a socket."""

    def __init__(self, site: Site) -> None:
        self.app, self.loop = make_app(site), asyncio.new_event_loop()

    def ask(self, data: bytes) -> None:
        """One request; Broken for an answer that must not be."""
        method, path, query, headers, body = _request(data)
        named = {name for name, _ in headers}
        if b"host" not in named:
            headers.append((b"host", b"127.0.0.1:8765"))
        if b"content-length" not in named:
            headers.append((b"content-length", str(len(body)).encode()))
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
            "path": unquote_to_bytes(path).decode("utf-8", "replace"), "raw_path": path, "query_string": query,
            "headers": headers, "client": ("127.0.0.1", 50_000), "server": ("127.0.0.1", 8765), "root_path": "",
        }  # fmt: skip
        cut = zlib.crc32(data) % (len(body) + 1)
        left = [body[:cut], body[cut:]]
        given: list[Any] = []

        async def receive() -> Any:
            if left:
                part = left.pop(0)
                return {"type": "http.request", "body": part, "more_body": bool(left)}
            await asyncio.sleep(30.0)
            return {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            given.append(message)

        self.loop.run_until_complete(self.app(scope, receive, send))
        judged(given, method)


def judged(given: Sequence[Any], method: str) -> None:
    """See that there is one answer, that it is no mistake of the program, and that data are JSON."""
    starts = [each for each in given if each["type"] == "http.response.start"]
    if len(starts) != 1 or given[0] is not starts[0] or given[-1].get("more_body"):
        raise Broken("no answer, or half of one", repr([each["type"] for each in given]))
    status, headers = starts[0]["status"], {name.lower(): value for name, value in starts[0]["headers"]}
    body = b"".join(each.get("body", b"") for each in given if each["type"] == "http.response.body")
    if headers.get(b"content-encoding") == b"gzip":
        body = zlib.decompress(body, 31)
    if status >= 500:
        raise Broken(f"status {status}", body[:400].decode("utf-8", "replace"))
    if b"Traceback (most recent call last)" in body or b'File "' in body:
        raise Broken("a trace in an answer", body[:400].decode("utf-8", "replace"))
    if any(sign in value for value in headers.values() for sign in (b"\r", b"\n", b"\0")):
        raise Broken("a header that is two", repr(headers))
    if headers.get(b"content-type", b"").startswith(b"application/json") and method != "HEAD" and body:
        plain = json.loads(body)
        if status >= 400 and not plain["error"]["what"]:
            raise Broken("a refusal without a reason", body[:300].decode("utf-8", "replace"))


def begin(folder: Path) -> Run:
    """A site over one folder, put back as it was after each input."""
    home = folder / "home" / "trucks"
    home.mkdir(parents=True)
    site = make_site(home)
    site.jobs = NoJobs()
    asker = Asker(site)

    def put_back() -> None:
        for each in list(home.iterdir()):
            if each.is_file() and each.name not in FILES:
                each.unlink()
        for name, data in FILES.items():
            path = home / name
            if not path.is_file() or path.read_bytes() != data:
                path.write_bytes(data)

    def run(data: bytes) -> None:
        put_back()
        for each in data.split(NEXT)[:4]:
            asker.ask(each)
        if [each.name for each in home.parent.iterdir()] != ["trucks"] or [each.name for each in folder.iterdir()] != [
            "home"
        ]:
            raise Broken("something was written beside the folder", repr(list(folder.rglob("*"))))
        half = [each.name for each in home.iterdir() if each.name.endswith((".part", ".tmp"))]
        if half:
            raise Broken("half a file was left", ", ".join(half))

    return run


WORDS = (
    *(path for _, path in all_addresses(PAGES)), f"/d/{DESIGN}/", ".json", "?", "&", "=", "%00", "%2e%2e%2f", "%ff",
    "\n%%%%\n",
    HASH, "content-type: application/json", "content-type: multipart/form-data; boundary=b", "content-length: 5",
    "origin: null",
    "cookie: units=us; theme=dark", "content-type: text/plain", "--b\r\n", "filename*=UTF-8''%ff", '{"base": null}',
    "[1]",
    '{"changes": {"line.buttons.idle": null}}', "NaN", "1e999", '"\\ud800"', "accept-encoding: gzip",
    "host: evil.example",
    "sec-fetch-site: cross-site", "transfer-encoding: chunked", "range: bytes=0-1", "x" * 5000,
    "content-length: " + "9" * 5000,
    *(f"{name}={quote(value)}" for name, value in VALUES.items()),
)  # fmt: skip
KINDS = (*mutate.TEXT, mutate.cell, mutate.splice, mutate.insert)
TARGETS = (
    Target("web", "requests to the pages", ("pinproof.web",), begin, seeds, KINDS, WORDS, limit_s=30.0),
)  # fmt: skip
