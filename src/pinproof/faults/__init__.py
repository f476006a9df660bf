"""The fault dictionary: what each fault of a line does, at every severity.

Answers: every single fault at every site of the physical netlist; per situation and key state which false command it
         can give and for which severities exactly, which meaning is lost, what idle reads; what would remove it.
Touches: nothing. No file, no printing: a `Truck` in, frozen results out.
Must not: choose values (a cure's values are chosen by whoever calls `cures_of`), say how likely a fault is (that is
          `pinproof.find`), or draw.
Units:   severities in ohms, 0 to inf.

Modules
-------
sites      what can go wrong, and where
circuit    what that does to the netlist and its box
questions  windows as levels, and all corners of supplies and drops
severity   for which conductances a reading reaches a level: plain numbers
answers    the same for many faults at once
effects    false commands and lost meanings of each fault
keep       what to unplug to keep racing, and what is then left
pairs      two faults at once
cures      changes of the design, tried by proving and running the dictionary again
advice     outside checks in words
remedies   for each unsafe fault what removes it, or what finds it
words      faults and severities as a reader wants them
results    what comes out
"""

from pinproof.faults.cures import CavityOrder, Cure, Proposal, cavity_order, cures_of, not_proposed, proposals
from pinproof.faults.effects import faults_of, line_faults, retest
from pinproof.faults.keep import Kept, keep_racing
from pinproof.faults.remedies import Against, Remedy, against
from pinproof.faults.results import (
    EFFECTS,
    FalseCommand,
    Fault,
    FaultEffect,
    FaultReport,
    LineFaults,
    Lost,
    PairEffect,
    Pairs,
    Severities,
    as_json,
)
from pinproof.faults.sites import sites

__all__ = [
    "EFFECTS",
    "Against",
    "CavityOrder",
    "Cure",
    "FalseCommand",
    "Fault",
    "FaultEffect",
    "FaultReport",
    "Kept",
    "LineFaults",
    "Lost",
    "PairEffect",
    "Pairs",
    "Proposal",
    "Remedy",
    "Severities",
    "against",
    "as_json",
    "cavity_order",
    "cures_of",
    "faults_of",
    "keep_racing",
    "line_faults",
    "not_proposed",
    "proposals",
    "retest",
    "sites",
]
