"""From a design to the one physical netlist of the truck, and to the view of it that one pin has.

Answers: which elements there are, between which nodes, within which bounds; which of them a pin can see.
Touches: nothing. No file, no printing.
Must not: solve, judge, or know a window. Every element's id is the design path of the entry it comes from.
Beside:  `design` is read, `network` solves what `view` hands over; `observe` reads the pin.
"""

from pinproof.wiring.elements import (
    Branch,
    Cause,
    Physical,
    contact_node,
    node_name,
    physical,
    resistor_bounds_ohm,
)
from pinproof.wiring.view import LineView, line_view

__all__ = [
    "Branch",
    "Cause",
    "LineView",
    "Physical",
    "contact_node",
    "line_view",
    "node_name",
    "physical",
    "resistor_bounds_ohm",
]
