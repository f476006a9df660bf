"""The data side against its own description: whatever is sent, an answer as described, never a mistake of the program.

The description is what `/api.json` gives; Schemathesis makes calls from it, such as fit it and such as do not, and
judges the answers by it (status, kind of content, schema). `HYPOTHESIS_PROFILE=search` makes a hundred calls
each.
"""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from pinproof.web.app import Site, make_app, make_site
from pinproof.web.jobs import STOPPED, Job, Jobs
from pinproof.web.openapi import description
from pinproof.web.routes import PAGES
from tests.web_client import folder_with

NAME = "wagtail"  # the smallest example: what is tried here is what may be sent, not how long a proof takes
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance,
    unsupported_method,
]  # fmt: skip
CALLS = 6 if os.environ.get("HYPOTHESIS_PROFILE", "fixed") == "fixed" else 100


class NoJobs(Jobs):
    """Long work that is stopped before it begins: no process for each call."""

    def _follow(self, job: Job, work: str, arguments: tuple[Any, ...]) -> None:
        job.state = STOPPED


class OverSocket:
    """The application as if it were asked over its own socket: client and Host as Schemathesis cannot set them."""

    def __init__(self, app: Callable[..., Awaitable[None]], port: int) -> None:
        self.app, self.port = app, port

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            kept = [pair for pair in scope["headers"] if pair[0] != b"host"]
            headers = [*kept, (b"host", b"127.0.0.1:%d" % self.port)]
            scope = {**scope, "client": ("127.0.0.1", 50_000), "headers": headers}
        await self.app(scope, receive, send)


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> tuple[Site, Any]:
    """A site over one folder, and its description as Schemathesis reads it from the site itself."""
    site = make_site(folder_with(tmp_path_factory.mktemp("trucks"), NAME))
    site.jobs = NoJobs()
    schema = schemathesis.openapi.from_asgi("/api.json", OverSocket(make_app(site), site.port))
    assert schema.raw_schema["openapi"] == "3.1.0"
    return site, schema


def operations() -> list[str]:
    """Method and address of everything described."""
    return [f"{method.upper()} {path}" for path, methods in description(PAGES)["paths"].items() for method in methods]


@pytest.mark.parametrize("name", operations())
def test_whatever_is_sent_the_answer_is_as_described(name: str, tried: tuple[Site, Any]) -> None:
    """Fitting and unfitting calls, on a design that is there, with the right hash now and then."""
    site, schema = tried
    method, _, path = name.partition(" ")
    operation = schema[path][method]
    kept = site.workspace.design(NAME).text

    @settings(
        max_examples=CALLS,
        derandomize=CALLS < 100,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(data=st.data(), good=st.booleans(), known=st.sampled_from((True, True, True, False)))
    def call(data: st.DataObject, good: bool, known: bool) -> None:
        mode = GenerationMode.POSITIVE if good else GenerationMode.NEGATIVE
        case = data.draw(operation.as_strategy(generation_mode=mode))
        if known and "design" in (case.path_parameters or {}):
            case.path_parameters["design"] = NAME
        if known and good and isinstance(case.body, dict) and "base" in case.body:
            case.body["base"] = site.workspace.design(NAME).hash
        checks = CHECKS if good else [*CHECKS, negative_data_rejection]
        case.call_and_validate(checks=checks)

    try:
        call()
    finally:
        (site.workspace.folder / f"{NAME}.toml").write_text(kept, encoding="utf-8")
        for each in site.workspace.files():
            if each.name not in (f"{NAME}.toml",):
                each.unlink()
