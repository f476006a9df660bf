"""The start inhibit: does it crank only where it may, and which single fault lets it crank in gear?

Answers: the states that the relays of a start circuit can be in; a truth table over every detent and mid-travel point
         with the coil's worst volts; for each single fault the exact severities with which the coil can hold or pull
         in; whether a command contact can raise the coil; the same parts wired in other forms, side by side.
Touches: nothing. No file, no printing: plain numbers in, frozen results out.
Must not: propose a way around an inhibit, not even for an emergency; call a form safe; say how likely a fault is.
Units:   ohms, volts; severities in ohms, 0 to inf.

Modules
-------
results    what comes out
circuit    a start circuit as branches, relays and rails
chains     its parts in chains from feed to ground, made into a circuit; the same parts in another form
sets       sets of severities
boxes      what a situation, a combination of relays and a fault do to the netlist and its box
bounds     what is decided over a whole box without trying its corners
corners    for which severities can all conditions on the coils hold: every corner at once
crossing   where one condition holds at a corner: solved for the severity
ask        can it hold, pull in, stay out, chatter: in one situation, over all combinations of relays
states     the relay states of one situation, in words and numbers
table      the truth table
sites      what can go wrong, and where
defeats    what each fault does
reveal     the test that finds it, what removes it, and the cautions
influence  can a command contact raise the coil?
compare    the same parts in other forms
prove      all of it for one circuit
words      faults, severities and situations as a reader wants them
"""

from pinproof.inhibit.chains import Consumer, Feed, Part, StartCircuit, built, form_of, in_form
from pinproof.inhibit.circuit import Branch, Circuit, Code, Ground, InhibitFault, Relay, Supply, mid_point, points
from pinproof.inhibit.compare import compare
from pinproof.inhibit.prove import prove
from pinproof.inhibit.results import (
    EFFECTS,
    Cell,
    Comparison,
    FormResult,
    Influence,
    InfluenceRow,
    InhibitReport,
    Interval,
    Row,
    Set,
    StartFault,
    States,
    as_json,
)
from pinproof.inhibit.states import relay_states
from pinproof.inhibit.table import truth_table

__all__ = [
    "EFFECTS",
    "Branch",
    "Cell",
    "Circuit",
    "Code",
    "Comparison",
    "Consumer",
    "Feed",
    "FormResult",
    "Ground",
    "Influence",
    "InfluenceRow",
    "InhibitFault",
    "InhibitReport",
    "Interval",
    "Part",
    "Relay",
    "Row",
    "Set",
    "StartCircuit",
    "StartFault",
    "States",
    "Supply",
    "as_json",
    "built",
    "compare",
    "form_of",
    "in_form",
    "mid_point",
    "points",
    "prove",
    "relay_states",
    "truth_table",
]
