"""The JSON Schema, the guide and the loader say the same, because they come from one description."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from pinproof.design import DesignFault, loads
from pinproof.design.keys import TABLES
from pinproof.design.schema import json_schema, schema_text

from .test_design_samples import SAMPLES

ROOT = Path(__file__).parents[2]


def test_published_schema_is_the_generated_one():
    """Write it anew with: python -c "from pinproof.design.schema import schema_text; print(schema_text(), end='')"."""
    assert (ROOT / "docs" / "design-file.schema.json").read_text(encoding="utf-8") == schema_text()


def test_schema_is_valid_and_accepts_the_samples():
    jsonschema.Draft202012Validator.check_schema(json_schema())
    validator = jsonschema.Draft202012Validator(json_schema())
    for name, text in SAMPLES.items():
        assert [error.message for error in validator.iter_errors(tomllib.loads(text))] == [], name


def test_schema_refuses_what_the_loader_refuses_in_a_single_entry():
    validator = jsonschema.Draft202012Validator(json_schema())
    for old, new in [
        ('compares = "reference"', 'compares = "refrence"'),
        ('filter = "1 ms"', 'fliter = "1 ms"'),
        ('filter = "1 ms"', "filter = 1"),
        ('id = "pp-test01"\n', ""),
        ("full_counts = 1023", "full_counts = 0"),
        ('pull_down = "none"', 'pull_down = "1k"'),
    ]:
        raw = tomllib.loads(SAMPLES["pull_up"].replace(old, new, 1))
        assert list(validator.iter_errors(raw)), new


def test_every_key_has_a_sentence_and_every_reference_exists():
    for table in TABLES.values():
        assert len({key.name for key in table.keys}) == len(table.keys)
        for key in table.keys:
            assert key.doc.endswith((".", "…")), (table.name, key.name)
            if key.kind in ("table", "tables"):
                assert key.to in TABLES
            if key.kind in ("number", "range", "leak"):
                assert key.dimension
            if key.kind == "word":
                assert key.words


def test_every_key_of_the_guide_is_described_and_the_other_way_round():
    """Keys at the start of a line in the guide's TOML blocks, against the tables they stand in."""
    guide = (ROOT / "docs" / "design-file.md").read_text(encoding="utf-8")
    shown: dict[str, set[str]] = {}
    for block in re.findall(r"```toml\n(.*?)```", guide, re.DOTALL):
        table = "truck"
        for line in block.splitlines():
            header = re.match(r"\[+([a-z.]+)\]+", line)
            if header:
                table = header[1]
            key = re.match(r"([a-z_]+)\s*=", line)
            if key:
                shown.setdefault(table, set()).add(key[1])
    shown["temperature"] -= {"low", "high"}
    for table, keys in shown.items():
        known = {key.name for key in TABLES[table].keys} if table in TABLES else set()
        assert keys <= known, (table, keys - known)
    optional = {"name", "note", "basis"}  # the guide says once that every table may have them
    for name, table in TABLES.items():
        if name in shown:
            missing = {key.name for key in table.keys if key.kind not in ("table", "tables")} - shown[name] - optional
            assert not {key for key in missing if f"`{key}" not in guide and f"{key} =" not in guide}, name


def test_the_guide_shows_entries_that_can_be_read():
    """Its blocks together are no truck (they show every key at once), but no single entry may be wrong."""
    guide = (ROOT / "docs" / "design-file.md").read_text(encoding="utf-8")
    text = "\n".join(re.findall(r"```toml\n(.*?)```", guide, re.DOTALL))
    with pytest.raises(DesignFault) as caught:
        loads(text, "guide")
    together = ("No contact has", "No place has", "No target", "has no", "Choose one", "once", "pull", "The line has")
    wrong = [str(fault) for fault in caught.value.faults if not any(part in fault.message for part in together)]
    assert wrong == []


def test_every_key_reaches_the_model():
    """A key that is read and then forgotten would be a silent lie: each has a field of its name, or is known to turn
    into another."""
    renamed = {"found": "by_substitution", "with_pull": "with_pull_ohm", "windows": "free", "with": "with_",
               "window": "windows", "target": "targets", "situation": "situations", "element": "elements",
               "value": "resistor", "cavity": "cavities"}  # fmt: skip
    truck = loads(SAMPLES["pull_up"])
    line = truck.lines[0]
    models = {"input": truck.inputs[0], "line": line, "line.window": line.windows[0],
              "line.situation": line.situations[0],
              "contact": truck.contacts[0], "device": truck.devices[0], "place": truck.places[0], "run": truck.runs[0],
              "plug": truck.plugs[0], "plug.cavity": truck.plugs[0].cavities[0], "supply": truck.supply,
              "defaults": truck.defaults, "line.target": loads(SAMPLES["ladders"]).lines[0].targets[0],
              "line.element": loads(SAMPLES["elements"]).lines[0].elements[0]}  # fmt: skip
    for name, model in models.items():
        fields = {field.name for field in dataclasses.fields(model)}
        for key in TABLES[name].keys:
            if (name, key.name) in {("supply", "note"), ("defaults", "note")}:
                continue
            own = key.name if key.name in fields else renamed.get(key.name)
            assert own in fields, (name, key.name)
