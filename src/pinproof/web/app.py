"""The pages as an application: every address comes from the one route list.

Answers: a request as HTML, as JSON, or as a finding.
Touches: through pages, the workspace's folder. Engines run in threads, so that one slow page does not hold another.
"""

from __future__ import annotations

import base64
import hashlib
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route, compile_path

from pinproof.chain.measures import LINKS
from pinproof.errors import PinproofError
from pinproof.proof import as_json
from pinproof.web.commands import linked, ways_from
from pinproof.web.customary import customary
from pinproof.web.finding import Finding, finding_of
from pinproof.web.history import Standing
from pinproof.web.jobs import Jobs, TooBusy
from pinproof.web.page import (
    MOST_FORM_BYTES,
    Action,
    Ask,
    Done,
    File,
    Page,
    Settings,
    Upload,
    as_declared,
    whole_json,
)
from pinproof.web.render import INLINE_STYLE, environment, page_html, static_files, static_version
from pinproof.web.security import Gate, cookie_of
from pinproof.web.sessions import SESSION_S, Sessions
from pinproof.web.work import Work
from pinproof.web.workspace import Workspace

MOST_FIELDS = 4_000
COOKIE_S = 31_536_000
FOREVER = "public, max-age=31536000, immutable"


@dataclass
class Site:
    """What all requests share: the folder, results, jobs, guests, and the list of pages."""

    workspace: Workspace
    pages: tuple[Page, ...]
    port: int = 8765
    shared: tuple[str, ...] = ()  # names of this machine that guests may use
    work: Work = field(default_factory=Work)
    jobs: Jobs = field(default_factory=Jobs)
    sessions: Sessions = field(default_factory=Sessions)

    def page(self, name: str) -> Page:
        """A page by its name; KeyError if there is none."""
        return {each.name: each for each in self.pages}[name]

    def address(self, page: str, **values: str) -> str:
        """Address of a page, as "faults" or "faults/cures" for an action; what is no part of the path is the query."""
        name, _, action = page.partition("/")
        one = self.page(name)
        path, rest = one.path, {key: value for key, value in values.items() if value}
        for part in one.path_parameters:
            path = path.replace(f"{{{part}}}", quote(values[part], safe=""))
            rest.pop(part, None)
        rest.pop("design", None)
        if action:
            path = f"{path.rstrip('/')}/{action}"
        fragment = rest.pop("fragment", "")
        return path + (f"?{urlencode(rest)}" if rest else "") + (f"#{fragment}" if fragment else "")


def twin(path: str) -> str:
    """Address of the data side of a page."""
    return "/index.json" if path == "/" else f"{path}.json"


def make_app(site: Site) -> Gate:
    """The application behind its gate."""
    routes = [
        Route("/static/{version}/{name}", _static, methods=["GET"]),
        Route("/api.json", _described(site), methods=["GET"]),
        Route("/d/{design}", _to_chain, methods=["GET"]),
    ]
    limits: list[tuple[Any, int]] = []
    for page in site.pages:
        for is_json, path in ((True, twin(page.path)), (False, page.path)):
            routes.append(Route(path, _shows(site, page, is_json), methods=["GET"]))
        for action in page.actions:
            for is_json, ending in ((False, ""), (True, ".json")):
                path = f"{page.path.rstrip('/')}/{action.name}{ending}"
                routes.append(Route(path, _does(site, page, action, is_json), methods=["POST"]))
                limits.append((compile_path(path)[0], action.most_bytes))

    def limit(path: str) -> int:
        return next((most for pattern, most in limits if pattern.match(path)), MOST_FORM_BYTES)

    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return _told(site, _request_ask(site, request), _http_finding(error, request), _wants_json(request))

    inner = Starlette(routes=routes, exception_handlers={HTTPException: refused})
    packed = GZipMiddleware(inner, minimum_size=800, compresslevel=6)

    async def refuse(scope: Any, receive: Any, send: Any, fault: Finding) -> None:
        request = Request(scope, receive)
        response = _told(site, _request_ask(site, request), fault, _wants_json(request))
        if fault.status == 413:
            response.headers["connection"] = "close"
        await response(scope, receive, send)

    return Gate(packed, port=site.port, sessions=site.sessions, shared=site.shared, limits=limit, refuse=refuse)


def make_site(folder: Path, *, port: int = 8765, shared: tuple[str, ...] = ()) -> Site:
    """A site over one folder with every page of the route list."""
    from pinproof.web.routes import PAGES

    environment()  # read now, together with the code that fills them
    return Site(Workspace(folder), PAGES, port=port, shared=shared)


# what an address does


def _shows(site: Site, page: Page, is_json: bool) -> Callable[[Request], Any]:
    async def show(request: Request) -> Response:
        ask = _ask_of(site, page, request, is_json)
        return await run_in_threadpool(_shown, ask)

    return show


