"""Roles of channels: one physical meaning each, what it is read from, and what it becomes.

Answers: is there such a role, which units may it have, how does a number in that unit become the role's own?
Units:   after reading rpm, m/s, V, °C, m/s², or a ratio; see `Role.unit`.
Touches: nothing.
Sources: definitions of units as in `pinproof.quantities.units`; standard gravity 9.80665 m/s², knot 1852 m/h exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pinproof.quantities import DIMENSIONS

Kind = Literal["number", "flag", "gear", "word"]


@dataclass(frozen=True)
class Role:
    """One role. `unit` is what values have after reading; `line` says that the name ends with a line's id."""

    name: str
    kind: Kind
    unit: str
    dimension: str  # a key of UNITS, "" where there is no unit
    meaning: str
    line: bool = False
    share: bool = False  # 0 … 1, and may also be given as a flag


_ROLES = (
    Role("pin", "number", "V", "pin", "what the coded pin reads", line=True),
    Role("meaning", "word", "label", "", "what the controller concluded from the pin", line=True),
    Role("tap_up", "flag", "0/1", "", "the controller's own tap state, up"),
    Role("tap_down", "flag", "0/1", "", "the controller's own tap state, down"),
    Role("lever", "word", "label", "", "lever position as the controller reports it"),
    Role("mode", "flag", "0/1", "", "manual engaged"),
    Role("gear_commanded", "gear", "gear", "", "gear the controller asks for"),
    Role("gear", "gear", "gear", "", "gear the controller reports"),
    Role("engine", "number", "rpm", "rotation", "engine speed"),
    Role("turbine", "number", "rpm", "rotation", "turbine speed, the gearbox's input"),
    Role("output", "number", "rpm", "rotation", "speed of the gearbox's output shaft"),
    Role("road", "number", "m/s", "speed", "road speed"),
    Role("throttle", "number", "1", "ratio", "accelerator", share=True),
    Role("brake", "number", "1", "ratio", "brake", share=True),
    Role("lockup", "number", "1", "ratio", "converter locked", share=True),
    Role("supply", "number", "V", "voltage", "voltage of the controller's supply"),
    Role("oil", "number", "°C", "temperature", "oil temperature of the gearbox"),
    Role("ambient", "number", "°C", "temperature", "temperature of the air around"),
    Role("coder_temperature", "number", "°C", "temperature", "temperature at the coding resistors"),
    Role("limp", "flag", "0/1", "", "controller in limp mode"),
    Role("refused", "flag", "0/1", "", "a request was refused"),
    Role("vertical", "number", "m/s²", "acceleration", "vertical acceleration"),
)
ROLES = {role.name: role for role in _ROLES}
GEARS = (-1, 20)
"""Lowest and highest gear: reverse is -1, neutral and park 0."""


def _scaled(dimension: str) -> dict[str, tuple[float, float]]:
    """Spelling -> (factor, offset) with value = number × factor + offset."""
    table = {}
    for unit, scale in DIMENSIONS[dimension].units.items():
        if not unit:
            continue
        if isinstance(scale, str):
            table[unit] = (float(f"1{scale}"), 0.0)
        else:
            offset, factor, divisor = scale
            table[unit] = (factor / divisor, offset * factor / divisor)
    return table


_VOLTAGE = _scaled("voltage") | {"VDC": (1.0, 0.0), "Vdc": (1.0, 0.0)}
_RATIO = _scaled("ratio") | {"ratio": (1.0, 0.0), "1": (1.0, 0.0)}
_TURN = 60.0
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "rotation": _scaled("rotation_rpm")
    | dict.fromkeys(("U/min", "min-1", "min^-1", "min⁻¹", "Rpm", "revs/min", "rpms"), (1.0, 0.0))
    | dict.fromkeys(("Hz", "1/s", "rps"), (_TURN, 0.0))
    | {"rad/s": (_TURN / (2.0 * math.pi), 0.0)},
    "speed": _scaled("speed")
    | dict.fromkeys(("KPH", "Km/h", "KMH", "km/h.", "kmph"), (1.0 / 3.6, 0.0))
    | dict.fromkeys(("mps", "m/sec", "m s-1"), (1.0, 0.0))
    | dict.fromkeys(("knot", "knots", "kn", "kt", "kts"), (1852.0 / 3600.0, 0.0)),
    "ratio": _RATIO,
    "voltage": _VOLTAGE,
    "temperature": _scaled("temperature")
    | dict.fromkeys(("deg C", "Deg C", "DegC", "° C", "c"), (1.0, 0.0))
    | dict.fromkeys(("deg F", "Deg F", "DegF", "° F", "f"), (5.0 / 9.0, -160.0 / 9.0)),
    "acceleration": dict.fromkeys(("m/s²", "m/s2", "m/s^2", "m/s/s"), (1.0, 0.0))
    | dict.fromkeys(("g", "G", "gn"), (9.80665, 0.0))
    | dict.fromkeys(("ft/s²", "ft/s2", "ft/s^2"), (0.3048, 0.0)),
}
UNITS["pin"] = UNITS["voltage"] | UNITS["ratio"]
TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0}
TIME_SPELLINGS = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "S": "s", "msec": "ms", "millisecond": "ms",
    "milliseconds": "ms", "µs": "us", "μs": "us", "usec": "us", "microseconds": "us", "minutes": "min",
    "hours": "h", "hr": "h",
}  # fmt: skip
_PLAIN = {"V", "rpm", "km/h", "mph", "m/s", "%", "°C", "°F", "m/s²", "g", "ratio", "counts"}


def role_of(name: str) -> Role | None:
    """The role with this name, as in "engine" or "pin.taps"; None if there is none."""
    base, dot, line = name.partition(".")
    role = ROLES.get(base)
    if role is None or role.line != bool(dot and line.strip()):
        return None
    return role


def names_of_roles() -> tuple[str, ...]:
    """All roles as one writes them, `pin.LINE` for those of a line."""
    return tuple(f"{role.name}.LINE" if role.line else role.name for role in _ROLES)


def scale_of(role: Role, unit: str) -> tuple[float, float] | None:
    """(factor, offset) that turn a number in `unit` into the role's unit; None where the role has no such unit."""
    return UNITS.get(role.dimension, {}).get(unit.strip())


def usual_units(role: Role) -> tuple[str, ...]:
    """A few spellings to name in a sentence."""
    found = tuple(unit for unit in UNITS.get(role.dimension, {}) if unit in _PLAIN)
    return (*found, "counts") if role.dimension == "pin" else found


def unit_after(role: Role, unit: str) -> str:
    """Unit of the values after reading."""
    if role.dimension == "pin":
        return "V" if unit.strip() in UNITS["voltage"] else "ratio"
    return role.unit
