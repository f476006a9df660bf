"""What one coded line must be together with its input and its contacts.

Answers: which keys its form needs or cannot have, which circuits cannot work, which contacts cannot be told apart.
Touches: nothing.
Beside:  `crosswindows` looks at its windows and targets.
"""

from __future__ import annotations

from itertools import pairwise

from pinproof.design.crossnames import Names
from pinproof.design.crosswindows import check_windows
from pinproof.design.messages import listed, nearest
from pinproof.design.model import UNKNOWN
from pinproof.design.rows import Row
from pinproof.quantities import format_ohm_short

MOST_CONTACTS = 16
"""Contacts that one line may have: every set of them is a situation to be proven, 65,536 at most."""

RAILS = ("ground", "return", "feed", "battery", "reference")

_ONLY_WITH = {
    "idle_resistor": ("pull-up", "pull-down", "divider"),
    "wire": ("pull-up", "pull-down", "divider", "ladder"),
    "source_wire": ("pull-up", "pull-down", "divider", "ladder"),
    "top_resistor": ("divider",),
    "ladder_to": ("ladder",),
    "end_resistor": ("ladder",),
    "source_side": ("elements",),
    "element": ("elements",),
}


def needs_feed(line: Row) -> bool:
    """True if the line's circuit has a feed rail."""
    form = line.get("form")
    if form == "ladder":
        return bool(line.get("ladder_to") == "supply")
    if form == "elements":
        return line.get("source_side") == "feed" or any(
            "feed" in row.get("between", ()) for row in line.rows("element")
        )
    return form in ("pull-down", "divider")


def check_line(names: Names, row: Row) -> None:
    """One line with its elements, situations, windows and targets."""
    pin = names.ref(row, "input", "input")
    form = row.get("form")
    contacts = names.contacts_on.get(row.id, []) if row.id else []
    if row.id and not contacts:
        names.reader.row_fault(
            row, "id", f'No contact is on this line. Write [[contact]] with line = "{row.id}".', row.id
        )
    if len(contacts) > MOST_CONTACTS:
        names.reader.row_fault(
            row,
            "id",
            f"{len(contacts)} contacts are on this line; {MOST_CONTACTS} is the most, "
            f"because every set of operated contacts is proven. Divide the line.",
        )
    _alone_on_its_pin(names, row)
    if form is not None:
        _form(names, row, form)
    _enable(names, row, form)
    _situations(names, row)
    if form == "elements":
        _elements(names, row, contacts)
    elif form == "ladder":
        _ladder(names, contacts)
    if form not in (None, "ladder", "elements"):
        _aliases(names, row, contacts)
    check_windows(names.reader, names.truck, row, pin, contacts)
    if pin is not None and form is not None:
        _floats(names, row, pin, form)


def _alone_on_its_pin(names: Names, row: Row) -> None:
    first = next((each for each in names.truck.rows("line") if each.get("input") == row.get("input")), row)
    if first is not row and row.get("input"):
        said = f'The line "{first.id}" is on this input too. Presses on both at once are not proven. Put all contacts '
        said += "of this pin on one line if you can; station tells them apart."
        names.reader.warn(row, "input", said)


def _form(names: Names, row: Row, form: str) -> None:
    because = f'form is "{form}"'
    if form != "elements":
        for key in ("wire", "source_wire"):
            names.need(row, key, because, '{ low = "0 ohm", high = "1 ohm" }')
    if form in ("pull-up", "pull-down", "divider"):
        names.need(row, "idle_resistor", because, '"none"')
    if form == "divider":
        names.need(row, "top_resistor", because, '"1 kohm"')
        if row.has("top_resistor") and not row.bad("top_resistor") and row.get("top_resistor") is None:
            names.reader.row_fault(
                row, "top_resistor", 'A divider has a top resistor. Without one the form is "pull-up".'
            )
    if form == "ladder":
        names.need(row, "ladder_to", because, '"ground"')
        names.need(row, "end_resistor", because, '"none"')
    if form == "elements":
        names.need(row, "source_side", because, '"return"')
        if not row.has("element"):
            names.reader.row_fault(row, "element", 'form = "elements" needs a list. Write [[line.element]].')
    if needs_feed(row):
        names.need(row, "feed_from", "the line has a feed", '"battery"')
        names.need(row, "feed_drop", "the line has a feed", '{ low = "0 V", high = "0.5 V" }')
    elif form != "ladder" or row.has("ladder_to"):
        for key in ("feed_from", "feed_drop"):
            if row.get(key) is not None:
                names.reader.warn(row, key, "Nothing on this line uses a feed; this has no effect.")
    for key, forms in _ONLY_WITH.items():
        if row.has(key) and form not in forms and (row.bad(key) or row.get(key) is not None):
            names.reader.row_fault(
                row,
                key,
                f'A line of form "{form}" has no "{key}": it would not be in the circuit. '
                f"Leave it out; it belongs to {listed(forms)}.",
            )


def _enable(names: Names, row: Row, form: str | None) -> None:
    enable = row.get("enable")
    if enable is None:
        if row.get("taps_fed") is not None:
            names.reader.row_fault(
                row, "taps_fed", 'There is no enable contact to feed through. Name it: enable = "…".'
            )
        return
    if form == "ladder":
        names.reader.row_fault(row, "enable", "A ladder has no enable contact. Leave it out.", enable)
        return
    if form not in (None, "elements"):
        names.need(row, "taps_fed", "there is an enable contact", '"through enable"')
    if names.on_line(row, "enable", row.id, [enable]):
        action = names.by_id["contact"][enable].get("action")
        if action == "momentary":
            names.reader.row_fault(
                row, "enable", f'"{enable}" is momentary; an enable contact must be maintained.', enable
            )