def _shown(ask: Ask) -> Response:
    try:
        _may(ask)
        ask.values = as_declared(ask.page.parameters, ask.values, required=ask.is_json)
        result = ask.page.result(ask)
        if isinstance(result, File):
            return _file(result)
        if ask.is_json:
            return JSONResponse(as_json(result))
        context = dict(ask.page.context(ask, result)) if ask.page.context is not None else {"result": result}
        return _html(ask, ask.page.template, context)
    except Exception as error:
        return _fault(ask, error)


def _does(site: Site, page: Page, action: Action, is_json: bool) -> Callable[[Request], Any]:
    async def do(request: Request) -> Response:
        ask = _ask_of(site, page, request, is_json)
        try:
            ask.form, ask.uploads = await _posted(request)
        except PinproofError as error:
            return _fault(ask, error)
        return await run_in_threadpool(_done, ask, action)

    return do


def _done(ask: Ask, action: Action) -> Response:
    try:
        _may(ask)
        ask.form = as_declared(action.parameters, ask.form, required=ask.is_json)
        done: Done = action.run(ask)
        response: Response
        if isinstance(done.result, File):
            response = _file(done.result)
        elif ask.is_json:
            response = JSONResponse(as_json(done.result))
        else:
            response = RedirectResponse(done.go or ask.address(ask.page.name), status_code=303)
        for name, value in done.cookies.items():
            age_s = COOKIE_S if name in ("units", "theme") else int(SESSION_S)
            response.set_cookie(name, value, httponly=True, samesite="strict", path="/", max_age=age_s)
        return response
    except Exception as error:
        return _fault(ask, error)


def _may(ask: Ask) -> None:
    if ask.page.local_only and not ask.local:
        raise Finding(403, "This page is only for the machine the program runs on.", "Go there.")


def _file(file: File) -> Response:
    if file.shown:
        return Response(file.data, media_type=file.kind, headers={"content-security-policy": own_policy(file.data)})
    name = file.name.replace('"', "").replace("\\", "")
    plain = name.encode("ascii", "replace").decode("ascii").replace("?", "_")
    shown = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}"
    return Response(file.data, media_type=file.kind, headers={"content-disposition": shown})


