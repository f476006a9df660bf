"""Choosing resistors: the best values for a line, proven best, and what to do where none will hold.

Answers: which values from a series or from the owner's drawer give the largest smallest margin, how sure that is, what
         is next best, which two meanings collide if nothing holds, and which changes of the design would cure it.
Touches: nothing but the clock, for the budget of a search. A `Truck` in, frozen results out.
Must not: judge by rules of its own (margins are those of `pinproof.verdict`, the last word has `pinproof.proof`),
         write files, or suggest bypassing a start inhibit.

Modules
-------
problem    the problem on plain numbers
order      the objective, and ties
compiled   bounds of all margins over boxes of candidates
directions which way each conductance moves a reading
boxes      candidate ranges cut into pieces
search     branch and bound
certificate  its budget and what it proves
parts      candidates from a preferred series
drawer     candidates from own stock
build      from a line of a truck to a problem
pick       `choose`
room       how far each chosen value may move
stand_in   what may replace a lost resistor of a line as it stands
collide    why nothing holds
cures      design changes, each chosen and proven again
results    what comes out
"""

from pinproof.choose.certificate import Budget, Certificate
from pinproof.choose.cures import Cure, cures
from pinproof.choose.drawer import Drawer, Part
from pinproof.choose.pick import choose
from pinproof.choose.results import Choice, ChosenResistor, Collision, Parting, Piece, RunnerUp, changes_for
from pinproof.choose.room import Room
from pinproof.choose.stand_in import stand_ins

__all__ = [
    "Budget",
    "Certificate",
    "Choice",
    "ChosenResistor",
    "Collision",
    "Cure",
    "Drawer",
    "Part",
    "Parting",
    "Piece",
    "Room",
    "RunnerUp",
    "changes_for",
    "choose",
    "cures",
    "stand_ins",
]
