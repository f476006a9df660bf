"""The design file: one truck, stated once.

Answers: what the owner stated about a truck, in SI numbers, each with its basis and its place in the file; every fault
         of a file at once; how to change a file and keep its comments.
Touches: the file system, only in `load` and `edit`. May use `quantities`, `tables` and `errors`.
Must not: do physics. Circuits are made by `pinproof.wiring`, judged by `pinproof.verdict`.
"""

from __future__ import annotations

from pinproof.design.load import load, loads
from pinproof.design.messages import ChangedUnderneath, DesignFault, EditFault, Fault, SaveFailed
from pinproof.design.model import (
    UNKNOWN,
    Cavity,
    Contact,
    Defaults,
    Device,
    Element,
    Input,
    Line,
    Parts,
    Place,
    Plug,
    Resistor,
    Run,
    SituationRule,
    Supply,
    Target,
    Truck,
    Unknown,
    Value,
    Window,
)

__all__ = [
    "UNKNOWN",
    "Cavity",
    "ChangedUnderneath",
    "Contact",
    "Defaults",
    "DesignFault",
    "Device",
    "EditFault",
    "Element",
    "Fault",
    "Input",
    "Line",
    "Parts",
    "Place",
    "Plug",
    "Resistor",
    "Run",
    "SaveFailed",
    "SituationRule",
    "Supply",
    "Target",
    "Truck",
    "Unknown",
    "Value",
    "Window",
    "load",
    "loads",
]
