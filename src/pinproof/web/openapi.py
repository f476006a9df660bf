"""The data side described as OpenAPI, made from the one route list.

Answers: which addresses are there, what do they take, what do they give, how do errors look?
Touches: nothing.
Sources: OpenAPI Specification 3.1.0 (OpenAPI Initiative).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pinproof import __version__
from pinproof.web.app import twin
from pinproof.web.page import Action, Page, Parameter

ERROR: dict[str, Any] = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["status", "title", "what", "where", "next", "faults"],
            "properties": {
                "status": {"type": "integer"},
                "title": {"type": "string"},
                "what": {"type": "string", "description": "What went wrong."},
                "where": {"type": "string", "description": "File, field or header it is about."},
                "next": {"type": "string", "description": "What to do next."},
                "faults": {
                    "type": "array",
                    "items": {
                        "type": "object",
                        "properties": {
                            "line": {"type": "integer"},
                            "column": {"type": "integer"},
                            "path": {"type": "string", "description": "Design path of the entry."},
                            "message": {"type": "string"},
                            "read": {"type": "string"},
                        },
                    },
                },
            },
        }
    },
}


def description(pages: Sequence[Page]) -> dict[str, Any]:
    """The whole description."""
    paths: dict[str, Any] = {}
    for page in pages:
        paths[twin(page.path)] = {"get": _operation(page.name, page.answers, page, page.parameters)}
        for action in page.actions:
            address = f"{page.path.rstrip('/')}/{action.name}.json"
            paths[address] = {"post": _action(page, action)}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Pinproof, data side of the pages",
            "version": __version__,
            "description": "Every page gives its result as JSON at its own address with .json. Numbers are SI; "
            "infinite ones are the texts inf and -inf, missing ones null.",
        },
        "paths": paths,
        "components": {"schemas": {"Error": ERROR}},
    }


def _operation(name: str, told: str, page: Page, parameters: Sequence[Parameter]) -> dict[str, Any]:
    in_path = [
        {"name": each, "in": "path", "required": True, "schema": {"type": "string"}} for each in page.path_parameters
    ]
    in_query = [
        {"name": each.name, "in": "query", "required": each.required, "description": each.doc, "schema": _schema(each)}
        for each in parameters
    ]
    return {
        "operationId": name.replace("/", "-"),
        "summary": told,
        "parameters": [*in_path, *in_query],
        "responses": _responses(page.gives_files),
    }


def _action(page: Page, action: Action) -> dict[str, Any]:
    body = {
        "type": "object",
        "properties": {each.name: {**_schema(each), "description": each.doc} for each in action.parameters},
        "required": [each.name for each in action.parameters if each.required],
    }
    content = {"multipart/form-data": {"schema": body}}
    if not any(each.kind == "file" for each in action.parameters):  # a file travels in a form only
        content = {"application/json": {"schema": body}, **content}
    return {
        **_operation(f"{page.name}-{action.name}", action.does, page, ()),
        "requestBody": {"required": any(each.required for each in action.parameters), "content": content},
    }


def _schema(one: Parameter) -> dict[str, Any]:
    if one.kind == "file":
        return {"type": "string", "format": "binary"}
    if one.many:
        return {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}
    return {"type": one.kind, **({"enum": ["", *one.words]} if one.words else {})}


def _responses(is_file: bool) -> dict[str, Any]:
    told, kind = ("The file itself.", "*/*") if is_file else ("The result.", "application/json")
    good = {"description": told, "content": {kind: {"schema": {}}}}
    bad = {
        "description": "A finding.",
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}},
    }
    return {"200": good, "default": bad}