def _situations(names: Names, row: Row) -> None:
    first: dict[frozenset[str], Row] = {}
    for rule in row.rows("situation"):
        operated = rule.get("operated")
        if operated is None or not names.on_line(rule, "operated", row.id, operated):
            continue
        key = frozenset(operated)
        if key in first:
            line = names.reader.places.line(first[key].at)
            names.reader.row_fault(rule, "operated", f"The same set is ruled at line {line} already. Keep one.")
        first.setdefault(key, rule)
        why = names.impossible(key)
        if why:
            names.reader.warn(rule, "operated", f"This cannot happen: {why}. The rule has no effect.")


def _elements(names: Names, row: Row, contacts: list[Row]) -> None:
    used: dict[str, Row] = {}
    nodes: dict[str, list[Row]] = {}
    for element in row.rows("element"):
        for node in element.get("between", ()):
            nodes.setdefault(node, []).append(element)
        kind = element.get("kind")
        if kind is None:
            continue
        if kind == "contact":
            names.need(element, "contact", 'kind is "contact"', '"lever_up"')
            if element.has("value"):
                names.reader.row_fault(
                    element, "value", "A contact's resistances stand in its [[contact]]. Leave this out."
                )
        else:
            names.need(element, "value", f'kind is "{kind}"', '"1 kohm"')
            if element.has("contact"):
                names.reader.row_fault(
                    element, "contact", f'A {kind} has no contact. Leave it out, or kind = "contact".'
                )
            if kind == "resistor" and "value" in element.values and element.values["value"] is None:
                names.reader.row_fault(element, "value", 'A resistor of "none" is no element. Leave the element out.')
        name = element.get("contact")
        if name is not None and names.on_line(element, "contact", row.id, [name]):
            if name in used:
                names.reader.row_fault(
                    element, "contact", f'"{name}" is the element "{used[name].id}" already; one switch, one place.'
                )
            used.setdefault(name, element)
    if not row.rows("element"):
        return
    for contact in contacts:
        if contact.id and contact.id not in used:
            names.reader.row_fault(
                contact,
                "id",
                f'No element of the line "{row.id}" is this contact. Write [[line.element]] with '
                f'kind = "contact" and contact = "{contact.id}".',
            )
    complete = all("between" in element.values for element in row.rows("element"))
    if complete and "pin" not in nodes:
        names.reader.row_fault(row, "element", 'No element reaches the pin. One must have "pin" in its between.')
    for node, touching in nodes.items():
        if complete and len(touching) == 1 and node != "pin" and node not in RAILS:
            near = nearest(node, [other for other in (*nodes, *RAILS, "pin") if other != node])
            cure = f' Was "{near}" meant?' if near else ""
            names.reader.warn(touching[0], "between", f'The node "{node}" leads nowhere else.{cure}')


def _ladder(names: Names, contacts: list[Row]) -> None:
    for former, contact in pairwise(contacts):
        if "resistor" not in contact.values or contact.get("resistor") is not None:
            continue
        if former.get("asks") == contact.get("asks") or not former.id:
            continue
        names.reader.row_fault(
            contact,
            "resistor",
            f'With no resistor between them, "{former.id}" and "{contact.id}" sit at the same node and cannot be '
            "told apart. Give it a value.",
        )


def _aliases(names: Names, row: Row, contacts: list[Row]) -> None:
    """Two branches between the same nodes with the same resistor, asking different things."""
    seen: dict[tuple[object, ...], Row] = {}
    for contact in contacts:
        if "resistor" not in contact.values or not contact.id:
            continue
        resistor = contact.get("resistor")
        ohm = 0.0 if resistor is None else resistor.get("ohm")
        is_enable = contact.id == row.get("enable") and row.get("taps_fed") == "through enable"
        if ohm is None or is_enable:
            continue
        same = (
            ohm,
            contact.get("kind"),
            frozenset(contact.get("with", ())),
            frozenset(contact.get("only_when", ())),
        )
        other = seen.setdefault(same, contact)
        if other is not contact and other.get("asks") != contact.get("asks"):
            written = "no resistor" if resistor is None else f"a resistor of {format_ohm_short(ohm)}"
            names.reader.row_fault(
                contact,
                "resistor",
                f'"{other.id}" asks "{other.get("asks")}" through {written} too: the pin cannot tell it from '
                f'"{contact.get("asks")}". Give them different values.',
            )


def _floats(names: Names, row: Row, pin: Row, form: str) -> None:
    if pin.bad("pull_up") or pin.bad("pull_down") or not pin.has("pull_up") or not pin.has("pull_down"):
        return
    up, down = pin.get("pull_up"), pin.get("pull_down")
    feed = needs_feed(row)
    if up is None and down is None and (not feed or form == "pull-down" or row.get("ladder_to") == "supply"):
        names.reader.warn(
            row,
            "input",
            f'The input "{pin.id}" has no pull and the line does not hold it: the pin floats while nothing is '
            "operated, and its reading is not known.",
        )
    elif up is None and not feed and up is not UNKNOWN:
        names.reader.warn(
            row, "input", f'Nothing pulls the input "{pin.id}" up: it reads the same whatever is operated.'
        )
