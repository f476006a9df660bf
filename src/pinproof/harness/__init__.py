"""The harness: from nets to wires, each with its length, size, colour and both ends.

Answers: which wires and splices join each net with least wire; which size, fuse, sleeve, support; what contradicts.
Units:   lengths in whole millimetres (`_mm`) while wires are chosen, SI elsewhere.
Touches: nothing: the same truck gives the same harness.
Must not: print, write, or know a face. Nets come from `pinproof.wiring.nets`; currents of coded lines from `proof`.

Modules
-------
lay_out     the whole way from a truck to the result
geometry    a truck's places and runs as one tree, its joints
tree        distances on a tree, ways, splice points
least       least wire for one part of a net: the dynamic program
stagger     splices of one run side by side
layout      parts of nets, their wires and splices with lengths
current     what flows in each wire, what can be on together
coded       currents of coded lines, heat of their resistors
coded_ways  the ways whose ohms the proof assumed
reach       which wires each fuse must protect
stock       sizes that can be taken, salvaged cable
size, fuse  rules on plain numbers
sizing      a size for each wire, and the rule that asked for it
choices     the owner's own choices
bundle      diameters, sleeves, supports, mass
notes       misfits and findings
formboard   a tree of runs spread out on a plane at true length
board       the harness on that board
parts_list  what to buy and have
steps       build steps, labels, connections to measure
codes       known-code plugs and the test socket, each proven
lists       everything as CSV
units       millimetres or inches
results     the frozen results and their JSON
"""

from __future__ import annotations

from pinproof.harness.bundle import Bundle, bundle_m, shrink_for
from pinproof.harness.lay_out import apart_situations, lay_out
from pinproof.harness.least import NoWiring, Rules, Wiring, least_wires
from pinproof.harness.results import Harness, as_json
from pinproof.harness.size import allow_a
from pinproof.harness.stagger import stagger
from pinproof.harness.tree import Site, Tree
from pinproof.harness.units import units_of

__all__ = [
    "Bundle",
    "Harness",
    "NoWiring",
    "Rules",
    "Site",
    "Tree",
    "Wiring",
    "allow_a",
    "apart_situations",
    "as_json",
    "bundle_m",
    "lay_out",
    "least_wires",
    "shrink_for",
    "stagger",
    "units_of",
]
