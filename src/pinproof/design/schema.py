"""The JSON Schema of the design file, made from the one description in `keys`.

Answers: what an editor may offer and underline while someone types.
Touches: nothing.
Source:  JSON Schema draft 2020-12 (open copy), <https://json-schema.org/draft/2020-12>.
Note:    what depends on several entries at once is said in words only; `load` checks it.
"""

from __future__ import annotations

import json
from typing import Any

from pinproof.design.keys import MOST_ENTRIES, TABLES, TRUCK, Key, Table

_TEXT = {"type": "string"}
_NAMES = {"type": "array", "items": _TEXT, "maxItems": MOST_ENTRIES}


def json_schema() -> dict[str, Any]:
    """The schema as plain data, in a fixed order."""
    parts = {table.name: _table(table) for table in TABLES.values() if table is not TRUCK}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Pinproof design file",
        **_table(TRUCK),
        "$defs": parts,
    }


def schema_text() -> str:
    """The content of docs/design-file.schema.json."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


def _table(table: Table) -> dict[str, Any]:
    found: dict[str, Any] = {
        "description": table.doc,
        "type": "object",
        "properties": {key.name: _key(key) for key in table.keys},
        "additionalProperties": False,
    }
    required = [key.name for key in table.keys if key.required]
    if required:
        found["required"] = required
    return found


def sentence(key: Key) -> str:
    """A key's meaning with when it is required and what holds without it."""
    said = key.doc
    if key.required or key.needed == "always":
        said += " Required."
    elif key.needed:
        said += f" Required if {key.needed}."
    if key.default:
        said += f" Without it: {key.default}."
    return said.strip()


def _key(key: Key) -> dict[str, Any]:
    found: dict[str, Any] = {"description": sentence(key), **_shape(key)}
    if key.example:
        found["examples"] = [_example(key.example)]
    return found


def _example(written: str) -> Any:
    import tomllib

    if written[0] in "{[" or written.replace(".", "", 1).isdigit():
        return tomllib.loads(f"example = {written}")["example"]
    return written


def _or_table(table: str) -> dict[str, Any]:
    return {"anyOf": [_TEXT, {"$ref": f"#/$defs/{table}"}]}


def _shape(key: Key) -> dict[str, Any]:
    """The schema of what a key of this kind may hold."""
    match key.kind:
        case "word":
            return {"enum": list(key.words)}
        case "refs" | "meanings":
            return dict(_NAMES)
        case "groups":
            return {"type": "array", "items": _NAMES, "maxItems": key.most}
        case "pair":
            return {"type": "array", "items": _TEXT, "minItems": 2, "maxItems": 2}
        case "chain":
            return {"type": "array", "items": {"anyOf": [_TEXT, _NAMES]}, "maxItems": MOST_ENTRIES}
        case "states":
            return {"type": "object", "additionalProperties": {"enum": list(key.words)}}
        case "lengths":
            return dict(_NAMES)
        case "codes":
            return {"type": "object", "additionalProperties": _TEXT}
        case "ratios":
            several = {"type": "array", "items": _or_table("range"), "maxItems": key.most or MOST_ENTRIES}
            return {"anyOf": [{"enum": list(key.words)}, several]}
        case "length_pairs":
            pair = {"type": "array", "items": _TEXT, "minItems": 2, "maxItems": 2}
            return {"type": "array", "items": pair, "maxItems": MOST_ENTRIES}
        case "amount":
            number = {"type": "number"} | ({} if key.least is None else {"minimum": key.least})
            return {"anyOf": [number, {"enum": list(key.words)}]} if key.words else number
        case "choice":
            return _or_table("number")
        case "flag":
            return {"type": "boolean"}
        case "whole":
            return {"type": "integer"} | ({} if key.least is None else {"minimum": int(key.least)})
        case "number" | "leak" | "reading" | "answer":
            return _or_table("number")
        case "range":
            return _or_table("range")
        case "resistor":
            return _or_table("resistor")
        case "element":
            tables = [{"$ref": f"#/$defs/{name}"} for name in ("resistor", "range", "number")]
            return {"anyOf": [_TEXT, *tables]}
        case "pull":
            return {"anyOf": [{"enum": list(key.words)}, {"$ref": "#/$defs/pull"}]}
        case "table":
            return {"$ref": f"#/$defs/{key.to}"}
        case "tables":
            return {
                "type": "array",
                "items": {"$ref": f"#/$defs/{key.to}"},
                "maxItems": key.most or MOST_ENTRIES,
            }
        case _:
            return dict(_TEXT)