def own_policy(data: bytes) -> str:
    """A policy for a single-file page: its own style sheets by hash, typefaces and images inside it, no script."""
    sheets = re.findall(rb"<style>(.*?)</style>", data, re.DOTALL)
    hashes = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(each).digest()).decode()}'" for each in sheets)
    kerning = base64.b64encode(hashlib.sha256(INLINE_STYLE.split('"')[1].encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src {hashes} 'unsafe-hashes' 'sha256-{kerning}'; font-src data:; img-src data:; "
        "form-action 'none'; frame-ancestors 'none'; base-uri 'none'; sandbox allow-top-navigation-by-user-activation"
    )


async def _posted(request: Request) -> tuple[dict[str, Any], dict[str, Upload]]:
    """Form fields and files, from a form or from JSON."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind == "application/json":
        try:
            plain = whole_json(await request.body())
        except (ValueError, RecursionError) as error:
            raise Finding(400, f"This is not JSON: {error}.", "Send an object with the fields.") from None
        if not isinstance(plain, dict):
            raise Finding(400, "The JSON is not an object.", 'Send an object with the fields, {"base": "…"}.')
        return {str(key): value for key, value in plain.items()}, {}
    if kind not in ("application/x-www-form-urlencoded", "multipart/form-data", ""):
        raise Finding(400, f'"{kind[:60]}" is not read here.', "Send a form, or application/json.")
    try:
        posted = await request.form(max_files=50, max_fields=MOST_FIELDS, max_part_size=MOST_FORM_BYTES)
    except HTTPException as error:
        if error.status_code == 413:
            raise
        raise Finding(400, f"The form cannot be read: {error.detail}.", "Send it again.") from None
    form: dict[str, Any] = {}
    files: dict[str, Upload] = {}
    for name, value in posted.multi_items():
        if isinstance(value, UploadFile):
            files[name] = Upload(Path(value.filename or "").name, await value.read())
        elif name in form:
            form[name] = [*(form[name] if isinstance(form[name], list) else [form[name]]), value]
        else:
            form[name] = value
    await posted.close()
    return form, files


def _ask_of(site: Site, page: Page, request: Request, is_json: bool) -> Ask:
    values = {**dict(request.query_params), **{key: str(value) for key, value in request.path_params.items()}}
    ask = _request_ask(site, request)
    ask.page, ask.values, ask.is_json = page, values, is_json
    return ask


def _request_ask(site: Site, request: Request) -> Ask:
    header = request.headers.get("cookie", "")
    units, theme = cookie_of(header, "units"), cookie_of(header, "theme")
    settings = Settings(
        units if units in ("metric", "us") else "metric", theme if theme in ("light", "dark") else "auto"
    )
    local = bool(request.scope.get("state", {}).get("local", False))
    session = cookie_of(header, f"pinproof-{site.port}")
    path = request.url.path + (f"?{request.url.query}" if request.url.query and request.method == "GET" else "")
    return Ask(site, site.pages[0], {}, settings=settings, local=local, session=session, path=path)


# what goes out


def _html(ask: Ask, template: str, context: Mapping[str, Any], status: int = 200) -> Response:
    base = base_context(ask)
    design = base["design"]
    html = page_html(template, {**base, **context})
    html = linked(html, ways_from(ask, design is not None), design.path.name if design is not None else "")
    if ask.settings.units == "us":
        html = customary(html)
    return Response(html, status, media_type="text/html")


def base_context(ask: Ask) -> dict[str, Any]:
    """What every template may use: the request, addresses, the menu, the design as far as it can be read."""
    name = ask.values.get("design", "") if ask.page.of_design else ""
    design = None
    if name:
        try:
            design = ask.site.workspace.design(name)
        except PinproofError:
            design = None
    verdicts: dict[str, str] = {}
    standing = ask.site.workspace.standing(name) if design is not None else Standing()
    if design is not None and design.usable:
        verdicts = ask.site.work.verdicts(design, ask.site.workspace)
    return {
        "ask": ask, "page": ask.page, "design": design, "settings": ask.settings, "pages": ask.site.pages,
        "address": ask.site.address, "here": ask.address if design else ask.site.address, "verdicts": verdicts,
        "local": ask.local, "shared": bool(ask.site.shared), "data_address": _data_address(ask.path),
        "standing": standing, "stations": _stations(ask),
    }  # fmt: skip


def _stations(ask: Ask) -> list[tuple[str, Page | None, bool]]:
    """Each link of the chain with the page that is most about it, and whether the page shown stands behind it."""
    behind = [each for each in ask.site.pages if each.menu and each.of_design]
    found: list[tuple[str, Page | None, bool]] = []
    for link in LINKS:
        mine = [each for each in behind if link in each.links]
        best = min(mine, key=lambda each: len(each.links)) if mine else None
        found.append((link, best, ask.page in mine))
    return found


def _data_address(path: str) -> str:
    plain, mark, query = path.partition("?")
    return twin(plain) + mark + query


def _fault(ask: Ask, error: Exception) -> Response:
    if isinstance(error, TooBusy):
        error = Finding(503, str(error), "Look again in a minute.")
    if isinstance(error, PinproofError):
        return _told(ask.site, ask, finding_of(error), ask.is_json)
    traceback.print_exception(error, file=sys.stderr)
    fault = Finding(
        500, f"The program met a mistake of its own ({type(error).__name__}). No file was changed by this.",
        "What was printed in the window it was started from helps whoever mends it.",
    )  # fmt: skip
    return _told(ask.site, ask, fault, ask.is_json)


def _told(site: Site, ask: Ask, fault: Finding, is_json: bool) -> Response:
    if is_json:
        return JSONResponse(as_json(fault.as_json()), fault.status)
    return _html(ask, fault.template, {"fault": fault, **fault.context}, fault.status)


def _http_finding(error: HTTPException, request: Request) -> Finding:
    if error.status_code == 404:
        return Finding(404, f'There is no page "{request.url.path[:120]}".', "Begin at the first page.")
    if error.status_code == 405:
        return Finding(405, f"{request.method} is not answered here.", "Use the page's own form.")
    if error.status_code == 413:
        return Finding(413, "More was sent than this address takes.", "Send a smaller file.")
    return Finding(error.status_code, str(error.detail))


def _wants_json(request: Request) -> bool:
    return request.url.path.endswith(".json")


async def _static(request: Request) -> Response:
    found = static_files().get(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    fresh = request.path_params["version"] == static_version()
    headers = {"cache-control": FOREVER if fresh else "no-cache", "vary": "accept-encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(found.packed, media_type=found.kind, headers={**headers, "content-encoding": "gzip"})
    return Response(found.data, media_type=found.kind, headers=headers)


async def _to_chain(request: Request) -> Response:
    return RedirectResponse(f"/d/{quote(request.path_params['design'], safe='')}/chain")


def _described(site: Site) -> Callable[[Request], Any]:
    async def described(request: Request) -> Response:
        from pinproof.web.openapi import description

        return JSONResponse(description(site.pages))

    return described


def all_addresses(pages: Iterable[Page]) -> list[tuple[str, str]]:
    """Method and address of everything a page list answers, data twins included."""
    found = []
    for page in pages:
        found += [("GET", page.path), ("GET", twin(page.path))]
        for action in page.actions:
            base = f"{page.path.rstrip('/')}/{action.name}"
            found += [("POST", base), ("POST", f"{base}.json")]
    return found
