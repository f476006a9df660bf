"""Linear resistive networks: netlist, solver, sound worst-case spans.

Answers:  the potential of every node, currents and powers, resistance between two points, how a reading
          depends on each fixed potential, the lowest and highest reading over a box of parts and causes, how far
          one part may drift until a reading reaches a level, and readings of many random samples.
Touches:  nothing. No file, no clock, no printing: the same inputs give the same numbers.
Must not: know about trucks, contacts or wires (nodes, edges, rails and numbers only), nor import anything but
          numpy, the standard library and `pinproof.errors`.
Units:    conductance in siemens (0 is open, inf is a short), potentials in volts, resistance in ohms.

Modules
-------
netlist    the circuit and its elimination plan
star_mesh  elimination of nodes without subtraction, on floats and on numpy columns
solve      voltages, currents, powers, two-point resistance, transfer, Thevenin resistance
edits      added, deleted and merged: the netlist after a fault
sample     one reading of very many random samples
box        sources driven by causes, readings, corners of the causes
spans      worst-case span of a reading over a box; proven directions
excursion  how far one parameter may move until the span's end reaches a level
slices     one cause that moves several parts

Below `spans` and `excursion`, in the order in which a span is found:
reduce     series and parallel groups taken together, exactly
signs      directions proven from the graph alone
sweep      directions proven by interval bounds, all edges at once
problems   which conductances sit at a proven end, which stay open
corners    readings at all corners that are left, in one batch
branch     branch and bound when those are too many
intervals  sound bounds of a reading for it
"""

from pinproof.network.box import Reading, Sources
from pinproof.network.edits import Edited, edited
from pinproof.network.excursion import Excursions, excursion, excursions
from pinproof.network.netlist import Edge, Netlist, NetworkFault
from pinproof.network.sample import readings_of_samples
from pinproof.network.slices import SlicedSpan, sliced_span
from pinproof.network.solve import (
    Status,
    edge_currents,
    edge_powers,
    node_status,
    node_voltages,
    resistance_between,
    thevenin_resistance,
    transfer,
)
from pinproof.network.spans import Monotone, Span, monotone, span

__all__ = [
    "Edge",
    "Edited",
    "Excursions",
    "Monotone",
    "Netlist",
    "NetworkFault",
    "Reading",
    "SlicedSpan",
    "Sources",
    "Span",
    "Status",
    "edge_currents",
    "edge_powers",
    "edited",
    "excursion",
    "excursions",
    "monotone",
    "node_status",
    "node_voltages",
    "readings_of_samples",
    "resistance_between",
    "sliced_span",
    "span",
    "thevenin_resistance",
    "transfer",
]
