"""Design paths in words, as a tired person reads them.

Answers: what is "contact.lever_up.closed" called?
Touches: nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pinproof.design.model import Line

_INPUT = {
    "pull_up": "pull-up resistor inside input {id}",
    "pull_down": "pull-down resistor inside input {id}",
    "reference": "reference voltage of input {id}",
    "error": "reading error of input {id}",
    "full_scale": "full scale of input {id}",
    "filter": "filter time of input {id}",
    "filter_capacitance": "filter capacitor of input {id}",
    "debounce": "debounce time of input {id}",
    "max_pin": "highest voltage that input {id} stands",
}
_LINE = {
    "wire": "resistance of the coded wire of {id}",
    "source_wire": "resistance of the shared source wire of {id}",
    "return_offset": "ground offset between the switches of {id} and the controller",
    "feed_drop": "voltage lost in the feed of {id}",
    "series_diode": "voltage across the series diode of {id}",
    "leak_to_ground": "leakage from the pin to ground (wet plug, line {id})",
    "leak_to_supply": "leakage from the pin to battery plus (wet plug, line {id})",
    "idle_resistor": "far-end idle resistor of {id}",
    "top_resistor": "top resistor of {id}",
    "end_resistor": "end resistor of {id}",
}
_CONTACT = {
    "resistor": "coding resistor of {id}",
    "closed": "contact resistance of {id} (closed)",
    "open": "leakage across {id} (open contact)",
    "bounce": "bounce time of {id}",
}
_SUPPLY = {
    "": "supply voltage",
    "run": "supply voltage with the key in run",
    "crank": "supply voltage while cranking",
    "after_run": "supply voltage after key off",
    "jump_start": "supply voltage at a jump start",
    "load_dump": "supply voltage at a load dump",
}
_DEFAULTS = {
    "closed": "contact resistance (closed)",
    "open": "leakage across an open contact",
    "tolerance": "tolerance of the coding resistors",
    "tempco": "temperature coefficient of the coding resistors",
    "ageing": "ageing of the coding resistors",
}
_TABLES = {"input": _INPUT, "line": _LINE, "contact": _CONTACT}


def hanging_return(line: Line) -> str:
    """The controller's cavity in which the return ends, which hangs free while the controller is unplugged; else ""."""
    plug, dot, cavity = (line.returns_to or "").partition(".")
    return f"cavity {cavity} of plug {plug}" if dot else ""


def parameter(path: str) -> str:
    """A design path in words: "contact.lever_up.closed" is "contact resistance of lever_up (closed)".

    A path that nobody has words for is returned as it is, so that it can still be found in the file.
    """
    head, *rest = path.split(".")
    if head == "supply":
        return _SUPPLY.get(".".join(rest), path)
    if head == "temperature":
        return "temperature range of the truck"
    if head == "place" and len(rest) == 2:
        return f"{rest[1]} at {rest[0]}"
    if head == "defaults" and rest:
        return f"{_DEFAULTS.get(rest[-1], rest[-1])}, as [defaults] has it"
    if head in _TABLES and len(rest) == 2:
        text = _TABLES[head].get(rest[1])
        return text.format(id=rest[0]) if text else path
    if head == "line" and len(rest) >= 3:
        return _within_line(rest[0], rest[1], rest[2:]) or path
    return path


def _within_line(line_id: str, table: str, rest: list[str]) -> str:
    name, tail = rest[0], rest[1] if len(rest) > 1 else ""
    if table == "window":
        side = {"low": "lower edge of the", "high": "upper edge of the"}.get(tail, "edges of the")
        return f"{side} window {name} (line {line_id})"
    if table == "target":
        return f"edges of {name}, midway between the target readings (line {line_id})"
    if table == "element":
        return f"element {name} of {line_id}"
    return ""
