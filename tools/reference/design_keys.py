"""docs/reference/design-file.md: every key of every table, from the tables that the loader itself checks against."""

from __future__ import annotations

from pinproof.design.key import SAYS
from pinproof.design.keys import FORMAT, MOST_ENTRIES, NUMBER, PULL, RANGE, RESISTOR, TABLES, TRUCK, Key, Table
from pinproof.quantities import DIMENSIONS, format_value
from tools.reference.mark import anchor, anchor_name, code, page, table

QUANTITIES = (NUMBER, RANGE, RESISTOR, PULL)
INTRO = (
    "Every table of the design file with every key. What the entries mean in the circuit and in the proof is told in "
    "[the guide](../design-file.md); editors can use the [JSON Schema](../design-file.schema.json), made from the same "
    "list.",
    f"All keys are of format {FORMAT} unless one says otherwise. A quantity is written as text with its unit. Where a "
    'quantity may have a range, "a to b" or a table of its own will do: see [the last tables](#quantities). Lists hold '
    f"at most {MOST_ENTRIES} entries where no other number stands.",
)
_UNSIGNED = {"tolerance": "ratio"}  # a bound is written without the plus-minus sign


def header(name: str) -> str:
    """How a table is begun in a file: [supply], [[line.window]]."""
    kinds = {
        key.kind for each in TABLES.values() for key in each.keys if key.to == name and key.kind in ("table", "tables")
    }
    return f"[{name}]" if kinds == {"table"} else f"[[{name}]]"


def title(each: Table) -> str:
    """The heading of a table's part."""
    if each is TRUCK:
        return "Head of the file"
    return f"A {each.name} as a table" if each in QUANTITIES else header(each.name)


def key_anchor(each: Table, key: Key) -> str:
    """Where a key's row can be linked to."""
    return anchor_name(each.name, key.name)


def part(each: Table) -> str:
    """The part of one table."""
    level = "###" if each in QUANTITIES else "##"
    rows = [
        [f"{anchor(each.name, key.name)}{code(key.name)}", says(each, key), takes(key), must(key), example(key)]
        for key in each.keys
    ]
    listed = table(["key", "what it is", "takes", "needed", "example"], rows)
    named = f" Each is named by its {code(each.id_key)}." if each.id_key else ""
    return f"{level} {title(each)}\n\n{each.doc}{named}\n\n{listed}"


def says(each: Table, key: Key) -> str:
    """What a key is; with the format where it is younger than the first."""
    return key.doc + (f" Since format {key.since}." if key.since > 1 else "")


def takes(key: Key) -> str:
    """What may stand there: kind, unit, bounds, words."""
    said = SAYS[key.kind]
    words = " or ".join(code(f'"{word}"') for word in key.words)
    if key.kind in ("table", "tables"):
        most = f", at most {key.most}" if key.most else ""
        return f"{said}: {link(TABLES[key.to])}{most}"
    if key.kind in ("ref", "refs", "groups", "pair"):
        return f"{said} {link(TABLES[key.to])}" if key.to else said
    if key.kind == "word":
        return words
    parts = [f"{said}: {DIMENSIONS[key.dimension].phrase}" if key.dimension else said]
    if bounds := limits(key):
        parts.append(bounds)
    if key.kind == "states":
        return f"{said}: {words}"
    return ", ".join(parts) + (f"; or {words}" if words else "")


def limits(key: Key) -> str:
    """Bounds of a number, in words."""

    def shown(number: float, dimension: str) -> str:
        return format_value(number, dimension) if dimension else f"{number:g}"

    found = []
    if key.above is not None:
        found.append(f"above {shown(key.above, key.dimension)}")
    if key.least is not None:
        found.append(f"{shown(key.least, key.dimension)} or more")
    if key.below is not None:
        found.append(f"below {shown(key.below, _UNSIGNED.get(key.dimension, key.dimension))}")
    return ", ".join(found)


def must(key: Key) -> str:
    """Whether it must be there, and what holds without it."""
    if key.required or key.needed == "always":
        return "**always**"
    if key.needed:
        return f"if {key.needed}" + (f"; else {key.default}" if key.default else "")
    return f"no; then {key.default}" if key.default else "no"


def example(key: Key) -> str:
    """An example as it is written in a file."""
    if not key.example:
        return ""
    bare = key.example[0] in "{[" or key.kind in ("whole", "amount")
    return code(f"{key.name} = {key.example}" if bare else f'{key.name} = "{key.example}"')


def link(each: Table) -> str:
    """A link to a table's part."""
    shown = title(each) if each is TRUCK else code(title(each))
    return f"[{shown}](#{slug(each)})"


def slug(each: Table) -> str:
    """The anchor of a table's heading, as GitHub makes it; dots and brackets are left out of a heading's anchor."""
    return "".join(sign for sign in title(each).lower().replace(" ", "-") if sign.isalnum() or sign in "-_")


def page_text() -> str:
    """The whole page."""
    own = [each for each in TABLES.values() if each not in QUANTITIES]
    listed = table(
        ["table", "what it is"], [[link(each), each.doc] for each in own]
    )  # fmt: skip
    ways = "## Quantities\n\nAny quantity may be a table that also says where it comes from."
    return page("The keys of the design file", *INTRO, listed, *map(part, own), ways, *map(part, QUANTITIES))
